"""Any other load: a module, gauge, radio or lamp taken as a plain resistance.

Such loads matter because an open wire is really seen through them. Their own faults are not looked for.
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from troubleshoot.parts.branch import Anatomy, Branch, Terminal
from troubleshoot.parts.part import Part, sigma
from troubleshoot.units import PositiveOhmsMeasure


class Load(Part):
    """Between `in` and either its own `out` terminal or, with `case`, the metal it is bolted to."""

    kind: Literal["load"]
    resistance: PositiveOhmsMeasure
    case: str = Field(default="", description="The metal part that it is bolted to, if it has no ground wire.")

    def anatomy(self) -> Anatomy:
        here = self.name
        terminals = [Terminal("in", "stud", f"feed of the {self.spoken}")]
        if not self.case:
            terminals.append(Terminal("out", "stud", f"ground side of the {self.spoken}"))
        other = f"{self.case}.metal" if self.case else f"{here}.out"
        return Anatomy(
            terminals=tuple(terminals),
            branches=(
                Branch(f"{here}.load", f"{here}.in", other, self.resistance.value, sigma(self.resistance),
                       needs=frozenset({here})),
            ),
        )  # fmt: skip
