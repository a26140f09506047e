"""Faults that no part can have alone: of stretches, chafes, and wires put in the wrong place.

Each that joins what is not joined when all is well brings its own branch, absent in the healthy circuit. A wire
in the wrong place is a second copy of it, from its far end to where it has been put, while the wire itself is
open: what a probe finds at a stamped number is then what really is there.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from troubleshoot.circuit.circuit import Circuit
from troubleshoot.circuit.stretches import Stretch
from troubleshoot.parts import (
    Controller,
    Diode,
    Fuse,
    GroundBolt,
    IgnitionSwitch,
    Motor,
    OilSwitch,
    Relay,
    Splice,
    Switch,
    Wire,
)
from troubleshoot.parts.branch import Branch, Change, Device, Fault, FuseDevice, Severity

PASSES = (".contact", ".ring", ".make", ".make-87b", ".switch", ".junction")
"""How the names of branches end that pass a feed on, beside wires, fuses and the contacts of switches."""

SHORT_OHM = (0.01, 0.2)
"""A wire chafed through to metal: range of the contact's ohms (invented)."""

MISWIRED_OHM = 0.01
"""A wire's contact where it has been put by mistake: as good as any other (invented)."""

MOVED_SPREAD = 0.1


def stretch_fault(stretch: Stretch) -> Fault:
    """The joints and wires of a stretch, as one."""
    return Fault(
        stretch.name, "bad", f"{stretch.say} is open or has resistance",
        f"repair {stretch.say}: look for green copper, a loose crimp or ring, a spread contact",
        "stretch-bad", (Change(stretch.branches[0], "series"),), Severity("ohm", 0.0, 1e5, 0.35),
    )  # fmt: skip


@dataclass
class Wrong:
    """Branches and faults as they are found. `joins` makes a branch that is there only as part of a fault."""

    circuit: Circuit
    branches: list[Branch] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)

    def joins(self, name: str, a: str, b: str, ohm: float = MISWIRED_OHM, part: str = "") -> Change:
        """A change that joins two nodes; its branch comes apart when `part` is pulled."""
        if all(branch.name != name for branch in self.branches):
            needs = frozenset({part} if part else ())
            self.branches.append(Branch(name, a, b, ohm, MOVED_SPREAD, fitted=False, needs=needs))
        return Change(name, "connect", ohm)

    def moves(self, wire: Wire, end: str, to: str) -> tuple[Change, Change]:
        """The end of a wire that should be on the terminal `end`, put into the contact of the terminal `to`."""
        far = wire.far(end)
        return (
            Change(wire.name, "open"),
            self.joins(f"{wire.name}.on.{to}", end_node(self.circuit, wire, far), to, wire.ohm),
        )

    def add(
        self, part: str, mode: str, say: str, repair: str, prior: str, *changes: Change, shows: str = ""
    ) -> None:  # fmt: skip
        """One more fault; `shows`: the relay at which one sees it."""
        self.faults.append(Fault(part, mode, say, repair, prior, tuple(changes), shows=shows))


def end_node(circuit: Circuit, wire: Wire, end: str) -> str:
    """The node at which the wire's conductor ends at one of its terminals."""
    kind = circuit.terminals[end].kind
    return f"{wire.name}.at.{end}" if kind == "stud" else end if kind == "socket" else f"{end}.wire"


def wrong_places(
    circuit: Circuit, branches: list[Branch], stretches: list[Stretch], devices: tuple[Device, ...]
) -> tuple[list[Branch], list[Fault]]:
    """Faults that join what is not joined when all is well: chafes, and wires put in the wrong place."""
    wrong = Wrong(circuit)
    fuses = {device.branch for device in devices if isinstance(device, FuseDevice)}
    bare, fed = sides(circuit, branches, fuses)
    at = {end: wire for wire in circuit.wires for end in (wire.start, wire.end)}
    _chafed_feeds(wrong, branches, stretches, bare, fed)
    _chafed_returns(wrong)
    for name, part in circuit.named_parts.items():
        if isinstance(part, Relay):
            _wrong_at_relay(wrong, part, at, fed)
        elif isinstance(part, IgnitionSwitch):
            _wrong_key_position(wrong, name)
        elif isinstance(part, OilSwitch) and part.style == "changeover":
            _wrong_at_changeover(wrong, part, at)
        elif isinstance(part, Motor) and f"{name}.plus" in at and f"{name}.minus" in at:
            plus, minus = at[f"{name}.plus"], at[f"{name}.minus"]
            wrong.add(
                name, "wires-exchanged", f"the two wires of the {part.spoken} are exchanged: it runs backwards",
                f"exchange the wires at the plug of the {part.spoken}", "exchanged",
                *wrong.moves(plus, f"{name}.plus", f"{name}.minus"),
                *wrong.moves(minus, f"{name}.minus", f"{name}.plus"),
            )  # fmt: skip
    return wrong.branches, wrong.faults


