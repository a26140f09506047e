"""What one could do at the vehicle: readings between two points, currents in a wire, observations.

Checks are generated from the network. What one may not do is left out here: no ohms with the power on,
no ammeter, no probe pushed into the front of a socket, no pierced wire.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from troubleshoot.circuit.circuit import Circuit
from troubleshoot.circuit.network import Network
from troubleshoot.circuit.setups import (
    Setup,
    backup_setup,
    cranking_setup,
    cut_offs,
    dead_setup,
    live_setups,
    off_setup,
    partly_operated,
    pressure_setup,
    resting_setups,
    working_setup,
)
from troubleshoot.circuit.stretches import Point
from troubleshoot.parts import Fuse, IgnitionSwitch, OilSwitch, Relay, Switch

Function = Literal["volts", "volts_min", "volts_max", "low_volts", "millivolts", "amps", "ohms"]
"""`low_volts`: the meter's low-impedance input. `amps`: a DC clamp round a wire, never an ammeter in line."""

HELD: tuple[Function, ...] = ("volts_min", "volts_max")

STEADY_KEYS = ("off", "accessory", "on")
"""Key states that last, the engine at rest."""

AGAIN = " again"
WATCHED = " watched"

MOMENTS = ("prime", "cranking", "remote")
"""Key states of seconds: nothing gets warm in them, and a starter turns 30 s at most (TM 10-3930-671-24)."""


@dataclass(frozen=True)
class Wanted:
    """A reading that must have been taken, with a value from `low` to `high` volts, before a check is allowed."""

    check: str
    low: float
    high: float


@dataclass(frozen=True)
class Check:
    """A reading (`red`, `black`, `function`; with a clamp the `wire`) or an observation (`about`, `answers`).

    For an observation `about` is `click:RELAY`, `numbers:RELAY`, `runs:LOAD`, `flows:LOAD`, `whole:FUSE`,
    `hot:PART`, `lamp:FITTING` or `wiggle:PART OR WIRE`. `again`: made anew because the
    verdict hangs on it; its id is that of the first with " again" behind. `watched`: for half a minute, while plugs
    and wires are moved (a range if it changes; of ohms the most), or ten times over (the worst of them counts).
    `after`: readings that must allow it first.
    """

    id: str
    setup: Setup
    red: str = ""
    black: str = ""
    function: Function = "volts"
    wire: str = ""
    about: str = ""
    answers: tuple[str, ...] = ()
    place: str = ""
    again: bool = False
    watched: bool = False
    after: tuple[Wanted, ...] = ()

    @property
    def kind(self) -> Literal["reading", "observation"]:
        return "observation" if self.about else "reading"

    @property
    def first_id(self) -> str:
        """The id of the check that this one repeats, or its own."""
        return self.id.removesuffix(AGAIN).removesuffix(WATCHED)

    def repeated(self) -> Check:
        """The same check, to be made anew."""
        return replace(self, id=self.id.removesuffix(AGAIN) + AGAIN, again=True)

    @property
    def can_be_watched(self) -> bool:
        """Whether it may be read for half a minute while things are moved, or listened for ten times: the engine at
        rest."""
        if self.kind == "observation":
            return self.about.startswith(("click:", "runs:")) and self.setup.key in (*STEADY_KEYS, "prime")
        return not self.is_held and self.setup.key in STEADY_KEYS

    def watch(self) -> Check:
        """The same reading, watched."""
        return replace(self, id=self.first_id + WATCHED, watched=True, again=False)

    @property
    def is_ohms(self) -> bool:
        return self.function == "ohms"

    @property
    def is_held(self) -> bool:
        """Whether the meter holds the lowest or highest value over a change of the key."""
        return self.function in HELD


OTHER_KINDS = ("starter", "alternator", "load")
"""Kinds of part that are only looked through; the terminals of all others are worth probing."""


