"""The one object that every front end talks to: a job from the safety gate to the verdict.

It keeps no state but the log of events; what it shows is worked out from their replay. Front ends print what
it gives and compute nothing.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from troubleshoot import places
from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.circuit import Circuit
from troubleshoot.diagnose.behind import causes
from troubleshoot.diagnose.belief import Belief
from troubleshoot.diagnose.choose import Choice
from troubleshoot.diagnose.comes_and_goes import chances_told
from troubleshoot.diagnose.cost import Stand, cost_s
from troubleshoot.diagnose.doubt import doubted as doubted_in
from troubleshoot.diagnose.evidence import Known, known_from, not_yet
from troubleshoot.diagnose.explain import meanings, moved, silent_about
from troubleshoot.diagnose.pairs import parts_of, prior_after_repair
from troubleshoot.diagnose.reason import Reasoner
from troubleshoot.diagnose.sign_off import next_after_repair
from troubleshoot.draw import Path as CircuitPath
from troubleshoot.draw import find_paths
from troubleshoot.draw.circuit_line import GaugeUnit
from troubleshoot.errors import FileProblems, Problem, TypedWrong
from troubleshoot.expect.cells import NOTHING_WRONG
from troubleshoot.expect.seen import complaints_of, told_already
from troubleshoot.expect.table import Table
from troubleshoot.files.circuit_file import parse_circuit
from troubleshoot.files.file_text import read_text
from troubleshoot.files.guesses_file import load_guesses
from troubleshoot.session.ability import Can, learned_from, say_limits
from troubleshoot.session.beyond import say_beyond
from troubleshoot.session.cards import CheckCard, Line, Outcome, Question, VerdictCard, verdict_card
from troubleshoot.session.doubts import say_doubts, say_why_again
from troubleshoot.session.kept import circuit_of, guesses_of, reasoner_of, table_of
from troubleshoot.session.log import Event, Log, LogFailed
from troubleshoot.session.prior import prior_after
from troubleshoot.session.reasons import Standpoint, Why, say_moves
from troubleshoot.session.standing import ReadLine, healthy_range, stand_path
from troubleshoot.session.state import State, apply, check_to, expects, known_to, replay
from troubleshoot.session.steps import steps_of
from troubleshoot.session.typed import find_check, find_look
from troubleshoot.solve import meter
from troubleshoot.solve.linear import Floats
from troubleshoot.words import say
from troubleshoot.words.answers import (
    Command,
    Doubtful,
    OverLimit,
    Refused,
    Seen,
    Skip,
    Stop,
    Value,
    Wander,
    read_answer,
)  # fmt: skip

FORMAT = 1
WORST_METER = (0.05, 5.0)
"""Percent of reading between which a meter's stated accuracy is believed (invented)."""


def local_now() -> datetime:
    """The clock that events are stamped with; tests give their own."""
    return datetime.now().astimezone()


WARNED = 1e-3
"""Probability of a dangerous suspect from which a check warns of it (invented)."""

PROVED = 0.9
"""Probability of "nothing is wrong" from which a repair is said to hold (invented): a healthy car rarely gets more."""