def _chafed_feeds(
    wrong: Wrong, branches: list[Branch], stretches: list[Stretch], bare: set[str], fed: set[str]
) -> None:  # fmt: skip
    """Fed wires behind a fuse that touch metal."""
    frame = _frame(wrong.circuit)
    wires = {wire.name: wire for wire in wrong.circuit.wires}
    at = {branch.name: branch for branch in branches}
    for stretch in stretches:
        near = at.get(stretch.wire)
        if near is None or stretch.name != stretch.wire or near.b not in fed or near.b in bare or not frame:
            continue
        short = Branch(f"{stretch.wire}.short", near.b, frame, SHORT_OHM[1], fitted=False)
        wrong.branches.append(short)
        spoken = f"the {wires[stretch.wire].spoken}"
        wrong.faults.append(Fault(
            stretch.wire, "shorted", f"{spoken} is chafed through to metal",
            f"find where {spoken} touches metal, repair and re-route it; where a fuse "
            "has blown, fit one of the same rating", "wire-shorted", (Change(short.name, "connect"),),
            Severity("ohm", *SHORT_OHM),
        ))  # fmt: skip


def _chafed_returns(wrong: Wrong) -> None:
    """A wire between a load or coil and what grounds it (cut-off, button, thermal switch, controller) that touches
    metal: what should break the ground is passed by."""
    circuit, frame = wrong.circuit, _frame(wrong.circuit)
    for name, part in circuit.named_parts.items():
        if isinstance(part, Switch):
            ends = [a for a, b in (("in", "out"), ("out", "in")) if _grounds(circuit, f"{name}.{b}")]
            cuts_off = not part.is_operated
        elif isinstance(part, Controller):
            ends, cuts_off = ["out"] if part.drives == "ground" else [], False
        else:
            continue
        mode = "past-cut-off" if cuts_off else "past-switch"
        so = f"the {part.spoken} cuts nothing off any more" if cuts_off else f"that grounds it past the {part.spoken}"
        for wire in circuit.wires:
            for end in (wire.start, wire.end):
                if frame and end in [f"{name}.{side}" for side in ends]:
                    far = wire.far(end)
                    wrong.add(
                        wire.name, mode, f"the {wire.spoken} is chafed through to metal: {so}",
                        f"find where the {wire.spoken} touches metal, repair and re-route it", "wire-shorted",
                        wrong.joins(f"{wire.name}.chafed", end_node(circuit, wire, far), frame, SHORT_OHM[1]),
                    )  # fmt: skip


def _grounds(circuit: Circuit, spot: str) -> bool:
    """Whether a terminal is wired to ground."""
    fars = [wire.far(spot) for wire in circuit.wires if spot in (wire.start, wire.end)]
    return any(circuit.parts[f.partition(".")[0]].kind in ("ground_bolt", "metal") or f.endswith(".neg") for f in fars)


def _frame(circuit: Circuit) -> str:
    """The metal that wires chafe on."""
    return next((f"{p.to}.metal" for p in circuit.parts.values() if isinstance(p, GroundBolt)), "")


def sides(circuit: Circuit, branches: list[Branch], fuses: set[str]) -> tuple[set[str], set[str]]:
    """Nodes fed from the battery with no fuse on the way, and nodes fed at all, through wires and contacts."""
    wires = {wire.name for wire in circuit.wires}
    drivers = tuple(f"{n}.driver" for n, p in circuit.parts.items() if isinstance(p, Controller) and p.drives == "feed")
    conducting = [
        b for b in branches
        if b.fitted and (b.name in wires | fuses or b.name.endswith((*PASSES, *drivers)) or ".contact-" in b.name)
    ]  # fmt: skip

    def spread(through: list[Branch]) -> set[str]:
        reached = {f"{circuit.battery}.pos"}
        while True:
            more = {n for b in through if (b.a in reached) != (b.b in reached) for n in (b.a, b.b)}
            if more <= reached:
                return reached
            reached |= more

    return spread([b for b in conducting if b.name not in fuses]), spread(conducting)


# ---- at the relay

PAIRS = (("30", "87"), ("85", "86"), ("30", "86"), ("30", "85"), ("86", "87"), ("85", "87"))


