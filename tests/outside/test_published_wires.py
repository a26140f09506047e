"""Wires: sizes, ohms, warmth and drops against what is printed in standards, handbooks and catalogues.

The source stands beside each check. "(memory)": credited from memory. "self-made": derived for this project, so that
it checks arithmetic and not the world. Drops go through the solver; tests of the program's own wires go through the
wire of a circuit file.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from published import FOOT_M, SHORT, drop, small

from troubleshoot.circuit import Setup
from troubleshoot.parts.copper import COPPER_OHM_M
from troubleshoot.parts.wire import Wire, ohm_per_m, wire_ohm
from troubleshoot.solve.cases import Bench, Case
from troubleshoot.units import Gauge

PER_KFT = 1000 * FOOT_M


def awg(size: int | str) -> Gauge:
    return Gauge.read(f"{size} AWG")


def mm2(area: float) -> Gauge:
    return Gauge.read(f"{area:g} mm²")


def figures(value: float, like: str) -> str:
    """The value written with as many decimals as the printed one."""
    return f"{value:.{len(like.partition('.')[2])}f}"


def to_the_last_figure(printed: str) -> Any:
    """The printed value, with a little more than half of its last figure either way."""
    return pytest.approx(float(printed), abs=0.6 * 10.0 ** -len(printed.partition(".")[2]))


# ---- sizes: ASTM B258

# Diameters and areas follow from ASTM B258's formula (liquisearch.com/american_wire_gauge/formula), to the four
# figures of trade tables. Ohms a 1000 ft: hyperphysics.phy-astr.gsu.edu/hbase/tables/wirega.html, the same as in NBS
# Handbook 100. mohm/m: self-made, from copper's 1/58.
AWG = [
    (8, "3.264", "8.366", "2.061", "0.6282"),
    (10, "2.588", "5.261", "3.277", "0.9989"),
    (12, "2.053", "3.309", "5.211", "1.588"),
    (14, "1.628", "2.081", "8.285", "2.525"),
    (16, "1.291", "1.309", "13.17", "4.016"),
    (18, "1.024", "0.823", "20.95", "6.385"),
    (20, "0.812", "0.518", "33.31", "10.15"),
]


@pytest.mark.parametrize(("size", "mm", "area_mm2"), [row[:3] for row in AWG], ids=lambda v: f"ASTM B258: {v}")
def test_an_awg_number_has_the_tables_diameter_and_area(size: int, mm: str, area_mm2: str) -> None:
    area = awg(size).area_m2 * 1e6
    assert figures(math.sqrt(4 * area / math.pi), mm) == mm
    assert figures(area, area_mm2) == area_mm2


def test_awg_diameters_are_39_equal_steps_from_5_mil_to_460_mil() -> None:
    # ASTM B258's definition: 36 AWG is 0.005 in, 4/0 is 0.46 in, each size 92^(1/39) = 1.1229322 of the next
    sizes = ["4/0", "3/0", "2/0", "1/0", *range(1, 37)]
    mils = np.array([math.sqrt(4 * awg(size).area_m2 / math.pi) / 25.4e-6 for size in sizes])
    assert (mils[0], mils[-1]) == pytest.approx((460, 5), rel=1e-9)
    assert mils[:-1] / mils[1:] == pytest.approx(1.1229322, abs=5e-8)


# ---- ohms: IEC 60028, NBS Handbook 100, IEC 60228


def test_copper_is_that_of_the_standard() -> None:
    # IEC 60028: annealed copper at 20 °C has 1/58 ohm·mm²/m; printed as 0.017241
    assert figures(COPPER_OHM_M * 1e6, "0.017241") == "0.017241"


@pytest.mark.parametrize(
    ("size", "mohm_per_m", "ohm_per_kft"), [(s, m, k) for s, _, _, m, k in AWG], ids=lambda v: f"NBS Handbook 100: {v}"
)
def test_solid_copper_by_awg_number_has_the_tables_ohms(size: int, mohm_per_m: str, ohm_per_kft: str) -> None:
    assert wire_ohm(awg(size), 1.0) * 1e3 == to_the_last_figure(mohm_per_m)
    assert wire_ohm(awg(size), PER_KFT) == to_the_last_figure(ohm_per_kft)


METRIC = [  # mm², ideal (self-made: rho/A), IEC 60228 class 5 (cable makers' copies), ISO 6722-1 (memory; 1.5 printed)
    (0.5, "34.5", 39.0, 37.1),
    (0.75, "23.0", 26.0, 24.7),
    (1, "17.2", 19.5, 18.5),
    (1.5, "11.5", 13.3, 12.7),
    (2.5, "6.90", 7.98, 7.60),
    (4, "4.31", 4.95, 4.71),
    (6, "2.87", 3.30, 3.14),
]


@pytest.mark.parametrize(("area", "ideal", "class_5", "iso_6722"), METRIC, ids=lambda v: f"IEC 60228: {v}")
def test_flexible_metric_wire_has_the_tables_ohms(area: float, ideal: str, class_5: float, iso_6722: float) -> None:
    here = ohm_per_m(mm2(area)) * 1e3
    assert here == pytest.approx(class_5, rel=1e-9)
    assert figures(COPPER_OHM_M / mm2(area).area_m2 * 1e3, ideal) == ideal
    # the road-vehicle cable standard allows some 5 % less, so our wire errs towards more drop
    assert 1.04 < here / iso_6722 < 1.06


@pytest.mark.parametrize(
    ("area", "mohm_per_m"),
    [(10, 1.91), (16, 1.21), (25, 0.780)],
    ids=lambda value: f"IEC 60228 class 5 (memory): {value:g}",
)
def test_metric_wire_outside_the_table_comes_within_a_tenth(area: float, mohm_per_m: float) -> None:
    assert wire_ohm(mm2(area), 1.0) * 1e3 == pytest.approx(mohm_per_m, rel=0.1)


STRANDED = [  # ohm a 1000 ft
    (4, 0.28, "FAA AC 43.13-1B tables 11-7 and 11-8, tinned aircraft wire"),
    (6, 0.44, "FAA AC 43.13-1B tables 11-7 and 11-8, tinned aircraft wire"),
    (10, 1.26, "FAA AC 43.13-1B tables 11-7 and 11-8, tinned aircraft wire"),
    (12, 2.02, "FAA AC 43.13-1B tables 11-7 and 11-8, tinned aircraft wire"),
    (14, 3.06, "FAA AC 43.13-1B tables 11-7 and 11-8, tinned aircraft wire"),
    (16, 4.99, "a web page, building wire"),
]


@pytest.mark.parametrize(("size", "ohm_per_kft", "source"), STRANDED, ids=[f"{s}: {n} AWG" for n, _, s in STRANDED])
def test_stranded_wire_has_up_to_a_third_more_than_our_solid_copper(size: int, ohm_per_kft: float, source: str) -> None:
    assert 1.0 < ohm_per_kft / wire_ohm(awg(size), PER_KFT) < 1.34


# ---- warmth


@pytest.mark.parametrize("celsius", [-40.0, 0.0, 20.0, 60.0, 85.0])
def test_wire_warms_as_the_zero_resistance_temperature_says(celsius: float) -> None:
    # NBS Handbook 100: 0.00393 a kelvin at 20 °C; the same as R2/R1 = (234.5 + T2)/(234.5 + T1)
    fields = {"name": "hot", "from": "a.b", "to": "c.d", "gauge": "14 AWG", "length": "3 m"}
    wire = Wire.model_validate(fields | {"temperature": f"{celsius:g} °C"})
    cold = Wire.model_validate(fields)
    assert wire.ohm / cold.ohm == pytest.approx((234.5 + celsius) / (234.5 + 20), rel=1e-3)


def test_a_hot_wire_must_be_shorter_by_the_advisory_circulars_formula() -> None:
    # FAA AC 43.13-1B p. 11-22: L2 = 254.5·L1/(234.5 + T2); 20 ft at 60 °C come to 17.28 ft (self-made example)
    assert f"{254.5 * 20 / (234.5 + 60):.2f}" == "17.28"
    assert wire_ohm(awg(12), 17.28 * FOOT_M, 60) == pytest.approx(wire_ohm(awg(12), 20 * FOOT_M), rel=1e-3)


# ---- drops along a run

FAA = [  # ohm/ft, ft, A, volts, of FAA AC 43.13-1B tables 11-7 and 11-8
    (0.00044, 107, 20, "0.942"),
    (0.00028, 90, 20, "0.504"),
    (0.00306, 100, 20, "6.12"),
    (0.00126, 39, 20, "0.98"),
    (0.00126, 156, 20, "3.93"),
    (0.00126, 273, 20, "6.88"),
]
FAA_SLIPS = [  # the same, and what is printed there: no other row is off by more than its last figure
    (0.00202, 88, 20, "3.555", 3.60),
    (0.00126, 19.5, 20, "0.491", 0.366),
]


@pytest.mark.parametrize(("ohm_per_ft", "feet", "amps", "volts"), FAA, ids=[f"FAA AC 43.13-1B, {r[3]} V" for r in FAA])
def test_the_advisory_circulars_drops_come_out(ohm_per_ft: float, feet: float, amps: float, volts: str) -> None:
    assert drop(ohm_per_ft * feet, amps) == to_the_last_figure(volts)


@pytest.mark.parametrize(
    ("ohm_per_ft", "feet", "amps", "volts", "slip"),
    FAA_SLIPS,
    ids=[f"FAA AC 43.13-1B, printed slip {row[4]} V" for row in FAA_SLIPS],
)
def test_two_printed_drops_of_the_advisory_circular_are_slips(
    ohm_per_ft: float, feet: float, amps: float, volts: str, slip: float
) -> None:
    assert figures(drop(ohm_per_ft * feet, amps), volts) == volts
    assert abs(slip - float(volts)) > 0.04


@pytest.mark.parametrize(
    ("size", "volts", "most", "too_thin"),
    [(10, "0.210", 0.03, 14), (16, "0.843", 0.10, 18)],
    ids=["ABYC table, 3 % (volts self-made)", "ABYC table, 10 % (volts self-made)"],
)
def test_the_bilge_pump_wires_of_the_boat_table_keep_its_limit(
    size: int, volts: str, most: float, too_thin: int
) -> None:
    # 12 V, 10 A, 11 ft there and 10 ft back, as printed in a chandler's catalogue, pages 52-53
    assert figures(bilge_drop(size), volts) == volts
    assert bilge_drop(size) <= most * 12 < bilge_drop(too_thin)


def bilge_drop(size: int) -> float:
    """Volts lost in the two wires of a bilge pump of 10 A, of the whole circuit solved."""
    there, back = (f"gauge: {size} AWG, length: {feet * FOOT_M} m" for feet in (11, 10))
    network = small(
        12.0,
        {"pump": "kind: pump, back_emf: 0 V, resistance: 1 ohm, winding_resistance: 1 ohm, start_voltage: 1 V, "
                 "plug_contact: 0.001 mohm"},
        {"feed": ("supply.pos", "pump.plus", there), "ground": ("pump.minus", "supply.neg", back)},
    )  # fmt: skip
    bench = Bench(network, [Case()])
    solved = bench.solved(Setup("off"))
    amps = solved.currents()[0, network.branch_at["pump.motor"]]
    volts = solved.volts[0]
    lost = 12.0 - (volts[bench.node_at["pump.plus"]] - volts[bench.node_at["pump.minus"]])
    return float(lost / amps * 10.0)


def test_the_boat_tables_thicker_wire_is_what_tinned_strands_need() -> None:
    # the solid copper of 12 AWG would keep 3 % (self-made); tinned wire of FAA AC 43.13-1B does not
    assert drop(wire_ohm(awg(12), 21 * FOOT_M), 10) < 0.36 < drop(2.02 / PER_KFT * 21 * FOOT_M, 10)


@pytest.mark.parametrize(
    ("printed_ohm", "amps", "volts", "share", "ours", "near"),
    [
        pytest.param(5 * 0.0127, 4.17, "0.265", "2.21", wire_ohm(mm2(1.5), 5), 0.05,
                     id="midmarchartsbooks.org size-cable-chart, 1.5 mm²"),
        pytest.param(40 * 0.01785 / 1.3, 1.0, "0.549", "4.58", wire_ohm(awg(16), 40), 0.05,
                     id="doityourselfsolarenergyprojects.blogspot.com 2010/11, 16 AWG"),
        pytest.param(30 * 0.025 / 100, 100.0, "0.75", "6.25", wire_ohm(awg(4), 30 * FOOT_M), 0.01,
                     id="audio reference page, 4 AWG"),
        pytest.param(200 * 4.99 / 1000, 4.0, "4.0", "33.3", wire_ohm(awg(16), 200 * FOOT_M), 0.20,
                     id="a web page, No. 16 building wire, 2 × 100 ft"),
    ],
)  # fmt: skip
def test_published_cable_drops_come_out(
    printed_ohm: float, amps: float, volts: str, share: str, ours: float, near: float
) -> None:
    """With the printed ohms exactly; with our own wire of that size as near as strands and tin allow."""
    lost = drop(printed_ohm, amps)
    assert figures(lost, volts) == volts
    assert lost / 12 * 100 == pytest.approx(float(share), rel=3e-3)
    assert drop(ours, amps) == pytest.approx(lost, rel=near)


def test_the_thicker_cable_of_the_audio_page_comes_out() -> None:
    # 100 A, 15 ft each way: 0 AWG is printed with 0.30 V
    feed = {"feed": ("supply.pos", "load.in", f"gauge: 1/0 AWG, length: {15 * FOOT_M} m"),
            "ground": ("load.out", "supply.neg", f"gauge: 1/0 AWG, length: {15 * FOOT_M} m"),
            "lamp_feed": ("supply.pos", "lamp.plus", SHORT),
            "lamp_ground": ("lamp.minus", "supply.neg", SHORT)}  # fmt: skip
    network = small(12.0, {"load": "kind: load, resistance: 0.117 ohm",
                           "lamp": "kind: lamp, watts: 5 W, plug_contact: 1 mohm"}, feed)  # fmt: skip
    solved = Bench(network, [Case()]).solved(Setup("off"))
    amps = solved.currents()[0]
    lost = 12.0 - amps[network.branch_at["load.load"]] * 0.117
    assert amps[network.branch_at["feed"]] == pytest.approx(100, rel=1e-3)
    assert lost == pytest.approx(0.30, rel=0.03)  # 0.295 with our solid copper
