"""Findings from how things are joined: fuses against wires, both ends of coil and contact, run and start joined."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator

from troubleshoot.circuit.circuit import Circuit
from troubleshoot.circuit.network import Network
from troubleshoot.draw.circuit_line import follow, list_ways
from troubleshoot.expect.ampacity import SOURCE, carries_a
from troubleshoot.expect.finding import GUESSED, PRACTICE, Finding, Severity, at_part, at_wire, listed
from troubleshoot.expect.sides import Sides
from troubleshoot.parts import Diode, IgnitionSwitch, OilSwitch, Relay, Wire

LEAD_IN_M = 0.6
FAR_M = 1.5
"""Metres of unfused wire up to the fuse that nobody minds, and that are too many (invented)."""

CABLE_M2 = 5.5e-6
"""From this size up a wire between battery, starter and alternator is taken as a cable that carries no fuse."""

STUDS = ("battery", "starter", "alternator", "splice")

RECKONED_WIRES = "from how the wires are joined in the file"

TABLES_DIFFER = 1.25
"""Tables of what a wire carries differ by about this much; 1.5 mm² behind 15 A is in common use (invented)."""

DIODE_WORD = (
    "a diode across the coil wants battery positive on its banded end, by most notes at 86 (trade notes and service "
    "data, no single source)"
)


def review_feeds(network: Network) -> Iterator[Finding]:
    """All findings of this kind."""
    sides = Sides(network)
    yield from _unfused(network, sides)
    yield from _thin_wires(network, sides)
    for name in network.circuit.relays:
        yield from _coil(network, sides, name)
        yield from _contact(network, name)
    yield from _diodes(network)
    yield from _run_and_start(network)


# ---- fuses and wires


def _fed_wires(network: Network, sides: Sides) -> Iterator[tuple[Wire, float, str]]:
    """Each fed wire, the amperes let through to it, and the fuse that does."""
    for wire in network.circuit.wires:
        branch = network.branches[network.branch_at[wire.name]]
        ends = [sides.fed[end] for end in (branch.a, branch.b) if end in sides.fed]
        if ends and not (branch.a in sides.grounded and branch.b in sides.grounded):
            best = max(ends, key=lambda fed: fed.amps)
            yield wire, best.amps, best.fuse


def _kinds(circuit: Circuit, wire: Wire) -> list[str]:
    return [circuit.parts[end.partition(".")[0]].kind for end in (wire.start, wire.end)]


def _leads_to_fuse(circuit: Circuit, wire: Wire) -> bool:
    """Whether a wire ends at a fuse, or at a stud from where another goes on."""
    kinds = _kinds(circuit, wire)
    return "fuse" in kinds or "splice" in kinds


def _unfused(network: Network, sides: Sides) -> Iterator[Finding]:
    """Wires that a short would turn into the fuse."""
    circuit = network.circuit
    bare = []
    for wire, amps, _ in _fed_wires(network, sides):
        is_cable = wire.gauge.area_m2 >= CABLE_M2 and all(kind in STUDS for kind in _kinds(circuit, wire))
        if math.isfinite(amps) or is_cable:
            continue
        if not _leads_to_fuse(circuit, wire) or wire.length > FAR_M:
            bare.append(wire)
        elif wire.length > LEAD_IN_M:
            yield Finding(
                "fuse-far", "doubt", *at_wire(circuit, wire), f"{wire.length:g} m of wire lie between the battery and "
                "the first fuse", "this piece has no fuse before it: chafed through, it burns",
                "move the fuse to the battery's end of this wire", PRACTICE,
            )  # fmt: skip
    if bare:
        behind = f"; and behind it {listed([f'the {w.spoken}' for w in bare[1:]])}" if bare[1:] else ""
        yield Finding(
            "feed-unfused", "danger", *at_wire(circuit, bare[0]), f"there is no fuse between the battery and this wire"
            f"{behind}", "where it chafes through to metal, the battery drives hundreds of amperes through it: the "
            "wire glows and sets fire to what is near",
            "before anything is tried, fit a fuse within a hand's breadth of where this wire gets its battery feed, "
            "no larger than its thinnest wire carries", PRACTICE,
        )  # fmt: skip


def _thin_wires(network: Network, sides: Sides) -> Iterator[Finding]:
    """Wires that overheat before their fuse opens, a finding a fuse."""
    circuit = network.circuit
    own = {name for _, through in list_ways(circuit) for name in follow(network, through)}
    thin: dict[tuple[str, float, Severity], list[tuple[Wire, float]]] = defaultdict(list)
    for wire, amps, fuse in _fed_wires(network, sides):
        bundled_a, free_a = carries_a(wire.gauge)
        short = "fuse" in _kinds(circuit, wire) and wire.length <= LEAD_IN_M
        beside = wire.name not in own and wire.tolerance >= GUESSED  # nobody has looked at it: nothing to say
        if math.isinf(amps) or not fuse or amps <= TABLES_DIFFER * bundled_a or short or beside:
            continue
        is_sure = amps > TABLES_DIFFER * free_a and wire.name in own and wire.tolerance < GUESSED
        severity: Severity = "fault" if is_sure else "doubt" if amps > free_a or wire.name in own else "note"
        thin[fuse, amps, severity].append((wire, free_a if amps > free_a else bundled_a))
    for (fuse, amps, severity), found in thin.items():
        wire, limit_a = min(found, key=lambda each: each[1])
        others = [f"the {w.spoken}" for w, _ in found if w is not wire]
        more = f", and the same with {listed(others)}" if others else ""
        how = "" if limit_a == carries_a(wire.gauge)[1] else " in a bundle"
        guessed = " (its size is a guess)" if wire.tolerance >= GUESSED else ""
        yield Finding(
            "fuse-over-wire", severity, *at_wire(circuit, wire),
            f"{wire.gauge.text}{guessed} carries about {limit_a:.0f} A{how}, and the fuse before it "
            f"({circuit.named_parts[fuse].spoken}) lets {amps:g} A through{more}",
            "overloaded, the wire overheats before the fuse opens: the fuse is there for the wire",
            "look at the real wire; fit a fuse that it carries, if the load allows one, or else a thicker wire", SOURCE,
        )  # fmt: skip


# ---- coils


def _coil(network: Network, sides: Sides, name: str) -> Iterator[Finding]:
    """Both ends of a coil: one feed and one ground it wants, and the diode the right way round."""
    circuit = network.circuit
    relay = circuit.named_parts[name]
    assert isinstance(relay, Relay)
    ends = ("86", "85")
    fed = [f"{name}.{end}" in sides.fed for end in ends]
    grounded = [f"{name}.{end}" in sides.grounded for end in ends]
    wired = {e for w in circuit.wires for e in (w.start, w.end)}
    bare = [end for end in ends if f"{name}.{end}" not in wired]
    path, where = at_part(circuit, name)
    place = f"{where}, coil terminals 85 and 86"
    pulls = f"without a feed on one end and a ground on the other the coil carries no current: the {where} never clicks"
    look = "the wire of each coil terminal followed to its far end: one must go to the feed, the other to ground"
    if bare:
        what = f"no wire is on {listed(bare)}"
        yield Finding("coil-unwired", "fault", path, place, what, pulls, f"have {look}", RECKONED_WIRES)
    elif all(grounded) and not any(fed):
        what = "both ends of the coil go to ground"
        yield Finding("coil-two-grounds", "fault", path, place, what, pulls, f"have {look}", RECKONED_WIRES)
    elif all(fed) and not any(grounded):
        what = "both ends of the coil go to a feed, none to ground"
        yield Finding("coil-two-feeds", "fault", path, place, what, pulls, f"have {look}", RECKONED_WIRES)
    elif not any(fed):
        what = "no end of the coil has a feed from the battery"
        yield Finding("coil-no-feed", "fault", path, place, what, pulls, f"have {look}", RECKONED_WIRES)
    elif not any(grounded):
        what = "no end of the coil has a way to ground"
        yield Finding("coil-no-ground", "fault", path, place, what, pulls, f"have {look}", RECKONED_WIRES)
    else:
        plus = "86" if fed[0] and grounded[1] else "85" if fed[1] and grounded[0] else ""
        yield from _polarity(circuit, relay, plus)


def _polarity(circuit: Circuit, relay: Relay, plus: str) -> Iterator[Finding]:
    """Whether it matters which end of the coil has the feed."""
    path, where = at_part(circuit, relay.name)
    place = f"{where}, coil terminals 85 and 86"
    if relay.suppression == "diode" and plus and plus != relay.diode_plus:
        yield Finding(
            "coil-diode-reversed", "fault", path, place,
            f"the feed is on {plus}, and the diode inside of this relay wants it on {relay.diode_plus}",
            "the diode then shorts the coil's feed: its fuse blows, or the diode, or a controller's output",
            f"exchange the wires of 85 and 86 before it is switched on, or fit a relay without a diode; the {where} "
            "is not to be tried like this", DIODE_WORD,
        )  # fmt: skip
    elif plus == "85" and relay.suppression != "diode":
        yield Finding(
            "coil-exchanged", "note", path, place, "the feed is on 85 and the ground on 86: the other way round than "
            "the numbers mean, and harmless here", "a coil without a diode inside works either way",
            "nothing; but expect the volts of 85 and 86 exchanged, and fit no relay with a diode across its coil here",
            "installation guide (maker or service data)",
        )  # fmt: skip


# ---- contacts


def _contact(network: Network, name: str) -> Iterator[Finding]:
    """Where the contact's two sides go, and what is on 87a."""
    circuit = network.circuit
    relay = circuit.named_parts[name]
    assert isinstance(relay, Relay)
    device = next(d for d in network.relays if d.name == name)
    sides = Sides(network, frozenset((*device.make, *device.rest)) | _by_pressure(circuit))
    wired = {e for w in circuit.wires for e in (w.start, w.end)}
    outputs = [n for n in relay.numbers if n.startswith("87") and n != "87a" and f"{name}.{n}" in wired]
    path, where = at_part(circuit, name)
    fed = {n for n in relay.numbers if f"{name}.{n}" in sides.fed}
    grounds = any(f"{name}.{n}" in sides.grounded for n in ("30", *outputs))
    if f"{name}.30" not in wired or not outputs:
        bare = "30" if f"{name}.30" not in wired else "87"
        yield Finding(
            "contact-unwired", "fault", path, f"{where}, contact terminals 30 and 87", f"no wire is on {bare}",
            "closed or not, the contact then switches nothing", f"find the wire that belongs on {bare}",
            RECKONED_WIRES,
        )  # fmt: skip
    elif not fed & {"30", *outputs} and not grounds:
        yield Finding(
            "contact-no-feed", "fault", path, f"{where}, contact terminals 30 and 87", "neither 30 nor 87 is fed from "
            "the battery", "the contact has nothing to pass on", "follow the wires of 30 and 87: one must come from "
            "the fused feed", RECKONED_WIRES,
        )  # fmt: skip
    elif "30" in fed and fed & set(outputs):
        yield Finding(
            "contact-two-feeds", "doubt", path, f"{where}, contact terminals 30 and 87", "30 and 87 both have a feed, "
            "so the contact joins two feeds when it closes", "the load is not switched by this contact, or one feed "
            "flows back into the other", "follow the wires of 30 and 87: one is to be the feed, the other the load",
            RECKONED_WIRES,
        )  # fmt: skip
    elif "30" not in fed and fed & set(outputs):
        five = "; with five blades 87a then follows the load side: leave it empty and covered" if relay.middle else ""
        yield Finding(
            "contact-exchanged", "note", path, f"{where}, contact terminals 30 and 87", "the feed is on 87 and the "
            "load on 30: the other way round than usual, and harmless", f"a make contact has no direction{five}",
            "nothing; but expect the resting volts of 30 and 87 exchanged", PRACTICE,
        )  # fmt: skip
    if f"{name}.87a" in wired:
        wire = next(w for w in circuit.wires if f"{name}.87a" in (w.start, w.end))
        yield Finding(
            "rest-contact-used", "doubt", *at_wire(circuit, wire), f"this wire is on 87a of the {where}, which is "
            "joined to 30 while the relay rests", "what is on 87a works while the relay is out and stops when it pulls "
            "in; with a feed on 30 it is live all the time",
            f"if it belongs on 87, move it there by the stamped number and leave 87a of the {where} empty and covered",
            "terminal designations of DIN 72552",
        )  # fmt: skip


