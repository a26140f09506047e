"""The circuit as a line from battery positive to battery negative, once through the load and once through the coil.

`find_paths` follows the wires; each piece of a path is a point that a probe can touch or what lies between two of
them. Somebody further right may put volts and standing on the rows before `draw_path` makes them text.
"""

from __future__ import annotations

import heapq
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from troubleshoot.circuit.circuit import Circuit
from troubleshoot.circuit.network import Network
from troubleshoot.draw.strokes import LINES, Strokes
from troubleshoot.draw.symbols import symbol_of
from troubleshoot.parts import Fuse
from troubleshoot.parts.branch import BendDevice, Branch, Fault, RelayDevice
from troubleshoot.units import Gauge, awg_area_m2

Status = Literal["", "good", "doubt"]
GaugeUnit = Literal["as written", "AWG", "mm2"]

SWITCHED = {"stuck", "welded"}

ROUND_ABOUT_OHM = 1e4
"""What a way through another load or coil counts for: it is taken only where there is no other."""

AT_REST_OHM = 10.0
"""What a contact counts for that is open when the load should work."""


@dataclass(frozen=True)
class Part:
    """What lies between two points of a path: the faults that it can have, by name."""

    faults: tuple[str, ...]


@dataclass(frozen=True)
class Row:
    """One row of the drawing: a point (`node`) or what lies between two of them (`part`).

    `told` is what was read there; `status` how the stretch stands; `detail` a wire's size and length.
    """

    say: str
    node: str = ""
    part: Part | None = None
    detail: str = ""
    told: str = ""
    status: Status = ""

    def stand(self, told: str, status: Status = "") -> Row:
        """The same row with what is known of it."""
        return replace(self, told=told, status=status)


@dataclass(frozen=True)
class Path:
    """Rows from battery positive to battery negative."""

    title: str
    rows: tuple[Row, ...]


def find_paths(network: Network, gauge: GaugeUnit = "as written") -> list[Path]:
    """Through each load that should work, then through each relay's coil; those that there is a way through."""
    paths = []
    for title, name in list_ways(network.circuit):
        run = _run(network, network.branches[network.branch_at[name]])
        if run:
            paths.append(Path(title, tuple(_rows(network, run, gauge))))
    return paths


def list_ways(circuit: Circuit) -> list[tuple[str, str]]:
    """What one would want to follow: a title, and the branch that it leads through."""
    parts = circuit.named_parts
    ways = [(f"through the {parts[name].spoken}", works.branch) for name, works in circuit.loads.items()]
    return ways + [(f"through the coil of the {parts[name].spoken}", f"{name}.coil") for name in circuit.relays]


def draw_path(path: Path, width: int, strokes: Strokes = LINES) -> list[str]:
    """The path as lines of at most `width` columns; what does not fit goes onto a further line, nothing is cut."""
    lines = []
    for row in path.rows:
        if row.node:
            lines += _fitted(f"{strokes.point} {row.say}", row.told, width, "    ")
            continue
        stroke = {"": strokes.down, "good": strokes.good, "doubt": strokes.doubt}[row.status]
        detail = f", {row.detail}" if row.detail else ""
        lines += _fitted(f"{stroke}   {row.say}{detail}", row.told, width, f"{stroke}     ")
    return lines


def _fitted(text: str, told: str, width: int, indent: str) -> list[str]:
    """Words wrapped at `width`; `told` at the right margin, on a line of its own where it does not fit beside."""
    lines = _wrapped(text, width, indent)
    if not told:
        return lines
    if len(lines[-1]) + 2 + len(told) <= width:
        return [*lines[:-1], lines[-1] + told.rjust(width - len(lines[-1]))]
    own = _wrapped(indent + told, width, indent)
    return [*lines, indent + told.rjust(width - len(indent))] if len(own) == 1 else lines + own


def _wrapped(text: str, width: int, indent: str) -> list[str]:
    lines, line = [], ""
    for word in text.split(" "):
        joined = f"{line} {word}" if line else word
        if len(joined) > width and line.strip():
            lines.append(line)
            joined = indent + word
        line = joined
    return [*lines, line]


# ---- following the wires


def follow(network: Network, through: str) -> set[str]:
    """The names of the branches on the way through a branch; none where there is no way."""
    return {branch.name for branch, _ in _run(network, network.branches[network.branch_at[through]])}


_Step = tuple[Branch, str]
"""A branch and the node at its far end."""


def _run(network: Network, through: Branch) -> list[_Step]:
    """From battery positive through the branch to battery negative, by the way of least resistance."""
    battery = network.circuit.battery
    start, end = f"{battery}.pos", f"{battery}.neg"
    found = []
    for first, last in ((through.a, through.b), (through.b, through.a)):
        feed = _way(network, start, first, {through.name}, {end, last})
        if feed is None:
            continue
        used = {start, *(node for _, node in feed[1])}
        back = _way(network, last, end, {through.name}, used)
        if back is not None:
            found.append((feed[0] + back[0], [*feed[1], (through, last), *back[1]]))
    return min(found, key=lambda item: item[0])[1] if found else []


