"""Which faults a single check tells apart among the cells that live at one place of a tree.

Two faults that look alike in all their severities may well be told apart in those that come to a verdict.
"""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
from scipy.sparse.csgraph import connected_components

from troubleshoot.solve.linear import Floats, Ints
from troubleshoot.tree.chances import Chances

ERROR = 0.25
"""Faults are told apart where some check alone is wrong in no more of their cars than this: several tell more
(invented)."""


def told_here(chances: Chances, cells: Ints, mass: Floats, used: Collection[int]) -> Ints:
    """Groups of faults that no single check but those `used` tells apart, `mass` (cells,) saying how frequent each
    living cell is: the number of each cell's group from 0, (cells,). Two faults that are each like a third share its
    group."""
    faults, of = np.unique(chances.table.fault_of[cells], return_inverse=True)
    share = (of == np.arange(faults.size)[:, None]) * (mass / np.bincount(of, mass)[of])
    error = np.full((faults.size, faults.size), 0.5)
    for number in range(len(chances.checks) if faults.size > 1 else 0):
        if number not in used:
            error = np.minimum(error, _error(chances, number, cells, share))
    return np.asarray(connected_components(error > ERROR, directed=False)[1][of])


def _error(chances: Chances, number: int, cells: Ints, share: Floats) -> Floats:
    """Balanced error between every two faults of the best guess from a look, or by the best limit of a reading;
    `share` (faults, cells) in rows summing to 1."""
    check = chances.checks[number]
    if check.kind == "observation":
        chance = share @ chances.chance[number][cells]
        return np.asarray(0.5 * np.minimum(chance[:, None], chance).sum(axis=2))
    under = share @ chances.under_round(check, cells)
    return np.asarray(0.5 * (1 - np.abs(under[:, None] - under).max(axis=2)))
