"""Findings from what the healthy circuit does once it is solved: what works when, and what the key does."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from troubleshoot.circuit.network import Network
from troubleshoot.circuit.setups import Setup, cranking_setup
from troubleshoot.draw.circuit_line import find_paths
from troubleshoot.expect.finding import PRACTICE, RECKONED, Finding, at_part, listed
from troubleshoot.expect.healthy import Healthy, say_setup
from troubleshoot.expect.review_amps import review_amps
from troubleshoot.expect.review_values import review_values
from troubleshoot.expect.sides import owner
from troubleshoot.parts import Controller, Fuse, IgnitionSwitch, OilSwitch, Pump, Relay, Starter, Supply, Switch


def review_work(network: Network, known: set[str]) -> Iterator[Finding]:
    """All findings of this kind; `known`: codes of those that are told already."""
    healthy = Healthy(network)
    yield from _starter(healthy, known)
    for load in network.circuit.loads:
        yield from _works(healthy, load)
        yield from _rests(healthy, load)
        yield from _cut_off(healthy, load)
    yield from review_amps(healthy)
    yield from review_values(healthy, known)


def _starter(healthy: Healthy, known: set[str]) -> Iterator[Finding]:
    """A starter that turns without being told to."""
    for name, part in healthy.circuit.parts.items():
        if not isinstance(part, Starter) or "run-start-joined" in known:
            continue
        turns = [s for s in healthy.setups if s.key not in ("cranking", "remote") and healthy.pulled(name, s)]
        if turns:
            yield Finding(
                "starter-turns", "danger", *at_part(healthy.circuit, name), "the starter turns with "
                f"{say_setup(healthy.circuit, turns[0])}", "the engine cranks without being told to, and the car may "
                "move", "do not turn the key; take battery negative off, then find what else feeds terminal 50",
                RECKONED,
            )  # fmt: skip


def _works(healthy: Healthy, load: str) -> Iterator[Finding]:
    """It works when it should, the right way round; a pump also while cranking and with the engine running."""
    circuit, working = healthy.circuit, healthy.working
    path, where = at_part(circuit, load)
    how = healthy.runs(load, working)
    if not how:
        elsewhere = _works_elsewhere(healthy, load)
        yield Finding(
            "does-not-work", "fault", path, where, f"it does not work with {say_setup(circuit, working)}"
            f"{elsewhere}",
            _why_dead(healthy, load, working), "its feed or ground is there at the wrong time: see on which output of "
            "the ignition switch and on which terminal of the relay its wires are" if elsewhere else "mend what else "
            "is said of the wires; then compare the volts point by point with the drawing", RECKONED,
        )  # fmt: skip
        return
    if how < 0 and circuit.loads[load].turns:
        yield Finding(
            "runs-backwards", "fault", path, where, "its two wires are exchanged: it turns backwards",
            "volts and current look right, but it delivers nothing or blows the wrong way", "exchange the two wires at "
            "its plug", PRACTICE,
        )  # fmt: skip
    if not isinstance(circuit.parts[load], Pump) or "cranking" not in circuit.keys:
        return
    crank = cranking_setup(circuit)
    running = Setup("running", operated=working.operated)
    if crank and not healthy.runs(load, crank):
        feed = _taken_from(healthy, load)
        yield Finding(
            "dies-cranking", "fault", path, where, f"it works with the key on and stops while the engine cranks{feed}",
            "the engine gets no fuel just while it is to start", "take the feed from an output that stays live while "
            "cranking: 15 (15e) of the ignition switch, not its accessory output", PRACTICE,
        )  # fmt: skip
    elif not healthy.runs(load, running):
        yield Finding(
            "dies-running", "fault", path, where, "it stops once the engine runs", "the engine starts and dies",
            "find which feed or ground is lost when the key goes back from start", RECKONED,
        )  # fmt: skip


def _works_elsewhere(healthy: Healthy, load: str) -> str:
    """When it works instead, in words."""
    setups = [setup for setup in healthy.setups if setup.key != "remote" and healthy.runs(load, setup)]
    said = list(dict.fromkeys(say_setup(healthy.circuit, setup) for setup in setups))
    return f", but with {' and with '.join(said[:2])}" if said else ""


def _taken_from(healthy: Healthy, load: str) -> str:
    """Which output of the ignition switch feeds the relay's coil, or else the load, in words."""
    amps = healthy.amps(healthy.working)
    circuit = healthy.circuit
    del load
    for name, part in circuit.named_parts.items():
        if isinstance(part, IgnitionSwitch):
            for output in ("acc", "50"):
                flow = amps[healthy.network.branch_at[f"{name}.contact-{output}"]]
                if abs(flow) > 0.02 and any(f"{name}.{output}" in (w.start, w.end) for w in circuit.wires):
                    return f": its feed comes from {output} of the {part.spoken}" if output == "acc" else ""
    return ""


def _why_dead(healthy: Healthy, load: str, setup: Setup) -> str:
    """How far the feed gets, and what the relays and fuses do."""
    circuit = healthy.circuit
    told = []
    blown = [n for n, gone in healthy.table.behaviour(setup).blown.items() if gone[0]]
    told += [f"the {circuit.named_parts[name].spoken} has opened" for name in blown]
    for name in circuit.relays:
        across = abs(healthy.volts(f"{name}.86", setup) - healthy.volts(f"{name}.85", setup))
        if not healthy.pulled(name, setup):
            told.append(f"the {circuit.named_parts[name].spoken} does not pull in ({across:.1f} V across its coil)")
    rows = [p.rows for p in find_paths(healthy.network) if p.title == f"through the {circuit.named_parts[load].spoken}"]
    if not rows:
        told.append("there is no way from battery positive through it to battery negative")
    else:
        points = [(row.node, row.say) for row in rows[0] if row.node]
        volts = [abs(healthy.volts(node, setup)) for node, _ in points]
        for (_, before), (_, after), high, low in zip(points, points[1:], volts, volts[1:], strict=False):
            if high > 6.0 and low < high / 2:
                told.append(f"battery volts get as far as {before}, and not to {after}")
                break
    return "; ".join(told) or "too little current flows through it"


