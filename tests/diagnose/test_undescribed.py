"""Something that the file lacks: it leads where readings fit nothing, says what does not fit, and names no part."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from troubleshoot.car.car import Car
from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.diagnose.evidence import Known
from troubleshoot.diagnose.reason import Reasoner
from troubleshoot.diagnose.undescribed import LOOK_FOR, State, is_told, misfits, stays_odd, weigh_undescribed
from troubleshoot.expect.cells import NOT_DESCRIBED, NOTHING_WRONG
from troubleshoot.expect.table import Table
from troubleshoot.session.beyond import say_beyond

CheckOf = Callable[[str], Check]

FED_BACK = {
    "battery.pos to battery.neg volts off": 12.62, "relay.86 to battery.neg volts off": 6.4,
    "coil_fuse.out to battery.neg volts off": 6.41, "relay.85 to battery.neg volts off": 0.006,
    "relay.30 to battery.neg volts off": 12.3, "relay.86 to battery.neg volts on": 12.45,
    "relay.30 to battery.neg volts on": 12.35,
}  # fmt: skip
"""A lamp that feeds the coil from elsewhere with the key off: half of the battery's volts on 86, and the relay in
(self-made: 85 ohm of lamp before 85 ohm of coil)."""


@pytest.fixture
def fed_back(check_of: CheckOf) -> list[Known]:
    return [Known(check_of(name), volts, 0.003) for name, volts in FED_BACK.items()]


def test_a_coil_fed_back_through_a_lamp_is_said_to_be_in_no_drawing(
    reasoner: Reasoner, fed_back: list[Known]
) -> None:  # fmt: skip
    belief = reasoner.weigh(fed_back)
    assert reasoner.ranked_groups(belief)[0].faults == (NOT_DESCRIBED.name,)


def test_what_does_not_fit_is_told_with_what_to_look_for(reasoner: Reasoner, fed_back: list[Known]) -> None:
    belief = reasoner.weigh(fed_back)
    found = {misfit.known.check.id: misfit.looks_like for misfit in misfits(belief)}
    assert found["relay.30 to battery.neg volts off"] == "live"
    assert found["relay.86 to battery.neg volts off"] in ("between", "live")
    assert "relay.86 to battery.neg volts on" not in found
    told = say_beyond(belief, [NOT_DESCRIBED.name], lambda known: known.check.id)
    assert "relay.30 to battery.neg volts off" in told
    assert LOOK_FOR["live"] in told


def test_a_healthy_car_fits(
    reasoner: Reasoner, check_of: CheckOf, read_off: Callable[[Car, Check], Known]
) -> None:  # fmt: skip
    car = Car(reasoner.table.network, None, None, 8)
    belief = reasoner.weigh([read_off(car, check_of(name)) for name in FED_BACK])
    assert not misfits(belief)
    assert belief.p_unlike < 0.01
    assert belief.p_cell[-1] < 0.08
    assert say_beyond(belief, ["circuit:nothing-wrong"], str) == ""


def test_the_same_again_speaks_for_a_wire_and_a_slip_put_right_against_it(
    reasoner: Reasoner, check_of: CheckOf
) -> None:  # fmt: skip
    once = [Known(check_of("relay.85 to battery.neg volts off"), 0.004, 0.001),
            Known(check_of("relay.86 to battery.neg volts accessory"), 5.1, 0.003)]  # fmt: skip
    anew = once[1].check.repeated()
    first, same, right = (
        float(reasoner.weigh([*once, *more]).p_cell[-1])
        for more in ([], [Known(anew, 5.08, 0.003)], [Known(anew, 0.002, 0.003)])
    )
    assert same > first > right
    assert right < 0.1


def test_nothing_wrong_is_not_said_alone_against_a_reading_that_stays_odd(
    reasoner: Reasoner, check_of: CheckOf
) -> None:  # fmt: skip
    odd = check_of("relay.86 to battery.neg volts accessory")
    once = [Known(check_of("relay.85 to battery.neg volts off"), 0.004, 0.001), Known(odd, 5.1, 0.003)]
    same, right = (reasoner.weigh([*once, Known(odd.repeated(), volts, 0.003)]) for volts in (5.08, 0.002))
    assert stays_odd(same)
    assert is_told(same, NOTHING_WRONG.name)
    assert not stays_odd(right)
    assert not is_told(right, NOTHING_WRONG.name)


def test_its_density_does_not_hang_on_the_order(
    reasoner: Reasoner, guesses: Guesses, fed_back: list[Known]
) -> None:  # fmt: skip
    there = weigh_undescribed(reasoner.table, guesses, fed_back)
    back = weigh_undescribed(reasoner.table, guesses, fed_back[::-1])
    assert np.allclose(there.each, back.each[::-1], atol=1e-12)


@given(st.lists(st.tuples(st.floats(1e-6, 20), st.floats(1e-6, 20)), max_size=12))
def test_a_key_state_s_shares_stay_probabilities(densities: list[tuple[float, float]]) -> None:
    state = State()
    for healthy, other in densities:
        density, altered, _ = state.take(healthy, other)
        assert min(healthy, other) * 0.999 <= density <= max(healthy, other) * 1.001
        assert 0 <= altered <= 1
        assert 0 <= state.some <= 1
        assert 0 <= state.showed <= state.could + 1e-9
        assert 0 <= state.alters() <= 1


def test_a_load_dead_while_cranking_is_read_while_cranking(table: Table, guesses: Guesses, check_of: CheckOf) -> None:
    """What the file lacks shows at the load in the key state that it was brought for, and not in what is highest over
    the turn of the key, which may be from before it."""
    told = weigh_undescribed(table, guesses, [], "dead-while-cranking")
    untold = weigh_undescribed(table, guesses, [])
    lowest = check_of("pump.plus to battery.neg volts_min cranking -ignition_module")
    assert told.alters(lowest) > 2 * untold.alters(lowest)
    for other in ("pump.plus to battery.neg volts on", "pump.plus to battery.neg volts_max cranking -ignition_module",
                  "pump.minus to battery.neg volts_min cranking -ignition_module"):  # fmt: skip
        assert told.alters(check_of(other)) == untold.alters(check_of(other))
