"""Text to SI and back: the strict parser, bands, gauges, what is shown, and pint as oracle."""

from __future__ import annotations

import math
import subprocess
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from troubleshoot.errors import TypedWrong
from troubleshoot.units import (
    Measure,
    awg_area_m2,
    parse_measure,
    parse_quantity,
)
from troubleshoot.units.table import EXAMPLES

UNDERSTOOD = [
    ("12.6 V", "voltage", 12.6),
    ("12,6 V", "voltage", 12.6),
    ("0,5 V", "voltage", 0.5),
    ("12.6v", "voltage", 12.6),
    ("450 mV", "voltage", 0.45),
    ("450mv", "voltage", 0.45),
    ("2 MV", "voltage", 2e6),
    ("2 kV", "voltage", 2000.0),
    ("-0.3 volts", "voltage", -0.3),
    ("１２．６ Ｖ", "voltage", 12.6),
    ("6.2 amps", "current", 6.2),
    ("140 mA", "current", 0.14),
    ("0.5 µA", "current", 5e-7),
    ("6 mohm", "resistance", 0.006),
    ("6 Mohm", "resistance", 6e6),
    ("6 MOHM", "resistance", 6e6),
    ("6 kOhm", "resistance", 6000.0),
    ("90 Ω", "resistance", 90.0),
    ("90 \u2126", "resistance", 90.0),
    ("90 OHMS", "resistance", 90.0),
    ("12 kilohm", "resistance", 12000.0),
    ("2.5 m", "length", 2.5),
    ("25 cm", "length", 0.25),
    ("3 mm", "length", 0.003),
    ("2.5 mm²", "area", 2.5e-6),
    ("2,5 mm2", "area", 2.5e-6),
    ("1 cm2", "area", 1e-4),
    ("40 s", "time", 40.0),
    ("250 ms", "time", 0.25),
    ("3 min", "time", 180.0),
    ("1.5 h", "time", 5400.0),
    ("20 °C", "temperature", 20.0),
    ("-10 C", "temperature", -10.0),
    ("20 ℃", "temperature", 20.0),
    ("30 %", "fraction", 0.3),
    ("60 W", "power", 60.0),
    ("1.2 kW", "power", 1200.0),
    ("50 Ah", "charge", 180000.0),
    ("1e-8 S", "conductance", 1e-8),
    ("10 nS", "conductance", 1e-8),
]
REFUSED = [
    ("12.4", "voltage", "missing-unit"),
    ("50", "fraction", "missing-unit"),
    ("12 V", "resistance", "wrong-unit"),
    ("5 S", "time", "wrong-unit"),
    ("5 s", "conductance", "wrong-unit"),
    ("5 m", "voltage", "wrong-unit"),
    ("10 k", "resistance", "unknown-unit"),
    ("68 °F", "temperature", "unknown-unit"),
    ("12 V V", "voltage", "unknown-unit"),
    ("nan V", "voltage", "not-a-number"),
    ("inf V", "voltage", "not-a-number"),
    ("12 6 V", "voltage", "not-a-number"),
    ("55 W ± 10 %", "power", "not-a-number"),
    ("12 V +- 1 V", "voltage", "not-a-number"),
    ("1,234.5 V", "voltage", "not-a-number"),
    ("12.600,5 V", "voltage", "not-a-number"),
    ("12½ V", "voltage", "not-a-number"),
    ("12² V", "voltage", "not-a-number"),
    ("V", "voltage", "not-a-number"),
    ("", "voltage", "not-a-number"),
    ("1e999 V", "voltage", "unknown-unit"),
    ("12,600 V", "voltage", "doubtful-comma"),
    ("-5 ohm", "resistance", "negative"),
    ("-300 °C", "temperature", "too-cold"),
    ("14.5 AWG", "area", "not-a-gauge"),
    ("41 AWG", "area", "not-a-gauge"),
    ("5/0 AWG", "area", "not-a-gauge"),
    ("12\x1b[0m V", "voltage", "hidden-characters"),
    ("12\u200b V", "voltage", "hidden-characters"),
    ("1" * 10_000 + " V", "voltage", "too-long"),
]


