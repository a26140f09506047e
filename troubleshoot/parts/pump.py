"""An electric pump on a two-pin plug."""

from __future__ import annotations

from typing import Literal

from troubleshoot.parts.branch import Works
from troubleshoot.parts.motor import Motor


class Pump(Motor):
    """A motor that one hears, and whose direction shows in what it delivers."""

    kind: Literal["pump"]

    def _works(self, branch: str) -> Works:
        return Works(
            f"Listen and feel: does the {self.spoken} run?", ("runs", "weak", "no"), branch,
            f"With it running, does the {self.spoken} deliver (its line pulses, the gauge rises)?",
        )  # fmt: skip
