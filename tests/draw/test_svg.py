"""The wiring drawing, read back from its SVG: all of the circuit is on it, joined as the circuit is, and legible."""

from __future__ import annotations

import re
import subprocess
import sys
from collections import Counter
from dataclasses import replace
from itertools import combinations
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from wirings import WIRINGS, wiring

from troubleshoot.circuit import Network, wire_up
from troubleshoot.draw.paper import clean, wrapped
from troubleshoot.draw.svg import Sheet, draw_svg, x_of
from troubleshoot.files.circuit_file import load_circuit
from troubleshoot.places import trees

SVG = "{http://www.w3.org/2000/svg}"
SHIPPED = sorted(path.parent.name for path in trees().glob("*/circuit.yaml"))
MADE: dict[str, Network] = {}


def network_of(name: str) -> Network:
    """A circuit of this folder or a shipped one, wired up once."""
    if name not in MADE:
        MADE[name] = WIRINGS[name]() if name in WIRINGS else wire_up(load_circuit(trees() / name))
    return MADE[name]


@pytest.fixture(params=[*WIRINGS, *SHIPPED])
def network(request: pytest.FixtureRequest) -> Network:
    return network_of(request.param)


def texts(svg: str) -> list[ElementTree.Element]:
    return list(ElementTree.fromstring(svg).iter(f"{SVG}text"))


def words(svg: str) -> str:
    """All that is written, in the order in which it was; lines that belong together are neighbours."""
    return " ".join(text.text or "" for text in texts(svg))


def volts_everywhere(network: Network) -> dict[str, str]:
    """A different value at every point that the whole drawing shows."""
    spots = {end for wire in network.circuit.wires for end in (wire.start, wire.end)}
    return {spot: f"{place + 1}.{place:02d} V" for place, spot in enumerate(sorted(spots))}


# ---- what is on it


def test_every_wire_is_written_once_with_its_colour_and_gauge(network: Network) -> None:
    said = words(draw_svg(network))
    wires = []
    for wire in network.circuit.wires:
        made = ", ".join(text for text in (wire.colour, wire.gauge.text, f"{wire.length:g} m") if text)
        wires.append(f"{wire.name.replace('_', ' ')} {made}")
    for wire_said in wires:  # "coil feed red" also holds "feed red"
        assert said.count(wire_said) == sum(other.endswith(wire_said) for other in wires)


def test_every_part_is_named(network: Network) -> None:
    said = words(draw_svg(network))
    for part in network.circuit.named_parts.values():
        assert part.spoken in said


def test_every_link_has_one_place(network: Network) -> None:
    sheet = Sheet(network, {}, "as written")
    plan = sheet.plan(sheet.found)
    placed = Counter(link for run in plan.runs for link in run.links)
    assert placed == Counter(sheet.found.links)
    drawn = Counter(item.link for run in plan.runs for item in run.items if item.kind in ("wire", "part"))
    assert drawn == placed


def test_the_volts_of_every_point_are_written_once(network: Network) -> None:
    volts = volts_everywhere(network)
    written = Counter(re.findall(r"\d+\.\d\d V", words(draw_svg(network, volts))))
    assert written == Counter(volts.values())


def test_volts_at_a_ring_are_written_on_its_wire() -> None:
    svg = draw_svg(network_of("horn"), {"horn_ground.at.splice.stud": "0.31 V"})
    assert "ring: 0.31 V" in words(svg)


def test_terminals_without_a_wire_are_told() -> None:
    assert "pump relay coil no wire on 87a" in words(draw_svg(network_of("controlled")))
    assert "engine controller no wire on monitor" in words(draw_svg(network_of("controlled")))


def test_what_lies_across_a_coil_is_told() -> None:
    assert "diode across, + on 86" in words(draw_svg(network_of("horn")))
    assert "resistor across" in words(draw_svg(network_of("bench")))


# ---- joined as the circuit is


def test_runs_follow_the_wiring_from_bar_to_bar(network: Network) -> None:
    sheet = Sheet(network, {}, "as written")
    plan = sheet.plan(sheet.found)

    def bar_of(spot: str) -> str:
        return spot if spot.partition(".")[0] not in sheet.found.boxed else spot.partition(".")[0]

    for run in plan.runs:
        for link, ends in zip(run.links, zip(run.spots[::2], run.spots[1::2], strict=True), strict=True):
            assert {link.a, link.b} == set(ends)
        assert run.spots[1:-1:2] == run.spots[2::2]  # where a link ends, the next begins
        assert (bar_of(run.spots[0]), bar_of(run.spots[-1])) == (run.top, run.bottom)
        assert plan.bars[run.top].y < plan.bars[run.bottom].y
    for run, other in combinations(plan.runs, 2):
        if run.column == other.column:  # one below the other, never side by side on one line
            upper, lower = sorted((run, other), key=lambda each: plan.bars[each.top].y)
            assert plan.bars[upper.bottom].y <= plan.bars[lower.top].y


