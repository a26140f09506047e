"""An electric pump (or any motor of its kind) on a two-pin plug."""

from __future__ import annotations

from typing import Literal

from troubleshoot.parts.branch import Anatomy, Branch, Change, Fault, MotorDevice, Severity, Terminal
from troubleshoot.parts.part import Part, sigma
from troubleshoot.units import PositiveOhmsMeasure, PositiveVoltsMeasure, UnsignedVolts


class Pump(Part):
    """I = (V - back_emf)/resistance while it turns, V/winding_resistance while it stands.

    `back_emf` and `resistance` are the straight line through the working range of a loaded pump, not its
    winding's ohms: with them 12 V gives the working current and falling volts give a falling current
    (trade-facts section 8: the current does not rise as the supply falls).
    """

    kind: Literal["pump"]
    back_emf: UnsignedVolts
    resistance: PositiveOhmsMeasure
    winding_resistance: PositiveOhmsMeasure
    start_voltage: PositiveVoltsMeasure
    plug_contact: PositiveOhmsMeasure

    def anatomy(self) -> Anatomy:
        here, pump = self.name, f"the {self.spoken}"
        plug = (self.plug_contact.value, sigma(self.plug_contact))
        motor = f"{here}.motor"
        new = f"replace {pump}; look for the cause (dirt, water, run dry) first"
        return Anatomy(
            terminals=(
                Terminal("plus", "socket", f"feed pin of the {self.spoken} plug", *plug),
                Terminal("minus", "socket", f"ground pin of the {self.spoken} plug", *plug),
            ),
            branches=(
                Branch(motor, f"{here}.plus", f"{here}.minus", self.winding_resistance.value,
                       sigma(self.winding_resistance)),
            ),
            devices=(
                MotorDevice(here, motor, self.resistance.value, self.back_emf, self.winding_resistance.value,
                            self.start_voltage.value, sigma(self.start_voltage)),
            ),
            faults=(
                Fault(here, "open", f"{pump} is open inside (brush or winding)", new, "pump-open",
                      (Change(motor, "open"),)),
                Fault(here, "seized", f"{pump} is seized", new, "pump-seized", (Change(here, "seized"),)),
                Fault(here, "worn", f"{pump} is worn: its brushes have resistance", new, "pump-worn",
                      (Change(motor, "series"),), Severity("ohm", 1.0, 6.0)),
            ),
        )  # fmt: skip
