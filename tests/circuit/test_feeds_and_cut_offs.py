"""Where a feed is taken from, what breaks it, and how a cut-off is got round: by oil pressure on purpose, by a chafe
by accident."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from wired import (
    CRANKING,
    OFF,
    ON,
    PLACES,
    RELAY_WIRES,
    REMOTE,
    Stand,
    oil_backup,
    oil_changeover,
    pump_on_relay,
    rewired,
    switch_alone,
    wire_name,
    with_cut_off,
)  # fmt: skip

from troubleshoot.circuit import Setup, list_checks
from troubleshoot.circuit.setups import cut_offs

KEYS = ("off", "accessory", "on", "cranking", "running", "remote")


def runs_in(stand: Stand) -> list[str]:
    """The key states in which the pump turns."""
    return [key for key in KEYS if stand.bent("pump.motor", Setup(key)) == 1]


@pytest.mark.parametrize(
    ("feed", "runs"),
    [
        ("battery.pos", ["off", "accessory", "on", "cranking", "running", "remote"]),
        ("ignition.15", ["on", "cranking", "running", "remote"]),
        ("ignition.acc", ["accessory", "on", "running", "remote"]),
        ("ignition.50", ["cranking", "remote"]),
    ],
)
def test_a_coil_is_fed_in_the_key_states_of_the_terminal_that_its_feed_is_taken_from(
    feed: str, runs: list[str]
) -> None:
    """15 also while the starter turns (15e), 50 starter control (DIN 72552, trade-facts section 1); an accessory feed
    goes dead exactly while cranking, but not with the engine turned by a remote button, which feeds 50 backwards."""
    assert runs_in(Stand(pump_on_relay(rewired("ignition.15 coil_fuse.in", f"{feed} coil_fuse.in")))) == runs


def test_an_accessory_feed_is_dead_while_cranking_and_live_under_a_remote_button() -> None:
    """trade-facts: turning the engine by a remote starter button with the key on is not cranking by the key."""
    stand = Stand(pump_on_relay(rewired("ignition.15 coil_fuse.in", "ignition.acc coil_fuse.in")))
    assert abs(stand.volts("relay.86", CRANKING, "frame.metal")) < 0.01
    assert stand.volts("relay.86", REMOTE) > 9
    assert stand.pulled("starter", CRANKING)
    assert stand.pulled("starter", REMOTE)


def test_a_wrong_key_position_is_a_fault_for_each_terminal_that_the_feed_is_not_on() -> None:
    net = pump_on_relay()
    coil_feed = wire_name("ignition.15", "coil_fuse.in")
    modes = {fault.mode for fault in net.faults if fault.part == coil_feed}
    assert {"constant-feed", "accessory-feed", "start-feed"} <= modes
    assert "ignition-feed" not in modes
    assert runs_in(Stand(net, f"{coil_feed}:accessory-feed")) == ["accessory", "on", "running", "remote"]


# ---- switches


def test_a_switch_alone_feeds_the_pump_and_the_circuit_knows_no_key() -> None:
    stand, on = Stand(switch_alone()), Setup("off", operated=frozenset({"toggle"}))
    assert stand.net.circuit.keys == ("off",)
    assert (stand.bent("pump.motor", OFF), stand.bent("pump.motor", on)) == (0, 1)
    assert {check.setup.key for check in list_checks(stand.net)} == {"off"}


def test_a_worn_switch_drops_volts_and_a_stuck_one_never_opens() -> None:
    on = Setup("off", operated=frozenset({"toggle"}))
    worn = Stand(switch_alone(), "toggle:worn", 0.5)
    assert worn.volts("toggle.in", on, "toggle.out") == pytest.approx(0.51 * worn.amps("pump.motor", on), rel=0.02)
    assert Stand(switch_alone(), "toggle:stuck-closed").bent("pump.motor", OFF) == 1


@pytest.mark.parametrize("style", ["toggle", "button", "thermal"])
def test_a_hidden_switch_in_the_coils_feed_keeps_the_relay_out_until_it_is_operated(style: str) -> None:
    wires = rewired("coil_fuse.out relay.86", "coil_fuse.out hidden.in", "hidden.out relay.86")
    stand = Stand(pump_on_relay(wires, {"hidden": {"kind": "switch", "style": style}}))
    operated = replace(ON, operated=frozenset({"hidden"}))
    assert (stand.pulled("relay", ON), stand.pulled("relay", operated)) == (False, True)
    assert (stand.pulled("relay", replace(operated, key="cranking"))) is True


# ---- cut-offs


@pytest.mark.parametrize("place", PLACES)
def test_an_inertia_switch_stops_the_pump_from_any_of_its_four_places(place: str) -> None:
    net = with_cut_off(place)
    stand, out = Stand(net), frozenset({"cut_off"})
    assert cut_offs(net.circuit) == ["cut_off"]
    assert runs_in(stand) == ["on", "cranking", "running", "remote"]
    assert all(stand.bent("pump.motor", Setup(key, out)) == 0 for key in KEYS)
    assert runs_in(Stand(net, "cut_off:tripped", math.inf)) == []
    assert any(check.about == "runs:pump" and check.setup.removed == out for check in list_checks(net))


@pytest.mark.parametrize("place", PLACES)
def test_a_tripped_cut_off_has_battery_volts_across_it_only_with_the_load_plugged_in(place: str) -> None:
    """trade-facts section 11: 12.6 V across the switch, load plugged in; about 0 across it unplugged."""
    stand = Stand(with_cut_off(place), "cut_off:tripped", math.inf)
    load = "relay" if place.startswith("coil") else "pump"

    def reads(setup: Setup) -> float:  # a 10 Mohm meter across it
        across, ohm = (of("cut_off.in", "cut_off.out") for of in (
            lambda red, black: stand.volts(red, setup, black), lambda red, black: stand.ohms(red, black, setup),
        ))  # fmt: skip
        return across * 10e6 / (10e6 + ohm)

    assert reads(ON) == pytest.approx(12.5, abs=0.3)
    assert abs(reads(Setup("on", frozenset({load})))) < 2.0


@pytest.mark.parametrize("place", ["coil ground", "load return"])
def test_a_chafe_ahead_of_a_cut_off_in_a_ground_return_leaves_it_without_effect(place: str) -> None:
    """trade-facts and the design: a chafe that bypasses a cut-off in the ground return."""
    net = with_cut_off(place)
    name = wire_name(PLACES[place].split()[0], "cut_off.in")
    out = Setup("on", frozenset({"cut_off"}))
    for ohm in (0.01, 0.2):
        chafed = Stand(net, f"{name}:past-cut-off", ohm)
        assert chafed.bent("pump.motor", ON) == 1
        assert chafed.bent("pump.motor", out) == 1
    assert Stand(net).bent("pump.motor", out) == 0


@pytest.mark.parametrize("place", ["coil feed", "load feed"])
def test_a_chafe_ahead_of_a_cut_off_in_a_feed_is_a_short_and_not_a_way_round(place: str) -> None:
    assert not any(fault.mode == "past-cut-off" for fault in with_cut_off(place).faults)


def test_a_security_contact_keeps_the_circuit_off_and_no_check_unplugs_it() -> None:
    net = with_cut_off("coil feed", "security")
    assert runs_in(Stand(net, "cut_off:open", math.inf)) == []
    live = [check for check in list_checks(net) if "battery" not in check.setup.removed]
    assert live
    assert not any("cut_off" in check.setup.removed for check in live)


# ---- oil pressure


def test_an_oil_changeover_feeds_the_coil_while_cranking_and_with_pressure_and_not_with_the_key_just_on() -> None:
    """Common P, start S, run I (trade-facts section 8, pump makers' instructions)."""
    assert runs_in(Stand(oil_changeover())) == ["cranking", "running", "remote"]


@pytest.mark.parametrize(
    ("fault", "runs"),
    [
        ("oil:start-contact", ["running", "remote"]),
        ("oil:run-contact", ["cranking"]),
        (f"{wire_name('ignition.50', 'oil.S')}:bad", ["running", "remote"]),
        (f"{wire_name('ignition.15', 'oil.I')}:bad", ["cranking"]),
        (f"{wire_name('oil.P', 'coil_fuse.in')}:bad", []),
    ],
)
def test_each_side_of_an_oil_changeover_fails_by_itself(fault: str, runs: list[str]) -> None:
    assert runs_in(Stand(oil_changeover(), fault, math.inf)) == runs


def test_a_changeover_whose_run_contact_sticks_runs_the_pump_with_the_key_on_and_no_pressure() -> None:
    assert "on" in runs_in(Stand(oil_changeover(), "oil:stuck-closed"))


def test_an_oil_backup_keeps_the_pump_running_when_the_relay_has_gone() -> None:
    """trade-facts section 11: pump kept alive by the oil switch when the relay feed is lost (owners' forum)."""
    net = oil_backup()
    assert runs_in(Stand(net)) == ["on", "cranking", "running", "remote"]
    assert runs_in(Stand(net, "relay:coil-open")) == ["running", "remote"]
    assert runs_in(Stand(net, "oil:stuck-closed")) == list(KEYS)
    assert Stand(net).bent("pump.motor", replace(REMOTE, removed=frozenset({"relay"}))) == 1


def test_a_backup_switch_past_an_open_cut_off_in_the_coil_still_feeds_the_pump() -> None:
    """trade-facts: an oil-pressure contact in parallel with the relay can feed the pump past an open cut-off."""
    net = oil_backup()
    open_coil_feed = f"{wire_name('coil_fuse.out', 'relay.86')}:bad"
    assert runs_in(Stand(net, open_coil_feed, math.inf)) == ["running", "remote"]


# ---- grounds


def test_a_ground_on_paint_is_open_and_the_whole_pump_stands_at_battery_volts() -> None:
    painted = Stand(pump_on_relay(rewired("relay.85 bolt.stud", "relay.85 other.stud"),
                                  {"other": {"kind": "ground_bolt"}}), "bolt:painted")  # fmt: skip
    assert painted.bent("pump.motor", ON) == 0
    assert painted.volts("pump.minus", ON) == pytest.approx(painted.volts("pump.plus", ON), abs=0.01)
    assert painted.volts("pump.minus", ON) > 12


def test_a_bad_ground_shared_by_pump_and_coil_lifts_the_coils_ground_too() -> None:
    shared = Stand(pump_on_relay(RELAY_WIRES), "bolt:bad-joint", 0.5)
    assert shared.volts("relay.85", ON) > 1.5
    own = Stand(pump_on_relay(rewired("relay.85 bolt.stud", "relay.85 frame.metal")), "bolt:bad-joint", 0.5)
    assert own.volts("relay.85", ON) < 0.1


def test_a_shared_ground_that_is_open_backfeeds_through_the_coil() -> None:
    """With the bolt open, what is left of the pump's ground is the relay's 90 ohm coil, seen from the other side."""
    shared = Stand(pump_on_relay(), "bolt:bad-joint", math.inf)
    assert not shared.pulled("relay", ON)
    assert shared.volts("pump.minus", ON) == pytest.approx(shared.volts("relay.86", ON), abs=0.05)
