"""The solver against ngspice, and against what ngspice said when it was last here. Outside checks."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import deck
import netlist
import ngspice
import pytest
from ask import ask_ngspice
from compare import Score, compare
from loop import loop_by_hand, loop_in_ngspice, loop_in_solver
from spice_run import is_here, run
from which import list_cases, list_runs, name_case

from troubleshoot.circuit import Network, wire_up
from troubleshoot.circuit.checks import list_setups
from troubleshoot.files.circuit_file import load_circuit

needs_ngspice = pytest.mark.skipif(not is_here(), reason="no ngspice here: the stored copy is compared")


@pytest.fixture(scope="module")
def network() -> Network:
    return wire_up(load_circuit(ngspice.CIRCUIT))


@pytest.fixture(scope="module")
def stored() -> Score:
    return ngspice.whole(ngspice.check(1, 0, live=False))


def test_the_solver_gives_the_volts_that_ngspice_once_gave(stored: Score) -> None:
    assert stored.wrong == []
    assert stored.worst_rel <= 1e-4
    assert stored.cases > 300
    assert stored.nodes > 15_000


def test_the_solver_gives_the_ohms_that_ngspice_once_gave(stored: Score) -> None:
    assert stored.wrong_ohms == []
    assert stored.ohms - stored.over_limit > 150


def test_a_stored_copy_of_another_circuit_is_refused(
    network: Network, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = json.loads(ngspice.STORED.read_text(encoding="utf-8")) | {"circuit_sha256": "of another"}
    stale = tmp_path / "stale.json"
    stale.write_text(json.dumps(kept), encoding="utf-8")
    monkeypatch.setattr(ngspice, "STORED", stale)
    with pytest.raises(ngspice.StaleCopyError, match="--store"):
        ngspice.from_store(network)


def test_a_stored_voltage_that_is_off_by_2_millivolts_is_noticed(network: Network) -> None:
    cases, table = ngspice.from_store(network)
    volts = table["healthy"]["off"]
    assert volts is not None
    volts[network.nodes.index("battery.pos")] += 0.002
    found = ngspice.whole(compare(network, cases, table, partial=True))
    assert [line for line in found.wrong if line.startswith("healthy, off: battery.pos")]


@needs_ngspice
def test_ngspice_finds_the_same_states_and_volts_for_every_fifth_case(network: Network) -> None:
    cases = list_cases(network, 1, seed=1)[::5]
    found = ngspice.whole(compare(network, cases, ask_ngspice(network, cases)))
    assert found.wrong == []
    assert found.worst_rel <= 1e-4
    assert found.cases + found.chatter + found.near_threshold == len(cases) * 11


def melts_in_its_own_time(lines: deck.Deck, meter: str, blow_a: float) -> str:
    """A wrong fuse: far over its limit it takes as long as just above it."""
    overloaded = lines.lagged(f"abs(i({meter})) > {blow_a:.17g} ? 1 : 0", deck.FUSE_LAG_OHM_F)
    return lines.latch(overloaded, 0.9, -1.0)


@needs_ngspice
@pytest.mark.parametrize(
    ("where", "name", "wrong_value", "fault"),
    [
        (netlist, "BLOWS_AT", 200.0, "fused_feed:shorted"),
        (netlist, "LIVE_FROM_30", {"acc": {"on"}, "15": {"on"}, "50": {"cranking"}}, "healthy"),
        (netlist, "LEAK_OHM", 1.0, "pump:open"),
        (netlist, "fuse_state", melts_in_its_own_time, "coil_feed:shorted"),
        (deck, "RUNS_DOWN_V", 0.0, "relay:87a-used-for-87"),
    ],
)
def test_a_mistake_in_the_netlist_shows(
    network: Network, monkeypatch: pytest.MonkeyPatch, where: ModuleType, name: str, wrong_value: object,
    fault: str,
) -> None:  # fmt: skip
    """That both sides agree says something only if a difference between them would be seen."""
    cases = [case for case in list_cases(network, 1, seed=0) if name_case(case).split(" ")[0] == fault]
    assert ngspice.whole(compare(network, cases, ask_ngspice(network, cases))).wrong == []
    monkeypatch.setattr(where, name, wrong_value)
    assert ngspice.whole(compare(network, cases, ask_ngspice(network, cases))).wrong


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


def test_the_last_line_has_the_figures_that_are_looked_for(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "argv", ["ngspice.py", "--quick"])
    monkeypatch.setattr(ngspice, "is_here", lambda: False)
    assert ngspice.main() == 0
    told = json.loads(capsys.readouterr().out.splitlines()[-1])
    assert told["worst_rel"] <= 1e-4
    assert told["worst_abs_v"] <= 1e-3
    assert told["cases"] > 300
    assert told["live"] is False


@pytest.mark.slow
@needs_ngspice
def test_ngspice_agrees_on_every_fault_at_three_severities(network: Network) -> None:
    found = ngspice.whole(ngspice.check(3, seed=0, live=True))
    assert found.wrong == []
    assert found.wrong_ohms == []
    assert found.worst_rel <= 1e-4
    assert found.cases > 1800
    assert found.near_threshold <= found.cases // 100


def test_the_solver_pulls_in_and_releases_where_ohms_law_says() -> None:
    assert loop_in_solver() == pytest.approx(loop_by_hand(), abs=1e-5)


@needs_ngspice
def test_the_hysteresis_loop_is_the_same_in_ngspice() -> None:
    # the ramp is 0.8 V/s, and ngspice's relay answers 1 ms late, in steps of 1 ms
    up, down = loop_in_ngspice()
    assert (up, down) == pytest.approx(loop_in_solver(), abs=4e-3)
    assert up - down > 4.0


def test_the_netlist_shares_nothing_with_the_solver() -> None:
    """In a fresh process, with an empty `circuit/__init__`, since the real one pulls in everything."""
    stand_in = (
        "import sys, types, pathlib; sys.path.insert(0, {here!r}); import troubleshoot;"
        "room = types.ModuleType('troubleshoot.circuit'); "
        "room.__path__ = [str(pathlib.Path(troubleshoot.__file__).parent / 'circuit')];"
        "sys.modules['troubleshoot.circuit'] = room; import netlist;"
        "print(' '.join(name for name in sys.modules if name.startswith('troubleshoot')))"
    )
    code = stand_in.format(here=str(ngspice.HERE))
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = told.stdout.split()
    assert "troubleshoot.circuit.circuit" in loaded
    assert "troubleshoot.circuit.network" not in loaded
    assert not [name for name in loaded if name.startswith("troubleshoot.solve")]


def test_the_netlist_asks_no_part_for_its_own_electrical_picture() -> None:
    asked = ("anatomy", "wire_up", "wire_ohm", "ohm_per_m", "open_circuit_v", "Branch", "troubleshoot.solve")
    for name in ("netlist.py", "trouble.py", "deck.py"):
        source = Path(ngspice.HERE, name).read_text(encoding="utf-8")
        assert [word for word in asked if word in source] == []


def test_a_fault_that_the_netlist_does_not_know_is_refused(network: Network) -> None:
    with pytest.raises(KeyError, match="pump:haunted"):
        netlist.write_netlist(network.circuit, "pump:haunted", 1.0)


def test_every_setup_of_the_circuit_is_compared(network: Network) -> None:
    assert {s for run in list_runs(network) for s in run.setups} == set(list_setups(network.circuit))


def test_a_key_state_lasts_much_longer_than_any_lag() -> None:
    for ohm, farad in (deck.RELAY_LAG_OHM_F, deck.FUSE_LAG_OHM_F):
        assert ohm * farad * 10 < deck.SEGMENT_S
