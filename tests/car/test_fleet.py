"""Many sampled cars reckoned together: word for word what each says alone."""

from __future__ import annotations

import numpy as np
import pytest

from troubleshoot.car import Car
from troubleshoot.car.fleet import Fleet
from troubleshoot.circuit.check_list import list_checks
from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.network import Network, wire_up
from troubleshoot.files.circuit_file import load_circuit
from troubleshoot.places import circuit_path
from troubleshoot.solve.cases import OPEN, Bench, Case
from troubleshoot.solve.linear import Circuits, Solved
from troubleshoot.solve.sweep import Swept

EVERY = 17
"""Of the checks, every so many are asked."""


def some_cars(network: Network, seed: int, every: int = 1) -> list[Car]:
    """One car of every fault, or of every so many, at a severity on no grid; the healthy one first."""
    rng = np.random.default_rng(seed)
    cars = [Car(network, None, None, seed)]
    for fault in network.faults[::every]:
        severity = None
        if fault.severity:
            low, high = np.log([max(fault.severity.low, 1e-2), fault.severity.high])
            severity = (
                OPEN if fault.severity.open_share and rng.random() < 0.3 else float(np.exp(rng.uniform(low, high)))
            )
        cars.append(Car(network, fault, severity, int(rng.integers(2**31))))
    return cars


def asked_of(network: Network) -> list[Check]:
    swaps = [check for check in list_checks(network) if check.swaps]
    return [check for check in list_checks(network) if not check.swaps][::EVERY] + swaps[:1]


@pytest.mark.parametrize(
    "name",
    [
        "horn-button-to-ground",
        pytest.param("pump-on-ignition-feed", marks=pytest.mark.slow),
        pytest.param("pump-controller-grounds", marks=pytest.mark.slow),
    ],
)
def test_a_fleet_answers_word_for_word_as_its_cars_do_alone(name: str) -> None:
    network = wire_up(load_circuit(circuit_path(name)))
    alone, together = some_cars(network, 5, 2), Fleet(network, some_cars(network, 5, 2))
    assert together.matter() == [car.matters() for car in alone]
    assert [car.complaint() for car in together.cars] == [car.complaint() for car in alone]
    for check in asked_of(network):
        assert [car.answer(check) for car in together.cars] == [car.answer(check) for car in alone], check.id


def test_a_survey_of_a_fleets_car_is_that_of_the_car_alone(network: Network) -> None:
    checks = asked_of(network)[:8]
    alone, together = some_cars(network, 6, 12), Fleet(network, some_cars(network, 6, 12))
    for one, other in zip(alone, together.cars, strict=True):
        assert one.survey(checks) == other.survey(checks)


def test_two_faults_and_a_repair_are_as_they_are_alone(network: Network) -> None:
    at = {fault.name: fault for fault in network.faults}
    check = next(check for check in list_checks(network) if check.id == "relay.30 to battery.neg volts on")

    def made() -> Car:
        return Car(network, at["pump_ground:bad"], 0.7, 4, (at["fused_feed:bad"], 0.4))

    alone, together = made(), Fleet(network, [made(), Car(network, None, None, 5)]).cars[0]
    assert alone.answer(check) == together.answer(check)
    assert alone.repaired(0).answer(check) == together.repaired(0).answer(check)


def test_a_car_that_is_rewound_says_the_same_again(network: Network) -> None:
    car, check = some_cars(network, 3)[7], asked_of(network)[1]
    said = [car.answer(check) for _ in range(3)]
    assert len(set(said)) > 1
    car.rewind()
    assert [car.answer(check) for _ in range(3)] == said


# ---- the sweep through the nodes, beside the solver that it stands in for


def drawn(network: Network, count: int = 7) -> Circuits:
    """Circuits that differ in every branch, some opened to what leaks."""
    rng = np.random.default_rng(2)
    base = Bench(network, [Case()])
    setup = next(check.setup for check in list_checks(network) if check.is_ohms)
    siemens, emf_v = base.arrays(setup, base.settled(setup)[0])
    siemens = np.where(rng.random((count, siemens.shape[1])) < 0.1, np.minimum(siemens, 1e-8), siemens)
    return Circuits.of(siemens * np.exp(0.3 * rng.standard_normal(siemens.shape)), np.repeat(emf_v, count, axis=0))


def test_the_sweep_gives_the_volts_of_the_solver(network: Network) -> None:
    net, circuits = Bench(network, [Case()]).net, drawn(network)
    siemens, emf_v = circuits.dense()
    one_by_one = [Solved(net, Circuits.of(siemens[row : row + 1], emf_v[row : row + 1])) for row in range(len(siemens))]
    swept = Swept(net, circuits)
    assert np.abs(swept.volts - np.concatenate([solved.volts for solved in one_by_one])).max() < 1e-6
    branches = np.arange(0, net.a.size, 5)
    assert np.allclose(swept.amps(branches), np.concatenate([s.amps(branches) for s in one_by_one]), atol=1e-9)
    ohms = np.concatenate([solved.between(3, 9) for solved in one_by_one])
    ours = swept.between(3, 9)
    assert np.allclose(ours[:, 3] - ours[:, 9], ohms[:, 3] - ohms[:, 9], rtol=1e-9)


def test_a_joint_in_an_island_that_hangs_on_leakage_keeps_its_digits() -> None:
    """100 kohm between two nodes that nothing but 1e-8 S leads to: by hand it is 1e5 ohm parallel to 2e8 ohm."""
    from troubleshoot.solve.linear import Incidence

    net = Incidence(3, np.array([1, 1, 2]), np.array([2, 0, 0]))
    swept = Swept(net, Circuits.of(np.array([[1e-5, 1e-8, 1e-8]]), np.zeros((1, 3))))
    volts = swept.between(1, 2)[0]
    assert volts[1] - volts[2] == pytest.approx(1 / (1e-5 + 0.5e-8), rel=1e-12)
