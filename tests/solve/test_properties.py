"""Laws that every settled circuit must keep: real circuits with random resistances and faults, and small random ones.

What holds for bare networks of branches and sources (current law, power, superposition, reciprocity, the lift
against exact fractions) is in test_linear; here devices take part.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from wired import CIRCUITS, pump_on_relay, wire_name

from troubleshoot.circuit import Network, Setup, wire_up
from troubleshoot.circuit.check_list import list_setups
from troubleshoot.files.circuit_file import load_circuit
from troubleshoot.places import circuit_path, trees
from troubleshoot.solve.cases import OPEN, Bench, Case, Draw
from troubleshoot.solve.linear import Circuits, Incidence, Solved
from troubleshoot.solve.settle import Bends, Devices, Fuses, Relays, State, settle

Floats = npt.NDArray[np.float64]
RUNS = settings(max_examples=40, deadline=None)
SHIPPED = sorted(path.parent.name for path in trees().glob("*/circuit.yaml"))
NAMES = [*SHIPPED, *CIRCUITS]
FLOATS_OHM = 1e4
"""A node with more ohms than this to the reference is held by leakage or by a joint as good as open."""


@cache
def network_of(name: str) -> Network:
    return wire_up(load_circuit(circuit_path(name))) if name in SHIPPED else CIRCUITS[name]()


@dataclass(frozen=True, repr=False)
class Stood:
    """A random car of a circuit in one setup, settled: conductances and sources, (1, branches)."""

    network: Network
    bench: Bench
    setup: Setup
    siemens: Floats
    emf_v: Floats

    def __repr__(self) -> str:
        case = self.bench.cases[0]
        return f"<{self.network.circuit.title} {case.fault and case.fault.name} {case.severity} in {self.setup}>"

    @property
    def solved(self) -> Solved:
        return Solved(self.bench.net, Circuits.of(self.siemens, self.emf_v))


def random_draw(network: Network, seed: int, spread: float = 0.6, cases: int = 1) -> Draw:
    """Cars with every resistance, leakage, source and threshold off by random factors: the same in all cases."""
    rng = np.random.default_rng(seed)
    nominal = Draw.nominal(network, cases)

    def off(like: Floats, sigma: float) -> Floats:
        return np.tile(sigma * rng.standard_normal(like.shape[1]), (cases, 1))

    emf_v = off(nominal.emf_v, 0.2) * np.array([branch.emf_v != 0 for branch in network.branches])
    return replace(
        nominal, ln_ohm=off(nominal.ln_ohm, spread), ln_leak=off(nominal.ln_leak, spread), emf_v=emf_v,
        ln_pull_in=off(nominal.ln_pull_in, 0.1), ln_blow=off(nominal.ln_blow, 0.1),
        ln_start=off(nominal.ln_start, 0.1),
    )  # fmt: skip


@st.composite
def cases_of(draw: st.DrawFn, network: Network) -> Case:
    """Healthy, or any fault at any of its severities."""
    fault = draw(st.sampled_from([None, *network.faults]))
    if fault is None or fault.severity is None:
        return Case(fault)
    low, high = fault.severity.low or 1e-3, fault.severity.high
    severity = float(np.exp(draw(st.floats(np.log(low), np.log(high)))))
    return Case(fault, OPEN if fault.severity.open_share and draw(st.booleans()) else severity)


@st.composite
def stood(draw: st.DrawFn) -> Stood:
    network = network_of(draw(st.sampled_from(NAMES)))
    setup = draw(st.sampled_from(list_setups(network)))
    bench = Bench(network, [draw(cases_of(network))], random_draw(network, draw(st.integers(0, 2**32 - 1))))
    return Stood(network, bench, setup, *bench.arrays(setup, bench.settled(setup)[0]))


# ---- laws of a settled circuit


@RUNS
@given(stood())
def test_the_currents_at_every_node_of_a_circuit_sum_to_nothing(car: Stood) -> None:
    net, volts, amps = car.bench.net, car.solved.volts[0], car.solved.currents()[0]
    # a joint of a microhm turns the last digit of 12 V into nanoamperes
    rounding_a = np.finfo(float).eps * car.siemens[0] * (np.abs(volts[net.a]) + np.abs(volts[net.b]))
    left_over, allowed = np.zeros(net.count), np.full(net.count, 1e-9)
    for node, sign in ((net.a, -1), (net.b, 1)):
        np.add.at(left_over, node, sign * amps)
        np.add.at(allowed, node, 8 * rounding_a + 1e-12 * np.abs(amps))
    assert (np.abs(left_over) <= allowed).all()


@RUNS
@given(stood())
def test_a_circuits_sources_give_what_its_resistances_take(car: Stood) -> None:
    amps = car.solved.currents()[0]
    there = car.siemens[0] > 0
    given_w = -(car.emf_v[0] * amps).sum()
    taken_w = (amps[there] ** 2 / car.siemens[0, there]).sum()
    # a source that drives nothing still rounds: its volts times what it would drive into a short
    rounding_w = 1e-11 * (car.emf_v[0] ** 2 * car.siemens[0]).sum() + 1e-9
    assert given_w == pytest.approx(taken_w, rel=1e-7, abs=rounding_w)


@RUNS
@given(stood())
def test_with_the_devices_held_each_source_adds_its_own_share(car: Stood) -> None:
    """Superposition over battery, alternator, back-EMFs and lamps: their branches are straight lines while held."""
    sources = np.flatnonzero(car.emf_v[0])
    alone = np.zeros((max(1, sources.size), car.siemens.shape[1]))
    for row, source in enumerate(sources):
        alone[row, source] = car.emf_v[0, source]
    apart = Solved(car.bench.net, Circuits.of(np.tile(car.siemens, (alone.shape[0], 1)), alone)).volts.sum(axis=0)
    held = held_nodes(car.solved)
    assert car.solved.volts[0, held] == pytest.approx(apart[held], abs=1e-8)
    assert car.solved.volts[0] == pytest.approx(apart, abs=1e-3)


@RUNS
@given(stood(), st.data())
def test_an_ampere_here_does_to_there_what_one_there_does_to_here(car: Stood, data: st.DataObject) -> None:
    count = car.bench.net.count
    p, q, r, s = (data.draw(st.integers(0, count - 1)) for _ in range(4))
    there, here = car.solved.between(p, q)[0], car.solved.between(r, s)[0]
    assert there[r] - there[s] == pytest.approx(here[p] - here[q], rel=1e-6, abs=1e-6)


@RUNS
@given(stood())
def test_a_settled_circuit_stays_as_it_is_when_looked_at_again(car: Stood) -> None:
    state, chatters = car.bench.settled(car.setup)
    assume(not chatters[0])
    again = car.bench.devices.look(car.solved, state)
    assert (again.pulled == state.pulled).all()
    assert (again.bent == state.bent).all()
    assert (again.blown == state.blown).all()


@RUNS
@given(stood(), st.data())
def test_a_car_settles_the_same_alone_and_among_others(car: Stood, data: st.DataObject) -> None:
    others = [data.draw(cases_of(car.network)) for _ in range(3)]
    mine = car.bench.cases[0]
    seed = data.draw(st.integers(0, 2**32 - 1))
    alone = Bench(car.network, [mine], random_draw(car.network, seed))
    among = Bench(car.network, [*others, mine], random_draw(car.network, seed, cases=4))
    assert (alone.settled(car.setup)[0].bits()[0] == among.settled(car.setup)[0].bits()[3]).all()


def held_nodes(solved: Solved) -> npt.NDArray[np.bool_]:
    """Which nodes of the first case do not float."""
    count = solved.net.count
    return np.array([solved.between(node, 0)[0, node] < FLOATS_OHM for node in range(count)])


# ---- one branch changed


@RUNS
@given(stood(), st.data())
def test_one_branch_changed_and_lifted_equals_solving_anew(car: Stood, data: st.DataObject) -> None:
    """Rank 1 against a solution of its own, to a nanovolt where no point floats (the same devices, so linear)."""
    live = np.flatnonzero(car.siemens[0] > 1e-6)
    branch = int(data.draw(st.sampled_from(live.tolist())))
    factor = 10.0 ** data.draw(st.floats(-3, 2))
    siemens = np.tile(car.siemens, (2, 1))
    siemens[1, branch] *= factor
    emf_v = np.tile(car.emf_v, (2, 1))
    lifted = Solved(car.bench.net, Circuits.of(siemens, emf_v)).volts[1]
    anew = Solved(car.bench.net, Circuits.of(siemens[1:], emf_v[1:]))
    held = held_nodes(anew)
    assert np.abs(lifted - anew.volts[0])[held].max() <= 1e-9
    assert np.abs(lifted - anew.volts[0]).max() <= 1e-3


def ohms(low: float = -2, high: float = 3) -> st.SearchStrategy[float]:
    """Resistances of any size between two powers of ten."""
    return st.floats(low, high).map(lambda exponent: 10.0**exponent)


@st.composite
def fed_networks(draw: st.DrawFn) -> tuple[Incidence, Floats, Floats]:
    """A source on nodes 1-0 (branch 0), a feed 1-2 (branch 1), and resistances that join node 2 to all others but 1."""
    count = draw(st.integers(3, 7))
    ends = [(1, 0), (1, 2), (2, 0)]
    for node in range(3, count):
        ends.append((node, draw(st.sampled_from([0, *range(2, node)]))))
    for _ in range(draw(st.integers(0, 5))):
        a, b = (draw(st.sampled_from([0, *range(2, count)])) for _ in range(2))
        if a != b:
            ends.append((a, b))
    net = Incidence(count, np.array([a for a, _ in ends]), np.array([b for _, b in ends]))
    emf_v = np.zeros(len(ends))
    emf_v[0] = draw(st.floats(6, 15))
    return net, np.array([1 / draw(ohms()) for _ in ends]), emf_v


@RUNS
@given(fed_networks(), st.lists(ohms(-3, 5), min_size=2, max_size=6))
def test_more_resistance_in_a_feed_never_raises_any_loads_volts(
    network: tuple[Incidence, Floats, Floats], added_ohm: list[float]
) -> None:
    net, siemens, emf_v = network
    rows = np.tile(siemens, (len(added_ohm) + 1, 1))
    for row, ohm in enumerate(sorted(added_ohm), start=1):
        rows[row, 1] = 1 / (1 / siemens[1] + ohm)
    across = np.abs(net.across(Solved(net, Circuits.of(rows, np.tile(emf_v, (len(rows), 1)))).volts))[:, 2:]
    assert (np.diff(across, axis=0) <= 1e-9).all()


ON_ITS_WAY = [
    wire_name(*wire.split())
    for wire in ("battery.pos fuse.in", "fuse.out relay.30", "relay.87 pump.plus", "pump.minus bolt.stud")
]
"""Carry the pump's current and no other: what is shared may feed it backwards through the coil once it is open."""


