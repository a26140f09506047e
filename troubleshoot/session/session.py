"""The one object that every front end talks to: a job from the safety gate to the verdict.

It keeps no state but the log of events; what it shows is worked out from their replay. Front ends print what
it gives and compute nothing.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from troubleshoot import places
from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.circuit import Circuit
from troubleshoot.circuit.complaints import complaints_of
from troubleshoot.circuit.cost import Stand
from troubleshoot.diagnose.evidence import Known, known_from
from troubleshoot.diagnose.reason import Reasoner
from troubleshoot.draw import Path as CircuitPath
from troubleshoot.draw.circuit_line import GaugeUnit
from troubleshoot.errors import FileProblems, Problem, TypedWrong
from troubleshoot.expect.table import Table
from troubleshoot.files.circuit_file import parse_circuit
from troubleshoot.files.file_text import read_text
from troubleshoot.files.guesses_file import load_guesses
from troubleshoot.session import shown
from troubleshoot.session.ability import Can, learned_from, say_limits
from troubleshoot.session.cards import CheckCard, Line, Outcome, Question, VerdictCard
from troubleshoot.session.log import Event, Log, LogFailed
from troubleshoot.session.reasons import Why
from troubleshoot.session.reckoning import Reckoning
from troubleshoot.session.standing import ReadLine
from troubleshoot.session.state import State, apply, check_to, expects, known_to, replay
from troubleshoot.session.typed import find_check, find_look
from troubleshoot.solve import meter
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


class Session:
    """A job: `start` or `resume`, `clear_gate`, `tell`, then `next_check` and `record` until a verdict."""

    def __init__(self, log: Log, events: list[Event], clock: Callable[[], datetime]) -> None:
        self._log = log
        self._clock = clock
        started = events[0]
        self.circuit_name: str = started["circuit"]
        self.state: State = replay(events)
        self._now = Reckoning(started, self.state)
        self.guesses = self._now.guesses
        self._pending: tuple[Check, Doubtful] | None = None

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

    @property
    def circuit(self) -> Circuit:
        """The circuit as it was when the job began; read without waiting for the table."""
        return self._now.circuit

    @property
    def table(self) -> Table:
        """Predictions; two seconds of work the first time."""
        return self._now.table

    @property
    def reasoner(self) -> Reasoner:
        """Groups and choice for what this person can do, on a job brought with this complaint."""
        return self._now.reasoner

    @property
    def p_fault(self) -> dict[str, float]:
        """Probability of each fault by name, now."""
        return self._now.belief.p_fault

    @property
    def stand(self) -> Stand:
        """Where the person is, and whether a second one must be fetched yet."""
        return self._now.stand

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

    def conclude(self, verdict: str = "") -> None:
        """The person takes the verdict as it stands, that of a tree where it is given in words: the job counts as
        finished until something is added."""
        self._append({"event": "concluded", "say": verdict or self.verdict().say})

    def lead(self, to: str, tree: str = "") -> None:
        """The walk of a tree has come to a step or verdict of it; with `tree`, where it begins."""
        self._append({"event": "led", "to": to, **({"tree": tree} if tree else {})})

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
        self._forget(prior=True)

    def _checked(self, complaint: str) -> str:
        """A complaint that there is. Raises TypedWrong."""
        known = complaints_of(self.circuit)
        if complaint not in known:
            raise TypedWrong(Problem("unknown-complaint", f"{complaint!r} is not a complaint",
                                     f"one of: {', '.join(known)}", "complaint"))  # fmt: skip
        return complaint

    def repaired(self, suspects: Sequence[str] = (), complaint: str = "unsure") -> tuple[str, ...]:
        """A suspect has been repaired, the leading one where none is named: the sign-off begins, which finds what the
        fault has hidden. Named as in the verdict, "relay:coil-open", or by the part alone. `complaint`: what is still
        wrong then. Returns what was repaired, in words. Raises TypedWrong.
        """
        leading = self.reasoner.ranked_groups(self._now.belief)[0].faults[0]
        named = tuple(map(self._now.repairable, suspects or (leading,)))
        self._append({"event": "repaired", "suspects": list(named), "complaint": self._checked(complaint)})
        self._forget(prior=True)
        return tuple(self.say_fault(name) for name in named)

    def undo(self) -> str:
        """Takes the last answer, skip or repair back. Returns what was taken back, "" when there is nothing."""
        repairs = self.state.repairs
        if repairs and repairs[-1].end == len(self.state.entries):
            mended, last = repairs[-1], self.state.entries[-1:]
            self._append({"event": "undone"})
            self._forget(prior=True)
            if mended.by_swap:
                return say.say_short(self._now.network, last[0].check)
            return f"the repair: {'; '.join(map(self.say_fault, mended.suspects))}"
        if not self.state.entries:
            return ""
        gone = self.state.entries[-1]
        self._append({"event": "undone"})
        self._forget()
        return say.say_short(self._now.network, gone.check)

    def skip(self, check: CheckCard | Check, why: str = "") -> str:
        """This check is not done. Returns what the reason taught of all further checks, in words; "" for nothing."""
        target = check.check if isinstance(check, CheckCard) else check
        learned = learned_from(self.table.network, target, why)
        self._append({"event": "skipped", "check": check_to(target), "why": why, "learned": learned})
        self._forget()
        return say_limits(self.circuit, learned)

    # ---- the next check

    def _forget(self, prior: bool = False) -> None:
        self._pending = None
        self._now.forget(prior)

    def next_check(self) -> CheckCard | VerdictCard:
        """The check to do now, or the verdict when nothing more is worth doing."""
        choice = self._now.choice
        return shown.check_card(self._now, choice.check) if choice else self.verdict()

    def say_fault(self, name: str) -> str:
        """A fault's name as a sentence part."""
        return self._now.say_fault(name)

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
        before = self._now.belief
        return shown.outcome_of(self._now, before, self.keep(check, answer, text))

    def keep(self, check: Check, answer: Value | OverLimit | Wander | Seen, text: str) -> Known:
        """Takes an answer that has been understood, without saying what it does to the suspects."""
        known = known_from(check, answer, self._now.leads_ohm)
        cured = self._now.cured(known)
        self._append({"event": "answered", "check": check_to(check), "text": text[:200], "known": known_to(known),
                      **({"cured": cured} if cured else {})})  # fmt: skip
        self._forget(prior=bool(cured))
        return known

    def record_text(self, text: str) -> Outcome | Question:
        """Takes a reading of the person's own choice, "86 cranking 0.2" or "30 to 87 on 0.1"."""
        check, value = find_look(self.table, text) or find_check(self.table, text)
        return self.record(check, value)

    def record_reading(
        self, red: str, black: str, function: str, key: str, value: str, removed: frozenset[str] = frozenset()
    ) -> Outcome | Question:
        """The same from named fields. Raises TypedWrong."""
        return self.record(find_check(self.table, "", red, black, function, key, removed)[0], value)

    # ---- looking back

    def suspects(self, most: int = 8) -> list[Line]:
        """The likeliest faults, with probabilities."""
        return shown.suspects(self._now, most)

    def readings(self) -> list[str]:
        """What was read so far beside what a healthy circuit shows."""
        return [read.say for read in self.read_lines()]

    def read_lines(self) -> list[ReadLine]:
        """The same in pieces."""
        return shown.read_lines(self._now)

    def circuit_lines(self, gauge: GaugeUnit = "as written") -> list[CircuitPath]:
        """The circuit through load and coil, with what was read and how each stretch stands."""
        return shown.circuit_lines(self._now, gauge)

    def verdict(self) -> VerdictCard:
        """What is left, what to repair, which readings prove it; honest about how sure."""
        return shown.verdict_of(self._now)

    # ---- why

    def carries(self) -> Why:
        """Which answer what leads now hangs on."""
        return self._now.standpoint().carries()

    def why_not(self, suspect: str) -> Why:
        """What would have to be true for a part or wire, named as a person would, to be it after all. Raises
        TypedWrong."""
        return self._now.standpoint().why_not(suspect)


def _free_name(folder: Path, stem: str) -> Path:
    """A file name not yet taken."""
    folder.mkdir(parents=True, exist_ok=True)
    for number in range(1, 1000):
        path = folder / (f"{stem}.jsonl" if number == 1 else f"{stem}-{number}.jsonl")
        if not path.exists():
            return path
    raise FileProblems([Problem("folder-full", "too many sessions of this second", "", "", str(folder))])
