"""A circuit file and a fault, as an ngspice netlist in which ngspice finds what relays, fuses and motors do.

Written a second time on purpose: it reads the fields of the circuit's parts and wires and nothing else of
the package, so that a mistake in parts, network or solver is not made here too. What each fault means is
taken from the words with which it is told (`say`). Node names are those of the network, to compare by.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Protocol

from deck import NONE, SEGMENT_S, Deck, Segment
from pieces import PIECES, contacts, fit
from trouble import Trouble, read_trouble
from wiring import copper_ohm, is_stud, other_end, wire_end

from troubleshoot.circuit.circuit import Circuit

BEFORE = {"accessory": "off", "prime": "accessory", "on": "prime", "cranking": "on", "running": "cranking",
          "remote": "on"}  # fmt: skip
"""How the key comes to each state, and the engine to be turned by a remote button with the key on."""

STANDS_STILL = ("off", "accessory", "prime", "on")
"""The engine does not turn."""

TEST_A = 1e-8
"""An ohmmeter's current: so little that nothing pulls in or turns, and that what bends does so only above 5 Mohm,
where a meter shows OL."""

Pair = tuple[str, str]
"""Red and black lead of an ohmmeter."""


class Stands(Protocol):
    """How things stand while one reads."""

    @property
    def key(self) -> str: ...
    @property
    def removed(self) -> frozenset[str]: ...
    @property
    def operated(self) -> frozenset[str]: ...
    @property
    def fitted(self) -> frozenset[str]: ...
    @property
    def warm(self) -> bool: ...
    @property
    def reseated(self) -> frozenset[str]: ...


@dataclass(frozen=True)
class Netlist:
    """The text, and ngspice's name of each node; when to read the volts of each setup and of each pair
    of ohmmeter leads in it; and for how long before that nothing may have moved."""

    text: str
    spice_name: dict[str, str]
    read_at_s: dict[Hashable, float]
    ohms_at_s: dict[tuple[Hashable, Pair], float]
    rest_s: float = SEGMENT_S / 4


def write_netlist(
    circuit: Circuit,
    fault: str = "",
    severity: float | None = None,
    setups: Sequence[Stands] = (),
    pairs: Mapping[Any, Sequence[Pair]] | None = None,
    curved: bool = False,
) -> Netlist:
    """First the past: the key goes through all its states once. Then each setup that is not on the way to another is
    come to through the states before it, from rest and with fuses as the past left them. After that all sources go
    dead, and the test current of an ohmmeter flows from red to black through each of `pairs` in turn.
    """
    timeline, read, ohms = _timeline(circuit, setups, pairs or {})
    deck = Deck(f"{circuit.battery}.neg", timeline, curved)
    trouble = read_trouble(circuit, fault, severity)
    for name, part in circuit.parts.items():
        contacts(deck, name, part, trouble)
        PIECES[part.kind](deck, name, part, trouble)
    for wire in circuit.wires:
        _wire(deck, circuit, wire, trouble)
    for join in trouble.joined:
        deck.follow(deck.node(join.a), deck.node(join.b), join.ohm, deck.fitted_in(join.needs))
    for fitting in sorted({name for setup in setups for name in setup.fitted}):
        fit(deck, circuit, fitting, _commanded(circuit, fitting))
    for (_, (red, black)), index in ohms.items():
        amps = [TEST_A if s == index else 0.0 for s in range(len(timeline))]
        deck.lines.append(f"{deck.fresh('i')} {deck.node(black)} {deck.node(red)} {deck.steps(amps)}")
    text = deck.text(f"{fault or 'healthy'} {severity}", list(deck.spice_name.values()))
    return Netlist(text, deck.spice_name, {setup: deck.end_of(index) for setup, index in read.items()},
                   {what: deck.end_of(index) for what, index in ohms.items()})  # fmt: skip


# ---- what comes when

Timeline = tuple[tuple[Segment, ...], dict[Hashable, int], dict[tuple[Hashable, Pair], int]]


def _timeline(circuit: Circuit, setups: Sequence[Stands], pairs: Mapping[Any, Sequence[Pair]]) -> Timeline:
    """All segments; in which of them each setup is read, and each pair of ohmmeter leads."""
    line = [Segment("off", dead=True, past=True), *_past(circuit)]
    ways = {setup: way_to(circuit, setup) for setup in setups}
    whole = [way for way in ways.values() if not any(way != w and way == w[: len(way)] for w in ways.values())]
    read: dict[Hashable, int] = {}
    for way in dict.fromkeys(whole):
        line.append(replace(way[0], dead=True, fresh=True))
        read |= {s: len(line) + len(w) - 1 for s, w in ways.items() if w == way[: len(w)] and s not in read}
        line += way
    ohms: dict[tuple[Hashable, Pair], int] = {}
    for setup, leads in pairs.items():
        for pair in leads:
            ohms[setup, pair] = len(line)
            line.append(replace(ways[setup][-1], dead=True, fresh=True))
    return tuple(line), read, ohms


def key_states(circuit: Circuit) -> list[str]:
    """The places that the key of this circuit has, in order, without the remote button."""
    kinds = {part.kind for part in circuit.parts.values()}
    if "ignition_switch" not in kinds:
        return ["off"]
    primes = any(part.kind == "controller" and part.prime for part in circuit.parts.values())
    turns = ["cranking", "running"] if "starter" in kinds else []
    return ["off", "accessory", *(["prime"] if primes else []), "on", *turns]


def _past(circuit: Circuit) -> list[Segment]:
    """What the car went through before one came to it: all key states. Where the load needs a hand it worked once
    before that, its switches were left on with the key off, and each of several was operated alone."""
    keys, works = key_states(circuit), circuit.works
    line = []
    if works.operate:
        line += [Segment(key, past=True) for key in keys if key in STANDS_STILL]
        operated = frozenset(works.operate)
        with_hands = [(works.key, operated)] + ([("off", operated)] if works.key != "off" else [])
        with_hands += [(works.key, frozenset({name})) for name in works.operate if len(works.operate) > 1]
        line += [Segment(key, operated=hands, past=True) for key, hands in with_hands if key in STANDS_STILL]
    return line + [Segment(key, past=True) for key in keys]


def way_to(circuit: Circuit, setup: Stands) -> tuple[Segment, ...]:
    """From the key off to a setup. Switches are operated once the key is where it goes, but before the engine is
    turned; what keeps the engine from starting is unplugged just before it is turned."""
    chain = [setup.key]
    while chain[0] != "off":
        chain.insert(0, BEFORE[chain[0]])
    has = {*key_states(circuit), setup.key}
    chain = [key for key in chain if key in has]
    last_still = [key for key in chain if key in STANDS_STILL][-1]
    unplugged = {circuit.start_prevented.unplug} if circuit.start_prevented else set[str]()
    turned_later = setup.key not in STANDS_STILL
    way = []
    for key in chain:
        plain = Segment(key, setup.removed, NONE, setup.fitted, setup.reseated, setup.warm)
        if key not in STANDS_STILL:
            way.append(replace(plain, operated=setup.operated))
            continue
        if turned_later:
            plain = replace(plain, out=setup.removed - unplugged)
        way.append(plain)
        if key == last_still and setup.operated:
            way.append(replace(plain, operated=setup.operated))
    return tuple(way)


# ---- wires, and what is fitted to one


def _wire(deck: Deck, circuit: Circuit, wire: Any, trouble: Trouble) -> None:
    joint = wire.joint or circuit.joint
    for end in (wire.start, wire.end):
        if is_stud(circuit, end):
            ring = f"{wire.name}.at.{end}"
            ohm = joint.value + trouble.added.get(ring, 0.0)
            # "battery negative off" takes all clamps off that post
            needs = circuit.battery if end == f"{circuit.battery}.neg" else ""
            deck.follow(deck.node(end), deck.node(ring), ohm, deck.fitted_in(needs))
    a, b = (deck.node(wire_end(circuit, wire.name, end)) for end in (wire.start, wire.end))
    ohm = copper_ohm(wire) + trouble.added.get(wire.name, 0.0)
    deck.vary(a, b, [ohm] * len(deck.timeline))


def _commanded(circuit: Circuit, fitting: str) -> str:
    """The coil terminal of a relay that a controller grounds."""
    tool, _, relay = fitting.partition("@")
    for wire in circuit.wires if tool == "ground" else ():
        for end in (wire.start, wire.end):
            part, _, terminal = other_end(wire, end).partition(".")
            if end in (f"{relay}.85", f"{relay}.86") and circuit.parts[part].kind == "controller" and terminal == "out":
                return str(end)
    return ""
