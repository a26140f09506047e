"""A step of rollout on top of information a second: each of the most telling checks is followed to the verdict.

The decision table for it is made anew for each belief, from what the belief expects to read, with the heaviest cells
and the checks that could tell most. A verdict is given by the session's own rules: one group is sure enough, and no
answer carries it alone, or else the cheapest check that confirms it is paid for too. Within a cell the table takes
readings for independent, so another check is taken only where it promises much. Work is counted, not timed: two runs
say the same.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.cost import Stand, act_s, change_s
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.diagnose.belief import Belief
from troubleshoot.diagnose.choose import Choice, Scale, ranked
from troubleshoot.diagnose.decision import LEAST_WEIGHT, DecisionTable, bands_of, dry_at, left_by
from troubleshoot.diagnose.rollout import Rollout, State
from troubleshoot.expect.seen import answer_chances
from troubleshoot.solve.linear import Floats, Ints

FOLLOWED = 8
"""Checks that are followed to the end: the most telling ones for their time ..."""

WITHIN = 0.5
"""... that tell at least this share of what the best of them does."""

CONFIRMERS = 2
"""Checks that would confirm what the others lead to, followed too."""

SAVES = 0.08
"""Share of the expected time that another check must save against the most telling one: less is within what the table
errs by (chosen on paired sessions)."""

EQUAL = 6
"""Digits to which expected seconds are compared: sums in another order differ by less."""

LIGHTEST, CELLS = 2e-3, 60
CHECKS = 80
BUDGET = 600
"""Cells, checks and states that are looked at."""

OTHERWISE = 0.02
"""Probability that a fault must have without some answer to be reckoned with where verdicts are confirmed."""

SMALL = 0.01
"""Share of the weight under which an end's confirming is not worked out."""


@dataclass(frozen=True)
class Rules:
    """When a verdict is given: `sure`, how likely a group must be, and `holds`, how much of that must be left without
    any one answer; `least` nats a check must tell."""

    sure: float
    holds: float
    least: float


def look_ahead(
    belief: Belief, group_of: Ints, checks: Sequence[Check], guesses: Guesses, stand: Stand, rules: Rules
) -> Choice | None:
    """The next check; None where none tells enough. `group_of` (C + 1,) numbers each cell's group."""
    scale = Scale.of(belief, group_of, checks)
    best = ranked(scale, checks, guesses, stand, rules.least, FOLLOWED)
    best = [choice for choice in best if choice.rate >= WITHIN * best[0].rate]
    if len(best) < 2 or scale.unlike or best[0].check.watched:
        return best[0] if best else None
    first = [choice.check for choice in best]
    table_checks = [*first, *_others(scale, checks, first)]
    ahead = Ahead.of(scale, group_of, table_checks, guesses, stand, rules)
    seconds = ahead.seconds(range(len(first)))
    seconds |= ahead.seconds([k for k in ahead.confirmers() if k not in seconds])
    quickest = min(seconds, key=lambda k: round(seconds[k], EQUAL))  # of equals the most telling, on any machine
    if seconds[quickest] >= (1 - SAVES) * seconds[0]:
        return best[0]
    if quickest < len(best):
        return best[quickest]
    return ranked(scale, [table_checks[quickest]], guesses, stand, least=-1.0)[0]


def _others(scale: Scale, checks: Sequence[Check], followed: Sequence[Check]) -> list[Check]:
    """The checks that may come after: those that could tell most, and are foreseen at all."""
    first = {check.id for check in followed}
    left = [check for check in checks if check.id not in first and not check.watched and not check.again
            and not check.about.startswith("wiggle:")]  # fmt: skip
    hope = np.array([scale.at_most(check) for check in left])
    return [left[i] for i in np.argsort(-hope, kind="stable")[:CHECKS] if hope[i] > 0]


