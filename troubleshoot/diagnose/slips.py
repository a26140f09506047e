"""The ways in which one reading may be wrong, each as another reading that was made instead (decision 5)."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from troubleshoot.circuit.checks import Check, Setup
from troubleshoot.expect.table import Prediction, Table

FLAT_V = 17.0
FLAT_LN_OHM = 18.0
"""Width of "could be anything": -1 to 16 V, and the ohms scale from 0 to over the limit."""


@dataclass(frozen=True)
class Slip:
    """One way to be wrong, with the prediction of what would be read then."""

    name: str
    prediction: Prediction


def flat_density(check: Check) -> float:
    """Density of a reading that could be anything."""
    return 1 / (FLAT_LN_OHM if check.is_ohms else FLAT_V)


def slips(table: Table, check: Check) -> list[Slip]:
    """The named slips that fit this reading. What looks the same as the right reading does no harm."""
    if check.is_ohms:
        return []
    right = table.predict(check)
    found = [
        Slip("leads swapped", replace(right, mean=-right.mean, slope=-right.slope)),
        Slip("black lead on nothing", _nothing(right)),
        Slip("meter a thousand times off", _scaled(right, 1e3)),
        Slip("meter a thousand times off", _scaled(right, 1e-3)),
    ]
    found += [
        Slip("other key state", table.predict(replace(check, setup=Setup(key, check.setup.removed))))
        for key in ("off", "on")
        if key != check.setup.key and Setup(key, check.setup.removed) in table.setups
    ]
    if check.setup.key in ("off", "on") and "_m" not in check.function:
        toggled = [frozenset[str]()] if check.setup.removed else [s.removed for s in table.setups]
        found += [
            Slip("other plug state", table.predict(replace(check, setup=Setup(check.setup.key, removed))))
            for removed in toggled
            if removed != check.setup.removed
            and len(removed) < 2
            and Setup(check.setup.key, removed) in table.setups
        ]
    found += [
        Slip("neighbouring terminal", table.predict(replace(check, red=n))) for n in _next_to(table, check)
    ]
    return found


def _scaled(right: Prediction, factor: float) -> Prediction:
    return replace(right, mean=right.mean * factor, slope=right.slope * factor, noise=right.noise * factor)


def _nothing(right: Prediction) -> Prediction:
    return replace(
        right,
        mean=np.zeros_like(right.mean),
        slope=np.zeros_like(right.slope),
        noise=np.full_like(right.noise, 0.15),
    )


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
