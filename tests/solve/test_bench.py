"""The shipped circuit on the bench: what key, relay, fuses and pump do, healthy and with faults."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from troubleshoot.circuit import Network, Setup, list_checks, wire_up
from troubleshoot.files.circuit_file import load_circuit
from troubleshoot.solve import base
from troubleshoot.solve.cases import OPEN, Bench, Case, Draw
from troubleshoot.solve.linear import Circuits, Incidence, Solved

NOTHING: frozenset[str] = frozenset()
SHIPPED = Path(__file__).parents[2] / "trees" / "pump-on-ignition-feed"


@pytest.fixture(scope="module")
def network() -> Network:
    return wire_up(load_circuit(SHIPPED))


def case(network: Network, name: str, severity: float | None = None) -> Case:
    return Case(next(fault for fault in network.faults if fault.name == name), severity)


def runs(network: Network, *cases: Case, removed: frozenset[str] = NOTHING) -> list[dict[str, bool]]:
    """Whether the pump turns in each key state, for each case."""
    bench = Bench(network, cases)
    states = {key: bench.settled(Setup(key, removed)) for key in KEYS}
    assert not any(chatters.any() for _, chatters in states.values())
    return [{key: bool(states[key][0].bent[row, PUMP] == 1) for key in KEYS} for row in range(len(cases))]


def volts(bench: Bench, key: str, red: str, removed: frozenset[str] = NOTHING) -> list[float]:
    """Volts of a node against battery negative in a key state, each case; no meter in the circuit."""
    return [float(each) for each in bench.solved(Setup(key, removed)).volts[:, bench.node_at[red]]]


def every_case(network: Network) -> list[Case]:
    """Healthy, and each fault at its ends: lightest, heaviest and open."""
    cases = [Case()]
    for fault in network.faults:
        if fault.severity is None:
            cases.append(Case(fault))
            continue
        cases.append(Case(fault, fault.severity.low))
        cases.append(Case(fault, fault.severity.high))
        if fault.severity.open_share:
            cases.append(Case(fault, OPEN))
    return cases


# ---- what the pump does

KEYS = ("off", "accessory", "on", "cranking", "running", "remote")
"""Those of the shipped circuit: it has no controller, and so no prime."""

PUMP = 0
"""Where the pump stands among what bends; behind it are the test lamps."""


def live_in(*keys: str) -> dict[str, bool]:
    return {key: key in keys for key in KEYS}


ALL_LIVE = live_in("on", "cranking", "running", "remote")
NEVER = dict.fromkeys(KEYS, False)


def test_the_healthy_pump_runs_with_the_key_on_and_while_cranking_and_not_off(network: Network) -> None:
    assert runs(network, Case()) == [ALL_LIVE]


@pytest.mark.parametrize(
    ("fault", "expected"),
    [
        ("ignition_out:accessory-feed", live_in("accessory", "on", "running", "remote")),
        # a remote button on the solenoid's 50 feeds back along the trigger wire to all that hangs on the switch's 50
        ("ignition_out:start-feed", live_in("cranking", "remote")),
        ("relay:contacts-welded", dict.fromkeys(KEYS, True)),
        ("relay:87a-used-for-87", live_in("off", "accessory")),
        ("relay:coil-two-grounds", NEVER),
        ("relay:coil-two-feeds", NEVER),
        ("relay:coil-open", NEVER),
        ("relay:contacts-stuck-open", NEVER),
        ("coil_fuse:blown", NEVER),
        ("main_fuse:blown", NEVER),
        ("pump:open", NEVER),
        ("pump:seized", NEVER),
    ],
)
def test_a_fault_makes_the_pump_run_in_just_these_key_states(
    network: Network, fault: str, expected: dict[str, bool]
) -> None:
    assert runs(network, case(network, fault)) == [expected]


@pytest.mark.parametrize(
    ("fault", "key"), [("ignition_out:accessory-feed", "cranking"), ("relay:87a-used-for-87", "on")]
)
def test_a_pump_that_has_lost_its_feed_has_no_volts(network: Network, fault: str, key: str) -> None:
    bench = Bench(network, [case(network, fault)])
    # Across the pump: against the battery's post its ground pin stands 0.2 V up while the starter draws.
    assert abs(volts(bench, key, "pump.plus")[0] - volts(bench, key, "pump.minus")[0]) < 0.01


def test_the_relay_never_pulls_in_with_two_grounds_on_its_coil(network: Network) -> None:
    bench = Bench(network, [case(network, "relay:coil-two-grounds")])
    relay = [device.name for device in network.relays].index("relay")
    assert not any(bench.settled(Setup(key))[0].pulled[0, relay] for key in KEYS)


def test_one_bad_car_beside_a_good_one_changes_nothing_for_either(network: Network) -> None:
    bad = case(network, "relay:contacts-welded")
    together = runs(network, Case(), bad, Case())
    assert together == runs(network, Case()) + runs(network, bad) + runs(network, Case())


# ---- fuses


def blown(network: Network, bench: Bench, key: str) -> dict[str, bool]:
    state, _ = bench.settled(Setup(key))
    names = [device.name for device in network.devices if device.name in ("main_fuse", "link", "coil_fuse")]
    return {name: bool(each) for name, each in zip(names, state.blown[0], strict=True)}


@pytest.mark.parametrize(
    ("fault", "fuse"),
    [("pump_wire:shorted", "main_fuse"), ("coil_feed:shorted", "coil_fuse"), ("switch_feed:shorted", "link")],
)
def test_a_short_has_blown_its_own_fuse_and_the_fuse_stays_blown(network: Network, fault: str, fuse: str) -> None:
    for ohm in (0.01, 0.2):
        bench = Bench(network, [case(network, fault, ohm)])
        for key in KEYS:
            assert [name for name, is_blown in blown(network, bench, key).items() if is_blown] == [fuse]


def test_no_fuse_of_the_healthy_circuit_blows(network: Network) -> None:
    bench = Bench(network, [Case()])
    assert not any(blown(network, bench, "running").values())


def test_a_blown_main_fuse_leaves_the_relay_working_and_87_dead(network: Network) -> None:
    bench = Bench(network, [case(network, "main_fuse:blown")])
    relay = [device.name for device in network.relays].index("relay")
    assert bench.settled(Setup("on"))[0].pulled[0, relay]
    assert abs(volts(bench, "on", "relay.87")[0]) < 0.01
    assert volts(bench, "on", "main_fuse.in")[0] > 12.0


# ---- setups


def test_with_the_relay_out_the_coil_is_dead_and_the_pump_stands(network: Network) -> None:
    bench = Bench(network, [Case()])
    out = frozenset({"relay"})
    state, _ = bench.settled(Setup("on", out))
    amps = bench.solved(Setup("on", out)).currents()[0]
    assert not state.pulled[0].any()
    assert state.bent[0, PUMP] == 0
    assert abs(amps[network.branch_at["relay.coil"]]) < 1e-5
    assert volts(bench, "on", "relay.86", out)[0] > 12.0


def test_an_unplugged_pump_leaves_its_feed_pin_at_battery_volts(network: Network) -> None:
    bench = Bench(network, [Case()])
    assert volts(bench, "on", "pump.plus", frozenset({"pump"}))[0] > 12.2
    assert runs(network, Case(), removed=frozenset({"pump"})) == [NEVER]


def test_cranking_pulls_the_battery_down_and_charging_lifts_it(network: Network) -> None:
    bench = Bench(network, [Case()])
    cranking, resting, charging = (volts(bench, key, "battery.pos")[0] for key in ("cranking", "off", "running"))
    assert 9.6 < cranking < resting - 1.0  # 9.6 V: shop rule for a good battery, from memory
    assert 13.5 < charging < 15.0  # typical maker band, no single source


# ---- severity


@pytest.mark.parametrize(
    "fault", ["pump_wire:bad", "fused_feed:bad", "pump_bolt:bad-joint", "pump_ground:bad", "feed_wire:bad"]
)
def test_the_pump_gets_less_the_worse_a_joint_is(network: Network, fault: str) -> None:
    severities = [0.0, 0.01, 0.03, 0.1, 0.3, 1.0, 2.0, 5.0, 30.0, 1e3, 1e5, OPEN]
    bench = Bench(network, [case(network, fault, ohm) for ohm in severities])
    plus, minus = (np.array(volts(bench, "on", f"pump.{pin}")) for pin in ("plus", "minus"))
    got = plus - minus
    assert (np.diff(got) < 0).all()
    assert got[0] > 11.5
    assert got[-1] < 0.01


def test_a_half_ohm_in_the_pump_ground_shows_on_the_ground_pin_and_nowhere_before_it(
    network: Network,
) -> None:
    bench = Bench(network, [Case(), case(network, "pump_bolt:bad-joint", 0.5)])
    healthy, bad = volts(bench, "on", "pump.minus")
    assert healthy < 0.1
    assert 1.5 < bad < 3.5
    assert np.diff(volts(bench, "on", "relay.30"))[0] > 0


def test_the_relay_needs_its_pull_in_volts_only_where_the_coil_is_first_fed(network: Network) -> None:
    """With a pull-in above the cranking volts: in at `on`, it holds; first fed then, it stays out."""
    draw = Draw.nominal(network, 2)
    draw.ln_pull_in[:, [device.name for device in network.relays].index("relay")] = np.log(11.5 / 6.8)
    bench = Bench(network, [Case(), case(network, "ignition_out:start-feed")], draw)
    assert volts(bench, "cranking", "relay.86")[0] < 11.5 < volts(bench, "on", "relay.86")[0]
    relay = [device.name for device in network.relays].index("relay")
    state, _ = bench.settled(Setup("cranking"))
    assert state.pulled[:, relay].tolist() == [True, False]


# ---- all faults at once


FLOATS_OHM = 1e4
"""A node with more ohms than this to the battery is held by leakage, or by a joint that is as good as open."""


@pytest.mark.parametrize("key", KEYS)
def test_all_cases_together_equal_each_alone(network: Network, key: str) -> None:
    """To a nanovolt; to a millivolt where a node floats, which is what leakage of 1e-8 S leaves of a double."""
    bench = Bench(network, every_case(network))
    setup = Setup(key)
    siemens, emf_v = bench.arrays(setup, bench.settled(setup)[0])
    together = Solved(bench.net, Circuits.of(siemens, emf_v))
    alone = np.stack([
        Solved(bench.net, Circuits.of(siemens[row : row + 1], emf_v[row : row + 1])).volts[0]
        for row in range(len(bench.cases))
    ])  # fmt: skip
    held_ohm = np.stack([together.between(node, 0)[:, node] for node in range(bench.net.count)], axis=1)
    floats = held_ohm > FLOATS_OHM
    off_v = np.abs(together.volts - alone)
    assert floats.mean() < 0.5
    assert off_v[~floats].max() <= 1e-9
    assert off_v[floats].max() <= 1e-3


def test_ohms_with_the_power_off_are_those_of_a_solution_of_their_own(network: Network) -> None:
    """Every ohms check and every fault against plain solving, at a thousandth: everything floats then."""
    bench = Bench(network, every_case(network))
    matrix = bench.net.matrix()
    solved: dict[Setup, tuple[Solved, np.ndarray]] = {}
    for check in list_checks(network):
        if not check.is_ohms:
            continue
        out = check.setup
        if out not in solved:
            siemens, emf_v = bench.arrays(out, bench.settled(out)[0])
            solved[out] = Solved(bench.net, Circuits.of(siemens, emf_v)), (matrix * siemens[:, None, :]) @ matrix.T
        lifted, nodal = solved[out]
        red, black = bench.node_at[check.red], bench.node_at[check.black]
        between = lifted.between(red, black)
        pair = np.zeros((nodal.shape[0], nodal.shape[1], 1))
        for node, amps in ((red, 1.0), (black, -1.0)):
            if node:
                pair[:, node - 1] = amps
        plain = (np.linalg.solve(nodal, pair) * pair).sum(axis=(1, 2))
        wrong = np.abs((between[:, red] - between[:, black]) / plain - 1)
        assert wrong.max() < 1e-3, (check.id, bench.cases[int(wrong.argmax())])


def test_a_large_circuits_sparse_base_gives_what_a_dense_one_gives(
    network: Network, monkeypatch: pytest.MonkeyPatch
) -> None:
    """To a nanovolt; to a millivolt where a node floats. And the replies behind a reading, to a part in a million."""
    bench = Bench(network, every_case(network))
    at = np.array([bench.node_at[node] for node in ("pump.plus", "relay.86")])
    for setup in (Setup("on"), Setup("off", frozenset({"battery", "relay", "pump"}))):
        circuits = bench.circuits(setup, bench.settled(setup)[0])
        found = []
        for sparse_from in (10**6, 0):
            monkeypatch.setattr(base, "SPARSE_FROM", sparse_from)
            net = Incidence(bench.net.count, bench.net.a, bench.net.b)  # one that keeps no base yet
            solved = Solved(net, circuits)
            found.append((solved.volts, solved.source_ohm(at, 0 * at), solved.replies(at, 0 * at)))
        dense, sparse = found
        floats = dense[1].max(axis=1) > FLOATS_OHM
        off_v = np.abs(dense[0] - sparse[0]).max(axis=1)
        assert off_v[~floats].max(initial=0.0) <= 1e-6
        assert off_v.max() <= 1e-3
        assert sparse[1] == pytest.approx(dense[1], rel=1e-3)
        assert sparse[2][~floats] == pytest.approx(dense[2][~floats], rel=1e-6, abs=1e-6)
