"""What kinds of terminal each part has, where wires end on them, and copper: said a second time.

Left of trouble.py and netlist.py. Reads a circuit's fields, and nothing else of the package.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from troubleshoot.circuit.circuit import Circuit

COPPER_PER_K = 0.00393
"""Copper gains 0.393 % of its resistance at 20 °C a kelvin (NBS Handbook 100)."""

MIDDLE = {"make": (), "changeover": ("87a",), "two makes": ("87b",)}


def kind(circuit: Circuit, end: str) -> str:
    """The kind of the part that a terminal belongs to."""
    return str(circuit.parts[end.partition(".")[0]].kind)


def sockets(part: Any) -> tuple[str, ...]:
    """Terminals of a plug or socket: the wire's contact, and the blade of the part."""
    match part.kind:
        case "relay":
            return ("30", "85", "86", "87", *MIDDLE[part.contacts])
        case "fan":
            return ("plus", "minus", "low") if part.low_resistance else ("plus", "minus")
        case "pump" | "horn" | "lamp":
            return ("plus", "minus")
        case "switch":
            return ("in", "out")
        case "oil_switch":
            return ("P", "I", "S") if part.style == "changeover" else ("P", "I")
        case "controller":
            return ("feed", "ground", "out", "monitor") if part.monitor_resistance else ("feed", "ground", "out")
    return ()


def tabs(part: Any) -> tuple[str, ...]:
    """Terminals in a holder, of which one can touch the part's own side."""
    if part.kind == "fuse" and part.style not in ("link", "breaker"):
        return ("in", "out")
    return ("anode", "cathode") if part.kind == "diode" else ()


def contact_ohm(part: Any) -> float:
    """Ohms of one contact between a part and its socket, plug or holder."""
    names = {"relay": "socket_contact", "fuse": "holder_contact", "diode": "contact"}
    return float(getattr(part, names.get(part.kind, "plug_contact")).value)


def is_tab(circuit: Circuit, end: str) -> bool:
    name, _, terminal = end.partition(".")
    return terminal in tabs(circuit.parts[name])


def is_stud(circuit: Circuit, end: str) -> bool:
    name, _, terminal = end.partition(".")
    return terminal not in sockets(circuit.parts[name]) and not is_tab(circuit, end)


def wire_end(circuit: Circuit, wire: str, end: str) -> str:
    """The node at which the conductor itself ends: at a ring on a stud, behind a fuse holder, in a socket."""
    if is_stud(circuit, end):
        return f"{wire}.at.{end}"
    return f"{end}.wire" if is_tab(circuit, end) else end


def other_end(wire: Any, end: str) -> str:
    return str(wire.end if wire.start == end else wire.start)


def wire_at(circuit: Circuit, end: str) -> Any:
    """The wire in a socket."""
    return next(wire for wire in circuit.wires if end in (wire.start, wire.end))


def passes(circuit: Circuit) -> Iterator[tuple[str, str]]:
    """Pairs of terminals between which a feed goes on once all is switched on: no coils, no loads, no ground."""
    for wire in circuit.wires:
        yield wire.start, wire.end
    for name, part in circuit.parts.items():
        pairs = {
            "fuse": [("in", "out")], "switch": [("in", "out")], "diode": [("anode", "cathode")],
            "ignition_switch": [("30", "15"), ("30", "acc"), ("30", "50")],
            "relay": [("30", "87"), ("30", "87b")], "oil_switch": [("P", "I"), ("P", "S")],
        }.get(part.kind, [])  # fmt: skip
        if part.kind == "controller" and part.drives == "feed":
            pairs = [("feed", "out")]
        yield from ((f"{name}.{a}", f"{name}.{b}") for a, b in pairs)


def fed(circuit: Circuit) -> set[str]:
    """All terminals that the battery's positive post can feed."""
    reached, pairs = {f"{circuit.battery}.pos"}, list(passes(circuit))
    while True:
        more = {n for a, b in pairs if (a in reached) != (b in reached) for n in (a, b)}
        if more <= reached:
            return reached
        reached |= more


def frame(circuit: Circuit) -> str:
    """The metal that a chafed wire touches: the one that the first ground bolt in the file goes to."""
    return next(f"{part.to}.metal" for part in circuit.parts.values() if part.kind == "ground_bolt")


def copper_ohm(wire: Any) -> float:
    """Ohms at the wire's own temperature. AWG n: d = 0.005 in · 92^((36-n)/39) (ASTM B258) of copper with 58 MS/m
    (IACS). Metric: IEC 60228 class 5 table, else 1.13 times ideal copper (the table's own ratio)."""
    warmer = 1 + COPPER_PER_K * (wire.temperature - 20)
    siemens_m = 58e6
    if wire.gauge.awg is not None:
        inches = 0.005 * math.exp(math.log(92.0) * (36 - wire.gauge.awg) / 39)
        radius_m = inches * 0.0254 / 2
        return float(warmer * wire.length / (siemens_m * math.pi * radius_m * radius_m))
    mm2 = wire.gauge.area_m2 * 1e6
    per_km = {0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95, 6.0: 3.30}
    for size, ohm in per_km.items():
        if math.isclose(size, mm2, rel_tol=1e-6):
            return float(warmer * ohm / 1000 * wire.length)
    return float(warmer * 1.13 * wire.length / (siemens_m * wire.gauge.area_m2))
