"""A filament lamp: about a twelfth of its hot resistance while cold."""

from __future__ import annotations

from typing import Literal

from troubleshoot.parts.branch import Anatomy, BendDevice, Branch, Change, Fault, Severity, Works
from troubleshoot.parts.part import Part, two_pins
from troubleshoot.units import PositiveOhmsMeasure, PositiveWatts

RATED_V = 13.2
"""Volts at which the watts of a 12 V vehicle lamp are stated (from memory; lamp standards use 13.2 V or 13.5 V)."""

EXPONENT = 0.55
"""A vacuum or gas-filled lamp's current goes about as V^0.55 near its rating (from memory)."""

SPREAD = 0.04
"""Sigma of ln(ohm) from lamp to lamp (invented)."""

COLD = 1 / 12
"""Cold over hot resistance of a 12 V headlamp filament, order of size (from memory)."""


def filament(name: str, a: str, b: str, watts: float, spread: float, joins: str = "") -> tuple[Branch, BendDevice]:
    """A filament as cold line and tangent at its rating; where they cross (about 0.5 V) one takes over."""
    amps = watts / RATED_V
    cold_ohm = COLD * RATED_V / amps
    run_ohm = RATED_V / (EXPONENT * amps)
    emf_v = -RATED_V * (1 - EXPONENT) / EXPONENT
    knee_v = -emf_v * cold_ohm / (run_ohm - cold_ohm)
    branch = Branch(name, a, b, cold_ohm, spread, joins=joins)
    owner = name.rpartition(".")[0]
    return branch, BendDevice(owner, "filament", name, run_ohm, emf_v, knee_v, knee_v)


class Lamp(Part):
    """`watts` as printed on it."""

    kind: Literal["lamp"]
    watts: PositiveWatts
    plug_contact: PositiveOhmsMeasure

    def anatomy(self) -> Anatomy:
        here, name, lamp = self.name, f"{self.name}.filament", f"the {self.spoken}"
        branch, device = filament(name, f"{here}.plus", f"{here}.minus", self.watts, SPREAD)
        return Anatomy(
            terminals=two_pins(self.spoken, self.plug_contact),
            branches=(branch,),
            devices=(device,),
            faults=(
                Fault(here, "open", f"{lamp} is burnt out", f"fit a new bulb of the same watts in {lamp}", "load-open",
                      (Change(name, "open"),)),
                Fault(here, "contact-burnt", f"the bulb's own contacts in {lamp} have resistance",
                      f"clean or replace the bulb and the holder of {lamp}", "load-worn",
                      (Change(name, "series"),), Severity("ohm", 0.3, 20.0)),
            ),
            works=Works(f"Look: does the {self.spoken} light?", ("bright", "dim", "no"), name),
        )  # fmt: skip
