"""One file a part kind: its fields, terminals, branches and bad modes. Right of units, left of circuit.

A new part kind is one file here, one name in `AnyPart`, and one test.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from troubleshoot.parts.battery import Battery
from troubleshoot.parts.controller import Controller
from troubleshoot.parts.diode import Diode
from troubleshoot.parts.engine import Alternator, Starter
from troubleshoot.parts.fan import Fan
from troubleshoot.parts.fuse import Fuse
from troubleshoot.parts.ground import GroundBolt, Metal
from troubleshoot.parts.horn import Horn
from troubleshoot.parts.lamp import Lamp
from troubleshoot.parts.load import Load
from troubleshoot.parts.motor import Motor
from troubleshoot.parts.part import Part
from troubleshoot.parts.pump import Pump
from troubleshoot.parts.relay import Relay
from troubleshoot.parts.splice import Splice
from troubleshoot.parts.supply import Supply
from troubleshoot.parts.switch import IgnitionSwitch, OilSwitch, Switch
from troubleshoot.parts.wire import Wire

AnyPart = Annotated[
    Battery | Supply | Starter | Alternator | Fuse | Relay | IgnitionSwitch | Switch | OilSwitch | Controller | Diode
    | Pump | Fan | Horn | Lamp | Load | Metal | GroundBolt | Splice,
    Field(discriminator="kind"),
]  # fmt: skip

__all__ = [
    "Alternator", "AnyPart", "Battery", "Controller", "Diode", "Fan", "Fuse", "GroundBolt", "Horn", "IgnitionSwitch",
    "Lamp", "Load", "Metal", "Motor", "OilSwitch", "Part", "Pump", "Relay", "Splice", "Starter", "Supply", "Switch",
    "Wire",
]  # fmt: skip
