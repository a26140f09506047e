"""What the rest of a search must cost at least: lower bounds on the decision table's optimum.

Every cell alive must be parted from every other group, and all answers together must tell as much as the
groups' entropy. For a price λ a nat the two are one bound. Let check k be used on the cells U_k, each cell's path
using it at most once, with band masses t_b <= M_b and u = Σ t_b. By concavity it tells at most
g_k(t) = u ln u - Σ t_b ln t_b, so its seconds act_k·u are at least λ·told - A_k + s_k·u with

    A_k = max over t of λ·g_k(t) - (act_k - s_k)·u,   s_k = max(0, act_k - λ ln m_k)   (then A_k = 0 where s_k > 0)

    cost >= λ·H(groups) - Σ_k A_k + Σ_i w_i max_j min over k parting i and j of (s_k + seconds to get to k)

Checks that sort the living cells alike count once. The maximum is by water-filling: t_b = min(M_b, τ) with
u/τ = exp(act_k/λ). λ is tried on a grid. With λ = 0 the last term alone is "the dearest cheapest check that must
still separate a pair", the cost of going there included.
"""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from troubleshoot.diagnose.decision import DecisionTable, least_ways
from troubleshoot.diagnose.rollout import xlogx
from troubleshoot.solve.linear import Floats, Ints

Singles = npt.NDArray[np.float32]

PRICES = 8
"""Prices a nat that are tried."""

KEPT_ANATOMIES = 20_000
"""Sets of cells whose numbers are kept for the next time."""


@dataclass(frozen=True)
class Anatomy:
    """A set of living cells: `cells` (x,), their weight, the `checks` (k,) worth asking, `base` (prices,) = λH - ΣA,
    and `dearer` (prices, k): how much the bound rises when that check comes next. Of checks that sort the cells
    alike, one for every way of getting ready is worth asking, and the quickest of all counts in ΣA."""

    cells: Ints
    weight: float
    checks: Ints
    base: Floats
    dearer: Singles


