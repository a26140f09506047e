"""What each fault means, said a second time: ohms added at named spots, joins that should not be.

Left of netlist.py, and like it shares nothing with the solver: taken from the words with which a fault is
told. One rule is taken over, since no probe can tell: within a run of wire and joints the bad spot is the
contact in a holder of the part that the file names first, else the first ring that cannot be touched, else the
conductor.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from typing import Any

from wiring import copper_ohm, fed, frame, is_stud, is_tab, other_end, sockets, wire_at, wire_end

from troubleshoot.circuit.circuit import Circuit

WIRE_AT_FAULT_OHM = 0.01
"""A wire's contact in a place where it does not belong (invented)."""

CHAFED_OHM = 0.2
STUCK_OHM = 0.02
DIODE_SHORT_OHM = 0.05
"""A chafe past a cut-off, a contact that does not open any more, a diode failed short (invented)."""

INSIDE: dict[str, set[str]] = {
    "battery": {"flat", "weak"},
    "fuse": {"blown", "too-large", "bridged", "worn"},
    "relay": {
        "coil-open", "coil-shorted-turns", "weak-coil", "contacts-stuck-open", "contacts-burnt",
        "contacts-welded", "changeover-fitted",
    },
    "ignition_switch": {"contact-15", "contact-acc", "contact-50"},
    "switch": {"tripped", "open", "worn"},
    "oil_switch": {"run-contact", "start-contact"},
    "controller": {"no-command"},
    "diode": {"open"},
    "pump": {"open", "seized", "worn"},
    "fan": {"open", "seized", "worn", "dropper-open"},
    "horn": {"open", "stuck", "worn"},
    "lamp": {"open", "contact-burnt"},
    "ground_bolt": {"bad-joint", "painted"},
}  # fmt: skip
"""Modes that pieces.py writes with the part itself. One that is missing there must not pass as healthy."""

WRONG_OUTPUT = {"constant-feed": "30", "accessory-feed": "acc", "ignition-feed": "15", "start-feed": "50"}


@dataclass(frozen=True)
class Join:
    """Two nodes joined that should not be; apart while the part `needs` is out."""

    a: str
    b: str
    ohm: float
    needs: str = ""


@dataclass
class Trouble:
    """A fault in the terms of this file: ohms added to named spots (infinite: open), joins, and what is wrong inside
    `part`. `loose`: pushing the part home cures it."""

    part: str = ""
    mode: str = ""
    severity: float = 0.0
    added: dict[str, float] = field(default_factory=dict)
    joined: list[Join] = field(default_factory=list)
    loose: bool = False

    def inside(self, part: str) -> str:
        """What is wrong inside this part."""
        return self.mode if part == self.part else ""


def read_trouble(circuit: Circuit, fault: str, severity: float | None) -> Trouble:
    where, _, mode = fault.rpartition(":")
    trouble = Trouble(where, mode, 0.0 if severity is None else severity)
    if not fault:
        return trouble
    wire = next((wire for wire in circuit.wires if wire.name == where), None)
    if mode == "bad":
        trouble.added[_bad_spot(circuit, wire) if wire else where] = trouble.severity
    elif mode == "spread":
        trouble.added[where], trouble.loose = trouble.severity, True
    elif wire:
        _wrong_wire(circuit, trouble, wire)
    elif not _wrong_joins(circuit, trouble) and mode not in INSIDE.get(circuit.parts[where].kind, set()):
        raise KeyError(f"nobody has said here what {fault} means")
    return trouble


def _bad_spot(circuit: Circuit, wire: Any) -> str:
    """Where a wire is bad, as said at the top of this file."""
    for name, part in circuit.parts.items():
        order = ("in", "out") if part.kind == "fuse" else ("anode", "cathode")
        held = [f"{name}.{t}" for t in order if f"{name}.{t}" in (wire.start, wire.end)]
        if held and is_tab(circuit, held[0]):
            return held[0]
    for end in (wire.start, wire.end):
        if is_stud(circuit, end) and end.partition(".")[2] not in ("pos", "neg", "metal", "stud"):
            return f"{wire.name}.at.{end}"
    return str(wire.name)


def _wrong_wire(circuit: Circuit, trouble: Trouble, wire: Any) -> None:
    """A wire that touches metal, or that is on the wrong output of the ignition switch."""
    if trouble.mode == "shorted":
        trouble.joined.append(Join(wire_end(circuit, wire.name, wire.end), frame(circuit), trouble.severity))
    elif trouble.mode in ("past-cut-off", "past-switch"):
        near = next(end for end in (wire.start, wire.end) if _grounds_it(circuit, end))
        far = other_end(wire, near)
        trouble.joined.append(Join(wire_end(circuit, wire.name, far), frame(circuit), CHAFED_OHM))
    elif trouble.mode in WRONG_OUTPUT:
        right = next(end for end in (wire.start, wire.end) if _is_output(circuit, end))
        ring = f"{wire.name}.at.{right}"
        trouble.added[ring] = math.inf
        wrong = f"{right.partition('.')[0]}.{WRONG_OUTPUT[trouble.mode]}"
        trouble.joined.append(Join(wrong, ring, WIRE_AT_FAULT_OHM))
    else:
        raise KeyError(f"nobody has said here what {wire.name}:{trouble.mode} means")


