"""Which reading is doubted, and which one is therefore asked for again before anything else.

A doubted reading is never dropped without a word: it is made again, in a way that differs from the first (`words.say`
tells how: the meter tried on the battery, leads lifted and set anew).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from troubleshoot.circuit.checks import AGAIN, Check
from troubleshoot.circuit.cost import Stand, cost_s
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.diagnose.belief import Belief
from troubleshoot.diagnose.choose import Choice, entropy
from troubleshoot.diagnose.left_wrong import is_tried

DOUBTED = 0.5
"""Probability of being wrong from which a reading is doubted."""

MAY_BE_SET_WRONG = 0.2
"""Probability that the meter stands wrong now from which it is tried on the battery, with the last reading made again
(invented): no further reading would tell anything before that."""


def doubted(belief: Belief) -> list[int]:
    """Numbers of the readings that are wrong more likely than not."""
    return [i for i, p in enumerate(belief.p_wrong) if p > DOUBTED]


def repeat_now(belief: Belief, done: frozenset[str], guesses: Guesses, stand: Stand) -> Choice | None:
    """The reading to make again before anything else, with what that tells of its being wrong; None while none has
    to be."""
    check = to_repeat(belief, done)
    if check is None:
        return None
    first = [known.check.first_id for known in belief.readings].index(check.first_id)
    p = belief.p_wrong[first]
    seconds = cost_s(belief.table.network.circuit, guesses.costs, stand, check)
    return Choice(check, entropy(np.array([p, 1 - p])), seconds)


def to_repeat(belief: Belief, done: frozenset[str]) -> Check | None:
    """The reading to make again now; None while none has to be.

    Of several wrong by one mistake that stayed, one is enough once it has been put right.
    """
    readings = belief.readings
    if sum(belief.meter.values()) > MAY_BE_SET_WRONG and _may_repeat(readings[-1].check, done):
        return _again(readings[-1].check)
    tried = max((i for i, known in enumerate(readings) if is_tried(known)), default=-1)
    for i in reversed(doubted(belief)):
        put_right = i < tried and belief.p_stays[i] > 0.5 * belief.p_wrong[i]
        if _may_repeat(readings[i].check, done) and not put_right:
            return _again(readings[i].check)
    return None


def repeatable(belief: Belief, done: frozenset[str]) -> list[Check]:
    """The doubted readings as checks to make again, if they tell enough."""
    checks = [belief.readings[i].check for i in doubted(belief)]
    return list({check.first_id: _again(check) for check in checks if _may_repeat(check, done)}.values())


def _may_repeat(check: Check, done: frozenset[str]) -> bool:
    return (check.watched or not check.again) and check.first_id + AGAIN not in done


def _again(check: Check) -> Check:
    """The plain reading made again, with the meter tried first, also where it was watched."""
    return replace(check, id=check.first_id, watched=False).repeated()


def repeats(belief: Belief) -> list[tuple[int, int]]:
    """Readings with their repeats, by their numbers: what is wrong the same way twice counts as one."""
    ids = [known.check.first_id for known in belief.readings]
    return [
        (ids.index(ids[j]), j) for j, known in enumerate(belief.readings) if is_tried(known) and ids.index(ids[j]) < j
    ]
