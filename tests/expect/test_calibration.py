"""Whether cars that are sampled, never linearised, read as the table says: z = (read - expected) / sigma.

The cars come from `car`, which shares only the solver with the table; severities are off the grid.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest

from troubleshoot.car.car import Car
from troubleshoot.circuit.checks import Check, Setup
from troubleshoot.diagnose.evidence import Known
from troubleshoot.expect.cells import NOTHING_WRONG
from troubleshoot.expect.table import Table
from troubleshoot.parts.branch import Fault
from troubleshoot.solve.cases import OPEN

CARS = 42
READINGS_A_CAR = 14
OUT_OF_SCALE = 0.9
"""Sigma of an answer from which it is a range or over the limit, not a value."""


@dataclass(frozen=True)
class Pair:
    z: float
    expected: float
    check: Check
    fault: str


def sampled_pairs(table: Table, read_off: Callable[[Car, Check], Known]) -> list[Pair]:
    """Cars with random faults, each read at random checks; cells near a threshold are left to their own test."""
    rng = np.random.default_rng(20)
    same: dict[tuple[str, float | None], int] = {}
    for cell in table.cells:
        key = (cell.fault.name, cell.severity)
        same[key] = same.get(key, 0) + 1
    by_setup: dict[Setup, list[Check]] = {}
    for check in table.readings:
        by_setup.setdefault(check.setup, []).append(check)
    often = [setup for setup in by_setup if len(by_setup[setup]) >= READINGS_A_CAR]
    alone = [i for i, c in enumerate(table.cells) if same[c.fault.name, c.severity] == 1]
    pairs = []
    for number, at in enumerate(rng.choice(alone, CARS, replace=False)):
        cell = table.cells[at]
        severity = cell.severity
        if severity and severity != OPEN:
            severity *= float(np.exp(cell.ln_sigma * rng.standard_normal()))
        car = Car(table.network, None if cell.fault is NOTHING_WRONG else cell.fault, severity, 3000 + number)
        setup = often[number % len(often)]  # one setup a car: turning the key is most of the work
        for check in rng.choice(np.array(by_setup[setup]), READINGS_A_CAR, replace=False):
            predicted = table.predict(check)
            known = read_off(car, check)
            if predicted.floats[at] or table.behaviour(check.setup).chatters[at] or known.sigma > OUT_OF_SCALE:
                continue
            expected = float(predicted.mean[at])
            z = (known.value - expected) / float(np.hypot(predicted.sigma[at], known.sigma))
            pairs.append(Pair(z, expected, check, cell.fault.name))
    return pairs


@pytest.fixture(scope="module")
def pairs(table: Table, read_off: Callable[[Car, Check], Known]) -> list[Pair]:
    return sampled_pairs(table, read_off)


def assert_calibrated(chosen: list[Pair], least: int) -> None:
    z = np.array([pair.z for pair in chosen])
    beyond = [pair for pair in chosen if abs(pair.z) > 4]
    assert z.size >= least
    assert len(beyond) <= max(2, 0.01 * z.size), [(p.fault, p.check.id, round(p.z, 1)) for p in beyond]
    # a few settle otherwise than their cell, which is no matter of sigma
    spread = float(np.sqrt(np.mean(np.square(z[np.abs(z) <= 4]))))
    assert 0.8 < spread < 1.25, f"rms z {spread:.2f} of {z.size}"


def test_volts_of_half_a_volt_and_more_scatter_as_predicted(pairs: list[Pair]) -> None:
    assert_calibrated([p for p in pairs if p.check.function == "volts" and abs(p.expected) > 0.5], 90)


def test_held_volts_of_half_a_volt_and_more_scatter_as_predicted(pairs: list[Pair]) -> None:
    assert_calibrated([p for p in pairs if "_m" in p.check.function and abs(p.expected) > 0.5], 25)


def test_volts_near_zero_scatter_no_more_than_predicted(pairs: list[Pair]) -> None:
    """Where grounds are judged by tens of millivolts, a sigma half as large as the truth names the wrong ring."""
    z = np.array([p.z for p in pairs if p.check.function == "volts" and abs(p.expected) < 0.05])
    assert z.size >= 60
    # wider than the truth is no harm here: the last digit alone is most of it
    assert np.sqrt(np.mean(np.square(z))) < 1.25


def test_a_fault_reads_on_average_what_its_cell_expects(
    table: Table, fault_named: Callable[[str], Fault], check_of: Callable[[str], Check],
    read_off: Callable[[Car, Check], Known],
) -> None:  # fmt: skip
    """Mean of 16 cars of one cell, at the checks a mechanic would take first, in standard errors."""
    for name, check_id in [
        ("ignition_out:accessory-feed", "relay.86 to battery.neg volts accessory"),
        ("ignition_out:accessory-feed", "relay.86 to battery.neg volts_min cranking -ignition_module"),
        ("relay:coil-open", "relay.87 to relay.30 volts on"),
        ("main_fuse:blown", "main_fuse.in to battery.neg volts on"),
        ("pump:open", "pump.plus to battery.neg volts on"),
    ]:
        check = check_of(check_id)
        at = next(i for i, cell in enumerate(table.cells) if cell.fault.name == name)
        predicted = table.predict(check)
        read = [read_off(Car(table.network, fault_named(name), None, seed), check) for seed in range(500, 516)]
        mean = float(np.mean([known.value for known in read]))
        sigma = float(np.hypot(predicted.sigma[at], read[0].sigma))
        assert abs(mean - predicted.mean[at]) < 4 * sigma / np.sqrt(16), (name, check_id, mean)


def test_a_held_minimum_is_expected_to_dip_even_where_cranking_takes_nothing_away(
    table: Table, fault_named: Callable[[str], Fault], check_of: Callable[[str], Check],
    read_off: Callable[[Car, Check], Known],
) -> None:  # fmt: skip
    """With the battery's ground off, cranking draws nothing, and the lowest of two equal values is held."""
    check = check_of("battery.pos to battery.neg volts_min cranking -ignition_module")
    at = next(
        i for i, cell in enumerate(table.cells)
        if cell.fault.name == "engine_ground:bad" and cell.severity == OPEN
    )  # fmt: skip
    predicted = table.predict(check)
    z = []
    for seed in range(600, 624):
        known = read_off(Car(table.network, fault_named("engine_ground:bad"), OPEN, seed), check)
        z.append((known.value - predicted.mean[at]) / float(np.hypot(predicted.sigma[at], known.sigma)))
    assert np.sqrt(np.mean(np.square(z))) < 1.35, f"rms z {np.sqrt(np.mean(np.square(z))):.2f}"
