"""An engine controller as far as the relay sees it: its supply, its output, its monitor input."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from troubleshoot.parts.branch import Anatomy, Branch, Change, Fault, RelayDevice, Terminal
from troubleshoot.parts.keys import IGNITION, TURNED
from troubleshoot.parts.part import Part, sigma
from troubleshoot.units import PositiveOhmsMeasure, PositiveVoltsMeasure, Seconds, UnsignedVolts

HELD_SHARE = 0.8
"""Supply at which it gives up, over that from which it works (invented)."""


class Controller(Part):
    """Terminals `feed`, `ground`, `out` and, with `monitor_resistance`, `monitor`.

    It works from `wakes_at` on its own supply. The output joins `out` to its ground or its feed (`drives`) for
    `prime` after key-on, then only while the engine turns. The monitor input is held at `monitor_voltage` through
    `monitor_resistance`, so that an open wire to it floats there.
    """

    kind: Literal["controller"]
    drives: Literal["ground", "feed"] = Field(description="What its output gives the relay's coil.")
    prime: Seconds = Field(default=0.0, description="How long it runs the pump at key-on.")
    supply_resistance: PositiveOhmsMeasure
    driver_resistance: PositiveOhmsMeasure
    wakes_at: PositiveVoltsMeasure
    plug_contact: PositiveOhmsMeasure
    monitor_resistance: PositiveOhmsMeasure | None = Field(
        default=None, description="Through which its monitor input is held at monitor_voltage."
    )
    monitor_voltage: UnsignedVolts = 5.0

    def anatomy(self) -> Anatomy:
        here, plug = self.name, (self.plug_contact.value, sigma(self.plug_contact))
        names = ("feed", "ground", "out", *(["monitor"] if self.monitor_resistance else []))
        say = {"feed": "feed pin", "ground": "ground pin", "out": "relay output", "monitor": "monitor pin"}
        supply = Branch(f"{here}.supply", f"{here}.feed", f"{here}.ground", self.supply_resistance.value,
                        sigma(self.supply_resistance))  # fmt: skip
        ends = (f"{here}.out", f"{here}.ground") if self.drives == "ground" else (f"{here}.feed", f"{here}.out")
        driver = Branch(f"{here}.driver", *ends, self.driver_resistance.value, sigma(self.driver_resistance),
                        keys=TURNED | ({"prime"} if self.prime else frozenset()))  # fmt: skip
        stuck = Branch(f"{here}.driver-stuck", *ends, self.driver_resistance.value, 0.3, fitted=False,
                       needs=frozenset({here}))  # fmt: skip
        branches, makes = [supply, driver, stuck], [driver.name]
        if self.monitor_resistance:
            monitor = Branch(f"{here}.pull-up", f"{here}.monitor", f"{here}.ground", self.monitor_resistance.value,
                             sigma(self.monitor_resistance), emf_v=self.monitor_voltage, keys=IGNITION)  # fmt: skip
            branches.append(monitor)
            makes.append(monitor.name)
        amps = self.wakes_at.value / self.supply_resistance.value
        device = RelayDevice(here, supply.name, tuple(makes), (), amps, HELD_SHARE * amps, sigma(self.wakes_at))
        return Anatomy(
            terminals=tuple(Terminal(n, "socket", f"{say[n]} of the {self.spoken}", *plug) for n in names),
            branches=tuple(branches),
            devices=(device,),
            faults=self._faults(),
        )

    def _faults(self) -> tuple[Fault, ...]:
        here, spoken = self.name, f"the {self.spoken}"
        side = "ground" if self.drives == "ground" else "feed"
        return (
            Fault(here, "no-command", f"{spoken} gives the relay no {side}",
                  f"{spoken} may have a reason (no engine-speed signal, an immobiliser): read its stored faults "
                  "before anything is replaced", "controller", (Change(f"{here}.driver", "open"),)),
            Fault(here, "always-on", f"{spoken}'s output stays on", f"have {spoken}'s output tested; look for a wire "
                  f"chafed to {side} first", "controller",
                  (Change(f"{here}.driver-stuck", "connect", self.driver_resistance.value),)),
        )  # fmt: skip
