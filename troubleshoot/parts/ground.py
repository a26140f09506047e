"""Where grounds go: big pieces of metal, and the bolts that join wires to them."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from troubleshoot.parts.branch import Anatomy, Branch, Change, Fault, Severity, Terminal
from troubleshoot.parts.part import Part, sigma
from troubleshoot.units import PositiveOhmsMeasure


class Metal(Part):
    """Engine block, frame or body: one node, `metal`, with no resistance of its own."""

    kind: Literal["metal"]

    def anatomy(self) -> Anatomy:
        return Anatomy(terminals=(Terminal("metal", "stud", f"bare metal of the {self.spoken}"),))


class GroundBolt(Part):
    """A bolt that carries one or more rings: `stud` against the metal `to`, with the joint between."""

    kind: Literal["ground_bolt"]
    to: str = Field(description="The metal part that the bolt is in.")
    joint: PositiveOhmsMeasure

    def anatomy(self) -> Anatomy:
        joint = f"{self.name}.joint"
        return Anatomy(
            terminals=(Terminal("stud", "stud", f"{self.spoken}"),),
            branches=(
                Branch(joint, f"{self.name}.stud", f"{self.to}.metal", self.joint.value, sigma(self.joint)),
            ),
            faults=(
                Fault(
                    self.name, "bad-joint",
                    f"the {self.spoken} makes poor or no contact with the {self.to.replace('_', ' ')}",
                    f"take the {self.spoken} off: paint under a ring, a ring too large for the bolt, rings stacked "
                    "askew, corrosion up the wire; clean to bare metal, tighten, protect", "ground-joint",
                    (Change(joint, "series"),), Severity("ohm", 0.03, 1e5, 0.35),
                ),
                Fault(
                    self.name, "painted", f"the {self.spoken} was put on a painted or isolated part",
                    f"move the {self.spoken} to a clean thread in the {self.to.replace('_', ' ')}", "painted-ground",
                    (Change(joint, "open"),),
                ),
            ),
        )  # fmt: skip
