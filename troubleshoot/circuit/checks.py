"""What one could do at the vehicle: setups, readings between two points, observations.

Checks are generated from the network. What one may not do is left out here: no ohms with the power on,
no ammeter, no probe pushed into the front of a socket, no pierced wire.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from troubleshoot.circuit.circuit import KEYS, Circuit
from troubleshoot.circuit.network import Network
from troubleshoot.circuit.stretches import Point
from troubleshoot.parts import Fuse, IgnitionSwitch, Pump, Relay

Function = Literal["volts", "volts_min", "volts_max", "millivolts", "ohms"]


AGAIN = " again"


@dataclass(frozen=True)
class Setup:
    """How things stand while one reads: the key state, and what is out, unplugged or off.

    The key always came here through the states before it in KEYS, from off, with the same things removed.
    """

    key: str
    removed: frozenset[str] = frozenset()

    @property
    def before(self) -> str:
        """The key state just before this one."""
        return {"off": "off", "accessory": "off", "on": "accessory", "cranking": "on", "running": "cranking"}[self.key]


@dataclass(frozen=True)
class Check:
    """A reading (`red`, `black`, `function`) or an observation (`about`, `answers`), in a setup.

    For an observation `about` is `click:RELAY`, `runs:PUMP`, `whole:FUSE` or `hot:PART`. `again`: made anew
    because the verdict hangs on it; its id is that of the first with " again" behind.
    """

    id: str
    setup: Setup
    red: str = ""
    black: str = ""
    function: Function = "volts"
    about: str = ""
    answers: tuple[str, ...] = ()
    place: str = ""
    again: bool = False

    @property
    def kind(self) -> Literal["reading", "observation"]:
        return "observation" if self.about else "reading"

    @property
    def first_id(self) -> str:
        """The id of the check that this one repeats, or its own."""
        return self.id.removesuffix(AGAIN)

    def repeated(self) -> Check:
        """The same check, to be made anew."""
        return replace(self, id=self.first_id + AGAIN, again=True)

    @property
    def is_ohms(self) -> bool:
        return self.function == "ohms"


OWN_KINDS = ("battery", "fuse", "relay", "ignition_switch", "pump", "metal", "ground_bolt")
"""Kinds of part whose terminals are worth probing for the relay's load; other loads are only looked through."""


def cranking_setup(circuit: Circuit) -> Setup:
    """Cranking for a reading, with the start prevented as the file says."""
    return Setup("cranking", frozenset({circuit.start_prevented.unplug}))


def list_setups(circuit: Circuit) -> list[Setup]:
    """Every setup in which some check may be made, the plain key states first."""
    relays = frozenset(n for n, p in circuit.parts.items() if isinstance(p, Relay))
    pumps = frozenset(n for n, p in circuit.parts.items() if isinstance(p, Pump))
    fuses = frozenset(n for n, p in circuit.parts.items() if isinstance(p, Fuse))
    dead = frozenset({circuit.battery}) | relays | pumps
    return [
        *(Setup(key) for key in KEYS),
        cranking_setup(circuit),
        Setup("off", relays),
        Setup("on", relays),
        Setup("on", pumps),
        Setup("off", dead),
        Setup("off", dead | fuses),
    ]


def list_checks(network: Network) -> list[Check]:
    """All checks of a circuit, each once."""
    circuit = network.circuit
    checks = _grounded_volts(network) + _drops(network) + _ground_paths(network) + _ohms(network)
    checks += _observations(circuit)
    return list({check.id: check for check in checks}.values())


def _own_points(network: Network) -> list[Point]:
    parts = network.circuit.parts
    return [p for p in network.points if parts[p.part].kind in OWN_KINDS and not p.node.endswith(".blade")]


def reading(network: Network, red: str, black: str, function: Function, setup: Setup) -> Check:
    """The check that reads `function` between two nodes; its id is what a log and a person can say."""
    out = "".join(f" -{name}" for name in sorted(setup.removed))
    name = f"{red} to {black} {function} {setup.key}{out}"
    far = [p.place for p in (network.point_at[red], network.point_at[black])]
    return Check(name, setup, red, black, function, place=max(far, key=lambda place: place != "engine bay"))


