"""Faults that no part can have alone: of stretches, shorts, and wires put in the wrong place.

Each that joins what is not joined when all is well brings its own branch, absent in the healthy circuit.
"""

from __future__ import annotations

from dataclasses import replace

from troubleshoot.circuit.circuit import Circuit
from troubleshoot.circuit.stretches import Stretch
from troubleshoot.parts import GroundBolt, IgnitionSwitch, Relay, Wire
from troubleshoot.parts.branch import Branch, Change, Device, Fault, FuseDevice, Severity

SHORT_OHM = (0.01, 0.2)
"""A wire chafed through to metal: range of the contact's ohms (invented)."""

MISWIRED_OHM = 0.01
"""A wire's contact where it has been put by mistake: as good as any other (invented)."""


def stretch_fault(stretch: Stretch) -> Fault:
    return Fault(
        stretch.name, "bad", f"{stretch.say} is open or has resistance",
        f"repair {stretch.say}: look for green copper, a loose crimp or ring, a spread contact",
        "stretch-bad", (Change(stretch.branches[0], "series"),), Severity("ohm", 0.0, 1e5, 0.35),
    )  # fmt: skip


def wrong_places(
    circuit: Circuit, branches: list[Branch], stretches: list[Stretch], devices: tuple[Device, ...]
) -> tuple[list[Branch], list[Fault]]:
    """Faults that join what is not joined when all is well: shorts, and wires put in the wrong place."""
    extra: list[Branch] = []
    faults: list[Fault] = []
    fuses = {device.branch for device in devices if isinstance(device, FuseDevice)}
    feed, fed = _sides(circuit, branches, fuses)
    frame = next((p.to for p in circuit.parts.values() if isinstance(p, GroundBolt)), "")
    wires = {wire.name: wire for wire in circuit.wires}
    for stretch in stretches:
        near = next((b for b in branches if b.name == stretch.wire), None)
        if near is None or stretch.name != stretch.wire or near.b not in fed or near.b in feed or not frame:
            continue
        short = Branch(f"{stretch.wire}.short", near.b, f"{frame}.metal", SHORT_OHM[1], fitted=False)
        extra.append(short)
        faults.append(Fault(
            stretch.wire, "shorted", f"the {wires[stretch.wire].spoken} is chafed through to metal",
            f"find where the {wires[stretch.wire].spoken} touches metal, repair and re-route it, then fit a new "
            "fuse of the same rating", "wire-shorted", (Change(short.name, "connect"),),
            Severity("ohm", *SHORT_OHM),
        ))  # fmt: skip
    for name, part in circuit.named_parts.items():
        if isinstance(part, Relay):
            _add(extra, faults, _wrong_relay(circuit, name, part, fed))
        if isinstance(part, IgnitionSwitch):
            _add(extra, faults, _wrong_key_position(circuit, name))
    return extra, faults


def _add(branches: list[Branch], faults: list[Fault], found: tuple[list[Branch], list[Fault]]) -> None:
    branches += found[0]
    faults += found[1]


def _sides(circuit: Circuit, branches: list[Branch], fuses: set[str]) -> tuple[set[str], set[str]]:
    """Nodes fed from the battery with no fuse on the way, and nodes fed at all, through wires and contacts."""
    wires = {wire.name for wire in circuit.wires}
    conducting = [
        b for b in branches
        if b.name in wires | fuses or b.name.endswith((".contact", ".ring", ".make")) or ".contact-" in b.name
    ]  # fmt: skip

    def spread(through: list[Branch]) -> set[str]:
        reached = {f"{circuit.battery}.pos"}
        while True:
            more = {n for b in through if (b.a in reached) != (b.b in reached) for n in (b.a, b.b)}
            if more <= reached:
                return reached
            reached |= more

    return spread([b for b in conducting if b.name not in fuses]), spread(conducting)


