"""Where wires are joined to one another: a bolt through their rings, or a stud that several share."""

from __future__ import annotations

from typing import Literal

from troubleshoot.parts.branch import Anatomy, Terminal
from troubleshoot.parts.part import Part


class Splice(Part):
    """One node, `stud`, with no resistance of its own: each wire's joint on it is that wire's `joint`."""

    kind: Literal["splice"]

    def anatomy(self) -> Anatomy:
        return Anatomy(terminals=(Terminal("stud", "stud", f"{self.spoken}"),))
