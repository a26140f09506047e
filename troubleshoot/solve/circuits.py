"""Many circuits over one incidence that are alike but for a few branches: one of them, and where each differs from it.

C circuits of B branches would be two arrays (C, B); faults and devices touch a handful of branches each, and so what
is kept grows with the handful. Data only; `linear` solves it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Circuits:
    """`siemens` and `emf_v` (B,) of the one; case c has `own_siemens` and `own_emf_v` (E,) instead at the branches
    `branch` (E,) from place `start[c]` to `start[c + 1]`, `start` (C + 1,)."""

    siemens: Floats
    emf_v: Floats
    start: Ints
    branch: Ints
    own_siemens: Floats
    own_emf_v: Floats

    @classmethod
    def of(cls, siemens: Floats, emf_v: Floats, base: int = 0) -> Circuits:
        """From whole arrays (C, B); the others are said by how they differ from row `base`."""
        return cls.listed(
            siemens[base], emf_v[base], *_nonzero(siemens, emf_v, siemens[base], emf_v[base]), len(siemens)
        )

    @classmethod
    def listed(
        cls, siemens: Floats, emf_v: Floats, row: Ints, branch: Ints, own_siemens: Floats, own_emf_v: Floats, cases: int
    ) -> Circuits:  # fmt: skip
        """From entries (E,) in any order, each the own value of case `row` at a branch, no place twice."""
        order = np.argsort(row, kind="stable")
        start = np.concatenate([[0], np.cumsum(np.bincount(row, minlength=cases))])
        return cls(siemens, emf_v, start, branch[order], own_siemens[order], own_emf_v[order])

    @property
    def count(self) -> int:
        """C."""
        return self.start.size - 1

    @cached_property
    def row(self) -> Ints:
        """Whose each entry is, (E,)."""
        return np.repeat(np.arange(self.count), np.diff(self.start))

    def rows(self, which: Ints | slice) -> Circuits:
        """Some of the cases."""
        if isinstance(which, slice):
            which = np.arange(self.count)[which]
        counts = (self.start[1:] - self.start[:-1])[which]
        start = np.concatenate([[0], np.cumsum(counts)])
        at = np.repeat(self.start[which] - start[:-1], counts) + np.arange(start[-1])
        return Circuits(self.siemens, self.emf_v, start, self.branch[at], self.own_siemens[at], self.own_emf_v[at])

    def at(self, branches: Ints) -> tuple[Floats, Floats]:
        """Conductances and sources of some branches, (C, these) each."""
        some, place = np.unique(branches, return_inverse=True)
        column = np.full(self.siemens.size, -1)
        column[some] = np.arange(some.size)
        mine = np.flatnonzero(column[self.branch] >= 0)
        row, to = self.row[mine], column[self.branch[mine]]
        found = []
        for base, own in ((self.siemens, self.own_siemens), (self.emf_v, self.own_emf_v)):
            whole = np.tile(base[some], (self.count, 1))
            whole[row, to] = own[mine]
            found.append(whole[:, place.ravel()])
        return found[0], found[1]

    def dense(self) -> tuple[Floats, Floats]:
        """Conductances and sources of all branches, (C, B) each."""
        return self.at(np.arange(self.siemens.size))

    def with_branches(self, branches: Ints, siemens: Floats, emf_v: Floats, base: Circuits | None) -> Circuits:
        """The same with other values (C, k) at some branches, each once; said by how they differ from `base`'s one
        circuit, or from that of the first case."""
        if base is None:
            one_siemens, one_emf_v = self.siemens.copy(), self.emf_v.copy()
            one_siemens[branches], one_emf_v[branches] = siemens[0], emf_v[0]
        else:
            one_siemens, one_emf_v = base.siemens, base.emf_v
        untouched = np.ones(self.siemens.size, dtype=bool)
        untouched[branches] = False
        left = np.flatnonzero(untouched[self.branch])
        row, column, own_siemens, own_emf_v = _nonzero(siemens, emf_v, one_siemens[branches], one_emf_v[branches])
        return Circuits.listed(
            one_siemens, one_emf_v,
            np.concatenate([self.row[left], row]), np.concatenate([self.branch[left], branches[column]]),
            np.concatenate([self.own_siemens[left], own_siemens]), np.concatenate([self.own_emf_v[left], own_emf_v]),
            self.count,
        )  # fmt: skip


def _nonzero(
    siemens: Floats, emf_v: Floats, base_siemens: Floats, base_emf_v: Floats
) -> tuple[Ints, Ints, Floats, Floats]:
    """Where rows differ from the base: row, column, and both own values, (E,) each."""
    row, column = np.nonzero((siemens != base_siemens) | (emf_v != base_emf_v))
    return row, column, siemens[row, column], emf_v[row, column]
