"""A decision tree made from a circuit's expect table: for every fault at every severity, the fewest seconds to its
verdict that the search finds, with a proof of how far from the best that can be.

The proof is on the decision table (decision 8): each fault at as many severities as the exact solver manages, each on
one side of every limit. The tree itself is searched over all severities, which may lie on both sides (`lookahead.py`);
where the tree that follows the decision table's plan is the better one, that is taken.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from graphlib import TopologicalSorter

import numpy as np

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.circuit import Circuit
from troubleshoot.circuit.cost import Stand, cost_s
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.diagnose.belief import prior_of
from troubleshoot.diagnose.comes_and_goes import chances_told, for_heat
from troubleshoot.diagnose.decision import DecisionTable, left_by, tidied
from troubleshoot.diagnose.optimum import Optimum, find_optimum
from troubleshoot.expect.seen import answer_chances, told_already
from troubleshoot.expect.table import Table
from troubleshoot.solve.linear import Floats, Ints
from troubleshoot.solve.meter import OHMS_OFFSET, OVER_LIMIT_OHM
from troubleshoot.tree.chances import Chances
from troubleshoot.tree.draft import Drafting
from troubleshoot.tree.lookahead import Least, Lookahead, Way
from troubleshoot.tree.tree import Branch, Claims, Step, Tree, Verdict

MEAN: Least = "mean-time"

Draft = tuple[Way, str, dict[str, Step], dict[str, Verdict]]

SEVERITIES = (2, 4, 1000)
"""Severities of each fault on the decision table: the most, up to all there are, of which the optimum is proved."""

BUDGET = 200_000
"""Sets of cells that the exact solver may look at, for each of these."""

EVEN = 0.5
"""Share of the weight that is spread evenly over all faults when limits are chosen: rare faults are to be found too
(invented)."""

SLACK = 0.03
"""What a tree claims less of than was reckoned, as a share (invented)."""


@dataclass(frozen=True)
class Compiled:
    """A tree and what is known of it.

    `mean_s`, `worst_s`: seconds to the verdict, expected over all severities, and of the longest way; `right`: share of
    the weight that comes to a verdict whose likeliest group is its own. On the decision table of `cells` × `checks`:
    `table_s` what this tree takes, and `told_apart` the share of it that comes to a verdict of its own group alone;
    `bound_s` what no tree can undercut that tells all groups apart there, `is_proved` whether that is the optimum.
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
        """Checks on the longest way."""
        return longest(self.tree)


def usable(circuit: Circuit, checks: Iterable[Check], after: str = "") -> list[Check]:
    """The checks that a tree may ask: none that hangs on an earlier reading or is for what heat brings and rest takes
    away, nor what the complaint has told."""
    some = [check for check in checks if not check.after and not for_heat(check)]
    return [check for check in some if not (after and told_already(circuit, check, after))]


def compile_tree(
    table: Table, guesses: Guesses, checks: Sequence[Check], group_of: Ints, least: Least = "mean-time",
    after: str = "", can: Sequence[str] = (), budget: int = BUDGET,
) -> Compiled:  # fmt: skip
    """The tree of a circuit for a person who can do these checks, `usable` ones; `group_of` (C,) their look-alike
    groups. `after`: a complaint, "" for any; `can` says in the file what the person can not do."""
    weight = _prior(table, guesses, after)
    chances = Chances(table, checks, _evened(table, weight), group_of)
    searches = [Lookahead(chances, guesses, weight, group_of, aim) for aim in dict.fromkeys((least, MEAN))]
    proof, optimum = _proved(searches[-1], budget)
    ways = [search.tree() for search in searches]
    ways.append(searches[-1].following(proof.chooser(optimum), frozenset(proof.cells.tolist())))
    drafts = [(way, *Drafting(chances, weight, group_of).draft(way)) for way in ways]

    def rate(draft: Draft) -> tuple[float, float]:
        way, mean = draft[0], float(weight @ draft[0].seconds)
        return {"mean-time": mean, "worst-time": way.worst, "pages": float(len(draft[2]))}[least], mean

    way, first, steps, verdicts = min(drafts, key=rate)
    tree = Tree(table.network, first, steps, verdicts, after=after, can=tuple(can))
    mean_s, right = float(weight @ way.seconds), float(weight @ way.right)
    tree = replace(tree, claims=_claims(tree, right, mean_s))
    return Compiled(
        tree, least, mean_s, way.worst, right, proof.table.weight.size, proof.table.act_s.size,
        *proof.walked(tree, guesses), optimum.bound_s, optimum.is_proved,
    )  # fmt: skip


