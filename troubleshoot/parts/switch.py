"""Switches: the ignition switch, and all that a hand, heat, a crash or oil pressure works.

Terminal meanings as DIN 72552; `acc` has no number there and is our own name for the accessory output.
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from troubleshoot.parts.branch import Anatomy, Branch, Change, Fault, Severity, Terminal
from troubleshoot.parts.keys import ACCESSORY, IGNITION, KEYS, PRESSURE, START
from troubleshoot.parts.part import Part, sigma
from troubleshoot.units import PositiveOhmsMeasure

LIVE = {"acc": ACCESSORY, "15": IGNITION, "50": START}
"""In which key states each output of an ignition switch is joined to 30."""

WORN = Severity("ohm", 0.03, 1e5, 0.4)
STUCK_OHM = 0.02
"""A contact that does not open any more (invented)."""


class IgnitionSwitch(Part):
    """One contact a output. Each may be open or resistive."""

    kind: Literal["ignition_switch"]
    contact_resistance: PositiveOhmsMeasure

    def anatomy(self) -> Anatomy:
        here = self.name
        contacts = {
            output: Branch(
                f"{here}.contact-{output}", f"{here}.30", f"{here}.{output}",
                self.contact_resistance.value, sigma(self.contact_resistance), keys=keys,
            )
            for output, keys in LIVE.items()
        }  # fmt: skip
        return Anatomy(
            terminals=tuple(
                Terminal(n, "stud", f"{n} of the {self.spoken}") for n in ("30", *LIVE)
            ),
            branches=tuple(contacts.values()),
            faults=tuple(
                Fault(
                    here, f"contact-{output}", f"the {self.spoken}'s contact for {output} is open or has resistance",
                    f"replace the {self.spoken}", "switch-contact", (Change(branch.name, "series"),), WORN,
                )
                for output, branch in contacts.items()
            ),
        )  # fmt: skip


class Switch(Part):
    """Terminals `in` and `out`. Toggle, button and thermal switch close while operated (on, pressed, hot); a cut-off
    (inertia switch, security contact) is closed until it trips."""

    kind: Literal["switch"]
    style: Literal["toggle", "button", "thermal", "inertia", "security"] = Field(
        description="The first three close while on, pressed or hot; the cut-offs are closed until they trip."
    )
    contact_resistance: PositiveOhmsMeasure
    plug_contact: PositiveOhmsMeasure

    @property
    def is_operated(self) -> bool:
        """Whether it closes by being operated; a cut-off does not."""
        return self.style in ("toggle", "button", "thermal")

    def anatomy(self) -> Anatomy:
        here, plug = self.name, (self.plug_contact.value, sigma(self.plug_contact))
        ends = (f"{here}.in", f"{here}.out")
        contact = Branch(
            f"{here}.switch", *ends, self.contact_resistance.value, sigma(self.contact_resistance),
            operate=here if self.is_operated else "",
        )  # fmt: skip
        stuck = Branch(f"{here}.stuck", *ends, STUCK_OHM, 0.3, fitted=False, needs=frozenset({here}))
        return Anatomy(
            terminals=(
                Terminal("in", "socket", f"feed side of the {self.spoken}", *plug),
                Terminal("out", "socket", f"far side of the {self.spoken}", *plug),
            ),
            branches=(contact, stuck) if self.is_operated else (contact,),
            faults=self._faults(contact.name, stuck.name),
        )

    def _faults(self, contact: str, stuck: str) -> tuple[Fault, ...]:
        here, switch = self.name, f"the {self.spoken}"
        if self.style == "inertia":
            tripped = Fault(
                here, "tripped", f"{switch} has tripped or is open",
                f"find out why {switch} tripped; press it back only where no fuel is seen or smelt and nothing is "
                "damaged", "cut-off-open", (Change(contact, "series"),), Severity("ohm", 0.03, 1e5, 0.8),
            )  # fmt: skip
            return (tripped,)
        if self.style == "security":
            return (
                Fault(here, "open", f"{switch} is open: it keeps the circuit off", f"let its maker's method clear "
                      f"{switch}; it is not bypassed", "cut-off-open", (Change(contact, "series"),), WORN),
            )  # fmt: skip
        worn = Fault(here, "worn", f"the contact of {switch} is open or has resistance", f"replace {switch}",
                     "switch-contact", (Change(contact, "series"),), WORN)  # fmt: skip
        closed = Fault(here, "stuck-closed", f"{switch} does not open any more", f"replace {switch}",
                       "switch-stuck", (Change(stuck, "connect", STUCK_OHM),))  # fmt: skip
        return (worn, closed)


class OilSwitch(Part):
    """Worked by oil pressure. A changeover type (`P` common, `S` closed at rest for the start feed, `I` closed with
    pressure for the run feed) or a backup type (`P` and `I` only, closed with pressure, in parallel with the relay);
    pump makers' instructions, trade-facts section 8."""

    kind: Literal["oil_switch"]
    style: Literal["changeover", "backup"] = Field(description="changeover has S for the start feed; backup has not")
    contact_resistance: PositiveOhmsMeasure
    plug_contact: PositiveOhmsMeasure

    def anatomy(self) -> Anatomy:
        here, plug = self.name, (self.plug_contact.value, sigma(self.plug_contact))
        contact = (self.contact_resistance.value, sigma(self.contact_resistance))
        run = Branch(f"{here}.contact-I", f"{here}.I", f"{here}.P", *contact, keys=PRESSURE)
        start = Branch(f"{here}.contact-S", f"{here}.S", f"{here}.P", *contact, keys=frozenset(KEYS) - PRESSURE)
        stuck = Branch(f"{here}.stuck", f"{here}.I", f"{here}.P", STUCK_OHM, 0.3, fitted=False,
                       needs=frozenset({here}))  # fmt: skip
        both = self.style == "changeover"
        say = {"P": "common P", "I": "run terminal I", "S": "start terminal S"}
        return Anatomy(
            terminals=tuple(
                Terminal(n, "socket", f"{say[n]} of the {self.spoken}", *plug)
                for n in (("P", "I", "S") if both else ("P", "I"))
            ),
            branches=(run, start, stuck) if both else (run, stuck),
            faults=self._faults(both),
        )

    def _faults(self, both: bool) -> tuple[Fault, ...]:
        here, switch = self.name, f"the {self.spoken}"
        new = f"replace {switch}; measure the oil pressure first"
        faults = [
            Fault(here, "run-contact", f"the run contact of {switch} does not close, or has resistance", new,
                  "switch-contact", (Change(f"{here}.contact-I", "series"),), WORN),
            Fault(here, "stuck-closed", f"the run contact of {switch} does not open any more", new, "switch-stuck",
                  (Change(f"{here}.stuck", "connect", STUCK_OHM),
                   *((Change(f"{here}.contact-S", "open"),) if both else ()))),
        ]  # fmt: skip
        if both:
            faults.append(
                Fault(here, "start-contact", f"the start contact of {switch} is open or has resistance", new,
                      "switch-contact", (Change(f"{here}.contact-S", "series"),), WORN)
            )  # fmt: skip
        return tuple(faults)
