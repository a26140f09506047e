"""The circuit's line, followed on the shipped circuit; what is expected is read off its file by eye."""

from __future__ import annotations

from itertools import pairwise

import pytest

from troubleshoot.circuit.network import Network, wire_up
from troubleshoot.draw import ASCII, draw_path, find_paths
from troubleshoot.draw.circuit_line import say_gauge
from troubleshoot.files.circuit_file import load_circuit
from troubleshoot.places import circuit_path
from troubleshoot.units import Gauge


@pytest.fixture(scope="module")
def wired() -> Network:
    return wire_up(load_circuit(circuit_path("pump-on-ignition-feed")))


def test_the_load_is_fed_by_87_and_30_and_grounded_through_its_bolt(wired: Network) -> None:
    load, _ = find_paths(wired)
    nodes = [row.node for row in load.rows if row.node and ".at." not in row.node]
    assert nodes == ["battery.pos", "main_fuse.in", "main_fuse.out", "relay.87", "relay.30", "pump.plus", "pump.minus",
                     "pump_bolt.stud", "frame.metal", "engine.metal", "battery.neg"]  # fmt: skip


def test_the_coil_is_fed_from_the_switch_and_grounded_at_85(wired: Network) -> None:
    _, coil = find_paths(wired)
    nodes = [row.node for row in coil.rows if row.node and ".at." not in row.node]
    ground = ["coil_bolt.stud", "frame.metal", "engine.metal", "battery.neg"]
    switch = ["link.in", "link.out", "ignition.30", "ignition.15", "coil_fuse.in", "coil_fuse.out"]
    assert nodes == ["battery.pos", *switch, "relay.86", "relay.85", *ground]


def test_points_and_stretches_take_turns(wired: Network) -> None:
    for path in find_paths(wired):
        kinds = [bool(row.node) for row in path.rows]
        assert kinds[0]
        assert kinds[-1]
        assert all(a != b for a, b in pairwise(kinds))


def test_a_stretch_knows_the_faults_it_can_have(wired: Network) -> None:
    load, coil = find_paths(wired)
    by_say = {row.say: row.part.faults for path in (load, coil) for row in path.rows if row.part}
    assert by_say["the pump fuse, 15 A"] == ("main_fuse:blown",)
    assert "relay:coil-open" in by_say["coil of the pump relay"]
    assert "relay:contacts-welded" in by_say["contacts of the pump relay"]
    assert "relay:coil-open" not in by_say["contacts of the pump relay"]
    assert by_say["the black wire (pump ground)"] == ("pump_ground:bad",)


@pytest.mark.parametrize("width", [24, 38, 60, 78])
def test_a_drawing_fits_and_loses_no_word(wired: Network, width: int) -> None:
    for path in find_paths(wired):
        path = type(path)(path.title, tuple(row.stand("12.53 V on", "") if row.node else row for row in path.rows))
        lines = draw_path(path, width)
        assert all(len(line) <= width for line in lines)
        drawn = "".join("".join(lines).replace("│", "").replace("●", "").split())
        said = "".join(f"{r.say}{', ' + r.detail if r.detail else ''}{r.told}" for r in path.rows)
        assert drawn == "".join(said.split())


def test_how_a_stretch_stands_is_drawn_as_a_sign(wired: Network) -> None:
    load, _ = find_paths(wired)
    rows = [row.stand("", status) for row, status in zip(load.rows[1:6:2], ("good", "doubt", ""), strict=True)]
    lines = draw_path(type(load)("", tuple(rows)), 78, ASCII)
    assert [line[0] for line in lines] == ["=", "?", "|"]


@pytest.mark.parametrize(
    ("text", "unit", "said"),
    [("14 AWG", "mm2", "2.08 mm²"), ("2.5 mm²", "AWG", "13 AWG"), ("2/0 AWG", "AWG", "2/0 AWG"),
     ("25 mm²", "as written", "25 mm²"), ("12 AWG", "AWG", "12 AWG")],
)  # fmt: skip
def test_a_gauge_is_said_in_the_unit_wanted(text: str, unit, said: str) -> None:
    """14 AWG is 2.08 mm², 13 AWG 2.62 mm² (ASTM B258)."""
    assert say_gauge(Gauge.read(text), unit) == said
