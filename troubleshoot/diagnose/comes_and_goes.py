"""Faults that come and go: each reading is either as with the fault or as without it.

A joint, a spread terminal, a switch's or relay's contact, a breaker or a winding that opens when hot may be bad for
part of the readings only. Beside every such cell stands its "comes and goes" variant: a reading is then what the cell
predicts, or what the healthy circuit does, and how often it is which is not known. Given which reading is which, all
are one joint Gaussian, since it is the same car. Which is which is settled one reading after another, in the order of
the checks' ids: each is judged by its conditional given those before it, and counts for the likelier way (an
approximation: the sum over all ways would be 2^n joint Gaussians). How often the fault showed is the usual rule of
succession, counting only readings that differ with and without it: what was read while it was away proves nothing.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from troubleshoot.circuit.checks import AGAIN, Check
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.diagnose.chain import Chain
from troubleshoot.diagnose.evidence import Known
from troubleshoot.diagnose.joint import Joint
from troubleshoot.diagnose.slips import flat_density
from troubleshoot.expect.prediction import Prediction
from troubleshoot.expect.seen import answer_chances, by_heat, coming_chances, complaint_chances, wiggle_chances
from troubleshoot.expect.table import Table
from troubleshoot.solve.linear import Bools, Floats, Ints

if TYPE_CHECKING:
    from troubleshoot.diagnose.belief import Belief

LOOSE = (
    "stretch-bad", "ground-joint", "spread-contact", "switch-contact", "contacts-burnt", "contacts-stuck-open",
    "cut-off-open", "painted-ground",
)  # fmt: skip
"""Kinds of fault that movement makes come and go."""

SHARE = {"loose": 0.15, "heat": 0.1}
"""Share of such faults that come and go (invented)."""

UNTOLD = 0.2
"""How much less likely a fault that comes and goes is where nobody said so (invented)."""

COMING = 0.5
"""Share of a cell that comes and goes from which it is expected to show what it does with the readings taken so."""

TOLD = 0.3
"""Share of a cell's that comes and goes from which somebody must have said so."""

FITS_BADLY = 0.1
"""Probability of "not described" with an answer for it, or of a wrong reading, from which faults that come and go are
thought of."""

SHOWS_NOTHING = 0.7
"""Probability of a healthy circuit from which a load that was brought for something may have a fault that is away
(invented)."""

WATCHES = 0.1
"""Probability of a fault that comes and goes from which readings are watched while things are moved (invented)."""

WARM = (9.0, 1.0)
COLD = (1.0, 3.0)
EVEN = (1.0, 1.0)
"""How often it shows before anything is known, as (times there, times away): a fault of heat when warm and when
cold, and any other (invented)."""

MOST_TRIED = 250
BEHIND = 25.0
"""Cells for which it is reckoned, at most: those no more than so many nats behind by their readings one by one."""

WANDERS = {"rests": 0.01, "joint": 0.05, "floats": 0.3, "chatters": 0.5, "comes and goes": 0.3, "unknown": 0.05}
"""Chance that a reading will not stand still, by what is read (invented)."""

CATCHES, CATCHES_HEAT = 0.5, 0.1
"""Chance that it is seen to come or go in a reading that is watched while plugs and wires are moved, and for a fault of
heat, which does not mind that (invented)."""

HELD_ENDS = 0.6
"""How often the ends of a range are the readings with and without the fault; else they lie anywhere between."""

RANGE_V = 8.0
"""Width of "any range at all": half of a range between nothing and charging volts."""

NOTED_V = 0.1
"""Change of a watched reading that one tells of as a range (invented)."""

EDGE, EDGE_MV = 0.2, 0.004
"""Volts (or ln(ohm); on millivolts), by which the ends of a range may lie outside what is predicted (invented)."""


