"""What each check may show in every cell: how likely a reading is to fall under a limit, and the bands that the limits
of a whole circuit make.

A cell stands for a stretch of severities, so that its reading is taken all along it, up to where the stretches of its
neighbours begin (decision 8: a limit goes where few severities of anything lie). What floats may as well be dry.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from scipy.special import ndtr

from troubleshoot.circuit.checks import Check
from troubleshoot.diagnose.decision import dry_at
from troubleshoot.diagnose.rollout import xlogx
from troubleshoot.expect.seen import answer_chances
from troubleshoot.expect.table import Table
from troubleshoot.solve.linear import Bools, Floats, Ints
from troubleshoot.solve.meter import OHMS_OFFSET, digit_v
from troubleshoot.tree.thresholds import COARSE_NUMBERS, EDGE_SIGMAS, ROUND_NUMBERS, Gap, gap_around, limits_in

NEVER = 1.5e-3
"""A band that a cell falls into more rarely than this is none of its own: 2.6 sigma on one side."""

WITHIN = (-1.0, -0.5, 0.0, 0.5, 1.0)
SHARES = np.array([0.125, 0.25, 0.25, 0.25, 0.125])
"""Where within its stretch of severities a cell is looked at, from end to end, and for how much each counts."""

TAILS = 1.2
"""How much wider than a straight line has it readings are taken to spread: resistances vary by ratio (invented)."""

CHATTERS = (0.65, 0.35)
"""While a relay chatters a meter shows some middle: this share of the settled value, and its sigma as a share of that
(invented)."""

STRADDLE_COSTS = 2.0
"""Nats that a limit of the whole circuit loses where all weight lies on both sides of it, for all weight (invented):
who may come to either branch must be found in both."""

LEAST_TOLD = 0.005
"""Nats about the groups that a limit of the whole circuit must tell at least (invented)."""

MOST_LIMITS = 4
"""Limits of one check."""


@dataclass(frozen=True)
class Shown:
    """One reading in C cells: `mean` (C, 5) all along each cell's severities (WITHIN), `sigma` (C,) of what else is not
    known, on the scale of the reading (of ohms the logarithm); `floats` (C,), and `dry`, `dry_sigma` (C,) what is read
    there where nothing leaks."""

    check: Check
    mean: Floats
    sigma: Floats
    floats: Bools
    dry: Floats
    dry_sigma: Floats

    def scale(self, limits: Floats) -> Floats:
        """Limits in SI on the scale of the reading."""
        return np.log(np.maximum(limits, 0.0) + OHMS_OFFSET) if self.check.is_ohms else limits

    def value(self, scaled: Floats) -> Floats:
        """Back to SI."""
        return np.exp(scaled) - OHMS_OFFSET if self.check.is_ohms else scaled

    def only(self, cells: Ints) -> Shown:
        """The same for some of the cells."""
        return Shown(self.check, self.mean[cells], self.sigma[cells], self.floats[cells], self.dry[cells],
                     self.dry_sigma[cells])  # fmt: skip

    def under(self, limits: Floats) -> Floats:
        """Chance of a reading under each of some limits (SI), (C, limits)."""
        at = self.scale(limits)
        plain = ndtr((at - self.mean[:, :, None]) / self.sigma[:, None, None])
        under = np.einsum("v,cvl->cl", SHARES, plain)
        dry = ndtr((at - self.dry[:, None]) / self.dry_sigma[:, None])
        return np.asarray(np.where(self.floats[:, None], (under + dry) / 2, under))

    def bands(self, limits: Floats) -> Floats:
        """Chance of each band between rising limits (SI), (C, limits + 1), what hardly ever happens left out."""
        if not len(limits):
            return np.ones((self.mean.shape[0], 1))
        ends = np.pad(self.under(limits), ((0, 0), (1, 1)), constant_values=(0.0, 1.0))
        return _without_rare(np.diff(ends, axis=1))

    def edges(self) -> tuple[Floats, Floats]:
        """The lowest and highest that each cell may read, with the meter's error and EDGE_SIGMAS, in SI, (C,) each."""
        low = self.mean.min(axis=1) - EDGE_SIGMAS * self.sigma
        high = self.mean.max(axis=1) + EDGE_SIGMAS * self.sigma
        low = np.where(self.floats, np.minimum(low, self.dry), low)
        high = np.where(self.floats, np.maximum(high, self.dry), high)
        return self.value(low), self.value(high)

    def gap(self, limit: float, under: Floats) -> Gap:
        """The gap that a limit (SI) lies in; `under` (C,) is each cell's chance to be under it. Closed where a cell may
        be on either side."""
        low, high = self.edges()
        if ((under >= NEVER) & (under <= 1 - NEVER)).any():
            return Gap(limit, limit)
        return gap_around(limit, high[under > 0.5], low[under < 0.5])


