"""The search for a tree: which check comes next for any set of living cells, by looking ahead over whole trees.

Other than on the decision table a cell may go to either side of a limit here, in shares; then it lives on in both
branches, so that every branch knows all faults that may come to it. The base policy takes the check that tells most
about the groups for its time; the search tries some of the best, each with the base policy after it, and takes the one
whose whole tree is best by the measure that was asked for.
"""

from __future__ import annotations

import copy
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.cost import Stand, act_s, change_s
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.diagnose.decision import left_by
from troubleshoot.diagnose.rollout import xlogx
from troubleshoot.solve.linear import Floats, Ints
from troubleshoot.tree.chances import Chances
from troubleshoot.tree.told_here import told_here

Least = Literal["mean-time", "worst-time", "pages"]
"""What a tree is to have least of: expected seconds, seconds of the longest way, or steps to print."""

SURE = 0.97
"""Share of those who may be here that one look-alike group must have for a verdict, rare faults counted for more than
they weigh (as in a session: `diagnose/reason.py`)."""

TELLS_NOTHING = 0.01
"""Nats about the groups, of those that may be here, under which no check is worth a step (invented)."""

RARE = 4e-4
"""Share of all that may come to a verdict though it is not sure: no further step is printed for so few (invented)."""

NEVER_HERE = 2e-3
"""A cell whose way here is rarer than this does not live here: that many of its own cars are lost (invented)."""

WIDTH = 6
"""Checks that are tried in each state."""

WRONG_S = 800.0
"""Seconds that a verdict of the wrong group is taken to cost where trees are compared (invented)."""

STRADDLING = 1.0
"""Nats that a step's own limit loses where all who come there lie on both sides of it (invented)."""


State = tuple[bytes, bytes, int, frozenset[int]]
"""Living cells and their shares, the stand, and the checks that have been made: to make one again tells nothing new."""


def _state(cells: Ints, share: Floats, stand: int, used: frozenset[int]) -> State:
    """Shares that differ by less are of the same cars, come by another order."""
    return cells.tobytes(), np.round(share, 4).tobytes(), stand, used


@dataclass(frozen=True)
class Way:
    """A tree for some living cells: what follows a check, or an end where there is none.

    `share` (cells,) of each cell's cars come here; `seconds` (cells,) are each cell's expected seconds from here, and
    `right` (cells,) the share that comes to a verdict whose likeliest group is its own. `worst`: seconds of the longest
    way; `steps`: how many steps the tree has. `groups` (cells,): which cells a verdict keeps together. `limits` are a
    reading's limits here, `then` the trees of its bands, None where no cell comes. `apart`: behind an end, what tells
    its faults apart; in none of the figures.
    """

    cells: Ints
    share: Floats
    seconds: Floats
    right: Floats
    worst: float
    steps: int
    groups: Ints
    check: Check | None = None
    limits: Floats | None = None
    then: tuple[Way | None, ...] = ()
    apart: Way | None = None


Onward = Callable[[Way, int, frozenset[int]], Way]
"""What takes the place of an end, from a stand, with these checks made."""


