"""The next check: the one that tells most about the look-alike groups for each second it costs.

The information of a reading about the group is estimated from the pairwise Bhattacharyya coefficients of the
cells' Gaussians (the lower bound of Kolchinsky & Tracey 2017, Entropy 19:361):
I(C; Y) >= -sum_i w_i ln sum_j w_j BC_ij, and I(G; Y) = I(C; Y) - sum_g w_g I(C; Y | g).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.cost import Stand, cost_s
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.diagnose.belief import Belief
from troubleshoot.diagnose.comes_and_goes import WATCHES, kinds, shows_next
from troubleshoot.expect.table import NOTHING_V
from troubleshoot.solve.linear import Bools, Floats, Ints

REPEATED = 0.4
"""What a check made anew is worth against another one: the same hand may make the same slip (invented)."""

FLOATS_LIKE_GROUND = 0.7
"""Bhattacharyya coefficient of a floating and a grounded point: with little leakage both read nothing (invented)."""

FEW_READINGS = 600
LOOKED_AT = 60
SETUPS_LOOKED_AT = 3
"""Of more readings than these so many are worked out, in so many setups: those that would tell most if nothing had been
read yet about what the cells have in common."""

UNDESCRIBED = 0.1
"""Probability of "not described" from which checks are chosen by what they tell of it too (invented)."""

THERE = 0.5
"""Share of a fault that comes and goes that stands in its row as itself; where a check shows it more often or less,
that is weighed for the check."""

LOOKS_SOUND = 0.5
"""Probability of a healthy circuit from which a fault that comes and goes, less likely than would be watched for, no
longer steers (invented): what is read while it is away tells next to nothing of it."""

MOST_CELLS = 120
UNLIKELY = 2e-4
CELLS_A_FAULT = 3
"""Cells that a choice looks at: the heaviest of each fault, standing for the rest of it."""


def entropy(p: Floats) -> float:
    """-sum p ln p, in nats."""
    return float(-(p * np.log(np.maximum(p, 1e-300))).sum())


@dataclass(frozen=True)
class Choice:
    """A check with the nats it is expected to tell about the groups, and the seconds it costs."""

    check: Check
    nats: float
    seconds: float

    @property
    def rate(self) -> float:
        return self.nats / self.seconds


def pick(
    belief: Belief, group_of: Ints, checks: Sequence[Check], guesses: Guesses, stand: Stand, least: float = 0.0
) -> Choice | None:
    """The check with most information a second among those that tell more than `least` nats; `group_of` (C + 1,)
    numbers each cell's group."""
    best = ranked(Scale.of(belief, group_of, checks), checks, guesses, stand, least)
    return best[0] if best else None


def ranked(
    scale: Scale, checks: Sequence[Check], guesses: Guesses, stand: Stand, least: float, most: int = 1
) -> list[Choice]:
    """Those that tell most a second, the best first, at most so many.

    Checks are looked at in the order of what they could tell at best for their time, until none that is left can win.
    """
    if not scale.picked.size:  # all is "not described": no check tells anything of it
        return []
    circuit = scale.belief.table.network.circuit
    trust = 1 - 2 * guesses.mistakes.wrong_reading.value
    hopes = []
    for check in checks:
        worth = (trust if check.kind == "reading" else 1.0) * (REPEATED if check.again and not check.watched else 1.0)
        most_nats = worth * scale.at_most(check)
        if most_nats > least:
            seconds = cost_s(circuit, guesses.costs, stand, check)
            hopes.append((most_nats / seconds, worth, seconds, check))
    hopes.sort(key=lambda hope: -hope[0])
    best: list[Choice] = []
    for hope, worth, seconds, check in hopes:
        if len(best) == most and hope <= best[-1].rate:
            break
        choice = Choice(check, worth * scale.nats(check, guesses.mistakes.wrong_look.value), seconds)
        if choice.nats > least:
            best = sorted([*best, choice], key=lambda one: -one.rate)[:most]
    return best