def _wrong_relay(circuit: Circuit, name: str, relay: Relay, fed: set[str]) -> tuple[list[Branch], list[Fault]]:
    """The wire of 87 pushed onto 87a; the coil with two grounds or two feeds."""
    extra, faults = [], []
    at = {end: wire for wire in circuit.wires for end in (wire.start, wire.end)}
    if relay.blades == 5 and f"{name}.87" in at and f"{name}.87a" not in at:
        wrong = Branch(f"{name}.87-on-87a", f"{name}.87", f"{name}.87a.blade", MISWIRED_OHM, fitted=False,
                       needs=frozenset({name}))  # fmt: skip
        extra.append(wrong)
        faults.append(Fault(
            name, "87a-used-for-87", f"the {at[f'{name}.87'].spoken} is on 87a of the {relay.spoken}, not on 87",
            f"move the {at[f'{name}.87'].spoken} to 87; leave 87a empty and covered", "miswired",
            (Change(f"{name}.87.contact", "open"), Change(wrong.name, "connect", MISWIRED_OHM)),
        ))  # fmt: skip
    coil = [f"{name}.86", f"{name}.85"]
    if not all(end in at for end in coil):
        return extra, faults
    coil.sort(key=lambda end: end not in fed)
    fed_end, ground_end = coil
    for mode, bad, good in (
        ("coil-two-grounds", fed_end, ground_end),
        ("coil-two-feeds", ground_end, fed_end),
    ):
        wire, other = at[bad], at[good]
        far = other.end if other.start == good else other.start
        kind = circuit.terminals[far].kind
        to = f"{other.name}.at.{far}" if kind == "stud" else far
        wrong = Branch(f"{name}.{mode}", bad, to, MISWIRED_OHM + other.ohm, fitted=False)
        extra.append(wrong)
        side = "ground" if mode == "coil-two-grounds" else "feed"
        faults.append(Fault(
            name, mode, f"both coil terminals of the {relay.spoken} go to {side}",
            f"find where the wire on {bad.rpartition('.')[2]} really goes, and give the coil one feed and one "
            "ground", "miswired", (Change(wire.name, "open"), Change(wrong.name, "connect")),
        ))  # fmt: skip
    return extra, [_filled(fault, extra) for fault in faults]


def _filled(fault: Fault, extra: list[Branch]) -> Fault:
    """Gives each `connect` without a severity the ohms of its branch."""
    ohm = {branch.name: branch.ohm for branch in extra}
    changes = tuple(
        replace(c, value=ohm[c.target]) if c.what == "connect" and c.value is None else c for c in fault.changes
    )
    return replace(fault, changes=changes)


def _wrong_key_position(circuit: Circuit, name: str) -> tuple[list[Branch], list[Fault]]:
    """The feed of a relay coil taken from an output of the switch that is live at the wrong time."""
    extra, faults = [], []
    kinds = {
        "acc": ("accessory-feed", "it is dead while cranking"),
        "50": ("start-feed", "it is live only while cranking"),
    }
    for wire in circuit.wires:
        if wire.start != f"{name}.15" or not _leads_to_relay(circuit, wire):
            continue
        for output, (mode, so) in kinds.items():
            wrong = Branch(f"{wire.name}.on-{output}", f"{name}.{output}", f"{wire.name}.at.{wire.start}",
                           MISWIRED_OHM, fitted=False)  # fmt: skip
            extra.append(wrong)
            faults.append(Fault(
                wire.name, mode, f"the {wire.spoken} is fed from the switch's {output}, not its 15: {so}",
                f"move the {wire.spoken} to a feed that is live with the key on and while cranking (15)",
                mode, (Change(f"{wire.name}.at.{wire.start}.ring", "open"),
                       Change(wrong.name, "connect", MISWIRED_OHM)),
            ))  # fmt: skip
    return extra, faults


def _leads_to_relay(circuit: Circuit, wire: Wire) -> bool:
    """Whether this wire, perhaps through one fuse, ends at a relay's coil."""
    part, _, terminal = wire.end.partition(".")
    if isinstance(circuit.parts[part], Relay):
        return terminal in ("85", "86")
    beyond = [w for w in circuit.wires if w.start == f"{part}.out"]
    return circuit.parts[part].kind == "fuse" and any(_leads_to_relay(circuit, w) for w in beyond)
