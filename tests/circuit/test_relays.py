"""Relays as they are really fitted: contacts, suppressed coils and their polarity, the other layout, weak coils,
spread contacts. Where a figure is not worked out here, its source is named."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from wired import CRANKING, OFF, ON, RELAY_WIRES, Stand, network, pump_on_relay, rewired, wire_name

from troubleshoot.circuit import Setup

DEAD = Setup("off", frozenset({"battery", "relay", "pump"}))
TOGGLED = Setup("off", operated=frozenset({"toggle"}))


def coil_on_supply(volts: float, series_ohm: float = 0.0, **relay: str) -> Stand:
    """A relay's coil on a supply behind a toggle and, where one is given, a resistance; a lamp on each contact."""
    parts = {
        "supply": {"kind": "supply", "voltage": f"{volts} V", "limit": "100 A", "internal_resistance": "1 uohm"},
        "toggle": {"kind": "switch"}, "relay": {"kind": "relay"} | relay,
        "more": {"kind": "load", "resistance": f"{series_ohm or 1e-6} ohm"},
    }  # fmt: skip
    wires = ["supply.pos toggle.in", "toggle.out more.in", "more.out relay.86", "relay.85 supply.neg",
             "supply.pos relay.30"]  # fmt: skip
    for blade in {"changeover": ("87", "87a"), "two makes": ("87", "87b")}.get(relay.get("contacts", ""), ("87",)):
        parts[f"lamp_{blade}"] = {"kind": "lamp", "watts": "21 W"}
        wires += [f"relay.{blade} lamp_{blade}.plus", f"lamp_{blade}.minus supply.neg"]
    return Stand(network(parts, wires, operate=("toggle",)))


# ---- contacts


@pytest.mark.parametrize(
    ("contacts", "at_rest", "pulled_in"),
    [
        ("make", set(), {"87"}),
        ("changeover", {"87a"}, {"87"}),
        ("two makes", set(), {"87", "87b"}),
    ],
)
def test_a_relays_contacts_light_the_lamps_of_their_numbers(
    contacts: str, at_rest: set[str], pulled_in: set[str]
) -> None:
    """87 make, 87a rest, 87b second make (DIN 72552, trade-facts section 1)."""
    stand = coil_on_supply(12.0, contacts=contacts)
    for setup, lit in ((OFF, at_rest), (TOGGLED, pulled_in)):
        seen = {
            device.name.removeprefix("lamp_")
            for device in stand.net.bends
            if device.name.startswith("lamp_") and stand.bent(device.branch, setup)
        }
        assert seen == lit


def test_with_contacts_welded_a_changeover_keeps_its_rest_contact_open() -> None:
    welded = Stand(coil_on_supply(12.0, contacts="changeover").net, "relay:contacts-welded")
    assert abs(welded.bent("lamp_87.filament", OFF)) == 1
    assert welded.bent("lamp_87a.filament", OFF) == 0


# ---- coil


@pytest.mark.parametrize(
    ("coil_ohm", "pull_in_v", "supply_v", "limit_ohm"),
    [(90, 7.2, 12.6, 67.5), (90, 7.2, 9.6, 30.0), (80, 8.4, 9.6, 11.4)],
)
def test_a_coil_pulls_in_up_to_the_series_resistance_that_leaves_it_its_volts(
    coil_ohm: float, pull_in_v: float, supply_v: float, limit_ohm: float
) -> None:
    """Derived in trade-facts section 11, last rows: R·(E - V)/V."""
    fields = {"coil_resistance": f"{coil_ohm} ohm", "pull_in": f"{pull_in_v} V"}
    assert coil_on_supply(supply_v, limit_ohm - 0.5, **fields).pulled("relay", TOGGLED)
    assert not coil_on_supply(supply_v, limit_ohm + 0.5, **fields).pulled("relay", TOGGLED)