def _grounds_it(circuit: Circuit, end: str) -> bool:
    """Whether this is the side of a switch whose other side is wired to ground, or a controller's grounding output."""
    name, _, terminal = end.partition(".")
    part = circuit.parts[name]
    if part.kind == "controller":
        return terminal == "out" and part.drives == "ground"
    across = f"{name}.{'in' if terminal == 'out' else 'out'}"
    fars = [other_end(wire, across) for wire in circuit.wires if across in (wire.start, wire.end)]
    return part.kind == "switch" and any(far.partition(".")[2] in ("metal", "stud", "neg") for far in fars)


def _is_output(circuit: Circuit, end: str) -> bool:
    part, _, terminal = end.partition(".")
    return circuit.parts[part].kind == "ignition_switch" and terminal != "30"


def _wrong_joins(circuit: Circuit, trouble: Trouble) -> bool:
    """Faults told of a part that join something about it. False: it is none of these."""
    here, mode, kind = trouble.part, trouble.mode, circuit.parts[trouble.part].kind
    join = trouble.joined.append
    if kind == "relay":
        return _wrong_at_relay(circuit, trouble)
    if mode == "wires-exchanged":
        _exchange(circuit, trouble, "plus", "minus")
    elif mode == "diode-shorted":
        join(Join(f"{here}.plus.blade", f"{here}.minus.blade", DIODE_SHORT_OHM))
    elif (kind, mode) == ("diode", "shorted"):
        join(Join(f"{here}.anode", f"{here}.cathode", DIODE_SHORT_OHM))
    elif (kind, mode) == ("switch", "stuck-closed"):
        join(Join(f"{here}.in.blade", f"{here}.out.blade", STUCK_OHM, here))
    elif (kind, mode) == ("oil_switch", "stuck-closed"):
        join(Join(f"{here}.P.blade", f"{here}.I.blade", STUCK_OHM, here))
    elif (kind, mode) == ("oil_switch", "I-S-exchanged"):
        _exchange(circuit, trouble, "I", "S")
    elif (kind, mode) == ("oil_switch", "run-start-joined"):
        join(Join(f"{here}.I", f"{here}.S", 2 * WIRE_AT_FAULT_OHM))
    elif mode == "always-on":
        controller: Any = circuit.parts[here]
        side = "ground" if controller.drives == "ground" else "feed"
        join(Join(f"{here}.out.blade", f"{here}.{side}.blade", controller.driver_resistance.value, here))
    else:
        return False
    return True


def _wrong_at_relay(circuit: Circuit, trouble: Trouble) -> bool:
    here, mode = trouble.part, trouble.mode
    exchanged = re.fullmatch(r"(\w+)-(\w+)(?:-(\w+)-(\w+))?-exchanged", mode)
    misplaced = re.fullmatch(r"(87[ab])-used-for-(30|87)", mode)
    if exchanged:
        for one, other in (exchanged.group(1, 2), exchanged.group(3, 4)):
            if one:
                _exchange(circuit, trouble, one, other)
    elif misplaced:
        _move(circuit, trouble, f"{here}.{misplaced[2]}", f"{here}.{misplaced[1]}")
    elif mode == "other-layout":
        for wired, blade in (("30", "86"), ("86", "30")):
            trouble.added[f"{here}.{wired}"] = math.inf
            trouble.joined.append(Join(f"{here}.{wired}", f"{here}.{blade}.blade", WIRE_AT_FAULT_OHM, here))
    elif mode == "diode-shorted":
        trouble.joined.append(Join(f"{here}.86.blade", f"{here}.85.blade", DIODE_SHORT_OHM))
    elif mode in ("coil-two-grounds", "coil-two-feeds"):
        plus, minus = _coil_ends(circuit, here)
        bad, good = (plus, minus) if mode == "coil-two-grounds" else (minus, plus)
        # the wire of one terminal is off, and that terminal has been joined to where the other's wire goes
        trouble.added[wire_at(circuit, bad).name] = math.inf
        wire = wire_at(circuit, good)
        to = wire_end(circuit, wire.name, other_end(wire, good))
        trouble.joined.append(Join(bad, to, WIRE_AT_FAULT_OHM + copper_ohm(wire)))
    elif mode == "run-start-joined":
        switch = next(name for name, part in circuit.parts.items() if part.kind == "ignition_switch")
        trouble.joined.append(Join(_coil_ends(circuit, here)[0], f"{switch}.50", 2 * WIRE_AT_FAULT_OHM))
    else:
        return False
    return True


def _coil_ends(circuit: Circuit, relay: str) -> tuple[str, str]:
    """The coil's fed terminal and the other."""
    ends = f"{relay}.86", f"{relay}.85"
    return ends if ends[0] in fed(circuit) else ends[::-1]


def _exchange(circuit: Circuit, trouble: Trouble, one: str, other: str) -> None:
    a, b = f"{trouble.part}.{one}", f"{trouble.part}.{other}"
    _move(circuit, trouble, a, b)
    _move(circuit, trouble, b, a)


def _move(circuit: Circuit, trouble: Trouble, end: str, to: str) -> None:
    """The wire that should be in the socket `end` is in `to`, as well as any wire there, and its own socket has none:
    the wire's length goes from its far end to there."""
    if to.partition(".")[2] not in sockets(circuit.parts[to.partition(".")[0]]):
        raise KeyError(f"there is no socket {to}")
    wire = wire_at(circuit, end)
    trouble.added[wire.name] = math.inf
    far = wire_end(circuit, wire.name, other_end(wire, end))
    trouble.joined.append(Join(far, to, copper_ohm(wire)))