@pytest.mark.parametrize(("text", "dimension", "value"), UNDERSTOOD)
def test_a_quantity_becomes_the_nearest_float_in_si(text, dimension, value):
    assert parse_quantity(text, dimension) == value


@pytest.mark.parametrize(("text", "dimension", "code"), REFUSED)
def test_what_is_not_certain_is_refused_with_its_code(text, dimension, code):
    with pytest.raises(TypedWrong) as caught:
        parse_quantity(text, dimension)
    assert caught.value.problem.code == code
    assert caught.value.problem.hint
    assert str(caught.value).isprintable()


@pytest.mark.parametrize("dimension", EXAMPLES)
def test_every_example_in_a_hint_is_itself_understood(dimension):
    for example in EXAMPLES[dimension].split(" or "):
        assert parse_quantity(example, dimension) > 0


@pytest.mark.parametrize(
    ("text", "pint_unit", "dimension"),
    [
        ("1 mV", "millivolt", "voltage"),
        ("1 kV", "kilovolt", "voltage"),
        ("1 µA", "microampere", "current"),
        ("1 mohm", "milliohm", "resistance"),
        ("1 Mohm", "megaohm", "resistance"),
        ("1 cm", "centimeter", "length"),
        ("1 mm", "millimeter", "length"),
        ("1 mm2", "millimeter**2", "area"),
        ("1 cm2", "centimeter**2", "area"),
        ("1 ms", "millisecond", "time"),
        ("1 min", "minute", "time"),
        ("1 h", "hour", "time"),
        ("1 %", "percent", "fraction"),
        ("1 kW", "kilowatt", "power"),
        ("1 Ah", "ampere*hour", "charge"),
        ("1 mAh", "milliampere*hour", "charge"),
        ("1 nS", "nanosiemens", "conductance"),
    ],
)
def test_factors_agree_with_pints_own_registry(default_registry, text, pint_unit, dimension):
    """The oracle is pint's default registry, which shares no definition with ours."""
    si_unit = {
        "voltage": "volt",
        "current": "ampere",
        "resistance": "ohm",
        "length": "meter",
        "area": "meter**2",
        "time": "second",
        "fraction": "dimensionless",
        "power": "watt",
        "charge": "coulomb",
        "conductance": "siemens",
    }[dimension]
    expected = default_registry.Quantity(1.0, pint_unit).to(si_unit).magnitude
    assert parse_quantity(text, dimension) == pytest.approx(expected, rel=1e-12)


@pytest.fixture(scope="module")
def default_registry():
    import pint

    return pint.UnitRegistry()


@pytest.mark.parametrize(
    ("text", "diameter_mm", "area_mm2"),
    [
        # Source: hyperphysics.phy-astr.gsu.edu/hbase/tables/wirega.html for sizes, areas to 4 figures
        ("8 AWG", 3.264, 8.366),
        ("10 AWG", 2.588, 5.261),
        ("12 AWG", 2.053, 3.309),
        ("14 AWG", 1.628, 2.081),
        ("AWG 16", 1.291, 1.309),
        ("18awg", 1.024, 0.823),
        ("#20 AWG", 0.812, 0.518),
    ],
)
def test_gauges_agree_with_the_published_wire_table(text, diameter_mm, area_mm2):
    area_m2 = parse_quantity(text, "area")
    assert area_m2 * 1e6 == pytest.approx(area_mm2, rel=1e-3)
    assert math.sqrt(4 * area_m2 / math.pi) * 1e3 == pytest.approx(diameter_mm, rel=1e-3)


def test_aught_sizes_count_downwards():
    # ASTM B258 fixes 4/0 at 0.46 inch and 36 at 0.005 inch (both exact by definition)
    assert math.sqrt(4 * parse_quantity("4/0 AWG", "area") / math.pi) == pytest.approx(0.46 * 0.0254, rel=1e-9)
    assert math.sqrt(4 * awg_area_m2(36) / math.pi) == pytest.approx(0.005 * 0.0254, rel=1e-9)
    assert parse_quantity("0000 AWG", "area") == parse_quantity("4/0 AWG", "area") == awg_area_m2(-3)
    assert parse_quantity("0 AWG", "area") == parse_quantity("1/0 AWG", "area") == awg_area_m2(0)


