"""The solver against ngspice, and against what ngspice said when it was last here. Outside checks."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import bends
import deck
import netlist
import ngspice
import pieces
import pytest
import stored
import wiring
from ask import ask_ngspice, ask_solver
from compare import Score, compare, compare_volts, whole
from loop import loop_by_hand, loop_in_ngspice, loop_in_solver
from shipped import names, network_of
from spice_run import is_here, run
from which import list_cases, name_case, name_setup, pairs_of, setups_of, some_of

from troubleshoot.circuit import Setup
from troubleshoot.parts.keys import BEFORE

needs_ngspice = pytest.mark.skipif(not is_here(), reason="no ngspice here: the stored copy is compared")

BAR_REL = 1e-4
"""How far the solver may be from ngspice, of the larger of |v| and 1 V."""

HERE = Path(ngspice.__file__).resolve().parent


# ---- what ngspice once said


@pytest.fixture(scope="module")
def kept() -> dict[str, Score]:
    told = stored.read_store()
    return {name: stored.score_stored(name, told) for name in names()}


def test_the_solver_gives_the_volts_that_ngspice_once_gave_for_every_shipped_circuit(kept: dict[str, Score]) -> None:
    assert {name: score.wrong for name, score in kept.items() if score.wrong} == {}
    sums = whole(kept)
    assert sums.worst_rel <= BAR_REL
    assert sums.cases > 1000
    assert sums.nodes > 5000


def test_the_solver_gives_the_ohms_that_ngspice_once_gave(kept: dict[str, Score]) -> None:
    assert {name: score.wrong_ohms for name, score in kept.items() if score.wrong_ohms} == {}
    sums = whole(kept)
    assert sums.ohms - sums.over_limit > 150


def test_every_fault_of_every_shipped_circuit_is_in_the_stored_copy() -> None:
    told = stored.read_store()
    assert set(told) == set(names())
    for name in names():
        faults = {row.partition(" ")[0] for row in told[name]["volts"]}
        assert faults == {fault.name for fault in network_of(name).faults} | {"healthy"}


def test_the_stored_copy_is_small() -> None:
    assert stored.STORED.stat().st_size < 300_000


def test_a_stored_copy_of_another_circuit_is_refused() -> None:
    name = names()[0]
    told = stored.read_store()
    told[name]["circuit"] = "of another"
    with pytest.raises(stored.StaleCopyError, match="--store"):
        stored.score_stored(name, told)


def test_a_stored_voltage_that_is_off_by_2_millivolts_is_noticed() -> None:
    name = "pump-on-ignition-feed"
    told = stored.read_store()
    volts = told[name]["volts"]["healthy"][0]
    volts[:] = [volt + 0.002 for volt in volts]
    assert [line for line in stored.score_stored(name, told).wrong if line.startswith("healthy, off")]


# ---- ngspice itself


@needs_ngspice
@pytest.mark.slow
@pytest.mark.parametrize("name", names())
def test_ngspice_finds_the_same_states_and_volts_in_every_setup(name: str) -> None:
    """The healthy circuit and a few of its faults, others than the program's quick run takes."""
    found = ngspice.check(name, seed=3, sample=8)
    assert found.wrong == []
    assert found.wrong_ohms == []
    assert found.worst_rel <= BAR_REL
    assert found.cases + found.chatter + found.near_threshold == 9 * len(setups_of(network_of(name)))


@needs_ngspice
def test_ngspice_finds_the_same_states_and_volts_for_a_few_faults_of_one_circuit() -> None:
    found = ngspice.check("training-bench", seed=1, sample=5)
    assert found.wrong == []
    assert found.cases > 80


def melts_in_its_own_time(lines: deck.Deck, meter: str, blow_a: float) -> str:
    """A wrong fuse: far over its limit it takes as long as just above it."""
    overloaded = lines.lagged(f"abs(i({meter})) > {blow_a:.17g} ? 1 : 0", deck.FUSE_LAG_OHM_F)
    return lines.latch(overloaded, 0.9, -1.0)


PUMP = "pump-on-ignition-feed"
LATE = {"acc": {"on"}, "15": {"on"}, "50": {"cranking"}}


