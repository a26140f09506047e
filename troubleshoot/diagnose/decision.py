"""The decision table: what is left between belief and choice, small enough to look ahead on (decision 8).

Cells are suspects at a severity and a tolerance, each with a weight and a look-alike group. Every check sorts
the cells into outcome bands, and a cell falls into one band of each check. The search is over when the cells
still alive share a group. The next check by rollout, the exact optimum, trees and scores all read this one table.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.cost import Stand, act_s, change_s
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.expect.seen import answer_chances
from troubleshoot.expect.table import Table
from troubleshoot.solve.linear import Bools, Floats, Ints

GAP_SIGMAS = 3.0
"""A band ends where there is a gap this wide between neighbouring cells (decision 8)."""

NIL_SIGMA = 0.05
"""Sigma in volts, at least, of what is read at a floating point where nothing leaks: on nothing finer is anything
planned (invented)."""

LEAST_WEIGHT = 1e-9
"""No cell is lighter than this, so that every answer has a next step."""

HEDGE = 0.2
"""Share of the weight that a hedged choice spreads evenly (chosen on drawn tables of the shipped circuits: more costs
where the weights are right, less where each is wrong by 5; tests/benchmarks/choice.py shows both)."""


@dataclass(frozen=True)
class DecisionTable:
    """n cells, K checks, P stands (how things are set up, and where the person is).

    `weight` (n,) sums to 1; `group` (n,) numbers the look-alike groups; `outcome` (K, n) is each cell's band;
    `act_s` (K,) seconds for the check itself; `change_s` (P, K) seconds to get ready for it from each stand;
    `after` (K,) the stand that it leaves; `start` the stand now. `lost` is the weight of cells that no check
    separates from a heavier group: it is right to stop there, and wrong by that much. `sure` is the share of the
    living weight that one group must have for the search to be over.
    """

    weight: Floats
    group: Ints
    outcome: Ints
    act_s: Floats
    change_s: Floats
    after: Ints
    start: int = 0
    checks: tuple[str, ...] = ()
    cells: tuple[str, ...] = ()
    lost: float = 0.0
    sure: float = 1.0

    @cached_property
    def cost_s(self) -> Floats:
        """Seconds of each check from each stand, (P, K)."""
        return np.asarray(self.change_s + self.act_s)

    @cached_property
    def bands(self) -> tuple[tuple[int, ...], ...]:
        """The bands of every check, as bit masks of cells."""
        found = []
        for row in self.outcome:
            found.append(tuple(_mask(row == band) for band in range(int(row.max()) + 1)))
        return tuple(found)

    @cached_property
    def everything(self) -> int:
        """All cells, as a bit mask."""
        return (1 << self.weight.size) - 1

    @cached_property
    def _own(self) -> tuple[int, ...]:
        """The cells of each cell's group, as bit masks."""
        return tuple(_mask(self.group == group) for group in self.group)

    def is_done(self, alive: int) -> bool:
        """Whether the cells in a (non-empty) bit mask share a group, or enough of their weight does."""
        first = (alive & -alive).bit_length() - 1
        if self.sure == 1.0 or not alive & ~self._own[first]:
            return not alive & ~self._own[first]
        living = self.alive([alive])[0]
        p_group = np.bincount(self.group[living], self.weight[living])
        return bool(p_group.max() >= self.sure * p_group.sum())

    def alive(self, masks: Sequence[int]) -> Bools:
        """Bit masks as rows of booleans, (masks, n)."""
        size = (self.weight.size + 7) // 8
        raw = np.frombuffer(b"".join(mask.to_bytes(size, "little") for mask in masks), dtype=np.uint8)
        bits = np.unpackbits(raw.reshape(len(masks), size), axis=1, count=self.weight.size, bitorder="little")
        return bits.astype(bool)

    def masses(self, masks: Sequence[int]) -> Floats:
        """The weight of the cells in each bit mask, (masks,)."""
        return np.asarray(self.alive(masks) @ self.weight)

    def reweighted(self, weight: Floats) -> DecisionTable:
        """The same with other weights, (n,), any positive scale."""
        kept = np.maximum(weight / weight.sum(), LEAST_WEIGHT)
        return replace(self, weight=kept / kept.sum())

    def hedged(self) -> DecisionTable:
        """The same with HEDGE of all weight spread evenly, to choose by: weights that are guesses may be far out."""
        return self.reweighted((1 - HEDGE) * self.weight + HEDGE / self.weight.size)

    def with_checks(self, kept: Ints) -> DecisionTable:
        """The same with some of the checks only; they must still part all groups."""
        checks = tuple(self.checks[k] for k in kept) if self.checks else ()
        return replace(
            self, outcome=self.outcome[kept], act_s=self.act_s[kept], change_s=self.change_s[:, kept],
            after=self.after[kept], checks=checks,
        )  # fmt: skip

    def restricted(self, kept: Ints) -> DecisionTable:
        """The same with some of the cells only."""
        cells = tuple(self.cells[i] for i in kept) if self.cells else ()
        return tidied(
            replace(self, weight=self.weight[kept], group=self.group[kept], outcome=self.outcome[:, kept], cells=cells)
        )


