"""Readings taken one after another: each told by its conditional given those before it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from troubleshoot.solve.linear import Bools, Floats


class Chain:
    """Readings of A cells taken one after another; each is told given those before it."""

    def __init__(self, cells: int, most: int, unknowns: int) -> None:
        self._slope = np.zeros((cells, most, unknowns))
        self._precision = np.zeros((cells, most, most))
        self._residual = np.zeros((cells, most))
        self._count = 0

    def ahead(self, off: Floats, slope: Floats, variance: Floats) -> tuple[Floats, tuple[Floats, ...]]:
        """ln density of a reading `off` (A,) from its mean, of these slopes (A, U) and own variance (A,), and what
        `take` needs to know of it."""
        n = self._count
        cross = np.einsum("anu,au->an", self._slope[:, :n], slope)
        gain = np.einsum("anm,am->an", self._precision[:, :n, :n], cross)
        left = np.maximum(np.square(slope).sum(axis=1) - (cross * gain).sum(axis=1), 0.0) + variance
        shift = (gain * self._residual[:, :n]).sum(axis=1)
        density = -0.5 * (np.square(off - shift) / left + np.log(2 * np.pi * left))
        return np.asarray(density), (off, slope, gain, left)

    def take(self, parts: tuple[Floats, ...], counts: Bools) -> None:
        """Adds the reading; where it does not count, as one that says nothing."""
        off, slope, gain, left = parts
        n, on = self._count, counts[:, None]
        gain, left = np.where(on, gain, 0.0), np.where(counts, left, 1.0)
        self._slope[:, n], self._residual[:, n] = np.where(on, slope, 0.0), np.where(counts, off, 0.0)
        self._precision[:, :n, :n] += gain[:, :, None] * gain[:, None, :] / left[:, None, None]
        self._precision[:, n, :n] = self._precision[:, :n, n] = -gain / left[:, None]
        self._precision[:, n, n] = 1 / left
        self._count += 1

    def arranged(self, order: Sequence[int]) -> tuple[Floats, Floats, Floats]:
        """Slopes (A, n, U), residuals (A, n) and precision (A, n, n) of the readings that were taken in this order, as
        they stood before; those that do not count tell nothing."""
        back = np.argsort(np.array(order, dtype=np.int64))
        n = back.size
        return (self._slope[:, :n][:, back], self._residual[:, :n][:, back],
                self._precision[:, :n, :n][:, back[:, None], back])  # fmt: skip
