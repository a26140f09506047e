"""The pydantic types that circuit files are made of."""

from __future__ import annotations

import pytest
from pydantic import BaseModel, ConfigDict, ValidationError

from troubleshoot.units import (
    FROM_FILE,
    Amperes,
    AmperesMeasure,
    Celsius,
    CelsiusMeasure,
    Fraction,
    FractionMeasure,
    Gauge,
    Measure,
    Metres,
    MetresMeasure,
    Ohms,
    OhmsMeasure,
    PositiveAmperes,
    PositiveMetres,
    PositiveOhmsMeasure,
    PositiveVoltsMeasure,
    Seconds,
    ShareMeasure,
    Siemens,
    UnsignedVolts,
    Volts,
    VoltsMeasure,
    Watts,
    awg_area_m2,
    parse_measure,
)


class Wire(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")
    length: Metres
    gauge: Gauge
    joint: OhmsMeasure = Measure(0.006, 0.0018)
    rating: Amperes = 15.0


class Everything(BaseModel):
    a: Volts
    b: Amperes
    c: Ohms
    d: Metres
    e: Seconds
    f: Fraction
    g: Celsius
    h: Watts
    i: Siemens
    j: VoltsMeasure
    k: AmperesMeasure
    m: OhmsMeasure
    n: FractionMeasure
    p: MetresMeasure
    q: CelsiusMeasure
    r: Gauge


WRITTEN = {
    "a": "12,6 V",
    "b": "140 mA",
    "c": "90 ohm",
    "d": "2.5 m",
    "e": "250 ms",
    "f": "7 %",
    "g": "-10 °C",
    "h": "60 W",
    "i": "1e-8 S",
    "j": "12.6 V ± 0.2 V",
    "k": "6 A ± 10 %",
    "m": "5..8 mohm",
    "n": "50 % ± 7 %",
    "p": "2 m ± 20 %",
    "q": "20 °C ± 10 °C",
    "r": "2.5 mm²",
}


def error_of(model, data, **how):
    with pytest.raises(ValidationError) as caught:
        model.model_validate(data, **how)
    (error,) = caught.value.errors()
    return error


def test_a_wire_is_read_from_text_with_units():
    wire = Wire.model_validate({"length": "2.5 m", "gauge": "14 AWG", "joint": "6 mohm ± 30 %", "rating": "15 A"})
    assert wire.length == 2.5
    assert wire.gauge == Gauge("14 AWG", awg_area_m2(14), 14)
    assert wire.joint == parse_measure("6 mohm ± 30 %", "resistance")


def test_built_values_pass_when_made_by_code():
    wire = Wire(length=2, gauge=Gauge.read("2.5 mm2"), joint=Measure(0.01, 0.0))
    assert wire.length == 2.0
    assert wire.gauge.awg is None
    assert wire.gauge.area_m2 == 2.5e-6
    assert wire.joint.half_band == 0.0


@pytest.mark.parametrize("bare", [2, 2.5, True, None, [], {"value": 1}])
def test_a_bare_number_in_a_file_is_refused(bare):
    error = error_of(Wire, {"length": bare, "gauge": "14 AWG"}, context=FROM_FILE)
    assert error["type"] == "missing-unit"
    assert "2.5 m" in error["ctx"]["hint"]


def test_a_bare_number_in_json_text_is_refused():
    with pytest.raises(ValidationError, match="needs its unit"):
        Wire.model_validate_json('{"length": 2.5, "gauge": "14 AWG"}')


@pytest.mark.parametrize("bare", [True, float("nan"), float("inf"), None, "2.5"])
def test_what_is_no_quantity_is_refused_from_code_too(bare):
    assert error_of(Wire, {"length": bare, "gauge": "14 AWG"})["type"] == "missing-unit"


def test_a_number_is_no_measure_even_from_code():
    assert error_of(Wire, {"length": 1.0, "gauge": "14 AWG", "joint": 0.006})["type"] == "missing-unit"


def test_a_wrong_unit_carries_code_place_and_hint():
    error = error_of(Wire, {"length": "2.5 V", "gauge": "14 AWG"})
    assert error["type"] == "wrong-unit"
    assert error["loc"] == ("length",)
    assert error["ctx"]["hint"] == "write it like 2.5 m"


@pytest.mark.parametrize("gauge", ["14", "14.5 AWG", "0 mm2", "-1 mm2", "2.5 mm", 14, None, "14 {x} AWG"])
def test_a_gauge_that_is_none_is_refused(gauge):
    error = error_of(Wire, {"length": "1 m", "gauge": gauge})
    assert error["loc"] == ("gauge",)
    assert error["msg"]


def test_what_is_written_as_json_is_read_back_the_same():
    everything = Everything.model_validate(WRITTEN, context=FROM_FILE)
    assert Everything.model_validate_json(everything.model_dump_json()) == everything


def test_dumped_for_python_the_values_are_plain_si_floats():
    dumped = Everything.model_validate(WRITTEN).model_dump()
    assert dumped["a"] == 12.6
    assert dumped["f"] == 0.07
    assert dumped["i"] == 1e-8


def test_the_schema_asks_for_text_and_its_examples_are_valid():
    schema = Everything.model_json_schema()
    for name, field in schema["properties"].items():
        assert field["type"] == "string"
        assert field["description"]
        for example in field["examples"]:
            assert Everything.model_validate(WRITTEN | {name: example}, context=FROM_FILE)


class Limited(BaseModel):
    a: PositiveAmperes = 1.0
    d: PositiveMetres = 1.0
    v: UnsignedVolts = 1.0
    j: PositiveVoltsMeasure = Measure(1.0, 0.0)
    m: PositiveOhmsMeasure = Measure(1.0, 0.0)
    n: ShareMeasure = Measure(1.0, 0.0)


@pytest.mark.parametrize(
    ("field", "given", "code"),
    [
        ("a", "0 A", "out-of-range"),
        ("a", "-15 A", "out-of-range"),
        ("d", "0 m", "out-of-range"),
        ("v", "-1 mV", "out-of-range"),
        ("j", "0 V", "out-of-range"),
        ("j", "-6.8 V ± 1 V", "out-of-range"),
        ("m", "0 ohm", "out-of-range"),
        ("m", "0 ohm ± 1 ohm", "out-of-range"),
        ("n", "150 %", "out-of-range"),
        ("n", "-5 %", "out-of-range"),
        ("j", "6 V ± 7 V", "too-wide"),
        ("m", "0..100 ohm", "too-wide"),
        ("m", "6 mohm ± 100 %", "too-wide"),
        ("m", "1 mohm ± 60 ohm", "too-wide"),
        ("a", 0.0, "out-of-range"),
        ("m", Measure(1.0, 1.0), "too-wide"),
    ],
)
def test_a_value_that_means_nothing_is_refused(field, given, code):
    error = error_of(Limited, {field: given})
    assert (error["type"], error["loc"]) == (code, (field,))
    assert error["ctx"]["hint"]
    assert error["ctx"]["hint"] not in error["msg"]
    if isinstance(given, str):
        assert f'"{given}"' in error["msg"]


@pytest.mark.parametrize(
    ("field", "given"),
    [
        ("v", "0 V"),
        ("m", "10..100 ohm"),
        ("m", "6 mohm ± 90 %"),
        ("n", "0 %"),
        ("n", "100 % ± 10 %"),
        ("a", "1 mA"),
        ("j", Measure(6.0, 5.9)),
    ],
)
def test_a_value_at_the_edge_of_sense_is_read(field, given):
    limited = Limited.model_validate({field: given})
    assert Limited.model_validate_json(limited.model_dump_json()) == limited


def test_what_is_hinted_at_for_a_band_that_is_too_wide_is_right():
    hint = error_of(Limited, {"m": "0..100 ohm"})["ctx"]["hint"]
    assert "1..90 ohm" in hint
    assert Limited.model_validate({"m": "1..90 ohm"}).m.value == 45.5


@pytest.mark.parametrize(("field", "given"), [("length", "12 0 m"), ("joint", "6 mohm ± 30 V"), ("gauge", "99 AWG")])
def test_a_message_has_the_words_as_typed_and_leaves_the_hint_to_itself(field, given):
    error = error_of(Wire, {"length": "1 m", "gauge": "14 AWG"} | {field: given})
    assert given.rpartition("± ")[2] in error["msg"]
    assert error["ctx"]["hint"]
    assert error["ctx"]["hint"] not in error["msg"]
    assert "(" not in error["msg"]