@dataclass(frozen=True)
class Scale:
    """What is needed to say how much a check tells: the cells looked at, their weights and groups; `known` (K,): the
    readings whose mean and sigma were worked out. A fault that comes and goes has two rows: as itself, and as the
    healthy cell; `own` is the cell that a row stands for. "Not described", where it is likely enough to look for
    (`unlike`), has the last two rows: an answer that is as in the healthy circuit, and one that is altered."""

    belief: Belief
    picked: Ints
    weight: Floats
    group: Ints
    mean: Floats
    sigma: Floats
    known: Bools
    entropy: float
    own: Ints
    unlike: float
    away: Ints
    heat: Bools

    @classmethod
    def of(cls, belief: Belief, group_of: Ints, checks: Sequence[Check]) -> Scale:
        """Prepares it for one belief."""
        picked, weight = _representatives(belief)
        own, weight = split(belief, picked, weight)
        away, heat = np.arange(picked.size, own.size), np.zeros(0, dtype=bool)
        if away.size:
            heat = kinds(belief.table)[1][own[away]]
        picked = np.append(picked, np.zeros(own.size - picked.size, dtype=np.int64))
        unlike = float(belief.p_cell[-1]) if belief.other and belief.p_cell[-1] > UNDESCRIBED else 0.0
        if unlike:
            own, picked = np.append(own, [-1, -1]), np.append(picked, [0, 0])
            weight = np.append(weight * (1 - unlike), [unlike / 2, unlike / 2])
        group = np.unique(group_of[own], return_inverse=True)[1]
        columns = _promising(belief, picked, weight, checks)
        mean, sigma = (np.zeros((picked.size, len(belief.table.readings))) for _ in range(2))
        mean[:, columns], sigma[:, columns] = belief.expect(picked, columns)
        known = np.zeros(mean.shape[1], dtype=bool)
        known[columns] = True
        p_group = np.bincount(group, weight).astype(float)
        return cls(belief, picked, weight, group, mean, sigma, known, entropy(p_group), own, unlike, away, heat)

    def at_most(self, check: Check) -> float:
        """An upper limit of `nats`: the groups' entropy, and for a reading the capacity of its spread in noise."""
        found = self._hopes.get(check.id)
        if found is None:
            found = self._hopes[check.id] = min(self.entropy, self._hope(check))
        return found

    @cached_property
    def _hopes(self) -> dict[str, float]:
        return {}

    def _hope(self, check: Check) -> float:
        if check.kind == "observation":
            return float(np.log(len(check.answers)))
        column = self.belief.table.column[check.first_id]
        if not self.known[column]:
            return 0.0
        if self.unlike or (self.away.size and check.setup.warm):
            return float(_capacity(*self._told(check, column)))
        return float(self._capacities[column])

    @cached_property
    def _capacities(self) -> Floats:
        """The capacity of every known reading, all at once, (K,); 0 for the others."""
        found = np.zeros(self.known.size)
        found[self.known] = _capacity(self.mean[:, self.known], self.sigma[:, self.known], self.weight)
        return found

    def nats(self, check: Check, wrong_look: float) -> float:
        """Expected information of the check's answer about the group."""
        if check.kind == "observation":
            rows = np.maximum(self.own, 0) if check.about.startswith("wiggle:") else self.picked
            chances = self.belief.chances(check, wrong_look, rows)
            if self.unlike:
                chances[-1] = 1 / chances.shape[1]
            return _look_nats(chances, self._weight(check), self.group)
        column = self.belief.table.column[check.first_id]
        floats = self.belief.table.stack.floats[self.picked, column]
        mean, sigma, weight = self._told(check, column)
        return _reading_nats(mean, sigma, floats, weight, self.group, self._same)

    @cached_property
    def _same(self) -> Floats:
        """1 where two rows are of one group, (rows, rows)."""
        return np.asarray((self.group[:, None] == self.group) * 1.0)

    def _weight(self, check: Check) -> Floats:
        """The rows' weights: how likely a fault that comes and goes is there hangs on warmth and watching, how likely
        an answer is altered on the key state."""
        weight = self.weight
        if self.away.size:
            weight, coming = weight.copy(), weight[self.away] / (1 - THERE)
            more = coming * (shows_next(self.heat, check) - THERE)
            weight[self.away] -= more
            weight[self.there] += more
        if not self.unlike or self.belief.other is None:
            return weight
        alters = self.belief.other.alters(check)
        return np.append(weight[:-2], [self.unlike * (1 - alters), self.unlike * alters])

    @cached_property
    def there(self) -> Ints:
        """The rows of the same faults as `away`'s, there."""
        at = {cell: row for row, cell in enumerate(self.own[: self.away[0]].tolist())}
        return np.array([at[cell] for cell in self.own[self.away].tolist()])

    def _told(self, check: Check, column: int) -> tuple[Floats, Floats, Floats]:
        """Mean, sigma and weight of a reading in every row."""
        mean, sigma = self.mean[:, column], self.sigma[:, column]
        if self.unlike and self.belief.other is not None:
            mean, sigma = mean.copy(), sigma.copy()
            mean[-1], sigma[-1] = self.belief.other.shows(check)
        return mean, sigma, self._weight(check)


