"""What meter, clamp, bulb and leads are expected to show: a table of a few cells against the solver's own values."""

from __future__ import annotations

import math

import numpy as np
import pytest
from wired import ON, Stand, fault, pump_on_relay, wire_name

from troubleshoot.car.car import Car
from troubleshoot.circuit import Check, Network, list_checks
from troubleshoot.expect.cells import NOTHING_WRONG, Cell, no_shift
from troubleshoot.expect.seen import answer_chances
from troubleshoot.expect.table import Table

FEED, PUMP_FEED = wire_name("fuse.out", "relay.30"), wire_name("relay.87", "pump.plus")
PUMP_GROUND = wire_name("pump.minus", "bolt.stud")
FAULTS: list[tuple[str, float | None]] = [
    ("", None), ("fuse:blown", None), (f"{FEED}:bad", 0.5), (f"{FEED}:bad", math.inf), (f"{PUMP_FEED}:shorted", 0.02),
    (f"{PUMP_GROUND}:bad", 1.0), ("pump:open", None), ("pump:seized", None), ("relay:contacts-stuck-open", None),
]  # fmt: skip


@pytest.fixture(scope="module")
def network() -> Network:
    return pump_on_relay()


@pytest.fixture(scope="module")
def table(network: Network) -> Table:
    cells = [
        Cell(fault(network, name) if name else NOTHING_WRONG, severity, 0.0, 1 / len(FAULTS), *no_shift(network))
        for name, severity in FAULTS
    ]
    return Table(network, cells)


def at(name: str, severity: float | None = None) -> int:
    return FAULTS.index((name, severity))


def named(table: Table, check_id: str) -> Check:
    return next(check for check in table.checks if check.id == check_id)


# ---- a floating point


def test_the_low_impedance_input_pulls_a_floating_point_down(table: Table) -> None:
    """With the fuse blown and the key off, 30 hangs on leakage alone: volts on one input, none on the other."""
    usual, low = (
        table.predict(named(table, f"relay.30 to battery.neg {function} off")) for function in ("volts", "low_volts")
    )
    cell = at("fuse:blown")
    assert usual.floats[cell]
    assert usual.mean[cell] > 0.5
    assert not low.floats[cell]
    assert abs(low.mean[cell]) < 0.01


def test_the_low_impedance_input_leaves_a_fed_point_where_it_is(table: Table) -> None:
    usual, low = (
        table.predict(named(table, f"relay.30 to battery.neg {function} off")) for function in ("volts", "low_volts")
    )
    assert usual.mean[at("")] == pytest.approx(12.65, abs=0.01)
    assert low.mean[at("")] == pytest.approx(usual.mean[at("")], abs=1e-3)


def test_a_sampled_car_shows_the_same_on_both_inputs_unless_it_is_dry(network: Network, table: Table) -> None:
    cars = [Car(network, fault(network, "fuse:blown"), None, seed) for seed in range(40)]
    usual, low = (
        [volts_of(car.answer(named(table, f"relay.30 to battery.neg {function} off"))) for car in cars]
        for function in ("volts", "low_volts")
    )
    assert max(map(abs, low)) < 0.01
    dry = [volts for volts in usual if volts < 0.01]
    assert 10 <= len(dry) <= 30
    assert all(volts > 0.05 for volts in usual if volts not in dry)


def volts_of(said: str) -> float:
    number, unit = said.split()
    assert unit == "V"
    return float(number)


def test_a_sampled_cars_meter_is_off_by_no_more_counts_than_its_maker_states(network: Network, table: Table) -> None:
    """Between two points at one potential: ±2 counts of 1 mV (typical maker data), and not always the same."""
    check = named(table, "relay.85 to battery.neg volts off")
    shown = [volts_of(Car(network, None, None, seed).answer(check)) for seed in range(40)]
    assert 0.001 <= max(shown) <= 0.002
    assert -0.002 <= min(shown) <= -0.001


# ---- current


def test_the_clamp_is_expected_to_read_what_flows_in_the_solvers_branch(network: Network, table: Table) -> None:
    clamps = [check for check in table.checks if check.wire]
    assert {check.wire for check in clamps} >= {FEED, PUMP_FEED, PUMP_GROUND}
    for cell, (name, severity) in enumerate(FAULTS):
        stand = Stand(network, name, severity)
        for check in clamps:
            true = stand.amps(check.wire, check.setup)
            assert table.predict(check).mean[cell] == pytest.approx(true, abs=1e-9), (name, check.id)


