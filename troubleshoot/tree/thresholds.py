"""Limits between the branches of a step: in the middle of the gap between what the two sides predict, then rounded to
a number that one keeps in mind while the margin allows."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from troubleshoot.solve.linear import Floats

_TENS = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0)
_VOLTS = [0.01, 0.015, *(m * 10.0**e for e in (-2, -1) for m in _TENS[2:]), *_TENS[:-1], *np.arange(9.0, 15.05, 0.1)]
ROUND_NUMBERS = {
    "volts": np.unique(np.round([*(-np.array(_VOLTS)), *_VOLTS], 6)),
    "millivolts": np.unique(
        np.round([*(s * m * 10.0**e for s in (-1, 1) for e in (-4, -3, -2, -1) for m in _TENS)], 6)
    ),
    "amps": np.unique(np.round([*(s * m * 10.0**e for s in (-1, 1) for e in (-1, 0, 1) for m in _TENS)], 6)),
    "ohms": np.array([m * 10.0**e for e in range(-1, 7) for m in _TENS]),
}
"""Numbers, in SI, at which a limit may be put where its two sides run into each other."""

COARSE_NUMBERS = {
    "volts": np.array([*(-np.array([12.0, 10.0, 5.0, 1.0, 0.5, 0.2, 0.05])), 0.01, 0.02, 0.03, 0.05, 0.1, 0.2,
                       0.3, 0.5, 1.0, 2.0, 3.0, 5.0, 7.0, 8.0, 9.0, 10.0, 10.5, 11.0, 11.5, 12.0, 12.2, 13.0]),
    "amps": np.array([-5.0, -1.0, -0.3, 0.3, 0.5, 1.0, 2.0, 3.0, 5.0, 7.0, 10.0, 15.0, 20.0, 30.0]),
    "ohms": np.array([0.5, 1.0, 2.0, 3.0, 5.0, 10.0, 20.0, 30.0, 50.0, 70.0, 100.0, 150.0, 200.0, 300.0, 500.0, 1e3,
                      2e3, 5e3, 1e4, 1e5, 1e6, 1e7]),
}  # fmt: skip
COARSE_NUMBERS["millivolts"] = COARSE_NUMBERS["volts"]
"""A choice of them, for a first look over all checks. The finer limits of a fuse's millivolts are left to the steps
themselves: with them the optimum of the decision table takes many times as long to prove."""

FINER_NUMBERS = COARSE_NUMBERS | {
    "millivolts": np.array([-0.5, -0.05, -0.005, 0.2e-3, 0.5e-3, 1e-3, 2e-3, 5e-3, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5,
                            1.0, 3.0]),
}  # fmt: skip
"""The same where nothing has to be proved."""

EDGE_SIGMAS = 3.0
"""A limit keeps the meter's error and this many sigmas from what either side predicts, where the gap has room."""

MIDDLE_SHARE = 0.5
"""A round number is looked for in this middle share of the gap (invented)."""

WIDE_V = 4.0
"""A gap of so many volts gets two limits, and what lies between them fits nothing (invented)."""

WIDE_SHARE = 0.25
"""So far into a wide gap each of them goes."""


@dataclass(frozen=True)
class Gap:
    """From the highest that the lower side may read to the lowest that the upper side may, margins taken off."""

    low: float
    high: float

    @property
    def is_open(self) -> bool:
        return self.low < self.high


def limits_in(gap: Gap, is_volts: bool) -> tuple[float, ...]:
    """The limit of an open gap, or two where it is so wide that what lies between would be a surprise."""
    if is_volts and gap.high - gap.low >= WIDE_V:
        part = WIDE_SHARE * (gap.high - gap.low)
        return (round_between(gap.low, gap.low + 2 * part), round_between(gap.high - 2 * part, gap.high))
    if is_volts:
        return (round_between(gap.low, gap.high),)
    return (_round_by_ratio(max(gap.low, 1e-3), gap.high) if gap.high > 1e-3 else round_between(gap.low, gap.high),)


def _round_by_ratio(low: float, high: float) -> float:
    """The roundest number in the middle share of a range over decades, nearest to the middle by ratio."""
    rim, middle = (high / low) ** ((1 - MIDDLE_SHARE) / 2), math.sqrt(low * high)
    for mantissas in ((1,), (2, 5), range(1, 10), range(10, 100)):
        decades = range(math.floor(math.log10(low)) - 1, math.ceil(math.log10(high)) + 1)
        found = [float(f"{m}e{e}") for m in mantissas for e in decades if low * rim <= float(f"{m}e{e}") <= high / rim]
        if found:
            return min(found, key=lambda one: abs(math.log(one / middle)))
    return float(f"{middle:.3g}")


def round_between(low: float, high: float) -> float:
    """The roundest number in the middle share of a range, of equals the one nearest to the middle."""
    rim = (1 - MIDDLE_SHARE) / 2 * (high - low)
    return _roundest(low + rim, high - rim, (low + high) / 2)


def _roundest(low: float, high: float, middle: float) -> float:
    """The number with the fewest digits from `low` to `high`; of equals one that ends in 0 or 5, then the nearest."""
    if low <= 0.0 <= high:
        return 0.0
    size = math.floor(math.log10(max(abs(low), abs(high))))
    for digits in range(6):
        found = list(_multiples(low, high, 10.0 ** (size - digits)))
        if found:
            fives = [one for one in found if round(one / 10.0 ** (size - digits)) % 5 == 0]
            return min(fives or found, key=lambda one: abs(one - middle))
    return middle


def _multiples(low: float, high: float, step: float) -> Iterator[float]:
    for n in range(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1):
        yield float(f"{n * step:.9g}")


def gap_around(limit: float, low_side: Floats, high_side: Floats) -> Gap:
    """The gap that a limit lies in: `low_side` are the upper edges of what is under it, `high_side` the lower edges of
    what is over it; a side with nothing on it ends at the limit."""
    return Gap(float(low_side.max(initial=-math.inf)) if low_side.size else limit,
               float(high_side.min(initial=math.inf)) if high_side.size else limit)  # fmt: skip
