"""Values as shown and written, and words as echoed; what is shown is read back."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from troubleshoot.errors import TypedWrong
from troubleshoot.units import clean, parse_quantity, quote, show, show_measure, write_quantity


@pytest.mark.parametrize(
    ("value", "dimension", "text", "ascii_text"),
    [
        (0.45, "voltage", "450 mV", "450 mV"),
        (12.45, "voltage", "12.45 V", "12.45 V"),
        (12.6, "voltage", "12.60 V", "12.60 V"),
        (-0.3, "voltage", "-300 mV", "-300 mV"),
        (0.99999, "voltage", "1.00 V", "1.00 V"),
        (0.0, "voltage", "0 V", "0 V"),
        (1e-9, "voltage", "0 V", "0 V"),
        (0.8, "resistance", "0.80 Ω", "0.80 ohm"),
        (0.006, "resistance", "6 mΩ", "6 mohm"),
        (90.0, "resistance", "90 Ω", "90 ohm"),
        (12e3, "resistance", "12 kΩ", "12 kohm"),
        (2.3e6, "resistance", "2.3 MΩ", "2.3 Mohm"),
        (0.0, "resistance", "0 Ω", "0 ohm"),
        (41e6, "resistance", "OL", "OL"),
        (math.inf, "resistance", "OL", "OL"),
        (6.2, "current", "6.2 A", "6.2 A"),
        (0.14, "current", "140 mA", "140 mA"),
        (2e-6, "current", "2 µA", "2 uA"),
        (40.0, "time", "40 s", "40 s"),
        (180.0, "time", "3 min", "3 min"),
        (0.3, "fraction", "30 %", "30 %"),
        (2.5e-6, "area", "2.5 mm²", "2.5 mm2"),
        (20.0, "temperature", "20 °C", "20 C"),
        (0.25, "length", "25 cm", "25 cm"),
        (1e-8, "conductance", "10 nS", "10 nS"),
    ],
)
def test_values_are_shown_in_the_forms_of_the_trade(value, dimension, text, ascii_text):
    assert show(value, dimension) == text
    assert show(value, dimension, ascii=True) == ascii_text


def test_a_band_is_shown_with_its_tolerance():
    assert show_measure(0.006, 0.002, "resistance") == "6 mΩ ± 2 mΩ"
    assert show_measure(0.006, 0.002, "resistance", ascii=True) == "6 mohm +- 2 mohm"
    assert show_measure(0.006, 0.0, "resistance") == "6 mΩ"


def test_what_is_not_a_number_is_not_shown():
    with pytest.raises(ValueError, match="voltage"):
        show(math.nan, "voltage")
    with pytest.raises(ValueError, match="resistance"):
        show(math.nan, "resistance")


SHOWN = {
    "voltage": (1e-3, 1e4),
    "current": (1e-6, 1e3),
    "resistance": (1e-3, 39e6),
    "length": (1e-3, 1e3),
    "area": (1e-8, 1e-4),
    "time": (1e-3, 1e5),
    "temperature": (1.0, 200.0),
    "fraction": (1e-3, 1.0),
    "power": (0.1, 1e5),
    "charge": (1e3, 1e6),
    "conductance": (1e-9, 100.0),
}


@given(st.sampled_from(sorted(SHOWN)), st.floats(0, 1), st.booleans())
@settings(max_examples=400, deadline=None)
def test_what_is_shown_is_read_back_to_its_last_digit(dimension, share, ascii_only):
    low, high = SHOWN[dimension]
    value = low * (high / low) ** share
    again = parse_quantity(show(value, dimension, ascii=ascii_only), dimension)
    assert again == pytest.approx(value, rel=0.0051, abs=0.0051 if dimension == "resistance" and value > 0.1 else 0)


@given(st.floats(-1e9, 1e9), st.sampled_from(["voltage", "current", "fraction"]))
@settings(deadline=None)
def test_what_is_written_exactly_is_read_back_exactly(value, dimension):
    if value != 0 and abs(value) < 1e-90:
        value = 0.0
    assert parse_quantity(write_quantity(value, dimension), dimension) == value


@given(st.text(max_size=3000), st.integers(5, 60))
@settings(deadline=None)
def test_quoted_words_are_short_and_printable(text, longest):
    quoted = quote(text, longest)
    assert quoted.isprintable()
    assert len(quoted) <= longest


def test_quoting_removes_whole_escape_sequences_and_marks_a_cut():
    assert quote("\x1b[31mred\x1b[0m \x1b]0;title\x07door\u202e") == "red door"
    assert quote("a" * 41) == "a" * 39 + "…"
    assert quote("a" * 40) == "a" * 40


@given(st.text(max_size=80))
@settings(deadline=None)
def test_cleaning_twice_changes_nothing_more(text):
    try:
        once = clean(text)
        again = clean(once)
    except TypedWrong:
        return
    assert again == once
