"""Looking ahead on the decision table: information a second as base policy, and two steps of rollout on top of it.

The rollout tries each of the most telling checks, carries on with the base policy after it, and looks at the best
of them again with a choice at the step after. It takes the check that ends up cheapest (Bertsekas, Tsitsiklis & Wu
1997, from memory: never worse than the base policy). Where few cells are left the base policy has a choice too.
Work is counted in states looked at, not in time, so that two runs say the same.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from troubleshoot.diagnose.decision import DecisionTable
from troubleshoot.solve.linear import Bools, Floats

WIDTH = 32
"""Checks that a rollout tries in each state: the most telling ones for their time."""

DEEPER = 12
"""Of these so many, the best so far, are tried once more with a choice at the step after them ..."""

STEP_AFTER = 16
"""... among so many checks there."""

FEW_CELLS, CHOICE_OF = 8, 3
"""With so few cells left the base policy tries so many checks in each state, and not the most telling one alone."""

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
        self._shared_bands = self.bands[:, self._shared].astype(float)
        self._groups = (table.group[self._shared][:, None] == np.unique(table.group[self._shared])) * 1.0

    def masses(self, alive: Bools) -> Floats:
        """Weight of every band in every state, (states, bands); `alive` is (states, n)."""
        return np.asarray(alive @ self._weighted)

    def nats(self, alive: Bools) -> tuple[Floats, Floats]:
        """What each check tells about the groups, and about the cells, times the states' weights, (states, K)."""
        total = xlogx(alive @ self.table.weight)[:, None]
        about_cells = total - np.add.reduceat(xlogx(self.masses(alive)), self.first, axis=1)
        about_groups = about_cells.copy()
        # a group with one cell left keeps nothing to itself
        many = alive[:, self._shared] @ self._groups > 1
        for s in np.flatnonzero(many.any(axis=1)):
            groups = self._groups[:, many[s]]
            inner = np.flatnonzero(alive[s, self._shared] & (groups > 0).any(axis=1))
            weighted = groups[inner] * self.table.weight[self._shared[inner], None]
            inside = xlogx(self._shared_bands[:, inner] @ weighted).sum(axis=1)
            about_groups[s] -= xlogx(weighted.sum(axis=0)).sum() - np.add.reduceat(inside, self.first)
        return np.maximum(about_groups, 0.0), np.maximum(about_cells, 0.0)


def xlogx(x: Floats) -> Floats:
    """x·ln x, 0 at 0."""
    return np.asarray(x * np.log(np.maximum(x, 1e-300)))


@dataclass(frozen=True)
class Look:
    """What is seen of a state at once: its weight, and the checks that tell anything, the most telling for their time
    first, up to the rollout's width."""

    weight: float
    checks: list[int]


