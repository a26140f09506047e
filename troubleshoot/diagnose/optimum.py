"""The exact optimum of a decision table: the policy with the least expected seconds, with a certificate.

AND/OR branch and bound over (cells alive, stand), depth first with a memo. Every state's checks are taken in the
order of their lower bounds, and dropped once these reach what is allowed; what is allowed at the root rises in steps
towards the best policy known, so that a proved bound is there at any time. What is proved of some cells from one
stand carries to the others: only getting ready for the first check differs.

The bound that tells most comes from cutting a set of cells up: a policy for all of them is one for each part too, so
that the whole costs at least what its parts cost from the same stand. (A check that tells nothing of a part is left
out there, which costs no time in a table that is `tidied`.) The cuts follow the answers of the policy that the search
starts from: where that is a good one, a whole costs little more than its parts and one check. They are the same
throughout, so that different sets have most of their parts in common, and each part is worked out once.

Work is counted in sets of cells looked at and states opened, so that two runs say the same.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from troubleshoot.diagnose.bounds import Bounds
from troubleshoot.diagnose.decision import DecisionTable
from troubleshoot.diagnose.rollout import Plan, Rollout, State, walked_s
from troubleshoot.solve.linear import Floats, Ints

STEPS = (0.8, 0.9, 0.95, 0.98, 0.99, 1.0)
"""Shares of the best known cost up to which the bound is pushed, one after the other: what is proved grows evenly."""

ROUNDING = 1e-9
"""Relative difference of costs that counts as none."""


@dataclass(frozen=True)
class Optimum:
    """The best policy found, and a proof: no policy costs less than `bound_s`. `looked_at` counts the work."""

    plan: Plan
    bound_s: float
    looked_at: int

    @property
    def gap(self) -> float:
        """How much dearer than the optimum the policy may be at most, as a share."""
        return max(0.0, self.plan.cost_s / self.bound_s - 1) if self.bound_s > 0 else 0.0

    @property
    def is_proved(self) -> bool:
        """Whether the policy is the optimum."""
        return self.gap <= 10 * ROUNDING


def find_optimum(table: DecisionTable, budget: int = 10**9, incumbent: Plan | None = None) -> Optimum:
    """The optimum, or after so much work the best policy and bound so far. Starts from the rollout's.

    Raises ValueError where the search may end before one group is left (`sure` under 1): no bound here holds then.
    """
    if table.sure < 1.0:
        raise ValueError(f"the optimum is known only for searches down to one group, not to {table.sure} of the weight")
    plan = incumbent or Rollout(table).plan()
    kept = worth_while(table)
    search = Search(table.with_checks(kept), budget, cuts_of(table, plan))
    root = (table.everything, table.start)
    bound = search.low(root)
    for share in STEPS:
        while bound < plan.cost_s * share * (1 - ROUNDING) and not search.is_spent:
            bound = max(bound, search.settle(root, plan.cost_s * share))
            if root in search.known:
                choice = {state: int(kept[check]) for state, check in search.policy(root).items()}
                plan = Plan(choice, walked_s(table, choice, root))
                return Optimum(plan, min(plan.cost_s, search.known[root][0]), search.looked_at)
    return Optimum(plan, min(bound, plan.cost_s), search.looked_at)


Cuts = dict[int, list[int]]
"""Sets of cells, as bit masks, and the parts that each is cut into; the parts may be cut in turn."""


def cuts_of(table: DecisionTable, plan: Plan) -> Cuts:
    """How a policy's checks cut all cells up, as far as it says."""
    cuts: Cuts = {}
    waiting = [(table.everything, table.start)]
    while waiting:
        state = waiting.pop()
        if state in plan.choice and not table.is_done(state[0]):
            check = plan.choice[state]
            cuts[state[0]] = [part for band in table.bands[check] if (part := state[0] & band)]
            waiting += [(part, int(table.after[check])) for part in cuts[state[0]]]
    return cuts


@dataclass(frozen=True)
class Step:
    """What a check does in one state: its seconds with the way to it, the stand after it, the living cells apart."""

    seconds: float
    after: int
    parts: list[int]


