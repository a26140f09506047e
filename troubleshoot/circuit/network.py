"""A circuit drawn out as nodes, branches, devices, points to probe, stretches, and the faults it can have.

Node names: `relay.87` is what a probe touches at that terminal (the wire side of a socket, the tab of a
fuse, the stud); `relay.87.blade` is the relay's own side of the socket contact; `main_fuse.in.wire` the
wire's side of a fuse holder; `pump_ground.at.pump_bolt.stud` the ring of that wire on that stud.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from functools import cached_property

from troubleshoot.circuit.circuit import Circuit
from troubleshoot.parts import GroundBolt, IgnitionSwitch, Relay, Wire
from troubleshoot.parts.branch import (
    Branch,
    Change,
    Device,
    Fault,
    FuseDevice,
    MotorDevice,
    RelayDevice,
    Severity,
)
from troubleshoot.parts.part import sigma

WIRE_SPREAD = 0.05
"""Sigma of ln(ohm) of a wire: length as laid, stranding (invented)."""

SHORT_OHM = (0.01, 0.2)
"""A wire chafed through to metal: range of the contact's ohms (invented)."""

MISWIRED_OHM = 0.01
"""A wire's contact where it has been put by mistake: as good as any other (invented)."""


@dataclass(frozen=True)
class Point:
    """A place a probe can touch. `part` is what it belongs to, `place` where one must be to reach it."""

    node: str
    say: str
    part: str
    place: str


@dataclass(frozen=True)
class Stretch:
    """Wires and joints in a row with no probe point between them: one until something separates them."""

    name: str
    say: str
    branches: tuple[str, ...]
    a: str
    b: str
    wire: str = ""


@dataclass(frozen=True)
class Network:
    """The whole circuit in the vocabulary of parts.branch."""

    circuit: Circuit
    nodes: tuple[str, ...]
    branches: tuple[Branch, ...]
    devices: tuple[Device, ...]
    points: tuple[Point, ...]
    stretches: tuple[Stretch, ...]
    faults: tuple[Fault, ...]

    @cached_property
    def point_at(self) -> dict[str, Point]:
        """Points by node."""
        return {point.node: point for point in self.points}

    @cached_property
    def relays(self) -> tuple[RelayDevice, ...]:
        return tuple(d for d in self.devices if isinstance(d, RelayDevice))

    @cached_property
    def fuses(self) -> tuple[FuseDevice, ...]:
        return tuple(d for d in self.devices if isinstance(d, FuseDevice))

    @cached_property
    def motors(self) -> tuple[MotorDevice, ...]:
        return tuple(d for d in self.devices if isinstance(d, MotorDevice))

    @cached_property
    def branch_at(self) -> dict[str, int]:
        """Index of each branch by name."""
        return {branch.name: index for index, branch in enumerate(self.branches)}


def wire_up(circuit: Circuit) -> Network:
    """Joins the parts up. The circuit's `doubts()` must be empty."""
    branches = _part_branches(circuit)
    for wire in circuit.wires:
        branches += _wire_branches(circuit, wire)
    points = _points(circuit, branches)
    stretches = _stretches(branches, points, circuit)
    devices = tuple(d for part in circuit.named_parts.values() for d in part.anatomy().devices)
    faults = [fault for part in circuit.named_parts.values() for fault in part.anatomy().faults]
    faults += [_stretch_fault(stretch) for stretch in stretches]
    extra, more = _wrong_places(circuit, branches, stretches, devices)
    branches += extra
    faults += more
    nodes = tuple(dict.fromkeys(node for branch in branches for node in (branch.a, branch.b)))
    reference = f"{circuit.battery}.neg"
    ordered = (reference, *(node for node in nodes if node != reference))
    return Network(circuit, ordered, tuple(branches), devices, tuple(points), tuple(stretches), tuple(faults))


def _part_branches(circuit: Circuit) -> list[Branch]:
    """Each part's own branches, with the contacts of its holder, if any, put between it and its wires."""
    branches = []
    for name, part in circuit.named_parts.items():
        anatomy = part.anatomy()
        inside = {
            f"{name}.{t.name}": f"{name}.{t.name}.blade" for t in anatomy.terminals if t.kind == "socket"
        }
        for branch in anatomy.branches:
            branches.append(
                replace(branch, a=inside.get(branch.a, branch.a), b=inside.get(branch.b, branch.b))
            )
        for terminal in anatomy.terminals:
            spot = f"{name}.{terminal.name}"
            if terminal.kind == "stud":
                continue
            outer, inner = (spot, f"{spot}.blade") if terminal.kind == "socket" else (f"{spot}.wire", spot)
            branches.append(
                Branch(f"{spot}.contact", outer, inner, terminal.contact_ohm, terminal.contact_spread,
                       needs=frozenset({name}))
            )  # fmt: skip
    return branches


