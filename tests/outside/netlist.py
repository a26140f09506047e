"""A circuit file and a fault, as an ngspice netlist in which ngspice finds what relays, fuses and motors do.

Written a second time on purpose: it reads the fields of the circuit's parts and wires and nothing else of
the package, so that a mistake in parts, network or solver is not made here too. What each fault means is
taken from the words with which it is told (`say`). Node names are those of the network, to compare by.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from deck import LEAK_OHM, SEGMENT_S, Deck, Segment, fuse_state, motor_state, relay_state
from trouble import Trouble, copper_ohm, is_stud, read_trouble, wire_end

from troubleshoot.circuit.circuit import Circuit

KEYS = ("off", "accessory", "on", "cranking", "running")
ALWAYS = frozenset(KEYS)
LIVE_FROM_30 = {
    "acc": {"accessory", "on", "running"},
    "15": {"on", "cranking", "running"},
    "50": {"cranking"},
}
"""DIN 72552: 15 live with the key on and (15e) while cranking, 50 while cranking; acc dead while cranking."""

NOWHERE = 1e15
"""Ohms of a path that is not there at all, when a motor goes from one of its two lines to the other."""

BLOWS_AT = 1.6
"""Settled current over rating that blows a fuse: the ISO 8820-3 point of 160 %, second-hand."""


TEST_A = 1e-6
"""An ohmmeter's current: so little that leaks alone stay at volts, and nothing pulls in or turns."""


@dataclass(frozen=True)
class Netlist:
    """The text, and ngspice's name of each node; when to read the volts of each key state and of each pair
    of ohmmeter leads; and for how long before that nothing may have moved."""

    text: str
    spice_name: dict[str, str]
    read_at_s: dict[str, float]
    ohms_at_s: dict[tuple[str, str], float]
    rest_s: float = SEGMENT_S / 4


def write_netlist(
    circuit: Circuit,
    fault: str = "",
    severity: float | None = None,
    removed: frozenset[str] = frozenset(),
    prevented: frozenset[str] = frozenset(),
    upto: str = "running",
    pairs: tuple[tuple[str, str], ...] = (),
) -> Netlist:
    """The key goes through all states once; then, from rest, with `removed` out, through them up to `upto`.

    `prevented` is out in addition while cranking the second time. After that all sources go dead, the key
    is off, and the test current of an ohmmeter flows from red to black through each of `pairs` in turn.
    """
    before = (Segment("off", dead=True), *(Segment(key) for key in KEYS), Segment("off", removed, dead=True))
    keys = KEYS[: KEYS.index(upto) + 1]
    after = tuple(Segment(key, removed | (prevented if key == "cranking" else frozenset())) for key in keys)
    deck = Deck(f"{circuit.battery}.neg", before + after + (Segment("off", removed, dead=True),) * len(pairs))
    trouble = read_trouble(circuit, fault, severity)
    for name, part in circuit.parts.items():
        _PARTS[part.kind](deck, name, part, trouble)
    for wire in circuit.wires:
        _wire(deck, circuit, wire, trouble)
    for a, b, ohm, needs in trouble.joined:
        deck.follow(deck.node(a), deck.node(b), ohm, deck.when(None, needs))
    first = len(before) + len(keys)
    for index, (red, black) in enumerate(pairs):
        amps = [TEST_A if s == first + index else 0.0 for s in range(len(deck.timeline))]
        deck.lines.append(f"{deck.fresh('i')} {deck.node(black)} {deck.node(red)} {deck.steps(amps)}")
    read = {key: deck.end_of(len(before) + index) for index, key in enumerate(keys)}
    ohms = {pair: deck.end_of(first + index) for index, pair in enumerate(pairs)}
    title = f"{fault or 'healthy'} {severity} without {' '.join(sorted(removed)) or 'nothing'}"
    return Netlist(deck.text(title, list(deck.spice_name.values())), deck.spice_name, read, ohms)


# ---- wires


