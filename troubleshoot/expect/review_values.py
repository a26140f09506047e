"""Findings about what is hardly known, and about points that hang on nothing."""

from __future__ import annotations

from collections.abc import Iterator

from troubleshoot.circuit.checks import own_points, reading
from troubleshoot.expect.finding import GUESSED, RECKONED, Finding, at_part, at_wire, listed
from troubleshoot.expect.healthy import Healthy
from troubleshoot.expect.sides import owner
from troubleshoot.parts import Metal, Wire
from troubleshoot.solve import meter
from troubleshoot.units import Measure

WIDE = 0.75
"""Half band over value from which a value is hardly known (invented)."""

VAGUE_V = 0.5
"""Half band of the load's volts from which what is expected is called vague (invented)."""


def review_values(healthy: Healthy, known: set[str]) -> Iterator[Finding]:
    """All findings of this kind; `known`: codes of findings that are told already."""
    yield from _reached(healthy, known)
    yield from _wide(healthy)


def _reached(healthy: Healthy, known: set[str]) -> Iterator[Finding]:
    """Points that hang on nothing in every key state: a meter shows nothing of use there."""
    circuit, table = healthy.circuit, healthy.table
    neg = table.bench.node_at[f"{circuit.battery}.neg"]
    coils = {f"{name}.{end}" for name in circuit.relays for end in ("85", "86")} if known else set()
    loose = []
    for point in own_points(healthy.network):
        node = table.bench.node_at[point.node]
        if node == neg or ".at." in point.node or point.node in coils:
            continue
        ohms = (float(table.solved(s).between(node, neg)[0, node]) for s in healthy.setups)
        if all(ohm > meter.FLOATING_OHM for ohm in ohms):
            loose.append(point)
    metals = [point for point in loose if isinstance(circuit.parts[point.part], Metal)]
    for point in metals:
        yield Finding(
            "metal-not-grounded", "fault", *at_part(circuit, point.part), f"{point.say} is joined to nothing",
            "what is grounded there has no way back to the battery", "write down the strap or cable that joins it to "
            "battery negative, or fit one", RECKONED,
        )  # fmt: skip
    if others := [point for point in loose if point not in metals]:
        more = [f"{len(others) - 3} more"] if len(others) > 3 else []
        told = listed([point.say for point in others[:3]] + more)
        yield Finding(
            "hangs-on-nothing", "doubt", *at_part(circuit, others[0].part),
            f"joined to nothing in any key state: {told}", "neither fed nor grounded: a reading there proves nothing",
            "follow the wire there to its far end and write down where that goes", RECKONED,
        )  # fmt: skip


def _wide(healthy: Healthy) -> Iterator[Finding]:
    """What is hardly known, and how vague it makes what is expected; nothing is said where no load works anyway."""
    circuit, network = healthy.circuit, healthy.network
    hardly: dict[str, str] = {w.name: f"size and length of the {w.spoken}" for w in circuit.wires if _is_guessed(w)}
    for name, part in circuit.named_parts.items():
        wide = [field for field, value in part if isinstance(value, Measure) and value.value and value.relative >= WIDE]
        if wide:
            hardly[name] = f"{wide[0].replace('_', ' ')} of the {part.spoken}"
    nodes = [f"{load}.plus" for load in circuit.loads if healthy.runs(load, healthy.working)]
    nodes = [node for node in nodes if node in network.point_at]
    if not hardly or not nodes:
        return
    matters = dict.fromkeys(hardly, 0.0)
    band = 0.0
    for node in nodes:
        check = reading(network, node, f"{circuit.battery}.neg", "volts", healthy.working)
        predicted = healthy.table.predict(check)
        band = max(band, 2 * float(predicted.sigma[0]))
        for branch, slope in zip(network.branches, predicted.slope[0], strict=False):
            name = branch.name if branch.name in hardly else owner(branch)
            if name in matters:
                matters[name] = max(matters[name], abs(float(slope)))
    first = sorted(hardly, key=lambda name: -matters[name])[:3]
    wire = next((wire for wire in circuit.wires if wire.name == first[0]), None)
    path = (at_wire(circuit, wire) if wire else at_part(circuit, first[0]))[0]
    is_vague = band > VAGUE_V
    yield Finding(
        "wide-values", "doubt" if is_vague else "note", path,
        "values that are hardly known", f"{len(hardly)} parts and wires have some; these matter most: "
        f"{listed([f'the {hardly[name]}' for name in first])}", "the volts expected at the load are known to "
        f"± {band:.1f} V{' only' if is_vague else ', which will do'}", "measure or look up "
        "what matters most, and write it into the file", RECKONED,
    )  # fmt: skip


def _is_guessed(wire: Wire) -> bool:
    """Whether nobody measured its size or length."""
    return wire.tolerance >= GUESSED