class Rollout:
    """Policies on one table. `budget` is how many states may be looked at before it settles for what it has; `least`
    are the nats about the groups that a check must tell in a state."""

    def __init__(self, table: DecisionTable, budget: int = 10**9, width: int = WIDTH, least: float = 0.0) -> None:
        self.table = table
        self.budget = budget
        self.width = width
        self.least = least
        self._looks: dict[State, Look] = {}
        # expected seconds to the end times weight: by the base policy, and with a choice at the first step
        self._ahead: tuple[dict[State, float], dict[State, float]] = ({}, {})

    @cached_property
    def _sorting(self) -> Sorting:
        return Sorting(self.table)

    @property
    def looked_at(self) -> int:
        """States whose checks were rated."""
        return len(self._looks)

    def base_plan(self) -> Plan:
        """Information a second throughout."""
        return self._plan(lambda state: self._look([state])[0].checks[0])

    def plan(self) -> Plan:
        """The rollout in every state; information a second once the budget is used up."""
        return self._plan(self.best)

    def best(self, state: State) -> int:
        """The check with the least expected seconds to the end, of those tried so far as the budget goes."""
        checks = self._look([state])[0].checks
        seconds: dict[int, float] = {}
        for choices, many in enumerate((self.width, DEEPER)):
            tried = sorted(checks, key=lambda check: seconds.get(check, np.inf))[:many]
            for start in range(0, len(tried), AT_ONCE):
                if self.looked_at >= self.budget:
                    break
                some = tried[start : start + AT_ONCE]
                seconds |= zip(some, self._try([(state, some)], choices)[0], strict=True)
        # of equals the more telling one, and rounding decides nothing
        least = min(seconds.values(), default=np.inf) * (1 + 1e-12)
        return next(check for check in checks if seconds.get(check, np.inf) <= least)

    def explore(self, state: State, first: int) -> None:
        """Looks at all states to which a check, and then always the most telling one, may lead: many at a time."""
        layer = self.after(state, first)
        while layer:
            open_ = [then for then in layer if then not in self._looks and not self.table.is_done(then[0])]
            checks = [look.checks[:1] for look in self._look(open_)]
            layer = [new for then, some in zip(open_, checks, strict=True) for k in some for new in self.after(then, k)]

    def most_telling(self, state: State) -> int | None:
        """The check that tells most a second in a state; None where it is done or none tells anything."""
        if self.table.is_done(state[0]):
            return None
        return next(iter(self._look([state])[0].checks), None)

    def weight(self, state: State) -> float:
        """The weight of a state's cells."""
        return self._looks[state].weight if state in self._looks else float(self.table.masses([state[0]])[0])

    def _plan(self, choose: Callable[[State], int]) -> Plan:
        root = (self.table.everything, self.table.start)
        choice: dict[State, int] = {}
        waiting = [root]
        while waiting:
            state = waiting.pop()
            if state not in choice and not self.table.is_done(state[0]):
                choice[state] = choose(state)
                waiting += self.after(state, choice[state])
        return Plan(choice, walked_s(self.table, choice, root))

    def after(self, state: State, check: int) -> list[State]:
        """The states that a check may lead to."""
        after = int(self.table.after[check])
        return [(part, after) for band in self.table.bands[check] if (part := state[0] & band)]

    def _look(self, states: Sequence[State]) -> list[Look]:
        """A look at each of some states that are not done; all new ones at once."""
        new = [state for state in dict.fromkeys(states) if state not in self._looks]
        if new:
            alive = self.table.alive([cells for cells, _ in new])
            groups, cells = self._sorting.nats(alive)
            rate = (groups + BROAD * cells) / self.table.cost_s[[stand for _, stand in new]]
            order = np.argsort(-rate, axis=1, kind="stable")[:, : self.width]
            weights = alive @ self.table.weight
            tells = (cells > 1e-15) & (groups >= self.least * weights[:, None])
            for state, weight, row, told in zip(new, weights.tolist(), order, tells, strict=True):
                self._looks[state] = Look(weight, row[told[row]].tolist())
        return [self._looks[state] for state in states]

    def _try(self, tried: Sequence[tuple[State, Sequence[int]]], choices: int) -> list[list[float]]:
        """For each state, expected seconds (times weight) of some checks; with so many choices before the base
        policy goes on, 0 or 1."""
        looks = self._look([state for state, _ in tried])
        ahead = [[self.after(state, check) for check in checks] for state, checks in tried]
        then = self._work_out((new for steps in ahead for states in steps for new in states), choices)
        return [
            [
                look.weight * float(self.table.cost_s[state[1], check]) + sum(then[new] for new in states)
                for check, states in zip(checks, steps, strict=True)
            ]
            for look, (state, checks), steps in zip(looks, tried, ahead, strict=True)
        ]

    def _work_out(self, states: Iterable[State], choices: int) -> dict[State, float]:
        """Sees to it that these states' expected seconds are known, and returns all known ones."""
        if choices == 0:
            self._work_out_base(states)
            return self._ahead[0]
        known, new = self._ahead[1], self._unknown(states, self._ahead[1])
        tried = [(state, look.checks[:STEP_AFTER]) for state, look in zip(new, self._look(new), strict=True)]
        known |= zip(new, map(min, self._try(tried, 0)), strict=True)
        return known

    def _work_out_base(self, states: Iterable[State]) -> None:
        """The base policy from these states on: many states at a time, then the smallest first."""
        known = self._ahead[0]
        steps: dict[State, list[tuple[float, list[State]]]] = {}
        layer = self._unknown(states, known)
        while layer:
            for state, look in zip(layer, self._look(layer), strict=True):
                checks = look.checks[: CHOICE_OF if state[0].bit_count() <= FEW_CELLS else 1]
                costs = (look.weight * self.table.cost_s[state[1], checks]).tolist()
                steps[state] = [(cost, self.after(state, k)) for cost, k in zip(costs, checks, strict=True)]
            ahead = (then for state in layer for _, states in steps[state] for then in states)
            layer = [state for state in self._unknown(ahead, known) if state not in steps]
        for state in sorted(steps, key=lambda state: state[0].bit_count()):
            known[state] = min(cost + sum(known[then] for then in states) for cost, states in steps[state])

    def _unknown(self, states: Iterable[State], known: dict[State, float]) -> list[State]:
        """Those of the states that are not known yet, each once; ends are worth nothing more."""
        found: dict[State, None] = {}
        for state in states:
            if state not in known:
                if self.table.is_done(state[0]):
                    known[state] = 0.0
                else:
                    found[state] = None
        return list(found)
