"""Small circuits for tests, written as data: exact values, so that one can work them out by hand.

All values are invented, or those of the model in the test that uses them. What is shared here: a part's usual
fields, a circuit from parts and wires, and what its devices do in a setup.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np

from troubleshoot.circuit import Circuit, Network, Setup, wire_up
from troubleshoot.parts.branch import Fault
from troubleshoot.solve.cases import Bench, Case, Draw

Fields = Mapping[str, Any]

USUAL: dict[str, dict[str, Any]] = {
    "battery": {"charge": "100 %", "internal_resistance": "10 mohm", "charging_resistance": "100 mohm"},
    "supply": {"voltage": "12 V", "limit": "5 A", "internal_resistance": "20 mohm"},
    "starter": {"case": "frame", "resistance": "53 mohm", "solenoid_resistance": "1.2 ohm"},
    "alternator": {"case": "frame", "voltage": "14.2 V", "resistance": "5 mohm"},
    "fuse": {"rating": "15 A", "resistance": "5 mohm", "holder_contact": "1 mohm"},
    "relay": {
        "contacts": "make", "rating": "40 A", "coil_resistance": "90 ohm", "pull_in": "7.2 V", "release": "1.2 V",
        "contact_resistance": "5 mohm", "socket_contact": "1 mohm",
    },
    "ignition_switch": {"contact_resistance": "10 mohm"},
    "switch": {"style": "toggle", "contact_resistance": "10 mohm", "plug_contact": "1 mohm"},
    "oil_switch": {"style": "changeover", "contact_resistance": "10 mohm", "plug_contact": "1 mohm"},
    "controller": {
        "drives": "ground", "prime": "2 s", "supply_resistance": "40 ohm", "driver_resistance": "0.2 ohm",
        "wakes_at": "6 V", "plug_contact": "1 mohm",
    },
    "diode": {"contact": "1 mohm"},
    "pump": {
        "back_emf": "4 V", "resistance": "1.3 ohm", "winding_resistance": "0.7 ohm", "start_voltage": "3 V",
        "plug_contact": "1 mohm",
    },
    "fan": {
        "back_emf": "4 V", "resistance": "0.8 ohm", "winding_resistance": "0.4 ohm", "start_voltage": "3 V",
        "plug_contact": "1 mohm",
    },
    "horn": {
        "resistance": "0.6 ohm", "sounding_resistance": "2 ohm", "sound_voltage": "6 V", "plug_contact": "1 mohm",
    },
    "lamp": {"watts": "55 W", "plug_contact": "1 mohm"},
    "load": {"resistance": "6 ohm"},
    "metal": {},
    "ground_bolt": {"to": "frame", "joint": "1 mohm"},
}  # fmt: skip

BATTERY: dict[str, Fields] = {
    "battery": {"kind": "battery"}, "frame": {"kind": "metal"}, "bolt": {"kind": "ground_bolt"},
}  # fmt: skip
KEYED = BATTERY | {
    "ignition": {"kind": "ignition_switch"}, "starter": {"kind": "starter"},
    "module": {"kind": "load", "case": "frame"},
}  # fmt: skip
"""With an ignition switch and a starter: all key states but prime. The start is prevented at `module`."""

STRAP = "frame.metal battery.neg"
KEYED_WIRES = (
    STRAP, "battery.pos starter.30", "battery.pos ignition.30", "ignition.50 starter.50", "ignition.15 module.in",
)  # fmt: skip


def circuit(
    parts: Mapping[str, Fields], wires: Sequence[str], operate: Sequence[str] = (), key: str = "", **more: Any
) -> Circuit:
    """A circuit that fits together. A part's missing fields are the USUAL ones; a wire is "from to", 1 m of 1.5 mm²
    (13.3 mohm) with rings of 1 microhm, and is called by its ends, as `battery_pos__fuse_in`."""
    written = {name: USUAL[fields["kind"]] | dict(fields) for name, fields in parts.items()}
    kinds = {fields["kind"] for fields in written.values()}
    if {"ignition_switch", "starter"} <= kinds:
        more.setdefault("start_prevented", {"by": "unplug the module", "unplug": "module"})
    works = {"key": key or ("on" if "ignition_switch" in kinds else "off"), "operate": tuple(operate)}
    ends = [wire.split() for wire in wires]
    made = Circuit.model_validate({
        "format": 2, "title": "test", "feeds": "test", "joint": "1 uohm", "works": works, "parts": written, **more,
        "wires": [{"name": wire_name(*pair), "from": pair[0], "to": pair[1], "gauge": "1.5 mm²", "length": "1 m"}
                  for pair in ends],
    })  # fmt: skip
    doubts = [doubt for doubt in made.doubts() if doubt.code != "no-load"]  # a resistance will do here
    assert not doubts, doubts
    return made


def wire_name(start: str, end: str) -> str:
    """What `circuit` calls the wire between two terminals."""
    return f"{start}__{end}".replace(".", "_").replace("+", "plus")


def network(parts: Mapping[str, Fields], wires: Sequence[str], operate: Sequence[str] = (), **more: Any) -> Network:
    """The same, wired up."""
    return wire_up(circuit(parts, wires, operate, **more))


def fault(net: Network, name: str) -> Fault:
    """The fault of this name; StopIteration without one."""
    return next(each for each in net.faults if each.name == name)


class Stand:
    """One car of a circuit on a bench: healthy, or with a fault."""

    def __init__(self, net: Network, fault_name: str = "", severity: float | None = None, draw: Draw | None = None):
        self.net = net
        self.bench = Bench(net, [Case(fault(net, fault_name) if fault_name else None, severity)], draw)

    def volts(self, red: str, setup: Setup, black: str = "") -> float:
        """Volts between two nodes, against the battery's negative post where no `black` is named; no meter."""
        volts = self.bench.solved(setup).volts[0]
        black = black or self.net.nodes[0]
        return float(volts[self.bench.node_at[red]] - volts[self.bench.node_at[black]])

    def reads(self, red: str, setup: Setup, meter_ohm: float = 10e6) -> float:
        """What a voltmeter of `meter_ohm` shows there, its black lead on the battery's negative post."""
        return self.volts(red, setup) * meter_ohm / (meter_ohm + self.ohms(red, self.net.nodes[0], setup))

    def amps(self, branch: str, setup: Setup) -> float:
        """Amperes from a to b in a branch."""
        return float(self.bench.solved(setup).currents()[0, self.net.branch_at[branch]])

    def ohms(self, red: str, black: str, setup: Setup) -> float:
        """What an ideal ohmmeter reads between two nodes."""
        at = self.bench.node_at
        reply = self.bench.solved(setup).between(at[red], at[black])[0]
        return float(reply[at[red]] - reply[at[black]])

    def pulled(self, relay: str, setup: Setup) -> bool:
        at = [device.name for device in self.net.relays].index(relay)
        return bool(self._state(setup).pulled[0, at])

    def blown(self, fuse: str, setup: Setup) -> bool:
        at = [device.name for device in self.net.fuses].index(fuse)
        return bool(self._state(setup).blown[0, at])

    def bent(self, branch: str, setup: Setup) -> int:
        """1: turns, glows, conducts; -1: the other way round; 0: not at all."""
        at = [device.branch for device in self.net.bends].index(branch)
        return int(self._state(setup).bent[0, at])

    def chatters(self, setup: Setup) -> bool:
        return bool(self.bench.settled(setup)[1][0])

    def _state(self, setup: Setup) -> Any:
        state, chatters = self.bench.settled(setup)
        assert not chatters[0], f"chatters in {setup}"
        return state


