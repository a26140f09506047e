"""From the search's ways to a tree that one reads: equal parts made one, branches that lead alike made one, steps and
verdicts named."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import replace
from graphlib import TopologicalSorter

import numpy as np

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.setups import Setup
from troubleshoot.expect.cells import NOT_DESCRIBED, NOTHING_WRONG
from troubleshoot.expect.table import Table
from troubleshoot.solve.linear import Floats, Ints
from troubleshoot.tree.branch_words import number_branch, read_branch
from troubleshoot.tree.chances import Chances
from troubleshoot.tree.lookahead import Way
from troubleshoot.tree.tree import Branch, Step, Tree, Verdict

LISTED = 0.05
"""Share of those who come to a verdict from which a fault outside its first group is named too (invented)."""

SWAPPED_V = -0.5
"""Under this, where nothing of the circuit reads negative, the leads are swapped or it fits nothing (invented)."""

UNFIT = "fits_nothing"
"""The verdict of an answer that nothing in the file predicts."""


class Drafting:
    """One tree being written down."""

    def __init__(self, chances: Chances, weight: Floats) -> None:
        self.chances = chances
        self.table = chances.table
        self.weight = weight
        self.verdicts: dict[str, Verdict] = {}
        self._by_suspects: dict[tuple[tuple[str, ...], str], str] = {}
        self._steps: dict[tuple[object, ...], Step] = {}
        self._ends: dict[str, frozenset[str]] = {}
        self._names: dict[int, str] = {}

    def draft(self, way: Way) -> tuple[str, dict[str, Step], dict[str, Verdict]]:
        """The name of the first step or verdict, the steps in an order in which each comes before what it leads to,
        and the verdicts."""
        first = self._name(way)
        steps = {step.name: step for step in self._steps.values()}
        used = {*Tree(self.table.network, first, steps, self.verdicts).reached()}
        steps = {name: step for name, step in steps.items() if name in used}
        # lists, not sets: the order of steps must be the same on every machine
        leads = {
            name: [to for to in (self._next_step(branch.to) for branch in step.branches) if to in steps]
            for name, step in steps.items()
        }
        order = [*TopologicalSorter(leads).static_order()][::-1]
        names = _unique((name, _step_name(steps[name].check)) for name in order)
        renamed = {
            names[name]: replace(
                steps[name],
                name=names[name],
                branches=tuple(replace(b, to=names.get(b.to, b.to)) for b in steps[name].branches),
            )
            for name in order
        }
        verdicts = {
            name: replace(verdict, tell_apart=names.get(verdict.tell_apart, ""))
            for name, verdict in self.verdicts.items() if name in used
        }  # fmt: skip
        return names.get(first, first), renamed, verdicts

    def _next_step(self, to: str) -> str:
        """A step itself; the step that tells the suspects of a verdict apart."""
        return self.verdicts[to].tell_apart if to in self.verdicts else to

    # ---- steps

    def _name(self, way: Way | None) -> str:
        """The name of the step or verdict that a way begins with."""
        if way is None:
            return self._unfit()
        if id(way) not in self._names:
            self._names[id(way)] = self._step(way, way.check) if way.check else self._verdict(way)
        return self._names[id(way)]

    def _step(self, way: Way, check: Check) -> str:
        targets = [self._name(then) for then in way.then]
        if check.kind == "observation" and len(others := set(targets) - {UNFIT}) == 1:
            return others.pop()
        if check.kind == "observation":
            branches = tuple(read_branch(answer, to, check) for answer, to in zip(check.answers, targets, strict=True))
        else:
            branches = self._ranges(check, way, [] if way.limits is None else way.limits.tolist(), targets)
            if len({branch.to for branch in branches} - {UNFIT}) == 1 or len(branches) == 1:
                return next((branch.to for branch in branches if branch.to != UNFIT), UNFIT)
        key = (check.id, *((branch.words, branch.to) for branch in branches))
        if key not in self._steps:
            name = f"step {len(self._steps)}"
            self._steps[key] = Step(name, check, branches)
            self._ends[name] = frozenset().union(*(self._ends.get(b.to, {b.to}) for b in branches)) - {UNFIT}
        return self._steps[key].name

    def _ranges(self, check: Check, way: Way, limits: list[float], targets: list[str]) -> tuple[Branch, ...]:
        """The branches of a reading, from the highest down; neighbours that lead alike are one."""
        if not check.is_ohms and not check.wire and self._never_negative(check, way.cells) and min(limits) > 0:
            limits, targets = [SWAPPED_V, *limits], [UNFIT, *targets]
        ends = [-np.inf, *limits, np.inf]
        merged: list[tuple[float, float, str]] = []
        for low, high, to in zip(ends, ends[1:], targets, strict=False):
            if merged and merged[-1][2] == to:
                merged[-1] = (merged[-1][0], high, to)
            else:
                merged.append((low, high, to))
        if len(merged) == 1:
            return (Branch("", merged[0][2]),)
        branches = [number_branch(check, to, float(low), float(high)) for low, high, to in reversed(merged)]
        return (read_branch("OL", merged[-1][2], check), *branches) if check.is_ohms else tuple(branches)

    def _never_negative(self, check: Check, cells: Ints) -> bool:
        return bool(self.chances.shown(check).only(cells).edges()[0].min() > SWAPPED_V / 2)

    # ---- verdicts

    def _unfit(self) -> str:
        """The verdict of what fits nothing."""
        if UNFIT not in self.verdicts:
            repair = ("this reading fits nothing in this file: leads the right way round, on the right points, key as "
                      f"asked? Else {NOT_DESCRIBED.repair}")  # fmt: skip
            self.verdicts[UNFIT] = Verdict(UNFIT, (NOT_DESCRIBED.name,), repair)
        return UNFIT

    def _verdict(self, way: Way) -> str:
        """The verdict on the faults that may be here, the likeliest group first, and what tells them apart."""
        mass = self.weight[way.cells] * way.share
        of_group = np.bincount(way.groups, mass)
        counted = np.bincount(way.groups, self.chances.weight[way.cells] * way.share)
        listed = np.flatnonzero(counted >= LISTED * counted.sum()).tolist()
        groups = sorted(listed, key=lambda group: -of_group[group])
        suspects = tuple(name for group in groups for name in self._faults_of(way.cells, mass * (way.groups == group)))
        on = self._name(way.apart) if way.apart else ""
        # kept where it rules out one of several; else it asks after what hardly ever is
        behind = [set(self.verdicts[end].suspects) for end in self._ends.get(on, ())]
        on = on if len(suspects) > 1 and not all(named.issuperset(suspects) for named in behind) else ""
        if (suspects, on) not in self._by_suspects:
            name = _free(_plain(suspects[0]), self.verdicts)
            self._by_suspects[suspects, on] = name
            self.verdicts[name] = Verdict(name, suspects, prove=self._prove(suspects), tell_apart=on)
        return self._by_suspects[suspects, on]

    def _faults_of(self, cells: Ints, mass: Floats) -> list[str]:
        """The faults of some cells, those of most weight first."""
        total: dict[str, float] = {}
        for cell, weight in zip(cells.tolist(), mass.tolist(), strict=True):
            if weight > 0:
                total[self.table.names[cell]] = total.get(self.table.names[cell], 0.0) + weight
        return sorted(total, key=lambda name: -total[name])

    def _prove(self, suspects: Sequence[str]) -> tuple[str, ...]:
        """What is to be read after the repair: the reading of a working load that shows the first suspect best, and
        whether the loads run."""
        if suspects[0] == NOTHING_WRONG.name:
            return ()
        found = shows_best(self.table, suspects[0], self.chances.checks)
        runs = [check for check in self.chances.checks if check.about.startswith("runs:")]
        runs = [check for check in runs if check.setup in (self.table.working, self.table.crank)]
        return tuple(check.id for check in ([found] if found else []) + runs[:1])


def shows_best(table: Table, fault: str, checks: Iterable[Check]) -> Check | None:
    """The live reading that shows a fault best against the healthy circuit, in sigmas; None where none shows it."""
    cells = np.array([c for c, name in enumerate(table.names) if name == fault], dtype=np.int64)
    live = [c for c in checks if c.kind == "reading" and not c.is_ohms and not c.is_held and c.setup != Setup("off")]
    if not live or not cells.size:
        return None
    columns = np.array([table.column[check.id] for check in live], dtype=np.int64)
    mean, sigma = table.stack.mean[:, columns], table.stack.sigma[:, columns]
    far = np.abs(mean[cells] - mean[0]) / np.hypot(sigma[cells], sigma[0])
    seen = table.weight[cells] @ np.minimum(far, 10.0)
    return live[int(seen.argmax())] if seen.max(initial=0.0) > 3.0 * table.weight[cells].sum() else None


# ---- names


def _plain(fault: str) -> str:
    """A fault's name as one word."""
    return re.sub(r"[^A-Za-z0-9]+", "_", fault.removeprefix("circuit:")).strip("_")


def _step_name(check: Check) -> str:
    """A check in a word or two: what is read or looked at, and the key state where that is not all."""
    if check.kind == "observation":
        kind, _, name = check.about.partition(":")
        return _plain(f"{name} {kind} {_key(check)}")
    if check.wire:
        return _plain(f"{check.wire} amps {_key(check)}")
    ends = check.red if check.black.endswith((".neg", ".metal")) else f"{check.red} {check.black}"
    return _plain(f"{ends} {'ohms' if check.is_ohms else _key(check)}")


def _key(check: Check) -> str:
    out = " out" if check.setup.removed and check.setup.key not in ("cranking", "remote") else ""
    return f"{check.setup.key}{out}{' warm' if check.setup.warm else ''}"


def _unique(wanted: Iterable[tuple[str, str]]) -> dict[str, str]:
    """A name of its own for each: the one wanted, or with a number behind it."""
    taken: dict[str, str] = {}
    for own, name in wanted:
        taken[own] = _free(name, taken.values())
    return taken


def _free(name: str, taken: Iterable[str]) -> str:
    used = set(taken)
    number, free = 1, name
    while free in used:
        number += 1
        free = f"{name}_{number}"
    return free