def test_the_clamp_reads_positive_from_a_wires_first_end_to_its_second(network: Network) -> None:
    stand = Stand(network)
    assert stand.amps(PUMP_FEED, ON) == pytest.approx(stand.amps(PUMP_GROUND, ON), abs=1e-6)
    assert stand.amps(PUMP_FEED, ON) > 5


def test_millivolts_across_a_fuse_are_its_current_times_its_ohms(network: Network, table: Table) -> None:
    predicted = table.predict(named(table, "fuse.in to fuse.out millivolts on"))
    for name, severity in FAULTS:
        if name == "fuse:blown" or "shorted" in name:
            continue  # there it has the battery's volts across it
        amps = Stand(network, name, severity).amps("fuse.element", ON)
        assert predicted.mean[at(name, severity)] == pytest.approx(0.005 * amps, abs=1e-5)
    assert predicted.mean[at("fuse:blown")] > 12


# ---- held values


def test_a_held_minimum_is_the_lower_of_key_on_and_cranking(network: Network, table: Table) -> None:
    stand = Stand(network)
    check = named(table, "battery.pos to battery.neg volts_min cranking -module")
    assert table.predict(check).mean[0] == pytest.approx(stand.volts("battery.pos", check.setup), abs=1e-3)
    most = named(table, "battery.pos to battery.neg volts_max cranking -module")
    assert table.predict(most).mean[0] == pytest.approx(stand.volts("battery.pos", ON), abs=1e-3)


# ---- a bulb and leads


def chances(table: Table, check_id: str) -> np.ndarray:
    """Chance of each answer for every cell, with nobody mistaken."""
    return answer_chances(table, named(table, check_id), 0.0)


def test_a_bulb_in_place_of_the_fuse_is_bright_on_a_short_and_not_on_the_pump_alone(table: Table) -> None:
    """trade-facts: bright = short (common practice, no source)."""
    bright = chances(table, "lamp fuse on -fuse with lamp@fuse")[:, 0]
    assert bright[at(f"{PUMP_FEED}:shorted", 0.02)] > 0.9
    assert bright[at("")] < 0.5
    assert bright[at("pump:open")] < 0.01
    dark = chances(table, "lamp fuse on -fuse with lamp@fuse")[:, 2]
    assert dark[at("pump:open")] > 0.95
    assert dark[at("relay:contacts-stuck-open")] > 0.95


def test_a_bulb_in_the_pumps_plug_is_bright_where_feed_and_ground_carry_current(table: Table) -> None:
    lamp = chances(table, "lamp pump on -pump with lamp@pump")
    for name, severity, answer in [
        ("", None, 0), ("pump:open", None, 0), ("pump:seized", None, 0), ("fuse:blown", None, 2),
        (f"{FEED}:bad", math.inf, 2), ("relay:contacts-stuck-open", None, 2),
    ]:  # fmt: skip
        assert lamp[at(name, severity)].argmax() == answer, name
        assert lamp[at(name, severity), answer] > 0.9


def test_leads_from_the_battery_run_a_good_pump_past_any_bad_feed(table: Table) -> None:
    runs = chances(table, "runs pump off -pump with leads@pump")
    for name, severity, answer in [
        ("", None, 0), ("fuse:blown", None, 0), (f"{PUMP_GROUND}:bad", 1.0, 0), ("pump:open", None, 2),
        ("pump:seized", None, 2),
    ]:  # fmt: skip
        assert runs[at(name, severity)].argmax() == answer, name


def test_on_extension_leads_a_relay_works_and_shows_its_own_contact(network: Network, table: Table) -> None:
    check = next(c for c in list_checks(network) if c.red == "relay.87.blade" and "extension@relay" in c.setup.fitted)
    drop = np.abs(table.predict(check).mean)
    assert drop[at("")] < 0.1
    assert drop[at("relay:contacts-stuck-open")] > 12


def test_a_lamp_that_is_not_fitted_neither_glows_nor_draws(network: Network, table: Table) -> None:
    for setup in {check.setup for check in table.checks if not check.setup.fitted}:
        behaviour = table.behaviour(setup)
        for branch in ("lamp@fuse.filament", "lamp@pump.filament"):
            assert not behaviour.bent[branch].any(), setup
            assert not behaviour.amps[branch].any(), setup
