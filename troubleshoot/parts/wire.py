"""A length of wire between two terminals: its resistance from gauge and length.

The wire's faults (open, resistive, shorted) are made by the circuit, which knows what it passes.
"""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field

from troubleshoot.parts.copper import COPPER_OHM_M, at_temperature
from troubleshoot.units import Celsius, Gauge, PositiveMetres, PositiveOhmsMeasure, Share

FLEXIBLE_OHM_PER_M = {
    0.5e-6: 39.0e-3, 0.75e-6: 26.0e-3, 1.0e-6: 19.5e-3, 1.5e-6: 13.3e-3,
    2.5e-6: 7.98e-3, 4.0e-6: 4.95e-3, 6.0e-6: 3.30e-3,
}  # fmt: skip
"""IEC 60228 class 5, plain copper, 20 °C, maximum ohm/m by nominal area in m²."""

STRANDED_FACTOR = 1.13
"""Class 5 over ideal copper, for metric sizes outside the table (the table's own ratio at 1 to 1.5 mm²)."""


def ohm_per_m(gauge: Gauge) -> float:
    """AWG: solid copper of the ASTM B258 diameter. Metric: IEC 60228 class 5, else ideal × 1.13."""
    if gauge.awg is not None:
        return COPPER_OHM_M / gauge.area_m2
    for area_m2, per_m in FLEXIBLE_OHM_PER_M.items():
        if abs(gauge.area_m2 / area_m2 - 1) < 1e-6:
            return per_m
    return STRANDED_FACTOR * COPPER_OHM_M / gauge.area_m2


def wire_ohm(gauge: Gauge, length_m: float, celsius: float = 20.0) -> float:
    """Ohms of a wire: R20·[1 + 0.00393·(T - 20)]."""
    return at_temperature(ohm_per_m(gauge) * length_m, celsius)


TOLERANCE = 0.1
"""Of a wire's ohms where its size and length are known: length as laid, stranding (invented)."""

WIRE_WORDS = ("wire", "cable", "lead", "strap")
"""A wire whose name ends in one of these is not called a wire once more."""


class Wire(BaseModel):
    """Runs `from` one terminal `to` another, both written `part.terminal`."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: str = Field(default="", description="What it is for, one word.")
    start: str = Field(alias="from", description="part.terminal")
    end: str = Field(alias="to", description="part.terminal")
    gauge: Gauge
    length: PositiveMetres
    colour: str = Field(default="", description="As one sees it, the stripe behind a stroke.")
    joint: PositiveOhmsMeasure | None = Field(
        default=None, description="Each ring or clamp of this wire on a stud; else the circuit's `joint`."
    )
    temperature: Celsius = Field(default=20.0, description="Along its route; near the exhaust it is warmer.")
    tolerance: Share = Field(
        default=TOLERANCE, description="Within which its ohms lie in 95 of 100 cars; more where it was not measured."
    )

    def far(self, end: str) -> str:
        """The terminal at the other end."""
        return self.end if self.start == end else self.start

    @property
    def ohm(self) -> float:
        """Ohms of the conductor at its route's temperature."""
        return wire_ohm(self.gauge, self.length, self.temperature)

    @property
    def spoken(self) -> str:
        """Its name in a sentence: the colour first, since that is what one sees."""
        plain = self.name.replace("_", " ")
        if self.colour:
            return f"{self.colour} wire ({plain})"
        return plain if plain.lower().endswith(WIRE_WORDS) else f"{plain} wire"
