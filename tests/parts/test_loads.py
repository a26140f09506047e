"""Lamp, horn, fan, motor, diode and bench supply by themselves: each on an ideal supply, against its own figures."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from wired import Stand, network, wire_name

from troubleshoot.circuit import Network, Setup
from troubleshoot.parts.lamp import COLD, EXPONENT, RATED_V

OFF = Setup("off")


def on_supply(part: str, volts: float, limit_a: float = 1e4, backwards: bool = False, **fields: object) -> Stand:
    """A part called `it` between the posts of a supply of 1 microhm, in wires of 26.6 mohm together."""
    plus, minus = ("minus", "plus") if backwards else ("plus", "minus")
    return Stand(network(
        {"supply": {"kind": "supply", "voltage": f"{volts} V", "limit": f"{limit_a} A",
                    "internal_resistance": "1 uohm"}, "it": {"kind": part} | fields},
        [f"supply.pos it.{plus}", f"it.{minus} supply.neg"],
    ))  # fmt: skip


def taken(stand: Stand, branch: str) -> tuple[float, float]:
    """Volts and amperes of a branch of the part, as it is drawn from its first to its second end."""
    at = stand.net.branches[stand.net.branch_at[branch]]
    return stand.volts(at.a, OFF, at.b), stand.amps(branch, OFF)


# ---- lamp


def lamp_at(volts: float, watts: float = 55.0) -> tuple[float, float]:
    return taken(on_supply("lamp", volts, watts=f"{watts} W"), "it.filament")


@pytest.mark.parametrize("watts", [5.0, 21.0, 55.0])
def test_a_lamp_draws_the_watts_printed_on_it_at_the_volts_they_are_stated_for(watts: float) -> None:
    """Vehicle lamps state their watts at 13.2 V (from memory); the last few millivolts stay in the wires."""
    volts, amps = lamp_at(RATED_V + watts / RATED_V * 0.0286, watts)
    assert volts == pytest.approx(RATED_V, rel=1e-4)
    assert volts * amps == pytest.approx(watts, rel=2e-4)


@pytest.mark.parametrize("volts", [9.6, 10.5, 11.0, 12.0, 12.6, 14.4])
def test_a_lamps_current_goes_about_as_a_power_of_its_volts(volts: float) -> None:
    """I ~ V^0.55 (from memory, gas-filled lamps); its tangent at the rating is within 3 % from cranking to charging."""
    across, amps = lamp_at(volts)
    law = 55 / RATED_V * (across / RATED_V) ** EXPONENT
    assert amps == pytest.approx(law, rel=0.03)


def test_a_cold_filament_has_a_twelfth_of_its_hot_ohms() -> None:
    """Order of size from memory; an ohmmeter on an unlit 55 W bulb therefore reads about a quarter of an ohm."""
    hot_v, hot_a = lamp_at(RATED_V)
    cold_v, cold_a = lamp_at(0.2)
    assert (cold_v / cold_a) / (hot_v / hot_a) == pytest.approx(COLD, rel=0.02)
    assert 0.2 < cold_v / cold_a < 0.35


def test_a_lamps_current_does_not_jump_where_it_begins_to_glow() -> None:
    seen = [lamp_at(volts / 100) for volts in range(40, 80)]
    (volts, amps) = zip(*seen, strict=True)
    assert all(later > earlier for earlier, later in pairwise(amps))
    steps = [later - earlier for earlier, later in pairwise(amps)]
    assert max(steps) < 0.05, "10 mV more on a 0.26 ohm filament are 0.04 A"
    glows = [on_supply("lamp", v).bent("it.filament", OFF) for v in (0.5, 0.7)]
    assert glows == [0, 1]
    assert volts[0] < 0.52 < volts[-1]


def test_a_lamp_lights_either_way_round() -> None:
    assert on_supply("lamp", 12.0).amps("it.filament", OFF) == pytest.approx(
        -on_supply("lamp", 12.0, backwards=True).amps("it.filament", OFF)
    )


# ---- horn


def test_a_horn_sounds_from_its_volts_up_and_then_draws_less_than_its_coil_would() -> None:
    quiet, sounding = on_supply("horn", 5.0), on_supply("horn", 12.0)
    assert [stand.bent("it.coil", OFF) for stand in (quiet, sounding)] == [0, 1]
    assert quiet.amps("it.coil", OFF) == pytest.approx(5.0 / (0.6 + 0.0286), rel=1e-3)
    assert sounding.amps("it.coil", OFF) == pytest.approx(12.0 / (2.0 + 0.0286), rel=1e-3)


def test_a_horn_whose_points_are_stuck_is_silent_and_draws_all_that_its_coil_lets_through() -> None:
    stuck = Stand(on_supply("horn", 12.0).net, "it:stuck")
    assert stuck.bent("it.coil", OFF) == 0
    assert stuck.amps("it.coil", OFF) == pytest.approx(12.0 / (0.6 + 0.0286), rel=1e-3)


# ---- motors


def test_a_motor_turns_backwards_with_its_wires_exchanged_and_draws_the_same() -> None:
    """trade-facts: a pump with its wires exchanged runs backwards; volts and current look fine."""
    right, wrong = on_supply("pump", 12.0), on_supply("pump", 12.0, backwards=True)
    assert (right.bent("it.motor", OFF), wrong.bent("it.motor", OFF)) == (1, -1)
    assert wrong.amps("it.motor", OFF) == pytest.approx(-right.amps("it.motor", OFF))


@pytest.mark.parametrize(
    ("supply_v", "emf_v", "winding_ohm", "amps"),
    [
        (12.0, 9.0, 6.0, 0.5),  # https://ux1.eiu.edu/~cfadd/1160/Ch21Ind/Emf.html
        (6.0, 4.5, 0.5, 3.0),  # trade-facts section 10 no. 15 (maker or service data)
        (5.5, 4.285, 0.640, 1.9),  # https://www.physicsforums.com/threads/back-emf.221704/
    ],
)
def test_a_motor_draws_what_its_back_emf_leaves_and_stalls_at_its_windings_ohms(
    supply_v: float, emf_v: float, winding_ohm: float, amps: float
) -> None:
    """Worked examples of trade-facts section 10 no. 15; the 28.6 mohm of wires and plug are taken off the winding."""
    fields = {
        "back_emf": f"{emf_v} V",
        "resistance": f"{winding_ohm - 0.0286} ohm",
        "winding_resistance": f"{winding_ohm - 0.0286} ohm",
        "start_voltage": "1 V",
    }
    turning = on_supply("pump", supply_v, **fields)
    assert turning.amps("it.motor", OFF) == pytest.approx(amps, rel=2e-3)
    stalled = Stand(turning.net, "it:seized")
    assert stalled.amps("it.motor", OFF) == pytest.approx(supply_v / winding_ohm, rel=1e-4)


def test_a_motors_current_falls_as_the_supply_falls() -> None:
    """trade-facts section 8: it does not rise as a constant power's would."""
    amps = [on_supply("pump", volts).amps("it.motor", OFF) for volts in (14.2, 12.6, 10.5, 9.0, 7.0)]
    assert amps == sorted(amps, reverse=True)


