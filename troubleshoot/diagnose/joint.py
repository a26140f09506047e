"""All readings' joint Gaussian in every cell, and the same with some of them left out.

For each cell the n readings have covariance K = J·Jᵀ + diag(noise²); P = K⁻¹. p(all but i) comes from P without
another inversion, since y_i given the rest has mean y_i - (P·r)_i/P_ii and variance 1/P_ii (the usual leave-one-out
identity of Gaussian regression).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from troubleshoot.diagnose.evidence import Known
from troubleshoot.expect.table import NOTHING_V, Table
from troubleshoot.solve.linear import Bools, Floats, Ints

SAME_LEAK = 0.99
"""Correlation of what one reads twice at a place that floats (invented: leakage stays what it is)."""

FEW_CELLS = 2000
MEAN_STEP = 4.0
LN_SIGMA_STEP = 0.1
"""Of more cells than these, those count as one kind whose readings are within 4 times their noise, and whose sigmas
are within 10 %."""


@dataclass(frozen=True)
class Joint:
    """The readings' joint Gaussian in every cell: residuals (C, n), P (C, n, n), ln density (C,).

    `slopes` (kinds, n, U) are those of each kind of cell, `kind` (C,) says which is a cell's; `still` (C, n): what
    floats there and is taken not to leak, with the `dry_slopes` (kinds, n, U).
    """

    slopes: Floats
    dry_slopes: Floats
    kind: Ints
    still: Bools
    residual: Floats
    precision: Floats
    log_density: Floats

    @classmethod
    def of(cls, table: Table, readings: Sequence[Known]) -> Joint:
        """Builds it. In a cell where points float, all of them may as well read nothing: the likelier of the two ways
        counts."""
        some, kind = _kinds(table, readings)
        predicted = [table.predict_in(known.check, some) for known in readings]
        slopes = np.stack([p.slope for p in predicted], axis=1)
        dry_slopes = np.broadcast_to(0.0, slopes.shape)
        if any(known.check.is_held for known in readings):
            dry_slopes = np.stack([p.dry_slope for p in predicted], axis=1)
        own = np.stack([np.hypot(p.noise, known.sigma) for known, p in zip(readings, predicted, strict=True)], axis=1)
        floats = np.stack([p.floats & (not k.check.is_ohms) for p, k in zip(predicted, readings, strict=True)], axis=1)
        noise = np.stack([p.noise for p in predicted], axis=1)[kind]
        dry = np.stack([p.dry for p in predicted], axis=1)[kind]
        dry_noise = np.stack([np.hypot(p.dry_noise, k.sigma) for k, p in zip(readings, predicted, strict=True)], axis=1)
        own, floats = own[kind], floats[kind]
        value = np.array([known.value for known in readings])
        if some.size < kind.size:
            mean = table.stack.mean[:, [table.column[known.check.first_id] for known in readings]]
        else:
            mean = np.stack([p.mean for p in predicted], axis=1)
        residual = value - mean
        through = (slopes @ np.swapaxes(slopes, 1, 2))[kind] + _leaks_the_same(readings, noise * floats)
        precision, log_density = _gaussian(through, residual, np.square(own))
        log_density[floats.any(axis=1)] -= np.log(2)
        found = cls(slopes, dry_slopes, kind, np.zeros_like(floats), residual, precision, log_density)
        cells = np.flatnonzero((floats & (np.abs(value - dry) < NOTHING_V)).any(axis=1))
        if cells.size:
            moves = ~floats[cells]
            nil_residual = np.where(moves, residual[cells], (value - dry)[cells])
            as_dry = np.where(moves[:, :, None], slopes[kind[cells]], dry_slopes[kind[cells]])
            nil_precision, nil_density = _gaussian(
                as_dry @ np.swapaxes(as_dry, 1, 2), nil_residual,
                np.where(moves, np.square(own[cells]), np.square(dry_noise[kind][cells])),
            )  # fmt: skip
            better = nil_density - np.log(2) > log_density[cells]
            mine = cells[better]
            residual[mine], precision[mine] = nil_residual[better], nil_precision[better]
            found.still[mine], log_density[mine] = floats[mine], nil_density[better] - np.log(2)
        return found

    def rows(self, cells: Ints) -> Joint:
        """The same for some of the cells."""
        return Joint(self.slopes, self.dry_slopes, self.kind[cells], self.still[cells], self.residual[cells],
                     self.precision[cells], self.log_density[cells])  # fmt: skip

    def instead(self, cells: Ints, slopes: Floats, residual: Floats, precision: Floats) -> Joint:
        """The same with that of some cells (A,) told otherwise: (A, n, U), (A, n), (A, n, n)."""
        if not cells.size:
            return self
        kind, still = self.kind.copy(), self.still.copy()
        off, p = self.residual.copy(), self.precision.copy()
        kind[cells], still[cells] = len(self.slopes) + np.arange(cells.size), False
        off[cells], p[cells] = residual, precision
        dry_slopes = np.concatenate([self.dry_slopes, np.zeros_like(slopes)])
        return Joint(np.concatenate([self.slopes, slopes]), dry_slopes, kind, still, off, p, self.log_density)

    @cached_property
    def slope(self) -> Floats:
        """Slopes of the readings, (C, n, U)."""
        return np.where(self.still[:, :, None], self.dry_slopes[self.kind], self.slopes[self.kind])

    @cached_property
    def weighted(self) -> Floats:
        """P·r, (C, n)."""
        return np.asarray(np.einsum("cnm,cm->cn", self.precision, self.residual))

    def log_without(self, i: int) -> Floats:
        """ln p of all readings but i, (C,)."""
        p_ii = self.precision[:, i, i]
        return np.asarray(self.log_density + 0.5 * (np.square(self.weighted[:, i]) / p_ii + np.log(2 * np.pi / p_ii)))

    def without(self, i: int) -> Joint:
        """The joint of all readings but i: its row and column of P are zero, and nothing more is known of it."""
        column = self.precision[:, :, i]
        scaled = column / column[:, i, None]
        precision = self.precision - scaled[:, :, None] * column[:, None, :]
        precision[:, i, :] = precision[:, :, i] = 0.0
        return replace(self, precision=precision, log_density=self.log_without(i))

    def without_some(self, wrong: Bools) -> Joint:
        """The joint in which each cell leaves out the readings that are `wrong` (C, n) there."""
        cells = np.flatnonzero(wrong.any(axis=1))
        if not cells.size:
            return self
        precision, density = self.precision.copy(), self.log_density.copy()
        for i in np.flatnonzero(wrong.any(axis=0)).tolist():
            mine = np.flatnonzero(wrong[:, i])
            left = replace(self.rows(mine), precision=precision[mine], log_density=density[mine]).without(i)
            precision[mine], density[mine] = left.precision, left.log_density
        return replace(self, precision=precision, log_density=density)

    def given(self, slope: Floats) -> tuple[Floats, Floats]:
        """Shift of the mean, and variance from the unknowns, of another reading of this `slope` (C, U)."""
        cross = np.einsum("cu,cnu->cn", slope, self.slope)
        mean = (cross * self.weighted).sum(axis=1)
        taken = (np.matmul(self.precision, cross[:, :, None])[:, :, 0] * cross).sum(axis=1)
        return mean, np.maximum(np.square(slope).sum(axis=1) - taken, 0.0)


def _gaussian(through: Floats, residual: Floats, variance: Floats) -> tuple[Floats, Floats]:
    """P (C, n, n) and ln density (C,), from the covariance through the unknowns (C, n, n), residuals (C, n) and the
    readings' own variances (C, n)."""
    n = residual.shape[1]
    covariance = through.copy()
    covariance[:, np.arange(n), np.arange(n)] += variance
    precision = np.asarray(np.linalg.inv(covariance), dtype=np.float64)
    _, log_det = np.linalg.slogdet(covariance)
    fit = np.einsum("cn,cnm,cm->c", residual, precision, residual)
    return precision, np.asarray(-0.5 * (fit + log_det + n * np.log(2 * np.pi)))


