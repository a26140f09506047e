"""An ignition switch: feed on 30; `acc`, `15` (also live while the starter turns: 15e) and `50`.

Terminal meanings as DIN 72552; `acc` has no number there and is our own name for the accessory output.
"""

from __future__ import annotations

from typing import Literal

from troubleshoot.parts.branch import Anatomy, Branch, Change, Fault, Severity, Terminal
from troubleshoot.parts.part import Part, sigma
from troubleshoot.units import PositiveOhmsMeasure

LIVE = {
    "acc": frozenset({"accessory", "on", "running"}),
    "15": frozenset({"on", "cranking", "running"}),
    "50": frozenset({"cranking"}),
}
"""In which key states each output is joined to 30."""


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
            faults=(
                Fault(
                    here, "contact-15", f"the {self.spoken}'s contact for 15 is open or has resistance",
                    f"replace the {self.spoken}", "switch-contact",
                    (Change(contacts["15"].name, "series"),), Severity("ohm", 0.03, 1e5, 0.4),
                ),
            ),
        )  # fmt: skip
