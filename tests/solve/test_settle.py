"""Relays, fuses and what bends in circuits small enough to work out by hand."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from troubleshoot.parts.branch import OPEN_OHM
from troubleshoot.solve.linear import Circuits, Incidence, Solved
from troubleshoot.solve.settle import Bends, Devices, Fuses, Relays, State, settle

Floats = npt.NDArray[np.float64]
LEAK = 1 / OPEN_OHM
COIL_OHM, PULL_IN_V, RELEASE_V = 90.0, 7.2, 1.2


def ints(*numbers: int) -> npt.NDArray[np.int64]:
    return np.array(numbers, dtype=np.int64)


def relay(cases: int, coil: int, make: int = -1, rest: int = -1, turns: float = 1.0) -> Relays:
    """A 90 ohm relay that pulls in at 7.2 V and releases at 1.2 V."""
    one, no = np.ones((cases, 1)), np.zeros((cases, 1), dtype=bool)
    amps = (one * PULL_IN_V / COIL_OHM, one * RELEASE_V / COIL_OHM)
    contacts = tuple((0, branch, makes) for branch, makes in ((make, True), (rest, False)) if branch >= 0)
    return Relays(ints(coil), contacts, np.array([False]), *amps, one * turns, no, no.copy())


def devices(
    branches: int,
    relays: Relays | None = None,
    fuses: Fuses | None = None,
    bends: Bends | None = None,
    cases: int = 1,
) -> Devices:
    none, flags = np.zeros((cases, 0)), np.zeros((cases, 0), dtype=bool)
    return Devices(
        relays or Relays(ints(), (), flags[0], none, none, none, flags, flags),
        fuses or Fuses(ints(), flags[0], none),
        bends or Bends(ints(), flags[0], none, none, none, none, flags),
        np.full(branches, LEAK),
    )


def pump(branch: int, seized: list[bool]) -> Bends:
    """Running: (V - 4)/1.3 ohm; standing: the 0.7 ohm that the circuit gives it; starts at 3 V, stops under 4.01."""
    one = np.ones((len(seized), 1))
    both_ways = np.array([True])
    return Bends(ints(branch), both_ways, one / 1.3, one * 4.0, one * 3.0, one * 4.01, np.array(seized)[:, None])


def fuse(branch: int, blow_a: list[float], resets: bool = False) -> Fuses:
    return Fuses(ints(branch), np.array([resets]), np.array(blow_a)[:, None])


# Branch 0 the supply (its own 10 mohm), branch 1 the coil, branch 2 the contact, branch 3 a lamp.
RELAY_NET = Incidence(3, ints(1, 1, 1, 2), ints(0, 0, 2, 0))


def relay_circuit(supply_v: float) -> tuple[Floats, Floats]:
    return np.array([[100.0, 1 / COIL_OHM, 250.0, 0.25]]), np.array([[supply_v, 0.0, 0.0, 0.0]])


def test_a_relay_pulls_in_at_pull_in_and_holds_down_to_release() -> None:
    here = devices(4, relay(1, coil=1, make=2))
    state = here.at_rest(1)
    seen = []
    # Under load the supply sags by some 0.25 % in its own 10 mohm.
    for supply_v in (5.0, 7.0, 7.1, 7.3, 12.6, 7.0, 5.0, 1.3, 1.1, 5.0, 7.0):
        state, chatters = settle(RELAY_NET, here, Circuits.of(*relay_circuit(supply_v)), state)
        assert not chatters[0]
        seen.append(bool(state.pulled[0, 0]))
    assert seen == [False, False, False, True, True, True, True, True, False, False, False]


@pytest.mark.parametrize(("pulled", "lamp_v"), [(False, 0.0), (True, 8.0 * 0.25 / (0.25 + 0.0026))])
def test_the_contact_follows_the_relay(pulled: bool, lamp_v: float) -> None:
    here = devices(4, relay(1, coil=1, make=2))
    supply_v = 8.0 if pulled else 5.0
    state, _ = settle(RELAY_NET, here, Circuits.of(*relay_circuit(supply_v)), here.at_rest(1))
    volts = Solved(RELAY_NET, here.impose(Circuits.of(*relay_circuit(supply_v)), state)).volts[0]
    assert bool(state.pulled[0, 0]) is pulled
    assert volts[2] == pytest.approx(lamp_v, rel=0.02, abs=1e-5)


def test_half_of_the_turns_with_all_of_the_current_does_not_pull_in() -> None:
    for turns, pulls in ((1.0, True), (0.5, False)):
        here = devices(4, relay(1, coil=1, make=2, turns=turns))
        state, _ = settle(RELAY_NET, here, Circuits.of(*relay_circuit(12.6)), here.at_rest(1))
        assert bool(state.pulled[0, 0]) is pulls


def test_an_open_coil_has_all_the_volts_and_does_not_pull_in() -> None:
    here = devices(4, relay(1, coil=1, make=2))
    siemens, emf_v = relay_circuit(12.6)
    siemens[0, 1] = LEAK
    state, _ = settle(RELAY_NET, here, Circuits.of(siemens, emf_v), here.at_rest(1))
    volts = Solved(RELAY_NET, here.impose(Circuits.of(siemens, emf_v), state)).volts[0]
    assert volts[1] > 12.5
    assert not state.pulled[0, 0]


# The supply, a rest contact from it to the coil, the coil to ground: a buzzer.
BUZZER = Incidence(3, ints(1, 1, 2), ints(0, 2, 0))


def test_a_relay_that_breaks_its_own_feed_is_reported_as_chattering() -> None:
    here = devices(3, relay(2, coil=2, rest=1), cases=2)
    siemens = np.tile([100.0, 250.0, 1 / COIL_OHM], (2, 1))
    emf_v = np.array([[12.6, 0.0, 0.0], [5.0, 0.0, 0.0]])  # the second never gets to pull in
    state, chatters = settle(BUZZER, here, Circuits.of(siemens, emf_v), here.at_rest(2))
    assert chatters.tolist() == [True, False]
    assert not state.pulled[1, 0]


def test_a_chattering_case_leaves_its_neighbour_alone() -> None:
    siemens = np.tile([100.0, 250.0, 1 / COIL_OHM], (2, 1))
    emf_v = np.array([[12.6, 0.0, 0.0], [5.0, 0.0, 0.0]])
    alone = devices(3, relay(1, coil=2, rest=1))
    both = devices(3, relay(2, coil=2, rest=1), cases=2)
    single, _ = settle(BUZZER, alone, Circuits.of(siemens[1:], emf_v[1:]), alone.at_rest(1))
    pair, _ = settle(BUZZER, both, Circuits.of(siemens, emf_v), both.at_rest(2))
    assert (pair.pulled[1] == single.pulled[0]).all()


# The supply, a fuse, a motor or a resistance.
FUSED = Incidence(3, ints(1, 1, 2), ints(0, 2, 0))


def fused_circuit(load_ohm: float, cases: int = 1) -> tuple[Floats, Floats]:
    return np.tile([100.0, 200.0, 1 / load_ohm], (cases, 1)), np.tile([12.6, 0.0, 0.0], (cases, 1))


def test_a_blown_fuse_stays_blown_when_the_short_is_gone() -> None:
    here = devices(3, fuses=fuse(1, [24.0]))
    state, _ = settle(FUSED, here, Circuits.of(*fused_circuit(4.0)), here.at_rest(1))
    assert not state.blown[0, 0]
    state, _ = settle(FUSED, here, Circuits.of(*fused_circuit(0.1)), state)
    assert state.blown[0, 0]
    state, _ = settle(FUSED, here, Circuits.of(*fused_circuit(4.0)), state)
    assert state.blown[0, 0]
    volts = Solved(FUSED, here.impose(Circuits.of(*fused_circuit(4.0)), state)).volts[0]
    assert volts[2] < 1e-5


def test_a_fuse_blows_on_a_settled_current_and_not_on_one_at_the_start() -> None:
    # Standing, the pump draws 12.6 V / 0.715 ohm = 17.6 A; turning, 8.6 V / 1.315 ohm = 6.5 A.
    here = devices(3, fuses=fuse(1, [12.0, 12.0]), bends=pump(2, [False, True]), cases=2)
    state, chatters = settle(FUSED, here, Circuits.of(*fused_circuit(0.7, cases=2)), here.at_rest(2))
    assert not chatters.any()
    assert state.bent[:, 0].tolist() == [1, 0]
    assert state.blown[:, 0].tolist() == [False, True]


def motor_at(supply_v: float, start: State | None = None) -> tuple[State, float, float]:
    """The state of the pump on a supply behind 15 mohm, with its volts and amperes."""
    here = devices(3, bends=pump(2, [False]))
    siemens, emf_v = fused_circuit(0.7)
    emf_v[0, 0] = supply_v
    state, chatters = settle(FUSED, here, Circuits.of(siemens, emf_v), start or here.at_rest(1))
    assert not chatters[0]
    solved = Solved(FUSED, here.impose(Circuits.of(siemens, emf_v), state))
    return state, float(solved.volts[0, 2]), float(solved.currents()[0, 2])


@pytest.mark.parametrize("supply_v", [6.0, 9.0, 12.6, 14.2])
def test_a_turning_motor_keeps_to_its_line(supply_v: float) -> None:
    state, volts, amps = motor_at(supply_v)
    assert state.bent[0, 0] == 1
    assert amps == pytest.approx((supply_v - 4.0) / (1.3 + 0.015), rel=1e-9)
    assert amps == pytest.approx((volts - 4.0) / 1.3, rel=1e-9)


@pytest.mark.parametrize("supply_v", [0.0, 1.0, 2.9])
def test_a_motor_under_its_starting_volts_stands_and_is_a_resistance(supply_v: float) -> None:
    state, _, amps = motor_at(supply_v)
    assert state.bent[0, 0] == 0
    assert amps == pytest.approx(supply_v / 0.715, rel=1e-9)


def test_a_motor_never_gives_current_back() -> None:
    turning, _, _ = motor_at(12.6)
    for supply_v in (8.0, 4.5, 3.9, 0.0):
        _, _, amps = motor_at(supply_v, turning)
        assert amps >= 0.0


def test_a_motor_whose_feed_opens_comes_to_rest() -> None:
    here = devices(3, bends=pump(2, [False]))
    siemens, emf_v = fused_circuit(0.7)
    state, _ = settle(FUSED, here, Circuits.of(siemens, emf_v), here.at_rest(1))
    assert state.bent[0, 0] == 1
    siemens[0, 1] = LEAK
    state, chatters = settle(FUSED, here, Circuits.of(siemens, emf_v), state)
    volts = Solved(FUSED, here.impose(Circuits.of(siemens, emf_v), state)).volts[0]
    assert not chatters[0]
    assert state.bent[0, 0] == 0
    assert volts[2] < 0.01


def test_the_state_that_one_starts_from_is_not_changed() -> None:
    here = devices(4, relay(1, coil=1, make=2))
    before = here.at_rest(1)
    after, _ = settle(RELAY_NET, here, Circuits.of(*relay_circuit(12.6)), before)
    assert after.pulled[0, 0]
    assert not before.pulled[0, 0]
