"""The decision table by whose exact optimum a circuit's trees are measured (decision 8).

A row stands for a share of the cars of a fault: of its severities the middle one of a part of them, of what else is not
known about a car, one half. In each row a reading lies on one side of every limit; all of a row's readings lie as high
or low within what its cell may show. Where it is proved, its optimum is what no tree can undercut that tells all rows'
groups apart by these limits.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from troubleshoot.circuit.cost import Stand, cost_s
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.diagnose.decision import DecisionTable, bands_at, left_by, severity_parts, tidied
from troubleshoot.diagnose.optimum import Optimum, find_optimum
from troubleshoot.solve.linear import Floats, Ints
from troubleshoot.tree.lookahead import Lookahead
from troubleshoot.tree.tree import Branch, Step, Tree

SEVERITIES = (2, 3, 4, 6)
"""Severities of each fault that are tried, up to so many as are asked for and as the optimum is proved of."""

WITHIN = np.array([0.25, 0.75])
"""Where in what its cell may show a row's readings lie: the middles of two halves."""


@dataclass(frozen=True)
class Yardstick:
    """The table, and its rows before those that read alike are made one: `cell` (m,) of the circuit's table, `at` (m,)
    where in what it may show, `weight` (m,). The table's own cells are named by their row's number."""

    search: Lookahead
    cell: Ints
    at: Floats
    weight: Floats
    table: DecisionTable

    @classmethod
    def of(cls, search: Lookahead, severities: int) -> Yardstick:
        """With so many severities of each fault, at most."""
        chances = search.chances
        cells, weight = severity_parts(chances.table, search.weight, severities)
        cell, weight = np.repeat(cells, WITHIN.size), np.repeat(weight / WITHIN.size, WITHIN.size)
        at = np.tile(WITHIN, cells.size)
        table = DecisionTable(
            weight=weight,
            group=search.group_of[cell],
            outcome=np.array([bands_at(chance[cell], at) for chance in chances.chance], dtype=np.int64),
            act_s=search.act_s,
            change_s=search.change_s,
            after=search.after,
            checks=tuple(str(k) for k in range(len(chances.checks))),
            cells=tuple(map(str, range(cell.size))),
        )
        return cls(search, cell, at, weight, tidied(table))

    def walked(self, tree: Tree, guesses: Guesses) -> tuple[float, float]:
        """Expected seconds of a tree to its first verdict, for cars that read as their row says; and the share of them
        whose last verdict names faults of one group only, their own."""
        chances, costs = self.search.chances, guesses.costs
        circuit = chances.table.network.circuit
        group = dict(zip(chances.table.names, self.search.group_of.tolist(), strict=True))
        seconds, told_apart = 0.0, 0.0
        for row, weight in enumerate(self.weight.tolist()):
            stand, name, is_decided = Stand(), tree.first, False
            while on := tree.led_to(name):
                step = tree.steps.get(name)
                if step is None:
                    name, is_decided = on[0], True
                    continue
                seconds += 0.0 if is_decided else weight * cost_s(circuit, costs, stand, step.check)
                stand, name = left_by(step.check), self._taken(step, row).to
            named = {group.get(suspect) for suspect in tree.verdicts[name].suspects}
            told_apart += weight * (named == {int(self.search.group_of[self.cell[row]])})
        return seconds, told_apart

    def _taken(self, step: Step, row: int) -> Branch:
        """The branch of a step that a row comes to."""
        chances, cells, at = self.search.chances, self.cell[[row]], self.at[[row]]
        if step.check.kind == "observation":
            band = int(bands_at(chances.bands(step.check, np.zeros(0))[cells], at)[0])
            branch = step.of_answer(step.check.answers[band])
        else:
            limits = sorted({each.low for each in step.branches if np.isfinite(each.low)})
            ends = [*([limits[0] - 1.0] if limits else [0.0]), *limits]
            band = int(bands_at(chances.shown(step.check).only(cells).bands(np.array(limits)), at)[0])
            branch = step.of_value(ends[band])
        if branch is None:
            raise ValueError(f"a gap in {step.name}")
        return branch


def proved(
    search: Lookahead, budget: int, is_enough: Callable[[Yardstick, Optimum], bool]
) -> tuple[Yardstick, Optimum]:
    """The first table that is enough with its optimum, or that with most severities whose optimum is proved within the
    budget; where there is none, the smallest with what was found."""
    found: list[tuple[Yardstick, Optimum]] = []
    for severities in SEVERITIES:
        made = Yardstick.of(search, severities)
        if found and made.cell.size == found[-1][0].cell.size:
            break  # no fault has so many
        found.append((made, find_optimum(made.table, budget)))
        if not found[-1][1].is_proved or is_enough(*found[-1]):
            break
    return next((each for each in reversed(found) if each[1].is_proved), found[0])
