"""The ways in which one reading may be wrong, each as another reading that was made instead (decision 5)."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from troubleshoot.circuit.checks import Check, Function
from troubleshoot.diagnose.evidence import OVER_LIMIT_LN, OVER_LIMIT_SIGMA
from troubleshoot.expect.prediction import Prediction
from troubleshoot.expect.table import Table
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


PRIME_MISSED = "prime window missed"


@dataclass(frozen=True)
class Slip:
    """One way to be wrong: `factor` × what another reading would show and `plus`, or `noise` about nothing at all, on
    the reading's own scale."""

    name: str
    prediction: Prediction
    factor: float = 1.0
    noise: float = 0.0
    plus: float = 0.0

    def shown(self) -> tuple[Floats, Floats, Floats]:
        """Mean (cells,), slope (cells, unknowns) and noise (cells,) of what would be read."""
        own = self.prediction
        noise = np.hypot(self.factor * own.noise, self.noise)
        return self.factor * own.mean + self.plus, self.factor * own.slope, noise


def flat_density(check: Check) -> float:
    """Density of a reading that could be anything."""
    return 1 / (FLAT_LN_OHM if check.is_ohms else FLAT_V)


def slips(table: Table, check: Check, cells: Ints) -> list[Slip]:
    """The named slips that fit this reading, as some cells expect them. What looks the same as the right reading does
    no harm. Those that stay over several readings are in `left_wrong.py`."""
    if check.wire:
        return []
    right = table.predict_in(check, cells)
    found = _ohms_slips(right) if check.is_ohms else _volts_slips(table, check, right)
    found += [
        Slip(name, table.predict_in(other, cells)) for name, other in (*_other_keys(table, check),
                                                                       *_other_plugs(table, check))
    ]  # fmt: skip
    return found + [Slip("neighbouring terminal", table.predict_in(replace(check, red=n), cells))
                    for n in _next_to(table, check)]  # fmt: skip


def _volts_slips(table: Table, check: Check, right: Prediction) -> list[Slip]:
    """Those that come from the right reading itself, in volts."""
    found = [
        Slip("leads swapped", right, -1.0),
        Slip("black lead on nothing", right, 0.0, GHOST_V),
        Slip("meter a thousand times off", right, 1e3),
        Slip("meter a thousand times off", right, 1e-3),
    ]
    if check.setup.key == "off" and not check.setup.operated and _is_motor(table, check):
        found.append(Slip("motor still spinning", right, 1.0, SPINS_V))
    return found


def _ohms_slips(right: Prediction) -> list[Slip]:
    """The same in ohms: on the logarithmic scale a thousand times is a shift."""
    ln_thousand = float(np.log(1e3))
    return [
        Slip("black lead on nothing", right, 0.0, OVER_LIMIT_SIGMA, OVER_LIMIT_LN),
        Slip("meter a thousand times off", right, 1.0, 0.0, ln_thousand),
        Slip("meter a thousand times off", right, 1.0, 0.0, -ln_thousand),
    ]


def _other_keys(table: Table, check: Check) -> list[tuple[str, Check]]:
    """The same points read in another key state; with a prime, after it."""
    if check.is_ohms:
        return []
    plain: Function = "volts" if check.is_held else check.function
    others = [key for key in ("off", "accessory", "on") if key != check.setup.key]
    found = [replace(check, function=plain, setup=replace(check.setup, key=key)) for key in others]
    return [
        (PRIME_MISSED if (check.setup.key, other.setup.key) == ("prime", "on") else "other key state", other)
        for other in found
        if other.setup in table.setups
    ]


def _other_plugs(table: Table, check: Check) -> list[tuple[str, Check]]:
    """The same points read with a plug mated that should have been off, or off that should have been mated."""
    if check.is_ohms or check.is_held or check.setup.key not in ("off", "accessory", "on"):
        return []
    toggled = [frozenset[str]()] if check.setup.removed else [s.removed for s in table.setups]
    setups = [
        replace(check.setup, removed=removed)
        for removed in dict.fromkeys(toggled)
        if removed != check.setup.removed and len(removed) < 2
    ]
    setups = [setup for setup in setups if setup in table.setups]
    if len(setups) > MOST_PLUGS:
        setups = [setup for setup in setups if setup.removed <= _parts_about(table, check)]
    return [("other plug state", replace(check, setup=setup)) for setup in setups]


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
    """Other terminals of the part that red should have been on, on the same side of its plug."""
    part, is_blade = table.network.point_at[check.red].part, check.red.endswith(".blade")
    if ".at." in check.red:
        return []
    return [
        p.node
        for p in table.network.points
        if p.part == part and p.node not in (check.red, check.black)
        and p.node.endswith(".blade") == is_blade and ".at." not in p.node
    ]  # fmt: skip
