"""The circuit's line, followed on the shipped circuit; what is expected is read off its file by eye."""

from __future__ import annotations

from itertools import pairwise

import pytest
from wirings import WIRINGS, wiring

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
    assert "main_fuse:blown" in by_say["the pump fuse, 15 A"]
    assert "link:blown" not in by_say["the pump fuse, 15 A"]
    assert "relay:coil-open" in by_say["coil of the pump relay"]
    assert "relay:contacts-welded" in by_say["contacts of the pump relay"]
    assert "relay:coil-open" not in by_say["contacts of the pump relay"]
    assert "pump_ground:bad" in by_say["the black wire (pump ground)"]
    assert "pump_wire:bad" not in by_say["the black wire (pump ground)"]


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


def through(network: Network, title: str) -> list[str]:
    """What lies between the points of the path with that title, wires and rings left out."""
    path = next(path for path in find_paths(network) if path.title == title)
    return [row.say for row in path.rows if row.part and not row.detail and "ring of" not in row.say]


def test_a_load_without_a_relay_is_followed_through_its_switch_and_its_cut_off() -> None:
    assert through(WIRINGS["no_relay"](), "through the fuel pump") == [
        "the pump fuse, 15 A", "the dash switch", "the fuel pump", "the inertia switch", "the pump ground bolt",
    ]  # fmt: skip


def test_a_bench_circuit_begins_at_its_supply_and_each_load_has_its_way() -> None:
    bench = WIRINGS["bench"]()
    assert find_paths(bench)[0].rows[0].say == "bench supply positive post"
    assert through(bench, "through the left") == ["contacts of the relay", "the left"]
    assert through(bench, "through the right") == ["second contacts of the relay", "the right"]
    assert through(bench, "through the coil of the relay") == ["the toggle switch", "coil of the relay"]


def test_a_coil_is_followed_through_the_button_that_grounds_it() -> None:
    found = through(WIRINGS["horn"](), "through the coil of the horn relay")
    assert found == ["the horn fuse, 20 A", "coil of the horn relay", "the horn button", "the button ground screw"]


def test_a_coil_is_followed_through_the_controller_that_grounds_or_feeds_it() -> None:
    title = "through the coil of the pump relay"
    grounded, fed = through(WIRINGS["controlled"](), title), through(WIRINGS["controller_feeds"](), title)
    output = "output of the engine controller"
    assert grounded.index("coil of the pump relay") < grounded.index(output)
    assert fed.index(output) < fed.index("coil of the pump relay")


def test_two_relays_have_a_way_each_and_the_fan_runs_by_the_lower_resistance() -> None:
    fan = WIRINGS["fan"]()
    assert [path.title for path in find_paths(fan)] == [
        "through the radiator fan", "through the coil of the low relay", "through the coil of the high relay",
    ]  # fmt: skip
    assert "contacts of the high relay" in through(fan, "through the radiator fan")
    assert "the diode" in through(fan, "through the radiator fan")


def test_no_way_leads_against_a_diode() -> None:
    battery = "kind: battery, charge: 88 % ± 12 %, internal_resistance: 7 mohm, charging_resistance: 100 mohm"
    lamp = "kind: lamp, watts: 21 W, plug_contact: 4 mohm"
    diode = "kind: diode, contact: 3 mohm"

    def lamp_behind(first: str, second: str) -> Network:
        wires = [f"feed battery.pos diode.{first}", f"on diode.{second} lamp.plus", "back lamp.minus battery.neg"]
        return wiring("Lamp", {"battery": battery, "diode": diode, "lamp": lamp}, wires, "{key: off}")

    assert len(find_paths(lamp_behind("anode", "cathode"))) == 1
    assert find_paths(lamp_behind("cathode", "anode")) == []


def test_a_way_leads_through_a_poor_switch_rather_than_through_another_load() -> None:
    """A cold 55 W lamp has 0.3 ohm, the switch 5 ohm: the least resistance is not where the pump is meant to be fed."""
    network = wiring("Poor switch", {
        "battery": "kind: battery, charge: 88 % ± 12 %, internal_resistance: 7 mohm, charging_resistance: 100 mohm",
        "poor": "kind: switch, style: security, contact_resistance: 5 ohm, plug_contact: 4 mohm",
        "lamp": "kind: lamp, watts: 55 W, plug_contact: 4 mohm",
        "link": "kind: fuse, style: link, rating: 30 A, resistance: 2 mohm, holder_contact: 1 mohm",
        "pump": "kind: pump, back_emf: 4 V, resistance: 1.3 ohm, winding_resistance: 0.7 ohm, start_voltage: 3 V, "
                "plug_contact: 4 mohm",
    }, ["a battery.pos poor.in", "b poor.out link.in", "c battery.pos lamp.plus", "d lamp.minus link.in",
        "e link.out pump.plus", "f pump.minus battery.neg"], "{key: off}")  # fmt: skip
    assert through(network, "through the pump") == ["the poor", "the link, 30 A", "the pump"]


def test_a_coil_on_two_grounds_has_no_way_through_it() -> None:
    assert [path.title for path in find_paths(WIRINGS["two_grounds"]())] == ["through the fuel pump"]


@pytest.mark.parametrize("name", WIRINGS)
def test_every_way_leads_from_post_to_post_along_points_and_stretches_in_turn(name: str) -> None:
    network = WIRINGS[name]()
    for path in find_paths(network):
        nodes = [row.node for row in path.rows if row.node]
        assert (nodes[0], nodes[-1]) == (f"{network.circuit.battery}.pos", f"{network.circuit.battery}.neg")
        assert len(nodes) == len(set(nodes))
        assert all(bool(a.node) != bool(b.node) for a, b in pairwise(path.rows))


def test_a_way_leads_through_the_contacts_that_are_closed_when_the_load_should_work() -> None:
    """The changeover feeds the coil through its start contact while cranking, which is when that circuit is judged."""
    network = wire_up(load_circuit(circuit_path("pump-oil-changeover")))
    coil = next(name for name in network.circuit.relays)
    found = through(network, f"through the coil of the {network.circuit.named_parts[coil].spoken}")
    assert network.circuit.works.key == "cranking"
    assert any(say.startswith("start contact") for say in found)
    assert not any(say.startswith("run contact") for say in found)