class Ahead:
    """A belief's decision table (n cells), and `past` (answers, n): the cells' weights without one of the answers."""

    def __init__(self, table: DecisionTable, past: Floats, rules: Rules) -> None:
        self.table = table
        self.past = past
        self.rules = rules
        self._rollout = Rollout(table, BUDGET, least=rules.least)
        self._confirms: dict[int, float] = {}
        self._alike: dict[int, Floats] = {}

    @classmethod
    def of(
        cls, scale: Scale, group_of: Ints, checks: Sequence[Check], guesses: Guesses, stand: Stand, rules: Rules
    ) -> Ahead:
        """Checks in the order given; the cells are the heaviest ones, and those that were without some answer."""
        belief = scale.belief
        fault = belief.table.fault_of
        steady = np.flatnonzero((scale.own == scale.picked) & (scale.weight > LIGHTEST))
        steady = steady[np.argsort(-scale.weight[steady], kind="stable")][:CELLS]
        totals = _without(belief, fault)
        more = _revived(belief, fault, totals, scale.picked[steady])
        cells = np.append(scale.picked[steady], more)
        weight = np.maximum(np.append(scale.weight[steady], np.zeros(more.size)), LEAST_WEIGHT)
        inside = np.bincount(fault[cells], weight, minlength=totals.shape[1])
        past = totals[:, fault[cells]] * weight / inside[fault[cells]]
        outcome = _outcomes(scale, steady, more, checks)
        table = _table(belief, outcome, weight / weight.sum(), group_of[cells], checks, guesses, stand, rules.sure)
        return cls(table, past, rules)

    def seconds(self, checks: Iterable[int]) -> dict[int, float]:
        """Expected seconds to the verdict when each of these checks comes next, as far as the budget goes."""
        root = (self.table.everything, self.table.start)
        found = {}
        for check in checks:
            if self._rollout.looked_at >= BUDGET:
                break
            found[check] = self._follow(root, check)
        return found

    def confirmers(self) -> list[int]:
        """The checks that would confirm most of the verdicts followed so far: now, before plugs are pulled, they may be
        cheaper."""
        return sorted(self._confirms, key=lambda check: -self._confirms[check])[:CONFIRMERS]

    def _follow(self, root: State, first: int) -> float:
        """Expected seconds from a state on, with this check first and then always the most telling one."""
        self._rollout.explore(root, first)
        total = 0.0
        waiting: list[tuple[State, tuple[int, ...]]] = [(root, ())]
        while waiting:
            state, way = waiting.pop()
            check = self._rollout.most_telling(state) if way else first
            if check is None:
                total += self._confirm_s(state, way)
                continue
            total += self._rollout.weight(state) * float(self.table.cost_s[state[1], check])
            waiting += [(then, (*way, check)) for then in self._rollout.after(state, check)]
        return total

    def _same(self, cell: int) -> Floats:
        """1 where a check shows the same in a cell as in this one, (n, checks)."""
        if cell not in self._alike:
            self._alike[cell] = np.ascontiguousarray((self.table.outcome == self.table.outcome[:, [cell]]).T * 1.0)
        return self._alike[cell]

    def _confirm_s(self, state: State, way: tuple[int, ...]) -> float:
        """Seconds, times the state's weight, of the check that confirms the verdict there; 0 where nothing has to."""
        table, mass = self.table, self._rollout.weight(state)
        if mass < SMALL:
            return 0.0
        alive = table.alive([state[0]])[0]
        cell = int((alive * table.weight).argmax())
        leads = table.group == table.group[cell]
        sure = float(table.weight[alive & leads].sum()) / mass
        if sure < self.rules.sure:
            return 0.0
        path = list(way)
        against = table.outcome[path] != table.outcome[path, cell][:, None]
        count = against.sum(axis=0)
        doubts = np.concatenate([self.past * (count == 0), table.weight * ((count == 0) | ((count == 1) & against))])
        share = self.rules.holds * sure
        doubts = doubts[doubts @ leads < share * doubts.sum(axis=1)]
        if not doubts.size:
            return 0.0
        same = self._same(cell)
        settles = ((doubts * leads) @ same >= share * (doubts @ same)).all(axis=0)
        settles[path] = False
        if not settles.any():
            return 0.0
        some = np.flatnonzero(settles)
        cheapest = int(some[table.cost_s[state[1], some].argmin()])
        seconds = mass * float(table.cost_s[state[1], cheapest])
        self._confirms[cheapest] = self._confirms.get(cheapest, 0.0) + seconds
        return seconds


