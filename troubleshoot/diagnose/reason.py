"""From belief to what is said: groups of look-alikes, the leader, the next check, or that it is time to stop."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from troubleshoot.circuit.checks import AGAIN, Check
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.diagnose.belief import Belief, prior_of, weigh
from troubleshoot.diagnose.choose import Choice, entropy, pick
from troubleshoot.diagnose.cost import Stand
from troubleshoot.diagnose.evidence import Known
from troubleshoot.expect.cells import NOT_DESCRIBED, NOTHING_WRONG
from troubleshoot.expect.lookalike import group_faults
from troubleshoot.expect.table import Table
from troubleshoot.parts.branch import Fault
from troubleshoot.solve.linear import Floats, Ints

SURE = 0.97
"""Probability of a look-alike group at which it becomes the verdict."""

TELLS_NOTHING = 0.03
"""Nats under which no check is worth its time any more."""

CONFIRMS = 0.15
"""Share of what is open without the carrying answer that a confirming check must be able to settle (invented)."""

FOUNDED = 20.0
"""How much likelier the answers must have made a fault against "nothing wrong" before it is a verdict (invented)."""

MOST_READINGS = 20


@dataclass(frozen=True)
class Group:
    """Faults that no allowed check can tell apart, and their probability together."""

    faults: tuple[str, ...]
    probability: float


class Reasoner:
    """One circuit with the checks that this person can do; answers for any set of evidence."""

    def __init__(self, table: Table, guesses: Guesses, checks: Sequence[Check]) -> None:
        self.table = table
        self.guesses = guesses
        self.checks = list(checks)

    @classmethod
    def shared(cls, table: Table, guesses: Guesses, checks: Sequence[Check]) -> Reasoner:
        """The reasoner for these checks; kept with the table, since its groups take a second to find."""
        key = tuple(check.id for check in checks)
        kept = table.__dict__.setdefault("_reasoners", {})
        if key not in kept:
            kept[key] = cls(table, guesses, checks)
        return kept[key]  # type: ignore[no-any-return]

    @cached_property
    def _faults(self) -> dict[str, Fault]:
        return {cell.fault.name: cell.fault for cell in self.table.cells} | {NOT_DESCRIBED.name: NOT_DESCRIBED}

    def fault(self, name: str) -> Fault:
        """The fault of this name."""
        return self._faults[name]

    @cached_property
    def groups(self) -> list[frozenset[str]]:
        """The look-alike groups, "not described" last."""
        found = group_faults(self.table, self.checks, self.guesses.mistakes.wrong_look.value)
        return [*found, frozenset({NOT_DESCRIBED.name})]

    @property
    def has_groups(self) -> bool:
        """Whether the groups have been found already."""
        return "groups" in self.__dict__

    @cached_property
    def group_of(self) -> Ints:
        """Group number of every cell and of "not described", (C + 1,)."""
        at = {name: g for g, group in enumerate(self.groups) for name in group}
        return np.array([at[name] for name in [*self.table.names, NOT_DESCRIBED.name]])

    def weigh(self, evidence: Sequence[Known], prior: Floats | None = None) -> Belief:
        """The belief after the evidence."""
        return weigh(self.table, self.guesses, evidence, prior)

    def ranked_groups(self, belief: Belief) -> list[Group]:
        """Groups by probability; within one, faults by probability."""
        p_fault = belief.p_fault
        found = [
            Group(
                tuple(sorted(group, key=lambda name: -p_fault.get(name, 0.0))),
                sum(p_fault.get(name, 0.0) for name in group),
            )
            for group in self.groups
        ]
        return sorted(found, key=lambda group: -group.probability)

    def leader(self, belief: Belief) -> int:
        """Number of the likeliest group."""
        return int(np.bincount(self.group_of, belief.p_cell).argmax())

    def unfounded(self, belief: Belief, prior: Floats | None) -> Belief | None:
        """The belief to settle between the leader and a healthy circuit, while nothing read has told them apart.

        A complaint and priors may favour a fault strongly; it becomes a verdict only once there are two
        answers and these make it FOUNDED times likelier against "nothing wrong". None when that is so.
        """
        before = prior_of(self.table, self.guesses) if prior is None else prior
        leads = self.group_of == self.leader(belief)
        healthy = np.append(np.array(self.table.names) == NOTHING_WRONG.name, False)
        if leads[healthy].any():
            return None if len(belief.evidence) > 1 else belief
        gained = (belief.p_cell[leads].sum() / before[leads].sum()) / (
            max(belief.p_cell[healthy].sum(), 1e-300) / before[healthy].sum()
        )
        if len(belief.evidence) > 1 and gained > FOUNDED:
            return None
        even = np.zeros_like(belief.p_cell)
        for half in (leads, healthy):
            even[half] = 0.5 * belief.p_cell[half] / max(belief.p_cell[half].sum(), 1e-300)
        return replace(belief, p_cell=even)

    def shaky(self, belief: Belief, prior: Floats | None) -> tuple[Belief, Check] | None:
        """The belief without the one answer that carries the verdict, and its check; None when none does alone.

        No verdict rests on one reading (decision 5): if taking one away changes the leader, or leaves it
        under even chances, a confirming check comes first.
        """
        lead = self.leader(belief)

        def holds(p_cell: Floats) -> bool:
            p_group = np.bincount(self.group_of, p_cell)
            return int(p_group.argmax()) == lead and bool(p_group[lead] >= 0.5)

        for i, known in enumerate(belief.evidence):
            if holds(belief.p_without[i]):
                continue
            without = self.weigh(belief.evidence[:i] + belief.evidence[i + 1 :], prior)
            if not holds(without.p_cell):
                return without, known.check
        return None

    def next_choice(
        self, evidence: Sequence[Known], stand: Stand, skipped: frozenset[str] = frozenset(),
        prior: Floats | None = None,
    ) -> tuple[Choice | None, Belief]:  # fmt: skip
        """The next check with the belief that it was chosen on; None when it is time for the verdict."""
        belief = self.weigh(evidence, prior)
        done = {known.check.id for known in evidence} | skipped
        allowed = [check for check in self.checks if check.id not in done]
        if not allowed or len(evidence) >= MOST_READINGS:
            return None, belief
        looked_at, least = belief, TELLS_NOTHING
        if float(np.bincount(self.group_of, belief.p_cell).max()) >= SURE:
            unfounded = self.unfounded(belief, prior)
            found = None if unfounded else self.shaky(belief, prior)
            if unfounded:
                looked_at, least = unfounded, CONFIRMS * np.log(2)
            elif found:
                looked_at, carrier = found
                least = CONFIRMS * entropy(np.bincount(self.group_of, looked_at.p_cell).astype(float))
                if carrier.first_id + AGAIN not in done:
                    allowed = [*allowed, carrier.repeated()]
            else:
                return None, belief
        return pick(looked_at, self.group_of, allowed, self.guesses, stand, least), belief
