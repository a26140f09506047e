"""A relay in its socket: coil 85-86, contact 30-87, with five blades also 87a (rest) or 87b (a second make)."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, ValidationInfo, field_validator
from pydantic_core import PydanticCustomError

from troubleshoot.parts.branch import (
    Anatomy,
    BendDevice,
    Branch,
    Change,
    Fault,
    RelayDevice,
    Severity,
    Terminal,
)
from troubleshoot.parts.copper import at_temperature
from troubleshoot.parts.diode import SHORT_OHM, diode_device
from troubleshoot.parts.part import Part, sigma
from troubleshoot.units import (
    Celsius,
    Measure,
    PositiveAmperes,
    PositiveOhmsMeasure,
    PositiveVoltsMeasure,
    parse_measure,
    show,
)

COIL_HEATS_K = 65.0
"""Kelvins by which a coil is warmer after long work under a warm bonnet: 20 °C to 85 °C (relay makers' sheets rate
coils at 23 °C and 85 °C; trade-facts section 2)."""

MIDDLE = {"make": "", "changeover": "87a", "two makes": "87b"}
"""The stamped number of the blade amid the others."""


class Relay(Part):
    """Terminal numbers as DIN 72552. Pull-in and release are volts across a coil at 20 °C; inside they
    are currents, since the pull is by ampere-turns: both voltages rise with the coil's temperature as its ohms
    do (relay makers' application notes)."""

    kind: Literal["relay"]
    contacts: Literal["make", "changeover", "two makes"] = Field(
        description="make: 4 blades; changeover: 5 with 87a; two makes: 5 with a second 87 (87b)"
    )
    rating: PositiveAmperes = Field(description="of the make contact")
    rest_rating: PositiveAmperes | None = Field(default=None, description="of the rest contact 87a, where it has one")
    coil_resistance: PositiveOhmsMeasure = Field(description="of the coil alone, at 20 °C")
    pull_in: PositiveVoltsMeasure
    release: PositiveVoltsMeasure
    contact_resistance: PositiveOhmsMeasure
    socket_contact: PositiveOhmsMeasure
    suppression: Literal["none", "resistor", "diode"] = Field(
        default="none", description="What is across the coil against its kick."
    )
    suppression_resistance: PositiveOhmsMeasure = Field(
        default_factory=lambda: parse_measure("680 ohm ± 5 %", "resistance"), validate_default=False
    )
    diode_plus: Literal["86", "85"] = Field(default="86", description="The coil terminal that must be positive.")
    temperature: Celsius = Field(default=20.0, description="Where it sits, before it has worked.")

    @field_validator("release")
    @classmethod
    def _releases_below_pull_in(cls, release: Measure, info: ValidationInfo) -> Measure:
        pull_in = info.data.get("pull_in")  # not there when it is wrong itself
        if pull_in and release.value >= pull_in.value:
            told = {"pull_in": show(pull_in.value, "voltage"), "hint": "write fewer volts than for pull_in"}
            raise PydanticCustomError("wrong-value", "a relay releases below its pull_in, {pull_in}", told)
        return release

    @property
    def spare(self) -> str:
        return "relay"

    @property
    def middle(self) -> str:
        """The number of the fifth blade, "" without one."""
        return MIDDLE[self.contacts]

    @property
    def numbers(self) -> tuple[str, ...]:
        """The stamped numbers of its blades."""
        return ("30", "85", "86", "87", *([self.middle] if self.middle else []))

    def anatomy(self) -> Anatomy:
        here = self.name
        socket = (self.socket_contact.value, sigma(self.socket_contact))
        contact = (self.contact_resistance.value, sigma(self.contact_resistance))
        placed = at_temperature(1, self.temperature)  # where it sits; what it warms by is told from there
        coil = Branch(
            f"{here}.coil", f"{here}.86", f"{here}.85", placed * self.coil_resistance.value,
            sigma(self.coil_resistance), copper=True, heats_k=COIL_HEATS_K / placed,
        )  # fmt: skip
        make = Branch(f"{here}.make", f"{here}.30", f"{here}.87", *contact)
        second = Branch(f"{here}.make-87b", f"{here}.30", f"{here}.87b", *contact)
        rest = Branch(f"{here}.rest", f"{here}.30", f"{here}.87a", *contact)
        makes = (make, second) if self.contacts == "two makes" else (make,)
        rests = (rest,) if self.contacts == "changeover" else ()
        if self.contacts == "two makes":  # closed at rest only where a relay of the other kind is fitted
            rests = (Branch(f"{here}.rest-87b", f"{here}.30", f"{here}.87b", *contact, fitted=False),)
        across, bends = self._suppressor()
        return Anatomy(
            terminals=tuple(
                Terminal(n, "socket", f"terminal {n} of the {self.spoken}", *socket) for n in self.numbers
            ),
            branches=(coil, *makes, *rests, *across),
            devices=(
                RelayDevice(
                    here, coil.name, tuple(b.name for b in makes), tuple(b.name for b in rests),
                    self.pull_in.value / self.coil_resistance.value,
                    self.release.value / self.coil_resistance.value,
                    sigma(self.pull_in),
                ),
                *bends,
            ),
            faults=self._faults(),
        )  # fmt: skip

    def _suppressor(self) -> tuple[tuple[Branch, ...], tuple[BendDevice, ...]]:
        """What is across the coil against its kick."""
        name, plus, minus = f"{self.name}.suppressor", f"{self.name}.86", f"{self.name}.85"
        if self.suppression == "resistor":
            ohm = self.suppression_resistance
            return (Branch(name, plus, minus, ohm.value, sigma(ohm)),), ()
        if self.suppression == "diode":
            anode, cathode = (minus, plus) if self.diode_plus == "86" else (plus, minus)
            branch, device = diode_device(name, anode, cathode)
            return (branch, Branch(f"{name}-short", plus, minus, SHORT_OHM, 0.3, fitted=False)), (device,)
        return (), ()

    def _faults(self) -> tuple[Fault, ...]:
        here, relay = self.name, f"the {self.spoken}"
        new = f"fit a known good relay of the same layout in place of {relay}"
        series = Severity("ohm", 0.03, 1e5, 0.0)
        faults = [
            Fault(here, "coil-open", f"the coil of {relay} is open", new, "coil-open",
                  (Change(f"{here}.coil", "open"),)),
            Fault(here, "coil-shorted-turns", f"the coil of {relay} has shorted turns", new,
                  "coil-shorted-turns",
                  (Change(f"{here}.coil", "scale"), Change(here, "turns")), Severity("share", 0.08, 0.5)),
            Fault(here, "weak-coil", f"{relay} needs more volts to pull in than it gets", new, "weak-coil",
                  (Change(here, "pull_in"),), Severity("times", 1.2, 3.0)),
            Fault(here, "contacts-stuck-open", f"the contacts of {relay} do not close", new,
                  "contacts-stuck-open", (Change(here, "stuck"),)),
            Fault(here, "contacts-burnt", f"the contacts of {relay} have resistance", new, "contacts-burnt",
                  (Change(f"{here}.make", "series"),), series),
            Fault(here, "contacts-welded", f"the contacts of {relay} are welded", new, "contacts-welded",
                  (Change(here, "welded"),)),
        ]  # fmt: skip
        if self.contacts == "two makes":
            faults.append(
                Fault(here, "changeover-fitted", f"{relay} is one with a rest contact 87a where a second 87 should be",
                      f"fit a relay with two 87 (look at the drawing on its case) for {relay}", "other-layout",
                      (Change(f"{here}.make-87b", "open"),
                       Change(f"{here}.rest-87b", "connect", self.contact_resistance.value)))
            )  # fmt: skip
        if self.suppression == "diode":
            faults.append(
                Fault(here, "diode-shorted", f"the diode across the coil of {relay} has failed short",
                      f"{new}; find out why (coil wires exchanged, a boosted start)", "diode",
                      (Change(f"{here}.suppressor-short", "connect", SHORT_OHM),))
            )  # fmt: skip
        return tuple(faults)
