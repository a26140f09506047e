"""A bench supply with a current limit: it folds back, and so may never blow a fuse."""

from __future__ import annotations

from typing import Literal

from troubleshoot.parts.branch import Anatomy, BendDevice, Branch, Terminal
from troubleshoot.parts.part import Part, sigma
from troubleshoot.units import PositiveAmperes, PositiveOhmsMeasure, PositiveVoltsMeasure

FOLDED_OHM = 200.0
"""Slope of the limited line: nearly constant current (invented)."""


class Supply(Part):
    """Between posts `pos` and `neg`, in place of a battery: `voltage` up to `limit`, then nearly that current."""

    kind: Literal["supply"]
    voltage: PositiveVoltsMeasure
    limit: PositiveAmperes
    internal_resistance: PositiveOhmsMeasure

    def anatomy(self) -> Anatomy:
        name, inner = f"{self.name}.output", self.internal_resistance
        knee_v = self.limit * inner.value
        # seen from neg to pos, the volts above the source rise through the knee as the current reaches the limit
        output = Branch(name, f"{self.name}.neg", f"{self.name}.pos", inner.value, sigma(inner),
                        emf_v=-self.voltage.value, emf_sigma_v=self.voltage.half_band / 2)  # fmt: skip
        folded = BendDevice(self.name, "limit", name, FOLDED_OHM, knee_v - self.limit * FOLDED_OHM, knee_v,
                            knee_v, two_way=False)  # fmt: skip
        return Anatomy(
            terminals=(
                Terminal("pos", "stud", f"{self.spoken} positive post"),
                Terminal("neg", "stud", f"{self.spoken} negative post"),
            ),
            branches=(output,),
            devices=(folded,),
        )