def _wire(deck: Deck, circuit: Circuit, wire: Any, trouble: Trouble) -> None:
    joint = wire.joint or circuit.joint
    for end in (wire.start, wire.end):
        if is_stud(circuit, end):
            ring = f"{wire.name}.at.{end}"
            ohm = joint.value + trouble.added.get(ring, 0.0)
            # "battery negative off" takes all clamps off that post
            needs = circuit.battery if end == f"{circuit.battery}.neg" else ""
            deck.follow(deck.node(end), deck.node(ring), ohm, deck.when(None, needs))
    a, b = (deck.node(wire_end(circuit, wire.name, end)) for end in (wire.start, wire.end))
    deck.follow(a, b, copper_ohm(wire) + trouble.added.get(wire.name, 0.0), deck.when(None, ""))


# ---- parts: each writes its own elements


def _contact(deck: Deck, name: str, terminal: str, ohm: float, trouble: Trouble, wire_side: bool) -> None:
    """The contact between a holder and what is plugged into it; open while the part is out."""
    spot = f"{name}.{terminal}"
    outer, inner = (f"{spot}.wire", spot) if wire_side else (spot, f"{spot}.blade")
    deck.follow(deck.node(outer), deck.node(inner), ohm + trouble.added.get(spot, 0.0), deck.when(None, name))


def _battery(deck: Deck, name: str, part: Any, trouble: Trouble) -> None:
    wrong = trouble.inside(name)
    table = [(0.0, 11.89), (0.25, 12.06), (0.5, 12.24), (0.75, 12.45), (1.0, 12.65)]
    charge, emf_v = part.charge.value, table[-1][1]
    for (low, low_v), (high, high_v) in pairwise(table):
        if low <= charge <= high:
            emf_v = low_v + (high_v - low_v) * (charge - low) / (high - low)
    worse = 1.0
    if wrong == "flat":
        emf_v, worse = trouble.severity, 1.5
    elif wrong == "weak":
        worse = trouble.severity
    posts = deck.node(f"{name}.pos"), deck.node(f"{name}.neg")
    inner = part.internal_resistance.value * worse
    deck.source(*posts, inner, emf_v, deck.when(ALWAYS - {"running"}, ""))
    deck.source(*posts, part.charging_resistance.value, emf_v, deck.when(frozenset({"running"}), ""))


def _starter(deck: Deck, name: str, part: Any, trouble: Trouble) -> None:
    case = deck.node(f"{part.case}.metal")
    deck.follow(deck.node(f"{name}.30"), case, part.resistance.value, deck.when(frozenset({"cranking"}), ""))
    deck.resistor(deck.node(f"{name}.50"), case, part.solenoid_resistance.value)


def _alternator(deck: Deck, name: str, part: Any, trouble: Trouble) -> None:
    ends = deck.node(f"{name}.B+"), deck.node(f"{part.case}.metal")
    deck.source(*ends, part.resistance.value, part.voltage.value, deck.when(frozenset({"running"}), ""))


def _fuse(deck: Deck, name: str, part: Any, trouble: Trouble) -> None:
    for terminal in ("in", "out"):
        _contact(deck, name, terminal, part.holder_contact.value, trouble, wire_side=True)
    a, b = deck.node(f"{name}.in"), deck.node(f"{name}.out")
    if trouble.inside(name) == "blown":
        deck.resistor(a, b, LEAK_OHM)
        return
    meter, beyond = deck.ammeter(a)
    blown = fuse_state(deck, meter, BLOWS_AT * part.rating)
    deck.switch(beyond, b, blown, LEAK_OHM, part.resistance.value)