@needs_ngspice
@pytest.mark.slow
@pytest.mark.parametrize(
    ("circuit", "where", "name", "wrong_value", "fault"),
    [
        (PUMP, pieces, "BLOWS_AT", 200.0, "fused_feed:shorted"),
        (PUMP, pieces, "LIVE_FROM_30", LATE, "healthy"),
        (PUMP, pieces, "LEAK_OHM", 1.0, "pump:open"),
        (PUMP, pieces, "fuse_state", melts_in_its_own_time, "coil_feed:shorted"),
        (PUMP, pieces, "RUNS_DOWN_V", 0.0, "relay:87a-used-for-87"),
        (PUMP, pieces, "COIL_WARMER_K", 0.0, "healthy"),
        (PUMP, pieces, "EXTENSION_OHM", 0.1, "healthy"),
        (PUMP, pieces, "SOLENOID_PULLS_A", 500.0, "healthy"),
        ("driving-lamps", bends, "LAMP_EXPONENT", 0.5, "healthy"),
        ("driving-lamps", wiring, "MIDDLE", {"two makes": ()}, "healthy"),
        ("horn-button-to-ground", pieces, "SOUNDS_DOWN_TO", 20.0, "healthy"),
        ("training-bench", bends, "FOLDED_OHM", 2.0, "pump:seized"),
        ("pump-oil-changeover", pieces, "OIL_PRESSURE", {"on"}, "healthy"),
        ("pump-controller-grounds", pieces, "ENGINE_TURNS", {"on"}, "healthy"),
        ("pump-controller-grounds", netlist, "STANDS_STILL", ("off",), "healthy"),
    ],
)
def test_a_mistake_in_the_netlist_shows(
    monkeypatch: pytest.MonkeyPatch, circuit: str, where: ModuleType, name: str, wrong_value: object, fault: str
) -> None:
    """That both sides agree says something only if a difference between them would be seen."""
    network = network_of(circuit)
    cases = [case for case in list_cases(network, 1, seed=0) if name_case(case).split(" ")[0] == fault]
    assert len(cases) == 1
    assert whole(compare(network, cases, ask_ngspice(network, cases))).wrong == []
    monkeypatch.setattr(where, name, wrong_value)
    try:
        found = whole(compare(network, cases, ask_ngspice(network, cases)))
    except KeyError:
        return  # a node is missing, which is noticed as well
    assert found.wrong


@needs_ngspice
@pytest.mark.parametrize("over", [(3.0, 2.0), (2.0, 3.0), (1.2, 1.8), (40.0, 5.0), (5.0, 40.0)])
@pytest.mark.parametrize("late_s", [1e-6, 1e-3, 20e-3])
def test_in_ngspice_the_fuse_further_over_its_limit_melts_and_spares_the_other(
    over: tuple[float, float], late_s: float
) -> None:
    """Two in series across 12 V and 0.1 ohm, so 120 A, once a switch closes that answers `late_s` late."""
    lines = deck.Deck("0", (deck.Segment("off"), deck.Segment("on")))
    closes = lines.lagged(f"v({lines.wave((False, True))})", (1e3, late_s / 1e3))
    lines.lines.append("vbattery post 0 12")
    lines.switch("post", "fuse1", closes, 0.1, deck.LEAK_OHM)
    states = []
    for index, times in enumerate(over, start=1):
        meter, beyond = lines.ammeter(f"fuse{index}")
        states.append(deck.fuse_state(lines, meter, 120.0 / times))
        lines.switch(beyond, f"fuse{index + 1}", states[-1], deck.LEAK_OHM, 1e-4)
    lines.resistor("fuse3", "0", 1e-4)
    found = run(lines.text("two fuses", states))
    molten = [bool(found[f"v({state})"][-1] > 0.5) for state in states]
    assert molten == [over[0] > over[1], over[1] > over[0]]


@needs_ngspice
def test_in_ngspice_a_fuse_blown_in_the_past_stays_so_and_a_breaker_closes_again() -> None:
    """120 A while the key is on: in the past, and after fuses blown since have been put back."""
    past = (deck.Segment("off", past=True), deck.Segment("on", past=True))
    later = (deck.Segment("off", dead=True, fresh=True), deck.Segment("off"), deck.Segment("on"), deck.Segment("off"))
    for with_past, whole_at_last in ((True, False), (False, True)):
        for state in (deck.fuse_state, deck.breaker_state):
            lines = deck.Deck("0", (past if with_past else ()) + later)
            lines.lines.append("vbattery post 0 12")
            lines.follow("post", "fuse", 0.1, lines.keyed({"on"}))
            meter, beyond = lines.ammeter("fuse")
            opened = state(lines, meter, 40.0)
            lines.switch(beyond, "0", opened, deck.LEAK_OHM, 1e-4)
            found = run(lines.text("in the past and later", [opened]))
            at = [found[f"v({opened})"][found["time"] <= lines.end_of(i)][-1] > 0.5 for i in range(len(lines.timeline))]
            off, on, last = at[-3:]
            assert on
            if state is deck.breaker_state:
                assert (off, last) == (False, False)
            else:
                assert (off, last) == (not whole_at_last, True)


