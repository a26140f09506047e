"""A severity is a fault only where it does something (decision 6): the cells against circuits solved here."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from troubleshoot.circuit.network import Network
from troubleshoot.circuit.setups import Setup
from troubleshoot.expect.cells import NOTHING_WRONG, severity_range
from troubleshoot.expect.table import Table
from troubleshoot.parts.branch import Fault
from troubleshoot.solve.cases import OPEN, Bench, Case

TAKES_V = 0.2
IN_DANGER = 1.25
DRAWS_MORE = 1.3
TAKES_LESS = 0.8
SETUPS = (Setup("off"), Setup("on"), Setup("cranking", frozenset({"ignition_module"})), Setup("on", warm=True))


def does_something(network: Network, fault: Fault, severity: float) -> bool:
    """0.2 V less at the pump, a device that acts otherwise, a coil near its pull-in or drawing a third more."""
    bench = Bench(network, [Case(), Case(fault, severity)])
    relays, pump = bench.devices.relays, network.branch_at["pump.motor"]
    here = [device.name for device in network.relays].index("relay")
    for setup in SETUPS:
        state, chatters = bench.settled(setup)
        solved = bench.solved(setup)
        across = np.abs(solved.net.across(solved.volts)[:, [pump]])
        amps = np.abs(solved.currents()[:, relays.coil[[here]]])
        drive = amps * relays.turns[:, [here]] / relays.pull_in_a[:, [here]]
        turning = state.bent[:, [b.branch for b in network.bends].index("pump.motor")]
        bits = np.hstack([state.pulled[:, [here]], state.blown, turning[:, None]])
        if (across[0] - across[1] > TAKES_V).any() or (bits[0] != bits[1]).any() or chatters[1]:
            return True
        if (drive[1] < IN_DANGER).any() and (drive[0] >= IN_DANGER).all():
            return True
        if (amps[1] > DRAWS_MORE * amps[0] + 1e-3).any():
            return True
        taken = np.abs(solved.currents()[:, pump])  # a worn pump takes less at full volts
        if taken[1] < TAKES_LESS * taken[0] - 0.05:
            return True
    return False


def test_no_cell_has_a_severity_that_does_nothing(table: Table) -> None:
    wrong = []
    lightest: dict[str, tuple[Fault, float]] = {}
    for cell in table.cells:
        if cell.severity and cell.severity != OPEN and cell.fault.name not in lightest:
            lightest[cell.fault.name] = (cell.fault, cell.severity)
    for fault, severity in lightest.values():
        if not does_something(table.network, fault, severity):
            wrong.append((fault.name, severity))
    assert not wrong
    assert len(lightest) > 20


@pytest.fixture(scope="module")
def ranges(table: Table) -> dict[Fault, tuple[float, float]]:
    return severity_range(table.network)


@pytest.mark.parametrize(
    "name", ["pump_ground:bad", "relay.30:bad", "fused_feed:bad", "coil_ground:bad", "pump_bolt:bad-joint"]
)
def test_what_is_lighter_than_the_lightest_cell_is_harmless(
    table: Table, ranges: dict[Fault, tuple[float, float]], fault_named: Callable[[str], Fault], name: str
) -> None:
    low, high = ranges[fault_named(name)]
    assert does_something(table.network, fault_named(name), low)
    assert does_something(table.network, fault_named(name), high)
    assert not does_something(table.network, fault_named(name), low / 2.2)  # a little over one step of the grid


def test_five_amperes_or_more_make_hundredths_of_an_ohm_a_fault(
    ranges: dict[Fault, tuple[float, float]], fault_named: Callable[[str], Fault]
) -> None:
    """0.2 V at this pump's 6 A is 0.03 ohm; in the coil's wires, at 0.15 A, the same ohms are nothing."""
    assert 0.01 < ranges[fault_named("pump_ground:bad")][0] < 0.1
    assert ranges[fault_named("coil_ground:bad")][0] > 1.0


def test_joints_of_other_loads_that_cannot_hurt_the_pump_are_no_suspects(table: Table) -> None:
    named = set(table.names)
    assert not named & {"radio_feed:bad", "gauge_feed:bad", "gauge_ground:bad", "charge_wire:bad", "module_feed:bad"}
    assert {"pump_ground:bad", "relay:coil-open", "main_fuse:blown", "body_strap:bad"} <= named


def test_the_weights_are_a_distribution_with_the_healthy_circuit_first(table: Table) -> None:
    assert table.cells[0].fault is NOTHING_WRONG
    assert table.weight.sum() == pytest.approx(1.0)
    assert (table.weight > 0).all()


def test_an_open_joint_has_the_share_of_its_fault_that_the_part_says(table: Table) -> None:
    for name in ("pump_ground:bad", "relay.30:bad", "coil_feed:bad"):
        cells = [cell for cell in table.cells if cell.fault.name == name]
        share = sum(c.weight for c in cells if c.severity == OPEN) / sum(c.weight for c in cells)
        severity = cells[0].fault.severity
        assert severity
        assert share == pytest.approx(severity.open_share)
