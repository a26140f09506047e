"""A 12 V lead-acid battery: open-circuit voltage from its charge, and an internal resistance."""

from __future__ import annotations

from typing import Literal

import numpy as np

from troubleshoot.parts.branch import Anatomy, Branch, Change, Fault, Severity, Terminal
from troubleshoot.parts.keys import KEYS
from troubleshoot.parts.part import Part, sigma
from troubleshoot.units import Measure, PositiveOhmsMeasure, ShareMeasure

CHARGE = (0.0, 0.25, 0.50, 0.75, 1.0)
OPEN_CIRCUIT_V = (11.89, 12.06, 12.24, 12.45, 12.65)
"""Rested flooded battery at about 25 °C; the usual BCI-type table (trade-facts section 5)."""

NOT_RUNNING = frozenset(KEYS) - {"running"}


def open_circuit_v(charge: float) -> float:
    """Volts of a rested battery at `charge` 0..1, linear between the table's points."""
    return float(np.interp(charge, CHARGE, OPEN_CIRCUIT_V))


class Battery(Part):
    """Between posts `pos` and `neg`. `neg` is the reference that all volts are told against.

    While the engine runs it is charged, and then takes far less current than its internal resistance
    would let through: `charging_resistance` stands for that.
    """

    kind: Literal["battery"]
    charge: ShareMeasure
    internal_resistance: PositiveOhmsMeasure
    charging_resistance: PositiveOhmsMeasure

    def anatomy(self) -> Anatomy:
        low = open_circuit_v(self.charge.value - self.charge.half_band)
        high = open_circuit_v(min(1.0, self.charge.value + self.charge.half_band))
        posts = (f"{self.name}.pos", f"{self.name}.neg")
        emf_v, emf_sigma_v = open_circuit_v(self.charge.value), (high - low) / 4
        cells, charging = f"{self.name}.cells", f"{self.name}.charging"

        def source(name: str, inner: Measure, keys: frozenset[str]) -> Branch:
            return Branch(name, *posts, inner.value, sigma(inner), emf_v, emf_sigma_v, keys)

        return Anatomy(
            terminals=(
                Terminal("pos", "stud", f"{self.spoken} positive post"),
                Terminal("neg", "stud", f"{self.spoken} negative post"),
            ),
            branches=(
                source(cells, self.internal_resistance, NOT_RUNNING),
                source(charging, self.charging_resistance, frozenset({"running"})),
            ),
            faults=(
                Fault(
                    self.name, "flat", f"the {self.spoken} is discharged",
                    f"charge the {self.spoken}, then find out what discharged it", "battery-flat",
                    (Change(cells, "emf"), Change(charging, "emf"), Change(cells, "scale", 1.5)),
                    Severity("V", 11.0, 12.0),
                ),
                Fault(
                    self.name, "weak", f"the {self.spoken} is worn out: its inner resistance is high",
                    f"load-test and replace the {self.spoken}", "battery-weak",
                    (Change(cells, "scale"),), Severity("times", 3.0, 10.0),
                ),
            ),
        )  # fmt: skip