@needs_ngspice
def test_in_ngspice_a_bench_supply_gives_its_volts_up_to_its_limit_and_then_its_current() -> None:
    for ohm, volts, tolerance in ((12.0, 12.0, 1e-3), (1.0, 3.0, 0.1)):
        lines = deck.Deck("0", (deck.Segment("off"),))
        bends.limited(lines, "post", "0", 12.0, 1e-4, 3.0)
        lines.resistor("post", "0", ohm)
        found = run(lines.text("a bench supply", ["post"]))
        assert found["v(post)"][-1] == pytest.approx(volts, abs=tolerance)


@needs_ngspice
@pytest.mark.parametrize("curved", [False, True])
def test_in_ngspice_a_lamp_takes_its_watts_at_its_rating_and_a_diode_drops_seven_tenths(curved: bool) -> None:
    lines = deck.Deck("0", (deck.Segment("off"),), curved)
    lines.lines.append("vlamp lamp 0 13.2")
    meter, beyond = lines.ammeter("lamp")
    bends.filament(lines, beyond, "0", 55.0)
    lines.lines += [f"bseen seen 0 v=i({meter})", "vfeed feed 0 12.7"]
    lines.resistor("feed", "anode", 8.0)
    bends.diode(lines, "anode", "0")
    found = run(lines.text("a lamp and a diode", ["seen", "anode"]))
    assert found["v(seen)"][-1] == pytest.approx(55.0 / 13.2, rel=1e-3)
    assert found["v(anode)"][-1] == pytest.approx(0.7, abs=0.06)


def test_the_solver_pulls_in_and_releases_where_ohms_law_says() -> None:
    assert loop_in_solver() == pytest.approx(loop_by_hand(), abs=1e-5)


@needs_ngspice
def test_the_hysteresis_loop_is_the_same_in_ngspice() -> None:
    # the ramp is 0.8 V/s, and ngspice's relay answers half a millisecond late, in steps of 1 ms
    up, down = loop_in_ngspice()
    assert (up, down) == pytest.approx(loop_in_solver(), abs=4e-3)
    assert up - down > 4.0


# ---- the program


def test_without_ngspice_the_stored_copy_is_used_and_the_last_line_says_so(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "argv", ["ngspice.py", "training-bench", "pump-by-switch"])
    monkeypatch.setattr(ngspice, "is_here", lambda: False)
    assert ngspice.main() == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in lines[:3]] == ["circuit", "training-bench", "pump-by-switch"]
    told = json.loads(lines[-1])
    assert told["circuits"] == 2
    assert told["worst_rel"] <= BAR_REL
    assert told["worst_abs_v"] <= 1e-3
    assert told["solves"] > 100
    assert told["disagreed_states"] == 0
    assert told["live"] is False