def _without(belief: Belief, fault: Ints) -> Floats:
    """Each fault's probability had one answer, or one run of them, not been given, (answers, faults)."""
    rows = [p for p in (*belief.p_without, *belief.p_without_run.values()) if p is not None]
    return np.array([np.bincount(fault, p[:-1]) for p in rows]).reshape(len(rows), int(fault.max()) + 1)


def _revived(belief: Belief, fault: Ints, totals: Floats, cells: Ints) -> Ints:
    """A cell of each fault that would count without some answer and is none of `cells`."""
    counts = np.flatnonzero((totals > OTHERWISE).any(axis=0))
    found = []
    for one in np.setdiff1d(counts, fault[cells]):
        mine = np.flatnonzero(fault == one)
        p = np.max([row[:-1][mine] for row in belief.p_without if row is not None], axis=0, initial=0.0)
        found.append(int(mine[p.argmax()]))
    return np.array(found, dtype=np.int64)


def _table(
    belief: Belief, outcome: Ints, weight: Floats, group: Ints, checks: Sequence[Check], guesses: Guesses,
    stand: Stand, sure: float,
) -> DecisionTable:  # fmt: skip
    """The decision table of some cells, with their bands, (checks, n), weights and groups, (n,)."""
    circuit, costs = belief.table.network.circuit, guesses.costs
    places = {(check.setup, check.place): check for check in checks}
    at = {place: i for i, place in enumerate(places)}
    of_place = np.array([at[check.setup, check.place] for check in checks])
    stands = list(dict.fromkeys([stand, *map(left_by, places.values())]))
    ready = np.array([[change_s(circuit, costs, here, check) for check in places.values()] for here in stands])
    left = np.array([stands.index(left_by(check)) for check in places.values()], dtype=np.int64)
    return DecisionTable(
        weight=weight,
        group=np.unique(group, return_inverse=True)[1].astype(np.int64),
        outcome=outcome,
        act_s=np.array([act_s(circuit, costs, check) for check in checks]),
        change_s=ready[:, of_place],
        after=left[of_place],
        sure=sure,
    )


def _outcomes(scale: Scale, steady: Ints, more: Ints, checks: Sequence[Check]) -> Ints:
    """The band of each cell in each check, (checks, cells): cells in some of the scale's rows, and more cells."""
    table = scale.belief.table
    cells = np.append(scale.picked[steady], more)
    found = np.zeros((len(checks), cells.size), dtype=np.int64)
    read = [i for i, check in enumerate(checks) if check.kind == "reading"]
    columns = np.array([table.column[checks[i].first_id] for i in read], dtype=np.int64)
    here = np.ix_(steady, columns)
    mean, sigma = scale.mean[here], scale.sigma[here]
    if more.size:
        others = scale.belief.expect(more, columns)
        mean, sigma = np.concatenate([mean, others[0]]), np.concatenate([sigma, others[1]])
    nil = table.stack.floats[np.ix_(cells, columns)]
    dry, dry_sigma = dry_at(table, cells, columns)
    found[read] = bands_of(np.where(nil, dry, mean), np.where(nil, dry_sigma, sigma)).T
    for i, check in enumerate(checks):
        if check.kind == "observation":
            likeliest = answer_chances(table, check, 0.0, cells).argmax(axis=1)
            found[i] = np.unique(likeliest, return_inverse=True)[1].ravel()
    return found