def _wrong_at_relay(wrong: Wrong, relay: Relay, at: dict[str, Wire], fed: set[str]) -> None:
    name = relay.name
    here = {number: at[f"{name}.{number}"] for number in relay.numbers if f"{name}.{number}" in at}
    for one, other in PAIRS:
        if one in here and other in here and here[one] is not here[other]:
            _exchange(wrong, relay, here, ((one, other),), f"{one} and {other} of the {relay.spoken}")
    if {"30", "87", "85", "86"} <= set(here):
        _exchange(wrong, relay, here, (("30", "86"), ("87", "85")), f"contact and coil sides of the {relay.spoken}")
    for number in ("30", "87"):
        if relay.middle and relay.middle not in here and number in here:
            wrong.add(
                name, f"{relay.middle}-used-for-{number}",
                f"the {here[number].spoken} is on {relay.middle} of the {relay.spoken}, not on {number}",
                f"move the {here[number].spoken} to {number}; leave {relay.middle} empty and covered", "miswired",
                *wrong.moves(here[number], f"{name}.{number}", f"{name}.{relay.middle}"), shows=name,
            )  # fmt: skip
    wrong.add(
        name, "other-layout", f"the {relay.spoken} is one of the other layout: its 30 and 86 have changed places",
        f"fit a relay whose stamped numbers stand where the wires of the {relay.spoken} go", "other-layout",
        Change(f"{name}.30.contact", "open"), Change(f"{name}.86.contact", "open"),
        wrong.joins(f"{name}.30-in-86", f"{name}.30", f"{name}.86.blade", part=name),
        wrong.joins(f"{name}.86-in-30", f"{name}.86", f"{name}.30.blade", part=name), shows=name,
    )  # fmt: skip
    for number in relay.numbers:
        if number in here:
            spot, contact = f"{name}.{number}", f"the contact at terminal {number} of the {relay.spoken}"
            wrong.faults.append(Fault(
                spot, "spread", f"{contact} is spread: pushed home, it works for a while",
                f"replace {contact}; push nothing into the front of the new one",
                "spread-contact", (Change(f"{spot}.contact", "series", reseats=True),), Severity("ohm", 0.03, 1e5, 0.5),
            ))  # fmt: skip
    if "86" in here and "85" in here:
        _wrong_coil(wrong, relay, here, fed)


def _exchange(
    wrong: Wrong, relay: Relay, here: dict[str, Wire], pairs: tuple[tuple[str, str], ...], say: str
) -> None:  # fmt: skip
    changes: list[Change] = []
    for one, other in pairs:
        changes += wrong.moves(here[one], f"{relay.name}.{one}", f"{relay.name}.{other}")
        changes += wrong.moves(here[other], f"{relay.name}.{other}", f"{relay.name}.{one}")
    mode = "-".join("-".join(pair) for pair in pairs) + "-exchanged"
    wrong.add(relay.name, mode, f"the wires of {say} are exchanged", f"put the wires of {say} where they belong, by "
              "the stamped numbers", "exchanged", *changes, shows=relay.name)  # fmt: skip


def _wrong_coil(wrong: Wrong, relay: Relay, here: dict[str, Wire], fed: set[str]) -> None:
    """The coil with two grounds or two feeds; the start feed joined to its feed."""
    name, circuit = relay.name, wrong.circuit
    fed_end, ground_end = ("86", "85") if f"{name}.86" in fed else ("85", "86")
    for mode, bad, good in (("coil-two-grounds", fed_end, ground_end), ("coil-two-feeds", ground_end, fed_end)):
        other = here[good]
        far = other.far(f"{name}.{good}")
        side = "ground" if mode == "coil-two-grounds" else "feed"
        wrong.add(
            name, mode, f"both coil terminals of the {relay.spoken} go to {side}",
            f"find where the wire on {bad} really goes, and give the coil one feed and one ground", "miswired",
            Change(here[bad].name, "open"),
            wrong.joins(f"{name}.{mode}", f"{name}.{bad}", end_node(circuit, other, far), MISWIRED_OHM + other.ohm),
        )  # fmt: skip
    switch = next((n for n, p in circuit.parts.items() if isinstance(p, IgnitionSwitch)), "")
    starts = any(f"{switch}.50" in (wire.start, wire.end) for wire in circuit.wires)
    changeover = any(isinstance(p, OilSwitch) and p.style == "changeover" for p in circuit.parts.values())
    joins_them = starts and not changeover and _fed_by(circuit, here[fed_end], f"{name}.{fed_end}", f"{switch}.15")
    if switch and joins_them:
        wrong.add(
            name, "run-start-joined",
            f"the run feed and the start feed are joined at {fed_end} of the {relay.spoken}: the key at on feeds the "
            "starter",
            f"take the start feed off {fed_end}, or put a diode into each feed", "miswired",
            wrong.joins(f"{name}.run-start", f"{name}.{fed_end}", f"{switch}.50", 2 * MISWIRED_OHM),
        )  # fmt: skip


