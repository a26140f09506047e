"""From belief to what is said: groups of look-alikes, the leader, the next check, or that it is time to stop."""

from __future__ import annotations

import copy
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.complaints import UNSURE
from troubleshoot.circuit.cost import Stand
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.diagnose.ahead import Rules, look_ahead
from troubleshoot.diagnose.belief import Belief, prior_of, weigh
from troubleshoot.diagnose.choose import Choice, Scale, entropy, pick, ranked
from troubleshoot.diagnose.comes_and_goes import WATCHES, coming_share, for_heat, watched
from troubleshoot.diagnose.doubt import repeat_now, repeatable, repeats
from troubleshoot.diagnose.evidence import Known
from troubleshoot.diagnose.pair_cells import joined, parts_of
from troubleshoot.diagnose.pairs import LIKELIER, MATTERS, groups_with, widened
from troubleshoot.diagnose.stop import stake
from troubleshoot.diagnose.undescribed import to_repeat
from troubleshoot.expect.cells import NOT_DESCRIBED, NOTHING_WRONG
from troubleshoot.expect.lookalike import group_faults
from troubleshoot.expect.table import NOTHING_V, Table
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

UNEXPLAINED, ENOUGH_READINGS = 1e4, 12
"""Odds against all that is described from which "not described" is a verdict, and answers after which it is one
without (invented)."""

TELLS_LITTLE, TELLS_MORE = 0.1, 2.0
"""Nats under which the next cold check tells little of a fault of heat, and how many times as much one must tell for
which the circuit is warmed first (invented): of many cheap checks that tell nothing one soon has enough."""

HOLDS = 0.52
"""How sure the leader must still be without any one answer, against how sure it is with it (invented): more
than half, so that one answer does not decide alone between two equals."""

MOST_READINGS = 20

LEADS, HARDLY = 0.5, 0.02
"""Probability of a fault from which it may be a verdict without being sure, and the share of a check's time that it
must save on average to be made before that (invented)."""

CANDIDATES = 8
"""Checks looked at for whether they are worth their time."""


@dataclass(frozen=True)
class Group:
    """Faults that no allowed check can tell apart, and their probability together."""

    faults: tuple[str, ...]
    probability: float


@dataclass(frozen=True)
class Shaky:
    """The belief without whichever answer carries the verdict (where several do, each by itself, the mean of the
    beliefs without one of them, so that one check may confirm them all), and that answer's check, or those of a run of
    readings of nothing, `in_a_row`."""

    belief: Belief
    carriers: list[Check]
    in_a_row: bool


