"""Parts that turn the engine or are turned by it: starter and alternator."""

from __future__ import annotations

from typing import Literal

from troubleshoot.parts.branch import Anatomy, Branch, Terminal
from troubleshoot.parts.part import Part, sigma
from troubleshoot.units import PositiveOhmsMeasure, PositiveVoltsMeasure


class Starter(Part):
    """A heavy load to the engine block while cranking; its solenoid hangs on terminal `50`."""

    kind: Literal["starter"]
    case: str
    resistance: PositiveOhmsMeasure
    solenoid_resistance: PositiveOhmsMeasure

    def anatomy(self) -> Anatomy:
        case = f"{self.case}.metal"
        return Anatomy(
            terminals=(
                Terminal("30", "stud", f"{self.spoken} main stud"),
                Terminal("50", "stud", f"{self.spoken} terminal 50"),
            ),
            branches=(
                Branch(
                    f"{self.name}.motor", f"{self.name}.30", case, self.resistance.value,
                    sigma(self.resistance), keys=frozenset({"cranking"}),
                ),
                Branch(
                    f"{self.name}.solenoid", f"{self.name}.50", case, self.solenoid_resistance.value,
                    sigma(self.solenoid_resistance),
                ),
            ),
        )  # fmt: skip


class Alternator(Part):
    """Holds the system at its regulated voltage while the engine runs; absent otherwise."""

    kind: Literal["alternator"]
    case: str
    voltage: PositiveVoltsMeasure
    resistance: PositiveOhmsMeasure

    def anatomy(self) -> Anatomy:
        return Anatomy(
            terminals=(Terminal("B+", "stud", f"{self.spoken} output stud"),),
            branches=(
                Branch(
                    f"{self.name}.output", f"{self.name}.B+", f"{self.case}.metal",
                    self.resistance.value, sigma(self.resistance),
                    emf_v=self.voltage.value, emf_sigma_v=self.voltage.half_band / 2,
                    keys=frozenset({"running"}),
                ),
            ),
        )  # fmt: skip