def list_setups(network: Network) -> list[Setup]:
    """Every setup in which some check may be made, the plain key states first."""
    plain = [Setup(key) for key in network.circuit.keys]
    mine = [check.setup for check in list_checks(network)]
    return list(dict.fromkeys([*plain, *live_setups(network.circuit), *mine]))


def list_checks(network: Network) -> list[Check]:
    """All checks of a circuit, each once."""
    checks = _grounded_volts(network) + _drops(network) + _ground_paths(network) + _ohms(network)
    checks += _currents(network) + _low_volts(network)
    checks += _observations(network) + _wiggled(network) + _with_fittings(network)
    return list({check.id: check for check in checks}.values())


def own_points(network: Network) -> list[Point]:
    """The points worth probing with everything plugged in."""
    parts = network.circuit.parts
    return [p for p in network.points if parts[p.part].kind not in OTHER_KINDS and not p.node.endswith(".blade")]


def reading(network: Network, red: str, black: str, function: Function, setup: Setup) -> Check:
    """The check that reads `function` between two nodes; its id is what a log and a person can say."""
    name = f"{red} to {black} {function} {setup.key}{setup.tail}"
    far = [p.place for p in (network.point_at[red], network.point_at[black])]
    return Check(name, setup, red, black, function, place=max(far, key=lambda place: place != "engine bay"))


def clamp(network: Network, wire: str, setup: Setup) -> Check:
    """The check that reads the current in a wire, positive from its `from` to its `to`, with a DC clamp."""
    ends = next((w.start, w.end) for w in network.circuit.wires if w.name == wire)
    place = network.circuit.parts[ends[0].partition(".")[0]].place
    return Check(f"{wire} amps {setup.key}{setup.tail}", setup, function="amps", wire=wire, place=place)


def _live_setup(circuit: Circuit) -> Setup:
    """Where the load works long enough for a reading: the working setup; cranking where that is a prime of seconds."""
    working = working_setup(circuit)
    return (cranking_setup(circuit) or working) if working.key == "prime" else working


def _grounded_volts(network: Network) -> list[Check]:
    """Every point against battery negative, in the key states and in the opened-up setups."""
    circuit = network.circuit
    neg, working, crank = f"{circuit.battery}.neg", working_setup(circuit), cranking_setup(circuit)
    pressure, live = pressure_setup(circuit), _live_setup(circuit)
    lasting = working.key not in ("prime", "cranking")
    relays_out = replace(working if lasting else Setup("on"), removed=frozenset(circuit.relays))
    loads_out = replace(live, removed=live.removed | frozenset(circuit.loads))
    checks = []
    for point in own_points(network):
        if point.node == neg:
            continue
        kind = circuit.parts[point.part].kind
        close = kind in ("relay", "ignition_switch", "battery", "supply", "switch", "oil_switch", "controller")
        steady = resting_setups(circuit) + ([working] if lasting else []) + partly_operated(circuit)
        steady += [crank] if crank and close else []
        steady += [relays_out] if circuit.relays and close else []
        steady += [loads_out] if kind == "relay" or point.part in circuit.loads else []
        steady += [pressure] if pressure and (close or point.part in circuit.loads) else []
        checks += [reading(network, point.node, neg, "volts", setup) for setup in steady]
        held = ([crank] if crank else []) + ([working] if working.key == "prime" else [])
        checks += [reading(network, point.node, neg, function, setup) for setup in held for function in HELD]
    return checks


