"""A fuse in a holder. It blows in the model, and stays blown."""

from __future__ import annotations

from typing import Literal

from troubleshoot.parts.branch import Anatomy, Branch, Change, Fault, FuseDevice, Terminal
from troubleshoot.parts.part import Part, sigma
from troubleshoot.units import PositiveAmperes, PositiveOhmsMeasure

BLOW_FACTOR = 1.6
"""Settled current over rating at which we say it blows. ISO 8820-3 type C: 135 % opens in 0.75 to 600 s
(from memory), 160 % in 0.25 to 50 s (second-hand); the settled model has no clock, so the line is drawn
at the factor that surely blows within a minute, with a spread that reaches down to 135 %."""

BLOW_SPREAD = 0.08


class Fuse(Part):
    """Terminals `in` and `out`; the blade fuse's test tabs can be touched with it fitted."""

    kind: Literal["fuse"]
    rating: PositiveAmperes
    resistance: PositiveOhmsMeasure
    holder_contact: PositiveOhmsMeasure

    def anatomy(self) -> Anatomy:
        contact = (self.holder_contact.value, sigma(self.holder_contact))
        element = f"{self.name}.element"
        return Anatomy(
            terminals=(
                Terminal("in", "tab", f"feed side of the {self.spoken}", *contact),
                Terminal("out", "tab", f"load side of the {self.spoken}", *contact),
            ),
            branches=(
                Branch(
                    element, f"{self.name}.in", f"{self.name}.out", self.resistance.value,
                    sigma(self.resistance),
                ),
            ),
            devices=(FuseDevice(self.name, element, BLOW_FACTOR * self.rating, BLOW_SPREAD),),
            faults=(
                Fault(
                    self.name, "blown", f"the {self.spoken} is blown, with no short left to see",
                    f"look for a chafed wire first, then fit one new {self.rating:g} A fuse, "
                    "never a larger one",
                    "fuse-blown", (Change(self.name, "blown"),),
                ),
            ),
        )  # fmt: skip