def tidied(table: DecisionTable) -> DecisionTable:
    """Cells that behave alike on all checks made one, and checks that tell nothing new left out.

    A merged cell bears the group that is heaviest in it. Of checks that sort the cells alike, get ready alike
    and leave the same stand, the quickest is kept. Getting ready by way of other checks is allowed where that is
    quicker, so that leaving out a check never costs time.
    """
    keys, of = np.unique(table.outcome.T, axis=0, return_inverse=True)
    of = of.ravel()
    # in the order of first appearance, so that names stay where they were
    first = np.unique(of, return_index=True)[1]
    rank = np.argsort(np.argsort(first))
    of, keys, first = rank[of], keys[np.argsort(first)], np.sort(first)
    totals = np.zeros((len(keys), int(table.group.max()) + 1))
    np.add.at(totals, (of, table.group), table.weight)
    weight = np.maximum(totals.sum(axis=1) / totals.sum(), LEAST_WEIGHT)
    outcome = np.array([_renumbered(row) for row in keys.T]).reshape(-1, len(keys))
    change_s = least_ways(table.change_s, table.act_s, table.after)
    kept: dict[tuple[bytes, bytes, int], int] = {}
    for k in np.argsort(table.act_s, kind="stable").tolist():
        if outcome[k].any():
            kept.setdefault((outcome[k].tobytes(), change_s[:, k].tobytes(), int(table.after[k])), k)
    rows = np.array(sorted(kept.values()), dtype=np.int64)
    return DecisionTable(
        weight=weight / weight.sum(),
        group=np.unique(totals.argmax(axis=1), return_inverse=True)[1].astype(np.int64),
        outcome=outcome[rows],
        act_s=table.act_s[rows],
        change_s=change_s[:, rows],
        after=table.after[rows],
        start=table.start,
        checks=tuple(table.checks[k] for k in rows) if table.checks else (),
        cells=tuple(table.cells[i] for i in first) if table.cells else (),
        lost=table.lost + float((totals.sum(axis=1) - totals.max(axis=1)).sum() / totals.sum()),
    )


def least_ways(change_s: Floats, act_s: Floats, after: Ints) -> Floats:
    """Seconds to get ready for each check from each stand, by way of other checks, at `act_s` each, where quicker."""
    way = np.full((len(change_s), len(change_s)), np.inf)
    for k, stand in enumerate(after.tolist()):
        way[:, stand] = np.minimum(way[:, stand], change_s[:, k] + act_s[k])
    np.fill_diagonal(way, 0.0)
    for middle in range(len(way)):
        way = np.minimum(way, way[:, middle, None] + way[None, middle])
    return np.asarray(np.min([change_s, *(way[:, s, None] + change_s[s] for s in range(len(way)))], axis=0))


def _renumbered(row: Ints) -> Ints:
    """Bands numbered in the order of first appearance."""
    first, inverse = np.unique(row, return_index=True, return_inverse=True)[1:]
    return np.asarray(np.argsort(np.argsort(first))[inverse.ravel()], dtype=np.int64)


def _mask(which: Bools) -> int:
    return int.from_bytes(np.packbits(which, bitorder="little").tobytes(), "little")


# ---- from a circuit's table


def decide(
    table: Table, guesses: Guesses, p_cell: Floats, group_of: Ints, checks: Sequence[Check], stand: Stand,
    severities: int = 2, tolerances: int = 1,
) -> DecisionTable:  # fmt: skip
    """The decision table of a circuit for a belief or prior `p_cell` and groups `group_of`, both (C,) or (C + 1,).

    `severities` is into how many parts of about equal weight a fault's cells are put, `tolerances` into how many
    quantiles each of them; a quantile is the same for all readings ("this car reads high"; invented). "Not
    described" predicts nothing and is left out.
    """
    picked, weight = severity_parts(table, p_cell[: len(table.cells)], severities)
    values, spread = _quantiles(tolerances)
    cell = np.repeat(picked, tolerances)
    value, chance = np.tile(values, picked.size), np.tile((np.arange(tolerances) + 0.5) / tolerances, picked.size)
    rows = [
        bands_at(answer_chances(table, check, 0.0, cell), chance)
        if check.kind == "observation"
        else _reading_bands(table, table.column[check.first_id], cell, value, spread)
        for check in checks
    ]
    stands = list(dict.fromkeys([stand, *(left_by(check) for check in checks)]))
    circuit, costs = table.network.circuit, guesses.costs
    return tidied(
        DecisionTable(
            weight=np.repeat(weight, tolerances) / tolerances,
            group=group_of[cell],
            outcome=np.array(rows, dtype=np.int64).reshape(len(rows), cell.size),
            act_s=np.array([act_s(circuit, costs, check) for check in checks]),
            change_s=np.array([[change_s(circuit, costs, here, check) for check in checks] for here in stands]),
            after=np.array([stands.index(left_by(check)) for check in checks], dtype=np.int64),
            checks=tuple(check.id for check in checks),
            cells=tuple(table.names[c] for c in cell),
        )
    )


