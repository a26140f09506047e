"""What floats: a point that hangs on leakage alone may as well read nothing, and that tells it from no grounded one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from shipped_tables import check_of, table_of

from troubleshoot.car import Car
from troubleshoot.diagnose.comes_and_goes import kinds, weigh_goes
from troubleshoot.diagnose.evidence import Known, known_from
from troubleshoot.diagnose.joint import Joint
from troubleshoot.expect.table import NIL_V
from troubleshoot.files.guesses_file import load_guesses
from troubleshoot.words.answers import read_answer

PUMP, PRIMED = "pump-on-ignition-feed", "pump-controller-grounds"
CARS = 24


def read_as(name: str, words: str, text: str) -> Known:
    return known_from(check_of(name, words), read_answer(text, "voltage", ()))


def of_fault(name: str, fault: str) -> int:
    """A cell of it."""
    return table_of(name).names.index(fault)


def test_a_place_that_floats_and_reads_the_same_again_is_one_piece_of_evidence() -> None:
    """What leaks there stays what it is: the second reading says hardly anything that the first did not."""
    table = table_of(PUMP)
    check = next(c for c in table.readings if not (c.is_ohms or c.wire or c.is_held) and table.predict(c).floats.any())
    floats = np.flatnonzero(table.predict(check).floats)
    first = known_from(check, read_answer("0.89", "voltage", ()))
    again = known_from(check.repeated(), read_answer("0.88", "voltage", ()))
    other = known_from(check.repeated(), read_answer("2.60", "voltage", ()))
    alone, same, moved = (
        Joint.of(table, readings).log_density[floats] for readings in ([first], [first, again], [first, other])
    )
    assert floats.size
    assert (same > alone - 1).all()
    assert (moved < same - 2).all()


@pytest.mark.parametrize("text", ["0.000 V", "0.001 V", "0.002 V"])
def test_nothing_read_at_many_points_tells_a_dry_break_hardly_from_a_short(text: str) -> None:
    """Behind a blown fuse all that has no other way to ground reads nothing, shorted or not (decision 1 of the design):
    by no more than a factor of ten in all, however often it is read."""
    table = table_of(PUMP)
    blown, shorted = of_fault(PUMP, "main_fuse:blown"), of_fault(PUMP, "fused_feed:shorted")
    both = [c for c in table.readings if c.black == "battery.neg" and c.function == "volts"
            and table.predict(c).floats[blown] and not table.predict(c).floats[shorted]
            and abs(table.predict(c).mean[shorted]) < NIL_V]  # fmt: skip
    assert len(both) >= 2
    read = [known_from(one, read_answer(text, "voltage", ())) for c in both for one in (c, c.repeated())]
    told = Joint.of(table, read).log_density
    assert abs(told[blown] - told[shorted]) < np.log(10)


def test_the_least_held_over_a_turn_of_the_key_in_which_a_point_floats_is_either() -> None:
    """With the main fuse blown, its far side floats while the relay rests (the prime is over), and hangs on the pump's
    ground while cranking. The least of both is nothing in a dry car, and what is read while cranking in a damp one."""
    words = "main_fuse.out to battery.neg volts_min cranking -ignition_coils"
    table, check = table_of(PRIMED), check_of(PRIMED, words)
    blown = of_fault(PRIMED, "main_fuse:blown")
    told, then = table.predict(check), table.predict(replace(check, function="volts"))
    assert told.floats[blown]
    assert not then.floats[blown]
    assert table.stack.floats[blown, table.column[words]]
    assert abs(told.dry[blown]) < 0.01 < told.mean[blown]
    fault = next(fault for fault in table.network.faults if fault.name == "main_fuse:blown")
    read = [float(Car(table.network, fault, None, seed).answer(check).removesuffix(" V")) for seed in range(CARS)]
    dry = [volts for volts in read if abs(volts) < 3 * told.dry_noise[blown]]
    damp = [volts for volts in read if abs(volts - told.mean[blown]) < 4 * told.sigma[blown]]
    assert len(dry) >= CARS // 4
    assert len(damp) >= CARS // 4
    assert len(dry) + len(damp) >= CARS - 2


def test_the_most_held_over_a_turn_of_the_key_is_the_other_value_where_nothing_leaks() -> None:
    words = "main_fuse.out to battery.neg volts_max cranking -ignition_coils"
    table, check = table_of(PRIMED), check_of(PRIMED, words)
    blown = of_fault(PRIMED, "main_fuse:blown")
    told, then = table.predict(check), table.predict(replace(check, function="volts"))
    assert told.floats[blown]
    assert told.mean[blown] > then.mean[blown]
    assert told.dry[blown] == pytest.approx(then.mean[blown])
    read = read_as(PRIMED, words, f"{then.mean[blown]:.3f} V")
    assert Joint.of(table, [read]).log_density[blown] > 0


def test_what_a_dry_car_holds_is_the_same_for_one_reading_as_for_all_at_once() -> None:
    table = table_of(PRIMED)
    held = [check for check in table.readings if check.is_held and table.predict(check).floats.any()]
    mean, sigma = table.dry(np.arange(len(table.cells)), np.array([table.column[check.id] for check in held]))
    assert len(held) > 10
    for k, check in enumerate(held):
        told = table.predict(check)
        assert np.array_equal(told.floats, table.stack.floats[:, table.column[check.id]])
        assert mean[told.floats, k] == pytest.approx(told.dry[told.floats])
        assert sigma[told.floats, k] == pytest.approx(told.dry_sigma[told.floats], rel=1e-3)


@pytest.mark.parametrize("text", ["0.000 V", "0.002 V"])
def test_a_break_that_comes_and_goes_is_as_dry_while_it_is_there_as_one_that_stays(text: str) -> None:
    """Before anything is known it is there in half of all readings: half the density, where a sound car reads 12 V."""
    table, words = table_of(PUMP), "pump.plus to battery.neg volts on -pump"
    read, told = read_as(PUMP, words, text), table.predict(check_of(PUMP, words))
    loose = np.flatnonzero(told.floats & kinds(table)[0])
    goes = weigh_goes(table, load_guesses(), [read], np.log(table.weight))
    steady = Joint.of(table, [read]).log_density
    assert told.mean[0] > 10
    tried = loose[np.isin(loose, goes.cells)]
    assert tried.size
    assert goes.each[0, tried] == pytest.approx(steady[tried] + np.log(0.5), abs=0.1)


def test_what_is_held_at_many_points_in_one_state_is_one_piece_of_evidence() -> None:
    """Dry, all points of a shorted wire rise with the frame while cranking, by one and the same amount that is not
    known beforehand: that they agree tells no break behind the fuse from another."""
    words = "{} to battery.neg volts_max cranking -ignition_coils"
    points = ("main_fuse.out", "relay.30", "relay.87")
    table, blown = table_of(PRIMED), of_fault(PRIMED, "pump_wire:shorted")
    told = [table.predict(check_of(PRIMED, words.format(point))) for point in points]
    own = np.array([p.dry[blown] for p in told])
    slope = np.array([p.dry_slope[blown] for p in told])
    noise = np.array([p.dry_noise[blown] for p in told])
    covariance = slope @ slope.T + np.diag(np.square(noise))
    value = own + 1.0 * np.sqrt(np.diag(covariance))
    read = [read_as(PRIMED, words.format(point), f"{volts:.4f} V") for point, volts in zip(points, value, strict=True)]
    off = np.array([known.value for known in read]) - own
    covariance += np.diag([known.sigma**2 for known in read])
    fit = -0.5 * (off @ np.linalg.solve(covariance, off) + np.linalg.slogdet(2 * np.pi * covariance)[1])
    assert any(p.floats[blown] for p in told)
    assert Joint.of(table, read).log_density[blown] == pytest.approx(fit - np.log(2), abs=0.05)