def _without_rare(chance: Floats) -> Floats:
    kept = np.where(chance < NEVER, 0.0, chance)
    return np.asarray(kept / kept.sum(axis=1, keepdims=True))


class Chances:
    """All checks of a table that a tree may use, with limits for the circuit as a whole.

    `chance[k]` (C, bands) is how likely each cell falls into each band of check k, in rows summing to 1; of a look the
    bands are its answers. `limits[k]` are the limits of a reading in SI.
    """

    def __init__(
        self, table: Table, checks: Sequence[Check], weight: Floats, group_of: Ints,
        numbers: Mapping[str, Floats] = COARSE_NUMBERS,
    ) -> None:  # fmt: skip
        """`weight`, `group_of` (C,): the prior by which limits are chosen among `numbers`, and the look-alike groups
        that they are to tell apart. Checks that tell nothing are left out."""
        self.table = table
        self.weight = weight
        self._groups = (group_of == np.unique(group_of)[:, None]) * weight
        self.checks: list[Check] = []
        self.limits: list[Floats] = []
        self.chance: list[Floats] = []
        self._numbers = numbers
        for check in checks:
            limits = self._limits(check)
            chance = self.bands(check, limits)
            if (chance[0] != chance).any():
                self.checks.append(check)
                self.limits.append(limits)
                self.chance.append(chance)

    @cached_property
    def _beside(self) -> tuple[Ints, Ints, Floats, Floats]:
        """For every cell the cells at the next lower and higher severity of its fault, itself where there is none, and
        how much of the way to each of them it reaches, (C,) each."""
        cells = self.table.cells
        own = np.arange(len(cells))
        lower, higher = own.copy(), own.copy()
        ln = np.array([math.log(cell.severity) if cell.severity and cell.ln_sigma else 0.0 for cell in cells])
        kin: dict[object, list[int]] = {}
        for c, cell in enumerate(cells):
            if cell.ln_sigma:
                kin.setdefault((cell.fault.name, cell.ln_pull_in, cell.ln_blow, cell.ln_start), []).append(c)
        for some in kin.values():
            for low, high in pairwise(sorted(some, key=lambda c: ln[c])):
                lower[high], higher[low] = low, high
        half = math.sqrt(3.0) * np.array([cell.ln_sigma for cell in cells])  # a cell's severities are spread evenly
        down, up = ln - ln[lower], ln[higher] - ln
        down, up = np.where(down > 0, down, up), np.where(up > 0, up, down)
        return lower, higher, half / np.maximum(down, 1e-9), half / np.maximum(up, 1e-9)

    def shown(self, check: Check) -> Shown:
        """A reading in all cells."""
        stack, column = self.table.stack, self.table.column[check.id]
        mean, sigma, floats = stack.mean[:, column], stack.sigma[:, column], stack.floats[:, column]
        dry, dry_sigma = (each[:, 0] for each in dry_at(self.table, np.arange(mean.size), np.array([column])))
        if not check.is_ohms and not check.wire:
            chatters = self.table.chatters(check.setup)
            mean = np.where(chatters, CHATTERS[0] * mean, mean)
            sigma = np.where(chatters, np.maximum(sigma, CHATTERS[1] * np.abs(mean)), sigma)
        lower, higher, down, up = self._beside
        # at either end of the severities the reading goes on as it came
        below = np.where(lower != higher, mean - mean[lower], 0.0)
        above = np.where(lower != higher, mean[higher] - mean, 0.0)
        own = np.arange(mean.size)
        below, above = np.where(lower == own, above, below), np.where(higher == own, below, above)
        means = np.stack([mean + at * np.where(at < 0, down * below, up * above) for at in WITHIN], axis=1)
        # what the severity makes of sigma is in the means
        left = np.sqrt(np.maximum(np.square(sigma) - np.square(means) @ SHARES + np.square(means @ SHARES), 0.0))
        left = np.maximum(left, stack.noise[:, column])
        if not check.is_ohms and not check.wire:
            left = np.hypot(left, digit_v(mean, check.function))
        return Shown(check, means, TAILS * left, floats, dry, dry_sigma)

    def bands(self, check: Check, limits: Floats) -> Floats:
        """Chance of each band of a reading or answer of a look in every cell, (C, bands)."""
        if check.kind == "observation":
            return _without_rare(answer_chances(self.table, check, 0.0))
        return self.shown(check).bands(limits)

    def only(self, number: int, cells: Ints, limits: Floats) -> Floats:
        """Chance of each band of a reading, by its number among the checks, in some cells with other limits."""
        return self.shown(self.checks[number]).only(cells).bands(limits)

    def under_round(self, check: Check, cells: Ints) -> Floats:
        """Chance of a reading under each of the round numbers in some cells, (cells, numbers)."""
        return self.shown(check).only(cells).under(ROUND_NUMBERS[_quantity(check)])

    def _limits(self, check: Check) -> Floats:
        """Limits for the circuit as a whole."""
        if check.kind == "observation":
            return np.zeros(0)
        numbers = self._numbers[_quantity(check)]
        return numbers[telling(self.shown(check).under(numbers), self._groups, STRADDLE_COSTS)]

    def limits_for(self, check: Check, cells: Ints, groups: Floats, straddling: float) -> Floats:
        """Limits of a reading for some living cells, `groups` (groups, cells) being the weight of each in its group;
        `straddling`: nats that a limit loses where all weight lies on both sides."""
        shown = self.shown(check).only(cells)
        numbers = ROUND_NUMBERS[_quantity(check)]
        under = shown.under(numbers)
        found: list[float] = []
        for at in telling(under, groups / groups.sum(), straddling).tolist():
            gap = shown.gap(numbers[at], under[:, at])
            found += limits_in(gap, not check.is_ohms and not check.wire) if gap.is_open else [float(numbers[at])]
        return np.array(sorted(set(found)))