@RUNS
@given(
    st.sampled_from([*(f"{wire}:bad" for wire in ON_ITS_WAY), "relay:contacts-burnt", "relay.30:bad"]),
    st.lists(st.floats(-2, 5), min_size=2, max_size=6),
    st.integers(0, 2**32 - 1),
)
def test_a_worse_joint_on_the_way_never_gives_the_pump_more(name: str, severities: list[float], seed: int) -> None:
    network = network_of("pump on a relay")
    fault = next(each for each in network.faults if each.name == name)
    cases = [Case(), *(Case(fault, 10.0**each) for each in sorted(severities)), Case(fault, OPEN)]
    bench = Bench(network, cases, random_draw(network, seed, 0.3, len(cases)))
    pump = network.branch_at["pump.motor"]
    for setup in (Setup("on"), Setup("cranking")):
        got = bench.net.across(bench.solved(setup).volts)[:, pump]
        state = bench.settled(setup)[0]
        motor = [device.branch for device in network.bends].index("pump.motor")
        turns = state.bent[:, motor] != 0
        assert (np.diff(turns.astype(int)) <= 0).all(), "once it stands, a worse joint does not start it"
        for alike in (turns, ~turns):  # at the point where it stops, its 0.7 ohm take the place of its back-EMF
            assert (np.diff(got[alike]) <= 1e-9).all()


