"""What may be wrong with the readings, each way with its ln p in every cell: one reading wrong in a named way or in
any way, two in any way, one and its repeat in the same way, a run of them with the meter left wrong."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from troubleshoot.diagnose.evidence import Known
from troubleshoot.diagnose.joint import Joint
from troubleshoot.diagnose.left_wrong import ON_OHMS, LeftWrong, is_tried, left_wrong
from troubleshoot.diagnose.slips import Slip, flat_density, slips
from troubleshoot.expect.table import Table
from troubleshoot.solve.linear import Floats, Ints

FLAT_SHARE = 0.3
"""Share of wrong readings that no named slip explains; the names share the rest alike (invented)."""

PERSISTS = 0.2
"""Chance that a repeat is wrong in the same way as the first, although it is set about anew (invented)."""

CAREFUL = 0.5
"""Chance of a wrong repeat against that of a first reading (invented)."""

SAME_V, SAME_LN = 0.05, 0.1
"""How closely a repeat with the same mistake shows the same: sigmas, in volts and in ln(ohm) (invented)."""

NEGLIGIBLE = 12.0
"""Nats behind the best cell from which no slip of a reading can bring a cell back, when that reading may be anything:
a slip fits at most about 7 nats better than "anything"."""

DOUBTED = 8
"""Of many readings, those most likely to be wrong are tried with every named slip and in pairs; the others only as
misread, each alone."""

MOST_SLIPPED = 600
"""Cells for which named slips are worked out, at most: the likeliest. In others a wrong reading may be anything."""


@dataclass
class Hypotheses:
    """ln p(readings, hypothesis), one entry (C,) in `terms` for each.

    `owners` says which readings a hypothesis calls wrong, `names` how, `runs` in which run of a meter left wrong.
    `rest` (n, C) is ln p of all readings but i, named slips left aside; `rest_of` (C,) that of all but several, which
    one mistake may have made.
    """

    terms: list[Floats] = field(default_factory=list)
    owners: list[tuple[int, ...]] = field(default_factory=list)
    names: list[str] = field(default_factory=list)
    runs: list[LeftWrong | None] = field(default_factory=list)
    rest: Floats = field(default_factory=lambda: np.zeros((0, 0)))
    rest_of: dict[tuple[int, ...], Floats] = field(default_factory=dict)

    def add(self, term: Floats, owners: tuple[int, ...], name: str, run: LeftWrong | None = None) -> None:
        """One more."""
        self.terms.append(term)
        self.owners.append(owners)
        self.names.append(name)
        self.runs.append(run)


@dataclass(frozen=True)
class _Chances:
    """ln chances of each reading, (n,): that it is right, that it is wrong, its density as "anything"; `first`: the
    reading that each one repeats, -1 for none."""

    right: Floats
    wrong: Floats
    flat: Floats
    first: Ints

    @classmethod
    def of(cls, readings: Sequence[Known], wrong: float) -> _Chances:
        at = {known.check.first_id: i for i, known in enumerate(readings) if not is_tried(known)}
        first = np.array([at.get(k.check.first_id, -1) if is_tried(k) else -1 for k in readings])
        chance = wrong * np.where(first >= 0, CAREFUL, 1.0)
        flat = np.array([np.log(flat_density(known.check)) for known in readings])
        return cls(np.log1p(-chance), np.log(chance), flat, first)

    def alone(self, *wrong: int) -> float:
        """ln chance that these are wrong, each by itself, and all others right."""
        pick = list(wrong)
        told = float(self.right.sum() + (self.wrong - self.right)[pick].sum())
        lucky = sum(int(self.first[j]) in wrong for j in range(self.first.size) if j not in wrong)
        return told + lucky * float(np.log1p(-PERSISTS))

    def together(self, first: int, repeat: int) -> float:
        """ln chance that a reading is wrong and its repeat in the same way."""
        own = self.right[[first, repeat]].sum()
        return float(self.right.sum() - own + self.wrong[first] + np.log(PERSISTS))


def list_hypotheses(table: Table, readings: Sequence[Known], joint: Joint, wrong: float, log_p: Floats) -> Hypotheses:
    """All of them. Named slips are worked out only for cells that they could bring back."""
    chances = _Chances.of(readings, wrong)
    n = len(readings)
    found = Hypotheses()
    found.add(joint.log_density + chances.alone(), (), "")
    rests = [joint.log_without(i) for i in range(n)]
    for i in range(n):
        found.add(rests[i] + chances.flat[i] + chances.alone(i) + np.log(FLAT_SHARE), (i,), "misread")
    doubted = _most_doubted(found, chances, readings, joint, log_p) if n > DOUBTED else list(range(n))
    for i in doubted:
        left = joint.without(i) if n > 1 else None
        for j in doubted:
            if left and j > i:
                _add_pair(found, chances, readings, (i, j), left.log_without(j))
    _add_runs(found, chances, readings, joint)
    found.rest = _without_each(rests, found, chances)
    best = float((np.max(found.terms, axis=0) + log_p).max())
    for i in doubted:
        mine = [h for h, own in enumerate(found.owners) if i in own and not found.runs[h]]
        reach = np.max([found.terms[h] for h in mine], axis=0) + log_p
        alive = np.flatnonzero(reach > best - NEGLIGIBLE)
        alive = np.sort(alive[np.argsort(-reach[alive], kind="stable")[:MOST_SLIPPED]])
        if alive.size:
            ways = slips(table, readings[i].check, alive)
            _add_slips(found, chances, readings, i, ways, joint.rows(alive), alive)
    return found


def _most_doubted(
    found: Hypotheses, chances: _Chances, readings: Sequence[Known], joint: Joint, log_p: Floats
) -> list[int]:
    """The readings most likely to be wrong, each by itself or with its repeat: while both are taken for right no cell
    may be left that explains them."""
    score = np.array([np.max(term + log_p) for term in found.terms[1 : 1 + len(readings)]])
    for j in np.flatnonzero(chances.first >= 0).tolist():
        i = int(chances.first[j])
        rest = joint.without(i).log_without(j)
        both = float(np.max(rest + log_p)) + _ln_both(chances, readings, i, j)
        score[[i, j]] = np.maximum(score[[i, j]], both)
    return sorted(np.argsort(-score, kind="stable")[:DOUBTED].tolist())


def _ln_both(chances: _Chances, readings: Sequence[Known], i: int, j: int) -> float:
    """ln chance and density of a reading misread and its repeat in the same way."""
    same = float(chances.flat[i]) + _ln_same(readings[i], readings[j]) + chances.together(i, j)
    return same + float(np.log(FLAT_SHARE))


def _add_pair(
    found: Hypotheses, chances: _Chances, readings: Sequence[Known], pair: tuple[int, int], rest: Floats
) -> None:
    """Two readings wrong in any way: each by itself, or one and its repeat in the same."""
    i, j = pair
    found.add(rest + chances.flat[i] + chances.flat[j] + chances.alone(i, j), pair, "misread")
    if chances.first[j] == i:
        found.add(rest + _ln_both(chances, readings, i, j), pair, "misread")


def _ln_same(one: Known, other: Known) -> float:
    """ln density of a repeat that is wrong in the same way, given the first."""
    step = SAME_LN if one.check.is_ohms else np.hypot(SAME_V, 0.02 * one.value)
    sigma = float(np.sqrt(step**2 + one.sigma**2 + other.sigma**2))
    return float(-0.5 * ((other.value - one.value) / sigma) ** 2 - np.log(sigma * np.sqrt(2 * np.pi)))


def _add_runs(found: Hypotheses, chances: _Chances, readings: Sequence[Known], joint: Joint) -> None:
    """Runs of readings with the meter left wrong. Readings that several have in common at their ends are left out
    once for all."""
    left: dict[tuple[int, ...], Joint] = {(): joint}

    def without(at: tuple[int, ...]) -> Joint:
        if at not in left:
            left[at] = without(at[1:]).without(at[0])
        return left[at]

    for run in sorted(left_wrong(readings), key=lambda run: len(run.at)):
        right = float(chances.right.sum() - chances.right[list(run.at)].sum())
        rest = without(run.at[1:]).log_without(run.at[0])
        found.add(rest + (right + run.ln_prior + sum(run.ln_shown)), run.at, run.name, run)
        tried = any(is_tried(readings[i]) for i in run.at)
        if run.is_now and run.name != ON_OHMS and len(run.at) > 1 and not tried:
            found.rest_of[run.at] = rest + right


def _without_each(rests: list[Floats], found: Hypotheses, chances: _Chances) -> Floats:
    """ln p of all readings but i, (n, C): the rest right, one more of them wrong, or the others of a run."""
    n = len(rests)
    everything = []
    for i in range(n):
        right = chances.right.sum() - chances.right[i]
        parts = [rests[i] + right]
        for term, own, run in zip(found.terms, found.owners, found.runs, strict=True):
            if run and i in own and len(own) > 1:
                parts.append(term - run.ln_shown[own.index(i)])
            elif len(own) == 2 and i in own and not run:
                # "i and j anything" less i's own share is "j anything" among the rest
                parts.append(term - chances.flat[i] - chances.wrong[i])
        everything.append(np.logaddexp.reduce(parts, axis=0))
    return np.stack(everything)


def _add_slips(
    found: Hypotheses, chances: _Chances, readings: Sequence[Known], i: int, ways: Sequence[Slip], living: Joint,
    alive: Ints,
) -> None:  # fmt: skip
    """Reading i wrong in each of the named ways, by itself and with its repeat, in the cells `alive`."""
    known, size = readings[i], found.terms[0].size
    repeat = int(np.flatnonzero(chances.first == i)[0]) if i in chances.first else -1
    names = [way.name for way in ways]
    share = (1 - FLAT_SHARE) / max(len(set(names)), 1)
    cases: list[tuple[Joint, tuple[int, ...], float]] = [(living.without(i), (i,), chances.alone(i))]
    if repeat >= 0:
        same = _ln_same(known, readings[repeat]) + chances.together(i, repeat)
        cases.append((cases[0][0].without(repeat), (i, repeat), same))
    for slip, (rest, owners, ln_chance) in itertools.product(ways, cases):
        own_mean, slope, noise = slip.shown()
        mean, variance = rest.given(slope)
        spread = variance + np.square(noise) + known.sigma**2
        off = known.value - own_mean - mean
        ln_chance += float(np.log(share / names.count(slip.name)))
        term = np.full(size, -np.inf)
        term[alive] = rest.log_density + ln_chance - 0.5 * (np.square(off) / spread + np.log(2 * np.pi * spread))
        found.add(term, owners, slip.name)