def _proved(search: Lookahead, budget: int) -> tuple[Proof, Optimum]:
    """The decision table with most severities whose optimum is proved within the budget, with that; where there is
    none, the smallest with what was found."""
    found: list[tuple[Proof, Optimum]] = []
    for severities in SEVERITIES:
        proof = Proof.of(search, severities)
        found.append((proof, find_optimum(proof.table, budget)))
        if not found[-1][1].is_proved:
            break
    return next((each for each in reversed(found) if each[1].is_proved), found[0])


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
        readings=longest(tree),
    )  # fmt: skip


def longest(tree: Tree) -> int:
    """Checks on the longest way through a tree without loops."""
    leads = {name: {branch.to for branch in step.branches} for name, step in tree.steps.items()}
    left: dict[str, int] = {}
    for name in TopologicalSorter(leads).static_order():
        left[name] = 1 + max(left[to] for to in leads[name]) if name in leads else 0
    return left.get(tree.first, 0)


@dataclass(frozen=True)
class Proof:
    """The decision table of a search, by whose exact optimum its trees are measured.

    `cells` (m,) are the severities of each fault that stand for all, `weight` (m,) what they stand for. The table's own
    cells are those of them that no limit of the whole circuit makes one, named by their numbers.
    """

    search: Lookahead
    cells: Ints
    weight: Floats
    table: DecisionTable

    @classmethod
    def of(cls, search: Lookahead, severities: int) -> Proof:
        """With so many severities of each fault, at most."""
        chances = search.chances
        cells, weight = _middles(chances.table, search.weight, severities)
        table = DecisionTable(
            weight=weight,
            group=search.group_of[cells],
            outcome=np.array([chance[cells].argmax(axis=1) for chance in chances.chance], dtype=np.int64),
            act_s=search.act_s,
            change_s=search.change_s,
            after=search.after,
            checks=tuple(str(k) for k in range(len(chances.checks))),
            cells=tuple(map(str, cells.tolist())),
        )
        return cls(search, cells, weight, tidied(table))

    def chooser(self, optimum: Optimum) -> Callable[[frozenset[int], int], int]:
        """What the optimum's plan does next when these cells of the circuit's table are alive, from a stand; -1 where
        it is done or has not come there."""
        place = {int(name): i for i, name in enumerate(self.table.cells)}

        def choose(alive: frozenset[int], stand: int) -> int:
            mask = sum(1 << place[cell] for cell in alive if cell in place)
            check = optimum.plan.choice.get((mask, stand), -1) if mask else -1
            return int(self.table.checks[check]) if check >= 0 else -1

        return choose

    def walked(self, tree: Tree, guesses: Guesses) -> tuple[float, float]:
        """Expected seconds of a tree for cars that read just what their cell predicts; and the share of them that comes
        to a verdict which names faults of one group only, their own."""
        table, costs = self.search.chances.table, guesses.costs
        group = dict(zip(table.names, self.search.group_of.tolist(), strict=True))
        seconds, told_apart = 0.0, 0.0
        for cell, weight in zip(self.cells.tolist(), self.weight.tolist(), strict=True):
            stand, name = Stand(), tree.first
            while name in tree.steps:
                step = tree.steps[name]
                seconds += weight * cost_s(table.network.circuit, costs, stand, step.check)
                stand, name = left_by(step.check), _taken(table, step, cell).to
            named = {group.get(suspect) for suspect in tree.verdicts[name].suspects}
            told_apart += weight * (named == {int(self.search.group_of[cell])})
        return seconds, told_apart


def _taken(table: Table, step: Step, cell: int) -> Branch:
    """The branch of a step that a cell's likeliest answer takes."""
    if step.check.kind == "observation":
        answer = step.check.answers[int(answer_chances(table, step.check, 0.0)[cell].argmax())]
        branch = step.of_answer(answer)
    else:
        mean = float(table.stack.mean[cell, table.column[step.check.id]])
        value = math.exp(mean) - OHMS_OFFSET if step.check.is_ohms else mean
        over = step.of_over_limit() if step.check.is_ohms and value > OVER_LIMIT_OHM else None
        branch = over or step.of_value(value)
    if branch is None:
        raise ValueError(f"a gap in {step.name}")
    return branch


def _middles(table: Table, weight: Floats, parts: int) -> tuple[Ints, Floats]:
    """Of each fault's cells, by rising severity in parts of about equal weight, the middle one of each part, (m,), with
    the weight of the part, (m,)."""
    found: dict[int, float] = {}
    for name in dict.fromkeys(table.names):
        own = [c for c, other in enumerate(table.names) if other == name]
        order = np.array(sorted(own, key=lambda c: (table.cells[c].severity or 0.0, c)))
        part_of = np.minimum((np.cumsum(weight[order]) / weight[order].sum() * parts - 1e-9).astype(int), parts - 1)
        for part in range(parts):
            inside = order[part_of == part]
            if inside.size:
                running = np.cumsum(weight[inside])
                found[int(inside[np.searchsorted(running, running[-1] / 2)])] = float(running[-1])
    return np.array(list(found), dtype=np.int64), np.array(list(found.values()))
