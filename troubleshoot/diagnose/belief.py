"""How probable each suspect is, given all that was read and seen: a pure function of the evidence, in the order it
was given.

For each cell the readings are jointly Gaussian (`joint.py`). Readings may be wrong: their place is then taken by what
a named mistake would have shown, or by anything at all (`hypotheses.py`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.diagnose.comes_and_goes import Goes, may_come_and_go, untold, wander_terms, weigh_goes
from troubleshoot.diagnose.evidence import Known
from troubleshoot.diagnose.hypotheses import Hypotheses, list_hypotheses
from troubleshoot.diagnose.joint import Joint
from troubleshoot.diagnose.undescribed import Undescribed, weigh_undescribed
from troubleshoot.expect.cells import NOT_DESCRIBED
from troubleshoot.expect.seen import answer_chances, wiggle_chances
from troubleshoot.expect.table import Table
from troubleshoot.solve.linear import Floats, Ints

MOST_WEIGHED = 20
"""Readings that are weighed together, the latest ones. A verdict takes about six, and the work grows
with their number cubed."""

MISLEADS = 0.5
"""Probability of being wrong, in one cell, from which a reading no longer steers what others are expected to show
there."""


@dataclass(frozen=True)
class Belief:
    """`p_cell` (C + 1,): the table's cells, then "not described". Of each reading (n,): `p_wrong`, its likeliest
    `slip`, and `p_stays`, the part of `p_wrong` that is a mistake of several readings.

    `p_without` (evidence, C + 1) is `p_cell` had that answer not been given, named slips left aside;
    `p_without_run` (C + 1,) had none of several been given that read nothing in a row, as a meter left wrong would.
    `meter`: how probable each way is in which the meter may stand wrong now. `p_goes` (C,): share of each cell's
    probability that is of a fault that comes and goes; `goes` and `other`: what the answers say of such a fault, and of
    something not described.
    """

    table: Table
    evidence: tuple[Known, ...]
    p_cell: Floats
    p_wrong: Floats
    slip: tuple[str, ...]
    joint: Joint | None
    p_without: Floats
    p_stays: Floats = field(default_factory=lambda: np.zeros(0))
    p_without_run: dict[tuple[int, ...], Floats] = field(default_factory=dict)
    meter: dict[str, float] = field(default_factory=dict)
    goes: Goes | None = None
    p_goes: Floats | None = None
    other: Undescribed | None = None

    @property
    def p_unlike(self) -> float:
        """Probability of something not described that shows in an answer."""
        altered = self.other.altered.max(initial=0.0) if self.other else 0.0
        return float(self.p_cell[-1] * altered)

    @property
    def p_coming(self) -> float:
        """Probability of a fault that comes and goes."""
        return float(self.p_cell[:-1] @ self.p_goes) if self.p_goes is not None else 0.0

    def chances(self, check: Check, wrong_look: float, cells: Ints | None = None) -> Floats:
        """Chance of each of an observation's answers in every cell, or in these, (cells, answers)."""
        steady = answer_chances(self.table, check, wrong_look, cells)
        if self.p_goes is None or not check.about.startswith("wiggle:"):
            return steady
        every = slice(None) if cells is None else cells
        moved = wiggle_chances(self.table, check)[every] * (1 - wrong_look) + wrong_look / 2
        share = self.p_goes[every, None]
        return np.asarray(share * np.stack([moved, 1 - moved], axis=1) + (1 - share) * steady)

    @property
    def readings(self) -> tuple[Known, ...]:
        """The readings, which come first in the evidence; `p_wrong` and `slip` are about them."""
        return self.evidence[: self.p_wrong.size]

    @cached_property
    def p_fault(self) -> dict[str, float]:
        """Probability of each fault by name."""
        of_fault = np.bincount(self.table.fault_of, self.p_cell[:-1]).tolist()
        return dict(zip([*self.table.faults, NOT_DESCRIBED.name], [*of_fault, float(self.p_cell[-1])], strict=True))

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