def test_worn_brushes_take_current_from_a_motor_that_still_has_all_its_volts() -> None:
    good = on_supply("pump", 12.0)
    worn = Stand(good.net, "it:worn", 2.0)
    assert worn.volts("it.plus", OFF, "it.minus") > good.volts("it.plus", OFF, "it.minus") > 11.7
    assert worn.amps("it.motor", OFF) < 0.5 * good.amps("it.motor", OFF)


def test_a_motor_with_a_diode_across_it_shorts_its_feed_when_its_wires_are_exchanged() -> None:
    right, wrong = (on_supply("pump", 12.0, diode=True, backwards=each) for each in (False, True))
    assert abs(right.amps("it.diode", OFF)) < 1e-6
    assert wrong.amps("it.diode", OFF) > 100  # 11.3 V over 30 mohm of diode and 28.6 mohm of wires
    assert abs(wrong.volts("it.plus", OFF, "it.minus")) > 0.7


# ---- fan


def fan_on(pin: str) -> Stand:
    return Stand(network(
        {"supply": {"kind": "supply", "limit": "1000 A", "internal_resistance": "1 uohm"},
         "it": {"kind": "fan", "low_resistance": "0.5 ohm"}},
        [f"supply.pos it.{pin}", "it.minus supply.neg"],
    ))  # fmt: skip