def test_a_disagreement_makes_the_program_fail(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    told = stored.read_store()
    told["training-bench"]["volts"]["healthy"][0][:] = [99.0] * len(told["training-bench"]["volts"]["healthy"][0])
    monkeypatch.setattr(sys, "argv", ["ngspice.py", "training-bench"])
    monkeypatch.setattr(ngspice, "is_here", lambda: False)
    monkeypatch.setattr(ngspice, "read_store", lambda: told)
    assert ngspice.main() == 1
    assert json.loads(capsys.readouterr().out.splitlines()[-1])["disagreed_states"] == 1


def test_a_chatter_that_only_one_side_finds_counts_as_wrong() -> None:
    network = network_of("training-bench")
    cases = list_cases(network, 1, 0)[:1]
    answer = next(ask_solver(network, cases))
    score = Score()
    compare_volts(score, answer, 0, cases[0], None, network)
    assert score.wrong == ["only ngspice chatters: healthy, off"]


# ---- independence


def test_the_netlist_shares_nothing_with_the_solver() -> None:
    """In a fresh process, with an empty `circuit/__init__`, since the real one pulls in everything."""
    stand_in = (
        "import sys, types, pathlib; sys.path.insert(0, {here!r}); import troubleshoot;"
        "room = types.ModuleType('troubleshoot.circuit'); "
        "room.__path__ = [str(pathlib.Path(troubleshoot.__file__).parent / 'circuit')];"
        "sys.modules['troubleshoot.circuit'] = room; import netlist;"
        "print(' '.join(name for name in sys.modules if name.startswith('troubleshoot')))"
    )
    code = stand_in.format(here=str(HERE))
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = told.stdout.split()
    assert "troubleshoot.circuit.circuit" in loaded
    assert not {f"troubleshoot.circuit.{room}" for room in ("network", "setups", "faults", "fittings")} & set(loaded)
    assert not [name for name in loaded if name.startswith("troubleshoot.solve")]


def test_the_netlist_asks_no_part_for_its_own_electrical_picture() -> None:
    asked = ("anatomy", "wire_up", "wire_ohm", "ohm_per_m", "open_circuit_v", "Branch", "troubleshoot.solve",
             "troubleshoot.parts", ".numbers", ".terminals", "is_operated", "circuit.keys", ".spoken")  # fmt: skip
    for name in ("netlist.py", "pieces.py", "trouble.py", "wiring.py", "deck.py", "bends.py"):
        source = (HERE / name).read_text(encoding="utf-8")
        assert [word for word in asked if word in source] == []


def test_a_fault_that_the_netlist_does_not_know_is_refused() -> None:
    circuit = network_of(PUMP).circuit
    for fault in ("pump:haunted", "fused_feed:haunted", "relay:haunted"):
        with pytest.raises(KeyError, match=fault):
            netlist.write_netlist(circuit, fault, 1.0, [Setup("off")])


def test_every_fault_of_every_shipped_circuit_is_known_to_the_netlist_and_alters_it() -> None:
    """A fault that leaves the netlist as it was would pass as healthy. A contact for 50 does nothing where the key
    never cranks."""
    for name in names():
        network = network_of(name)
        setups = [Setup(key) for key in network.circuit.keys]
        plain = netlist.write_netlist(network.circuit, "", None, setups).text.partition("\n")[2]
        for case in list_cases(network, 1, 0)[1:]:
            assert case.fault
            if case.fault.mode == "contact-50" and "cranking" not in network.circuit.keys:
                continue
            text = netlist.write_netlist(network.circuit, case.fault.name, case.severity, setups).text
            assert text.partition("\n")[2] != plain, case.fault.name


# ---- what is compared


def test_every_setup_is_come_to_through_the_same_key_states_on_both_sides() -> None:
    for name in names():
        circuit = network_of(name).circuit
        for setup in setups_of(network_of(name)):
            way = netlist.way_to(circuit, setup)
            keys = [setup.key]
            while keys[0] != "off":
                keys.insert(0, BEFORE[keys[0]])
            assert list(dict.fromkeys(s.key for s in way)) == [key for key in keys if key in circuit.keys]
            assert (way[-1].key, way[-1].out, way[-1].operated) == (setup.key, setup.removed, setup.operated)


def test_the_ohms_of_a_circuit_are_asked_where_the_power_is_off() -> None:
    for name in names():
        pairs = pairs_of(network_of(name))
        assert pairs
        assert all(network_of(name).circuit.battery in setup.removed for setup in pairs)


def test_a_sample_has_the_healthy_circuit_and_goes_round_with_the_seed() -> None:
    cases = list_cases(network_of(PUMP), 1, 0)
    one, other = some_of(cases, 5, 0), some_of(cases, 5, 1)
    assert one[0].fault is None
    assert len({name_case(case) for case in one}) == 6
    assert not {name_case(case) for case in one[1:]} & {name_case(case) for case in other[1:]}


def test_the_setups_of_a_circuit_have_names_of_their_own() -> None:
    for name in names():
        told = [name_setup(setup) for setup in setups_of(network_of(name))]
        assert len(set(told)) == len(told)


def test_a_key_state_lasts_much_longer_than_any_lag() -> None:
    for ohm, farad in (deck.RELAY_LAG_OHM_F, bends.FILAMENT_LAG_OHM_F, deck.FUSE_LAG_OHM_F):
        assert ohm * farad * 10 < deck.SEGMENT_S
