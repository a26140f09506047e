"""What must hold for the checks of every kind of circuit: nothing unsafe, nothing impossible, nothing twice."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from wired import CIRCUITS

from troubleshoot.circuit import Check, Network, list_checks
from troubleshoot.circuit.setups import setup_before


@pytest.fixture(scope="module", params=CIRCUITS)
def network(request: pytest.FixtureRequest) -> Network:
    return CIRCUITS[request.param]()


@pytest.fixture(scope="module")
def checks(network: Network) -> list[Check]:
    return list_checks(network)


def probed(check: Check) -> Iterator[str]:
    """The nodes that a check's probes touch."""
    return (node for node in (check.red, check.black) if node)


def test_no_check_asks_ohms_on_a_live_circuit(network: Network, checks: list[Check]) -> None:
    """US Army TM 10-3930-659-20 and TM 5-3805-255-14 (trade-facts section 9): never on a live circuit."""
    ohms = [check for check in checks if check.is_ohms]
    assert ohms
    for check in ohms:
        assert check.setup.key == "off", check.id
        assert network.circuit.battery in check.setup.removed, check.id
        assert not check.setup.fitted, check.id


def test_no_check_has_a_probe_on_a_mated_blade(checks: list[Check]) -> None:
    """A probe pushed into the front of a socket spreads it (common practice, no source)."""
    blades = [(check, node) for check in checks for node in probed(check) if node.endswith(".blade")]
    assert blades
    for check, node in blades:
        assert node.partition(".")[0] in check.setup.removed, check.id


def test_no_check_pierces_a_wire_or_puts_an_ammeter_in_line(network: Network, checks: list[Check]) -> None:
    wires = {wire.name for wire in network.circuit.wires}
    amps = [check for check in checks if check.function == "amps"]
    assert amps
    for check in checks:
        if check.function == "amps":
            assert check.wire in wires
            assert not list(probed(check))
        elif check.kind == "reading":
            assert set(probed(check)) <= network.point_at.keys()
            assert check.red != check.black


def test_checks_exist_only_in_the_key_states_of_the_circuit(network: Network, checks: list[Check]) -> None:
    assert {check.setup.key for check in checks} <= set(network.circuit.keys)


def test_every_setup_is_reached_from_the_key_off_with_nothing_operated(network: Network, checks: list[Check]) -> None:
    for setup in {check.setup for check in checks}:
        here, steps = setup, 0
        while (before := setup_before(network.circuit, here)) is not None:
            assert before.key in network.circuit.keys
            here, steps = before, steps + 1
            assert steps < 10, setup
        assert here.key == "off"
        assert not here.operated


def test_check_ids_are_unique_and_no_two_checks_are_the_same_thing(checks: list[Check]) -> None:
    done = {(c.setup, c.red, c.black, c.function, c.wire, c.about) for c in checks}
    assert len(done) == len({check.id for check in checks}) == len(checks) > 20


def test_what_a_check_wants_first_is_a_check_itself_and_wants_nothing(checks: list[Check]) -> None:
    by_id = {check.id: check for check in checks}
    for check in checks:
        for wanted in check.after:
            assert not by_id[wanted.check].after, wanted
            assert wanted.low < wanted.high


def test_a_ground_by_hand_comes_only_after_its_readings(checks: list[Check]) -> None:
    for check in checks:
        if any(name.startswith("ground@") for name in check.setup.fitted):
            assert len(check.after) >= 3, check.id


def test_every_observation_has_answers_and_something_to_look_at(network: Network, checks: list[Check]) -> None:
    fittings = {fitting.name for fitting in network.fittings}
    wires = {wire.name for wire in network.circuit.wires}
    for check in checks:
        if check.kind == "observation":
            assert len(set(check.answers)) >= 2, check.id
            assert check.about.partition(":")[2] in network.circuit.parts.keys() | fittings | wires, check.id


def test_what_is_fitted_can_be_fitted_and_stands_where_its_part_is_out(network: Network, checks: list[Check]) -> None:
    """A bulb or leads go into a plug or holder that is empty; a ground by hand leaves the relay in."""
    names = {fitting.name for fitting in network.fittings}
    fitted = [(check, name) for check in checks for name in check.setup.fitted]
    assert fitted
    for check, name in fitted:
        tool, _, part = name.partition("@")
        assert name in names
        assert (part in check.setup.removed) is (tool != "ground"), check.id


def test_while_the_starter_turns_the_start_is_prevented(network: Network, checks: list[Check]) -> None:
    for check in checks:
        if check.setup.key in ("cranking", "remote"):
            assert network.circuit.unplugged_to_crank <= check.setup.removed, check.id
        assert check.setup.key != "running", check.id


def test_what_is_taken_out_for_a_check_is_a_part_that_comes_out(network: Network, checks: list[Check]) -> None:
    for check in checks:
        for name in check.setup.removed:
            kind = network.circuit.parts[name].kind
            assert kind in ("battery", "supply", "relay", "pump", "fuse", "switch") or (
                name in network.circuit.unplugged_to_crank
            ), check.id
