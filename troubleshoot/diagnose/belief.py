"""How probable each suspect is, given all that was read and seen: a pure function of the set of evidence.

For each cell the n readings are jointly Gaussian with covariance K = J·Jᵀ + diag(noise²); P = K⁻¹. One
reading i may be wrong: its place is then taken by what a named slip would have shown, or by anything at all;
p(all but i) comes from P without another inversion, since y_i given the rest has mean y_i - (P·r)_i/P_ii and
variance 1/P_ii (the usual leave-one-out identity of Gaussian regression).
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from troubleshoot.circuit.guesses import Guesses
from troubleshoot.diagnose.evidence import Known
from troubleshoot.diagnose.slips import flat_density, slips
from troubleshoot.expect.cells import NOT_DESCRIBED
from troubleshoot.expect.seen import answer_chances
from troubleshoot.expect.table import NOTHING_V, Table
from troubleshoot.solve.linear import Bools, Floats, Ints

FLAT_SHARE = 0.4
"""Share of wrong readings that no named slip explains (invented)."""

NIL_V = 0.005
"""Sigma of a floating point that reads nothing (invented): hardly wider than a grounded one."""

NEGLIGIBLE = 25.0
"""Nats behind the best cell from which no slip can bring a cell back: a slip fits at most about 7 nats better
than "anything"."""

MOST_WEIGHED = 20
"""Readings that are weighed together, the latest ones. A verdict takes about six, and the work grows
with their number cubed."""

DOUBTED = 8
"""Of many readings, those most likely to be wrong are tried with every named slip and in pairs; the others only as
misread, each alone."""

MOST_SLIPPED = 600
"""Cells for which named slips are worked out, at most: the likeliest. In others a wrong reading may be anything."""

FEW_CELLS = 2000
MEAN_STEP = 4.0
LN_SIGMA_STEP = 0.1
"""Of more cells than these, those count as one kind whose readings are within 4 times their noise, and whose sigmas
are within 10 %."""

MISLEADS = 0.5
"""Probability of being wrong from which a reading no longer steers what others are expected to show."""


@dataclass(frozen=True)
class Joint:
    """The readings' joint Gaussian in every cell: residuals (C, n), P (C, n, n), ln density (C,).

    `slopes` (kinds, n, U) are those of each kind of cell, `kind` (C,) says which is a cell's; `still` (C, n): what
    floats there and is taken to read nothing.
    """

    slopes: Floats
    kind: Ints
    still: Bools
    residual: Floats
    precision: Floats
    log_density: Floats

    @classmethod
    def of(cls, table: Table, readings: Sequence[Known], widen: Floats | None = None) -> Joint:
        """Builds it; `widen` (n,) is added variance, for readings that are not believed.

        In a cell where points float, all of them may as well read nothing: the likelier of the two ways counts.
        """
        some, kind = _kinds(table, readings)
        predicted = [table.predict_in(known.check, some) for known in readings]
        slopes = np.stack([p.slope for p in predicted], axis=1)
        own = np.stack([np.hypot(p.noise, known.sigma) for known, p in zip(readings, predicted, strict=True)], axis=1)
        floats = np.stack([p.floats & (not k.check.is_ohms) for p, k in zip(predicted, readings, strict=True)], axis=1)
        own, floats = own[kind], floats[kind]
        value = np.array([known.value for known in readings])
        if some.size < kind.size:
            mean = table.stack.mean[:, [table.column[known.check.first_id] for known in readings]]
        else:
            mean = np.stack([p.mean for p in predicted], axis=1)
        residual = value - mean
        more = np.zeros(len(readings)) if widen is None else widen
        through = (slopes @ np.swapaxes(slopes, 1, 2))[kind]
        precision, log_density = _gaussian(through, residual, np.square(own) + more)
        log_density[floats.any(axis=1)] -= np.log(2)
        found = cls(slopes, kind, np.zeros_like(floats), residual, precision, log_density)
        cells = np.flatnonzero((floats & (np.abs(value) < NOTHING_V)).any(axis=1))
        if cells.size:
            moves = ~floats[cells]
            nil_residual = np.where(moves, residual[cells], value)
            nil_precision, nil_density = _gaussian(
                through[cells] * moves[:, :, None] * moves[:, None, :], nil_residual,
                np.where(moves, np.square(own[cells]), NIL_V**2) + more,
            )  # fmt: skip
            better = nil_density - np.log(2) > log_density[cells]
            mine = cells[better]
            residual[mine], precision[mine] = nil_residual[better], nil_precision[better]
            found.still[mine], log_density[mine] = floats[mine], nil_density[better] - np.log(2)
        return found

    def rows(self, cells: Ints) -> Joint:
        """The same for some of the cells."""
        return Joint(self.slopes, self.kind[cells], self.still[cells], self.residual[cells], self.precision[cells],
                     self.log_density[cells])  # fmt: skip

    @cached_property
    def slope(self) -> Floats:
        """Slopes of the readings, (C, n, U)."""
        return np.asarray(self.slopes[self.kind] * ~self.still[:, :, None])

    @cached_property
    def weighted(self) -> Floats:
        """P·r, (C, n)."""
        return np.asarray(np.einsum("cnm,cm->cn", self.precision, self.residual))


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


@dataclass(frozen=True)
class Belief:
    """`p_cell` (C + 1,): the table's cells, then "not described". `p_wrong` (n,) and its likeliest slip.

    `p_without` (evidence, C + 1) is `p_cell` had that answer not been given, named slips left aside.
    """

    table: Table
    evidence: tuple[Known, ...]
    p_cell: Floats
    p_wrong: Floats
    slip: tuple[str, ...]
    joint: Joint | None
    p_without: Floats

    @cached_property
    def p_fault(self) -> dict[str, float]:
        """Probability of each fault by name."""
        totals: dict[str, float] = {}
        for name, p in zip([*self.table.names, NOT_DESCRIBED.name], self.p_cell, strict=True):
            totals[name] = totals.get(name, 0.0) + float(p)
        return totals

    def expect(self, cells: Ints, columns: Ints | None = None) -> tuple[Floats, Floats]:
        """Mean and sigma of the table's readings in some cells, given those so far: (cells, readings).

        `columns` picks some of the readings of the table's stack; None takes all.
        """
        ahead = self.table.stack
        columns = np.arange(len(self.table.readings)) if columns is None else columns
        here = np.ix_(cells, columns)
        mean, sigma = ahead.mean[here], ahead.sigma[here]
        if self.joint is None:
            return mean, sigma
        cross = self.table.covariance(cells, columns, self.joint.rows(cells).slope)  # (cells, readings, n)
        mean = mean + np.matmul(cross, self.joint.weighted[cells][:, :, None])[:, :, 0]
        taken = (np.matmul(cross, self.joint.precision[cells]) * cross).sum(axis=2)
        return mean, np.sqrt(np.maximum(np.square(sigma) - taken, np.square(ahead.noise[here])))


def weigh(table: Table, guesses: Guesses, evidence: Sequence[Known], prior: Floats | None = None) -> Belief:
    """The belief after `evidence` (any order). `prior` (C + 1,) defaults to the table's weights.

    A check answered twice counts once, by its latest answer; of more than MOST_WEIGHED readings the latest count.
    """
    latest = tuple({known.check.id: known for known in evidence}.values())
    readings = [known for known in latest if known.choice < 0][-MOST_WEIGHED:]
    looks = [known for known in latest if known.choice >= 0]
    seen = np.array([_log_look(table, known, guesses) for known in looks]).reshape(len(looks), len(table.cells) + 1)
    log_p = np.log((prior_of(table, guesses) if prior is None else prior) + 1e-300) + seen.sum(axis=0)
    if not readings:
        return Belief(table, tuple(looks), _normal(log_p), np.zeros(0), (), None, _normal(log_p - seen))
    wrong = guesses.mistakes.wrong_reading.value
    joint = Joint.of(table, readings)
    found = _hypotheses(table, readings, joint, wrong, log_p[:-1])
    told = np.append(np.logaddexp.reduce(found.terms, axis=0), sum(map(_undescribed, readings)))
    p_cell = _normal(log_p + told)
    share = np.exp(found.terms - told[:-1]) @ (p_cell[:-1] / max(p_cell[:-1].sum(), 1e-300))
    count = len(readings)
    p_wrong = np.array([sum(share[h] for h, own in enumerate(found.owners) if i in own) for i in range(count)])
    slip = tuple(_likeliest(i, share, found) for i in range(count))
    others = told[-1] - np.array([_undescribed(known) for known in readings])
    without = np.concatenate([log_p + np.column_stack([found.rest, others]), log_p + told - seen])
    if (p_wrong > MISLEADS).any():
        joint = Joint.of(table, readings, np.where(p_wrong > MISLEADS, 1e4, 0.0))
    return Belief(table, (*readings, *looks), p_cell, p_wrong, slip, joint, _normal(without))


def _log_look(table: Table, known: Known, guesses: Guesses) -> Floats:
    """ln chance of what was seen, for every cell and for "not described", (C + 1,)."""
    chances = answer_chances(table, known.check, guesses.mistakes.wrong_look.value)[:, known.choice]
    return np.append(np.log(chances), -np.log(len(known.check.answers)))


def prior_of(table: Table, guesses: Guesses) -> Floats:
    """The table's weights with "not described" behind them, (C + 1,)."""
    total = sum(guesses.prior(fault.prior) for fault in {cell.fault for cell in table.cells})
    other = guesses.prior(NOT_DESCRIBED.prior) / (total + guesses.prior(NOT_DESCRIBED.prior))
    return np.append(table.weight * (1 - other), other)


