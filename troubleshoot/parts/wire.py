"""A length of wire between two terminals: its resistance from gauge and length.

The wire's faults (open, resistive, shorted) are made by the circuit, which knows what it passes.
"""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field

from troubleshoot.units import Gauge, PositiveMetres, PositiveOhmsMeasure

COPPER_OHM_M = 1 / 58e6
"""Annealed copper at 20 °C, ohm·m (IEC 60028 / IACS)."""

COPPER_PER_K = 0.00393
"""Relative change of resistance a kelvin at 20 °C (NBS Handbook 100; trade-facts section 3)."""

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
    return ohm_per_m(gauge) * length_m * (1 + COPPER_PER_K * (celsius - 20))


WIRE_WORDS = ("wire", "cable", "lead", "strap")
"""A wire whose name ends in one of these is not called a wire once more."""


class Wire(BaseModel):
    """Runs `from` one terminal `to` another, both written `part.terminal`."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: str = ""
    start: str = Field(alias="from")
    end: str = Field(alias="to")
    gauge: Gauge
    length: PositiveMetres
    colour: str = ""
    joint: PositiveOhmsMeasure | None = Field(
        default=None, description="Each ring or clamp of this wire on a stud; else the circuit's `joint`."
    )

    @property
    def ohm(self) -> float:
        """Ohms of the conductor at 20 °C."""
        return wire_ohm(self.gauge, self.length)

    @property
    def spoken(self) -> str:
        """Its name in a sentence: the colour first, since that is what one sees."""
        plain = self.name.replace("_", " ")
        if self.colour:
            return f"{self.colour} wire ({plain})"
        return plain if plain.lower().endswith(WIRE_WORDS) else f"{plain} wire"