def _drops(network: Network) -> list[Check]:
    """Across each stretch, contact, fuse, coil, switch and load, with the load working."""
    circuit = network.circuit
    own = {point.node for point in own_points(network)}
    pairs = [(s.a, s.b) for s in network.stretches if s.a in own and s.b in own]
    live = _live_setup(circuit)
    checks = []
    for name, part in circuit.parts.items():
        if isinstance(part, Relay):
            pairs += [(f"{name}.87", f"{name}.30"), (f"{name}.86", f"{name}.85")]
        elif name in circuit.loads:
            pairs.append((f"{name}.plus", f"{name}.minus"))
        elif isinstance(part, IgnitionSwitch):
            pairs += [(f"{name}.30", f"{name}.{output}") for output in ("15", "acc", "50")]
        elif isinstance(part, Switch):
            pairs.append((f"{name}.in", f"{name}.out"))
        elif isinstance(part, OilSwitch):
            pairs += [(f"{name}.I", f"{name}.P"), (f"{name}.S", f"{name}.P")]
        elif isinstance(part, Fuse):
            checks.append(reading(network, f"{name}.in", f"{name}.out", "millivolts", live))
    setups = [setup for setup in (live, pressure_setup(circuit)) if setup]
    checks += [reading(network, a, b, "volts", s) for s in setups for a, b in pairs if a in own and b in own]
    return checks


def _ground_paths(network: Network) -> list[Check]:
    """Against battery positive with the relay out: does this terminal have a path to ground?"""
    circuit = network.circuit
    checks = []
    for name in circuit.relays:
        setup = Setup("off", frozenset({name}))
        for number in _numbers(network, name):
            checks.append(reading(network, f"{name}.{number}", f"{circuit.battery}.pos", "volts", setup))
            operated = replace(setup, operated=frozenset(circuit.works.operate))
            if setup != operated and number in ("85", "86"):
                checks.append(reading(network, f"{name}.{number}", f"{circuit.battery}.pos", "volts", operated))
    return checks


def _numbers(network: Network, relay: str) -> list[str]:
    """The stamped numbers of a relay's wired terminals."""
    part = network.circuit.parts[relay]
    return [n for n in part.numbers if f"{relay}.{n}" in network.point_at] if isinstance(part, Relay) else []


def _ohms(network: Network) -> list[Check]:
    """Power off and the part isolated: the part's own blades, each wire to metal, each ground wire."""
    circuit = network.circuit
    isolated, fuses_too = dead_setup(circuit), dead_setup(circuit, fuses=True)
    metals = [f"{n}.metal" for n, p in circuit.parts.items() if p.kind == "metal"]
    frame = metals[-1] if metals else f"{circuit.battery}.neg"
    checks = []
    for name, part in circuit.parts.items():
        if isinstance(part, Relay):
            blades = [("86", "85"), ("30", "87")] + ([("30", part.middle)] if part.middle else [])
            checks += [reading(network, f"{name}.{a}.blade", f"{name}.{b}.blade", "ohms", isolated) for a, b in blades]
            for number in _numbers(network, name):
                setup = fuses_too if number in ("86", "87") else isolated
                checks.append(reading(network, f"{name}.{number}", frame, "ohms", setup))
        elif name in circuit.loads:
            blades = [("plus", "minus")] + ([("low", "plus")] if f"{name}.low" in network.point_at else [])
            checks += [reading(network, f"{name}.{a}.blade", f"{name}.{b}.blade", "ohms", isolated) for a, b in blades]
            checks += [reading(network, f"{name}.{end}", frame, "ohms", isolated)
                       for end in ("plus", "minus") if f"{name}.{end}" in network.point_at]  # fmt: skip
        elif isinstance(part, IgnitionSwitch):
            checks += [reading(network, f"{name}.{n}", frame, "ohms", fuses_too)
                       for n in ("15", "30") if f"{name}.{n}" in network.point_at]  # fmt: skip
        elif isinstance(part, Switch):
            alone = replace(isolated, removed=isolated.removed | {name})
            operated = replace(alone, operated=frozenset({name}))
            blades = [(f"{name}.in.blade", f"{name}.out.blade")]
            for setup in (alone, operated) if part.is_operated else (alone,):
                checks += [reading(network, a, b, "ohms", setup) for a, b in blades]
    return checks