def _normal(log_p: Floats) -> Floats:
    """Probabilities from their logarithms, along the last axis."""
    p = np.exp(log_p - log_p.max(axis=-1, keepdims=True, initial=-1e300))
    return np.asarray(p / p.sum(axis=-1, keepdims=True))


def _likeliest(i: int, share: Floats, found: Hypotheses) -> str:
    mine = [h for h, own in enumerate(found.owners) if own == (i,)]
    return found.names[max(mine, key=lambda h: share[h])]


def _undescribed(known: Known) -> float:
    """ln density of a reading in a car that the file does not describe: near 0, near the battery, or between."""
    if known.check.is_ohms:
        return float(np.log(flat_density(known.check)))
    near = [np.exp(-0.5 * ((known.value - m) / s) ** 2) / (s * np.sqrt(2 * np.pi)) for m, s in ((0, 0.1), (12.3, 0.5))]
    return float(np.log(0.3 * near[0] + 0.3 * near[1] + 0.4 * flat_density(known.check)))


@dataclass(frozen=True)
class Hypotheses:
    """ln p(readings, hypothesis), `terms` (H, C): all right, i and j anything, i wrong by a named slip.

    `owners` says which readings a hypothesis calls wrong, `names` how. `rest` (n, C) is ln p of all readings
    but i, right or one of them anything.
    """

    terms: Floats
    owners: list[tuple[int, ...]]
    names: list[str]
    rest: Floats


