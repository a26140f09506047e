"""The patterns that editors check with, against the reader that decides: what matches has a unit that is read."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from troubleshoot.errors import TypedWrong
from troubleshoot.units import Gauge, parse_measure, parse_quantity
from troubleshoot.units.pattern import gauge_pattern, quantity_pattern
from troubleshoot.units.table import EXAMPLES, UNITS

DIMENSIONS = [dimension for dimension in EXAMPLES if dimension != "area"]
OF_UNITS = {"missing-unit", "wrong-unit", "unknown-unit"}


def refused(read: object, *given: str) -> str:
    """The code with which a text is refused, "" when it is read."""
    try:
        read(*given)  # type: ignore[operator]
    except TypedWrong as error:
        return error.problem.code
    return ""


@pytest.mark.parametrize("dimension", DIMENSIONS)
@settings(max_examples=60)
@given(data=st.data())
def test_what_matches_has_a_unit_that_is_read(dimension: str, data: st.DataObject) -> None:
    plain = data.draw(st.from_regex(quantity_pattern(dimension, True, False), fullmatch=True))
    wide = data.draw(st.from_regex(quantity_pattern(dimension, True, True), fullmatch=True))
    assert refused(parse_quantity, plain, dimension) not in OF_UNITS, plain
    assert refused(parse_measure, wide, dimension) not in OF_UNITS, wide


@settings(max_examples=60)
@given(st.from_regex(gauge_pattern(), fullmatch=True))
def test_what_matches_as_a_gauge_is_one(text: str) -> None:
    assert not text.endswith("AWG") or refused(Gauge.read, text) == ""
    assert refused(Gauge.read, text) not in OF_UNITS


PREFIXES = ["", "m", "k", "K", "M", "u", "µ", "μ", "c", "n", "milli", "kilo", "Mega", "micro "]
NUMBERS = ["12", "12.5", "12,5", ".5", "1e3", "12."]
SPELLINGS = sorted({each for unit in UNITS for each in (*unit.symbols, *unit.words, *map(str.upper, unit.words))})


@pytest.mark.parametrize("dimension", DIMENSIONS)
@given(
    number=st.sampled_from(NUMBERS),
    space=st.sampled_from(["", " "]),
    prefix=st.sampled_from(PREFIXES),
    unit=st.sampled_from([*SPELLINGS, "\u2126", "mm²", "furlong", ""]),
    sign=st.sampled_from(["", "-", "+"]),
)
def test_a_usual_spelling_matches_just_when_it_is_read(
    dimension: str, number: str, space: str, prefix: str, unit: str, sign: str
) -> None:
    text = f"{sign}{number}{space}{prefix}{unit}"
    code = refused(parse_quantity, text, dimension)
    matches = bool(re.search(quantity_pattern(dimension, True, False), text))
    assert matches == (code in ("", "negative", "too-cold"))


@pytest.mark.parametrize(
    ("text", "dimension"),
    [
        ("6 mohm ± 30 %", "resistance"),
        ("6 mohm +- 2 mohm", "resistance"),
        ("6 mohm +/- 2mΩ", "resistance"),
        ("5..8 mohm", "resistance"),
        ("5 mohm .. 8 mohm", "resistance"),
        ("0.5..1.5 kohm", "resistance"),
        ("50 % ± 10 %", "fraction"),
        ("20 °C ± 10 °C", "temperature"),
        ("-5..5 degC", "temperature"),
        ("6.2 amps ± 0.5 A", "current"),
    ],
)
def test_values_with_tolerances_match_where_they_may_stand(text: str, dimension: str) -> None:
    assert refused(parse_measure, text, dimension) == ""
    assert re.search(quantity_pattern(dimension, True, True), text)
    assert not re.search(quantity_pattern(dimension, True, False), text)


@pytest.mark.parametrize("text", ["6", "6 V", "6 mohm ± 2", "6 mohm ± 2 V", "6 mohm ±", "5..8", "6 mohm 7 mohm", "ohm"])
def test_a_resistance_without_its_unit_does_not_match(text: str) -> None:
    assert refused(parse_measure, text, "resistance")
    assert not re.search(quantity_pattern("resistance", True, True), text)


@pytest.mark.parametrize(
    "text", ["14 AWG", "awg 14", "#14 AWG", "2/0AWG", "0000 AWG", "2.5 mm²", "2,5mm2", "0.25 cm^2"]
)
def test_a_wire_size_matches(text: str) -> None:
    assert refused(Gauge.read, text) == ""
    assert re.search(gauge_pattern(), text)


@pytest.mark.parametrize("text", ["14", "99 AWG", "AWG", "2.5 mm", "5/0 AWG"])
def test_what_is_no_wire_size_does_not_match(text: str) -> None:
    assert refused(Gauge.read, text)
    assert not re.search(gauge_pattern(), text)


def test_a_value_that_cannot_be_negative_matches_without_a_minus_only() -> None:
    assert re.search(quantity_pattern("voltage", True, True), "-5 V")
    assert not re.search(quantity_pattern("voltage", False, True), "-5 V")
    assert not re.search(quantity_pattern("voltage", False, True), "-5..5 V")