def _grounded_volts(network: Network) -> list[Check]:
    """Every point against battery negative, in the key states and in the opened-up setups."""
    circuit = network.circuit
    neg = f"{circuit.battery}.neg"
    checks = []
    relays = frozenset(n for n, p in circuit.parts.items() if isinstance(p, Relay))
    pumps = frozenset(n for n, p in circuit.parts.items() if isinstance(p, Pump))
    for point in _own_points(network):
        if point.node == neg:
            continue
        for key in ("off", "accessory", "on"):
            checks.append(reading(network, point.node, neg, "volts", Setup(key)))
        held: tuple[Function, ...] = ("volts_min", "volts_max")
        for function in held:
            checks.append(reading(network, point.node, neg, function, cranking_setup(circuit)))
        if circuit.parts[point.part].kind in ("relay", "ignition_switch", "battery"):
            checks.append(reading(network, point.node, neg, "volts", cranking_setup(circuit)))
            checks.append(reading(network, point.node, neg, "volts", Setup("on", relays)))
        if circuit.parts[point.part].kind in ("relay", "pump"):
            checks.append(reading(network, point.node, neg, "volts", Setup("on", pumps)))
    return checks


def _drops(network: Network) -> list[Check]:
    """Across each stretch, contact, fuse, coil and pump, with the key on."""
    circuit = network.circuit
    own = {point.node for point in _own_points(network)}
    pairs = [(s.a, s.b) for s in network.stretches if s.a in own and s.b in own]
    on = Setup("on")
    checks = []
    for name, part in circuit.parts.items():
        if isinstance(part, Relay):
            pairs += [(f"{name}.87", f"{name}.30"), (f"{name}.86", f"{name}.85")]
        elif isinstance(part, Pump):
            pairs.append((f"{name}.plus", f"{name}.minus"))
        elif isinstance(part, IgnitionSwitch):
            pairs.append((f"{name}.30", f"{name}.15"))
        elif isinstance(part, Fuse):
            checks.append(reading(network, f"{name}.in", f"{name}.out", "millivolts", on))
    checks += [reading(network, a, b, "volts", on) for a, b in pairs if a in own and b in own]
    return checks


def _ground_paths(network: Network) -> list[Check]:
    """Against battery positive with the relay out: does this terminal have a path to ground?"""
    circuit = network.circuit
    checks = []
    for name, part in circuit.parts.items():
        if isinstance(part, Relay):
            setup = Setup("off", frozenset({name}))
            for terminal in ("30", "85", "86", "87"):
                if f"{name}.{terminal}" in network.point_at:
                    checks.append(reading(network, f"{name}.{terminal}", f"{circuit.battery}.pos", "volts", setup))
    return checks


def _ohms(network: Network) -> list[Check]:
    """Power off and the part isolated: the part's own blades, each wire to metal, each ground wire."""
    circuit = network.circuit
    pulled = [s for s in list_setups(circuit) if circuit.battery in s.removed]
    isolated, fuses_too = pulled
    metals = [f"{n}.metal" for n, p in circuit.parts.items() if p.kind == "metal"]
    frame = metals[-1] if metals else f"{circuit.battery}.neg"
    checks = []
    for name, part in circuit.parts.items():
        if isinstance(part, Relay):
            blades = [("86", "85"), ("30", "87")] + ([("30", "87a")] if part.blades == 5 else [])
            checks += [reading(network, f"{name}.{a}.blade", f"{name}.{b}.blade", "ohms", isolated) for a, b in blades]
            for terminal in ("30", "85", "86", "87"):
                if f"{name}.{terminal}" in network.point_at:
                    setup = fuses_too if terminal in ("86", "87") else isolated
                    checks.append(reading(network, f"{name}.{terminal}", frame, "ohms", setup))
        elif isinstance(part, Pump):
            checks.append(reading(network, f"{name}.plus.blade", f"{name}.minus.blade", "ohms", isolated))
            checks.append(reading(network, f"{name}.minus", frame, "ohms", isolated))
        elif isinstance(part, IgnitionSwitch):
            checks += [reading(network, f"{name}.{n}", frame, "ohms", fuses_too) for n in ("15", "30")]
    return checks


def _observations(circuit: Circuit) -> list[Check]:
    checks = []
    on, off = Setup("on"), Setup("off")
    for name, part in circuit.parts.items():
        if isinstance(part, Relay):
            checks.append(Check(f"click {name}", on, about=f"click:{name}", place=part.place,
                                answers=("clicks", "no click", "buzzes")))  # fmt: skip
        elif isinstance(part, Pump):
            for setup in (on, off):
                checks.append(Check(f"runs {name} {setup.key}", setup, about=f"runs:{name}", place="engine bay",
                                    answers=("runs", "weak", "no")))  # fmt: skip
        elif isinstance(part, Fuse):
            checks.append(Check(f"whole {name}", Setup("off", frozenset({name})), about=f"whole:{name}",
                                place=part.place, answers=("whole", "blown")))  # fmt: skip
        if part.kind in ("fuse", "relay", "pump", "ground_bolt"):
            checks.append(Check(f"hot {name}", on, about=f"hot:{name}", place=part.place, answers=("hot", "cool")))
    return checks