def _currents(network: Network) -> list[Check]:
    """With a DC clamp: the wires of the load, of the relay's contacts and of each fuse's feed."""
    circuit = network.circuit
    worth = {f"{n}.{end}" for n in circuit.loads for end in ("plus", "minus")}
    worth |= {f"{n}.{number}" for n in circuit.relays for number in ("30", "87")}
    worth |= {f"{n}.in" for n, part in circuit.parts.items() if isinstance(part, Fuse)}
    live = _live_setup(circuit)
    return [clamp(network, wire.name, live) for wire in circuit.wires if {wire.start, wire.end} & worth]


def _low_volts(network: Network) -> list[Check]:
    """With the low-impedance input, where a floating point would fool the usual one."""
    circuit = network.circuit
    spots = [f"{n}.{number}" for n in circuit.relays for number in _numbers(network, n)]
    spots += [f"{n}.plus" for n in circuit.loads if f"{n}.plus" in network.point_at]
    setups = (Setup("off"), _live_setup(circuit))
    return [reading(network, spot, f"{circuit.battery}.neg", "low_volts", s) for spot in spots for s in setups]


def _observations(network: Network) -> list[Check]:
    circuit = network.circuit
    checks = []
    live, off, working = _live_setup(circuit), Setup("off"), working_setup(circuit)
    lasts = live.key not in MOMENTS
    for name, part in circuit.parts.items():
        if isinstance(part, Relay):
            checks.append(Check(f"click {name}", working, about=f"click:{name}", place=part.place,
                                answers=("clicks", "no click", "buzzes")))  # fmt: skip
            checks.append(Check(f"numbers {name}", replace(off, removed=frozenset({name})), about=f"numbers:{name}",
                                place=part.place, answers=("match", "do not match")))  # fmt: skip
        elif name in circuit.loads:
            checks += _watched(network, name)
        elif isinstance(part, Fuse) and part.pulls_out:
            checks.append(Check(f"whole {name}", replace(off, removed=frozenset({name})), about=f"whole:{name}",
                                place=part.place, answers=("whole", "blown")))  # fmt: skip
        if lasts and (part.kind in ("fuse", "relay", "ground_bolt") or name in circuit.loads):
            checks.append(Check(f"hot {name}", live, about=f"hot:{name}", place=part.place, answers=("hot", "cool")))
    return checks


def _watched(network: Network, name: str) -> list[Check]:
    """Whether a load works: as it should, at rest, warm, with a relay on its way pushed home, with a cut-off
    unplugged."""
    circuit = network.circuit
    how, working = circuit.loads[name], working_setup(circuit)
    live = _live_setup(circuit)
    setups = [working, Setup("off"), *([replace(live, warm=True)] if live.key not in MOMENTS else [])]
    setups += [Setup(working.key)] if working.operated else []
    setups += [replace(working, reseated=frozenset({relay})) for relay in network.relays_of[name]]
    setups += [working_setup(circuit, frozenset({cut_off})) for cut_off in cut_offs(circuit)]
    setups += [Setup("on")] if working.key in ("prime", "cranking") else []
    setups += [s for s in (pressure_setup(circuit), backup_setup(circuit), off_setup(circuit)) if s]
    setups += partly_operated(circuit)
    checks = [runs(name, how.answers, setup) for setup in setups]
    if how.turns:
        checks.append(Check(f"flows {name}", live, about=f"flows:{name}", place=circuit.parts[name].place,
                            answers=("yes", "no")))  # fmt: skip
    return checks


def runs(name: str, answers: tuple[str, ...], setup: Setup) -> Check:
    """The observation whether a load works in a setup."""
    return Check(f"runs {name} {setup.key}{setup.tail}", setup, about=f"runs:{name}", place="engine bay",
                 answers=answers)  # fmt: skip


MOVED = ("changes", "stays as it is")


