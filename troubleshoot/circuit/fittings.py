"""Test loads and leads that one may fit: a lamp in place of a load or a fuse, fused leads, a ground by hand.

Each is a branch that is there only in a setup that has it fitted. What is allowed when is said in
`trade-facts`' cautions: sparks away from the tank, one ground by hand only where three readings allow it.
"""

from __future__ import annotations

from dataclasses import dataclass

from troubleshoot.circuit.circuit import Circuit
from troubleshoot.parts import Controller, Fuse
from troubleshoot.parts.branch import BendDevice, Branch
from troubleshoot.parts.lamp import filament

LAMP_W = 55.0
"""A headlamp bulb on leads."""

LEADS_OHM = 0.06
"""One fused lead of a few metres (invented)."""

GROUND_OHM = 0.1
"""A fused lead of about 2 A, held to the battery's negative post (invented)."""

LEAD_SPREAD = 0.2

EXTENSION_OHM = 0.015
EXTENSION_SPREAD = 0.3
"""One extension lead with its two contacts (invented)."""


@dataclass(frozen=True)
class Fitting:
    """One thing to fit: its name, what it is in words, its branches and devices."""

    name: str
    say: str
    branches: tuple[Branch, ...]
    devices: tuple[BendDevice, ...] = ()


def list_fittings(circuit: Circuit) -> list[Fitting]:
    """All that may be fitted to a circuit."""
    return [*_for_loads(circuit), *_for_fuses(circuit), *_for_relays(circuit), *_by_hand(circuit)]


def _for_loads(circuit: Circuit) -> list[Fitting]:
    found = []
    pos, neg = f"{circuit.battery}.pos", f"{circuit.battery}.neg"
    for name in circuit.loads:
        spoken = circuit.named_parts[name].spoken
        lamp, device = filament(f"lamp@{name}.filament", f"{name}.plus", f"{name}.minus", LAMP_W, LEAD_SPREAD / 2,
                                joins=f"lamp@{name}")  # fmt: skip
        found.append(
            Fitting(f"lamp@{name}", f"a headlamp bulb on leads in the plug of the {spoken}", (lamp,), (device,))
        )
        leads = tuple(
            Branch(f"leads@{name}.{end}", post, f"{name}.{end}.blade", LEADS_OHM, LEAD_SPREAD, joins=f"leads@{name}")
            for end, post in (("plus", pos), ("minus", neg))
        )
        found.append(Fitting(f"leads@{name}", f"the {spoken} fed from the battery by fused leads", leads))
    return found


def _for_fuses(circuit: Circuit) -> list[Fitting]:
    found = []
    for name, part in circuit.named_parts.items():
        if isinstance(part, Fuse) and part.pulls_out and not _feeds_controller(circuit, name):
            lamp, device = filament(f"lamp@{name}.filament", f"{name}.in.wire", f"{name}.out.wire", LAMP_W,
                                    LEAD_SPREAD / 2, joins=f"lamp@{name}")  # fmt: skip
            say = f"a headlamp bulb on leads in place of the {part.spoken}"
            found.append(Fitting(f"lamp@{name}", say, (lamp,), (device,)))
    return found


def _feeds_controller(circuit: Circuit, name: str) -> bool:
    """Whether a wire or a splice leads from a part straight to a controller: no filament lamp goes there (maker or
    service data, trade-facts section 9)."""
    reached, at = {name}, {name}
    while at:
        ends = [{end.partition(".")[0] for end in (wire.start, wire.end)} for wire in circuit.wires]
        near = set[str]().union(*(pair for pair in ends if pair & at)) - reached
        if any(isinstance(circuit.parts[other], Controller) for other in near):
            return True
        reached |= near
        at = {other for other in near if circuit.parts[other].kind == "splice"}
    return False


def _for_relays(circuit: Circuit) -> list[Fitting]:
    """Extension leads between a relay and its socket: the relay works, and its own blades can be probed."""
    found = []
    for name in circuit.relays:
        part = circuit.named_parts[name]
        leads = tuple(
            Branch(f"extension@{name}.{number}", f"{name}.{number}", f"{name}.{number}.blade", EXTENSION_OHM,
                   EXTENSION_SPREAD, joins=f"extension@{name}")
            for number in (terminal.name for terminal in part.anatomy().terminals)
        )  # fmt: skip
        found.append(Fitting(f"extension@{name}", f"the {part.spoken} on extension leads in its socket", leads))
    return found


def _by_hand(circuit: Circuit) -> list[Fitting]:
    """The coil's ground given by hand, where a controller gives it else and the other end is wired."""
    found = []
    wired = {end for wire in circuit.wires for end in (wire.start, wire.end)}
    for name in circuit.relays:
        for terminal, other in (("85", "86"), ("86", "85")):
            if f"{name}.{other}" not in wired or commanded_by(circuit, f"{name}.{terminal}") != "ground":
                continue
            spot = f"{name}.{terminal}"
            lead = Branch(f"ground@{name}.lead", spot, f"{circuit.battery}.neg", GROUND_OHM, LEAD_SPREAD,
                          joins=f"ground@{name}")  # fmt: skip
            relay = circuit.named_parts[name].spoken
            say = f"a fused lead of about 2 A from {terminal} of the {relay} to battery negative"
            found.append(Fitting(f"ground@{name}", say, (lead,)))
    return found


def commanded_by(circuit: Circuit, spot: str) -> str:
    """ "ground" or "feed" where the wire on a terminal comes from a controller's output, else ""."""
    for wire in circuit.wires:
        if spot in (wire.start, wire.end):
            far = wire.far(spot)
            part = circuit.parts[far.partition(".")[0]]
            if isinstance(part, Controller) and far.endswith(".out"):
                return part.drives
    return ""
