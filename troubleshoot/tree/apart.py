"""What a check would tell apart in sampled cars: faults that share a verdict, and faults that come to the wrong one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

import numpy as np

from troubleshoot.circuit.checks import Check
from troubleshoot.solve.linear import Bools, Floats, Ints
from troubleshoot.tree.sampled import Answered, Sampled, answer_of
from troubleshoot.words.answers import Seen

ERROR = 0.1
"""Faults are told apart by a check that is wrong in no more of their cars than this (decision 7 of the design)."""

OVER_LIMIT = 1e12
MOST_ANSWERS = 4
"""Of a look."""


@dataclass(frozen=True)
class Asked:
    """Cars, and what each check shows in each of them as a number, (checks, cars): volts, ohms, amperes, or which of
    a look's answers it is. Every other car is only there to confirm what the others show."""

    cars: Sequence[Sampled]
    checks: Sequence[Check]

    @cached_property
    def shown(self) -> Floats:
        """Made when it is first asked for: all setups in which anything is read are solved for it."""
        found = np.empty((len(self.checks), len(self.cars)))
        for k in sorted(range(len(self.checks)), key=lambda k: repr(self.checks[k].setup)):
            for i, each in enumerate(self.cars):
                found[k, i] = _number(self.checks[k], answer_of(each.car, self.checks[k]))
        return found

    def tells(self, one: Ints, other: Ints) -> tuple[Check, float] | None:
        """The check that is wrong in fewest of the cars `one` and `other`, and its share of them; None where none is
        right in nine of ten, or what tells half of them does not tell the others."""
        errors = self._errors(one[::2], other[::2]), self._errors(one[1::2], other[1::2])
        worse = np.maximum(*errors)
        if not worse.size or worse.min() > ERROR:
            return None
        best = int(worse.argmin())
        return self.checks[best], float(worse[best])

    def nearest(self, one: Ints, other: Ints) -> tuple[Check, float]:
        """The check that is wrong in fewest of the cars, however many."""
        errors = self._errors(one, other)
        best = int(errors.argmin())
        return self.checks[best], float(errors[best])

    def _errors(self, one: Ints, other: Ints) -> Floats:
        """Of each check the share of the cars that it puts on the wrong side at best, (checks,)."""
        if not one.size or not other.size:
            return np.ones(len(self.checks))
        looks = np.array([check.kind == "observation" for check in self.checks], dtype=bool)
        first, second = self.shown[:, one], self.shown[:, other]
        return np.where(looks, _look_error(first, second), _limit_error(first, second))


def _number(check: Check, answered: Answered) -> float:
    if isinstance(answered.read, Seen):
        return float(check.answers.index(answered.read.choice))
    return min(answered.value, OVER_LIMIT)


def _limit_error(one: Floats, other: Floats) -> Floats:
    """Balanced error of the best single limit between two sets of readings, (checks, n) and (checks, m): (checks,)."""
    values = np.concatenate([one, other], axis=1)
    order = np.argsort(values, axis=1, kind="stable")
    mine = np.broadcast_to(np.arange(values.shape[1]) < one.shape[1], values.shape)
    sorted_values, sorted_mine = (np.take_along_axis(a, order, axis=1) for a in (values, mine))
    below_one = np.cumsum(sorted_mine, axis=1) / one.shape[1]
    below_other = np.cumsum(~sorted_mine, axis=1) / other.shape[1]
    # a limit lies between two different values, or above all
    cut: Bools = np.ones(values.shape, dtype=bool)
    cut[:, :-1] = sorted_values[:, 1:] > sorted_values[:, :-1]
    error = 0.5 * (1 - np.abs(below_one - below_other))
    return np.asarray(np.where(cut, error, 0.5).min(axis=1))


def _look_error(one: Floats, other: Floats) -> Floats:
    """Balanced error of the best guess from an answer."""
    shares = [np.minimum((one == a).mean(axis=1), (other == a).mean(axis=1)) for a in range(MOST_ANSWERS)]
    return np.asarray(0.5 * np.sum(shares, axis=0))


def groups_apart(asked: Asked, places: dict[str, Ints]) -> tuple[list[list[str]], dict[tuple[str, str], Check]]:
    """The faults of `places` (each with its cars) in groups that no check tells apart, and for every two faults that
    one does tell apart that check. Two faults that are each like a third share its group."""
    told: dict[tuple[str, str], Check] = {}
    group = {name: number for number, name in enumerate(places)}
    for one, other in combinations(places, 2):
        found = asked.tells(places[one], places[other])
        if found:
            told[one, other] = found[0]
        elif group[one] != group[other]:
            old, new = group[other], group[one]
            group = {name: new if number == old else number for name, number in group.items()}
    return [[n for n in places if group[n] == number] for number in dict.fromkeys(group.values())], told