def _fed_by(circuit: Circuit, wire: Wire, end: str, source: str) -> bool:
    """Whether a wire, seen from its `end`, comes from the terminal `source`."""
    return source in _leads_to(circuit, wire, end)


def _leads_to(circuit: Circuit, wire: Wire, end: str) -> set[str]:
    """All terminals that a wire, seen from its `end`, leads to: its far one, and on through what passes a feed on."""
    found, ahead, seen = set[str](), [(wire, end)], {wire.name}
    while ahead:
        here, near = ahead.pop()
        far = here.far(near)
        found.add(far)
        for across in _across(circuit, far):
            onward = [w for w in circuit.wires if across in (w.start, w.end) and w.name not in seen]
            seen |= {w.name for w in onward}
            ahead += [(w, across) for w in onward]
    return found


def _across(circuit: Circuit, spot: str) -> tuple[str, ...]:
    """The terminals on the other side of a fuse, switch, diode or splice; none of any other part."""
    name, _, terminal = spot.partition(".")
    part = circuit.parts[name]
    if isinstance(part, Fuse | Switch):
        others: tuple[str, ...] = ("in" if terminal == "out" else "out",)
    elif isinstance(part, OilSwitch):
        others = ("S", "I") if terminal == "P" else ("P",)
    elif isinstance(part, Diode):
        others = ("anode" if terminal == "cathode" else "cathode",)
    elif isinstance(part, Splice):
        others = (terminal,)
    else:
        others = ()
    return tuple(f"{name}.{other}" for other in others)


# ---- at an oil-pressure changeover switch


def _wrong_at_changeover(wrong: Wrong, part: OilSwitch, at: dict[str, Wire]) -> None:
    """Its run and start feeds exchanged, or joined."""
    run, start = f"{part.name}.I", f"{part.name}.S"
    if run not in at or start not in at:
        return
    wrong.add(
        part.name, "I-S-exchanged", f"the wires of I and S of the {part.spoken} are exchanged",
        f"put the wires of I and S of the {part.spoken} where they belong", "exchanged",
        *wrong.moves(at[run], run, start), *wrong.moves(at[start], start, run),
    )  # fmt: skip
    wrong.add(
        part.name, "run-start-joined",
        f"the run feed and the start feed are joined at the {part.spoken}: the key at on feeds the starter",
        f"part the two feeds: ignition on I of the {part.spoken}, starter terminal 50 on S", "miswired",
        wrong.joins(f"{part.name}.run-start", run, start, 2 * MISWIRED_OHM),
    )  # fmt: skip


# ---- at the ignition switch

POSITIONS = {
    "30": ("constant-feed", "it is live with the key off"),
    "acc": ("accessory-feed", "it is dead while cranking"),
    "15": ("ignition-feed", "it is live with the key on"),
    "50": ("start-feed", "it is live only while cranking"),
}
"""Outputs of the ignition switch that a feed may be taken from by mistake, and what comes of it."""


def _wrong_key_position(wrong: Wrong, name: str) -> None:
    """The feed of a relay coil or a load taken from a terminal of the switch that is live at the wrong time."""
    for wire in wrong.circuit.wires:
        for end in (wire.start, wire.end):
            part, _, right = end.partition(".")
            if part != name or right not in ("15", "acc", "50") or not _leads_to_relay(wrong.circuit, wire, end):
                continue
            for output, (mode, so) in POSITIONS.items():
                if output == right or f"{name}.{output}" in (wire.start, wire.end):
                    continue
                wrong.add(
                    wire.name, mode, f"the {wire.spoken} is fed from the switch's {output}, not its {right}: {so}",
                    f"move the {wire.spoken} to the switch's {right}", mode,
                    Change(f"{wire.name}.at.{end}.ring", "open"),
                    wrong.joins(f"{wire.name}.on-{output}", f"{name}.{output}", f"{wire.name}.at.{end}"),
                )  # fmt: skip


def _leads_to_relay(circuit: Circuit, wire: Wire, end: str) -> bool:
    """Whether this wire, seen from `end`, feeds a relay's coil, a load or a controller."""
    coils = {f"{name}.{number}" for name in circuit.relays for number in ("85", "86")}
    works = {f"{name}.{pin}" for name in circuit.loads for pin in ("plus", "low")}
    controllers = {f"{n}.feed" for n, part in circuit.parts.items() if isinstance(part, Controller)}
    return bool(_leads_to(circuit, wire, end) & (coils | works | controllers))