def _by_pressure(circuit: Circuit) -> frozenset[str]:
    """The contacts that close with oil pressure: beside a relay on purpose, and open before the engine has turned."""
    return frozenset(f"{name}.contact-I" for name, part in circuit.parts.items() if isinstance(part, OilSwitch))


# ---- diodes, run and start


def _diodes(network: Network) -> Iterator[Finding]:
    """Diodes in line that block the feed they lie in."""
    circuit = network.circuit
    for name, part in circuit.parts.items():
        if not isinstance(part, Diode):
            continue
        sides = Sides(network, frozenset({f"{name}.junction"}))
        if f"{name}.cathode" in sides.fed and f"{name}.anode" not in sides.fed:
            yield Finding(
                "diode-blocks", "fault", *at_part(circuit, name), "the diode is the wrong way round: its banded end is "
                "on the feed", "it lets nothing through", "turn it round: the band towards the load or the coil",
                "a diode conducts towards its band (textbook)",
            )  # fmt: skip


def _run_and_start(network: Network) -> Iterator[Finding]:
    """The switch's run output joined to its start output: the key at on then feeds the starter."""
    circuit = network.circuit
    for name, part in circuit.named_parts.items():
        if not isinstance(part, IgnitionSwitch):
            continue
        inside = frozenset(branch.name for branch in part.anatomy().branches)
        contacts = {n for device in network.relays for n in (*device.make, *device.rest)}
        sides = Sides(network, inside | contacts | _by_pressure(circuit))
        for run in ("15", "acc"):
            if sides.reaches(f"{name}.{run}", f"{name}.50"):
                yield Finding(
                    "run-start-joined", "danger", *at_part(circuit, name),
                    f"the outputs {run} and 50 of the {part.spoken} are joined outside of it: with the key at on the "
                    "start wire is live", "the starter turns as soon as the key is at on, and the car may move; the "
                    "start wire's current goes through the run circuit and its fuse",
                    "do not turn the key; take battery negative off, then take the start feed off the joint or put a "
                    "diode into each of the two feeds, bands towards the coil", PRACTICE,
                )  # fmt: skip
