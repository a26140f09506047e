"""A meter that was left wrong: a mistake that stays over a run of readings until it is put right.

What such a meter shows does not hang on the circuit. A run starts at any reading and goes on until one is asked for
again (which starts with a look at dial and jacks, and a touch on the battery), until the dial is turned, or to the
end. So the order of the readings matters, and for this alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from troubleshoot.diagnose.evidence import OVER_LIMIT_LN, OVER_LIMIT_SIGMA, Known
from troubleshoot.diagnose.slips import flat_density

SEES_NOTHING = "red lead in the amps jack, or a blown fuse or open lead of the meter"
"""No reading tells these apart: a look at jacks and leads does."""

ON_AC = "meter on AC"
ON_OHMS = "meter on ohms"

NO_SIGNAL_V = ((0.7, 0.005), (0.3, 0.05))
"""What a display shows with nothing behind it: shares and sigmas (invented)."""

STARTS = 0.002
"""Chance that a meter is set so, in each of the ways, before any one reading (invented)."""

AT_FIRST = 4.0
"""How much likelier before the first reading, when the meter has just been taken out (invented)."""

GOES_ON = 0.05
"""Chance that it stays so although a reading is asked for again, with the meter tried on the battery (invented)."""

NOTICED = 0.1
"""Chance that it is put right between two readings without a word, where the next one shows so (invented)."""


def is_tried(known: Known) -> bool:
    """Whether the meter was tried on the battery before this reading, as it is where one is made again."""
    return known.check.again and not known.check.watched


@dataclass(frozen=True)
class LeftWrong:
    """One run: the readings at `at` were taken with the meter wrong in the way `name`.

    `ln_prior`: chance that it began there and ended so; `ln_shown` (n,): ln density of each of those readings.
    `is_now`: it has not been put right yet.
    """

    name: str
    at: tuple[int, ...]
    ln_prior: float
    ln_shown: tuple[float, ...]
    is_now: bool


def left_wrong(readings: Sequence[Known]) -> list[LeftWrong]:
    """All runs that these readings, in the order they were taken, allow."""
    found = []
    for name in (SEES_NOTHING, ON_AC, ON_OHMS):
        for start, known in enumerate(readings):
            if _ln_shown(name, known) is not None and not is_tried(known):
                chance = STARTS * (AT_FIRST if start == 0 else 1.0)
                found += _runs_from(name, readings, start, float(np.log(chance)))
    return found


def _runs_from(name: str, readings: Sequence[Known], start: int, ln_prior: float) -> list[LeftWrong]:
    """The runs that begin before the reading `start`."""
    found: list[LeftWrong] = []
    at: tuple[int, ...] = ()
    shown: tuple[float, ...] = ()

    def ends(chance: float, is_now: bool = False) -> None:
        found.append(LeftWrong(name, at, ln_prior + float(np.log(chance)), shown, is_now))

    for k in range(start, len(readings)):
        known = readings[k]
        if at and is_tried(known):
            ends(1 - GOES_ON)
            ln_prior += float(np.log(GOES_ON))
        ln_shown = _ln_shown(name, known)
        if ln_shown is None:
            if known.check.is_ohms:  # the dial was turned
                ends(1.0)
                return found
            continue
        if ln_shown < LEAST:
            if at and not is_tried(known):
                ends(NOTICED)
            return found
        at, shown = (*at, k), (*shown, ln_shown)
    ends(1.0, True)
    return found


LEAST = -8.0
"""ln density under which a reading is none that a meter left wrong would show."""


def _ln_shown(name: str, known: Known) -> float | None:
    """ln density of a reading with the meter so, on its own scale; None where it does no harm."""
    if known.check.wire:
        return None
    if known.check.is_ohms:
        if name != SEES_NOTHING:
            return None
        sigma = float(np.hypot(OVER_LIMIT_SIGMA, known.sigma))
        return _ln_normal(known.value - OVER_LIMIT_LN, sigma)
    if name == ON_OHMS:
        return float(np.log(flat_density(known.check)))
    terms = [np.log(share) + _ln_normal(known.value, float(np.hypot(s, known.sigma))) for share, s in NO_SIGNAL_V]
    return float(np.logaddexp.reduce(terms))


def _ln_normal(off: float, sigma: float) -> float:
    """ln density of a Gaussian."""
    return float(-0.5 * (off / sigma) ** 2 - np.log(sigma * np.sqrt(2 * np.pi)))