class Session:
    """A job: `start` or `resume`, `clear_gate`, `tell`, then `next_check` and `record` until a verdict."""

    def __init__(self, log: Log, events: list[Event], clock: Callable[[], datetime]) -> None:
        self._log = log
        self._clock = clock
        started = events[0]
        self._circuit_text: str = started["circuit_text"]
        self.circuit_name: str = started["circuit"]
        self._guesses_path: str = started["guesses"]
        self.guesses = guesses_of(self._guesses_path)
        self._accuracy_percent: float = started["accuracy_percent"]
        self.state: State = replay(events)
        self._pending: tuple[Check, Doubtful] | None = None
        self._able: tuple[tuple[Can, str], Reasoner] | None = None
        self._paths: dict[GaugeUnit, list[CircuitPath]] = {}

    # ---- beginning and ending

    @classmethod
    def start(
        cls,
        circuit: Path | str,
        complaint: str | None = None,
        can: dict[str, Any] | None = None,
        folder: Path | None = None,
        guesses: Path | None = None,
        seed: int = 0,
        accuracy_percent: float = meter.ACCURACY_PERCENT,
        clock: Callable[[], datetime] = local_now,
    ) -> Session:
        """Begins a job on a circuit file or a shipped circuit's name.

        With `complaint`, the gate counts as cleared by the caller. `seed` is kept in the log for whatever is
        drawn at random in a job; finding a fault draws nothing. `accuracy_percent` is the meter's, of reading.
        Raises FileProblems, TypedWrong, LogFailed.
        """
        path = places.circuit_path(str(circuit))
        text = read_text(path)
        parsed = parse_circuit(text, str(path))
        if guesses:
            load_guesses(guesses)
        if not WORST_METER[0] <= accuracy_percent <= WORST_METER[1]:
            raise TypedWrong(Problem("bad-accuracy", f"a meter of {accuracy_percent:g} % is not credible",
                                     f"{WORST_METER[0]:g} to {WORST_METER[1]:g} % of reading", "accuracy"))  # fmt: skip
        at = clock()
        name = path.parent.name if path.name == "circuit.yaml" else path.stem
        target = _free_name(folder or places.sessions(), f"{at:%Y%m%d-%H%M%S}-{name}")
        log = Log(target, create=True)
        event = {
            "event": "started", "format": FORMAT, "at": at.isoformat(), "circuit": name,
            "title": parsed.title, "circuit_sha": hashlib.sha256(text.encode()).hexdigest(), "circuit_text": text,
            "guesses": str(guesses) if guesses else "", "seed": seed,
            "accuracy_percent": accuracy_percent,
        }  # fmt: skip
        log.append(event)
        session = cls(log, [event], clock)
        if complaint is not None:
            session.clear_gate()
            session.tell(complaint, can or {})
        return session

    @classmethod
    def resume(cls, path: Path | str, clock: Callable[[], datetime] = local_now) -> Session:
        """Goes on with a job where its log ends. Raises LogFailed or TypedWrong for what is no log."""
        log = Log(Path(path), create=False)
        try:
            events = log.read()
        except LogFailed:
            log.close()
            raise
        if not events or events[0].get("event") != "started" or events[0].get("format") != FORMAT:
            log.close()
            raise TypedWrong(Problem("not-a-session", "this file is no session of this version", "a .jsonl file "
                                     "that troubleshoot wrote", "", str(path)))  # fmt: skip
        try:
            session = cls(log, events, clock)
        except (KeyError, ValueError, TypeError, AttributeError) as error:
            log.close()
            raise TypedWrong(
                Problem(
                    "log-damaged",
                    f"an event cannot be understood: {error}",
                    "restore the file",
                    "",
                    str(path),
                )
            ) from None
        session._append({"event": "resumed"})
        return session

    def close(self) -> None:
        """Lets go of the log."""
        self._log.close()

    @property
    def path(self) -> Path:
        """Where the log is."""
        return self._log.path

    @property
    def torn(self) -> bool:
        """Whether the log's last line was torn and has been dropped."""
        return self._log.torn

    # ---- what it reckons with

    @cached_property
    def circuit(self) -> Circuit:
        """The circuit as it was when the job began; read without waiting for the table."""
        return circuit_of(self._circuit_text, self.circuit_name)

    @cached_property
    def table(self) -> Table:
        """Predictions; two seconds of work the first time."""
        return table_of(self._circuit_text, self.circuit_name, self._guesses_path, self._accuracy_percent)

    @property
    def reasoner(self) -> Reasoner:
        """Groups and choice for what this person can do, on a job brought with this complaint."""
        able = self.state.can, self.state.complaint
        if self._able is None or self._able[0] != able:
            allowed = able[0].allowed(self.table.network, self.table.checks)
            self._able = able, reasoner_of(self.table, self.guesses, allowed).told(able[1])
        return self._able[1]

    @property
    def stand(self) -> Stand:
        """Where the person is, and whether a second one must be fetched yet."""
        return replace(self.state.stand, fetches=self.state.fetches(self.circuit))

    @cached_property
    def _prior(self) -> Floats | None:
        """Priors after the first answers and after what has been repaired, (C + 1,); None before them."""
        prior = prior_after(self.table, self.guesses, self.state.told) if self.state.told else None
        start = 0
        for repair in self.state.repairs:
            before = self.state.answers(start, repair.at)
            prior = prior_after_repair(self.table, self.guesses, before, repair.suspects, prior)
            prior[:-1] *= chances_told(self.table, repair.complaint)
            prior, start = prior / prior.sum(), repair.at
        return prior

    def _belief(self, evidence: list[Known] | None = None) -> Belief:
        return self.reasoner.weigh(self.state.evidence if evidence is None else evidence, self._prior)

    # ---- events

    def _append(self, event: Event) -> None:
        """On disk first, then in the state."""
        event = {"at": self._clock().isoformat(), **event}
        self._log.append(event)
        apply(self.state, event)

    def clear_gate(self) -> None:
        """All safety questions were answered no."""
        self._append({"event": "gate_cleared"})

    def note(self, note: str = "", name: str | None = None, layout: str | None = None) -> None:
        """Writes down what the person says of the job: a note, its name, the relay's layout (a key of LAYOUTS)."""
        told = {"note": note or None, "name": name, "layout": layout}
        self._append({"event": "noted", **{key: value[:200] for key, value in told.items() if value is not None}})

    def conclude(self) -> None:
        """The person takes the verdict as it stands: the job counts as finished until something is added."""
        self._append({"event": "concluded", "say": self.verdict().say})

    def stop(self, why: str) -> str:
        """Something is unsafe: the job stops. Returns what to do."""
        self._append({"event": "stopped", "why": why or "no reason given"})
        return say.STOP_ADVICE

    def tell(
        self, complaint: str, can: dict[str, Any] | None = None, worked: str = "unknown", touched: str = "",
        present: str = "unknown",
    ) -> None:  # fmt: skip
        """The complaint and the first questions. Raises TypedWrong for an unknown complaint or ability."""
        able = Can.read(can or {})
        self._append({"event": "told", "complaint": self._checked(complaint), "can": able.model_dump(mode="json"),
                      "worked": worked, "touched": touched, "present": present})  # fmt: skip
        self.__dict__.pop("_prior", None)
        self._forget()

    def _checked(self, complaint: str) -> str:
        """A complaint that there is. Raises TypedWrong."""
        known = complaints_of(self.circuit)
        if complaint not in known:
            raise TypedWrong(Problem("unknown-complaint", f"{complaint!r} is not a complaint",
                                     f"one of: {', '.join(known)}", "complaint"))  # fmt: skip
        return complaint

    def repaired(self, suspects: Sequence[str] = (), complaint: str = "unsure") -> tuple[str, ...]:
        """A suspect has been repaired, the leading one where none is named: the sign-off begins, which finds what the
        fault has hidden. `complaint`: what is still wrong then. Returns what was repaired, in words. Raises TypedWrong.
        """
        named = tuple(suspects) or (self.verdict().suspects[0].name,)
        known = {*self.table.names, *self._next[1].table.names} - {NOTHING_WRONG.name}
        if not set(named) <= known:
            raise TypedWrong(Problem("nothing-repaired", f"{', '.join(named)} names no part that can be repaired",
                                     "part:mode, as in the verdict", "suspects"))  # fmt: skip
        self._append({"event": "repaired", "suspects": list(named), "complaint": self._checked(complaint)})
        self.__dict__.pop("_prior", None)
        self._forget()
        return tuple(self.say_fault(name) for name in named)

    def undo(self) -> str:
        """Takes the last answer, skip or repair back. Returns what was taken back, "" when there is nothing."""
        repairs = self.state.repairs
        if repairs and repairs[-1].at == len(self.state.entries):
            names = repairs[-1].suspects
            self._append({"event": "undone"})
            self.__dict__.pop("_prior", None)
            self._forget()
            return f"the repair: {'; '.join(map(self.say_fault, names))}"
        if not self.state.entries:
            return ""
        gone = self.state.entries[-1]
        self._append({"event": "undone"})
        self._forget()
        return say.say_short(self.table.network, gone.check)

    def skip(self, check: CheckCard | Check, why: str = "") -> str:
        """This check is not done. Returns what the reason taught of all further checks, in words; "" for nothing."""
        target = check.check if isinstance(check, CheckCard) else check
        learned = learned_from(self.table.network, target, why)
        self._append({"event": "skipped", "check": check_to(target), "why": why, "learned": learned})
        self._forget()
        return say_limits(self.circuit, learned)

    # ---- the next check

    def _forget(self) -> None:
        self._pending = None
        self.__dict__.pop("_next", None)

    @cached_property
    def _next(self) -> tuple[Choice | None, Belief]:
        evidence, prior = self.state.evidence, self._prior
        if self.state.repairs and prior is not None:
            return next_after_repair(self.reasoner, evidence, self.stand, self._passed, prior)
        return self.reasoner.next_choice(evidence, self.stand, self._passed, prior)

    @property
    def _passed(self) -> frozenset[str]:
        """Checks that are not to be asked now: skipped, told already, or waiting for readings."""
        return self.state.skipped | self._told_already() | not_yet(self.reasoner.checks, self.state.evidence)

    def next_check(self) -> CheckCard | VerdictCard:
        """The check to do now, or the verdict when nothing more is worth doing."""
        choice, belief = self._next
        if choice is None:
            return self.verdict()
        return self._card(choice.check, belief)

    def _card(self, check: Check, belief: Belief) -> CheckCard:
        network = self.table.network
        told = meanings(self.reasoner, belief, check, lambda value: self._say_value(check, value))
        return CheckCard(
            check=check,
            say=say.say_check(network, check),
            short=say.say_short(network, check),
            why=self._say_why(belief, check),
            meanings=tuple((m.outcome, tuple(self.say_fault(n) for n in m.faults)) for m in told),
            cautions=(*self._surprises(belief, check), *say.cautions(network, check)),
            healthy=healthy_range(self.table, check, self._leads_ohm),
            cost_s=cost_s(self.circuit, self.guesses.costs, self.stand, check),
            steps=steps_of(network, check, self.state.stand.setup),
        )

    def _surprises(self, belief: Belief, check: Check) -> tuple[str, ...]:
        """What turning the key for this check may do if a suspect that is still alive is the fault."""
        turns = belief.table.starter_turns(check.setup)
        return (say.STARTER_MAY_TURN,) if belief.p_cell[:-1][turns].sum() > WARNED else ()

    def _say_why(self, belief: Belief, check: Check) -> str:
        if check.again and (doubt := say_why_again(belief, check)):
            return doubt
        groups = [g for g in self.reasoner.ranked_groups(belief)[:3] if g.probability > 0.02]
        names = ", ".join(f"{self.say_fault(g.faults[0])} ({g.probability:.0%})" for g in groups)
        if groups[0].probability >= 0.97:
            return f"One reading alone must not carry the verdict; this confirms or upsets it. Leading: {names}."
        return f"It tells most for its time. In question now: {names}."

    def say_fault(self, name: str) -> str:
        """A fault's name as a sentence part."""
        return self.reasoner.fault(name).say

    def _told_already(self) -> frozenset[str]:
        """Observations that the complaint has answered."""
        complaint = self.state.complaint
        return frozenset(c.id for c in self.table.checks if told_already(self.circuit, c, complaint))

    # ---- answers

    def record(self, card: CheckCard | Check, text: str) -> Outcome | Question:
        """Takes what was typed for a check.

        Returns the outcome, or a question when the words may mean something else (answer it with `confirm`).
        Raises TypedWrong, with a hint, for what cannot be understood; nothing is lost then.
        """
        check = card.check if isinstance(card, CheckCard) else card
        answer = read_answer(text, expects(check), check.answers)
        if isinstance(answer, Doubtful):
            self._pending = (check, answer)
            return Question(answer.question, tuple(self._say_candidate(check, c) for c in answer.candidates))
        if isinstance(answer, Refused):
            raise TypedWrong(Problem("not-understood", answer.message, answer.hint))
        if isinstance(answer, Skip | Stop | Command):
            raise TypedWrong(Problem("not-an-answer", "these words are not an answer to the check"))
        return self._accept(check, answer, text)

    def _say_candidate(self, check: Check, meant: Value | OverLimit) -> str:
        return "OL" if isinstance(meant, OverLimit) else say.say_value(check, meant.value)

    @property
    def asked_back(self) -> Check:
        """The check whose answer is in doubt. Raises TypedWrong when none is."""
        if self._pending is None:
            raise TypedWrong(Problem("nothing-asked", "there is no such question to confirm"))
        return self._pending[0]

    def confirm(self, which: int = 0) -> Outcome:
        """Takes candidate `which` of the question that `record` asked back."""
        if self._pending is None or not 0 <= which < len(self._pending[1].candidates):
            raise TypedWrong(Problem("nothing-asked", "there is no such question to confirm"))
        check, doubt = self._pending
        return self._accept(check, doubt.candidates[which], doubt.text)

    def _accept(self, check: Check, answer: Value | OverLimit | Wander | Seen, text: str) -> Outcome:
        known = known_from(check, answer, self._leads_ohm)
        before = self._next[1]
        self._append({"event": "answered", "check": check_to(check), "text": text[:200], "known": known_to(known)})
        self._forget()
        after = self._next[1]
        fell, rose = moved(before, after)
        silent = silent_about(self.table, known, after)
        return Outcome(
            understood=self._say_known(known),
            fell=say_moves(fell, self.say_fault, 4),
            rose=say_moves(rose, self.say_fault, 3),
            moves=(*fell[:4], *rose[:3]),
            silent=tuple(
                f"This reading can't tell you whether {self.reasoner.fault(n).say}: no current flows there now, "
                f"so even {say.say_ohm(ohm)} would read the same."
                for n, ohm in silent[:1]
            ),
            doubted=say_doubts(before, after, known, self._say_known),
            compared=self._say_compared(known),
        )

    def _say_compared(self, known: Known) -> str:
        """How a reading stands to a healthy car's, "" for a look: in it, it may prove less than one thinks."""
        limits = healthy_range(self.table, known.check, self._leads_ohm)
        if limits is None:
            return ""
        shown = float(np.exp(known.value) - 0.5) - self._leads_ohm if known.check.is_ohms else known.value
        if limits[0] - known.sigma <= shown <= limits[1] + known.sigma:
            return "as in a healthy car"
        return f"a healthy car: {say.say_range(known.check, *limits)}"

    def record_text(self, text: str) -> Outcome | Question:
        """Takes a reading of the person's own choice, "86 cranking 0.2" or "30 to 87 on 0.1"."""
        check, value = find_look(self.table, text) or find_check(self.table, text)
        return self.record(check, value)

    def record_reading(
        self, red: str, black: str, function: str, key: str, value: str, removed: frozenset[str] = frozenset()
    ) -> Outcome | Question:
        """The same from named fields. Raises TypedWrong."""
        return self.record(find_check(self.table, "", red, black, function, key, removed)[0], value)

    def _say_known(self, known: Known) -> str:
        if known.choice >= 0:
            return known.check.answers[known.choice]
        ends = [known.value - known.sigma, known.value + known.sigma] if known.wanders else [known.value]
        shown = [float(np.exp(end) - 0.5) if known.check.is_ohms else end for end in ends]
        return " to ".join(self._say_value(known.check, value) for value in shown)

    def _say_value(self, check: Check, value: float) -> str:
        """A value as this person's meter would show it."""
        return say.say_value(check, max(0.0, value - self._leads_ohm) if check.is_ohms else value)

    @property
    def _leads_ohm(self) -> float:
        """What the person takes off an ohms reading."""
        return meter.LEAD_OHM if self.state.can.zeroed else 0.0

    # ---- looking back

    def suspects(self, most: int = 8) -> list[Line]:
        """The likeliest faults, with probabilities."""
        p_fault = self._next[1].p_fault
        names = sorted(p_fault, key=lambda n: -p_fault[n])[:most]
        return [Line(n, self.say_fault(n), p_fault[n]) for n in names if p_fault[n] > 0.001]

    def readings(self) -> list[str]:
        """What was read so far beside what a healthy circuit shows."""
        return [read.say for read in self.read_lines()]

    def read_lines(self) -> list[ReadLine]:
        """The same in pieces."""
        network, lines = self.table.network, []
        doubted = {id(self._next[1].readings[i]) for i in doubted_in(self._next[1])}
        for entry in self.state.entries:
            short = say.say_short(network, entry.check)
            if entry.known is None:
                lines.append(ReadLine(short, f"skipped, {entry.why_skipped}"))
                continue
            limits = healthy_range(self.table, entry.check, self._leads_ohm)
            healthy = say.say_range(entry.check, *limits) if limits else ""
            lines.append(ReadLine(short, self._say_known(entry.known), healthy, id(entry.known) in doubted))
        return lines

    def circuit_lines(self, gauge: GaugeUnit = "as written") -> list[CircuitPath]:
        """The circuit through load and coil, with what was read and how each stretch stands."""
        reads = [(known.check, self._say_known(known)) for known in self.state.evidence if known.choice < 0]
        before = self._belief([]).p_fault if reads else {}
        now = self._next[1].p_fault if reads else {}
        if gauge not in self._paths:
            self._paths[gauge] = find_paths(self.table.network, gauge)
        return [stand_path(path, self.circuit.battery, reads, before, now) for path in self._paths[gauge]]

    def verdict(self) -> VerdictCard:
        """What is left, what to repair, which readings prove it; honest about how sure."""
        choice, belief = self._next
        at = self._standpoint
        because = (at.stopping(choice), *(at.carries().lines if choice is None else ()))
        card = verdict_card(self.reasoner, belief, choice is None, self._leads_ohm)
        leading = [line.name for line in (card.suspects[0], *card.look_alikes)]
        named = [part for name in leading for part in parts_of(name)] if card.sure else []
        why = (causes(self.table, self.guesses, self.state.evidence, name) for name in named)
        behind = next(filter(None, why), ())
        card = replace(card, say=card.say + say_beyond(belief, leading, at.known), because=because, behind=behind)
        first = card.suspects[0]
        proved = self.state.repairs and first.name == NOTHING_WRONG.name and first.probability >= PROVED
        return replace(card, say=say.say_holds(first.probability), repair=()) if proved else card

    # ---- why

    @property
    def _standpoint(self) -> Standpoint:
        belief, reasoner, prior = self._next[1], self.reasoner, self._prior
        if belief.table is not reasoner.table and (wider := reasoner.widened(self._belief(), prior)):
            reasoner, prior = reasoner.over(belief), wider[1]
        return Standpoint(reasoner, belief, prior, self.stand, self._passed, self._say_value)

    def carries(self) -> Why:
        """Which answer what leads now hangs on."""
        return self._standpoint.carries()

    def why_not(self, suspect: str) -> Why:
        """What would have to be true for a part or wire, named as a person would, to be it after all. Raises
        TypedWrong."""
        return self._standpoint.why_not(suspect)


def _free_name(folder: Path, stem: str) -> Path:
    """A file name not yet taken."""
    folder.mkdir(parents=True, exist_ok=True)
    for number in range(1, 1000):
        path = folder / (f"{stem}.jsonl" if number == 1 else f"{stem}-{number}.jsonl")
        if not path.exists():
            return path
    raise FileProblems([Problem("folder-full", "too many sessions of this second", "", "", str(folder))])
