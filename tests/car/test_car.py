"""The sampled car: one seed one car, answers that a person would type, a history that stays."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest

from troubleshoot.car.car import Car
from troubleshoot.circuit.checks import Check, Setup
from troubleshoot.circuit.complaints import complaints_of
from troubleshoot.circuit.network import Network
from troubleshoot.expect.table import Table
from troubleshoot.parts.branch import Fault
from troubleshoot.session.state import expects
from troubleshoot.solve.cases import OPEN
from troubleshoot.words.answers import OverLimit, Seen, Value, read_answer

SHOWN = re.compile(r"-?\d+\.\d{1,3} (?:V|mV|A|ohm|kohm|Mohm)|OL")


def volts_of(car: Car, check: Check) -> float:
    answer = read_answer(car.answer(check), expects(check))
    assert isinstance(answer, Value)
    return answer.value


def test_one_seed_is_one_car_with_the_same_readings(
    network: Network, fault_named: Callable[[str], Fault], check_of: Callable[[str], Check]
) -> None:
    asked = ["relay.86 to battery.neg volts on", "click relay", "relay.30 to battery.neg volts on"]
    first, second, other = (
        [car.answer(check_of(name)) for name in asked]
        for car in (Car(network, fault_named("pump_ground:bad"), 0.8, seed) for seed in (5, 5, 6))
    )
    assert first == second
    assert first != other


def test_every_check_is_answered_in_words_that_the_grammar_takes_as_they_stand(
    table: Table, fault_named: Callable[[str], Fault]
) -> None:
    car = Car(table.network, fault_named("fused_feed:bad"), 0.5, 8)
    for check in table.checks:
        typed = car.answer(check)
        answer = read_answer(typed, expects(check), check.answers)
        if check.kind == "observation":
            assert isinstance(answer, Seen)
            assert answer.choice in check.answers
        else:
            assert SHOWN.fullmatch(typed), typed
            assert isinstance(answer, Value | OverLimit), (check.id, typed, answer)


def test_a_meter_of_6000_counts_never_shows_more_digits_than_it_has(
    table: Table, fault_named: Callable[[str], Fault]
) -> None:
    car = Car(table.network, fault_named("coil_fuse:blown"), None, 9)
    for check in table.readings:
        typed = car.answer(check)
        if typed != "OL":
            counts = int(re.sub(r"[^0-9]", "", typed.split()[0]))
            assert counts <= 6000, (check.id, typed)


def test_a_drop_scatters_from_one_reading_to_the_next_where_a_bad_joint_drifts(
    network: Network, fault_named: Callable[[str], Fault], check_of: Callable[[str], Check]
) -> None:
    car = Car(network, fault_named("pump_ground:bad"), 0.8, 12)
    check = check_of("pump.plus to pump.minus volts on")
    assert len({car.answer(check) for _ in range(6)}) > 1


def test_a_blown_fuse_stays_blown_whatever_the_key_does(
    network: Network, fault_named: Callable[[str], Fault], check_of: Callable[[str], Check]
) -> None:
    car = Car(network, fault_named("pump_wire:shorted"), 0.02, 13)
    assert car.answer(check_of("whole main_fuse")) == "blown"
    for key in ("on", "off"):  # off, the wire between the open fuse and the open contacts floats on leakage
        assert abs(volts_of(car, check_of(f"relay.87 to battery.neg volts {key}"))) < 9
    assert abs(volts_of(car, check_of("pump.plus to battery.neg volts on"))) < 0.5
    assert car.answer(check_of("whole coil_fuse")) == "whole"


@pytest.mark.parametrize(
    ("name", "severity", "complaint"),
    [
        ("ignition_out:accessory-feed", None, "dead-while-cranking"),
        ("relay:contacts-welded", None, "runs-key-off"),
        ("main_fuse:blown", None, "cranks-no-start"),
        ("pump_ground:bad", 0.8, "weak"),
        ("relay:coil-open", None, "cranks-no-start"),
    ],
)
def test_the_owner_complains_of_what_the_fault_does(
    network: Network, fault_named: Callable[[str], Fault], name: str, severity: float | None, complaint: str
) -> None:
    said = [Car(network, fault_named(name), severity, seed).complaint() for seed in range(40, 45)]
    assert complaint in said
    may = {complaint, "blows-fuse" if "fuse" in name else "unsure"}
    assert set(said) <= may, said
    assert may <= set(complaints_of(network.circuit))


def test_a_fault_that_does_nothing_is_known_not_to_matter(
    network: Network, fault_named: Callable[[str], Fault]
) -> None:
    assert not Car(network, None, None, 3).matters()
    assert not Car(network, fault_named("gauge_ground:bad"), 5.0, 3).matters()
    assert Car(network, fault_named("relay.30:bad"), OPEN, 3).matters()
    assert Car(network, fault_named("fused_feed:bad"), 0.5, 3).matters()


def test_a_stretch_is_bad_at_any_one_of_its_joints_and_reads_the_same_from_its_ends(
    network: Network, fault_named: Callable[[str], Fault], check_of: Callable[[str], Check]
) -> None:
    cars = [Car(network, fault_named("fused_feed:bad"), 0.5, seed) for seed in range(20, 28)]
    branches = {car.bench.cases[0].fault.changes[0].target for car in cars if car.bench.cases[0].fault}
    assert len(branches) > 1, "all eight are bad at the same joint"
    drops = [abs(volts_of(car, check_of("relay.87 to main_fuse.out volts on"))) for car in cars]
    assert min(drops) > 0.7
    assert max(drops) < 3


def test_the_engine_is_kept_from_starting_only_while_cranking(network: Network, table: Table) -> None:
    """The plug that is pulled for cranking must not take the relay's feed away."""
    car = Car(network, None, None, 15)
    cranking = next(c for c in table.readings if c.red == "relay.86" and c.setup == table.crank)
    assert volts_of(car, cranking) > 8
    assert table.crank != Setup("cranking")