# ---- devices with a memory

LOOP = Incidence(2, np.array([1, 1]), np.array([0, 0]))
"""A supply of 1 microhm and one branch on it."""


def no(shape: int = 0) -> tuple[Floats, npt.NDArray[np.bool_]]:
    return np.zeros((1, shape)), np.zeros((1, shape), dtype=bool)


def stepped(devices: Devices, ohm: float, supplies: list[float]) -> list[State]:
    """The states that devices on branch 1 settle in as the supply takes these volts one after another."""
    state, seen = devices.at_rest(1), []
    for volts in supplies:
        state, chatters = settle(
            LOOP, devices, Circuits.of(np.array([[1e6, 1 / ohm]]), np.array([[volts, 0.0]])), state
        )
        assert not chatters[0]
        seen.append(state)
    return seen


STEPS = st.lists(st.floats(0, 16), min_size=1, max_size=12)


@RUNS
@given(STEPS, st.floats(50, 120), st.floats(5, 9), st.floats(0.1, 0.8))
def test_a_relay_goes_in_at_its_pull_in_and_out_at_its_release_on_any_way_up_and_down(
    supplies: list[float], coil_ohm: float, pull_in_v: float, share: float
) -> None:
    release_v = share * pull_in_v
    assume(all(abs(v - edge) > 1e-3 for v in supplies for edge in (pull_in_v, release_v)))
    none, flags = no()
    amps = np.array([[pull_in_v / coil_ohm]]), np.array([[release_v / coil_ohm]])
    coil = Relays(np.array([1]), (), np.array([False]), *amps, np.ones((1, 1)), *no(1)[1:], *no(1)[1:])
    devices = Devices(
        coil, Fuses(np.array([], dtype=np.int64), flags[0], none),
        Bends(np.array([], dtype=np.int64), flags[0], none, none, none, none, flags), np.full(2, 1e-8),
    )  # fmt: skip
    is_in, expected = False, []
    for volts in supplies:
        is_in = volts >= pull_in_v or (is_in and volts > release_v)
        expected.append(is_in)
    assert [bool(state.pulled[0, 0]) for state in stepped(devices, coil_ohm, supplies)] == expected