@dataclass(frozen=True)
class Goes:
    """What the answers say of each cell's variant that comes and goes, (C,) each: `ln_p` of it and all answers (-inf
    where there is none), how many answers could have shown it and in how many it did; `each` (n, C): ln p of one answer
    given those before it. `joint`: slopes, residuals and precision of the readings in `cells`, those that fit."""

    ln_p: Floats
    each: Floats
    could: Floats
    showed: Floats
    cells: Ints
    joint: tuple[Floats, Floats, Floats]

    @classmethod
    def nothing(cls, table: Table, answers: Sequence[Known]) -> Goes:
        """Where nothing speaks for a fault that comes and goes, it is not reckoned with."""
        count, none = len(table.cells), np.zeros(0, dtype=np.int64)
        empty = np.zeros((0, 0, 0))
        return cls(np.full(count, -np.inf), np.zeros((len(answers), count)), np.zeros(count), np.zeros(count), none,
                   (empty, np.zeros((0, 0)), empty))  # fmt: skip

    def added(self, ln_steady: Floats, without: Sequence[int] = ()) -> Floats:
        """ln p of cells, steady or not, and of "not described", (C + 1,), from that of the steady ones; nearly, had
        some answers not been given."""
        left = self.ln_p - self.each[list(without)].sum(axis=0)
        return np.append(np.logaddexp(ln_steady[:-1], left), ln_steady[-1])

    def added_without(self, ln_steady: Floats) -> Floats:
        """The same had the i-th answer not been given, (n, C + 1) from (n, C + 1); nearly, since what came behind it
        was told given it."""
        return np.array([self.added(row, [i]) for i, row in enumerate(ln_steady)]).reshape(ln_steady.shape)

    def settled(self, joint: Joint, p_cell: Floats, p_goes: Floats, healthy: tuple[Floats, Floats, Floats]) -> Joint:
        """The readings' joint in which cells that mostly come and go have it with the readings taken as settled here,
        and the healthy one with those that fit (`healthy`), for it stands for all others while they are away."""
        if (p_cell[:-1] * p_goes).sum() > COMING:
            joint = joint.instead(np.zeros(1, dtype=np.int64), *healthy)
        some = np.flatnonzero(p_goes[self.cells] > COMING)
        return joint.instead(self.cells[some], *(part[some] for part in self.joint))

    def share(self, ln_steady: Floats) -> Floats:
        """Share of each cell's probability that comes and goes, (C,)."""
        return np.asarray(np.exp(self.ln_p - np.logaddexp(ln_steady[:-1], self.ln_p)))


def watched(checks: Sequence[Check], done: Collection[str]) -> list[Check]:
    """The checks where a fault may come and go: those that can be are watched, at most twice, and an observation of
    those then made twice more; what is moved is moved once more."""
    found = [check.watch() if check.can_be_watched else check for check in checks]
    again = [check.repeated() for check in found if check.watched or check.about.startswith("wiggle:")]
    found += [check for check in again if check.id.removesuffix(AGAIN) in done]
    more = [check for check in checks if check.kind == "observation" and check.watch().repeated().id in done]
    found += [check.repeated() if check.id in done else check for check in more]
    return [check for check in found if check.id not in done]


def for_heat(check: Check) -> bool:
    """Whether a check is made only where heat may make a fault come and go: of what is always there it is seldom worth
    its wait, beside whether the load still works when warm."""
    return check.setup.warm and not check.about.startswith("runs:")


def kinds(table: Table) -> tuple[Bools, Bools]:
    """Which cells may come and go by movement, and which by heat, (C,) each."""
    return np.isin([cell.fault.prior for cell in table.cells], LOOSE), by_heat(table)


def shows_next(heat: Bools, check: Check) -> Floats:
    """Chance that each of some faults that come and go, by heat or by movement, (A,), is there at a check, before
    anything is known of how often it is."""
    at_heat = WARM if check.setup.warm else COLD
    there = np.where(heat, at_heat[0] / sum(at_heat), EVEN[0] / sum(EVEN))
    if check.watched and (check.is_ohms or check.kind == "observation"):  # the worst of it counts
        there = _sooner_or_later(there, heat)
    return np.asarray(there)