def _without_each(
    rests: list[Floats], owners: list[tuple[int, ...]], terms: list[Floats], flat: Floats,
    right: float, ln_wrong: float,
) -> Floats:  # fmt: skip
    """ln p of all readings but i, (n, C): the rest right, or one more of them wrong."""
    n = len(rests)
    found = []
    for i in range(n):
        parts = [rests[i] + (n - 1) * right]
        # a term "i and j anything" less i's own share is "j anything" among the rest
        parts += [terms[h] - flat[i] - ln_wrong for h, own in enumerate(owners) if len(own) == 2 and i in own]
        found.append(np.logaddexp.reduce(parts, axis=0))
    return np.stack(found)


def _hypotheses(table: Table, readings: list[Known], joint: Joint, wrong: float, log_p: Floats) -> Hypotheses:
    """ln p of all hypotheses. Named slips are worked out only for cells that they could bring back."""
    n = len(readings)
    right, ln_wrong = np.log1p(-wrong), np.log(wrong)
    flat = np.array([np.log(flat_density(known.check)) for known in readings])
    rests = [_log_without(joint, i) for i in range(n)]
    terms = [joint.log_density + n * right]
    owners: list[tuple[int, ...]] = [()]
    for i in range(n):
        terms.append(rests[i] + flat[i] + ln_wrong + np.log(FLAT_SHARE) + (n - 1) * right)
        owners.append((i,))
    doubted = sorted(range(n), key=lambda i: -float(np.max(terms[1 + i] + log_p)))[:DOUBTED]
    for i, j in itertools.combinations(sorted(doubted), 2):
        both = _leave_two_out(joint, i, j)
        terms.append(both + flat[i] + flat[j] + 2 * ln_wrong + (n - 2) * right)
        owners.append((i, j))
    names = ["misread" if own else "" for own in owners]
    rest = _without_each(rests, owners, terms, flat, right, ln_wrong)
    reach = np.max(terms, axis=0) + log_p
    alive = np.flatnonzero(reach > reach.max() - NEGLIGIBLE)
    alive = np.sort(alive[np.argsort(-reach[alive], kind="stable")[:MOST_SLIPPED]])
    living = joint.rows(alive)
    for i in doubted:
        known = readings[i]
        found = slips(table, known.check, alive)
        without, weighted, precision = _leave_out(living, i)
        base = without + ln_wrong + (n - 1) * right + np.log((1 - FLAT_SHARE) / max(len(found), 1))
        for slip in found:
            own_mean, slope, noise = slip.shown()
            mean, variance = _given_rest(living.slope, i, weighted, precision, slope)
            spread = variance + np.square(noise) + known.sigma**2
            off = known.value - own_mean - mean
            term = np.full(joint.log_density.size, -np.inf)
            term[alive] = base - 0.5 * (off**2 / spread + np.log(2 * np.pi * spread))
            terms.append(term)
            owners.append((i,))
            names.append(slip.name)
    return Hypotheses(np.stack(terms), owners, names, rest)


