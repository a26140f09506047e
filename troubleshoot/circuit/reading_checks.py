"""The readings worth taking: volts, drops, paths to ground, ohms, currents, each in setups where it tells something."""

from __future__ import annotations

from dataclasses import replace

from troubleshoot.circuit.checks import HELD, MOMENTS, Check, clamp, own_points, reading
from troubleshoot.circuit.network import Network
from troubleshoot.circuit.setups import (
    Setup,
    cranking_setup,
    dead_setup,
    live_setup,
    partly_operated,
    pressure_setup,
    resting_setups,
    working_setup,
)
from troubleshoot.parts import Fuse, IgnitionSwitch, OilSwitch, Relay, Switch


def reading_checks(network: Network) -> list[Check]:
    """All readings of a circuit; one may be in it twice."""
    checks = _grounded_volts(network) + _drops(network) + _ground_paths(network) + _ohms(network)
    return checks + _warm(network) + _currents(network) + _low_volts(network)


def _grounded_volts(network: Network) -> list[Check]:
    """Every point against battery negative, in the key states and in the opened-up setups."""
    circuit = network.circuit
    neg, working, crank = f"{circuit.battery}.neg", working_setup(circuit), cranking_setup(circuit)
    pressure, live = pressure_setup(circuit), live_setup(circuit)
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
    live = live_setup(circuit)
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


def _warm(network: Network) -> list[Check]:
    """After long work, for what opens when hot: volts at each coil and load, and the ohms of both while still hot."""
    circuit, isolated = network.circuit, dead_setup(network.circuit)
    live = live_setup(circuit)
    if live.key in MOMENTS:
        return []
    pairs = [(name, "86", "85") for name in circuit.relays] + [(name, "plus", "minus") for name in circuit.loads]
    checks = []
    for name, a, b in pairs:
        if f"{name}.{a}" in network.point_at and f"{name}.{b}" in network.point_at:
            checks.append(reading(network, f"{name}.{a}", f"{name}.{b}", "volts", replace(live, warm=True)))
        checks.append(reading(network, f"{name}.{a}.blade", f"{name}.{b}.blade", "ohms", replace(isolated, warm=True)))
    return checks


def _currents(network: Network) -> list[Check]:
    """With a DC clamp: the wires of the load, of the relay's contacts and of each fuse's feed."""
    circuit = network.circuit
    worth = {f"{n}.{end}" for n in circuit.loads for end in ("plus", "minus")}
    worth |= {f"{n}.{number}" for n in circuit.relays for number in ("30", "87")}
    worth |= {f"{n}.in" for n, part in circuit.parts.items() if isinstance(part, Fuse)}
    live = live_setup(circuit)
    return [clamp(network, wire.name, live) for wire in circuit.wires if {wire.start, wire.end} & worth]


def _low_volts(network: Network) -> list[Check]:
    """With the low-impedance input, where a floating point would fool the usual one."""
    circuit = network.circuit
    spots = [f"{n}.{number}" for n in circuit.relays for number in _numbers(network, n)]
    spots += [f"{n}.plus" for n in circuit.loads if f"{n}.plus" in network.point_at]
    setups = (Setup("off"), live_setup(circuit))
    return [reading(network, spot, f"{circuit.battery}.neg", "low_volts", s) for spot in spots for s in setups]