@pytest.mark.parametrize(("celsius", "ohm", "pull_in_v"), [(85.0, 112.98, 8.16), (-40.0, 68.78, 4.97), (20.0, 90, 6.5)])
def test_a_coils_ohms_and_its_pull_in_volts_rise_together_with_its_temperature(
    celsius: float, ohm: float, pull_in_v: float
) -> None:
    """trade-facts section 10 no. 13: inputs 90 ohm and 6.5 V at 20 °C from maker data, the rest derived with NBS
    Handbook 100's 0.00393 a kelvin (−40 °C printed to three figures)."""
    fields = {"coil_resistance": "90 ohm", "pull_in": "6.5 V", "temperature": f"{celsius} °C"}
    out = Setup("off", frozenset({"relay"}))
    assert coil_on_supply(12.0, **fields).ohms("relay.86.blade", "relay.85.blade", out) == pytest.approx(ohm, rel=2e-3)
    assert coil_on_supply(pull_in_v * 1.004, **fields).pulled("relay", TOGGLED)
    assert not coil_on_supply(pull_in_v * 0.996, **fields).pulled("relay", TOGGLED)


def test_a_coil_that_has_worked_for_long_is_as_one_at_85_degrees() -> None:
    """23 °C and 85 °C are where relay makers rate coils (trade-facts section 2)."""
    warm = replace(TOGGLED, warm=True)
    stand, hot = coil_on_supply(12.0), coil_on_supply(12.0, temperature="85 °C")
    assert stand.amps("relay.coil", warm) == pytest.approx(hot.amps("relay.coil", TOGGLED), rel=1e-3)


def test_a_weak_coil_may_pull_in_cold_and_not_warm() -> None:
    """7.2 V times 1.5 are 10.8 V cold, and 13.6 V at 85 °C: more than a resting battery has."""
    weak = Stand(pump_on_relay(), "relay:weak-coil", 1.5)
    warm = replace(ON, warm=True)
    assert weak.pulled("relay", ON)
    assert not weak.pulled("relay", warm)
    assert weak.bent("pump.motor", ON) == 1
    assert weak.bent("pump.motor", warm) == 0
    assert Stand(pump_on_relay()).pulled("relay", warm)


def test_a_weak_coil_holds_through_cranking_from_key_on_but_does_not_pull_in_where_first_fed_then() -> None:
    """trade-facts: pull-in voltage matters while cranking only where the coil is first fed then (start feed)."""
    on_start = rewired("ignition.15 coil_fuse.in", "ignition.50 coil_fuse.in")
    for wires, pulls in ((RELAY_WIRES, True), (on_start, False)):
        weak = Stand(pump_on_relay(wires), "relay:weak-coil", 1.6)
        assert weak.volts("relay.86", CRANKING) < 1.6 * 7.2 < weak.volts("battery.pos", ON)
        assert weak.pulled("relay", CRANKING) is pulls
    assert Stand(pump_on_relay(on_start)).pulled("relay", CRANKING)


def test_a_suppressed_coil_reads_80_and_680_ohm_side_by_side() -> None:
    """71.6 ohm printed on a relay maker's sheet (trade-facts section 10 no. 14)."""
    net = pump_on_relay(coil_resistance="80 ohm", suppression="resistor")
    assert Stand(net).ohms("relay.86.blade", "relay.85.blade", DEAD) == pytest.approx(71.6, abs=0.05)
    opened = Stand(net, "relay:coil-open")
    assert opened.ohms("relay.86.blade", "relay.85.blade", DEAD) == pytest.approx(680, rel=1e-3)  # not OL
    assert not opened.pulled("relay", ON)


# ---- polarity


@pytest.mark.parametrize("suppression", ["none", "resistor"])
def test_a_plain_or_resistor_coil_works_either_way_round(suppression: str) -> None:
    """trade-facts sections 1 and 11: as healthy, 86 and 85 exchanged."""
    net = pump_on_relay(suppression=suppression)
    right, turned = Stand(net), Stand(net, "relay:85-86-exchanged")
    assert right.pulled("relay", ON)
    assert turned.pulled("relay", ON)
    for here, there in (("relay.86", "relay.85"), ("relay.85", "relay.86")):
        assert turned.volts(here, ON) == pytest.approx(right.volts(there, ON), abs=0.01)
    assert turned.amps("relay.coil", ON) == pytest.approx(-right.amps("relay.coil", ON), rel=1e-3)


