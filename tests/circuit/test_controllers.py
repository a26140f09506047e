"""A controller's command: when it is there, what it needs, what its monitor input does to an open wire, and when a
coil may be grounded by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from wired import CRANKING, ON, PRIME, Stand, controlled, pump_on_relay, wire_name

from troubleshoot.circuit import Setup, list_checks

KEYS = ("off", "accessory", "prime", "on", "cranking", "running", "remote")
RELAY_OUT = Setup("on", frozenset({"relay"}))


def runs_in(stand: Stand) -> list[str]:
    """The key states in which the pump turns."""
    return [key for key in KEYS if stand.bent("pump.motor", Setup(key)) == 1]


@pytest.mark.parametrize("drives", ["ground", "feed"])
def test_a_controller_primes_the_pump_and_then_runs_it_only_while_the_engine_turns(drives: str) -> None:
    """About 2 s at key-on, then only with cranking or running (trade-facts section 11, controller rows)."""
    stand = Stand(controlled(drives))
    assert stand.net.circuit.keys == KEYS
    assert runs_in(stand) == ["prime", "cranking", "running", "remote"]


def test_a_controller_that_does_not_prime_has_no_such_key_state() -> None:
    stand = Stand(controlled(prime="0 s"))
    assert stand.net.circuit.keys == tuple(key for key in KEYS if key != "prime")
    assert stand.bent("pump.motor", ON) == 0
    assert stand.bent("pump.motor", CRANKING) == 1


def test_the_command_shows_as_ground_on_the_coil_in_the_first_two_seconds_and_as_battery_volts_then() -> None:
    """trade-facts section 11: about 0 to 1 V in the first 2 s, then battery volts."""
    stand = Stand(controlled())
    assert 0 <= stand.volts("relay.85", PRIME) < 1
    assert stand.volts("relay.85", ON) == pytest.approx(12.5, abs=0.2)
    assert stand.volts("relay.86", ON) == pytest.approx(12.5, abs=0.2)
    missing = Stand(controlled(), "controller:no-command")
    assert missing.volts("relay.85", PRIME) == pytest.approx(12.5, abs=0.2)
    assert runs_in(missing) == []


def test_an_output_that_stays_on_runs_the_pump_with_the_key_just_on() -> None:
    for drives in ("ground", "feed"):
        assert "on" in runs_in(Stand(controlled(drives), "controller:always-on"))


@pytest.mark.parametrize("drives", ["ground", "feed"])
@pytest.mark.parametrize(
    "wire", [wire_name("coil_fuse.out", "controller.feed"), wire_name("controller.ground", "bolt.stud")]
)
def test_a_controller_without_its_own_feed_or_ground_gives_no_command(drives: str, wire: str) -> None:
    assert runs_in(Stand(controlled(drives), f"{wire}:bad", math.inf)) == []


def test_a_controller_works_from_its_own_volts_up() -> None:
    """40 ohm that wake at 6 V: 36 ohm in its feed leave it 6.5 V at key-on; 60 ohm leave 5 V."""
    wire = wire_name("coil_fuse.out", "controller.feed")
    assert "prime" in runs_in(Stand(controlled(), f"{wire}:bad", 36.0))
    assert runs_in(Stand(controlled(), f"{wire}:bad", 60.0)) == []


# ---- monitor


def test_an_open_wire_on_the_monitor_input_floats_at_a_few_volts() -> None:
    """5 V behind 10 kohm, as it is drawn (invented, of ordinary size)."""
    net = controlled(monitor=True)
    open_wire = Stand(net, f"{wire_name('controller.monitor', 'junction.in')}:bad", math.inf)
    assert open_wire.volts("controller.monitor", ON) == pytest.approx(5.0, abs=0.1)
    assert abs(Stand(net).volts("controller.monitor", ON)) < 0.1  # the pump's 0.7 ohm hold it down
    assert open_wire.volts("controller.monitor", Setup("off")) < 0.1


def test_with_the_pump_unplugged_its_dead_feed_reads_the_monitors_volts_and_is_not_fed() -> None:
    unplugged = Setup("on", frozenset({"pump"}))
    stand = Stand(controlled(monitor=True))
    assert stand.volts("pump.plus", unplugged) == pytest.approx(5.0, abs=0.1)
    assert not stand.pulled("relay", unplugged)


def test_a_monitor_input_is_dead_while_its_controller_is() -> None:
    dead = Stand(controlled(monitor=True), f"{wire_name('coil_fuse.out', 'controller.feed')}:bad", math.inf)
    assert abs(dead.volts("pump.plus", Setup("on", frozenset({"pump"})))) < 0.5


# ---- ground by hand


def test_a_ground_by_hand_is_offered_only_where_a_controller_grounds_the_coil() -> None:
    """trade-facts section 9: never on a coil that is fed by a controller: it shorts the output."""
    for net, offered in ((controlled(), True), (controlled("feed"), False), (pump_on_relay(), False)):
        assert any(fitting.name == "ground@relay" for fitting in net.fittings) is offered
        assert any("ground@relay" in check.setup.fitted for check in list_checks(net)) is offered


def test_the_readings_wanted_before_a_ground_by_hand_are_checks_and_a_healthy_car_passes_them() -> None:
    """trade-facts section 9: battery volts with the relay in, about 0 with it out, the other coil end the feed."""
    net = controlled()
    checks = {check.id: check for check in list_checks(net)}
    by_hand = [check for check in checks.values() if "ground@relay" in check.setup.fitted]
    assert {check.about for check in by_hand} == {"click:relay", "runs:pump"}
    stand = Stand(net)
    for check in by_hand:
        wanted = {(w.check, w.low, w.high) for w in check.after}
        assert {checks[name].red for name, _, _ in wanted} == {"relay.85", "relay.86"}
        assert {checks[name].setup for name, _, _ in wanted} == {ON, RELAY_OUT}
        for name, low, high in wanted:
            assert low <= stand.reads(checks[name].red, checks[name].setup) <= high, name


@pytest.mark.parametrize(
    ("fault", "severity"),
    [
        ("relay:coil-open", None),
        ("controller:always-on", None),
        ("relay:coil-two-feeds", None),
        ("relay:coil-two-grounds", None),
        (f"{wire_name('ignition.15', 'relay.86')}:bad", math.inf),
    ],
)
def test_a_ground_by_hand_is_not_allowed_where_a_reading_forbids_it(fault: str, severity: float | None) -> None:
    """Where the terminal does not read battery volts through the coil, or reads them without it."""
    net = controlled()
    checks = {check.id: check for check in list_checks(net)}
    stand = Stand(net, fault, severity)
    check = next(c for c in checks.values() if "ground@relay" in c.setup.fitted)
    shown = [(stand.reads(checks[w.check].red, checks[w.check].setup), w) for w in check.after]
    assert any(not w.low <= volts <= w.high for volts, w in shown)


def test_a_ground_by_hand_pulls_the_relay_in_where_only_the_command_is_missing() -> None:
    by_hand = replace(ON, fitted=frozenset({"ground@relay"}))
    stand = Stand(controlled(), "controller:no-command")
    assert stand.pulled("relay", by_hand)
    assert stand.bent("pump.motor", by_hand) == 1
    assert stand.amps("ground@relay.lead", by_hand) < 0.3  # of its 2 A fuse