def left_by(check: Check) -> Stand:
    """Where a check leaves the person, as the session has it."""
    return Stand(check.setup, check.place or "engine bay")


def severity_parts(table: Table, p_cell: Floats, most: int) -> tuple[Ints, Floats]:
    """Of each fault's cells, by rising severity in `most` parts of about equal weight, the middle one of each, (m,),
    with the weight of its part, (m,), sum 1."""
    picked, weight = [], []
    for fault in range(len(table.faults)):
        cells = np.flatnonzero(table.fault_of == fault).tolist()
        order = np.array(sorted(cells, key=lambda c: (table.cells[c].severity or 0.0, c)))
        p = p_cell[order] + 1e-300
        middle = (np.cumsum(p) - p / 2) / p.sum()
        for part in range(most):
            inside = order[np.minimum((middle * most).astype(int), most - 1) == part]
            if inside.size:
                running = np.cumsum(p_cell[inside] + 1e-300)
                picked.append(int(inside[np.searchsorted(running, running[-1] / 2)]))
                weight.append(float(running[-1]))
    return np.array(picked, dtype=np.int64), np.array(weight) / sum(weight)


def _quantiles(count: int) -> tuple[Floats, float]:
    """Middles of `count` equal slices of a standard normal, scaled to half its sigma, and the sigma left over.

    Half, since no single number says how all of a car's readings deviate (invented).
    """
    if count == 1:
        return np.zeros(1), 1.0
    # Winitzki's closed form of the inverse error function, good to 2e-3 (from memory)
    x = (2 * np.arange(count) + 1) / count - 1
    ln = np.log1p(-(x**2))
    c = 2 / (np.pi * 0.147) + ln / 2
    z = 0.5 * np.sign(x) * np.sqrt(2) * np.sqrt(np.sqrt(c**2 - ln / 0.147) - c)
    return z, float(np.sqrt(max(0.0, 1 - np.mean(z**2))))


def bands_at(chances: Floats, at: Floats) -> Ints:
    """The answer that each cell gives: where its running chance passes `at` (cells,)."""
    return np.asarray((np.cumsum(chances, axis=1) < at[:, None] - 1e-9).sum(axis=1))


def _reading_bands(table: Table, column: int, cell: Ints, value: Floats, spread: float) -> Ints:
    """Bands of a reading. A floating point is dry, but in an upper quantile reads what leaks to it (invented)."""
    stack = table.stack
    mean, sigma = stack.mean[cell, column], stack.sigma[cell, column]
    nil = stack.floats[cell, column] & (value <= 0)
    dry, dry_sigma = (each[:, 0] for each in dry_at(table, cell, np.array([column])))
    return bands_of(np.where(nil, dry, mean + value * sigma), np.where(nil, dry_sigma, spread * sigma))


def dry_at(table: Table, cells: Ints, columns: Ints) -> tuple[Floats, Floats]:
    """Mean and sigma that are planned with where readings float and nothing leaks, (cells, columns) each, in volts."""
    mean, sigma = table.dry(cells, columns)
    return mean, np.maximum(sigma, NIL_SIGMA)


def bands_of(value: Floats, sigma: Floats) -> Ints:
    """Values (n, ...) with their sigmas cut into bands at every gap of GAP_SIGMAS, numbered upwards."""
    low, high = value - GAP_SIGMAS / 2 * sigma, value + GAP_SIGMAS / 2 * sigma
    order = np.argsort(low, axis=0, kind="stable")
    low, high = np.take_along_axis(low, order, 0), np.take_along_axis(high, order, 0)
    starts = np.zeros(value.shape, dtype=np.int64)
    starts[1:] = low[1:] > np.maximum.accumulate(high, axis=0)[:-1]
    band = np.empty(value.shape, dtype=np.int64)
    np.put_along_axis(band, order, np.cumsum(starts, axis=0), 0)
    return band
