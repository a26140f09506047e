"""What an electric motor brings into a circuit: shared by pump and fan. No part kind of its own."""

from __future__ import annotations

from pydantic import Field

from troubleshoot.parts.branch import Anatomy, BendDevice, Branch, Change, Fault, Severity, Works
from troubleshoot.parts.diode import SHORT_OHM, diode_device
from troubleshoot.parts.part import Part, sigma, two_pins
from troubleshoot.units import PositiveOhmsMeasure, PositiveVoltsMeasure, UnsignedVolts

RUNS_DOWN_V = 0.01
"""Volts above its back-EMF that a motor needs to keep turning; less is the leakage of an open feed."""


class Motor(Part):
    """I = (V - back_emf)/resistance while it turns, V/winding_resistance while it stands; the same backwards.

    `back_emf` and `resistance` are the straight line through the working range of a loaded motor, not its
    winding's ohms: with them 12 V gives the working current and falling volts give a falling current
    (trade-facts section 8: the current does not rise as the supply falls).
    """

    back_emf: UnsignedVolts
    resistance: PositiveOhmsMeasure
    winding_resistance: PositiveOhmsMeasure
    start_voltage: PositiveVoltsMeasure
    plug_contact: PositiveOhmsMeasure
    diode: bool = Field(default=False, description="A diode across it against its kick, banded end at plus.")

    def _works(self, branch: str) -> Works:
        raise NotImplementedError

    def anatomy(self) -> Anatomy:
        here, motor = self.name, f"{self.name}.motor"
        plus, minus = f"{here}.plus", f"{here}.minus"
        return Anatomy(
            terminals=two_pins(f"{self.spoken} plug", self.plug_contact),
            branches=(
                Branch(motor, plus, minus, self.winding_resistance.value, sigma(self.winding_resistance)),
                *self._clamp()[0],
            ),
            devices=(
                BendDevice(
                    here, "motor", motor, self.resistance.value, self.back_emf, self.start_voltage.value,
                    self.back_emf + RUNS_DOWN_V, sigma(self.start_voltage),
                ),
                *self._clamp()[1],
            ),
            faults=self._faults(motor),
            works=self._works(motor),
        )  # fmt: skip

    def _clamp(self) -> tuple[tuple[Branch, ...], tuple[BendDevice, ...]]:
        """The diode across the motor, where it has one, and that diode failed short."""
        if not self.diode:
            return (), ()
        name, ends = f"{self.name}.diode", (f"{self.name}.minus", f"{self.name}.plus")
        branch, device = diode_device(name, *ends)
        return (branch, Branch(f"{name}-short", *ends, SHORT_OHM, 0.3, fitted=False)), (device,)

    def _faults(self, motor: str) -> tuple[Fault, ...]:
        here, spoken = self.name, f"the {self.spoken}"
        new = f"replace {spoken}; look for the cause (dirt, water, run dry) first"
        faults = [
            Fault(here, "open", f"{spoken} is open inside (brush or winding)", new, "load-open",
                  (Change(motor, "open"),)),
            Fault(here, "seized", f"{spoken} is seized", new, "load-seized", (Change(here, "seized"),)),
            Fault(here, "worn", f"{spoken} is worn: its brushes have resistance", new, "load-worn",
                  (Change(motor, "series"),), Severity("ohm", 1.0, 6.0)),
        ]  # fmt: skip
        if self.diode:
            faults.append(
                Fault(here, "diode-shorted", f"the diode across {spoken} has failed short", new, "load-shorted",
                      (Change(f"{here}.diode-short", "connect", SHORT_OHM),))
            )  # fmt: skip
        return tuple(faults)