def _quantity(check: Check) -> str:
    """A key of the numbers at which limits are put."""
    if check.is_ohms or check.wire:
        return "ohms" if check.is_ohms else "amps"
    return check.function if check.function == "millivolts" else "volts"


def telling(under: Floats, groups: Floats, straddling: float) -> Ints:
    """Which limits tell most about the groups, up to MOST_LIMITS, less what it costs that weight may lie on both sides
    of them; `under` (C, limits) for rising limits, `groups` (groups, C) the weight of each cell in its group."""
    count = under.shape[1]
    straddle = straddling * 2 * groups.sum(axis=0) @ np.minimum(under, 1 - under)
    # weight of each group under each limit: none under the first end, all of it under the last
    inside = np.concatenate([np.zeros((len(groups), 1)), groups @ under, groups.sum(axis=1)[:, None]], axis=1)
    kept = [0, count + 1]
    while len(kept) < MOST_LIMITS + 2:
        told = np.full(count + 2, -np.inf)
        for low, high in pairwise(kept):
            part, whole = inside[:, low + 1 : high] - inside[:, [low]], inside[:, high] - inside[:, low]
            told[low + 1 : high] = _parts(part, whole)
        told[1:-1] -= straddle
        best = int(told.argmax())
        if told[best] < LEAST_TOLD:
            break
        kept = sorted([*kept, best])
    return np.array(kept[1:-1], dtype=np.int64) - 1


def _parts(part: Floats, whole: Floats) -> Floats:
    """What splitting off each part tells about the groups, nats times weight; `part` (groups, n), `whole` (groups,)."""
    rest = np.maximum(whole[:, None] - part, 0.0)
    split = sum(xlogx(each).sum(axis=0) - xlogx(each.sum(axis=0)) for each in (part, rest))
    return np.asarray(split - xlogx(whole).sum() + xlogx(whole.sum()))
