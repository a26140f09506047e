"""Looking ahead on the decision table: information a second as base policy, and one step of rollout on top of it.

The rollout tries each of the most telling checks, carries on with the base policy after it, and takes the check
that ends up cheapest (Bertsekas, Tsitsiklis & Wu 1997, from memory: never worse than the base policy).
Work is counted in states looked at, not in time, so that two runs say the same.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from troubleshoot.diagnose.decision import DecisionTable
from troubleshoot.solve.linear import Bools, Floats, Ints

WIDTH = 16
"""Checks that a rollout tries in each state: the most telling ones for their time."""

AT_ONCE = 4
"""Checks whose futures are worked out together; the budget is looked at in between."""

BROAD = 1e-6
"""What information that is not about the groups is worth: something, where nothing else is to be had."""

State = tuple[int, int]
"""Cells alive as a bit mask, and the stand."""


@dataclass(frozen=True)
class Plan:
    """A policy: the check for every state that it can come to. `cost_s` is its expected seconds."""

    choice: dict[State, int]
    cost_s: float

    def under(self, table: DecisionTable) -> float:
        """Its expected seconds on a table with the same cells and other weights, walked anew."""
        return walked_s(table, self.choice, (table.everything, table.start))


def walked_s(table: DecisionTable, choice: dict[State, int], state: State) -> float:
    """Expected seconds of a policy from a state on, times the state's weight, by walking through it."""
    total, waiting = 0.0, [state]
    while waiting:
        alive, stand = waiting.pop()
        if table.is_done(alive):
            continue
        check = choice[alive, stand]
        total += float(table.weight[table.alive([alive])[0]].sum()) * float(table.cost_s[stand, check])
        waiting += [(part, int(table.after[check])) for band in table.bands[check] if (part := alive & band)]
    return total


class Sorting:
    """How the checks sort many states' cells at once, and what that tells about the groups."""

    def __init__(self, table: DecisionTable) -> None:
        self.table = table
        counts = table.outcome.max(axis=1) + 1
        self.first = np.concatenate([[0], np.cumsum(counts)[:-1]])
        self.bands = np.concatenate(
            [row == np.arange(m)[:, None] for row, m in zip(table.outcome, counts, strict=True)]
        )
        self._weighted = (self.bands * table.weight).T.copy()
        sizes = np.bincount(table.group)
        self._shared = np.flatnonzero(sizes[table.group] > 1)
        self._groups = (table.group[self._shared][:, None] == np.unique(table.group[self._shared])) * 1.0

    def masses(self, alive: Bools) -> Floats:
        """Weight of every band in every state, (states, bands); `alive` is (states, n)."""
        return np.asarray(alive @ self._weighted)

    def nats(self, alive: Bools) -> tuple[Floats, Floats]:
        """What each check tells about the groups, and about the cells, times the states' weights, (states, K)."""
        total = xlogx(alive @ self.table.weight)[:, None]
        about_cells = total - np.add.reduceat(xlogx(self.masses(alive)), self.first, axis=1)
        weight = alive[:, self._shared] * self.table.weight[self._shared]
        whole = xlogx(weight @ self._groups).sum(axis=1)
        about_groups = about_cells.copy()
        bands = self.bands[:, self._shared]
        for s in range(len(alive) if self._shared.size else 0):
            inside = xlogx((bands * weight[s]) @ self._groups).sum(axis=1)
            about_groups[s] -= whole[s] - np.add.reduceat(inside, self.first)
        return np.maximum(about_groups, 0.0), np.maximum(about_cells, 0.0)


def xlogx(x: Floats) -> Floats:
    """x·ln x, 0 at 0."""
    return np.asarray(x * np.log(np.maximum(x, 1e-300)))


