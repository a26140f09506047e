"""What a session hands to a front end: ready words and numbers, and the same as plain data for JSON."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.network import Network
from troubleshoot.circuit.setups import key_before
from troubleshoot.diagnose.behind import Cause
from troubleshoot.diagnose.belief import Belief
from troubleshoot.diagnose.explain import Move
from troubleshoot.diagnose.reason import SURE, Reasoner
from troubleshoot.expect.cells import NOT_DESCRIBED, NOTHING_WRONG
from troubleshoot.expect.table import Table
from troubleshoot.parts import Fuse, Relay
from troubleshoot.session.standing import healthy_range
from troubleshoot.session.steps import Steps
from troubleshoot.words import say
from troubleshoot.words.chances import say_chance

Meanings = tuple[tuple[str, tuple[str, ...]], ...]
"""Outcomes of a check, each with the faults, in words, that it would speak for."""


@dataclass(frozen=True)
class CheckCard:
    """One check to do. `healthy` is in V or ohm; `look_meanings` works `meanings` out when they are first asked for."""

    check: Check
    say: str
    short: str
    why: str
    cautions: tuple[str, ...]
    healthy: tuple[float, float] | None
    cost_s: float
    steps: Steps
    look_meanings: Callable[[], Meanings] = field(default=tuple, compare=False, repr=False)

    @cached_property
    def meanings(self) -> Meanings:
        """What each outcome would mean, likeliest first."""
        return self.look_meanings()

    @property
    def say_healthy(self) -> str:
        """The healthy range in words."""
        return say.say_range(self.check, *self.healthy) if self.healthy else ""

    def as_data(self, network: Network) -> dict[str, Any]:
        """The `check` object of the JSON dialogue."""
        check, circuit = self.check, network.circuit
        removed = check.setup.removed
        of = {kind: sorted(n for n in removed if isinstance(circuit.parts[n], kind)) for kind in (Relay, Fuse)}
        prevented = circuit.start_prevented
        turned = check.setup.key in ("cranking", "remote")
        relay = "out" if of[Relay] else "reseated" if check.setup.reseated else "in"
        others = sorted(removed - {*of[Relay], *of[Fuse], circuit.battery})
        return {
            "type": "check", "id": check.id, "kind": check.kind, "red": check.red, "black": check.black,
            "function": check.function if check.kind == "reading" else "", "wire": check.wire, "about": check.about,
            "setup": {
                "key": check.setup.key, "before": key_before(circuit, check.setup), "relay": relay,
                "unplugged": others, "fitted": sorted(check.setup.fitted), "fuses_out": of[Fuse],
                "operated": sorted(check.setup.operated), "warm": check.setup.warm,
                "battery_negative": "off" if circuit.battery in removed else "on",
                "start_prevented_by": prevented.by if turned and prevented else "",
            },
            "say": self.say, "why": self.why, "cautions": list(self.cautions), "answers": list(check.answers),
            "meanings": [{"outcome": o, "suspects": list(f)} for o, f in self.meanings],
            "healthy": [float(f"{value:.4g}") for value in self.healthy] if self.healthy else None,
            "unit": say.unit_of(check),
            "cost_s": round(self.cost_s),
        }  # fmt: skip


@dataclass(frozen=True)
class Outcome:
    """What an answer did: how it was understood, what fell and rose, what it cannot tell, what is doubted; `then`: what
    to do before the next check."""

    understood: str
    fell: tuple[str, ...]
    rose: tuple[str, ...]
    silent: tuple[str, ...]
    doubted: tuple[str, ...]
    moves: tuple[Move, ...] = ()
    compared: str = ""
    then: tuple[str, ...] = ()

    def as_data(self) -> dict[str, Any]:
        """The `outcome` object of the JSON dialogue."""
        return {"type": "outcome", "understood": self.understood, "compared": self.compared,
                "ruled_out": list(self.fell),
                "raised": list(self.rose), "cannot_tell": list(self.silent), "doubted": list(self.doubted),
                **({"then": list(self.then)} if self.then else {}),
                "moves": [{**part_mode(move.fault), "before": round(move.before, 4), "after": round(move.after, 4)}
                          for move in self.moves]}  # fmt: skip


def part_mode(name: str) -> dict[str, str]:
    """A suspect's name taken apart, as the JSON dialogue has it."""
    return {"part": name.rpartition(":")[0], "mode": name.rpartition(":")[2]}


@dataclass(frozen=True)
class Question:
    """A doubtful value asked back, with what it may have meant."""

    question: str
    candidates: tuple[str, ...]

    def as_data(self) -> dict[str, Any]:
        """The `question` object of the JSON dialogue."""
        return {"type": "question", "question": self.question, "candidates": list(self.candidates)}


@dataclass(frozen=True)
class Line:
    """One suspect with its probability."""

    name: str
    say: str
    probability: float


@dataclass(frozen=True)
class Further:
    """What takes longer to work out than the verdict itself: why it comes now and what it hangs on; and why the part
    failed."""

    because: tuple[str, ...] = ()
    behind: tuple[Cause, ...] = ()


