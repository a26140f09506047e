"""Which suspects no allowed check can tell apart (decision 7).

Two faults are look-alikes when the Bayes error between them, over all allowed checks together and over
their severities, is above 0.1; groups are connected components. The error between two cells comes from the
Bhattacharyya coefficient BC of the readings' joint Gaussians: d' = sqrt(-8·ln BC), error = Φ(-d'/2), which
is exact for Gaussians of one covariance (Kailath 1967, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from math import erf

import numpy as np

from troubleshoot.circuit.checks import Check
from troubleshoot.expect.seen import answer_chances
from troubleshoot.expect.table import NOTHING_V, Table
from troubleshoot.solve.linear import Bools, Floats, Ints

LOOK_ALIKE_ERROR = 0.1
JOINT = 8
"""Checks taken together for a pair that no single check separates: the most telling ones."""

FIRST_LOOK = 4
"""Readings of each cell that are looked at for all pairs; then so many of all for those still left, then twice as many,
and so on."""

WINDOW = 20000
NUMBERS = 1_000_000
"""Pairs that are worked on at a time, at first; and with their joint Gaussians pairs × unknowns."""

SURELY_APART = 4.5
"""Distance in sigmas on one check beyond which a pair needs no closer look."""


def group_faults(table: Table, checks: Sequence[Check], wrong_look: float) -> list[frozenset[str]]:
    """The look-alike groups of a table's faults under the allowed checks, as sets of fault names."""
    from scipy.sparse.csgraph import connected_components  # groups are mostly kept: it starts sooner without

    names = list(table.faults)
    count, group = connected_components(fault_errors(table, checks, wrong_look) > LOOK_ALIKE_ERROR, directed=False)
    return [frozenset(n for n, g in zip(names, group, strict=True) if g == k) for k in range(count)]


def fault_errors(table: Table, checks: Sequence[Check], wrong_look: float) -> Floats:
    """Bayes error between every two faults, (faults, faults), in the order of first appearance."""
    of, count = table.fault_of, len(table.faults)
    share = table.weight / np.bincount(of, table.weight)[of]
    first, second, overlap = _cell_overlaps(table, checks, of, wrong_look)
    # how much of cell a's weight lies under cells of fault g that look the same
    covered = np.zeros((len(table.cells), count))
    np.add.at(covered, (first, of[second]), share[second] * overlap)
    np.add.at(covered, (second, of[first]), share[first] * overlap)
    error = np.zeros((count, count))
    for g in range(count):
        np.add.at(error[:, g], of, 0.5 * np.minimum(share, covered[:, g]))
    return np.asarray((error + error.T) / 2)