class Rollout:
    """Policies on one table. `budget` is how many states may be looked at before it settles for what it has."""

    def __init__(self, table: DecisionTable, budget: int = 10**9, width: int = WIDTH) -> None:
        self.table = table
        self.budget = budget
        self.width = width
        self.looked_at = 0
        self._base: dict[State, tuple[float, int]] = {}

    @cached_property
    def _sorting(self) -> Sorting:
        return Sorting(self.table)

    def base_plan(self) -> Plan:
        """Information a second throughout."""
        root = (self.table.everything, self.table.start)
        self._explore([root])
        return self._plan({state: check for state, (_, check) in self._base.items()}, root)

    def plan(self) -> Plan:
        """One step of rollout in every state; the base policy once the budget is used up."""
        root = (self.table.everything, self.table.start)
        choice: dict[State, int] = {}
        waiting = [root]
        while waiting:
            state = waiting.pop()
            if state in choice or self.table.is_done(state[0]):
                continue
            choice[state] = self.best(state)
            waiting += self._next(state, choice[state])
        return self._plan(choice, root)

    def best(self, state: State) -> int:
        """The check with the least expected seconds to the end, of those tried so far as the budget goes."""
        order = self._most_telling([state])[0]
        best, least = int(order[0]), np.inf
        for start in range(0, min(self.width, order.size), AT_ONCE):
            if self.looked_at >= self.budget:
                break
            tried = [int(check) for check in order[start : start + AT_ONCE]]
            self._explore([then for check in tried for then in self._next(state, check)])
            for check in tried:
                cost = self._weight(state) * float(self.table.cost_s[state[1], check])
                cost += sum(self._base[then][0] for then in self._next(state, check))
                if cost < least * (1 - 1e-12):
                    best, least = check, cost
        return best

    def _plan(self, choice: dict[State, int], root: State) -> Plan:
        reached: dict[State, int] = {}
        waiting = [root]
        while waiting:
            state = waiting.pop()
            if state not in reached and not self.table.is_done(state[0]):
                reached[state] = choice[state]
                waiting += self._next(state, choice[state])
        return Plan(reached, walked_s(self.table, reached, root))

    def _next(self, state: State, check: int) -> list[State]:
        """The states that a check may lead to."""
        after = int(self.table.after[check])
        return [(part, after) for band in self.table.bands[check] if (part := state[0] & band)]

    def _weight(self, state: State) -> float:
        return float(self.table.alive([state[0]])[0] @ self.table.weight)

    def _most_telling(self, states: Sequence[State]) -> list[Ints]:
        """For each state the checks that tell anything, by information a second."""
        groups, cells = self._sorting.nats(self.table.alive([alive for alive, _ in states]))
        rate = (groups + BROAD * cells) / self.table.cost_s[[stand for _, stand in states]]
        order = np.argsort(-rate, axis=1, kind="stable")
        tells = np.take_along_axis(cells, order, axis=1) > 1e-15
        return [row[told] for row, told in zip(order, tells, strict=True)]

    def _explore(self, states: Iterable[State]) -> None:
        """Works out the base policy from these states on: many states at a time, then the smallest first."""
        found: dict[State, int] = {}
        layer = self._unknown(states)
        while layer:
            self.looked_at += len(layer)
            checks = [int(order[0]) for order in self._most_telling(layer)]
            found |= zip(layer, checks, strict=True)
            ahead = [then for state, check in zip(layer, checks, strict=True) for then in self._next(state, check)]
            layer = [state for state in self._unknown(ahead) if state not in found]
        order = sorted(found, key=lambda state: state[0].bit_count())
        weights = self.table.alive([alive for alive, _ in order]) @ self.table.weight if order else np.zeros(0)
        for state, weight in zip(order, weights.tolist(), strict=True):
            check = found[state]
            cost = weight * float(self.table.cost_s[state[1], check])
            self._base[state] = (cost + sum(self._base[then][0] for then in self._next(state, check)), check)

    def _unknown(self, states: Iterable[State]) -> list[State]:
        """Those of the states that are not worked out yet, each once; ends are worth nothing more."""
        found: dict[State, None] = {}
        for state in states:
            if state in self._base:
                continue
            if self.table.is_done(state[0]):
                self._base[state] = (0.0, -1)
            else:
                found[state] = None
        return list(found)