def _capacity(mean: Floats, sigma: Floats, weight: Floats) -> Floats:
    """What readings tell at most about the cells, (...) from (cells, ...): the entropy of a mixture is at most that of
    one Gaussian of its variance, and within cells it is known."""
    spread = np.tensordot(weight, np.square(mean - np.tensordot(weight, mean, 1)), 1)
    inside = np.tensordot(weight, np.log(np.square(sigma)), 1)
    return np.asarray(0.5 * (np.log(spread + np.tensordot(weight, np.square(sigma), 1)) - inside))


def _promising(belief: Belief, picked: Ints, weight: Floats, checks: Sequence[Check]) -> Ints:
    """The readings worth working out: all, or of many the most telling ones, by themselves, in few setups."""
    table = belief.table
    if len(table.readings) <= FEW_READINGS:
        return np.arange(len(table.readings))
    columns = np.array([table.column[check.first_id] for check in checks if check.kind == "reading"], dtype=np.int64)
    here = np.ix_(picked, columns)
    order = columns[np.argsort(-_capacity(table.stack.mean[here], table.stack.sigma[here], weight), kind="stable")]
    setups = list(dict.fromkeys(table.readings[k].setup for k in order))[:SETUPS_LOOKED_AT]
    return np.array([k for k in order if table.readings[k].setup in setups][:LOOKED_AT], dtype=np.int64)


def _representatives(belief: Belief) -> tuple[Ints, Floats]:
    """The heaviest cells, a few of each fault, with weights that keep each fault's total."""
    p = belief.p_cell[:-1]
    if belief.p_goes is not None and not _looks_for_coming(belief):
        p = p * (1 - belief.p_goes)
    faults = belief.table.fault_of
    order = np.argsort(-p, kind="stable")
    seen: Counter[int] = Counter()
    kept = []
    for cell in order[p[order] > UNLIKELY].tolist():
        seen[faults[cell]] += 1
        if seen[faults[cell]] <= CELLS_A_FAULT:
            kept.append(cell)
    picked = np.array(kept[:MOST_CELLS], dtype=np.int64)
    total = np.bincount(faults, p)
    inside = np.bincount(faults[picked], p[picked], minlength=total.size)
    weight = p[picked] * total[faults[picked]] / inside[faults[picked]]
    return picked, weight / weight.sum()


def _looks_for_coming(belief: Belief) -> bool:
    """Whether faults that come and go have a say in what is checked next."""
    return bool(belief.p_coming > WATCHES or belief.p_cell[0] < LOOKS_SOUND)


def split(belief: Belief, picked: Ints, weight: Floats) -> tuple[Ints, Floats]:
    """The cells picked, and behind them those again that may come and go, with weights for there and away."""
    if belief.p_goes is None or not _looks_for_coming(belief):
        return picked, weight
    away = weight * belief.p_goes[picked] * (1 - THERE)
    again = np.flatnonzero(away > UNLIKELY)
    weight = weight.copy()
    weight[again] -= away[again]
    return np.append(picked, picked[again]), np.append(weight, away[again])


def _reading_nats(mean: Floats, sigma: Floats, floats: Bools, weight: Floats, group: Ints, same: Floats) -> float:
    """Information of one reading about the group; arrays (cells,), `same` (cells, cells) 1 where two cells share it."""
    variance = np.square(sigma)
    per_both = 1 / (variance[:, None] + variance[None, :])
    bc = np.sqrt((2 * sigma)[:, None] * sigma * per_both)
    step = mean[:, None] - mean[None, :]
    step *= step  # in place: at a hundred cells new arrays would take most of the time
    step *= per_both
    step *= -0.25
    bc *= np.exp(step, out=step)
    if floats.any():
        grounded = ~floats & (np.abs(mean) < NOTHING_V)
        mistaken = floats[:, None] & grounded[None, :]
        bc = np.where(mistaken | mistaken.T, np.maximum(bc, FLOATS_LIKE_GROUND), bc)
    own = weight / np.bincount(group, weight)[group]
    among_all = np.log(bc @ weight)
    bc *= same
    return max(0.0, -float(weight @ (among_all - np.log(bc @ own))))


def _look_nats(chances: Floats, weight: Floats, group: Ints) -> float:
    """Information of an observation's answer about the group."""
    joint = np.stack([np.bincount(group, weight * chance) for chance in chances.T], axis=1)
    alone = joint.sum(axis=1, keepdims=True) * joint.sum(axis=0, keepdims=True)
    return float(np.where(joint > 0, joint * np.log(np.maximum(joint, 1e-300) / np.maximum(alone, 1e-300)), 0).sum())