@pytest.mark.parametrize(
    ("text", "dimension", "value", "half_band"),
    [
        ("6 mohm ± 30 %", "resistance", 0.006, 0.0018),
        ("6 mohm +- 2 mohm", "resistance", 0.006, 0.002),
        ("6 mohm +/- 2 mohm", "resistance", 0.006, 0.002),
        ("6mohm±30%", "resistance", 0.006, 0.0018),
        ("6 mohm", "resistance", 0.006, 0.0),
        ("5..8 mohm", "resistance", 0.0065, 0.0015),
        ("5.5 .. 8.5 mohm", "resistance", 0.007, 0.0015),
        ("500 mohm .. 1.5 ohm", "resistance", 1.0, 0.5),
        ("5,5..8,5 mohm", "resistance", 0.007, 0.0015),
        ("-1..+1 V", "voltage", 0.0, 1.0),
        ("20 °C ± 10 °C", "temperature", 20.0, 10.0),
        ("50 % ± 10 %", "fraction", 0.5, 0.1),
        ("12.6 V ± 200 mV", "voltage", 12.6, 0.2),
        ("-12 V ± 10 %", "voltage", -12.0, 1.2),
    ],
)
def test_a_band_is_written_with_a_tolerance_or_a_range(text, dimension, value, half_band):
    measure = parse_measure(text, dimension)
    assert measure.value == pytest.approx(value, abs=1e-15)
    assert measure.half_band == pytest.approx(half_band, abs=1e-15)


@pytest.mark.parametrize(
    ("text", "dimension", "code"),
    [
        ("6 mohm ± 2", "resistance", "missing-unit"),
        ("6 ± 30 %", "resistance", "missing-unit"),
        ("5..8", "resistance", "missing-unit"),
        ("6 mohm ± 2 V", "resistance", "wrong-unit"),
        ("20 °C ± 10 %", "temperature", "wrong-unit"),
        ("6 V ± -2 V", "voltage", "negative"),
        ("8..5 mohm", "resistance", "range-backwards"),
        ("12..4 V", "voltage", "range-backwards"),
        ("0...8 mohm", "resistance", "not-a-number"),
        ("6 mohm ± 1 % ± 2 %", "resistance", "not-a-number"),
        ("5..6..7 mohm", "resistance", "not-a-number"),
    ],
)
def test_a_band_that_is_not_certain_is_refused(text, dimension, code):
    with pytest.raises(TypedWrong) as caught:
        parse_measure(text, dimension)
    assert caught.value.problem.code == code


def test_the_relative_band_is_a_share_of_the_value():
    assert Measure(0.006, 0.0018).relative == pytest.approx(0.3)
    assert Measure(-2.0, 1.0).relative == 0.5
    assert Measure(0.0, 0.0).relative == 0.0
    assert Measure(0.0, 1.0).relative == math.inf


AWKWARD = st.text(alphabet="0123456789.,-+±% VvmMkKΩohmAWGeE²½１/\x1b\u200b", max_size=16)


@given(st.text(max_size=120) | AWKWARD, st.sampled_from(sorted(EXAMPLES)))
@settings(max_examples=300, deadline=None)
def test_any_text_gives_a_finite_number_or_a_printable_refusal(text, dimension):
    for read in (parse_quantity, lambda words, wanted: parse_measure(words, wanted).value):
        try:
            value, said = read(text, dimension), ""
        except TypedWrong as error:
            value, said = 0.0, str(error)
        assert math.isfinite(value)
        assert said.isprintable()


def test_volts_ohms_and_metres_are_read_without_pint_and_minutes_with_it():
    code = (
        "import sys; from troubleshoot.units import parse_quantity as p;"
        "p('12 mV','voltage'); p('6 mohm','resistance'); p('2.5 mm2','area'); p('1 %','fraction');"
        "heavy = ('pint', 'textual', 'numpy', 'ruamel'); print([m for m in heavy if m in sys.modules]);"
        "p('3 min','time'); print('pint' in sys.modules)"
    )
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert shown.stdout.split() == ["[]", "True"]
