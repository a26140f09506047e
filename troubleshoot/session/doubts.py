"""Doubted readings in words: which one, why, what may have happened, and what came of making it again."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from troubleshoot.circuit.checks import Check
from troubleshoot.diagnose.belief import Belief
from troubleshoot.diagnose.doubt import MAY_BE_SET_WRONG, doubted
from troubleshoot.diagnose.evidence import Known
from troubleshoot.diagnose.left_wrong import ON_AC, ON_OHMS, SEES_NOTHING, is_tried
from troubleshoot.words import say

SayKnown = Callable[[Known], str]

SAME = 0.3
"""Volts, or ln(ohm), within which a reading is as expected and not worth a word (invented)."""

SHOWS_NOTHING = "the meter may show nothing at all: dial on AC, red lead in the amps jack, its fuse blown, a lead open"
STOP_AND_LOOK = (
    "Stop and look before you touch anything: if the red lead is in an amps jack, take both leads off at once; it "
    "shorts whatever they touch."
)
CAUSES = {
    "leads swapped": "red and black may have been exchanged",
    "neighbouring terminal": "red may have been on the terminal beside it",
    "other key state": "the key may have stood otherwise",
    "other plug state": "a plug or the relay may have been in, or out, against what was asked",
    "black lead on nothing": "the black lead may have touched nothing",
    "meter a thousand times off": "milli or kilo on the display may have been overlooked",
    "prime window missed": "the prime may have been over; have the meter ready before the key is turned",
    "motor still spinning": "the motor may still have been running down",
    "misread": "it may have been misread or mistyped",
    ON_OHMS: "the meter's dial may stand on ohms",
    ON_AC: SHOWS_NOTHING,
    SEES_NOTHING: SHOWS_NOTHING,
}
"""What may have happened, by the name of the mistake."""


def say_doubts(before: Belief, after: Belief, answered: Known, say_known: SayKnown) -> tuple[str, ...]:
    """What an answer changed about the readings that are doubted: new ones with the cause, and those that it settled.
    A dangerous cause comes first."""
    was = {before.readings[i].check.id for i in doubted(before)}
    found, causes = [], set()
    now = doubted(after)
    for i in now:
        known = after.readings[i]
        is_news = known.check.id not in was or known.check.first_id == answered.check.first_id
        if is_news and not _reads_as_expected(after, i):
            found.append(_say_one(after, i, now, say_known))
            causes.add(after.slip[i])
    first = _first(after, answered.check)
    if is_tried(answered) and first >= 0 and first not in now and after.readings[first].check.id in was:
        short = say.say_short(after.table.network, after.readings[first].check)
        found.append(f"{short} = {say_known(after.readings[first])} stands: made again it reads {say_known(answered)}.")
    return (STOP_AND_LOOK, *found) if causes & {SEES_NOTHING, ON_AC} else tuple(found)


def say_why_again(belief: Belief, check: Check) -> str:
    """Why a reading is made again, "" where it is not a doubt that asks for it."""
    i = _first(belief, check)
    if i < 0 or check.watched:
        return ""
    meter = max(belief.meter, key=lambda name: belief.meter[name], default="")
    if i in doubted(belief):
        cause, opening = belief.slip[i], "It does not fit the rest"
    elif meter and sum(belief.meter.values()) > MAY_BE_SET_WRONG:
        cause, opening = meter, "Before it is believed"
    else:
        return ""
    told = f"{opening}: {CAUSES[cause]}. Made again with the meter tried first, it settles that."
    return f"{STOP_AND_LOOK} {told}" if CAUSES[cause] == SHOWS_NOTHING else told


def _first(belief: Belief, check: Check) -> int:
    """The number of the reading that a check repeats, -1 where it was not taken."""
    same = [i for i, known in enumerate(belief.readings) if known.check.first_id == check.first_id]
    return next((i for i in reversed(same) if not is_tried(belief.readings[i])), -1)


def _repeat(belief: Belief, known: Known) -> int:
    """The number of the reading made again with the meter tried, -1 where it was not."""
    same = [i for i, other in enumerate(belief.readings) if other.check.first_id == known.check.first_id]
    return next((i for i in same if is_tried(belief.readings[i])), -1)


def _say_one(belief: Belief, i: int, now: list[int], say_known: SayKnown) -> str:
    known, cause = belief.readings[i], CAUSES[belief.slip[i]]
    short = say.say_short(belief.table.network, known.check)
    repeat = _repeat(belief, known)
    if repeat >= 0 and repeat not in now:
        return (
            f"{short} = {say_known(known)} counts as wrong: made again it reads {say_known(belief.readings[repeat])}."
        )
    last = "It is asked for again, another way."
    if repeat >= 0:
        last = "It is left out of account."
    elif belief.p_stays[i] > 0.5 * belief.p_wrong[i]:
        last = "What such a meter shows counts for nothing; one reading is made again, with the meter tried first."
    return f"{short} = {say_known(known)} does not fit the rest{_say_expected(belief, i, say_known)}: {cause}. {last}"


def _say_expected(belief: Belief, i: int, say_known: SayKnown) -> str:
    """What the likeliest suspect makes of it, given the other readings."""
    mean = _expected(belief, i)
    return "" if mean is None else f", which makes it about {say_known(replace(belief.readings[i], value=mean))}"


def _expected(belief: Belief, i: int) -> float | None:
    best = int(belief.p_cell.argmax())
    column = belief.table.column.get(belief.readings[i].check.first_id)
    if column is None or best == len(belief.table.cells):
        return None
    return float(belief.expect(np.array([best]), np.array([column]))[0][0, 0])


def _reads_as_expected(belief: Belief, i: int) -> bool:
    """Whether a reading that was taken with a meter left wrong reads as it should all the same."""
    mean = _expected(belief, i)
    return mean is not None and abs(belief.readings[i].value - mean) < SAME