class Search:
    """Bounds and optima of states. `known` has the seconds (times weight) and the check of those that are settled."""

    def __init__(self, table: DecisionTable, budget: int, cuts: Cuts) -> None:
        self.table = table
        self.bounds = Bounds(table)
        self.budget = budget
        self.opened = 0
        self.known: dict[State, tuple[float, int]] = {}
        self._cuts = cuts
        self._parts: dict[int, list[int]] = {}
        # lower bounds, and the states whose own bound is in them, and not that of their parts alone
        self._low: dict[State, float] = {}
        self._bounded: set[State] = set()
        # of sets of cells: bounds proved by search, for every stand, (P,); and of each optimum found from some stand
        # the seconds after its first check (times weight), and that check
        self._proved: dict[int, Floats] = {}
        self._reached: dict[int, list[tuple[float, int]]] = {}
        # how much more readiness may cost from one stand than from another, at most, (P, P)
        self._worse = (table.change_s[:, None] - table.change_s[None]).max(axis=2)

    @property
    def looked_at(self) -> int:
        return self.bounds.made + self.opened

    @property
    def is_spent(self) -> bool:
        return self.looked_at >= self.budget

    def low(self, state: State) -> float:
        """A lower bound on the state's seconds to the end times its weight."""
        if state not in self._bounded:
            self._bounded.add(state)
            self._low[state] = self._first_low(state)
        return self.quick_low(state)

    def quick_low(self, state: State) -> float:
        """What is known of a lower bound of the state and of its parts, without looking at them."""
        alive, stand = state
        found = self._low.get(state)
        if found is None:
            found = 0.0 if self.table.is_done(alive) else self._sum_of_parts(state)
            self._low[state] = found
        proved = self._proved.get(alive)
        return found if proved is None else max(found, float(proved[stand]))

    def _sum_of_parts(self, state: State) -> float:
        alive, stand = state
        return sum([self.quick_low((part, stand)) for part in self.parts(alive)])

    def parts(self, alive: int) -> list[int]:
        """What the first cut that parts a set of cells makes of it; nothing where none does."""
        found = self._parts.get(alive)
        if found is None:
            block, found = self.table.everything, [alive]
            while len(found) == 1 and block in self._cuts:
                inside = [part for part in self._cuts[block] if part & alive]
                block, found = inside[0], [part & alive for part in inside]
            found = self._parts[alive] = found if len(found) > 1 else []
        return found

    def _raise(self, state: State, low: float, weight: float) -> float:
        """Notes a bound that was proved by search: it holds from every stand, less what that may save on the way."""
        alive, stand = state
        self._low[state] = low
        self._bounded.add(state)
        before = self._proved.get(alive)
        ready = self.table.change_s[:, self.bounds.anatomy(alive).checks]
        here = low - weight * (ready[stand] - ready).max(axis=1)
        self._proved[alive] = here if before is None else np.maximum(before, here)
        return low

    def _known_way(self, state: State, weight: float) -> tuple[float, int]:
        """The least cost from here with the first check of the optimum from another stand, and that check."""
        alive, stand = state
        ways = [(rest + weight * float(self.table.cost_s[stand, check]), check)
                for rest, check in self._reached.get(alive, [])]  # fmt: skip
        return min(ways, default=(np.inf, -1))

    def _first_low(self, state: State) -> float:
        alive, stand = state
        if self.table.is_done(alive):
            self.known[state] = (0.0, -1)
            return 0.0
        if alive.bit_count() == 2:
            return self._pair(state)
        return max(self.bounds.low(alive, stand), sum([self.low((part, stand)) for part in self.parts(alive)]))

    def _pair(self, state: State) -> float:
        """Two cells: the cheapest check that parts them."""
        alive, stand = state
        one, other = np.flatnonzero(self.table.alive([alive])[0])
        checks = np.flatnonzero(self.table.outcome[:, one] != self.table.outcome[:, other])
        check = int(checks[self.table.cost_s[stand, checks].argmin()])
        cost = float((self.table.weight[one] + self.table.weight[other]) * self.table.cost_s[stand, check])
        self.known[state] = (cost, check)
        return cost

    def settle(self, state: State, allowed: float) -> float:
        """The state's optimum if that is under `allowed` (then it is in `known`), else a lower bound on it."""
        low = self.low(state)
        if state in self.known or low >= allowed or self.is_spent:
            return low
        weight = self.bounds.anatomy(state[0]).weight
        parts = [(part, state[1]) for part in self.parts(state[0])]
        low = max(low, self._settle_all(0.0, parts, allowed))
        if low >= allowed or self.is_spent:
            return self._raise(state, low, weight)
        self.opened += 1
        tried: list[Step] = []
        best, choice, least, unsettled = allowed, -1, np.inf, np.inf
        way, check = self._known_way(state, weight)
        if way < allowed:
            best, choice = way, check
            if low >= way * (1 - ROUNDING):
                return self._settled(state, way, check, weight)
        for total, check, cost, then in self._candidates(state, allowed):
            if total >= best:
                least = min(least, total)
                break
            step = Step(cost / weight, int(self.table.after[check]), [alive for alive, _ in then])
            if any(self._beats(other, step) for other in tried):
                continue
            tried.append(step)
            spent = self._settle_all(cost, then, best)
            if spent < best:
                if all(child in self.known for child in then):
                    best, choice = spent, check
                else:
                    unsettled = min(unsettled, spent)
            least = min(least, max(total, spent))
        if choice >= 0 and unsettled >= best:
            return self._settled(state, best, choice, weight)
        return self._raise(state, max(low, min(least, allowed)), weight)

    def _settled(self, state: State, cost: float, check: int, weight: float) -> float:
        """Notes a state's optimum."""
        self.known[state] = (cost, check)
        rest = cost - weight * float(self.table.cost_s[state[1], check])
        self._reached.setdefault(state[0], []).append((rest, check))
        return self._raise(state, cost, weight)

    def _beats(self, one: Step, other: Step) -> bool:
        """Whether a step sorts the living cells at least as finely, and saves what its stand may cost more later on."""
        if self._worse[one.after, other.after] > other.seconds - one.seconds or len(one.parts) < len(other.parts):
            return False
        return all(any(not part & ~whole for whole in other.parts) for part in one.parts)

    def _settle_all(self, cost: float, states: list[State], allowed: float) -> float:
        """Own seconds and the optima of the states after it, or a lower bound on that once it reaches `allowed`.

        All states' bounds are raised by the same share: the nearer to its optimum, the dearer a bound is to prove.
        """
        while True:
            total = cost + sum(map(self.low, states))
            waiting = [state for state in states if state not in self.known]
            if total >= allowed or not waiting or self.is_spent:
                return total
            lows = [self.low(state) + ROUNDING for state in waiting]
            share = (allowed - total) / sum(lows)
            for state, low in zip(waiting, lows, strict=True):
                self.settle(state, low * (1 + share))

    def _candidates(self, state: State, allowed: float) -> list[tuple[float, int, float, list[State]]]:
        """The checks that may still be under `allowed`, by their lower bounds: (bound, check, own seconds, states)."""
        alive, stand = state
        anatomy = self.bounds.anatomy(alive)
        checks, weight = anatomy.checks, anatomy.weight
        hope = self.bounds.hopes(anatomy, stand)
        found: list[tuple[float, int, float, list[State]]] = []
        for i in np.argsort(hope, kind="stable").tolist():
            check, total = int(checks[i]), float(hope[i])
            if total >= allowed:
                found.append((total, check, 0.0, []))
                break
            cost = weight * float(self.table.cost_s[stand, check])
            after = int(self.table.after[check])
            then = [(part, after) for band in self.table.bands[check] if (part := alive & band)]
            found.append((max(total, self._sum_low(cost, then, allowed)), check, cost, then))
        found.sort(key=lambda candidate: candidate[0])
        return found

    def _sum_low(self, cost: float, then: list[State], allowed: float) -> float:
        """Own seconds and the bounds of the states after it; the largest first, and no further than needed."""
        quick = [self.quick_low(child) for child in then]
        total = cost + sum(quick)
        if total >= allowed:
            return total
        for before, child in sorted(zip(quick, then, strict=True), key=lambda one: -one[1][0].bit_count()):
            total += self.low(child) - before
            if total >= allowed:
                break
        return total

    def policy(self, root: State) -> dict[State, int]:
        """The checks of the settled states that the optimum comes to."""
        choice: dict[State, int] = {}
        waiting = [root]
        while waiting:
            state = waiting.pop()
            if self.table.is_done(state[0]) or state in choice:
                continue
            choice[state] = self.known[state][1]
            after = int(self.table.after[choice[state]])
            waiting += [(part, after) for band in self.table.bands[choice[state]] if (part := state[0] & band)]
        return choice


def worth_while(table: DecisionTable) -> Ints:
    """The checks that no other one beats: as quick from everywhere, sorting at least as finely, leaving no worse a
    stand than the seconds saved make good."""
    follow = table.change_s[table.after]
    counts = table.outcome.max(axis=1) + 1
    beaten = np.zeros(counts.size, dtype=bool)
    for k in np.argsort(-counts, kind="stable"):
        saved = (table.cost_s - table.cost_s[:, k, None]).min(axis=0)
        ready = (follow[k] - follow).max(axis=1) <= saved + 1e-12
        rivals = np.flatnonzero((saved >= 0) & ready & ~beaten)
        if beaten[k] or not rivals.size:
            continue
        pairs = np.sort(table.outcome[k] * (int(counts.max()) + 1) + table.outcome[rivals], axis=1)
        finer = 1 + (np.diff(pairs, axis=1) > 0).sum(axis=1) == counts[k]
        beaten[rivals[finer & (rivals != k)]] = True
    return np.flatnonzero(~beaten)