def _relay(deck: Deck, name: str, part: Any, trouble: Trouble) -> None:
    wrong, by = trouble.inside(name), trouble.severity
    for number in ("30", "85", "86", "87", "87a")[: part.blades]:
        _contact(deck, name, number, part.socket_contact.value, trouble, wire_side=False)
    blade = {n: deck.node(f"{name}.{n}.blade") for n in ("30", "85", "86", "87")}
    share = by if wrong == "coil-shorted-turns" else 1.0
    coil_ohm = LEAK_OHM if wrong == "coil-open" else part.coil_resistance.value * share
    meter, beyond = deck.ammeter(blade["86"])
    deck.resistor(beyond, blade["85"], coil_ohm)
    pull_in_a = part.pull_in.value / part.coil_resistance.value * (by if wrong == "weak-coil" else 1.0)
    state = relay_state(deck, meter, pull_in_a, part.release.value / part.coil_resistance.value, share)
    contact = part.contact_resistance.value
    if wrong == "contacts-stuck-open":
        deck.resistor(blade["30"], blade["87"], LEAK_OHM)
    elif wrong == "contacts-welded":
        deck.resistor(blade["30"], blade["87"], contact)
    else:
        burnt = contact + (by if wrong == "contacts-burnt" else 0.0)
        deck.switch(blade["30"], blade["87"], state, burnt, LEAK_OHM)
    if part.blades == 5:
        rest = deck.node(f"{name}.87a.blade")
        if wrong == "contacts-welded":  # the arm hangs on 87 and never comes back to 87a
            deck.resistor(blade["30"], rest, LEAK_OHM)
        else:
            deck.switch(blade["30"], rest, state, LEAK_OHM, contact)


def _ignition_switch(deck: Deck, name: str, part: Any, trouble: Trouble) -> None:
    for output, keys in LIVE_FROM_30.items():
        worse = trouble.severity if trouble.inside(name) == f"contact-{output}" else 0.0
        ends = deck.node(f"{name}.30"), deck.node(f"{name}.{output}")
        deck.follow(*ends, part.contact_resistance.value + worse, deck.when(frozenset(keys), ""))


def _pump(deck: Deck, name: str, part: Any, trouble: Trouble) -> None:
    for pin in ("plus", "minus"):
        _contact(deck, name, pin, part.plug_contact.value, trouble, wire_side=False)
    plus, minus = deck.node(f"{name}.plus.blade"), deck.node(f"{name}.minus.blade")
    wrong = trouble.inside(name)
    if wrong == "open":
        deck.resistor(plus, minus, LEAK_OHM)
        return
    if wrong == "seized":
        deck.resistor(plus, minus, part.winding_resistance.value)
        return
    brush = trouble.severity if wrong == "worn" else 0.0
    turns = motor_state(deck, plus, minus, part.start_voltage.value, part.back_emf)
    back = deck.fresh("x")
    deck.switch(plus, minus, turns, NOWHERE, part.winding_resistance.value + brush)
    deck.switch(plus, back, turns, part.resistance.value + brush, NOWHERE)
    deck.lines.append(f"{deck.fresh('v')} {back} {minus} {part.back_emf:.17g}")


def _load(deck: Deck, name: str, part: Any, trouble: Trouble) -> None:
    other = f"{part.case}.metal" if part.case else f"{name}.out"
    deck.follow(deck.node(f"{name}.in"), deck.node(other), part.resistance.value, deck.when(None, name))


def _metal(deck: Deck, name: str, part: Any, trouble: Trouble) -> None:
    deck.node(f"{name}.metal")


def _ground_bolt(deck: Deck, name: str, part: Any, trouble: Trouble) -> None:
    worse = trouble.severity if trouble.inside(name) == "bad-joint" else 0.0
    ends = deck.node(f"{name}.stud"), deck.node(f"{part.to}.metal")
    deck.follow(*ends, part.joint.value + worse, deck.when(None, ""))


_PARTS = {
    "battery": _battery, "starter": _starter, "alternator": _alternator, "fuse": _fuse, "relay": _relay,
    "ignition_switch": _ignition_switch, "pump": _pump, "load": _load, "metal": _metal,
    "ground_bolt": _ground_bolt,
}  # fmt: skip