def _cell_overlaps(table: Table, checks: Sequence[Check], of: Ints, wrong_look: float) -> tuple[Ints, Ints, Floats]:
    """Pairs of cells of different faults that no single reading separates, and 2·error of each pair."""
    readings = [check for check in checks if check.kind == "reading"]
    looks = [answer_chances(table, check, wrong_look) for check in checks if check.kind == "observation"]
    stack = table.stack
    columns = np.array([table.column[check.id] for check in readings], dtype=np.int64)
    mean, sigma = stack.mean[:, columns], stack.sigma[:, columns]
    floats = stack.floats[:, columns]
    grounded = ~floats & (np.abs(mean) < NOTHING_V)

    def distances(a: Ints, b: Ints, pick: Ints) -> Floats:
        """Sigmas between some readings of pairs of cells, (pairs, these)."""
        one, other = (a[:, None], pick), (b[:, None], pick)
        distance = np.abs(mean[one] - mean[other]) / (sigma[one] + sigma[other])
        # a floating point is not told from a grounded one by its volts
        distance[(floats[one] & grounded[other]) | (floats[other] & grounded[one])] = 0.0
        return np.asarray(distance)

    cells = np.arange(of.size)
    unlike = _unlike(mean, sigma, floats, grounded)
    order = np.arange(columns.size)
    ends = [0, *(FIRST_LOOK << k for k in range(order.size.bit_length())), order.size]
    close, best = [], []
    for start in range(0, of.size, max(1, WINDOW // of.size)):
        some = cells[start : start + max(1, WINDOW // of.size)]
        row, second = np.nonzero((cells > some[:, None]) & (of != of[some][:, None]) & ~unlike[some])
        first = some[row]
        for low, high in pairwise(min(end, order.size) for end in ends):
            near = distances(first, second, order[low:high]).max(axis=1, initial=0.0) < SURELY_APART / 2
            first, second = first[near], second[near]
        close.append(np.stack([first, second]))
        best.append(np.argsort(-distances(first, second, order), axis=1, kind="stable")[:, :JOINT])
    (a, b), telling = np.concatenate(close, axis=1), np.concatenate(best)
    seen = np.zeros(a.size)
    for chances in looks:
        seen += np.log(np.sqrt(chances[a] * chances[b]).sum(axis=1))
    # all readings together tell at least as much as the best of them
    best_one = distances(a, b, telling[:, :1]).max(axis=1, initial=0.0)
    left = np.flatnonzero(4 * np.square(best_one) - 8 * seen < SURELY_APART**2)
    a, b, telling, seen = a[left], b[left], telling[left], seen[left]
    ln_bc = seen + _joint_ln_bc(table, a, b, columns[telling])
    return a, b, 2 * normal_tail(np.sqrt(np.maximum(-8 * ln_bc, 0)) / 2)


def _unlike(mean: Floats, sigma: Floats, floats: Bools, grounded: Bools) -> Bools:
    """Pairs of cells, (C, C), that are surely apart by the readings in which either stands out most from the others."""
    middle = np.median(mean, axis=0)
    stands_out = np.argsort(-np.abs(mean - middle) / sigma, axis=1, kind="stable")[:, :FIRST_LOOK]
    turned = [np.ascontiguousarray(each.T) for each in (mean, sigma, floats, grounded)]
    apart = np.zeros((mean.shape[0], mean.shape[0]), dtype=bool)
    for cell, picked in enumerate(stands_out):
        others, spread, float_there, grounded_there = (each[picked] for each in turned)
        far = np.abs(mean[cell, picked, None] - others) >= SURELY_APART / 2 * (sigma[cell, picked, None] + spread)
        far &= ~(floats[cell, picked, None] & grounded_there) & ~(grounded[cell, picked, None] & float_there)
        apart[cell] = far.any(axis=0)
    return apart | apart.T


def _joint_ln_bc(table: Table, a: Ints, b: Ints, pick: Ints) -> Floats:
    """ln of the Bhattacharyya coefficient of pairs of joint Gaussians over the picked checks, (pairs,)."""
    stack = table.stack
    result = np.zeros(a.size)
    at_a_time = max(1, NUMBERS // table.unknowns.count)
    for start in range(0, a.size, at_a_time):
        part = slice(start, start + at_a_time)
        covariance, mean = [], []
        for cells in (a[part], b[part]):
            s = _slopes(table, cells, pick[part])
            k = np.matmul(s, np.swapaxes(s, 1, 2))
            k += np.eye(pick.shape[1]) * np.square(stack.noise[cells[:, None], pick[part]])[:, None, :]
            covariance.append(k)
            mean.append(stack.mean[cells[:, None], pick[part]])
        middle = (covariance[0] + covariance[1]) / 2
        step = mean[0] - mean[1]
        term = np.einsum("pk,pk->p", step, np.linalg.solve(middle, step[:, :, None])[:, :, 0]) / 8
        logs = [np.linalg.slogdet(k)[1] for k in (middle, *covariance)]
        result[part] = -(term + (logs[0] - (logs[1] + logs[2]) / 2) / 2)
    return result


def _slopes(table: Table, cells: Ints, columns: Ints) -> Floats:
    """Slopes of the readings `columns` (n, k) of cells (n,), each reading of a cell worked out once: (n, k, U)."""
    count = len(table.readings)
    wanted, back = np.unique(cells[:, None] * count + columns, return_inverse=True)
    _, first, each = np.unique(wanted // count, return_index=True, return_counts=True)
    place = (np.arange(wanted.size) - np.repeat(first, each)) % JOINT
    row = np.cumsum(place == 0) - 1  # a cell of which many readings are wanted takes several rows
    of_cell = np.repeat(wanted[place == 0, None] % count, JOINT, axis=1)
    of_cell[row, place] = wanted % count
    back = back.reshape(columns.shape)
    return np.asarray(table.slopes(wanted[place == 0] // count, of_cell)[row[back], place[back]])


def normal_tail(x: Floats) -> Floats:
    """Probability that a standard normal exceeds x >= 0."""
    return np.array([0.5 * (1 - erf(value / np.sqrt(2))) for value in np.ravel(x)]).reshape(np.shape(x))
