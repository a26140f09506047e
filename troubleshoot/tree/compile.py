"""A decision tree made from a circuit's expect table: for every fault at every severity, the fewest seconds to its
verdict that the search finds, with a proof of how far from the best that can be.

The proof is on a decision table (`yardstick.py`). The tree itself is searched over all severities, which may lie on
both sides of a limit (`lookahead.py`), more and less patiently; of those near the best plan of that table the one that
finds most is taken.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.circuit import Circuit
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.diagnose.belief import prior_of
from troubleshoot.diagnose.comes_and_goes import chances_told, for_heat
from troubleshoot.diagnose.optimum import Optimum
from troubleshoot.expect.seen import told_already
from troubleshoot.expect.table import Table
from troubleshoot.solve.linear import Floats, Ints
from troubleshoot.tree.chances import Chances
from troubleshoot.tree.draft import Drafting
from troubleshoot.tree.lookahead import Least, Lookahead, Way
from troubleshoot.tree.thresholds import FINER_NUMBERS
from troubleshoot.tree.tree import Claims, Step, Tree, Verdict
from troubleshoot.tree.walk import longest_way
from troubleshoot.tree.yardstick import Yardstick, proved

MEAN: Least = "mean-time"

Draft = tuple[Way, str, dict[str, Step], dict[str, Verdict]]

BUDGET = 800_000
"""Sets of cells that the exact solver may look at, for each of the yardstick's tables."""

PATIENCE = (2.5e-4, 5e-4, 1e-3, 1.5e-3, 2e-3, 2.5e-3, 3e-3)
"""Nats a second under which a search stops (invented); each is tried: 1e-3 is 0.1 of a check of 100 seconds."""

NEAR = 0.025
"""A tree this share dearer than the plan that tells all apart on the decision table, or less, may be as patient as it
likes."""

ENOUGH, LEAST_CELLS = 1e-3, 140
"""Where a tree of this patience is near the best plan of a table with at least so many cells, no finer table is asked
for (invented)."""

ALL_APART, ALL_SURE = 1e-5, 0.99
"""The patience of the steps behind a verdict, and how sure they must make, for who wants to know which of its suspects
it is (invented)."""

EVEN = 0.5
"""Share of the weight that is spread evenly over all faults when limits are chosen: rare faults are to be found too
(invented)."""

SLACK = 0.03
"""What a tree claims less of than was reckoned, as a share (invented)."""


@dataclass(frozen=True)
class Compiled:
    """A tree and what is known of it.

    `mean_s`, `worst_s`: seconds to the first verdict, expected over all severities, and of the longest way; `right`:
    share of the weight that comes to one whose likeliest group is its own. On the decision table of `cells` × `checks`:
    `table_s` what this tree takes to there, and `told_apart` the share of it whose last verdict is of its own group
    alone; `bound_s` what no tree can undercut that tells all groups apart there, `is_proved` whether that is the
    optimum.
    """

    tree: Tree
    least: Least
    mean_s: float
    worst_s: float
    right: float
    cells: int
    checks: int
    table_s: float
    told_apart: float
    bound_s: float
    is_proved: bool

    @property
    def gap(self) -> float:
        """How much dearer it is than the bound on the decision table, as a share; below zero where it stops before all
        groups are told apart."""
        return self.table_s / self.bound_s - 1 if self.bound_s else 0.0

    def figures(self) -> dict[str, float | int | str | bool]:
        """What goes into the certificate."""
        return {
            "least": self.least, "cost_s": round(self.table_s, 1), "bound_s": round(self.bound_s, 1),
            "bound_is_optimum": self.is_proved, "gap": round(self.gap, 4), "cells": self.cells, "checks": self.checks,
            "told_apart": round(self.told_apart, 4),
            "expected_s": round(self.mean_s, 1), "longest_s": round(self.worst_s, 1), "steps": len(self.tree.steps),
            "longest": self.readings, "right_expected": round(self.right, 4),
        }  # fmt: skip

    @property
    def readings(self) -> int:
        """Checks on the longest way to a first verdict."""
        return longest_way(self.tree)


