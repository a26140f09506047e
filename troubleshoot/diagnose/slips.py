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


@dataclass(frozen=True)
class Slip:
    """One way to be wrong: `factor` × what another reading would show, or `noise_v` about nothing at all."""

    name: str
    prediction: Prediction
    factor: float = 1.0
    noise_v: float = 0.0

    def of(self, cells: Ints) -> tuple[Floats, Floats, Floats]:
        """Mean (cells,), slope (cells, unknowns) and noise (cells,) of what would be read."""
        own = self.prediction
        noise = np.hypot(self.factor * own.noise[cells], self.noise_v)
        return self.factor * own.mean[cells], self.factor * own.slope[cells], noise


def flat_density(check: Check) -> float:
    """Density of a reading that could be anything."""
    return 1 / (FLAT_LN_OHM if check.is_ohms else FLAT_V)


def slips(table: Table, check: Check) -> list[Slip]:
    """The named slips that fit this reading. What looks the same as the right reading does no harm."""
    if check.is_ohms or check.wire:
        return []
    right = table.predict(check)
    found = [
        Slip("leads swapped", right, -1.0),
        Slip("black lead on nothing", right, 0.0, GHOST_V),
        Slip("meter a thousand times off", right, 1e3),
        Slip("meter a thousand times off", right, 1e-3),
    ]
    found += [
        Slip("other key state", table.predict(replace(check, setup=replace(check.setup, key=key))))
        for key in ("off", "on")
        if key != check.setup.key and replace(check.setup, key=key) in table.setups
    ]
    if check.setup.key in ("off", "on") and not check.is_held:
        toggled = [frozenset[str]()] if check.setup.removed else [s.removed for s in table.setups]
        found += [
            Slip("other plug state", table.predict(replace(check, setup=replace(check.setup, removed=removed))))
            for removed in dict.fromkeys(toggled)
            if removed != check.setup.removed
            and len(removed) < 2
            and replace(check.setup, removed=removed) in table.setups
        ]
    if check.setup.key == "off" and not check.setup.operated and _is_motor(table, check):
        found.append(Slip("motor still spinning", right, 1.0, SPINS_V))
    found += [Slip("neighbouring terminal", table.predict(replace(check, red=n))) for n in _next_to(table, check)]
    return found


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