class Bounds:
    """Lower bounds for one table."""

    def __init__(self, table: DecisionTable) -> None:
        self.table = table
        self.counts = table.outcome.max(axis=1) + 1
        self._first = np.concatenate([[0], np.cumsum(self.counts)[:-1]])
        rows = [row == np.arange(m)[:, None] for row, m in zip(table.outcome, self.counts, strict=True)]
        # whole random numbers under 2^44 add up exactly in floats: equal sums are equal sets
        marks = np.random.default_rng(0).integers(1, 2**44, table.weight.size).astype(float)
        self._columns = np.stack([table.weight, marks], axis=1)
        self._bands = np.concatenate(rows).astype(float)
        place = self._first[:, None] + np.arange(self.counts.max())
        self._place = np.where(np.arange(self.counts.max()) < self.counts[:, None], place, self._bands.shape[0])
        self._by_act = np.argsort(table.act_s, kind="stable")
        ready = np.concatenate([table.change_s, table.after[None]])
        self.way = np.unique(ready, axis=1, return_inverse=True)[1].ravel()
        self._ways = int(self.way.max()) + 1
        self.prices = self._grid()
        with np.errstate(over="ignore"):
            self._reach = np.exp(table.act_s / self.prices[:, None])
        self.slopes = np.maximum(table.act_s - self.prices[:, None] * np.log(self.counts), 0.0)
        self._kept: OrderedDict[int, Anatomy] = OrderedDict()
        self._pairs: dict[int, Singles] = {}
        self.made = 0

    def _grid(self) -> Floats:
        """Prices from the one at which no check is a bargain, and 0, up to that of a usual yes-or-no check."""
        least = float((self.table.act_s / np.log(self.counts)).min())
        most = float(np.median(self.table.act_s) / np.log(2))
        return np.concatenate([[1e-9], np.geomspace(least, max(most, 2 * least), PRICES - 1)])

    @cached_property
    def going_s(self) -> Floats:
        """Least seconds of getting ready for each check from each stand, whatever is done on the way, (P, K)."""
        return least_ways(self.table.change_s, np.zeros_like(self.table.act_s), self.table.after)

    @cached_property
    def _columns_of(self) -> tuple[Ints, Ints]:
        """Checks that one gets ready for alike: a first one of each kind, and the kind of every check."""
        _, first, kind = np.unique(self.going_s, axis=1, return_index=True, return_inverse=True)
        return first, kind.ravel()

    @cached_property
    def _parting(self) -> Singles:
        """Least slope of a check of each kind that parts two cells, (kinds, prices, n, n); infinite where none does."""
        first, kind = self._columns_of
        n = self.table.weight.size
        found = np.full((first.size, PRICES, n, n), np.inf, dtype=np.float32)
        for k, row in enumerate(self.table.outcome):
            parts = row[:, None] != row[None, :]
            slope = self.slopes[:, k].astype(np.float32)
            here = found[kind[k]]
            here[:, parts] = np.minimum(here[:, parts], slope[:, None])
        return found

    def pairs(self, stand: int) -> Singles:
        """Least slope and way to a check that parts two cells, from a stand, (prices, n, n); 0 within a group."""
        if stand not in self._pairs:
            first, _ = self._columns_of
            way = self.going_s[stand, first].astype(np.float32)
            found = np.full(self._parting.shape[1:], np.inf, dtype=np.float32)
            for kind, seconds in enumerate(way):
                np.minimum(found, self._parting[kind] + seconds, out=found)
            found[:, self.table.group[:, None] == self.table.group[None, :]] = 0.0
            self._pairs[stand] = rounded_down(found)
        return self._pairs[stand]

    def low(self, alive: int, stand: int) -> float:
        """A lower bound on the seconds to the end from a state, times its weight."""
        if self.table.is_done(alive):
            return 0.0
        anatomy = self.anatomy(alive)
        return max(0.0, float((anatomy.base + self.pair_terms(anatomy.cells, stand)).max()))

    def pair_terms(self, cells: Ints, stand: int) -> Floats:
        """The last term of the bound for every price, (prices,)."""
        # symmetric: the largest of each column, along the axis that is quicker
        dearest = self.pairs(stand).take(cells, axis=1).take(cells, axis=2).max(axis=1)
        return np.asarray(dearest @ self.table.weight[cells])

    def anatomy(self, alive: int) -> Anatomy:
        """The numbers of a set of cells that is not done; the last ones are kept."""
        found = self._kept.get(alive)
        if found is None:
            found = self._kept[alive] = self._dissect(alive)
            self.made += 1
            if len(self._kept) > KEPT_ANATOMIES:
                self._kept.popitem(last=False)
        return found

    def _dissect(self, alive: int) -> Anatomy:
        row = self.table.alive([alive])[0]
        cells = np.flatnonzero(row)
        sums = self._bands @ (self._columns * row[:, None])
        checks, quickest, of = self._distinct(sums)
        rising = np.sort(np.append(sums[:, 0], 0.0)[self._place[quickest]], axis=1)
        inside = np.bincount(self.table.group[cells], self.table.weight[cells]).astype(float)
        weight = float(inside.sum())
        entropy = float(xlogx(np.array(weight)) - xlogx(inside).sum())
        bargain, told = self._bargains(rising, quickest, weight)
        gained = self.prices[:, None] * told - bargain
        dearer = np.maximum(weight * self.table.act_s[checks] - gained[:, of], 0.0)
        return Anatomy(cells, weight, checks, self.prices * entropy - bargain.sum(axis=1), rounded_down(dearer))

    def hopes(self, anatomy: Anatomy, stand: int) -> Floats:
        """Lower bounds for the state when each of its checks comes next, (k,)."""
        checks, weight = anatomy.checks, anatomy.weight
        terms = anatomy.base + self.pair_terms(anatomy.cells, stand)
        going = weight * self.table.change_s[stand, checks]
        # the pairs' term has counted the check's own slope and the way to it already, or else is left out
        beyond = np.maximum(anatomy.dearer - weight * self.slopes[:, checks], 0.0)
        with_pairs = (terms[:, None] + beyond).max(axis=0)
        return np.asarray(np.maximum(with_pairs, (anatomy.base[:, None] + anatomy.dearer).max(axis=0) + going))

    def _distinct(self, sums: Floats) -> tuple[Ints, Ints, Ints]:
        """Splitting checks: the quickest of each sorting and way of getting ready; the quickest of each sorting; and
        which of the latter each of the former sorts like. By random marks, each band's and mixed for each check."""
        live = np.add.reduceat(sums[:, 1] > 0, self._first)
        marks = sums[:, 1].astype(np.uint64)
        mixed = (marks ^ (marks >> np.uint64(21))) * np.uint64(0x9E3779B97F4A7C15)
        mixed = (mixed ^ (mixed >> np.uint64(29))) * np.uint64(0xBF58476D1CE4E5B9) * (marks > 0)
        sign = np.add.reduceat(mixed ^ (mixed >> np.uint64(32)), self._first)
        order = self._by_act[live[self._by_act] > 1]
        quickest, of = np.unique(sign[order], return_index=True, return_inverse=True)[1:]
        kept = np.unique(of.ravel() * self._ways + self.way[order], return_index=True)[1]
        return order[kept], order[quickest], of.ravel()[kept]

    def _bargains(self, masses: Floats, checks: Ints, weight: float) -> tuple[Floats, Floats]:
        """A_k (prices, k), and what each check tells about all the cells (k,); `masses` (k, bands) rising."""
        width = masses.shape[1]
        logs = xlogx(masses)
        running, running_logs = np.cumsum(masses, axis=1), np.cumsum(logs, axis=1)
        left = width - 1 - np.arange(width)
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = np.where(masses > 0, (running + left * masses) / masses, np.inf)
            reach = self._reach[:, checks]
            full = np.zeros(reach.shape, dtype=np.int64)
            for band in range(width):
                full += ratio[:, band] >= reach - 1e-12
            at = np.maximum(full - 1, 0)
            rows = np.arange(checks.size)
            mass, log = running[rows, at], running_logs[rows, at]
            level = mass / (reach - (width - full))
            part = np.where((full > 0) & (mass > 0) & (level > 0), mass * np.log(level) - log, 0.0)
        told = xlogx(np.array(weight)) - running_logs[:, -1]
        whole = told - self.table.act_s[checks] * weight / self.prices[:, None]
        saved = np.where(full == width, whole, part)
        return self.prices[:, None] * np.maximum(saved, 0.0), told


def rounded_down(x: npt.NDArray[np.floating]) -> Singles:
    """In single precision, and surely not above."""
    return np.asarray(x * (1 - 1e-6), dtype=np.float32)