def extents(svg: str) -> list[tuple[float, float, float, float]]:
    """Left, top, right, bottom of every shape."""
    found = []
    for shape in ElementTree.fromstring(svg).iter():
        if shape.tag == f"{SVG}circle":
            x, y, r = (float(shape.get(key, "0")) for key in ("cx", "cy", "r"))
            found.append((x - r, y - r, x + r, y + r))
            continue
        told = shape.get("d") or shape.get("points") or ""
        numbers = [float(text) for text in re.findall(r"-?\d+(?:\.\d+)?", told)]
        if numbers and " a " not in told:
            xs, ys = numbers[::2], numbers[1::2]
            found.append((min(xs), min(ys), max(xs), max(ys)))
        elif numbers:  # an arc: where it starts, and from there where it ends
            x, y, dx, dy = numbers[0], numbers[1], numbers[-2], numbers[-1]
            found.append((min(x, x + dx), min(y, y + dy), max(x, x + dx), max(y, y + dy)))
    return found


def test_lines_and_symbols_leave_no_gap_from_bar_to_bar(network: Network) -> None:
    """A gap would read as a broken wire. An open switch has its lever there."""
    svg = draw_svg(network)
    sheet = Sheet(network, {}, "as written")
    plan = sheet.plan(sheet.found)
    top = min(box[1] for box in extents(svg) if box[3] - box[1] < 0.5 and box[2] - box[0] > 50)
    plan = plan.lowered(top - min(bar.y for bar in plan.bars.values()))
    for run in plan.runs:
        x, y = x_of(run.column), plan.bars[run.top].y + plan.bars[run.top].height
        spans = sorted((box[1], box[3]) for box in extents(svg) if box[0] - 4 <= x <= box[2] + 4 and box[3] > box[1])
        for low, high in spans:
            if low <= y + 4:
                y = max(y, high)
        assert y >= plan.bars[run.bottom].y - 1, (run.top, run.bottom, y)


def test_a_bar_has_a_dot_for_every_run_that_ends_on_it(network: Network) -> None:
    svg = draw_svg(network)
    dots = Counter(
        (round(float(c.get("cx", "0"))), round(float(c.get("cy", "0"))))
        for c in ElementTree.fromstring(svg).iter(f"{SVG}circle")
        if "fill:black" in c.get("style", "")
    )
    sheet = Sheet(network, {}, "as written")
    plan = sheet.plan(sheet.found)
    low = max(y for _, y in dots)
    plan = plan.lowered(low - max(bar.y for bar in plan.bars.values()))
    for bar in plan.bars.values():
        ends = [run.column for run in plan.runs if bar.name in (run.top, run.bottom)]
        if len(ends) > 1 and not bar.height:
            for column in ends:
                assert any(abs(x - x_of(column)) <= 1 and abs(y - bar.y) <= 1 for x, y in dots)


# ---- legible


def boxes_of_texts(svg: str) -> list[tuple[float, float, float, float, str]]:
    """Where each text is, its letters taken as 0.58 of their size wide (sans serif, from memory)."""
    found = []
    for text in texts(svg):
        size, x, y = (float(text.get(key, "0")) for key in ("font-size", "x", "y"))
        wide = 0.58 * size * len(text.text or "")
        left = x - wide / 2 if text.get("text-anchor") == "middle" else x
        found.append((left, y - 0.75 * size, left + wide, y + 0.2 * size, text.text or ""))
    return found


@pytest.mark.parametrize("narrow", [False, True])
def test_no_text_lies_on_another_or_under_a_bar_or_off_the_page(network: Network, narrow: bool) -> None:
    check_legible(draw_svg(network, dict.fromkeys(volts_everywhere(network), "12.27..12.54 V *"), narrow=narrow))


def check_legible(svg: str) -> None:
    """No text on another, under a bar or a tie, or off the page."""
    width, height = (float(n) for n in ElementTree.fromstring(svg).get("viewBox", "").split()[2:])
    boxes = boxes_of_texts(svg)
    for left, top, right, bottom, said in boxes:
        assert left >= 0, said
        assert top >= 0, said
        assert right <= width, said
        assert bottom <= height, said
    for one, other in combinations(boxes, 2):
        apart = one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]
        assert apart, (one, other)
    lines = [box for box in extents(svg) if box[3] - box[1] < 0.5 and box[2] - box[0] > 50]
    for left, top, right, bottom, said in boxes:
        for line in lines:
            assert not (line[0] < right and left < line[2] and top < line[1] < bottom), said


def test_the_narrow_drawing_fits_a_phone_and_names_what_it_leaves_out() -> None:
    network = network_of("pump-on-ignition-feed")
    svg = draw_svg(network, narrow=True)
    assert float(ElementTree.fromstring(svg).get("viewBox", "").split()[2]) <= 440
    said = words(svg)
    assert "Through the fuel pump" in said
    assert "Through the coil of the pump relay" in said
    assert "also: module feed, gauge feed" in said


def test_a_drawing_is_the_same_every_time(network: Network) -> None:
    assert draw_svg(network) == draw_svg(network)


# ---- safe and readable by others


