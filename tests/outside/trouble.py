"""What each fault means, said a second time: ohms added at named spots, joins that should not be.

Left of netlist.py, and like it shares nothing with the solver: taken from the words with which a fault is
told. One rule is taken over, since no probe can tell: within a run of wire and joints the bad spot is the
fuse holder's contact if there is one, else the first ring that cannot be touched, else the conductor.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

from troubleshoot.circuit.circuit import Circuit

WIRE_AT_FAULT_OHM = 0.01
"""A wire's contact in a place where it does not belong (invented)."""

INSIDE: dict[str, set[str]] = {
    "battery": {"flat", "weak"},
    "fuse": {"blown"},
    "relay": {
        "coil-open", "coil-shorted-turns", "weak-coil", "contacts-stuck-open", "contacts-burnt",
        "contacts-welded",
    },
    "ignition_switch": {"contact-15"},
    "pump": {"open", "seized", "worn"},
    "ground_bolt": {"bad-joint"},
}  # fmt: skip
"""Modes that netlist.py writes with the part itself. One that is missing there must not pass as healthy."""


@dataclass
class Trouble:
    """A fault in the terms of this file: ohms added to named spots (infinite: open), joins that should not
    be (from, to, ohms, the part that must be in for it), and what is wrong inside `part`."""

    part: str = ""
    mode: str = ""
    severity: float = 0.0
    added: dict[str, float] = field(default_factory=dict)
    joined: list[tuple[str, str, float, str]] = field(default_factory=list)

    def inside(self, part: str) -> str:
        """What is wrong inside this part."""
        return self.mode if part == self.part else ""


def read_trouble(circuit: Circuit, fault: str, severity: float | None) -> Trouble:
    where, _, mode = fault.rpartition(":")
    trouble = Trouble(where, mode, 0.0 if severity is None else severity)
    wires = {wire.name: wire for wire in circuit.wires}
    if mode == "bad":
        spot = _bad_spot(circuit, wires[where]) if where in wires else where
        trouble.added[spot] = trouble.severity
    elif mode == "shorted":
        frame = next(part.to for part in circuit.parts.values() if part.kind == "ground_bolt")
        trouble.joined.append((wire_end(circuit, where, wires[where].end), f"{frame}.metal", trouble.severity, ""))
    elif mode in ("accessory-feed", "start-feed"):
        wire = wires[where]
        switch = wire.start.partition(".")[0]
        output = "acc" if mode == "accessory-feed" else "50"
        trouble.added[f"{where}.at.{wire.start}"] = math.inf
        trouble.joined.append((f"{switch}.{output}", f"{where}.at.{wire.start}", WIRE_AT_FAULT_OHM, ""))
    elif mode == "87a-used-for-87":
        trouble.added[f"{where}.87"] = math.inf
        trouble.joined.append((f"{where}.87", f"{where}.87a.blade", WIRE_AT_FAULT_OHM, where))
    elif mode in ("coil-two-grounds", "coil-two-feeds"):
        _miswire_coil(circuit, trouble)
    elif fault and mode not in INSIDE.get(circuit.parts[where].kind, set()):
        raise KeyError(f"nobody has said here what {fault} means")
    return trouble


def _bad_spot(circuit: Circuit, wire: Any) -> str:
    """Where a wire is bad, as said at the top of this file."""
    for end in (wire.start, wire.end):
        if kind(circuit, end) == "fuse":
            return str(end)
    for end in (wire.start, wire.end):
        hidden = kind(circuit, end) in ("starter", "alternator", "ignition_switch", "load")
        if hidden:
            return f"{wire.name}.at.{end}"
    return str(wire.name)


def _miswire_coil(circuit: Circuit, trouble: Trouble) -> None:
    """The wire of one coil terminal is off, and that terminal has been joined to where the other's goes."""
    relay = trouble.part
    at = {end: wire for wire in circuit.wires for end in (wire.start, wire.end)}
    wires = {number: at[f"{relay}.{number}"] for number in ("85", "86")}
    grounded = next(n for n, wire in wires.items() if _leads_to_ground(circuit, wire))
    fed = "86" if grounded == "85" else "85"
    bad, good = (fed, grounded) if trouble.mode == "coil-two-grounds" else (grounded, fed)
    other = wires[good]
    far = other.end if other.start == f"{relay}.{good}" else other.start
    # a fuse's tab is where a probe meets it, and there the wire is put; on a stud, under the same ring
    to = f"{other.name}.at.{far}" if is_stud(circuit, far) else far
    trouble.added[wires[bad].name] = math.inf
    trouble.joined.append((f"{relay}.{bad}", to, WIRE_AT_FAULT_OHM + copper_ohm(other), ""))


def _leads_to_ground(circuit: Circuit, wire: Any) -> bool:
    return any(kind(circuit, end) in ("ground_bolt", "metal") for end in (wire.start, wire.end))


# ---- wires


def kind(circuit: Circuit, end: str) -> str:
    return str(circuit.parts[end.partition(".")[0]].kind)


def is_stud(circuit: Circuit, end: str) -> bool:
    return kind(circuit, end) not in ("fuse", "relay", "pump")


def wire_end(circuit: Circuit, wire: str, end: str) -> str:
    """The node at which the conductor itself ends: at a ring on a stud, behind a fuse holder, in a socket."""
    if is_stud(circuit, end):
        return f"{wire}.at.{end}"
    return f"{end}.wire" if kind(circuit, end) == "fuse" else end


def copper_ohm(wire: Any) -> float:
    """Ohms at 20 °C. AWG n: d = 0.005 in · 92^((36-n)/39) (ASTM B258) of copper with 58 MS/m (IACS).
    Metric: IEC 60228 class 5 table, else 1.13 times ideal copper (the table's own ratio)."""
    siemens_m = 58e6
    if wire.gauge.awg is not None:
        inches = 0.005 * math.exp(math.log(92.0) * (36 - wire.gauge.awg) / 39)
        radius_m = inches * 0.0254 / 2
        return float(wire.length / (siemens_m * math.pi * radius_m * radius_m))
    mm2 = wire.gauge.area_m2 * 1e6
    per_km = {0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95, 6.0: 3.30}
    for size, ohm in per_km.items():
        if math.isclose(size, mm2, rel_tol=1e-6):
            return float(ohm / 1000 * wire.length)
    return float(1.13 * wire.length / (siemens_m * wire.gauge.area_m2))
