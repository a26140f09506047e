"""Where a probe can go, and what lies between: the points of a circuit, and the stretches between them."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from troubleshoot.circuit.circuit import Circuit
from troubleshoot.parts import Wire
from troubleshoot.parts.branch import Branch


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


def list_points(circuit: Circuit, branches: list[Branch]) -> list[Point]:
    """Everything one can touch: terminals (wire side or tab), blades with the part out, rings on studs."""
    used = {node for branch in branches for node in (branch.a, branch.b)}
    wired = {end for wire in circuit.wires for end in (wire.start, wire.end)}
    points = []
    for spot, terminal in circuit.terminals.items():
        part = circuit.named_parts[spot.partition(".")[0]]
        if spot in used and (spot in wired or terminal.kind == "tab" or terminal.name in ("metal", "pos", "neg")):
            points.append(Point(spot, terminal.say, part.name, part.place))
        if terminal.kind == "socket":
            points.append(Point(f"{spot}.blade", f"{terminal.say}, on the part itself", part.name, part.place))
    for wire in circuit.wires:
        for end in (wire.start, wire.end):
            ring = f"{wire.name}.at.{end}"
            if ring in used and circuit.terminals[end].name in ("pos", "neg", "metal", "stud"):
                part = circuit.named_parts[end.partition(".")[0]]
                told = "clamp" if part.name == circuit.battery else "ring"
                say = f"the {told} of the {wire.spoken} on the {circuit.terminals[end].say}"
                points.append(Point(ring, say, part.name, part.place))
    return points


def list_stretches(branches: list[Branch], points: list[Point], circuit: Circuit) -> list[Stretch]:
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
    return tuple(f"{spot}.contact" for spot, t in circuit.terminals.items() if t.kind == "socket" and spot not in wired)


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
    return Stretch(spot, f"the contact in the holder at {circuit.terminals[spot].say}", names, ends[0], ends[1])
