"""Limits between branches: in the middle of a gap, in numbers that one keeps in mind."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from troubleshoot.tree.thresholds import (
    MIDDLE_SHARE,
    ROUND_NUMBERS,
    Gap,
    gap_around,
    limits_in,
    round_between,
)

ENDS = st.floats(-15, 15, allow_nan=False)


def digits(value: float) -> int:
    """Significant digits of a number."""
    return len(f"{abs(value):.9e}".split("e")[0].replace(".", "").rstrip("0"))


@pytest.mark.parametrize(
    ("low", "high", "limit"),
    [(11.2, 12.9, 12.0), (0.06, 0.5, 0.3), (0.02, 0.08, 0.05), (11.82, 12.31, 12.0), (-0.2, 0.3, 0.0), (3.1, 6.9, 5.0)],
)
def test_a_limit_is_the_roundest_number_about_the_middle(low: float, high: float, limit: float) -> None:
    assert round_between(low, high) == limit  # by hand


@given(ENDS, ENDS)
def test_a_limit_lies_in_the_middle_of_its_gap(one: float, other: float) -> None:
    low, high = sorted((one, other))
    if high - low < 1e-4:
        return
    rim = (1 - MIDDLE_SHARE) / 2 * (high - low)
    limit = round_between(low, high)
    assert low + rim - 1e-9 <= limit <= high - rim + 1e-9


@given(ENDS, ENDS)
def test_no_number_with_fewer_digits_lies_there(one: float, other: float) -> None:
    low, high = sorted((abs(one), abs(other)))
    if high - low < 1e-3:
        return
    rim = (1 - MIDDLE_SHARE) / 2 * (high - low)
    limit = round_between(low, high)
    inside = [n for n in ROUND_NUMBERS["volts"] if low + rim < n < high - rim]
    assert not inside or digits(limit) <= min(digits(float(n)) for n in inside)


def test_a_wide_gap_leaves_room_for_a_surprise() -> None:
    assert limits_in(Gap(0.4, 11.6), is_volts=True) == (3.0, 10.0)  # a quarter in from either side, and rounded
    assert len(limits_in(Gap(0.4, 3.0), is_volts=True)) == 1


@pytest.mark.parametrize(
    ("low", "high", "limit"), [(2.0, 20_000.0, 100.0), (60.0, 110.0, 80.0), (0.8, 40.0, 10.0), (150.0, 700.0, 300.0)]
)
def test_ohms_are_parted_by_ratio(low: float, high: float, limit: float) -> None:
    assert limits_in(Gap(low, high), is_volts=False) == (limit,)  # by hand


def test_a_gap_is_between_the_nearest_edges_of_its_two_sides() -> None:
    gap = gap_around(5.0, np.array([0.1, 0.7]), np.array([11.9, 10.2]))
    assert gap == Gap(0.7, 10.2)
    assert gap.is_open
    assert not Gap(5.0, 5.0).is_open
    assert not gap_around(5.0, np.array([5.5]), np.array([5.2])).is_open
