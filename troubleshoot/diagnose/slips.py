"""The ways in which one reading may be wrong, each as another reading that was made instead (decision 5)."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from troubleshoot.circuit.checks import Check
from troubleshoot.expect.table import Prediction, Table
from troubleshoot.parts import Motor
from troubleshoot.solve.linear import Floats, Ints

GHOST_V = 0.15
"""What a meter shows about zero with one lead in the air (trade-facts section 7: "ghost" reading; size invented)."""

SPINS_V = 2.0
"""Volts that a motor which runs down still makes, order of size (invented)."""

FLAT_V = 17.0
FLAT_LN_OHM = 18.0
"""Width of "could be anything": -1 to 16 V, and the ohms scale from 0 to over the limit."""

MOST_PLUGS = 8
"""Where more plugs than these may have been forgotten, only those next to the red lead are thought of."""


@dataclass(frozen=True)
class Slip:
    """One way to be wrong: `factor` × what another reading would show, or `noise_v` about nothing at all."""

    name: str
    prediction: Prediction
    factor: float = 1.0
    noise_v: float = 0.0

    def shown(self) -> tuple[Floats, Floats, Floats]:
        """Mean (cells,), slope (cells, unknowns) and noise (cells,) of what would be read."""
        own = self.prediction
        return self.factor * own.mean, self.factor * own.slope, np.hypot(self.factor * own.noise, self.noise_v)


def flat_density(check: Check) -> float:
    """Density of a reading that could be anything."""
    return 1 / (FLAT_LN_OHM if check.is_ohms else FLAT_V)


def slips(table: Table, check: Check, cells: Ints) -> list[Slip]:
    """The named slips that fit this reading, as some cells expect them. What looks the same as the right reading does
    no harm."""
    if check.is_ohms or check.wire:
        return []
    right = table.predict_in(check, cells)
    found = [
        Slip("leads swapped", right, -1.0),
        Slip("black lead on nothing", right, 0.0, GHOST_V),
        Slip("meter a thousand times off", right, 1e3),
        Slip("meter a thousand times off", right, 1e-3),
    ]
    found += [
        Slip("other key state", table.predict_in(replace(check, setup=replace(check.setup, key=key)), cells))
        for key in ("off", "on")
        if key != check.setup.key and replace(check.setup, key=key) in table.setups
    ]
    if check.setup.key in ("off", "on") and not check.is_held:
        toggled = [frozenset[str]()] if check.setup.removed else [s.removed for s in table.setups]
        others = [
            replace(check.setup, removed=removed)
            for removed in dict.fromkeys(toggled)
            if removed != check.setup.removed and len(removed) < 2
        ]
        others = [setup for setup in others if setup in table.setups]
        if len(others) > MOST_PLUGS:
            others = [setup for setup in others if setup.removed <= _parts_about(table, check)]
        found += [Slip("other plug state", table.predict_in(replace(check, setup=setup), cells)) for setup in others]
    if check.setup.key == "off" and not check.setup.operated and _is_motor(table, check):
        found.append(Slip("motor still spinning", right, 1.0, SPINS_V))
    near = _next_to(table, check)
    return found + [Slip("neighbouring terminal", table.predict_in(replace(check, red=n), cells)) for n in near]


def _parts_about(table: Table, check: Check) -> set[str]:
    """The part that red is on, and those that its wires go to."""
    part = table.network.point_at[check.red].part
    ends = [{end.partition(".")[0] for end in (w.start, w.end)} for w in table.network.circuit.wires]
    return {part}.union(*(pair for pair in ends if part in pair))


def _is_motor(table: Table, check: Check) -> bool:
    """Whether red or black is on a load that makes volts while it runs down."""
    parts = table.network.circuit.parts
    return any(isinstance(parts[table.network.point_at[node].part], Motor) for node in (check.red, check.black))


def _next_to(table: Table, check: Check) -> list[str]:
    """Other terminals of the part that red should have been on."""
    part = table.network.point_at[check.red].part
    if check.red.endswith(".blade") or ".at." in check.red:
        return []
    return [
        p.node
        for p in table.network.points
        if p.part == part and p.node not in (check.red, check.black) and "." not in p.node.partition(".")[2]
    ]