class Lookahead:
    """Trees for one circuit. `weight` (C,) is the prior of the cells, by which time is reckoned; `counts` (C,), by
    which the limits were chosen, says how much each is to be found; `group_of` (C,) is their look-alike group.
    `patience`: nats a second under which it is better to stop and name two groups; `sure`: the share of one group from
    which it is."""

    def __init__(
        self, chances: Chances, guesses: Guesses, weight: Floats, group_of: Ints, patience: float,
        least: Least = "mean-time", sure: float = SURE,
    ) -> None:  # fmt: skip
        self.chances = chances
        self.weight = weight
        self.counts = chances.weight
        self.group_of = group_of
        self.patience = patience
        self.sure = sure
        self.least = least
        circuit, costs = chances.table.network.circuit, guesses.costs
        checks = chances.checks
        self.stands = list(dict.fromkeys([Stand(), *(left_by(check) for check in chances.table.checks)]))
        self.after = np.array([self.stands.index(left_by(check)) for check in checks], dtype=np.int64)
        self.act_s = np.array([act_s(circuit, costs, check) for check in checks])
        self.change_s = np.array([[change_s(circuit, costs, here, check) for check in checks] for here in self.stands])
        self.cost_s = self.act_s + self.change_s
        counts = [chance.shape[1] for chance in chances.chance]
        self._first = np.concatenate([[0], np.cumsum(counts)[:-1]]).astype(np.int64)
        self._all = np.concatenate(chances.chance, axis=1)
        self._guessed: dict[State, Way] = {}
        self._found: dict[State, Way] = {}

    def tree(self) -> Way:
        """The best tree found, from the start."""
        return self._best(np.arange(self.weight.size), np.ones(self.weight.size), 0, frozenset())

    def told_apart(self, way: Way) -> Way:
        """Another search's tree, with what tells the faults apart behind each of its ends."""

        def further(end: Way, stand: int, used: frozenset[int]) -> Way:
            found = self._further(end, stand, used)
            return replace(end, apart=found if found.check else None)

        return self._with_ends(way, 0, frozenset(), further, {})

    def _further(self, end: Way, stand: int, used: frozenset[int]) -> Way:
        """What tells the faults apart that live at an end: the groups that some check tells apart are found there, and
        again at each end of that. What has been told apart stays so."""
        groups = told_here(self.chances, end.cells, self._mass(end.cells, end.share), used)
        search = copy.copy(self)
        search.group_of = np.full(self.group_of.size, -1)
        search.group_of[end.cells] = groups
        search._guessed, search._found = {}, {}
        way = search._best(end.cells, end.share, stand, used)
        before = np.full(self.group_of.size, -1)
        before[end.cells] = end.groups

        def onward(end: Way, stand: int, used: frozenset[int]) -> Way:
            both = np.unique(np.stack([end.groups, before[end.cells]]), axis=1, return_inverse=True)[1]
            return self._further(replace(end, groups=both.reshape(-1)), stand, used)

        return self._with_ends(way, stand, used, onward, {}) if way.check else end

    def _with_ends(self, way: Way, stand: int, used: frozenset[int], onward: Onward, done: dict[int, Way]) -> Way:
        """A tree with something else in the place of its ends; `done` by the way's identity: one that is come to twice
        is come to in the same stand."""
        if id(way) not in done:
            if way.check is None:
                done[id(way)] = onward(way, stand, used)
            else:
                after = self.stands.index(left_by(way.check))
                made = used | {k for k, check in enumerate(self.chances.checks) if check.id == way.check.id}
                then = tuple(each and self._with_ends(each, after, made, onward, done) for each in way.then)
                done[id(way)] = replace(way, then=then)
        return done[id(way)]

    # ---- what a check tells here

    def _scores(self, cells: Ints, mass: Floats, stand: int) -> Floats:
        """Nats about the groups a second of every check, (K,); nothing where it tells too little."""
        groups = self._groups(cells, mass)
        joint = groups @ self._all[cells]
        about_all = xlogx(mass.sum()) - np.add.reduceat(xlogx(joint.sum(axis=0)), self._first)
        inner = xlogx(groups.sum(axis=1)).sum() - np.add.reduceat(xlogx(joint).sum(axis=0), self._first)
        told = np.maximum(about_all - inner, 0.0) / mass.sum()
        rate = told / self.cost_s[stand]
        return np.where((told > TELLS_NOTHING) & (rate > self.patience), rate, 0.0)

    def _groups(self, cells: Ints, mass: Floats) -> Floats:
        """Weight of each living cell in its group, (groups, cells)."""
        mine = self.group_of[cells]
        return np.asarray((mine == np.unique(mine)[:, None]) * mass)

    def _mass(self, cells: Ints, share: Floats) -> Floats:
        return self.counts[cells] * share

    def _is_done(self, cells: Ints, share: Floats) -> bool:
        """Whether one group is sure enough, or too few come here to go on."""
        of_group = np.bincount(self.group_of[cells], self._mass(cells, share))
        return bool(of_group.max() >= self.sure * of_group.sum() or of_group.sum() < RARE)

    # ---- trees

    def _guess(self, cells: Ints, share: Floats, stand: int, used: frozenset[int]) -> Way:
        """The base policy's tree, with the limits of the whole circuit."""
        key = _state(cells, share, stand, used)
        if key not in self._guessed:
            top = self._top(cells, share, stand, used, 1)
            self._guessed[key] = (
                self._guess_after(cells, share, stand, used, top[0]) if top else self._end(cells, share)
            )
        return self._guessed[key]

    def _guess_after(self, cells: Ints, share: Floats, stand: int, used: frozenset[int], check: int) -> Way:
        """A check, and the base policy's tree after it."""
        after, made = int(self.after[check]), used | {check}
        return self._join(cells, share, stand, check, None, lambda _, c, s: self._guess(c, s, after, made))

    def _top(self, cells: Ints, share: Floats, stand: int, used: frozenset[int], many: int) -> list[int]:
        """The most telling checks for their time."""
        if self._is_done(cells, share):
            return []
        scores = self._scores(cells, self.weight[cells] * share, stand)
        scores[list(used)] = 0.0
        order = np.argsort(-scores, kind="stable")[:many]
        return [int(check) for check in order if scores[check] > 0]

    def _join(
        self, cells: Ints, share: Floats, stand: int, check: int, limits: Floats | None,
        further: Callable[[int, Ints, Floats], Way],
    ) -> Way:  # fmt: skip
        """A check and the trees of its bands; `limits` None: those of the whole circuit."""
        asked, own = self.chances.checks[check], self.group_of[cells]
        chance = self.chances.chance[check][cells] if limits is None else self.chances.only(check, cells, limits)
        limits = self.chances.limits[check] if limits is None else limits
        cost = float(self.cost_s[stand, check])
        seconds, right, worst, steps = np.full(cells.size, cost), np.zeros(cells.size), 0.0, 1
        then: list[Way | None] = []
        for band in range(chance.shape[1]):
            part = share * chance[:, band]
            here = np.flatnonzero(part > NEVER_HERE)
            if not here.size:
                then.append(None)
                continue
            way = further(band, cells[here], part[here])
            seconds[here] += chance[here, band] * way.seconds
            right[here] += chance[here, band] * way.right
            worst, steps = max(worst, way.worst), steps + way.steps
            then.append(way)
        return Way(cells, share, seconds, right, worst + cost, steps, own, asked, limits, tuple(then))

    def _best(self, cells: Ints, share: Floats, stand: int, used: frozenset[int]) -> Way:
        """The tree by looking ahead."""
        key = _state(cells, share, stand, used)
        if key not in self._found:
            self._found[key] = self._search(cells, share, stand, used)
        return self._found[key]

    def _search(self, cells: Ints, share: Floats, stand: int, used: frozenset[int]) -> Way:
        top = self._top(cells, share, stand, used, WIDTH)
        if not top:
            return self._end(cells, share)
        mass = self.weight[cells] * share
        tried = [(self.rate(self._guess_after(cells, share, stand, used, check), mass), check) for check in top]
        check = min(tried, key=lambda one: one[0])[1]
        limits = self._own_limits(check, cells, self._mass(cells, share))
        after, made = int(self.after[check]), used | {check}
        return self._join(cells, share, stand, check, limits, lambda _, c, s: self._best(c, s, after, made))

    def _end(self, cells: Ints, share: Floats) -> Way:
        """A verdict on the cells that may be here."""
        own = self.group_of[cells]
        likeliest = np.bincount(own, self._mass(cells, share)).argmax()
        return Way(cells, share, np.zeros(cells.size), (own == likeliest) * 1.0, 0.0, 0, own)

    def _own_limits(self, check: int, cells: Ints, mass: Floats) -> Floats | None:
        """Limits for the cells that live here."""
        asked = self.chances.checks[check]
        if asked.kind == "observation":
            return None
        own = self.chances.limits_for(asked, cells, self._groups(cells, mass), STRADDLING)
        return own if own.size else self.chances.limits[check]

    def rate(self, way: Way, mass: Floats) -> tuple[float, ...]:
        """What is to be least, then what comes next: seconds, and what wrong verdicts cost."""
        mean = float(mass @ (way.seconds + WRONG_S * (1 - way.right)))
        return {"mean-time": (mean,), "worst-time": (way.worst, mean), "pages": (float(way.steps), mean)}[self.least]
