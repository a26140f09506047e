"""A fuse, fusible link or circuit breaker. It opens in the model; all but the breaker stay open."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from pydantic import Field

from troubleshoot.parts.branch import Anatomy, Branch, Change, Fault, FuseDevice, Terminal
from troubleshoot.parts.part import Part, sigma
from troubleshoot.units import PositiveAmperes, PositiveOhmsMeasure

BLOW_FACTOR = 1.6
"""Settled current over rating at which we say it opens. ISO 8820-3 type C: 135 % opens in 0.75 to 600 s
(from memory), 160 % in 0.25 to 50 s (second-hand); the settled model has no clock, so the line is drawn
at the factor that surely blows within a minute, with a spread that reaches down to 135 %."""

BLOW_SPREAD = 0.08

Style = Literal["blade", "large blade", "link", "breaker"]

WINDOWS_S: dict[str, dict[float, tuple[float, float]]] = {
    "blade": {1.1: (360e3, math.inf), 1.35: (0.75, 600.0), 1.6: (0.25, 50.0), 2.0: (0.15, 5.0), 3.5: (0.04, 0.5),
              6.0: (0.02, 0.1)},
    "large blade": {1.0: (360e3, math.inf), 1.35: (60.0, 1800.0), 2.0: (2.0, 50.0), 3.5: (0.2, 7.0),
                    6.0: (0.04, 1.0)},
}  # fmt: skip
"""Opening times by current over rating: least and most seconds. ISO 8820-3 type C (160 %, 200 % second-hand, the rest
from memory) and type E (maker data, second-hand). Links and breakers differ by maker: none is stated."""


def opens_within(style: str, share: float) -> tuple[float, float] | None:
    """Least and most seconds until a fuse opens at `share` of its rating, log-log between the table's points; below
    the first point it may carry on for good, so that both are infinite. None for styles without a table."""
    window = WINDOWS_S.get(style)
    if window is None:
        return None
    shares = list(window)
    if share <= shares[0]:
        return math.inf, math.inf
    ends = []
    for side in (0, 1):
        finite = [(s, window[s][side]) for s in shares if math.isfinite(window[s][side])]
        if share < finite[0][0]:
            ends.append(math.inf)
            continue
        x, y = np.log([s for s, _ in finite]), np.log([t for _, t in finite])
        ends.append(float(np.exp(np.interp(np.log(share), x, y))))
    return ends[0], ends[1]


class Fuse(Part):
    """Terminals `in` and `out`; the blade fuse's test tabs can be touched with it fitted."""

    kind: Literal["fuse"]
    style: Style = Field(default="blade", description="link: a fusible link; breaker: closes again when cold")
    rating: PositiveAmperes
    resistance: PositiveOhmsMeasure
    holder_contact: PositiveOhmsMeasure

    @property
    def pulls_out(self) -> bool:
        """Whether it can be pulled out of its holder."""
        return self.style in WINDOWS_S

    @property
    def spare(self) -> str:
        return "fuse" if self.pulls_out else ""

    @property
    def what(self) -> str:
        """The kind of thing it is, in a word."""
        return {"link": "fusible link", "breaker": "circuit breaker"}.get(self.style, "fuse")

    def anatomy(self) -> Anatomy:
        contact = (self.holder_contact.value, sigma(self.holder_contact)) if self.pulls_out else ()
        element = f"{self.name}.element"
        kind: Literal["tab", "stud"] = "tab" if self.pulls_out else "stud"
        return Anatomy(
            terminals=(
                Terminal("in", kind, f"feed side of the {self.spoken}", *contact),
                Terminal("out", kind, f"load side of the {self.spoken}", *contact),
            ),
            branches=(
                Branch(
                    element, f"{self.name}.in", f"{self.name}.out", self.resistance.value,
                    sigma(self.resistance),
                ),
            ),
            devices=(
                FuseDevice(self.name, element, BLOW_FACTOR * self.rating, BLOW_SPREAD, self.style == "breaker"),
            ),
            faults=self._faults(element),
        )  # fmt: skip

    def _faults(self, element: str) -> tuple[Fault, ...]:
        here, fuse = self.name, f"the {self.spoken}"
        same = f"fit a {self.rating:g} A {self.what}"
        if self.style == "breaker":
            return (
                Fault(here, "worn", f"{fuse} does not close any more", f"replace {fuse}: {same}", "fuse-blown",
                      (Change(element, "open"),)),
            )  # fmt: skip
        return (
            Fault(here, "blown", f"{fuse} is blown, with no short left to see",
                  f"look for a chafed wire first, then fit one new {self.rating:g} A {self.what}, "
                  "never a larger one", "fuse-blown", (Change(here, "blown"),)),
            Fault(here, "too-large", f"{fuse} is far larger than {self.rating:g} A: the wire is not protected",
                  f"{same}, as the circuit asks for", "fuse-wrong", (Change(here, "blow", 4.0),)),
            Fault(here, "bridged", f"{fuse} is bridged: there is no fuse", f"take the bridge out, {same}",
                  "fuse-wrong", (Change(here, "blow", 1e3),)),
        )  # fmt: skip
