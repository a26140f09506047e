"""Parts that turn the engine or are turned by it: starter and alternator."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from troubleshoot.parts.branch import Anatomy, Branch, RelayDevice, Terminal
from troubleshoot.parts.part import Part, sigma
from troubleshoot.units import PositiveOhmsMeasure, PositiveVoltsMeasure

SOLENOID_PULLS_A = 5.0
SOLENOID_HOLDS_A = 1.5
SOLENOID_SPREAD = 0.15
"""Current at which a starter's solenoid pulls in and lets go, order of size (invented)."""

BUTTON_OHM = 0.02


class Starter(Part):
    """A heavy load to the engine block while its solenoid on terminal `50` has pulled in; a remote starter button,
    where one is used, joins 50 to the main stud."""

    kind: Literal["starter"]
    case: str = Field(description="The metal part that it is bolted to.")
    resistance: PositiveOhmsMeasure
    solenoid_resistance: PositiveOhmsMeasure

    def anatomy(self) -> Anatomy:
        here, case = self.name, f"{self.case}.metal"
        return Anatomy(
            terminals=(
                Terminal("30", "stud", f"{self.spoken} main stud"),
                Terminal("50", "stud", f"{self.spoken} terminal 50"),
            ),
            branches=(
                Branch(f"{here}.motor", f"{here}.30", case, self.resistance.value, sigma(self.resistance)),
                Branch(f"{here}.solenoid", f"{here}.50", case, self.solenoid_resistance.value,
                       sigma(self.solenoid_resistance)),
                Branch(f"{here}.button", f"{here}.30", f"{here}.50", BUTTON_OHM, 0.3, keys=frozenset({"remote"})),
            ),
            devices=(
                RelayDevice(here, f"{here}.solenoid", (f"{here}.motor",), (), SOLENOID_PULLS_A, SOLENOID_HOLDS_A,
                            SOLENOID_SPREAD, leads=True),
            ),
        )  # fmt: skip


class Alternator(Part):
    """Holds the system at its regulated voltage while the engine runs; absent otherwise."""

    kind: Literal["alternator"]
    case: str = Field(description="The metal part that it is bolted to.")
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