def weigh(
    table: Table, guesses: Guesses, evidence: Sequence[Known], prior: Floats | None = None,
    coming: Floats | None = None, brought: str = "",
) -> Belief:  # fmt: skip
    """The belief after `evidence`. `prior` (C + 1,) defaults to the table's weights; `coming` (C,), the share of each
    cell's that comes and goes, to what it is where nobody said so. `brought`: the complaint that it came in
    with, "" for none.

    A check answered twice counts once, by its latest answer; of more than MOST_WEIGHED readings the latest count.
    Their order tells only for how long a meter may have been left wrong (`left_wrong.py`).
    """
    latest = tuple({known.check.id: known for known in evidence}.values())
    readings = [known for known in latest if known.choice < 0][-MOST_WEIGHED:]
    looks = [known for known in latest if known.choice >= 0]
    answers, count = (*readings, *looks), len(readings)
    before = prior_of(table, guesses) if prior is None else prior
    coming = untold(table) if coming is None else coming
    other = weigh_undescribed(table, guesses, answers, brought)
    seen = np.array([_log_look(table, known, guesses) for known in looks]).reshape(len(looks), len(table.cells) + 1)
    seen[:, -1] = other.each[count:]
    log_p = np.log(before + 1e-300) + seen.sum(axis=0) + wander_terms(table, readings)
    log_p[:-1] += np.log1p(-coming)
    ln_coming = np.log(before[:-1] * coming + 1e-300)
    if not readings:
        goes = weigh_goes(table, guesses, answers, ln_coming)
        without = _normal(goes.added_without(log_p - seen))
        return Belief(table, answers, _normal(goes.added(log_p)), np.zeros(0), (), None, without, goes=goes,
                      p_goes=goes.share(log_p), other=other)  # fmt: skip
    joint = Joint.of(table, readings)
    found = list_hypotheses(table, readings, joint, guesses.mistakes.wrong_reading.value, log_p[:-1])
    terms = np.array(found.terms)
    told = np.append(np.logaddexp.reduce(terms, axis=0), other.each[:count].sum())
    in_cell = np.exp(terms - told[:-1])
    goes = Goes.nothing(table, answers)
    if may_come_and_go(coming, readings, _normal(log_p + told), in_cell[0], float(other.altered.max()), bool(brought)):
        goes = weigh_goes(table, guesses, answers, ln_coming)
    p_cell, p_goes = _normal(goes.added(log_p + told)), goes.share(log_p + told)
    share = in_cell @ (p_cell[:-1] * (1 - p_goes) / max(p_cell[:-1].sum(), 1e-300))
    owned = np.array([[i in own for own in found.owners] for i in range(count)])
    several = np.array(
        [len(own) > 1 and name != "misread" for own, name in zip(found.owners, found.names, strict=True)]
    )
    runs = {at: _normal(goes.added(log_p + np.append(rest, told[-1] - other.each[list(at)].sum()), at))
            for at, rest in found.rest_of.items()}  # fmt: skip
    without = np.concatenate(
        [log_p + np.column_stack([found.rest, told[-1] - other.each[:count]]), log_p + told - seen]
    )
    return Belief(
        table,
        answers,
        p_cell,
        owned @ share,
        tuple(_likeliest(i, share, found) for i in range(count)),
        goes.settled(joint.without_some((owned @ in_cell > MISLEADS).T), p_cell, p_goes, other.joint),
        _normal(goes.added_without(without)),
        owned @ (share * several),
        runs,
        _meter_now(share, found),
        goes,
        p_goes,
        other,
    )


def _log_look(table: Table, known: Known, guesses: Guesses) -> Floats:
    """ln chance of what was seen, for every cell and for "not described", (C + 1,)."""
    chances = answer_chances(table, known.check, guesses.mistakes.wrong_look.value)[:, known.choice]
    return np.append(np.log(chances), -np.log(len(known.check.answers)))


def prior_of(table: Table, guesses: Guesses) -> Floats:
    """The table's weights with "not described" behind them, (C + 1,)."""
    total = sum(guesses.prior(fault.prior) for fault in table.faults.values())
    other = guesses.prior(NOT_DESCRIBED.prior) / (total + guesses.prior(NOT_DESCRIBED.prior))
    return np.append(table.weight * (1 - other), other)


def _normal(log_p: Floats) -> Floats:
    """Probabilities from their logarithms, along the last axis."""
    p = np.exp(log_p - log_p.max(axis=-1, keepdims=True, initial=-1e300))
    return np.asarray(p / p.sum(axis=-1, keepdims=True))


def _likeliest(i: int, share: Floats, found: Hypotheses) -> str:
    """The likeliest way in which reading i may be wrong."""
    by_name: dict[str, float] = {}
    for h, own in enumerate(found.owners):
        if i in own:
            by_name[found.names[h]] = by_name.get(found.names[h], 0.0) + float(share[h])
    return max(by_name, key=lambda name: by_name[name])


def _meter_now(share: Floats, found: Hypotheses) -> dict[str, float]:
    """How probable each way is in which the meter may stand wrong now."""
    by_name: dict[str, float] = {}
    for h, run in enumerate(found.runs):
        if run and run.is_now:
            by_name[run.name] = by_name.get(run.name, 0.0) + float(share[h])
    return by_name