@RUNS
@given(STEPS, st.booleans(), st.floats(2, 6), st.floats(0.5, 4))
def test_a_motor_starts_at_its_volts_and_turns_down_to_its_own_on_any_way_up_and_down(
    supplies: list[float], backwards: bool, start_v: float, emf_v: float
) -> None:
    keep_v, edge = emf_v + 0.01, max(start_v, emf_v + 0.01)
    assume(all(abs(v - each) > 1e-3 for v in supplies for each in (edge, keep_v)))
    none, flags = no()
    one = np.ones((1, 1))
    motor = Bends(np.array([1]), np.array([True]), one, one * emf_v, one * start_v, one * keep_v, no(1)[1])
    devices = Devices(
        Relays(np.array([], dtype=np.int64), (), flags[0], none, none, none, flags, flags),
        Fuses(np.array([], dtype=np.int64), flags[0], none), motor, np.full(2, 1e-8),
    )  # fmt: skip
    sign = -1 if backwards else 1
    turns, expected = False, []
    for volts in supplies:
        turns = volts > edge or (turns and volts > keep_v)
        expected.append(sign * turns)
    seen = stepped(devices, 0.7, [sign * volts for volts in supplies])
    assert [int(state.bent[0, 0]) for state in seen] == expected


@RUNS
@given(STEPS, st.floats(1, 12), st.booleans())
def test_a_fuse_once_blown_stays_so_and_a_breaker_forgets(supplies: list[float], blow_a: float, resets: bool) -> None:
    assume(all(abs(v - blow_a) > 1e-3 for v in supplies))
    none, flags = no()
    devices = Devices(
        Relays(np.array([], dtype=np.int64), (), flags[0], none, none, none, flags, flags),
        Fuses(np.array([1]), np.array([resets]), np.array([[blow_a]])),
        Bends(np.array([], dtype=np.int64), flags[0], none, none, none, none, flags), np.full(2, 1e-8),
    )  # fmt: skip
    blown, expected = False, []
    for volts in supplies:
        blown = volts > blow_a or (blown and not resets)
        expected.append(blown)
    assert [bool(state.blown[0, 0]) for state in stepped(devices, 1.0, supplies)] == expected


def test_the_properties_meet_every_key_state_and_chains_of_devices() -> None:
    """Or they would say little: the circuits above have all seven key states, and relays, fuses, bends each."""
    networks = [network_of(name) for name in NAMES]
    assert {key for network in networks for key in network.circuit.keys} == {
        "off", "accessory", "prime", "on", "cranking", "running", "remote",
    }  # fmt: skip
    assert all(network.bends and network.fuses for network in networks)
    assert len(SHIPPED) >= 13
    assert sum(bool(network.relays) for network in networks) >= 20
    assert pump_on_relay().relays