@dataclass(frozen=True)
class VerdictCard:
    """The suspects left, look-alikes first named together; what to repair; what proves the repair.

    `look_further` works out the rest, of the moment of the verdict, when it is first asked for.
    """

    suspects: tuple[Line, ...]
    look_alikes: tuple[Line, ...]
    probability: float
    sure: bool
    say: str
    repair: tuple[str, ...]
    prove: tuple[str, ...]
    look_further: Callable[[], Further] = field(default=Further, compare=False, repr=False)

    @property
    def names_a_part(self) -> bool:
        """Whether there is something to repair, and so to prove: not where nothing is wrong, or nobody knows what."""
        return self.suspects[0].name not in (NOTHING_WRONG.name, NOT_DESCRIBED.name)

    @cached_property
    def further(self) -> Further:
        """Why now, and the cause behind. Takes tenths of a second the first time."""
        return self.look_further()

    @property
    def because(self) -> tuple[str, ...]:
        """Why the verdict comes now, or not yet, and what it hangs on."""
        return self.further.because

    @property
    def behind(self) -> tuple[Cause, ...]:
        """Why the part that is named failed."""
        return self.further.behind

    @property
    def has_further(self) -> bool:
        """Whether that has been worked out already."""
        return "further" in self.__dict__

    def as_data(self) -> dict[str, Any]:
        """The `verdict` object of the JSON dialogue."""

        def told(lines: tuple[Line, ...]) -> list[dict[str, Any]]:
            return [
                {**part_mode(line.name), "probability": round(line.probability, 4), "say": line.say}
                for line in lines
            ]  # fmt: skip

        return {"type": "verdict", "suspects": told(self.suspects), "look_alikes": told(self.look_alikes),
                "probability": round(self.probability, 4), "sure": self.sure, "say": self.say,
                "repair": list(self.repair), "prove": list(self.prove), "because": list(self.because),
                "causes": [{**part_mode(cause.fault), "say": cause.say, "probability": round(cause.probability, 4),
                            "proof": cause.proof} for cause in self.behind]}  # fmt: skip


def verdict_card(reasoner: Reasoner, belief: Belief, finished: bool, leads_ohm: float) -> VerdictCard:
    """Puts the verdict together from the belief."""
    groups = reasoner.ranked_groups(belief)
    lead = groups[0]
    p_fault = belief.p_fault
    lines = tuple(Line(n, reasoner.fault(n).say, p_fault.get(n, 0.0)) for n in lead.faults)
    others = tuple(
        Line(n, reasoner.fault(n).say, p_fault[n])
        for group in groups[1:4]
        for n in group.faults
        if p_fault.get(n, 0.0) > 0.01
    )
    # a group with "nothing wrong" in it says nothing: this person's checks do not tell a fault from none
    sure = finished and lead.probability >= SURE and (len(lines) == 1 or NOTHING_WRONG.name not in lead.faults)
    named = lead.faults if len(lines) <= MANY else lead.faults[:MANY]
    return VerdictCard(
        suspects=lines + others,
        look_alikes=lines[1:],
        probability=lead.probability,
        sure=sure,
        say=_say(lines, lead.probability, sure, finished),
        repair=tuple(dict.fromkeys(reasoner.fault(n).repair for n in named)),
        prove=_prove(reasoner, belief, lead.faults, leads_ohm),
    )


MANY = 5
"""Look-alikes up to which all are named with their repairs; of more, so many, the likeliest."""


def _say(lines: tuple[Line, ...], probability: float, sure: bool, finished: bool) -> str:
    what = lines[0].say[0].upper() + lines[0].say[1:]
    if len(lines) > MANY:
        told = "; ".join(f"{line.say} ({say_chance(line.probability)})" for line in lines[:MANY])
        return (
            f"One of {len(lines)} faults, together {say_chance(probability)}, which no check that you can do tells "
            f"apart; the likeliest: {told}. With more at hand, or more within reach, more could be told apart."
        )
    how = f"{say_chance(probability)} sure" if sure else f"not sure yet: {say_chance(probability)}"
    if not sure and finished:
        how = f"no check that is left is worth its time; {say_chance(probability)}"
    text = f"{what} ({how})."
    if len(lines) > 1:
        text += " No allowed check tells it from: " + "; ".join(line.say for line in lines[1:]) + "."
    if lines[0].name == NOT_DESCRIBED.name:
        text += " The readings do not fit any single fault of this circuit; no part is named."
    return text


def _prove(reasoner: Reasoner, belief: Belief, faults: tuple[str, ...], leads_ohm: float) -> tuple[str, ...]:
    """Readings that must change: those taken that were off, else the plain ones that the fault moves most."""
    table = belief.table
    if faults[0] in (NOTHING_WRONG.name, NOT_DESCRIBED.name):
        return ()
    wanted: list[Check] = []
    for known in belief.evidence:
        predicted = table.predict(known.check) if known.choice < 0 and not known.check.again else None
        if predicted and abs(known.value - predicted.mean[0]) > 3 * predicted.sigma[0]:
            wanted.append(known.check)
    cells = [c for c, name in enumerate(table.names) if name in faults]
    p = belief.p_cell[cells] + 1e-12
    mean = (table.stack.mean[cells] * p[:, None]).sum(axis=0) / p.sum()
    apart = np.abs(mean - table.stack.mean[0]) / (table.stack.sigma[0] + 0.05)
    allowed = {check.id for check in reasoner.checks}
    for k in np.argsort(-apart):
        check = table.readings[int(k)]
        if len(wanted) >= 3:
            break
        if check.id in allowed and check.setup in (table.working, table.crank) and apart[k] > 3:
            wanted.append(check)
    wanted += _at_loads(table, allowed)  # whatever else is wrong shows there
    told = []
    for check in dict.fromkeys(wanted):
        if limits := healthy_range(table, check, leads_ohm):
            told.append(f"{say.say_short(table.network, check)}: {say.say_range(check, *limits)}")
    return tuple(told)


def _at_loads(table: Table, allowed: set[str]) -> list[Check]:
    """The volts across each load while it should work: right only when nothing else is wrong either."""
    live = (table.working, table.crank)
    across = {(f"{load}.plus", f"{load}.minus") for load in table.network.circuit.loads}
    found: dict[str, Check] = {}
    for check in table.readings:
        if (check.red, check.black) in across and check.setup in live and check.id in allowed and not check.is_held:
            found.setdefault(check.red, check)
    return list(found.values())
