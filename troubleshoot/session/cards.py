"""What a session hands to a front end: ready words and numbers, and the same as plain data for JSON."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.network import Network
from troubleshoot.circuit.setups import key_before
from troubleshoot.diagnose.belief import Belief
from troubleshoot.diagnose.reason import SURE, Reasoner
from troubleshoot.expect.cells import NOT_DESCRIBED, NOTHING_WRONG
from troubleshoot.parts import Fuse, Relay
from troubleshoot.session.standing import healthy_range
from troubleshoot.session.steps import Steps
from troubleshoot.words import say


@dataclass(frozen=True)
class CheckCard:
    """One check to do. `healthy` is in V or ohm."""

    check: Check
    say: str
    short: str
    why: str
    meanings: tuple[tuple[str, tuple[str, ...]], ...]
    cautions: tuple[str, ...]
    healthy: tuple[float, float] | None
    cost_s: float
    steps: Steps

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
    """What an answer did: how it was understood, what fell and rose, what it cannot tell, what is doubted."""

    understood: str
    fell: tuple[str, ...]
    rose: tuple[str, ...]
    silent: tuple[str, ...]
    doubted: tuple[str, ...]

    def as_data(self) -> dict[str, Any]:
        """The `outcome` object of the JSON dialogue."""
        return {"type": "outcome", "understood": self.understood, "ruled_out": list(self.fell),
                "raised": list(self.rose), "cannot_tell": list(self.silent), "doubted": list(self.doubted)}  # fmt: skip


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
class VerdictCard:
    """The suspects left, look-alikes first named together; what to repair; what proves the repair."""

    suspects: tuple[Line, ...]
    look_alikes: tuple[Line, ...]
    probability: float
    sure: bool
    say: str
    repair: tuple[str, ...]
    prove: tuple[str, ...]

    def as_data(self) -> dict[str, Any]:
        """The `verdict` object of the JSON dialogue."""

        def told(lines: tuple[Line, ...]) -> list[dict[str, Any]]:
            return [
                {"part": line.name.rpartition(":")[0], "mode": line.name.rpartition(":")[2],
                 "probability": round(line.probability, 4), "say": line.say}
                for line in lines
            ]  # fmt: skip

        return {"type": "verdict", "suspects": told(self.suspects), "look_alikes": told(self.look_alikes),
                "probability": round(self.probability, 4), "sure": self.sure, "say": self.say,
                "repair": list(self.repair), "prove": list(self.prove)}  # fmt: skip


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
    sure = finished and lead.probability >= SURE
    return VerdictCard(
        suspects=lines + others,
        look_alikes=lines[1:],
        probability=lead.probability,
        sure=sure,
        say=_say(lines, lead.probability, sure, finished),
        repair=tuple(dict.fromkeys(reasoner.fault(n).repair for n in lead.faults)),
        prove=_prove(reasoner, belief, lead.faults, leads_ohm),
    )


def _say(lines: tuple[Line, ...], probability: float, sure: bool, finished: bool) -> str:
    what = lines[0].say[0].upper() + lines[0].say[1:]
    how = f"{probability:.0%} sure" if sure else f"not sure yet: {probability:.0%}"
    if not sure and finished:
        how = f"no check that is left would tell more; {probability:.0%}"
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
    told = []
    for check in dict.fromkeys(wanted):
        if limits := healthy_range(table, check, leads_ohm):
            told.append(f"{say.say_short(table.network, check)}: {say.say_range(check, *limits)}")
    return tuple(told)
