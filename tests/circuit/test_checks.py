"""The checks made from a circuit: each once, each possible, none that a good mechanic would refuse."""

from __future__ import annotations

from pathlib import Path

import pytest

from troubleshoot.circuit import Check, Network, Setup, list_checks, wire_up
from troubleshoot.circuit.check_list import list_setups
from troubleshoot.circuit.setups import key_before, setup_before
from troubleshoot.files.circuit_file import load_circuit

SHIPPED = Path(__file__).parents[2] / "trees" / "pump-on-ignition-feed"


@pytest.fixture(scope="module")
def network() -> Network:
    return wire_up(load_circuit(SHIPPED))


@pytest.fixture(scope="module")
def checks(network: Network) -> list[Check]:
    return list_checks(network)


def test_check_ids_are_unique(checks: list[Check]) -> None:
    assert len(checks) > 100
    assert len({check.id for check in checks}) == len(checks)


def test_no_two_checks_are_the_same_thing(checks: list[Check]) -> None:
    done = {(check.setup, check.red, check.black, check.function, check.wire, check.about) for check in checks}
    assert len(done) == len(checks)


def test_no_ohms_are_read_with_the_battery_connected(network: Network, checks: list[Check]) -> None:
    ohms = [check for check in checks if check.is_ohms]
    assert ohms
    for check in ohms:
        assert check.setup.key == "off"
        assert network.circuit.battery in check.setup.removed


def test_no_volts_are_read_with_the_battery_off(network: Network, checks: list[Check]) -> None:
    for check in checks:
        if check.kind == "reading" and not check.is_ohms:
            assert network.circuit.battery not in check.setup.removed


def test_no_blade_is_probed_while_its_part_is_fitted(checks: list[Check]) -> None:
    blades = [(check, end) for check in checks for end in (check.red, check.black) if end.endswith(".blade")]
    assert blades
    for check, end in blades:
        assert end.partition(".")[0] in check.setup.removed, check.id


def test_every_reading_is_between_two_points_that_one_can_touch(network: Network, checks: list[Check]) -> None:
    for check in checks:
        if check.kind == "reading" and not check.wire:
            assert check.red != check.black
            assert {check.red, check.black} <= network.point_at.keys(), check.id


def test_every_observation_has_answers_to_choose_from_and_a_part_to_look_at(
    network: Network, checks: list[Check]
) -> None:
    observations = [check for check in checks if check.kind == "observation"]
    kinds = {check.about.partition(":")[0] for check in observations}
    assert kinds == {"click", "numbers", "runs", "flows", "whole", "hot", "lamp", "wiggle", "swap"}
    fittings = {fitting.name for fitting in network.fittings}
    wires = {wire.name for wire in network.circuit.wires}
    for check in observations:
        assert len(set(check.answers)) >= 2
        assert check.about.partition(":")[2] in network.circuit.parts.keys() | fittings | wires


def test_what_is_taken_out_for_a_check_is_a_part_that_comes_out(network: Network, checks: list[Check]) -> None:
    parts = network.circuit.parts
    (unplug,) = network.circuit.unplugged_to_crank
    for check in checks:
        for name in check.setup.removed:
            assert parts[name].kind in ("battery", "relay", "pump", "fuse") or name == unplug


def test_cranking_for_a_reading_always_prevents_the_start(network: Network, checks: list[Check]) -> None:
    cranking = [check for check in checks if check.setup.key == "cranking"]
    assert cranking
    assert all(network.circuit.unplugged_to_crank <= check.setup.removed for check in cranking)


def test_every_check_is_in_a_setup_that_is_listed(network: Network, checks: list[Check]) -> None:
    assert {check.setup for check in checks} <= set(list_setups(network))


@pytest.mark.parametrize(
    ("key", "before"),
    [
        ("off", "off"),
        ("accessory", "off"),
        ("on", "accessory"),
        ("cranking", "on"),
        ("running", "cranking"),
        ("remote", "on"),
    ],
)
def test_the_key_state_before(network: Network, key: str, before: str) -> None:
    assert key_before(network.circuit, Setup(key)) == before


def test_what_prevents_the_start_is_still_plugged_in_before_cranking(network: Network) -> None:
    out = network.circuit.unplugged_to_crank
    assert out
    assert setup_before(network.circuit, Setup("cranking", out)) == Setup("on")


def test_checks_are_made_only_in_the_key_states_that_the_circuit_has(network: Network, checks: list[Check]) -> None:
    assert "prime" not in network.circuit.keys  # no controller
    assert {check.setup.key for check in checks} <= set(network.circuit.keys)


def test_both_ends_of_the_coil_and_the_contact_are_read_with_the_key_on(checks: list[Check]) -> None:
    ids = {check.id for check in checks}
    for terminal in ("30", "85", "86", "87"):
        assert f"relay.{terminal} to battery.neg volts on" in ids
    assert "relay.86 to relay.85 volts on" in ids
    assert "relay.87 to relay.30 volts on" in ids
    assert "pump.plus to pump.minus volts on" in ids