@pytest.mark.parametrize("plus", ["86", "85"])
def test_a_diode_coil_works_only_with_its_marked_terminal_positive(plus: str) -> None:
    """trade-facts section 1: 86 must be positive in most, and a variant with 85 positive exists."""
    other_way = (*rewired("coil_fuse.out relay.86", "coil_fuse.out relay.85", wires=rewired("relay.85 bolt.stud")),
                 "relay.86 bolt.stud")  # fmt: skip
    for wires, feed in ((RELAY_WIRES, "86"), (other_way, "85")):
        stand = Stand(pump_on_relay(wires, suppression="diode", diode_plus=plus))
        assert stand.pulled("relay", ON) is (feed == plus)
        assert stand.blown("coil_fuse", ON) is (feed != plus)


def test_a_diode_coil_with_its_wires_exchanged_opens_the_control_fuse_at_key_on() -> None:
    """trade-facts section 11: control fuse opens; 0 after the fuse; constant side undisturbed."""
    wrong = Stand(pump_on_relay(suppression="diode"), "relay:85-86-exchanged")
    assert wrong.blown("coil_fuse", ON)
    assert not wrong.blown("fuse", ON)
    assert not wrong.pulled("relay", ON)
    assert abs(wrong.volts("coil_fuse.out", ON, "frame.metal")) < 0.01
    assert wrong.volts("relay.30", ON) == pytest.approx(12.6, abs=0.1)
    assert wrong.bent("pump.motor", ON) == 0


def test_on_a_limited_supply_a_reversed_diode_coil_has_about_a_volt_and_no_fuse_blows() -> None:
    """trade-facts section 11: if the supply is limited only 0.7 to 1 V across the coil; section 9: a supply that folds
    back may never blow the fuse."""
    net = network(
        {"supply": {"kind": "supply", "limit": "5 A"}, "toggle": {"kind": "switch"},
         "fuse": {"kind": "fuse", "rating": "5 A"}, "lamp": {"kind": "lamp", "watts": "5 W"},
         "relay": {"kind": "relay", "suppression": "diode"}},
        ["supply.pos toggle.in", "toggle.out fuse.in", "fuse.out relay.85", "relay.86 supply.neg",
         "supply.pos relay.30", "relay.87 lamp.plus", "lamp.minus supply.neg"],
        operate=("toggle",),
    )  # fmt: skip
    stand = Stand(net)
    assert stand.bent("supply.output", TOGGLED) == 1
    assert not stand.blown("fuse", TOGGLED)
    assert not stand.pulled("relay", TOGGLED)
    assert 0.7 <= stand.volts("relay.85", TOGGLED, "relay.86") <= 1.0


def test_a_digital_meter_reads_a_diode_coil_the_same_both_ways() -> None:
    """Derived in trade-facts section 1: a milliampere through 90 ohm is 0.09 V, so the diode never conducts."""
    stand = Stand(pump_on_relay(suppression="diode"))
    one, other = (stand.ohms(*pair, DEAD) for pair in (("relay.86.blade", "relay.85.blade"),
                                                       ("relay.85.blade", "relay.86.blade")))  # fmt: skip
    assert one == pytest.approx(90, rel=1e-3)
    assert other == pytest.approx(one)


def test_a_shorted_suppression_diode_blows_the_coil_fuse_and_reads_nearly_nothing() -> None:
    shorted = Stand(pump_on_relay(suppression="diode"), "relay:diode-shorted")
    assert shorted.blown("coil_fuse", ON)
    assert shorted.ohms("relay.86.blade", "relay.85.blade", DEAD) < 0.1


# ---- wires in wrong places


def test_with_30_and_87_exchanged_a_four_blade_relay_works_and_only_the_resting_volts_tell() -> None:
    """trade-facts section 11: 0/12.42/10.46 at 30 and 12.60/12.45/10.48 at 87, pump as healthy."""
    net = pump_on_relay()
    right, wrong = Stand(net), Stand(net, "relay:30-87-exchanged")
    assert (right.bent("pump.motor", ON), wrong.bent("pump.motor", ON)) == (1, 1)
    assert wrong.volts("pump.plus", ON) == pytest.approx(right.volts("pump.plus", ON), abs=0.1)
    assert wrong.volts("relay.87", OFF) == pytest.approx(right.volts("relay.30", OFF), abs=1e-3)
    assert right.volts("relay.30", OFF) > 12.5
    assert abs(wrong.volts("relay.30", OFF)) < 1e-3


