"""An electric horn on a two-pin plug: a coil that interrupts itself, on average a resistance."""

from __future__ import annotations

from typing import Literal

from troubleshoot.parts.branch import Anatomy, BendDevice, Branch, Change, Fault, Severity, Works
from troubleshoot.parts.part import Part, sigma, two_pins
from troubleshoot.units import PositiveOhmsMeasure, PositiveVoltsMeasure


class Horn(Part):
    """`resistance` at rest, and on average `sounding_resistance` from `sound_voltage` up (its points open half of
    the time)."""

    kind: Literal["horn"]
    resistance: PositiveOhmsMeasure
    sounding_resistance: PositiveOhmsMeasure
    sound_voltage: PositiveVoltsMeasure
    plug_contact: PositiveOhmsMeasure

    def anatomy(self) -> Anatomy:
        here, coil, horn = self.name, f"{self.name}.coil", f"the {self.spoken}"
        start = self.sound_voltage.value
        new = f"replace {horn}; look for water in it first"
        return Anatomy(
            terminals=two_pins(f"{self.spoken} plug", self.plug_contact),
            branches=(
                Branch(coil, f"{here}.plus", f"{here}.minus", self.resistance.value, sigma(self.resistance)),
            ),
            devices=(
                BendDevice(here, "motor", coil, self.sounding_resistance.value, 0.0, start, 0.7 * start,
                           sigma(self.sound_voltage)),
            ),
            faults=(
                Fault(here, "open", f"{horn} is open inside", new, "load-open", (Change(coil, "open"),)),
                Fault(here, "stuck", f"the points of {horn} are stuck shut: it draws current and is silent", new,
                      "load-seized", (Change(here, "seized"),)),
                Fault(here, "worn", f"the points of {horn} have resistance", new, "load-worn",
                      (Change(coil, "series"),), Severity("ohm", 1.0, 20.0)),
            ),
            works=Works(f"Listen: does the {self.spoken} sound?", ("sounds", "weak", "no"), coil),
        )  # fmt: skip