def test_a_fan_turns_slower_on_its_low_pin_by_the_ohms_of_its_dropping_resistor() -> None:
    """By hand: 12 V less 4 V over 0.8 ohm, 28.6 mohm of wires and plug, and for the low speed 0.5 ohm more."""
    high, low = fan_on("plus"), fan_on("low")
    assert high.amps("it.motor", OFF) == pytest.approx(8 / (0.8 + 0.0286), rel=1e-3)
    assert low.amps("it.motor", OFF) == pytest.approx(8 / (0.8 + 0.0286 + 0.5), rel=1e-3)
    assert low.volts("it.plus.blade", OFF, "it.minus.blade") < high.volts("it.plus.blade", OFF, "it.minus.blade") - 2
    assert (high.bent("it.motor", OFF), low.bent("it.motor", OFF)) == (1, 1)


def test_a_burnt_out_dropping_resistor_takes_the_low_speed_alone() -> None:
    for pin, turns in (("plus", 1), ("low", 0)):
        assert Stand(fan_on(pin).net, "it:dropper-open", math.inf).bent("it.motor", OFF) == turns


# ---- diode


def diode_line(forward: bool, volts: float = 12.0) -> Network:
    near, far = ("anode", "cathode") if forward else ("cathode", "anode")
    return network(
        {"supply": {"kind": "supply", "voltage": f"{volts} V"}, "it": {"kind": "diode"},
         "lamp": {"kind": "load", "resistance": "6 ohm"}},
        [f"supply.pos it.{near}", f"it.{far} lamp.in", "lamp.out supply.neg"],
    )  # fmt: skip


def test_a_diode_passes_one_way_with_a_drop_of_about_0_7_volts() -> None:
    """Textbook value for silicon, from memory; 1.8 A here add 0.06 V on its slope."""
    passing = Stand(diode_line(forward=True))
    assert passing.volts("it.anode", OFF, "it.cathode") == pytest.approx(0.7, abs=0.1)
    assert passing.amps("lamp.load", OFF) == pytest.approx((12 - 0.7) / 6.08, rel=0.01)
    assert passing.bent("it.junction", OFF) == 1


def test_a_diode_blocks_the_other_way_and_below_its_drop() -> None:
    for net in (diode_line(forward=False), diode_line(forward=True, volts=0.5)):
        blocking = Stand(net)
        assert abs(blocking.amps("lamp.load", OFF)) < 1e-6
        assert blocking.bent("it.junction", OFF) == 0


def test_a_shorted_diode_passes_both_ways_and_an_open_one_none() -> None:
    for forward in (True, False):
        net = diode_line(forward)
        assert Stand(net, "it:shorted").amps("lamp.load", OFF) > 1.9
        assert abs(Stand(net, "it:open").amps("lamp.load", OFF)) < 1e-6


# ---- bench supply


@pytest.mark.parametrize(("load_ohm", "amps"), [(12.0, 12 / 12.048), (4.0, 12 / 4.048), (1.0, 5.0), (0.2, 5.0)])
def test_a_bench_supply_holds_its_volts_up_to_its_limit_and_then_its_current(load_ohm: float, amps: float) -> None:
    net = network(
        {"supply": {"kind": "supply"}, "load": {"kind": "load", "resistance": f"{load_ohm} ohm"}},
        ["supply.pos load.in", "load.out supply.neg"],
    )  # fmt: skip
    stand = Stand(net)
    assert stand.amps("load.load", OFF) == pytest.approx(amps, rel=0.015)
    folded = stand.bent("supply.output", OFF)
    assert folded == (1 if amps == 5.0 else 0)
    if folded:
        assert stand.volts("supply.pos", OFF) == pytest.approx(5.0 * (load_ohm + 0.0267), rel=0.015)


def test_a_supply_that_folds_back_does_not_blow_the_fuse_that_a_battery_would() -> None:
    """trade-facts section 9: on a class bench a current-limited supply may never blow the fuse."""
    for source, blows in (({"supply": {"kind": "supply"}}, False), ({"supply": {"kind": "battery"}}, True)):
        net = network(
            source | {"fuse": {"kind": "fuse", "rating": "10 A"}, "short": {"kind": "load", "resistance": "50 mohm"}},
            ["supply.pos fuse.in", "fuse.out short.in", "short.out supply.neg"],
        )
        assert Stand(net).blown("fuse", OFF) is blows


def test_a_wire_is_named_by_its_ends_in_these_circuits() -> None:
    assert wire_name("supply.pos", "it.plus") == "supply_pos__it_plus"