def _sooner_or_later(there: Floats, heat: Bools) -> Floats:
    """Chance that a fault which is there so often is there at some time while it is watched, (A,)."""
    catches = np.where(heat, CATCHES_HEAT, CATCHES)
    return np.asarray(catches + (1 - catches) * there)


def share_of(table: Table) -> Floats:
    """Share of each cell's faults that come and go, (C,), before a complaint."""
    loose, heat = kinds(table)
    return np.where(loose, SHARE["loose"], np.where(heat, SHARE["heat"], 0.0))


def untold(table: Table) -> Floats:
    """The same where nobody said whether it comes and goes."""
    return share_of(table) * UNTOLD


def may_come_and_go(
    share: Floats, readings: Sequence[Known], p_steady: Floats, right: Floats, altered: float, brought: bool
) -> bool:  # fmt: skip
    """Whether faults that come and go are worth reckoning with: somebody said so, a reading would not stand still, what
    is always there explains the answers badly, or a load was brought for what does not show. `p_steady` (C + 1,),
    `right` (C,): probability in each cell that all readings are; `altered`: that some are as only something not
    described would show."""
    if share.max(initial=0.0) > TOLD or any(known.wanders for known in readings):
        return True
    p = p_steady[:-1]
    if brought and p[0] > SHOWS_NOTHING:
        return True
    return bool(p_steady[-1] * altered > FITS_BADLY or (right * p).sum() < (1 - FITS_BADLY) * p.sum())


def coming_share(table: Table, complaint: str) -> Floats:
    """Share of each cell's faults that come and go among cars brought with a complaint, (C,)."""
    share = share_of(table)
    coming = share * coming_chances(table, complaint, kinds(table)[1])
    return np.asarray(coming / (coming + (1 - share) * complaint_chances(table, complaint)))


def chances_told(table: Table, complaint: str) -> Floats:
    """Chance of each cell's car being brought with this complaint, always there or not, relative, (C,)."""
    share = share_of(table)
    coming = share * coming_chances(table, complaint, kinds(table)[1])
    return np.asarray(coming + (1 - share) * complaint_chances(table, complaint))


# ---- ranges


def wander_terms(table: Table, readings: Sequence[Known]) -> Floats:
    """ln chance and density of the ranges among the readings for steady faults and for "not described", (C + 1,); the
    middle of a range is reckoned like any reading."""
    total = np.zeros(len(table.cells) + 1)
    joint = np.isin([cell.fault.prior for cell in table.cells], LOOSE)
    for known in (k for k in readings if k.wanders):
        predicted = table.predict(known.check)
        chance = np.where(joint & (predicted.noise > 0.02), WANDERS["joint"], WANDERS["rests"])
        chance = np.where(predicted.floats, WANDERS["floats"], chance)
        if not known.check.is_ohms:
            chance = np.where(table.chatters(known.check.setup), WANDERS["chatters"], chance)
        total += np.log(np.append(chance, WANDERS["unknown"]) / RANGE_V)
    return total


def _range_density(known: Known, with_it: Prediction, without: Prediction) -> Floats:
    """Density of a range, by its middle and half, where the fault comes and goes meanwhile: its ends are what is read
    with the fault and without it, or lie anywhere between, (A,)."""
    one, two = with_it.mean, np.broadcast_to(without.mean, with_it.mean.shape)
    low, high = np.minimum(one, two), np.maximum(one, two)
    ends = known.value - known.sigma, known.value + known.sigma
    sigma = np.hypot(
        EDGE_MV if known.check.function == "millivolts" else EDGE, np.maximum(with_it.sigma, without.sigma)
    )
    inside = (ends[0] >= low - 2 * sigma) & (ends[1] <= high + 2 * sigma)
    # two ends anywhere in the span, in order: 2 / span² for (low, high), twice that for (middle, half)
    between = np.where(inside, 4 / np.square(high - low + 4 * sigma), 0.0)
    off = np.square(ends[0] - low) + np.square(ends[1] - high)
    held = 2 * np.exp(-0.5 * off / np.square(sigma)) / (2 * np.pi * np.square(sigma))
    return np.asarray(HELD_ENDS * held + (1 - HELD_ENDS) * between)