def _leaks_the_same(readings: Sequence[Known], noise: Floats) -> Floats:
    """Covariance of readings of one place and key state by what leaks there, (C, n, n), from their noise where they
    float, (C, n)."""
    spots = [(known.check.red, known.check.black, known.check.function, known.check.setup) for known in readings]
    same = np.array([[i != j and a == b for j, b in enumerate(spots)] for i, a in enumerate(spots)])
    if not same.any() or not noise.any():
        return np.zeros((1, len(spots), len(spots)))
    return np.asarray(SAME_LEAK * same * noise[:, :, None] * noise[:, None, :])


def _kinds(table: Table, readings: Sequence[Known]) -> tuple[Ints, Ints]:
    """The first cell of each kind, and each cell's kind, (C,): of many cells, those that expect nearly the same of the
    readings share the slopes of one, while each keeps its own mean."""
    every = np.arange(len(table.cells))
    columns = [table.column.get(known.check.first_id, -1) for known in readings]
    if every.size <= FEW_CELLS or min(columns) < 0:
        return every, every
    stack = table.stack
    unit = MEAN_STEP * np.median(stack.noise[:, columns], axis=0)
    marks = [np.round(stack.mean[:, columns] / unit), np.round(np.log(stack.sigma[:, columns]) / LN_SIGMA_STEP)]
    marks.append(stack.floats[:, columns].astype(float))
    _, first, kind = np.unique(np.concatenate(marks, axis=1), axis=0, return_index=True, return_inverse=True)
    return first, kind.ravel()
