"""A relay in its socket: coil 85-86, contact 30-87, rest contact 30-87a when it has five blades."""

from __future__ import annotations

from typing import Literal

from pydantic import ValidationInfo, field_validator
from pydantic_core import PydanticCustomError

from troubleshoot.parts.branch import (
    Anatomy,
    Branch,
    Change,
    Fault,
    RelayDevice,
    Severity,
    Terminal,
)
from troubleshoot.parts.part import Part, sigma
from troubleshoot.units import Measure, PositiveAmperes, PositiveOhmsMeasure, PositiveVoltsMeasure, show


class Relay(Part):
    """Terminal numbers as DIN 72552. Pull-in and release are volts across a coil at 20 °C; inside they
    are currents, since the pull is by ampere-turns (relay makers' application notes)."""

    kind: Literal["relay"]
    blades: Literal[4, 5]
    rating: PositiveAmperes
    coil_resistance: PositiveOhmsMeasure
    pull_in: PositiveVoltsMeasure
    release: PositiveVoltsMeasure
    contact_resistance: PositiveOhmsMeasure
    socket_contact: PositiveOhmsMeasure

    @field_validator("release")
    @classmethod
    def _releases_below_pull_in(cls, release: Measure, info: ValidationInfo) -> Measure:
        pull_in = info.data.get("pull_in")  # not there when it is wrong itself
        if pull_in and release.value >= pull_in.value:
            told = {"pull_in": show(pull_in.value, "voltage"), "hint": "write fewer volts than for pull_in"}
            raise PydanticCustomError("wrong-value", "a relay releases below its pull_in, {pull_in}", told)
        return release

    def anatomy(self) -> Anatomy:
        here = self.name
        numbers = ("30", "85", "86", "87", "87a")[: self.blades]
        socket = (self.socket_contact.value, sigma(self.socket_contact))
        contact = (self.contact_resistance.value, sigma(self.contact_resistance))
        coil = Branch(
            f"{here}.coil", f"{here}.86", f"{here}.85", self.coil_resistance.value,
            sigma(self.coil_resistance), copper=True,
        )  # fmt: skip
        make = Branch(f"{here}.make", f"{here}.30", f"{here}.87", *contact)
        rest = (Branch(f"{here}.rest", f"{here}.30", f"{here}.87a", *contact),) if self.blades == 5 else ()
        return Anatomy(
            terminals=tuple(
                Terminal(n, "socket", f"terminal {n} of the {self.spoken}", *socket) for n in numbers
            ),
            branches=(coil, make, *rest),
            devices=(
                RelayDevice(
                    here, coil.name, (make.name,), tuple(branch.name for branch in rest),
                    self.pull_in.value / self.coil_resistance.value,
                    self.release.value / self.coil_resistance.value,
                    sigma(self.pull_in),
                ),
            ),
            faults=self._faults(),
        )  # fmt: skip

    def _faults(self) -> tuple[Fault, ...]:
        here, relay = self.name, f"the {self.spoken}"
        new = f"fit a known good relay of the same layout in place of {relay}"
        series = Severity("ohm", 0.03, 1e5, 0.0)
        return (
            Fault(here, "coil-open", f"the coil of {relay} is open", new, "coil-open",
                  (Change(f"{here}.coil", "open"),)),
            Fault(here, "coil-shorted-turns", f"the coil of {relay} has shorted turns", new,
                  "coil-shorted-turns",
                  (Change(f"{here}.coil", "scale"), Change(here, "turns")), Severity("share", 0.08, 0.5)),
            Fault(here, "weak-coil", f"{relay} needs more volts to pull in than it gets", new, "weak-coil",
                  (Change(here, "pull_in"),), Severity("times", 1.6, 3.0)),
            Fault(here, "contacts-stuck-open", f"the contacts of {relay} do not close", new,
                  "contacts-stuck-open", (Change(here, "stuck"),)),
            Fault(here, "contacts-burnt", f"the contacts of {relay} have resistance", new, "contacts-burnt",
                  (Change(f"{here}.make", "series"),), series),
            Fault(here, "contacts-welded", f"the contacts of {relay} are welded", new, "contacts-welded",
                  (Change(here, "welded"),)),
        )  # fmt: skip