# ---- one answer after another


def weigh_goes(table: Table, guesses: Guesses, answers: Sequence[Known], ln_prior: Floats) -> Goes:
    """What the answers say of every cell's variant that comes and goes; `ln_prior` (C,) is the variants'."""
    order = sorted(range(len(answers)), key=lambda i: (answers[i].choice >= 0, answers[i].check.id))
    cells = _worth_trying(table, guesses, answers, ln_prior)
    count = len(table.cells)
    ln_p, each = np.full(count, -np.inf), np.zeros((len(answers), count))
    could, showed = np.zeros(count), np.zeros(count)
    walk = _Walk(table, guesses, cells, len(answers))
    for i in order:
        each[i, cells] = walk.look(answers[i]) if answers[i].choice >= 0 else walk.read(answers[i])
    ln_p[cells] = ln_prior[cells] + each[:, cells].sum(axis=0)
    could[cells], showed[cells] = walk.could, walk.showed
    joint = walk.chain.arranged([i for i in order if answers[i].choice < 0])
    return Goes(ln_p, each, could, showed, cells, joint)


def _worth_trying(table: Table, guesses: Guesses, answers: Sequence[Known], ln_prior: Floats) -> Ints:
    """The cells whose variant could count, judged by each answer by itself."""
    hope = ln_prior.copy()
    for known in answers:
        if known.choice >= 0:
            chance = answer_chances(table, known.check, guesses.mistakes.wrong_look.value)[:, known.choice]
            hope += np.log(np.maximum(chance, chance[0]))
            continue
        predicted = table.predict(known.check)
        sigma = np.hypot(predicted.sigma, known.sigma)
        ln_p = -0.5 * np.square((known.value - predicted.mean) / sigma) - np.log(sigma)
        hope += np.maximum(np.maximum(ln_p, ln_p[0]), -8.0)
    alive = np.flatnonzero(hope > max(hope.max(), -1e200) - BEHIND)
    return np.sort(alive[np.argsort(-hope[alive], kind="stable")[:MOST_TRIED]])


