"""One file a part kind: its fields, terminals, branches and bad modes. Right of units, left of circuit.

A new part kind is one file here, one name in `AnyPart`, and one test.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from troubleshoot.parts.battery import Battery
from troubleshoot.parts.engine import Alternator, Starter
from troubleshoot.parts.fuse import Fuse
from troubleshoot.parts.ground import GroundBolt, Metal
from troubleshoot.parts.load import Load
from troubleshoot.parts.part import Part
from troubleshoot.parts.pump import Pump
from troubleshoot.parts.relay import Relay
from troubleshoot.parts.switch import IgnitionSwitch
from troubleshoot.parts.wire import Wire

AnyPart = Annotated[
    Battery | Starter | Alternator | Fuse | Relay | IgnitionSwitch | Pump | Load | Metal | GroundBolt,
    Field(discriminator="kind"),
]

__all__ = [
    "Alternator", "AnyPart", "Battery", "Fuse", "GroundBolt", "IgnitionSwitch", "Load", "Metal", "Part",
    "Pump", "Relay", "Starter", "Wire",
]  # fmt: skip
