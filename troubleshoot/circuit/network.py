"""A circuit drawn out as nodes, branches, devices, points to probe, stretches, and the faults it can have.

Node names: `relay.87` is what a probe touches at that terminal (the wire side of a socket, the tab of a
fuse, the stud); `relay.87.blade` is the relay's own side of the socket contact; `main_fuse.in.wire` the
wire's side of a fuse holder; `pump_ground.at.pump_bolt.stud` the ring of that wire on that stud.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

from troubleshoot.circuit.circuit import Circuit
from troubleshoot.circuit.faults import stretch_fault, wrong_places
from troubleshoot.circuit.fittings import Fitting, list_fittings
from troubleshoot.circuit.stretches import Point, Stretch, list_points, list_stretches
from troubleshoot.parts import Wire
from troubleshoot.parts.branch import (
    OPEN_OHM,
    OPEN_SPREAD,
    BendDevice,
    Branch,
    Change,
    Device,
    Fault,
    FuseDevice,
    RelayDevice,
)
from troubleshoot.parts.part import sigma


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
    fittings: tuple[Fitting, ...]

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
    def bends(self) -> tuple[BendDevice, ...]:
        return tuple(d for d in self.devices if isinstance(d, BendDevice))

    @cached_property
    def standing_in(self) -> frozenset[str]:
        """Names of relay devices that stand in for something else: starters, controllers."""
        return frozenset(d.name for d in self.relays) - frozenset(self.circuit.relays)

    @cached_property
    def branch_at(self) -> dict[str, int]:
        """Index of each branch by name."""
        return {branch.name: index for index, branch in enumerate(self.branches)}

    @cached_property
    def _inside(self) -> dict[str, frozenset[str]]:
        """What a part itself is made of, without its socket or holder: branches and devices by name, for each part."""
        made = {name: part.anatomy() for name, part in self.circuit.named_parts.items()}
        return {
            name: frozenset([*(b.name for b in own.branches), *(d.name for d in own.devices)])
            for name, own in made.items()
        }

    def lies_in(self, part: str, change: Change) -> bool:
        """Whether a change is of the part itself, so that a known good one in its place is without it. What opens its
        contacts or joins them otherwise is of the part (blades in another layout); resistance is of the socket."""
        if change.target in self._inside[part]:
            return True
        at = self.branch_at.get(change.target)
        return at is not None and change.what in ("open", "connect") and part in self.branches[at].needs

    def renewed(self, fault: Fault, part: str) -> Fault:
        """What is left of a fault once a known good one is in place of a part."""
        return replace(fault, changes=tuple(change for change in fault.changes if not self.lies_in(part, change)))

    @cached_property
    def relays_of(self) -> dict[str, tuple[str, ...]]:
        """For each load the relays on its way: those whose contacts are on its feed or ground, and those whose contacts
        are on the way of these relays' coils."""
        return {name: _on_the_way(self, how.branch) for name, how in self.circuit.loads.items()}

    @cached_property
    def _joined(self) -> dict[str, list[Branch]]:
        """What hangs on each node, but for loads and coils, which no way leads through, and for test gear."""
        apart = {how.branch for how in self.circuit.loads.values()} | {device.coil for device in self.relays}
        joined: dict[str, list[Branch]] = {}
        for branch in self.branches:
            if branch.fitted and not branch.joins and branch.name not in apart:
                for node in (branch.a, branch.b):
                    joined.setdefault(node, []).append(branch)
        return joined


def _on_the_way(network: Network, start: str) -> tuple[str, ...]:
    """The relays that one meets on following the wires from a branch to the battery and the metal."""
    ends = {n for n, part in network.circuit.parts.items() if part.kind in ("battery", "metal")}
    relay_of = {name: d for d in network.relays for name in (*d.make, *d.rest)}
    first = network.branches[network.branch_at[start]]
    waiting, seen, found = [first.a, first.b], {first.a, first.b}, dict[str, None]()
    for node in waiting:
        if node.partition(".")[0] in ends:
            continue
        for branch in network._joined.get(node, ()):
            more = [branch.a, branch.b]
            relay = relay_of.get(branch.name)
            if relay and relay.name in network.circuit.relays and relay.name not in found:
                found[relay.name] = None
                coil = network.branches[network.branch_at[relay.coil]]
                more += [coil.a, coil.b]
            waiting += [each for each in dict.fromkeys(more) if each not in seen]
            seen.update(more)
    return tuple(name for name in network.circuit.relays if name in found)


def wire_up(circuit: Circuit) -> Network:
    """Joins the parts up. The circuit's `doubts()` must be empty."""
    branches = _part_branches(circuit)
    for wire in circuit.wires:
        branches += _wire_branches(circuit, wire)
    points = list_points(circuit, branches)
    stretches = list_stretches(branches, points, circuit)
    devices = tuple(d for part in circuit.named_parts.values() for d in part.anatomy().devices)
    faults = [fault for part in circuit.named_parts.values() for fault in part.anatomy().faults]
    faults += [stretch_fault(stretch) for stretch in stretches]
    extra, more = wrong_places(circuit, branches, stretches, devices)
    branches += extra
    faults += more
    fittings = list_fittings(circuit)
    branches += [branch for fitting in fittings for branch in fitting.branches]
    devices += tuple(device for fitting in fittings for device in fitting.devices)
    branches += _leaks(branches, f"{circuit.battery}.neg")
    nodes = tuple(dict.fromkeys(node for branch in branches for node in (branch.a, branch.b)))
    reference = f"{circuit.battery}.neg"
    ordered = (reference, *(node for node in nodes if node != reference))
    return Network(circuit, ordered, tuple(branches), devices, tuple(points), tuple(stretches), tuple(faults),
                   tuple(fittings))  # fmt: skip


def _leaks(branches: list[Branch], reference: str) -> list[Branch]:
    """What hangs on nothing (a coil with no wire on either end) leaks to the reference, or nothing could be solved."""
    island: dict[str, set[str]] = {reference: {reference}}
    for branch in branches:
        if branch.fitted and not branch.joins:
            joined = island.get(branch.a, {branch.a}) | island.get(branch.b, {branch.b})
            island |= dict.fromkeys(joined, joined)
    alone = {min(nodes) for nodes in island.values() if reference not in nodes}
    return [Branch(f"{node}.leak", node, reference, OPEN_OHM, OPEN_SPREAD) for node in sorted(alone)]


def _part_branches(circuit: Circuit) -> list[Branch]:
    """Each part's own branches, with the contacts of its holder, if any, put between it and its wires."""
    branches = []
    for name, part in circuit.named_parts.items():
        anatomy = part.anatomy()
        inside = {f"{name}.{t.name}": f"{name}.{t.name}.blade" for t in anatomy.terminals if t.kind == "socket"}
        for branch in anatomy.branches:
            branches.append(replace(branch, a=inside.get(branch.a, branch.a), b=inside.get(branch.b, branch.b)))
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
    branches.append(Branch(wire.name, ends[0], ends[1], wire.ohm, wire.tolerance / 2, copper=True))
    return branches
