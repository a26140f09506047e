"""The circuit drawn for the verb `draw`: as lines for the terminal or as an SVG file, with the volts expected."""

from __future__ import annotations

from dataclasses import dataclass

from troubleshoot.circuit.circuit import SAY_KEY, Circuit
from troubleshoot.circuit.network import Network, wire_up
from troubleshoot.circuit.setups import Setup, working_setup
from troubleshoot.draw import LAYOUTS, LINES, Layout, Strokes, draw_face, draw_numbers, draw_path, find_paths
from troubleshoot.draw.circuit_line import Path as CircuitPath
from troubleshoot.draw.circuit_line import list_ways, say_gauge
from troubleshoot.errors import Problem, TypedWrong
from troubleshoot.expect.wall import Square, Wall, make_wall, wall_setups
from troubleshoot.files.tell import shown
from troubleshoot.parts import Relay

FEWEST_V = 0.005
"""What a meter with two decimals shows as nothing."""


@dataclass(frozen=True)
class Drawing:
    """A circuit to draw: the volts to write at each point, by node, and in words what they are."""

    network: Network
    volts: dict[str, str]
    note: str


def make_drawing(circuit: Circuit, key: str = "", fault: str = "") -> Drawing:
    """The circuit with the volts expected in a key state ("": where the load should work), healthy or with a fault.

    Raises TypedWrong for a key state or a fault that the circuit does not have.
    """
    setups = {setup.key + setup.tail: setup for setup in wall_setups(circuit)}
    works = working_setup(circuit)
    like = [name for name, setup in setups.items() if (setup.key, setup.operated) == (works.key, works.operated)]
    key = key or next(iter([*like, *setups]))
    if key not in setups:
        told = Problem("no-key-state", f"this circuit has no key state '{shown(key)}'", f"one of: {', '.join(setups)}")
        raise TypedWrong(told)
    wall = make_wall(circuit, fault)
    column = wall.keys.index(key)
    volts = {node: say_volts(squares[column]) for node, _, squares in wall.rows}
    return Drawing(wire_up(circuit), volts, _note(circuit, setups[key], wall))


def say_volts(square: Square) -> str:
    """Where 95 of 100 healthy cars read, or the value with the fault and `*` where that lies outside."""
    low, high = (0.0 if abs(v) < FEWEST_V else v for v in (square.low_v, square.high_v))
    text = f"{low:.2f} V" if f"{low:.2f}" == f"{high:.2f}" else f"{low:.2f}..{high:.2f} V"
    if square.faulty_v is not None:
        value = 0.0 if abs(square.faulty_v) < FEWEST_V else square.faulty_v
        outside = not square.low_v - 0.01 <= square.faulty_v <= square.high_v + 0.01
        text = f"{value:.2f} V{' *' if outside else ''}"
    return text + (" ~" if square.floats else "") + (" !" if square.chatters else "")


def _note(circuit: Circuit, setup: Setup, wall: Wall) -> str:
    """What the volts are, in one sentence."""
    on = [circuit.named_parts[name].spoken for name in sorted(setup.operated)]
    operated = f", {' and '.join(on)} operated" if on else ""
    what = (
        f"with this fault: {wall.fault}; * not as in a healthy car"
        if wall.fault
        else "where 95 of 100 healthy cars read"
    )
    return f"Volts to battery negative, {SAY_KEY[setup.key]}{operated}, {what}; ~ floats, ! relay chatters"


def drawing_lines(drawing: Drawing, width: int = 78, strokes: Strokes = LINES) -> list[str]:
    """The ways through the loads and the coils, one under the other, then the wires that lie on none of them."""
    from textwrap import wrap

    network = drawing.network
    paths = find_paths(network)
    lines = [*wrap(network.circuit.title, width), *wrap(drawing.note, width)]
    for path in paths:
        rows = tuple(row.stand(drawing.volts.get(row.node, "")) for row in path.rows)
        lines += ["", *wrap(path.title.capitalize(), width), *draw_path(CircuitPath(path.title, rows), width, strokes)]
    shown_titles = {path.title for path in paths}
    for title, _ in list_ways(network.circuit):
        if title not in shown_titles:
            told = f"There is no way {title} from battery positive to battery negative."
            lines += ["", *wrap(told, width)]
    return lines + _others(network, paths, width)


def _others(network: Network, paths: list[CircuitPath], width: int) -> list[str]:
    """The wires on none of the paths, with their ends."""
    from textwrap import wrap

    drawn = {row.say for path in paths for row in path.rows if row.part}
    terminals, told = network.circuit.terminals, []
    for wire in network.circuit.wires:
        if f"the {wire.spoken}" not in drawn:
            ends = f"from {terminals[wire.start].say} to {terminals[wire.end].say}"
            size = f"{say_gauge(wire.gauge, 'as written')}, {wire.length:g} m"
            told += wrap(f"{wire.spoken}, {size}: {ends}", width, initial_indent="  ", subsequent_indent="    ")
    return ["", "Also in this circuit", *told] if told else []


def drawing_svg(drawing: Drawing, narrow: bool = False) -> str:
    """The wiring drawing as the text of an SVG file; `narrow` for a phone."""
    from troubleshoot.draw.svg import draw_svg

    return draw_svg(drawing.network, drawing.volts, drawing.note, narrow=narrow)


# ---- the relay's face


def face_lines(circuit: Circuit, name: str, layout: str, strokes: Strokes = LINES) -> list[str]:
    """The relay's face; without a layout its numbers in a row and which layouts there are."""
    relay = _relay(circuit, name)
    if layout:
        head = f"{relay.spoken}, seen from its blades or from the wire side of its socket:"
        return [head, *draw_face(layout_named(layout), relay.numbers, "", "", strokes)]
    told = ["Look at the blades, 87 at the top, and say the layout:"]
    told += [f"  --layout {key}: {each.say}" for key, each in LAYOUTS.items()]
    return [f"{relay.spoken}: {draw_numbers(relay.numbers, '', '')}", *told]


def face_svg(circuit: Circuit, name: str, layout: str) -> str:
    """The same as the text of an SVG file; only for a layout that somebody has looked at."""
    from troubleshoot.draw.relay_svg import draw_face_svg

    relay = _relay(circuit, name)
    return draw_face_svg(layout_named(layout), relay.numbers, name=relay.spoken)


def _relay(circuit: Circuit, name: str) -> Relay:
    part = circuit.named_parts.get(name)
    if not isinstance(part, Relay):
        hint = f"one of: {', '.join(circuit.relays)}" if circuit.relays else "this circuit has no relay"
        raise TypedWrong(Problem("no-relay", f"there is no relay '{shown(name)}' in this circuit", hint))
    return part


def layout_named(key: str) -> Layout:
    if key not in LAYOUTS:
        message = f"'{shown(key)}' is no layout" if key else "a face is drawn only for a layout that you have looked at"
        told = ", ".join(f"{each} ({layout.say})" for each, layout in LAYOUTS.items())
        raise TypedWrong(Problem("no-layout", message, f"--layout with one of: {told}"))
    return LAYOUTS[key]