def lost_a(stand: Stand, setup: Setup) -> float:
    """The largest sum of currents into any node."""
    solved = stand.bench.solved(setup)
    left = np.zeros(solved.net.count)
    np.add.at(left, solved.net.a, -solved.currents()[0])
    np.add.at(left, solved.net.b, solved.currents()[0])
    return float(np.abs(left).max())


RELAY_WIRES = (
    *KEYED_WIRES, "battery.pos fuse.in", "fuse.out relay.30", "relay.87 pump.plus", "pump.minus bolt.stud",
    "ignition.15 coil_fuse.in", "coil_fuse.out relay.86", "relay.85 bolt.stud",
)  # fmt: skip
"""A pump on a relay: constant fused feed on 30, ignition feed on 86 through its own fuse."""


def pump_on_relay(
    wires: Sequence[str] = RELAY_WIRES, more: Mapping[str, Fields] | None = None, **relay: Any
) -> Network:
    """That circuit, with the relay's fields given; `more` adds parts or replaces their fields."""
    parts = KEYED | {
        "fuse": {"kind": "fuse"}, "coil_fuse": {"kind": "fuse", "rating": "5 A"}, "pump": {"kind": "pump"},
        "relay": {"kind": "relay"} | relay,
    }  # fmt: skip
    return network(parts | (more or {}), wires)


