"""A silicon diode: leaks one way, and drops about 0.7 V the other."""

from __future__ import annotations

from typing import Literal

from troubleshoot.parts.branch import OPEN_OHM, Anatomy, BendDevice, Branch, Change, Fault, Terminal
from troubleshoot.parts.part import Part, sigma
from troubleshoot.units import PositiveOhmsMeasure

DIODE_V = 0.7
"""Forward drop of a silicon power diode at its working current (textbook value, from memory)."""

DIODE_OHM = 0.03
"""Slope of the forward line (invented)."""

SHORT_OHM = 0.05
"""A diode that has failed short (invented)."""


def diode_device(name: str, anode: str, cathode: str) -> tuple[Branch, BendDevice]:
    """A diode between two nodes: its branch leaks until more than 0.7 V drive it."""
    device = BendDevice(name, "diode", name, DIODE_OHM, DIODE_V, DIODE_V, DIODE_V, two_way=False)
    return Branch(name, anode, cathode, OPEN_OHM, 0.5), device


class Diode(Part):
    """In line, from `anode` to `cathode` (the end with the band)."""

    kind: Literal["diode"]
    contact: PositiveOhmsMeasure

    def anatomy(self) -> Anatomy:
        here, diode = self.name, f"the {self.spoken}"
        contact = (self.contact.value, sigma(self.contact))
        ends = (f"{here}.anode", f"{here}.cathode")
        branch, device = diode_device(f"{here}.junction", *ends)
        short = Branch(f"{here}.short", *ends, SHORT_OHM, 0.3, fitted=False)
        new = f"fit a new diode for {diode}, its band the same way"
        return Anatomy(
            terminals=(
                Terminal("anode", "tab", f"anode side of the {self.spoken}", *contact),
                Terminal("cathode", "tab", f"banded side of the {self.spoken}", *contact),
            ),
            branches=(branch, short),
            devices=(device,),
            faults=(
                Fault(here, "open", f"{diode} is open", new, "diode", (Change(branch.name, "open"),)),
                Fault(here, "shorted", f"{diode} has failed short", new, "diode",
                      (Change(short.name, "connect", SHORT_OHM),)),
            ),
        )  # fmt: skip