class Reasoner:
    """One circuit with the checks that this person can do; answers for any set of evidence."""

    def __init__(self, table: Table, guesses: Guesses, checks: Sequence[Check]) -> None:
        self.table = table
        self.guesses = guesses
        self.checks = list(checks)
        self.narrower: Reasoner | None = None
        self.coming: Floats | None = None
        self.brought = ""

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
        return self.table.faults | {NOT_DESCRIBED.name: NOT_DESCRIBED}

    def fault(self, name: str) -> Fault:
        """The fault of this name, of two faults as one."""
        return self._faults[name] if name in self._faults else joined(*(self._faults[part] for part in parts_of(name)))

    def over(self, belief: Belief) -> Reasoner:
        """The reasoner that this belief is of: this one, or the one that has pairs of faults too."""
        return self if belief.table is self.table else belief.table.__dict__["_reasoner"]

    def widened(self, belief: Belief, prior: Floats | None) -> tuple[Reasoner, Floats] | None:
        """A reasoner over pairs of faults too, with its prior; None while single faults explain what was read."""
        if self.narrower:
            return None
        least = MATTERS if belief.p_coming < WATCHES else LIKELIER  # one that comes and goes explains much, too
        found = widened(self.table, self.guesses, belief, prior, self.checks, self.groups, least)
        if found is None:
            return None
        wider = Reasoner(found[0], self.guesses, self.checks)
        wider.narrower, wider.brought = self, self.brought
        wider.groups = groups_with(self.groups, found[0])
        found[0].__dict__["_reasoner"] = wider
        return wider, found[1]

    @cached_property
    def groups(self) -> list[frozenset[str]]:
        """The look-alike groups, "not described" last."""
        checks = [check for check in self.checks if not for_heat(check)]
        found = group_faults(self.table, checks, self.guesses.mistakes.wrong_look.value)
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
        return weigh(self.table, self.guesses, evidence, prior, self.coming, self.brought)

    def told(self, complaint: str) -> Reasoner:
        """The same for a job brought with this complaint: how likely each fault is one that comes and goes."""
        other = copy.copy(self)
        other.groups = self.groups
        other.coming, other.brought = coming_share(self.table, complaint), "" if complaint == UNSURE else complaint
        return other

    def ranked_groups(self, belief: Belief) -> list[Group]:
        """Groups by probability; within one, faults by probability."""
        p_fault = belief.p_fault
        found = [
            Group(
                tuple(sorted(group, key=lambda name: -p_fault.get(name, 0.0))),
                sum(p_fault.get(name, 0.0) for name in group),
            )
            for group in self.over(belief).groups
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
        if self.leader(belief) == self.group_of[-1]:
            return self._unexplained(belief)
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

    def _unexplained(self, belief: Belief) -> Belief | None:
        """The belief to settle between "not described" and all that is; None once that is settled.

        What is not described fits anything a little: two faults at once take more readings to stand out against it.
        """
        p_other = float(belief.p_cell[-1])
        if p_other / max(1 - p_other, 1e-300) > UNEXPLAINED or len(belief.evidence) >= ENOUGH_READINGS:
            return None
        even = 0.5 * belief.p_cell / max(1 - p_other, 1e-300)
        even[-1] = 0.5
        return replace(belief, p_cell=even)

    def at_one_place(self, belief: Belief, prior: Floats | None) -> Belief | None:
        """The belief to settle whether both of two faults are there, or one of them and something else, while the two
        hang on what was read at one terminal: something added there explains that as well. None where they do not."""
        lead = self.leader(belief)
        alone = {part for name in self.groups[lead] for part in parts_of(name)} - self.groups[lead]
        if not alone or len(belief.evidence) >= ENOUGH_READINGS:
            return None
        sure = belief.p_cell[self.group_of == lead].sum()
        for place in dict.fromkeys(known.check.red for known in belief.readings):
            left = self.weigh([known for known in belief.evidence if known.check.red != place], prior)
            if self.leader(left) != lead or left.p_cell[self.group_of == lead].sum() < HOLDS * sure:
                single = np.append(np.isin(self.table.names, list(alone)), False)
                share = single * (0.5 / single.sum())
                return replace(belief, p_cell=np.where(self.group_of == lead, 0.5 * belief.p_cell / sure, share))
        return None

    def shaky(self, belief: Belief, prior: Floats | None) -> Shaky | None:
        """What the verdict hangs on; None when no answer carries it alone.

        No verdict rests on one reading (decision 5): if taking one away changes the leader, or leaves it no more than
        half as sure, a confirming check comes first. Readings of nothing in a row, which one mistake may have made,
        count as one, and so do a reading and its repeat.
        """
        lead = self.leader(belief)
        sure = float(np.bincount(self.group_of, belief.p_cell).max())

        def holds(p_cell: Floats) -> bool:
            p_group = np.bincount(self.group_of, p_cell)
            return int(p_group.argmax()) == lead and bool(p_group[lead] >= HOLDS * sure)

        alone: list[tuple[tuple[int, ...], Floats | None]] = [((i,), p) for i, p in enumerate(belief.p_without)]
        found: list[tuple[Belief, tuple[int, ...]]] = []
        for at, p_cell in [*alone, *belief.p_without_run.items(), *((two, None) for two in repeats(belief))]:
            if p_cell is not None and holds(p_cell):
                continue
            without = self.weigh([known for i, known in enumerate(belief.evidence) if i not in at], prior)
            if not holds(without.p_cell):
                found.append((without, at))
        if not found:
            return None
        looked_at = found[0][0]
        if len(found) > 1:
            looked_at = replace(belief, p_cell=np.mean([without.p_cell for without, _ in found], axis=0))
        runs = [at for _, at in found if at in belief.p_without_run]
        carriers = [belief.evidence[i].check for i in (runs[0] if runs else found[0][1])]
        return Shaky(looked_at, carriers, bool(runs))

    def confirming(self, shaky: Shaky, belief: Belief, allowed: Sequence[Check], stand: Stand) -> Choice | None:
        """The check that tells best whether the leader stands without what carries it; None when none tells enough."""
        is_lead = (self.group_of == self.leader(belief)).astype(np.int64)
        least = CONFIRMS * entropy(np.bincount(is_lead, shaky.belief.p_cell).astype(float))
        done = {known.check.id for known in belief.evidence}
        anew = [again for again in (check.repeated() for check in shaky.carriers) if again.id not in done]
        if shaky.in_a_row:  # another reading of nothing would be one more of the same mistake's
            allowed = [check for check in allowed if not self._reads_nothing(belief, check)]
        return pick(shaky.belief, is_lead, [*allowed, *anew], self.guesses, stand, least)

    def _reads_nothing(self, belief: Belief, check: Check) -> bool:
        """Whether the likeliest cell predicts a reading of no volts."""
        if check.kind == "observation" or check.is_ohms or check.wire:
            return False
        cell = belief.p_cell[:-1].argmax()
        return bool(np.abs(self.table.stack.mean[cell, self.table.column[check.first_id]]) < NOTHING_V)

    def telling(self, belief: Belief, allowed: Sequence[Check], stand: Stand) -> Choice | None:
        """The check that leads to the fault soonest, as far as is seen ahead; None when none tells anything."""
        found = look_ahead(belief, self.group_of, allowed, self.guesses, stand, Rules(SURE, HOLDS, TELLS_NOTHING))
        if found is None or found.nats > TELLS_LITTLE or found.check.setup.warm or belief.p_coming < WATCHES:
            return found
        warm = [check for check in allowed if check.setup.warm]
        warmed = pick(belief, self.group_of, warm, self.guesses, stand, TELLS_MORE * found.nats)
        return warmed or found

    def worth_more(self, belief: Belief, allowed: Sequence[Check], stand: Stand) -> Choice | None:
        """The best of the checks that are left where it is worth its time, though the leader is sure."""
        choice = pick(belief, self.group_of, allowed, self.guesses, stand)
        at = stake(self.table, self.guesses, self.group_of, belief)
        return choice if choice and at.is_worth(choice) else None

    def worth_going_on(self, belief: Belief, choice: Choice, allowed: Sequence[Check], stand: Stand) -> Choice | None:
        """This check, or another that is worth its time, while no group is sure; None where it is time to stop,
        but for what the verdict hangs on.

        One goes on unless the check hardly saves anything. Where "nothing wrong" leads, and it was brought for nothing
        that it does, each reading that is as it should be rules little out: one could try all there are. A fault that
        comes and goes is watched for as long as there is something to watch.
        """
        if belief.p_coming > WATCHES:
            return choice
        at, share = stake(self.table, self.guesses, self.group_of, belief), HARDLY
        if self.leader(belief) == self.group_of[0]:
            at, share = at.of_any(), HARDLY if self.brought else 1.0
        elif at.p_lead < LEADS or not at.wrong_s:
            return choice
        if at.is_worth(choice, share):
            return choice
        scale = Scale.of(belief, self.group_of, allowed)
        best = ranked(scale, allowed, self.guesses, stand, TELLS_NOTHING, CANDIDATES)
        return next((one for one in best if at.is_worth(one, share)), None)

    def next_choice(
        self, evidence: Sequence[Known], stand: Stand, skipped: frozenset[str] = frozenset(),
        prior: Floats | None = None,
    ) -> tuple[Choice | None, Belief]:  # fmt: skip
        """The next check with the belief that it was chosen on; None when it is time for the verdict."""
        belief = self.weigh(evidence, prior)
        done = skipped.union(known.check.id for known in evidence)
        if len(evidence) < MOST_READINGS and (again := repeat_now(belief, done, self.guesses, stand)):
            return again, belief
        if wider := self.widened(belief, prior):
            return wider[0].next_choice(evidence, stand, skipped, wider[1])
        allowed = [check for check in self.checks if check.id not in done] + repeatable(belief, done)
        if not allowed or len(evidence) >= MOST_READINGS:
            return None, belief
        if belief.p_coming > WATCHES:
            left = [check for check in self.checks if check.id not in skipped]
            allowed = [check for check in watched(left, done) if not _just_watched(check, evidence)]
        else:
            allowed = [check for check in allowed if not for_heat(check)]
        allowed += [check for check in to_repeat(belief) if check.id not in done and check not in allowed]
        is_sure = float(np.bincount(self.group_of, belief.p_cell).max()) >= SURE
        choice = None if is_sure else self.telling(belief, allowed, stand)
        if choice and (going := self.worth_going_on(belief, choice, allowed, stand)):
            return going, belief
        unfounded = self.unfounded(belief, prior) if is_sure else None
        found = None if unfounded else self.shaky(belief, prior)
        if unfounded:
            return pick(unfounded, self.group_of, allowed, self.guesses, stand, CONFIRMS * np.log(2)), belief
        if found:
            return self.confirming(found, belief, allowed, stand), belief
        if not is_sure:
            return None, belief
        if doubtful := self.at_one_place(belief, prior):
            settles = pick(doubtful, self.group_of, allowed, self.guesses, stand, CONFIRMS * np.log(2))
            if settles:
                return settles, belief
        return self.worth_more(belief, allowed, stand), belief


def _just_watched(check: Check, evidence: Sequence[Known]) -> bool:
    """Whether it is what was just made many times over: nobody does that twice running."""
    last = evidence[-1].check if evidence else None
    return last is not None and last.watched and last.first_id == check.first_id and check.watched
