"""Why a check is asked, what each answer would mean, what a reading ruled out, and what it cannot tell."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from troubleshoot.circuit.checks import Check
from troubleshoot.diagnose.belief import Belief
from troubleshoot.diagnose.evidence import Known
from troubleshoot.diagnose.reason import Reasoner
from troubleshoot.expect.table import Table
from troubleshoot.parts.branch import Fault
from troubleshoot.solve.cases import OPEN
from troubleshoot.solve.linear import Floats

NO_CURRENT_A = 0.02
"""Amperes under which a joint shows no drop worth reading (invented: 0.02 A × 1 ohm = 20 mV)."""


@dataclass(frozen=True)
class Meaning:
    """One outcome of a check, and which faults it would speak for, likeliest first."""

    outcome: str
    faults: tuple[str, ...]
    probability: float


def meanings(
    reasoner: Reasoner, belief: Belief, check: Check, say: Callable[[float], str], most: int = 4
) -> list[Meaning]:
    """What each answer would mean: outcomes of a look, or bands of values, with the suspects behind each."""
    p = belief.p_cell[:-1]
    names = np.array(belief.table.names)
    if check.kind == "observation":
        chances = belief.chances(check, 0.0)
        parts = [(answer, p * chances[:, a]) for a, answer in enumerate(check.answers)]
    else:
        mean = natural(belief, check)
        parts = [(_band(mean, part, say), part) for part in _clusters(mean, p, check.is_ohms)]
    told = []
    for outcome, part in parts:
        total = float(part.sum())
        if total < 0.005:
            continue
        by_name = {name: float(part[names == name].sum()) for name in set(names[part > 1e-4])}
        likely = sorted(by_name, key=lambda name: (-by_name[name], name))
        likely = [n for n in likely if by_name[n] > 0.1 * by_name[likely[0]]][:most]
        told.append(Meaning(outcome, tuple(likely), total))
    return sorted(told, key=lambda meaning: -meaning.probability)[:most]


def natural(belief: Belief, check: Check) -> Floats:
    """Expected reading of every cell in V or ohm."""
    cells = np.arange(len(belief.table.cells))
    mean = belief.expect(cells, np.array([belief.table.column[check.first_id]]))[0][:, 0]
    return np.maximum(np.exp(mean) - 0.5, 0) if check.is_ohms else mean


def _clusters(mean: Floats, p: Floats, ohms: bool) -> list[Floats]:
    """Splits the cells at wide gaps between their expected readings."""
    scale = np.log(mean + 0.5) if ohms else mean
    live = p > 1e-3 * p.max()
    order = np.argsort(scale)
    order = order[live[order]]
    gap = 1.0 if ohms else 0.6
    parts, start = [], 0
    for i in range(1, order.size + 1):
        if i == order.size or scale[order[i]] - scale[order[i - 1]] > gap:
            part = np.zeros_like(p)
            part[order[start:i]] = p[order[start:i]]
            parts.append(part)
            start = i
    return parts


def _band(mean: Floats, part: Floats, say: Callable[[float], str]) -> str:
    inside = mean[part > 0]
    low, high = say(float(inside.min())), say(float(inside.max()))
    return f"about {low}" if low == high else f"{low} to {high}"


@dataclass(frozen=True)
class Move:
    """A fault's probability before and after an answer."""

    fault: str
    before: float
    after: float


def moved(before: Belief, after: Belief) -> tuple[list[Move], list[Move]]:
    """Faults that an answer made five times less likely, and those that it raised; those that moved most first."""
    p, q = before.p_fault, after.p_fault
    every = [Move(name, p.get(name, 0.0), q.get(name, 0.0)) for name in dict.fromkeys([*p, *q])]
    fell = [m for m in every if m.before > 0.01 and m.after < m.before / 5]
    rose = [m for m in every if m.after > 0.05 and m.after > 1.5 * m.before]
    return (
        sorted(fell, key=lambda m: round(m.after - m.before, 6)),
        sorted(rose, key=lambda m: round(m.before - m.after, 6)),
    )


def silent_about(table: Table, known: Known, belief: Belief, most: int = 3) -> list[tuple[str, float]]:
    """Faults that this reading cannot show because no current flows: (name, largest ohms that read the same).

    Such a joint lies on the way (open, it would change the reading) and yet, with resistance, reads as if it
    were sound.
    """
    check = known.check
    if check.kind == "observation" or check.is_ohms or abs(known.value) < 1.0:
        return []
    predicted = table.predict(check)
    solved = table.solved(check.setup)
    amps = np.abs(solved.currents())
    near = np.abs(predicted.mean - known.value) < 3 * np.hypot(predicted.sigma, known.sigma)
    by_fault: dict[Fault, list[int]] = {}
    for c, cell in enumerate(table.cells):
        by_fault.setdefault(cell.fault, []).append(c)
    found = []
    for fault, cells in by_fault.items():
        if not fault.changes or fault.changes[0].what != "series":
            continue
        branch = table.network.branch_at[fault.changes[0].target]
        shut = [c for c in cells if table.cells[c].severity == OPEN]
        worst = [table.cells[c].severity or 0.0 for c in cells
                 if c not in shut and near[c] and amps[c, branch] < NO_CURRENT_A]  # fmt: skip
        if worst and shut and not near[shut[0]] and max(worst) >= 1.0:
            found.append((fault.name, max(worst)))
    p = belief.p_fault
    return sorted(found, key=lambda item: round(-p.get(item[0], 0.0), 6))[:most]