class _Walk:
    """The answers gone through one by one for some cells; keeps how often the fault showed."""

    def __init__(self, table: Table, guesses: Guesses, cells: Ints, most: int) -> None:
        self._table, self._guesses, self._cells = table, guesses, cells
        self._heat = kinds(table)[1][cells]
        self._catches = np.where(self._heat, CATCHES_HEAT, CATCHES)
        self.chain = Chain(cells.size, most, table.unknowns.count)
        self.could, self.showed = np.zeros(cells.size), np.zeros(cells.size)

    def _there(self, known: Known) -> Floats:
        """Chance that the fault is there, given how often it was, (A,)."""
        warm = known.check.setup.warm
        start = np.where(self._heat[:, None], WARM if warm else COLD, EVEN)
        if warm:
            return np.where(self._heat, start[:, 0] / start.sum(axis=1), self._even())
        return np.asarray((start[:, 0] + self.showed) / (start.sum(axis=1) + self.could))

    def _even(self) -> Floats:
        return np.asarray((EVEN[0] + self.showed) / (sum(EVEN) + self.could))

    def _count(self, there: Floats, with_it: Floats, without: Floats) -> None:
        """Counts an answer by how far it tells whether the fault was there; `with_it` and `without` are its chances."""
        both = with_it + without + 1e-300
        tells = np.abs(with_it - without) / both
        self.could += tells
        self.showed += tells * there * with_it / (there * with_it + (1 - there) * without + 1e-300)

    def look(self, known: Known) -> Floats:
        """ln chance of an observation, (A,)."""
        wrong = self._guesses.mistakes.wrong_look.value
        there = self._there(known)
        if known.check.about.startswith("wiggle:"):
            moved = wiggle_chances(self._table, known.check)[self._cells]
            chances = np.stack([moved, 1 - moved], axis=1) * (1 - wrong) + wrong / 2
            return np.log(chances[:, known.choice])
        if known.check.watched:  # ten times over: the worst counts
            there = _sooner_or_later(there, self._heat)
        chance = answer_chances(self._table, known.check, wrong)[:, known.choice]
        with_it, without = chance[self._cells], np.full(self._cells.size, chance[0])
        self._count(there, with_it, without)
        return np.asarray(np.log(there * with_it + (1 - there) * without))

    def read(self, known: Known) -> Floats:
        """ln density of a reading, (A,)."""
        own, healthy = (self._table.predict_in(known.check, c) for c in (self._cells, np.zeros(1, dtype=np.int64)))
        there, anything = self._there(known), flat_density(known.check)
        wrong = self._guesses.mistakes.wrong_reading.value
        if known.check.watched and known.check.is_ohms:  # the most ohms count
            there = _sooner_or_later(there, self._heat)
        parts = []
        for p in (own, healthy):
            slope = np.broadcast_to(p.slope, own.slope.shape)
            variance = np.broadcast_to(np.square(p.noise) + known.sigma**2, there.shape)
            parts.append(self.chain.ahead(known.value - np.broadcast_to(p.mean, there.shape), slope, variance))
        (ln_with, with_it), (ln_without, without) = parts
        if known.wanders:
            density = _range_density(known, own, healthy) * (
                self._catches if known.check.watched else WANDERS["comes and goes"]
            )
            self.chain.take(with_it, np.zeros(there.size, dtype=bool))
            self.could, self.showed = self.could + 1.0, self.showed + 1.0
            return np.asarray(np.log((1 - wrong) * density + wrong * WANDERS["rests"] * anything / RANGE_V))
        p_with, p_without = np.exp(ln_with), np.exp(ln_without)
        if not known.check.is_ohms:  # what floats may as well be dry
            p_with, p_without = (
                np.where(each.floats, (density + each.dry_density(known.value, known.sigma)) / 2, density)
                for density, each in ((p_with, own), (p_without, healthy))
            )
        fits_with = there * p_with > (1 - there) * p_without
        believed = (1 - wrong) * (there * p_with + (1 - there) * p_without)
        if (
            known.check.watched and not known.check.is_ohms
        ):  # it stayed the same, and might have changed where that shows
            seen_v = np.maximum(6 * own.sigma, NOTED_V)
            believed *= 1 - self._catches * np.minimum(1.0, np.square((own.mean - healthy.mean) / seen_v))
        taken = tuple(np.where(fits_with.reshape(-1, *[1] * (a.ndim - 1)), a, b)
                      for a, b in zip(with_it, without, strict=True))  # fmt: skip
        self.chain.take(taken, believed > wrong * anything)
        self._count(there, p_with, p_without)
        return np.asarray(np.log(believed + wrong * anything))


def came_and_went(belief: Belief, faults: Collection[str]) -> tuple[float, float, float]:
    """Of these faults: the share of their probability that comes and goes, how many answers could have shown it, and in
    how many it showed."""
    if belief.goes is None or belief.p_goes is None:
        return 0.0, 0.0, 0.0
    mine = np.isin(belief.table.names, list(faults))
    p = belief.p_cell[:-1] * mine
    goes = p * belief.p_goes
    if goes.sum() <= 0:
        return 0.0, 0.0, 0.0
    could, showed = (float(goes @ of / goes.sum()) for of in (belief.goes.could, belief.goes.showed))
    return float(goes.sum() / p.sum()), could, showed
