"""Small circuits to draw, invented, with every part kind between them; some are wired wrong on purpose."""

from __future__ import annotations

from troubleshoot.circuit import Network, wire_up
from troubleshoot.files.circuit_file import parse_circuit

HEAD = "format: 2\ntitle: {title}\nfeeds: a load\njoint: 1 mohm ± 60 %\nworks: {works}\n"
BATTERY = (
    "{kind: battery, charge: 88 % ± 12 %, internal_resistance: 7 mohm ± 40 %, charging_resistance: 100 mohm ± 60 %}"
)
RELAY = """\
kind: relay, rating: 40 A, coil_resistance: 85 ohm ± 10 %, pull_in: 6.8 V ± 12 %,
    release: 2.5 V ± 40 %, contact_resistance: 4 mohm ± 60 %, socket_contact: 3 mohm ± 60 %"""
FUSE = "kind: fuse, resistance: 4.8 mohm ± 15 %, holder_contact: 2 mohm ± 60 %"
MOTOR = """\
back_emf: 4 V, resistance: 1.3 ohm ± 15 %, winding_resistance: 0.7 ohm ± 20 %,
    start_voltage: 3 V ± 40 %, plug_contact: 4 mohm ± 60 %"""
SWITCH = "kind: switch, contact_resistance: 10 mohm ± 60 %, plug_contact: 4 mohm ± 60 %"
OIL = "kind: oil_switch, contact_resistance: 10 mohm ± 60 %, plug_contact: 4 mohm ± 60 %"
BOLT = "kind: ground_bolt, to: body, joint: 2 mohm ± 60 %"
IGNITION = "{kind: ignition_switch, say: ignition switch, contact_resistance: 10 mohm ± 60 %}"
CONTROLLER = """\
kind: controller, prime: 2 s, supply_resistance: 40 ohm ± 20 %, driver_resistance: 0.2 ohm ± 50 %,
    wakes_at: 6 V ± 10 %, plug_contact: 4 mohm ± 60 %"""


def wiring(title: str, parts: dict[str, str], wires: list[str], works: str = "{key: on}") -> Network:
    """A circuit from its parts in YAML and its wires: "name from to gauge length colour"."""
    lines = [HEAD.format(title=title, works=works), "parts:"]
    lines += [f"  {name}: {text if text.startswith('{') else '{' + text + '}'}" for name, text in parts.items()]
    lines.append("wires:")
    for wire in wires:
        name, start, end, *colour = wire.split()
        told = f", colour: {colour[0]}" if colour else ""
        lines.append(f"  - {{name: {name}, from: {start}, to: {end}, gauge: 16 AWG, length: 1.5 m{told}}}")
    return wire_up(parse_circuit("\n".join(lines)))


def bench() -> Network:
    """A training bench: supply, toggle, relay with two make contacts, a lamp on each."""
    lamp = "kind: lamp, watts: 21 W, plug_contact: 4 mohm ± 60 %"
    supply = "kind: supply, voltage: 13 V ± 0.2 V, limit: 10 A, internal_resistance: 20 mohm ± 40 %"
    return wiring("Bench", {
        "psu": f"{supply}, say: bench supply", "toggle": f"{SWITCH}, style: toggle, say: toggle switch",
        "relay": f"{RELAY}, contacts: two makes, suppression: resistor", "left": lamp, "right": lamp,
    }, ["feed psu.pos relay.30 red", "switch_feed psu.pos toggle.in red", "coil_feed toggle.out relay.86 blue",
        "coil_return relay.85 psu.neg black", "left_feed relay.87 left.plus white", "left_return left.minus psu.neg",
        "right_feed relay.87b right.plus yellow", "right_return right.minus psu.neg"],
        "{key: off, operate: [toggle]}")  # fmt: skip


def no_relay() -> Network:
    """A switch feeds the pump itself; an inertia switch in the ground return."""
    return wiring("Switch without relay", {
        "accumulator": BATTERY, "body": "kind: metal", "pump_fuse": f"{FUSE}, rating: 15 A, style: breaker",
        "toggle": f"{SWITCH}, style: toggle, say: dash switch",
        "cut_off": f"{SWITCH}, style: inertia, say: inertia switch",
        "pump": f"kind: pump, say: fuel pump, diode: true, {MOTOR}", "bolt": f"{BOLT}, say: pump ground bolt",
    }, ["strap body.metal accumulator.neg", "feed accumulator.pos pump_fuse.in red",
        "fused pump_fuse.out toggle.in red/white", "switched toggle.out pump.plus green",
        "return pump.minus cut_off.in black", "ground cut_off.out bolt.stud black"],
        "{key: off, operate: [toggle]}")  # fmt: skip


def horn() -> Network:
    """The horn's relay coil is grounded by the button."""
    return wiring("Horn", {
        "battery": BATTERY, "body": "kind: metal", "fuse": f"{FUSE}, rating: 20 A, say: horn fuse",
        "button": f"{SWITCH}, style: button, say: horn button",
        "relay": f"{RELAY}, contacts: make, suppression: diode, say: horn relay",
        "horn": "kind: horn, resistance: 0.6 ohm ± 20 %, sounding_resistance: 2 ohm ± 20 %, "
                "sound_voltage: 6 V ± 20 %, plug_contact: 4 mohm ± 60 %",
        "splice": f"{BOLT}, say: common ground bolt", "stud": f"{BOLT}, say: button ground screw",
    }, ["strap body.metal battery.neg", "feed battery.pos fuse.in red", "fused fuse.out relay.30 red/blue",
        "coil_feed fuse.out relay.86 red", "to_button relay.85 button.in brown",
        "button_ground button.out stud.stud black", "horn_feed relay.87 horn.plus violet",
        "horn_ground horn.minus splice.stud black"], "{key: off, operate: [button]}")  # fmt: skip


