"""A radiator fan, of one speed or of two by a dropping resistor."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from troubleshoot.parts.branch import Anatomy, Branch, Change, Fault, Severity, Terminal, Works
from troubleshoot.parts.motor import Motor
from troubleshoot.parts.part import sigma
from troubleshoot.units import PositiveOhmsMeasure


class Fan(Motor):
    """A motor that one sees; with `low_resistance` a third pin `low` feeds it through that resistor."""

    kind: Literal["fan"]
    low_resistance: PositiveOhmsMeasure | None = Field(default=None, description="In line at low speed.")

    def _works(self, branch: str) -> Works:
        return Works(
            f"Look, hands away: does the {self.spoken} turn?", ("turns", "slowly", "no"), branch,
            f"With a strip of paper, hands away: does the {self.spoken} move the air the right way?",
        )  # fmt: skip

    def anatomy(self) -> Anatomy:
        anatomy = super().anatomy()
        if self.low_resistance is None:
            return anatomy
        name = f"{self.name}.dropper"
        plug = (self.plug_contact.value, sigma(self.plug_contact))
        low = Terminal("low", "socket", f"low-speed pin of the {self.spoken} plug", *plug)
        dropper = Branch(
            name, f"{self.name}.low", f"{self.name}.plus", self.low_resistance.value, sigma(self.low_resistance)
        )
        burnt = Fault(
            self.name, "dropper-open", f"the low-speed resistor of the {self.spoken} is burnt out or has risen",
            f"replace the resistor of the {self.spoken}; look whether its cooling air is blocked", "load-worn",
            (Change(name, "series"),), Severity("ohm", 0.1, 1e5, 0.7),
        )  # fmt: skip
        return Anatomy(
            (*anatomy.terminals, low), (*anatomy.branches, dropper), anatomy.devices, (*anatomy.faults, burnt),
            anatomy.works,
        )  # fmt: skip