def _wiggled(network: Network) -> list[Check]:
    """Whether the load changes while each plug, ground or wire is moved, the engine at rest: where the load works only
    for seconds or while cranking there is no such check. Starter and generator cables are left alone."""
    circuit, setup = network.circuit, working_setup(network.circuit)
    if setup.key not in STEADY_KEYS:
        return []
    joints = {branch for stretch in network.stretches for branch in stretch.branches}
    places = {place_of(name) for name in joints} | set(circuit.relays)
    checks = []
    ends = {wire.name: [end.partition(".")[0] for end in (wire.start, wire.end)] for wire in circuit.wires}
    for name, parts in ({part: [part] for part in circuit.parts} | ends).items():
        if name in places and not any(circuit.parts[part].kind in OTHER_KINDS for part in parts):
            checks.append(Check(f"wiggle {name} {setup.key}{setup.tail}", setup, about=f"wiggle:{name}",
                                place=circuit.parts[parts[0]].place, answers=MOVED))  # fmt: skip
    return checks


def place_of(branch: str) -> str:
    """The part or wire that a branch belongs to; a ring belongs to the stud that it is on."""
    owner, at, stud = branch.partition(".at.")
    return (stud if at else owner).partition(".")[0]


LIT = ("bright", "dim", "dark")


def _with_fittings(network: Network) -> list[Check]:
    """What test loads and leads show."""
    circuit = network.circuit
    live = _live_setup(circuit)
    checks = []
    for fitting in network.fittings:
        tool, _, part = fitting.name.partition("@")
        fitted, place = frozenset({fitting.name}), circuit.parts[part].place
        if tool == "lamp":
            setup = replace(live, removed=live.removed | {part}, fitted=fitted)
            name = f"lamp {part} {setup.key}{setup.tail}"
            checks.append(Check(name, setup, about=f"lamp:{fitting.name}", place=place, answers=LIT))
        elif tool == "extension":
            checks += _on_extension(network, part, replace(live, removed=live.removed | {part}, fitted=fitted))
        elif tool == "leads":
            checks.append(runs(part, circuit.loads[part].answers, Setup("off", frozenset({part}), fitted=fitted)))
        else:
            checks += _ground_by_hand(network, part, fitted)
    return checks


def _on_extension(network: Network, relay: str, setup: Setup) -> list[Check]:
    """What one reads at the blades of a relay that works on extension leads."""
    circuit = network.circuit
    pairs = [(f"{relay}.87.blade", f"{relay}.30.blade"), (f"{relay}.86.blade", f"{relay}.85.blade")]
    checks = [reading(network, a, b, "volts", setup) for a, b in pairs]
    loads = [name for name in circuit.loads if relay in network.relays_of[name]]
    return checks + [runs(name, circuit.loads[name].answers, setup) for name in loads]


BATTERY_V = (10.5, 15.0)
NO_V = (-0.5, 2.0)
"""About nothing: what floats behind a usual meter may show a volt or so."""


def _ground_by_hand(network: Network, relay: str, fitted: frozenset[str]) -> list[Check]:
    """A control wire is grounded by hand only where it reads battery volts with the relay in and about none with it
    out, and the other end of the coil is the feed (trade-facts section 9)."""
    circuit = network.circuit
    fitting = next(f for f in network.fittings if f.name in fitted)
    spot, neg, on = fitting.branches[0].a, f"{circuit.battery}.neg", Setup("on")
    other = spot[:-2] + ("86" if spot.endswith("85") else "85")
    after = (
        Wanted(reading(network, spot, neg, "volts", on).id, *BATTERY_V),
        Wanted(reading(network, other, neg, "volts", on).id, *BATTERY_V),
        Wanted(reading(network, spot, neg, "volts", Setup("on", frozenset(circuit.relays))).id, *NO_V),
    )
    setup = replace(on, fitted=fitted)
    heard = Check(f"click {relay} {setup.key}{setup.tail}", setup, about=f"click:{relay}",
                  place=circuit.parts[relay].place, answers=("clicks", "no click", "buzzes"), after=after)  # fmt: skip
    return [heard, *(replace(runs(n, how.answers, setup), after=after) for n, how in circuit.loads.items())]