def _leave_out(joint: Joint, i: int) -> tuple[Floats, Floats, Floats]:
    """ln p of all readings but i, (C,); P·r and P of the rest, with row and column i zero."""
    p_ii = joint.precision[:, i, i]
    column = joint.precision[:, :, i]
    weighted = joint.weighted - column * (joint.weighted[:, i] / p_ii)[:, None]
    precision = joint.precision - column[:, :, None] * column[:, None, :] / p_ii[:, None, None]
    return _log_without(joint, i), weighted, precision


def _log_without(joint: Joint, i: int) -> Floats:
    """ln p of all readings but i, (C,)."""
    p_ii = joint.precision[:, i, i]
    off = joint.weighted[:, i] / p_ii
    return np.asarray(joint.log_density + 0.5 * (off**2 * p_ii + np.log(2 * np.pi / p_ii)))


def _given_rest(known: Floats, i: int, weighted: Floats, precision: Floats, slope: Floats) -> tuple[Floats, Floats]:
    """Shift of the mean, and variance from the unknowns, of another reading in place of i, given the rest."""
    cross = np.einsum("cu,cnu->cn", slope, known)
    cross[:, i] = 0.0
    mean = (cross * weighted).sum(axis=1)
    variance = np.square(slope).sum(axis=1) - np.einsum("cn,cnm,cm->c", cross, precision, cross)
    return mean, np.maximum(variance, 0.0)


def _leave_two_out(joint: Joint, i: int, j: int) -> Floats:
    """ln p of all readings but i and j, (C,)."""
    pick = np.array([i, j])
    block = joint.precision[:, pick[:, None], pick[None, :]]
    covariance = np.linalg.inv(block)
    off = np.einsum("cab,cb->ca", covariance, joint.weighted[:, pick])
    fit = np.einsum("ca,cab,cb->c", off, block, off)
    _, log_det = np.linalg.slogdet(covariance)
    return np.asarray(joint.log_density + 0.5 * (fit + log_det + 2 * np.log(2 * np.pi)))