def controlled(drives: str = "ground") -> Network:
    """A controller grounds or feeds the coil; no wire goes to its monitor."""
    coil = ["coil_feed ignition.15 relay.86 yellow", "command relay.85 controller.out grey"]
    if drives == "feed":
        coil = ["command controller.out relay.86 grey", "coil_ground relay.85 bolt.stud brown"]
    return wiring(f"Controller gives the {drives}", {
        "battery": BATTERY, "body": "kind: metal", "fuse": f"{FUSE}, rating: 15 A, say: pump fuse",
        "ignition": IGNITION,
        "relay": f"{RELAY}, contacts: changeover, say: pump relay",
        "controller": f"{CONTROLLER}, drives: {drives}, say: engine controller, monitor_resistance: 10 kohm ± 20 %",
        "pump": f"kind: pump, say: fuel pump, {MOTOR}", "bolt": f"{BOLT}, say: ground bolt",
    }, ["strap body.metal battery.neg", "feed battery.pos fuse.in red", "fused fuse.out relay.30 red",
        "key_feed battery.pos ignition.30 brown", "controller_feed ignition.15 controller.feed pink",
        "controller_ground controller.ground bolt.stud black", *coil,
        "pump_feed relay.87 pump.plus orange", "pump_ground pump.minus bolt.stud black"], "{key: on}")  # fmt: skip


def fan() -> Network:
    """Two relays and two thermal switches for a fan of two speeds, a diode from high to low."""
    return wiring("Fan of two speeds", {
        "battery": BATTERY, "body": "kind: metal", "fuse": f"{FUSE}, rating: 30 A, say: fan fuse", "ignition": IGNITION,
        "low_relay": f"{RELAY}, contacts: make", "high_relay": f"{RELAY}, contacts: make",
        "warm": f"{SWITCH}, style: thermal, say: low-speed thermal switch",
        "hot": f"{SWITCH}, style: thermal, say: high-speed thermal switch",
        "diode": "kind: diode, contact: 3 mohm ± 60 %",
        "fan": f"kind: fan, say: radiator fan, low_resistance: 0.6 ohm ± 20 %, {MOTOR}",
        "bolt": f"{BOLT}, say: fan ground bolt", "joint": f"{BOLT}, say: switch ground bolt",
    }, ["strap body.metal battery.neg", "feed battery.pos fuse.in red", "low_feed fuse.out low_relay.30 red",
        "high_feed fuse.out high_relay.30 red", "key_feed battery.pos ignition.30 brown",
        "low_coil ignition.15 low_relay.86 green", "high_coil ignition.15 high_relay.86 blue",
        "to_warm low_relay.85 warm.in white", "to_hot high_relay.85 hot.in grey",
        "warm_ground warm.out joint.stud black",
        "hot_ground hot.out joint.stud black",
        "low_out low_relay.87 fan.low yellow", "high_out high_relay.87 diode.anode orange",
        "high_on diode.cathode fan.plus orange", "fan_ground fan.minus bolt.stud black"],
        "{key: on, operate: [warm, hot]}")  # fmt: skip


def oil() -> Network:
    """Oil-pressure changeover: the start feed and the run feed come together in it."""
    return wiring("Oil-pressure changeover", {
        "battery": BATTERY, "body": "kind: metal", "ignition": IGNITION,
        "oil": f"{OIL}, style: changeover, say: oil-pressure switch",
        "pump": f"kind: pump, say: fuel pump, {MOTOR}", "bolt": f"{BOLT}, say: ground bolt",
    }, ["strap body.metal battery.neg", "key_feed battery.pos ignition.30 red", "run ignition.15 oil.I pink",
        "start ignition.50 oil.S violet", "pump_feed oil.P pump.plus orange",
        "pump_ground pump.minus bolt.stud black"])  # fmt: skip


def two_grounds() -> Network:
    """Wired wrong: both ends of the coil to ground, a wire on 87a, and one that leads nowhere."""
    return wiring("Coil on two grounds", {
        "battery": BATTERY, "body": "kind: metal", "relay": f"{RELAY}, contacts: changeover", "ignition": IGNITION,
        "pump": f"kind: pump, say: fuel pump, {MOTOR}", "bolt": f"{BOLT}, say: ground bolt",
    }, ["strap body.metal battery.neg", "feed battery.pos relay.30 red", "key_feed battery.pos ignition.30 red",
        "coil_one relay.86 bolt.stud black", "coil_two relay.85 bolt.stud brown", "pump_feed relay.87a pump.plus",
        "spare relay.87 ignition.acc grey", "pump_ground pump.minus bolt.stud black"])  # fmt: skip


WIRINGS = {
    "bench": bench, "no_relay": no_relay, "horn": horn, "controlled": controlled,
    "controller_feeds": lambda: controlled("feed"), "fan": fan, "oil": oil, "two_grounds": two_grounds,
}  # fmt: skip