def test_the_other_layout_keeps_the_relay_in_and_feeds_the_pump_from_the_ignition_circuit() -> None:
    """trade-facts section 11, 30 and 86 in each other's place: battery volts on the coil always, about 140 mA with the
    key off, pump fed through the coil fuse, which is overloaded. Derived there, not published."""
    wrong = Stand(pump_on_relay(), "relay:other-layout")
    assert wrong.pulled("relay", OFF)
    assert wrong.amps("relay.coil", OFF) == pytest.approx(0.140, abs=0.002)
    assert wrong.bent("pump.motor", OFF) == 0
    assert abs(wrong.volts("relay.86", OFF)) < 0.01
    assert wrong.bent("pump.motor", ON) == 1
    assert wrong.amps("coil_fuse.element", ON) > 5.0
    assert wrong.amps("fuse.element", ON) == pytest.approx(0.140, abs=0.003)
    healthy = Stand(pump_on_relay())
    assert not healthy.pulled("relay", OFF)
    assert healthy.amps("coil_fuse.element", ON) == pytest.approx(0.140, abs=0.003)


def test_the_other_layout_is_gone_with_the_relay_out() -> None:
    wrong = Stand(pump_on_relay(), "relay:other-layout")
    out = Setup("on", frozenset({"relay"}))
    assert wrong.volts("relay.30", out) == pytest.approx(Stand(pump_on_relay()).volts("relay.30", out), abs=1e-3)
    assert abs(wrong.amps("relay.coil", out)) < 1e-6


def test_a_coil_with_two_grounds_or_two_feeds_never_pulls_in() -> None:
    for name, volts in (("relay:coil-two-grounds", 0.0), ("relay:coil-two-feeds", 12.5)):
        wrong = Stand(pump_on_relay(), name)
        assert not wrong.pulled("relay", ON)
        assert wrong.volts("relay.86", ON) == pytest.approx(volts, abs=0.15)
        assert wrong.volts("relay.85", ON) == pytest.approx(volts, abs=0.15)


def test_a_wire_on_87a_runs_the_pump_just_when_it_should_stand() -> None:
    """trade-facts section 11: pump runs key-off, stops key-on."""
    wrong = Stand(pump_on_relay(contacts="changeover"), "relay:87a-used-for-87")
    assert (wrong.bent("pump.motor", OFF), wrong.bent("pump.motor", ON)) == (1, 0)


def test_run_and_start_feeds_joined_at_86_turn_the_starter_with_the_key_at_on() -> None:
    """trade-facts: joined without diodes, the run position feeds the starter's solenoid."""
    joined = Stand(pump_on_relay(more={"coil_fuse": {"kind": "fuse", "rating": "30 A"}}), "relay:run-start-joined")
    assert joined.pulled("starter", ON)
    assert joined.amps("starter.motor", ON) > 100
    assert not Stand(pump_on_relay()).pulled("starter", ON)
    assert not joined.pulled("starter", OFF)


# ---- contacts of the socket


@pytest.mark.parametrize("number", ["30", "87", "86", "85"])
def test_a_spread_contact_is_gone_for_a_while_once_the_relay_has_been_pushed_home(number: str) -> None:
    home = replace(ON, reseated=frozenset({"relay"}))
    spread = Stand(pump_on_relay(), f"relay.{number}:spread", math.inf)
    assert (spread.bent("pump.motor", ON), spread.bent("pump.motor", home)) == (0, 1)
    resistive = Stand(pump_on_relay(), f"relay.{number}:spread", 2.0 if number in ("30", "87") else 60.0)
    healthy = Stand(pump_on_relay())
    at = f"relay.{number}"
    assert abs(resistive.volts(at, ON, f"{at}.blade")) > 2
    assert resistive.volts(at, home) == pytest.approx(healthy.volts(at, home), abs=1e-6)


def test_a_bad_wire_stays_bad_when_the_relay_is_pushed_home() -> None:
    home = replace(ON, reseated=frozenset({"relay"}))
    bad = Stand(pump_on_relay(), f"{wire_name('relay.87', 'pump.plus')}:bad", math.inf)
    assert (bad.bent("pump.motor", ON), bad.bent("pump.motor", home)) == (0, 0)