def rewired(old: str, *new: str, wires: Sequence[str] = RELAY_WIRES) -> tuple[str, ...]:
    """The wires with one of them replaced by others, or by none."""
    assert old in wires
    return (*(wire for wire in wires if wire != old), *new)


OFF, ON, CRANKING = Setup("off"), Setup("on"), Setup("cranking")
PRIME, REMOTE = Setup("prime"), Setup("remote")


def controlled(drives: str = "ground", monitor: bool = False, **controller: Any) -> Network:
    """The pump's relay grounded, or fed, by an engine controller; with `monitor` it watches the pump's feed wire at a
    junction (a load of 1 Mohm)."""
    wires = [w for w in RELAY_WIRES if "relay.85" not in w and "relay.86" not in w and "coil_fuse" not in w]
    wires += ["ignition.15 coil_fuse.in", "coil_fuse.out controller.feed", "controller.ground bolt.stud"]
    wires += {
        "ground": ["ignition.15 relay.86", "relay.85 controller.out"],
        "feed": ["controller.out relay.86", "relay.85 bolt.stud"],
    }[drives]
    more: dict[str, Fields] = {"controller": {"kind": "controller", "drives": drives} | controller}
    if monitor:
        more["controller"] = dict(more["controller"]) | {"monitor_resistance": "10 kohm"}
        more["junction"] = {"kind": "load", "resistance": "1 Mohm", "case": "frame"}
        wires = [w for w in wires if w != "relay.87 pump.plus"]
        wires += ["relay.87 junction.in", "junction.in pump.plus", "controller.monitor junction.in"]
    return pump_on_relay(wires, more)


PLACES = {
    "coil feed": "coil_fuse.out relay.86",
    "coil ground": "relay.85 bolt.stud",
    "load feed": "relay.87 pump.plus",
    "load return": "pump.minus bolt.stud",
}
"""The wires of the pump circuit that a cut-off may be put into."""


def with_cut_off(place: str, style: str = "inertia", **relay: Any) -> Network:
    """That circuit with an inertia switch, or another, in one of four places."""
    start, end = PLACES[place].split()
    wires = rewired(PLACES[place], f"{start} cut_off.in", f"cut_off.out {end}")
    return pump_on_relay(wires, {"cut_off": {"kind": "switch", "style": style}}, **relay)


def oil_changeover() -> Network:
    """The coil's feed from an oil-pressure switch: S from the start feed, I from the ignition."""
    wires = rewired("ignition.15 coil_fuse.in", "ignition.50 oil.S", "ignition.15 oil.I", "oil.P coil_fuse.in")
    return pump_on_relay(wires, {"oil": {"kind": "oil_switch"}})


def oil_backup() -> Network:
    """An oil-pressure switch in parallel with the relay's contact, by way of a junction."""
    wires = rewired("relay.87 pump.plus", "relay.87 junction.in", "junction.in pump.plus", "fuse.out oil.I",
                    "oil.P junction.in")  # fmt: skip
    more = {"oil": {"kind": "oil_switch", "style": "backup"}, "junction": {"kind": "load", "resistance": "1 Mohm"}}
    return pump_on_relay((*wires, "junction.out bolt.stud"), more)


def switch_alone() -> Network:
    """A toggle feeds the pump itself, with no relay and no ignition switch."""
    return network(
        BATTERY | {"fuse": {"kind": "fuse"}, "toggle": {"kind": "switch"}, "pump": {"kind": "pump"}},
        [STRAP, "battery.pos fuse.in", "fuse.out toggle.in", "toggle.out pump.plus", "pump.minus bolt.stud"],
        operate=("toggle",),
    )


CIRCUITS: dict[str, Callable[[], Network]] = {
    "pump on a relay": pump_on_relay, "controller grounds": controlled,
    "controller feeds": lambda: controlled("feed"), "monitor": lambda: controlled(monitor=True),
    "cut-off in the return": lambda: with_cut_off("load return"), "oil changeover": oil_changeover,
    "oil backup": oil_backup, "switch alone": switch_alone,
}  # fmt: skip
"""One of each kind, for what must hold in all of them."""