def _way(network: Network, start: str, end: str, shut: set[str], avoid: set[str]) -> tuple[float, list[_Step]] | None:
    """The way of least ohms between two nodes, not through a source, against a diode or by a fault's branch."""
    near: dict[str, list[_Step]] = defaultdict(list)
    one_way = {d.branch for d in network.devices if isinstance(d, BendDevice) and d.kind == "diode"}
    for branch in network.branches:
        if not branch.fitted or branch.joins or branch.emf_v or branch.name in shut:
            continue
        near[branch.a].append((branch, branch.b))
        if branch.name not in one_way:
            near[branch.b].append((branch, branch.a))
    counts = {branch.name: _count_ohm(network, branch) for branch in network.branches}
    heap: list[tuple[float, int, str, list[_Step]]] = [(0.0, 0, start, [])]
    done, count = set(avoid), 0
    while heap:
        ohm, _, node, steps = heapq.heappop(heap)
        if node == end:
            return ohm, steps
        if node in done and node != start:
            continue
        done.add(node)
        for branch, far in near[node]:
            if far not in done or far == end:
                count += 1
                heapq.heappush(heap, (ohm + counts[branch.name], count, far, [*steps, (branch, far)]))
    return None


def _count_ohm(network: Network, branch: Branch) -> float:
    """What a branch counts for on a way: its ohms, more where current is not meant to go that way."""
    owner, _, inside = branch.name.partition(".")
    part = network.circuit.parts.get(owner)
    if part is None or inside.endswith(".contact"):
        return branch.ohm
    if part.kind == "diode":
        return 0.1
    symbol = symbol_of(part.kind, inside, getattr(part, "style", ""))
    at_rest = any(branch.name in device.rest for device in network.relays)
    at_rest = at_rest or (branch.keys is not None and network.circuit.works.key not in branch.keys)
    return branch.ohm + symbol.heavy * ROUND_ABOUT_OHM + at_rest * AT_REST_OHM


def _rows(network: Network, run: Sequence[_Step], gauge: GaugeUnit) -> list[Row]:
    """Points that a probe can touch with all plugged in, and between them one row a stretch or part."""
    start = f"{network.circuit.battery}.pos"
    rows = [Row(network.point_at[start].say, start)]
    passed: list[Branch] = []
    for branch, node in run:
        passed.append(branch)
        if node not in network.point_at or node.endswith(".blade"):
            continue
        point = network.point_at[node]
        rows += _between(network, passed, gauge)
        rows.append(Row(point.say, node))
        passed = []
    return rows


def _between(network: Network, passed: Sequence[Branch], gauge: GaugeUnit) -> list[Row]:
    """What was passed, wires apart from what is inside of parts."""
    wires = {wire.name: wire for wire in network.circuit.wires}
    rows: list[Row] = []
    own = [b for b in passed if b.name.partition(".")[0] in network.circuit.parts and not b.name.endswith(".contact")]
    wired = next((wires[b.name] for b in passed if b.name in wires), None)
    names = {branch.name for branch in passed}
    faults = tuple(fault.name for fault in network.faults if _touches(network, fault, names))
    if wired:
        say, detail = f"the {wired.spoken}", f"{say_gauge(wired.gauge, gauge)}, {wired.length:g} m"
    elif own:
        say, detail = _say_inside(network, own[0]), ""
    else:
        ring = passed[0].name.rpartition(".at.")[0].rpartition(".")[0] or passed[0].name.partition(".at.")[0]
        say = f"the ring of the {wires[ring].spoken}" if ring in wires else "a joint"
        detail = ""
    rows.append(Row(say, part=Part(faults), detail=detail))
    return rows


def _say_inside(network: Network, branch: Branch) -> str:
    name, _, inside = branch.name.partition(".")
    part = network.circuit.named_parts[name]
    if isinstance(part, Fuse):
        return f"the {part.spoken}, {part.rating:g} A"
    says = symbol_of(network.circuit.parts[name].kind, inside, getattr(part, "style", "")).says
    return f"{says} of the {part.spoken}" if says else f"the {part.spoken}"


def _touches(network: Network, fault: Fault, names: set[str]) -> bool:
    """Whether a fault is a fault of these branches: in one of them, in its stretch, or in their device."""
    for change in fault.changes:
        if change.what == "connect":
            continue
        stretch = next((s for s in network.stretches if change.target in s.branches), None)
        if change.target in names or (stretch and names & set(stretch.branches)):
            return True
        device = next((d for d in network.devices if d.name == change.target), None)
        if device is None:
            continue
        if isinstance(device, RelayDevice):
            switched = change.what in SWITCHED
            if (switched and names & set(device.make)) or (not switched and device.coil in names):
                return True
        elif device.branch in names:
            return True
    return False


def say_gauge(gauge: Gauge, unit: GaugeUnit) -> str:
    """A wire's size in the unit wanted; the nearest AWG size for a metric wire."""
    if unit == "mm2":
        return f"{gauge.area_m2 * 1e6:.3g} mm²"
    if unit == "AWG":
        number = (
            gauge.awg
            if gauge.awg is not None
            else min(range(-2, 41), key=lambda n: abs(awg_area_m2(n) - gauge.area_m2))
        )
        return f"{1 - number}/0 AWG" if number < 1 else f"{number} AWG"
    return gauge.text
