"""How near the readings of sampled cars come to the limits of a tree."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from troubleshoot.circuit.checks import Check
from troubleshoot.solve.meter import ACCURACY_PERCENT, CLAMP_SHARE, CLAMP_SIGMA_A, LEAD_SIGMA_OHM, digit_v
from troubleshoot.tree.tree import Step, Tree
from troubleshoot.tree.ways import Way
from troubleshoot.words.say import say_short, say_value

OHMS_SHARE = 0.01
"""Accuracy of a usual meter on ohms, of the reading (typical maker data, no single source; from memory)."""


@dataclass(frozen=True)
class Margin:
    """How far a reading was from a limit that it should be on one side of, in the unit of the check; below zero where
    it was on the other. `errors`: the same in units of the meter's error at the limit."""

    step: str
    limit: float
    margin: float
    errors: float
    fault: str
    said: str


def error_at(check: Check, limit: float) -> float:
    """The meter's error at a reading, in its unit: its accuracy and two of its last digits; a clamp's, two sigma; on
    ohms with two sigma of the leads."""
    if check.wire:
        return CLAMP_SHARE * abs(limit) + 2 * CLAMP_SIGMA_A
    if check.is_ohms:
        return OHMS_SHARE * abs(limit) + 2 * LEAD_SIGMA_OHM
    return ACCURACY_PERCENT / 100 * abs(limit) + 2 * float(digit_v(limit, check.function))


def margins_of(tree: Tree, ways: Sequence[Way], below: Mapping[str, frozenset[str]]) -> Iterator[Margin]:
    """Of every limit the reading nearest to it, or furthest on its wrong side, of those that belong on one side."""
    least: dict[tuple[str, float], Margin] = {}
    for way in ways:
        for visit in way.visits:
            step, value = tree.steps[visit.step], visit.answered.value
            if step.check.kind == "observation" or visit.answered.over_limit:
                continue
            for limit, sign in _belongs(step, way.sampled.fault, below):
                margin = sign * (value - limit)
                if (visit.step, limit) not in least or margin < least[visit.step, limit].margin:
                    errors = margin / error_at(step.check, limit)
                    least[visit.step, limit] = Margin(visit.step, limit, margin, errors, way.sampled.fault,
                                                      visit.answered.said)  # fmt: skip
    yield from least.values()


def _belongs(step: Step, fault: str, below: Mapping[str, frozenset[str]]) -> Iterator[tuple[float, int]]:
    """The limits of a step that a car with this fault should be above (1) or below (-1)."""
    good = [b for b in step.branches if not b.over_limit and fault in below.get(b.to, frozenset())]
    high = [b for b in step.branches if b.over_limit and fault in below.get(b.to, frozenset())]
    for limit in {edge for b in step.branches for edge in (b.low, b.high) if math.isfinite(edge)}:
        above = bool(high) or any(b.high > limit for b in good)
        under = any(b.low < limit for b in good)
        if above != under:
            yield limit, 1 if above else -1


def say_margin(tree: Tree, margin: Margin) -> str:
    """A margin in words."""
    check = tree.steps[margin.step].check
    return (
        f"{say_value(check, margin.margin)} from {say_value(check, margin.limit)} at {margin.step} "
        f"({say_short(tree.network, check)}: {margin.said} with {margin.fault}), "
        f"{margin.errors:.1f} times the meter's error"
    )