def _wire_branches(circuit: Circuit, wire: Wire) -> list[Branch]:
    """The conductor, and a ring where it ends on a stud. A crimp into a socket belongs to the contact."""
    joint = wire.joint or circuit.joint
    ends, branches = [], []
    for end in (wire.start, wire.end):
        kind = circuit.terminals[end].kind
        if kind == "stud":
            ring = f"{wire.name}.at.{end}"
            # the battery's negative clamps come off together: that is "battery negative off"
            needs = frozenset({circuit.battery}) if end == f"{circuit.battery}.neg" else frozenset[str]()
            branches.append(Branch(f"{ring}.ring", end, ring, joint.value, sigma(joint), needs=needs))
            ends.append(ring)
        else:
            ends.append(end if kind == "socket" else f"{end}.wire")
    branches.append(Branch(wire.name, ends[0], ends[1], wire.ohm, WIRE_SPREAD, copper=True))
    return branches


def _points(circuit: Circuit, branches: list[Branch]) -> list[Point]:
    """Everything one can touch: terminals (wire side or tab), blades with the part out, rings on studs."""
    used = {node for branch in branches for node in (branch.a, branch.b)}
    wired = {end for wire in circuit.wires for end in (wire.start, wire.end)}
    points = []
    for spot, terminal in circuit.terminals.items():
        part = circuit.named_parts[spot.partition(".")[0]]
        if spot in used and (spot in wired or terminal.kind == "tab" or terminal.name == "metal"):
            points.append(Point(spot, terminal.say, part.name, part.place))
        if terminal.kind == "socket":
            points.append(
                Point(f"{spot}.blade", f"{terminal.say}, on the part itself", part.name, part.place)
            )
    for wire in circuit.wires:
        for end in (wire.start, wire.end):
            ring = f"{wire.name}.at.{end}"
            if ring in used and circuit.terminals[end].name in ("pos", "neg", "metal", "stud"):
                part = circuit.named_parts[end.partition(".")[0]]
                told = "clamp" if part.name == circuit.battery else "ring"
                say = f"the {told} of the {wire.spoken} on the {circuit.terminals[end].say}"
                points.append(Point(ring, say, part.name, part.place))
    return points


def _stretches(branches: list[Branch], points: list[Point], circuit: Circuit) -> list[Stretch]:
    """Runs of wires and joints between points; a node that no probe reaches and where two meet is passed."""
    touched = {point.node for point in points if not point.node.endswith(".blade")}
    meeting: dict[str, list[Branch]] = defaultdict(list)
    for branch in branches:
        meeting[branch.a].append(branch)
        meeting[branch.b].append(branch)
    wires = {wire.name: wire for wire in circuit.wires}
    passive = {b.name: b for b in branches if b.name in wires or b.name.endswith((".contact", ".ring"))}
    stretches, done = [], set[str]()
    for branch in passive.values():
        if branch.name in done or branch.name.startswith(_unused_sockets(circuit)):
            continue
        run, ends = [branch], [branch.a, branch.b]
        for side in (0, 1):
            while ends[side] not in touched and len(meeting[ends[side]]) == 2:
                onward = next((b for b in meeting[ends[side]] if b.name not in {r.name for r in run}), None)
                if onward is None or onward.name not in passive:
                    break
                run.append(onward)
                ends[side] = onward.b if onward.a == ends[side] else onward.a
        done |= {b.name for b in run}
        stretches.append(_named_stretch(run, ends, wires, circuit))
    return stretches


def _unused_sockets(circuit: Circuit) -> tuple[str, ...]:
    wired = {end for wire in circuit.wires for end in (wire.start, wire.end)}
    return tuple(
        f"{spot}.contact" for spot, t in circuit.terminals.items() if t.kind == "socket" and spot not in wired
    )


def _named_stretch(run: list[Branch], ends: list[str], wires: dict[str, Wire], circuit: Circuit) -> Stretch:
    names = tuple(branch.name for branch in run)
    wire = next((name for name in names if name in wires), "")
    if wire:
        sockets = [n.removesuffix(".contact") for n in names if n.endswith(".contact")]
        with_them = "".join(f" with its contact at {circuit.terminals[s].say}" for s in sockets)
        return Stretch(wire, f"the {wires[wire].spoken}{with_them}", names, ends[0], ends[1], wire)
    spot = names[0].rpartition(".")[0]
    if names[0].endswith(".ring"):
        owner, _, stud = spot.partition(".at.")
        told = "clamp" if stud.partition(".")[0] == circuit.battery else "ring"
        say = f"the {told} of the {wires[owner].spoken} on the {circuit.terminals[stud].say}"
        return Stretch(spot, say, names, ends[0], ends[1], owner)
    return Stretch(
        spot, f"the contact in the holder at {circuit.terminals[spot].say}", names, ends[0], ends[1]
    )


def _stretch_fault(stretch: Stretch) -> Fault:
    return Fault(
        stretch.name, "bad", f"{stretch.say} is open or has resistance",
        f"repair {stretch.say}: look for green copper, a loose crimp or ring, a spread contact",
        "stretch-bad", (Change(stretch.branches[0], "series"),), Severity("ohm", 0.0, 1e5, 0.35),
    )  # fmt: skip


def _wrong_places(
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


def _wrong_relay(
    circuit: Circuit, name: str, relay: Relay, fed: set[str]
) -> tuple[list[Branch], list[Fault]]:
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
        replace(c, value=ohm[c.target]) if c.what == "connect" and c.value is None else c
        for c in fault.changes
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
