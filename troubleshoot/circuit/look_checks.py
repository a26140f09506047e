"""What one may see, hear or feel: clicks, loads at work, fuses, heat, moved wires, test loads, a good part put in."""

from __future__ import annotations

from dataclasses import replace

from troubleshoot.circuit.checks import MOMENTS, OTHER_KINDS, STEADY_KEYS, SWAP, Check, Wanted, place_of, reading
from troubleshoot.circuit.network import Network
from troubleshoot.circuit.setups import (
    Setup,
    backup_setup,
    cut_offs,
    live_setup,
    off_setup,
    partly_operated,
    pressure_setup,
    working_setup,
)
from troubleshoot.parts import Fuse, Relay


def look_checks(network: Network) -> list[Check]:
    """All observations of a circuit; one may be in it twice."""
    return _observations(network) + _wiggled(network) + _with_fittings(network) + _swaps(network)


def _observations(network: Network) -> list[Check]:
    circuit = network.circuit
    checks = []
    live, off, working = live_setup(circuit), Setup("off"), working_setup(circuit)
    lasts = live.key not in MOMENTS
    for name, part in circuit.parts.items():
        if isinstance(part, Relay):
            for setup in (working, replace(live, warm=True)) if lasts else (working,):
                checks.append(Check(f"click {name}{setup.tail if setup.warm else ''}", setup, about=f"click:{name}",
                                    place=part.place, answers=("clicks", "no click", "buzzes")))  # fmt: skip
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
    live = live_setup(circuit)
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


WORKS_NOW, STILL_WRONG, BLOWS_AGAIN = "works now", "still wrong", "blows again"
"""What comes of a known good part put in: all is as it should be; something is not; the new fuse blows."""


def _swaps(network: Network) -> list[Check]:
    """Whether all is well with a known good one in place of a relay on the way to a load, or of a fuse in a holder."""
    circuit = network.circuit
    on_the_way = {relay for relays in network.relays_of.values() for relay in relays}
    answers = {"relay": (WORKS_NOW, STILL_WRONG), "fuse": (WORKS_NOW, STILL_WRONG, BLOWS_AGAIN)}
    return [
        Check(f"swap {name}", working_setup(circuit), about=f"{SWAP}{name}", place=part.place,
              answers=answers[part.spare])
        for name, part in circuit.parts.items()
        if part.spare == "fuse" or name in on_the_way
    ]  # fmt: skip


LIT = ("bright", "dim", "dark")


def _with_fittings(network: Network) -> list[Check]:
    """What test loads and leads show."""
    circuit = network.circuit
    live = live_setup(circuit)
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