def usable(circuit: Circuit, checks: Iterable[Check], after: str = "") -> list[Check]:
    """The checks that a tree may ask: none that hangs on an earlier reading or is for what heat brings and rest takes
    away, nor what the complaint has told."""
    some = [check for check in checks if not check.after and not for_heat(check)]
    return [check for check in some if not (after and told_already(circuit, check, after))]


def compile_tree(
    table: Table, guesses: Guesses, checks: Sequence[Check], group_of: Ints, least: Least = "mean-time",
    after: str = "", can: Sequence[str] = (), budget: int = BUDGET, patience: Sequence[float] = PATIENCE,
) -> Compiled:  # fmt: skip
    """The tree of a circuit for a person who can do these checks, `usable` ones; `group_of` (C,) their look-alike
    groups. `after`: a complaint, "" for any; `can` says in the file what the person can not do; `patience` is tried."""
    weight = _prior(table, guesses, after)
    chances = Chances(table, checks, _evened(table, weight), group_of)

    def search(nats_s: float, aim: Least = MEAN) -> Lookahead:
        return Lookahead(chances, guesses, weight, group_of, nats_s, aim)

    def mean(way: Way) -> float:
        return float(weight @ way.seconds)

    tried = {nats_s: search(nats_s).tree() for nats_s in patience}

    def near(optimum: Optimum) -> list[float]:
        return [each for each in patience if mean(tried[each]) <= (1 + NEAR) * optimum.plan.cost_s]

    def is_enough(yardstick: Yardstick, optimum: Optimum) -> bool:
        return yardstick.table.weight.size >= LEAST_CELLS and min(near(optimum), default=np.inf) <= ENOUGH

    yardstick, optimum = proved(search(ENOUGH), budget, is_enough)
    fit = near(optimum) or [min(patience, key=lambda each: mean(tried[each]))]
    taken = max(fit, key=lambda each: float(chances.weight @ tried[each].right))
    ways = [tried[taken], *([] if least == MEAN else [search(taken, least).tree()])]
    if least != "pages":
        finer = Chances(table, checks, chances.weight, table.fault_of, FINER_NUMBERS)
        apart = Lookahead(finer, guesses, weight, table.fault_of, ALL_APART, sure=ALL_SURE)
        ways = [apart.told_apart(way) for way in ways]
    drafts = [(way, *Drafting(chances, weight).draft(way)) for way in ways]

    def rate(draft: Draft) -> tuple[float, float]:
        way = draft[0]
        return {MEAN: mean(way), "worst-time": way.worst, "pages": float(len(draft[2]))}[least], mean(way)

    best = min(drafts, key=rate)
    way, first, steps, verdicts = best
    tree = Tree(table.network, first, steps, verdicts, after=after, can=tuple(can))
    mean_s, right = float(weight @ way.seconds), float(weight @ way.right)
    tree = replace(tree, claims=_claims(tree, right, mean_s))
    return Compiled(
        tree, least, mean_s, way.worst, right, yardstick.table.weight.size,
        yardstick.table.act_s.size, *yardstick.walked(tree, guesses), optimum.bound_s, optimum.is_proved,
    )  # fmt: skip


def _prior(table: Table, guesses: Guesses, after: str) -> Floats:
    """Weight of every cell, sum 1, given the complaint."""
    prior = prior_of(table, guesses)[:-1]
    if after:
        prior = prior * chances_told(table, after)
    return np.asarray(prior / prior.sum())


def _evened(table: Table, weight: Floats) -> Floats:
    """The weights with a share of them spread evenly over the faults."""
    of = table.fault_of
    even = weight / np.bincount(of, weight)[of] / (of.max() + 1)
    return np.asarray((1 - EVEN) * weight + EVEN * even)


def _claims(tree: Tree, right: float, mean_s: float) -> Claims:
    """What the maker dares say of it: a little less than was reckoned, so that chance does not fail the proof."""
    return Claims(
        right=max(0.0, math.floor(100 * (right - SLACK)) / 100), minutes=math.ceil(mean_s * (1 + SLACK) / 6) / 10,
        readings=longest_way(tree),
    )  # fmt: skip
