"""Chances and times in words: what is not known for certain is never said to be, and more is never said to be less."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from troubleshoot.words.chances import say_chance, say_duration


@given(st.floats(0, 1))
def test_no_chance_is_said_to_be_nothing_or_all(p: float) -> None:
    said = say_chance(p)
    assert said not in ("0%", "0.0%", "100%", "100.0%")
    number = float(said.split()[-1].rstrip("%")) / 100
    assert abs(number - p) <= 0.0051


@pytest.mark.parametrize(
    ("p", "said"),
    [(0.0, "under 0.1%"), (0.0123, "1.2%"), (0.35, "35%"), (0.97, "97.0%"), (0.9871, "98.7%"), (1.0, "over 99.9%")],
)
def test_chances_are_said_as_one_would(p: float, said: str) -> None:
    assert say_chance(p) == said


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (0.2, "a few seconds"),
        (12, "10 s"),
        (88, "90 s"),
        (240, "4 min"),
        (3600, "60 min"),
        (7200, "2 h"),
        (9000, "2.5 h"),
    ],
)
def test_times_are_said_as_one_would(seconds: float, said: str) -> None:
    assert say_duration(seconds) == said