def _rests(healthy: Healthy, load: str) -> Iterator[Finding]:
    """It is off when nothing asks for it."""
    circuit, works = healthy.circuit, healthy.circuit.works
    path, where = at_part(circuit, load)
    operated = frozenset(works.operate)
    asked = [Setup(works.key, operated=operated)]
    rest = Setup("off")
    if rest not in asked and healthy.runs(load, rest):
        yield Finding(
            "works-key-off", "fault", path, where, f"it works with {say_setup(circuit, rest)}, when it should be off"
            f"{_by_way_of(healthy, load, rest)}", "it empties the battery, wears out, and a fuel pump runs on after a "
            "crash", "find the feed that is never switched, and put it where the switched one belongs", RECKONED,
        )  # fmt: skip
        return
    switched_on = Setup("off", operated=operated)
    if operated and works.key != "off" and healthy.runs(load, switched_on):
        yield Finding(
            "works-key-off", "doubt", path, where, f"it works with {say_setup(circuit, switched_on)}",
            "left on, it empties the battery", "say in the file that it works with the key off, if that is wanted; "
            "else take the switch's feed from behind the key", RECKONED,
        )  # fmt: skip
    at_accessory = Setup("accessory", operated=operated)
    if works.key not in ("off", "accessory") and "accessory" in circuit.keys and healthy.runs(load, at_accessory):
        yield Finding(
            "works-at-accessory", "doubt", path, where, "it works with the key at accessory already",
            "an accessory output is dead while cranking on most cars", "take the feed from 15 of the ignition "
            "switch", PRACTICE,
        )  # fmt: skip
    plain = Setup("on")
    if operated and "on" in circuit.keys and healthy.runs(load, plain):
        switches = listed([f"the {circuit.named_parts[name].spoken}" for name in works.operate])
        yield Finding(
            "works-unasked", "fault", path, where, f"it works with the key on although {switches} is not operated"
            f"{_by_way_of(healthy, load, plain)}", "the switch does not switch it", "find the feed or ground that goes "
            "past the switch", RECKONED,
        )  # fmt: skip
    elif works.key in ("prime", "cranking") and "on" in circuit.keys and healthy.runs(load, plain):
        yield Finding(
            "works-engine-stopped", "doubt", path, where, "it works with the key on and the engine stopped for as long "
            "as that lasts", "nothing stops it when the engine stalls", "find what feeds it past what is to stop it",
            PRACTICE,
        )  # fmt: skip


def _by_way_of(healthy: Healthy, load: str, setup: Setup) -> str:
    """The fuses, contacts and switches that the current of a working load passes, in words."""
    circuit = healthy.circuit
    told: list[str] = []
    for branch in healthy.way(load, setup):
        name = owner(branch)
        part = circuit.named_parts.get(name)
        if branch.name.endswith(".contact") or name == load:
            continue
        if isinstance(part, Relay):
            told.append(f"{'87a' if branch.name.endswith('.rest') else 'the contact'} of the {part.spoken}")
        elif isinstance(part, (Fuse, Switch, OilSwitch, IgnitionSwitch)):
            told.append(f"the {part.spoken}")
    return f", by way of {listed(told)}" if told else ""


def _cut_off(healthy: Healthy, load: str) -> Iterator[Finding]:
    """A fuel pump wants a cut-off, and one that really cuts off."""
    circuit = healthy.circuit
    part = circuit.named_parts[load]
    path, where = at_part(circuit, load)
    is_fuel = isinstance(part, Pump) and "fuel" in f"{circuit.feeds} {part.spoken}".lower()
    if not is_fuel or isinstance(circuit.parts[circuit.battery], Supply):
        return
    inertia = [n for n, p in circuit.parts.items() if isinstance(p, Switch) and p.style == "inertia"]
    stops = [n for n, p in circuit.parts.items() if isinstance(p, (OilSwitch, Controller))]
    if not inertia and not stops:
        yield Finding(
            "no-cut-off", "doubt", path, where, "nothing stops this pump when the engine stalls or after a crash",
            "with the key on it goes on pumping fuel", "fit an inertia cut-off, or an oil-pressure switch in its feed, "
            "before the car goes on the road", PRACTICE,
        )  # fmt: skip
    for name in inertia:
        for setup in (healthy.working, Setup("running", operated=healthy.working.operated)):
            out = replace(setup, removed=frozenset({name}))
            if setup.key in circuit.keys and healthy.runs(load, setup) and healthy.runs(load, out):
                yield Finding(
                    "cut-off-passed-by", "doubt", *at_part(circuit, name), f"with it open the "
                    f"{circuit.named_parts[load].spoken} works on with {say_setup(circuit, setup)}"
                    f"{_by_way_of(healthy, load, out)}", "after a crash it does not stop the fuel", "put the cut-off "
                    "where all feeds of the pump, or its ground, go through it", PRACTICE,
                )  # fmt: skip
                break