def test_it_is_a_picture_with_title_and_description(network: Network) -> None:
    root = ElementTree.fromstring(draw_svg(network, {f"{network.circuit.battery}.pos": "12.5 V"}, "As measured"))
    assert root.tag == f"{SVG}svg"
    assert root.get("width") == "100%"
    assert (root.findtext(f"{SVG}title") or "") == network.circuit.title
    told = root.findtext(f"{SVG}desc") or ""
    assert "As measured" in told
    for wire in network.circuit.wires:
        assert f"{wire.start} to {wire.end}" in told


def test_it_needs_nothing_from_outside(network: Network) -> None:
    svg = draw_svg(network)
    assert set(re.findall(r"https?://[^\s\"']*", svg)) <= {"http://www.w3.org/2000/svg"}
    for tag in ("<image", "<script", "<style", "<use", "href", "url(", "@import"):
        assert tag not in svg


NASTY = [
    "<script>alert(1)</script>", '" onload="x', "a & b &amp; ]]>", "$\\Omega_{2}$ & $<b>$", "\u202egro\u202cund\u2066",
    "ha\x00\x1b[31mha\u0085", "--><svg>", "漢字" * 20, "x" * 200, "مضخة الوقود",
]  # fmt: skip


def renamed(network: Network, name: str) -> Network:
    """The horn circuit with a name in all places where a file may bring one."""
    circuit = network.circuit.model_copy(
        update={
            "title": f"t {name}",
            "parts": {key: part.model_copy(update={"say": name}) for key, part in network.circuit.parts.items()},
            "wires": tuple(wire.model_copy(update={"colour": name}) for wire in network.circuit.wires),
        }
    )
    for cached in ("named_parts", "terminals", "loads"):
        circuit.__dict__.pop(cached, None)
    return replace(network, circuit=circuit)


@pytest.mark.parametrize("name", NASTY)
def test_what_a_file_says_stays_text(name: str) -> None:
    svg = draw_svg(renamed(network_of("horn"), name), {"relay.86": name}, name)
    plain = draw_svg(network_of("horn"), {"relay.86": "x"}, "x")
    tags = {each.tag for each in ElementTree.fromstring(svg).iter()}
    assert tags <= {each.tag for each in ElementTree.fromstring(plain).iter()} | {f"{SVG}title"}
    written = "".join(text.text or "" for text in texts(svg)).replace(" ", "")
    assert clean(name).replace(" ", "") in written


@given(st.text(max_size=60))
@settings(max_examples=40)
def test_any_name_gives_a_picture_that_parses(name: str) -> None:
    svg = draw_svg(renamed(network_of("horn"), name), {"relay.86": name}, name)
    ElementTree.fromstring(svg)
    assert not re.search("[\u202a-\u202e\u2066-\u2069\u200e\u200f\x00-\x08\x1b\x7f-\x9f]", svg)


@given(st.text(max_size=80), st.integers(8, 40))
def test_wrapping_loses_nothing_but_blanks(text: str, letters: int) -> None:
    lines = wrapped(text, letters)
    assert "".join("".join(lines).split()) == "".join(clean(text).split())


# ---- any circuit


@given(st.integers(1, 7), st.integers(0, 5), st.randoms(use_true_random=False))
@settings(max_examples=25)
def test_any_number_of_switches_and_loads_in_any_order_is_drawn(pumps: int, switches: int, chance) -> None:
    """Invented ladders: switches in a row, pumps fed from any rung, some of them grounded by a bolt of their own."""
    motor = "back_emf: 4 V, resistance: 1.3 ohm ± 15 %, winding_resistance: 0.7 ohm, start_voltage: 3 V ± 40 %, "
    battery = "kind: battery, charge: 88 % ± 12 %, internal_resistance: 7 mohm, charging_resistance: 100 mohm"
    parts = {"battery": battery, "body": "kind: metal"}
    wires = ["strap body.metal battery.neg"]
    rungs = ["battery.pos"]
    for number in range(switches):
        parts[f"post{number}"] = "kind: fuse, style: link, rating: 30 A, resistance: 2 mohm, holder_contact: 1 mohm"
        wires.append(f"w{number} {chance.choice(rungs)} post{number}.in red")
        rungs.append(f"post{number}.out")
    for number in range(pumps):
        parts[f"pump{number}"] = f"kind: pump, {motor} plug_contact: 4 mohm"
        wires.append(f"feed{number} {chance.choice(rungs)} pump{number}.plus")
        wires.append(f"back{number} pump{number}.minus {chance.choice(['body.metal', 'battery.neg'])} black")
    network = wiring("Ladder", parts, wires, "{key: off}")
    said = words(draw_svg(network))
    for number in range(pumps):
        assert f"pump{number}" in said
        assert f"feed{number}" in said
    check_legible(draw_svg(network, dict.fromkeys(volts_everywhere(network), "12.27..12.54 V *")))
    ElementTree.fromstring(draw_svg(network, narrow=True))


def test_the_drawing_library_is_not_loaded_before_it_is_needed() -> None:
    code = "import sys, troubleshoot.draw.svg, troubleshoot.command_line; print('schemdraw' in sys.modules)"
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert told.strip() == "False"
