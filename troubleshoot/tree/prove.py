"""A tree proved with sampled cars: where each comes to, at what cost, and what is wrong with the tree.

Shares no code with the compiler: cars, not predictions, say what is read (decision 10 of the design). Figures and
findings only; `proof_text.py` says them.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import cached_property

from troubleshoot.circuit.guesses import Guesses
from troubleshoot.tree.closer import LOOKED, Closer, worth_asking
from troubleshoot.tree.findings import Finding, cannot, idle, missed, unsafe
from troubleshoot.tree.margins import Margin, margins_of
from troubleshoot.tree.sampled import Sample
from troubleshoot.tree.tree import Tree
from troubleshoot.tree.tree_doubts import doubts_of
from troubleshoot.tree.ways import Way, is_right, named_below, walk

ROUNDING = 1e-9


@dataclass(frozen=True)
class Proof:
    """What came of it. `bound_s`: what no tree can be under in the mean, where that is known."""

    tree: Tree
    sample: Sample
    ways: tuple[Way, ...]
    findings: tuple[Finding, ...]
    margins: tuple[Margin, ...]
    bound_s: float | None = None

    @cached_property
    def right(self) -> float:
        """Share of the cars whose last verdict names their fault."""
        return _share([is_right(self.tree, way) for way in self.ways])

    @cached_property
    def weighted_right(self) -> float:
        """The same with each fault as frequent as the guesses say."""
        return sum(way.sampled.weight for way in self.ways if is_right(self.tree, way))

    @property
    def minutes(self) -> float:
        """Mean minutes to the first verdict, with each fault as frequent as the guesses say."""
        return self._mean_minutes([way.seconds for way in self.ways])

    @property
    def all_minutes(self) -> float:
        """The same until the suspects of the first verdict are told apart too."""
        return self._mean_minutes([way.all_seconds for way in self.ways])

    def _mean_minutes(self, seconds: Sequence[float]) -> float:
        """The mean of each way's seconds, by its weight; infinite where there is no way."""
        weighted = (way.sampled.weight * each for way, each in zip(self.ways, seconds, strict=True))
        return sum(weighted) / 60 if self.ways else math.inf

    @property
    def worst_minutes(self) -> float:
        return max((way.seconds for way in self.ways), default=math.inf) / 60

    @property
    def readings(self) -> float:
        """Mean number of checks to the first verdict, weighted like the minutes."""
        return sum(way.sampled.weight * way.decided for way in self.ways)

    @property
    def worst_readings(self) -> int:
        return max((way.decided for way in self.ways), default=0)

    @property
    def all_worst_readings(self) -> int:
        """The most checks until the suspects of the first verdict are told apart too."""
        return max((len(way.visits) for way in self.ways), default=0)

    @property
    def over_bound(self) -> float | None:
        """Measured mean time to the first verdict over the bound."""
        return self.minutes * 60 / self.bound_s if self.bound_s else None

    @property
    def all_over_bound(self) -> float | None:
        """The same until the suspects of the first verdict are told apart too."""
        return self.all_minutes * 60 / self.bound_s if self.bound_s else None

    @cached_property
    def smallest_v(self) -> float | None:
        """The smallest margin of a reading in volts."""
        return min((m.margin for m in self.margins if self._dimension(m) == "volts"), default=None)

    @cached_property
    def tightest(self) -> Margin | None:
        """The reading nearest to a limit, or furthest on its wrong side, by the meter's error."""
        return min(self.margins, key=lambda margin: margin.errors, default=None)

    def _dimension(self, margin: Margin) -> str:
        check = self.tree.steps[margin.step].check
        return "ohms" if check.is_ohms else "amps" if check.wire else "volts"

    @cached_property
    def falls_short(self) -> tuple[str, ...]:
        """What the file claims and the cars do not bear out, in words."""
        claims, said = self.tree.claims, []
        if self.right < claims.right - ROUNDING:
            said.append(f"right in {self.right:.4f} of the cars, not in {claims.right:g} as the file claims")
        if self.minutes > claims.minutes + ROUNDING:
            said.append(f"{self.minutes:.2f} minutes in the mean, not {claims.minutes:g} as the file claims")
        if self.worst_readings > claims.readings:
            said.append(f"up to {self.worst_readings} readings, not {claims.readings} as the file claims")
        return tuple(said)

    @property
    def holds(self) -> bool:
        """Whether the tree is safe, whole, and does what its file claims."""
        return not self.falls_short and not any(finding.fails for finding in self.findings)

    def figures(self) -> dict[str, float | int | None]:
        """What goes into the certificate."""
        tightest = self.tightest
        return {
            "right": round(self.right, 4), "weighted_right": round(self.weighted_right, 4),
            "minutes": _rounded(self.minutes), "worst_minutes": _rounded(self.worst_minutes),
            "readings": round(self.readings, 2), "worst_readings": self.worst_readings,
            "over_bound": _rounded(self.over_bound),
            "all_minutes": _rounded(self.all_minutes), "all_worst_readings": self.all_worst_readings,
            "all_over_bound": _rounded(self.all_over_bound),
            "smallest_margin_v": _rounded(self.smallest_v),
            "margin_over_meter_error": None if tightest is None else _rounded(tightest.errors),
            "faults": len(self.sample.faults), "cars": len(self.sample.cars), "seed": self.sample.seed,
        }  # fmt: skip


def _rounded(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, 4)


def prove(
    tree: Tree, sample: Sample, guesses: Guesses, allowed: Collection[str] | None = None,
    bound_s: float | None = None, looked: int = LOOKED,
) -> Proof:  # fmt: skip
    """Walks all cars of a sample through a tree, each read off from the first anew.

    `allowed`: ids of the checks that the tree's reader can make, None for all; `looked`: cars of a fault at a verdict,
    at most, to find what would tell more, 0 for not asking.
    """
    leads = {name: {branch.words: branch.to for branch in step.branches} for name, step in tree.steps.items()}
    built = [Finding(doubt.code, ".".join(str(piece) for piece in doubt.path), doubt.message, doubt.hint, fails=True)
             for doubt in doubts_of(tree, leads)]  # fmt: skip
    if allowed is not None:
        built += cannot(tree, allowed)
    for each in sample.cars:
        each.car.rewind()
    below, ways = named_below(tree), walk(tree, sample.cars, guesses.costs)
    found = [*built, *unsafe(tree, ways), *missed(tree, ways, below), *idle(tree, ways)]
    found = list({(each.code, each.place, each.message): each for each in found}.values())
    if looked and not any(each.fails for each in built):
        checks = worth_asking(tree, guesses, allowed)
        found += Closer(tree, ways, checks, looked).found()
    return Proof(tree, sample, tuple(ways), tuple(found), tuple(margins_of(tree, ways, below)), bound_s)


def _share(hits: Sequence[bool]) -> float:
    return sum(hits) / len(hits) if hits else 0.0
