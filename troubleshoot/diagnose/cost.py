"""What a check costs from where the person stands: seconds for the act and for the change of setup."""

from __future__ import annotations

from dataclasses import dataclass, field

from troubleshoot.circuit.checks import Check, Setup
from troubleshoot.circuit.circuit import Circuit
from troubleshoot.circuit.guesses import Costs
from troubleshoot.parts import Fuse, Pump, Relay


@dataclass(frozen=True)
class Stand:
    """Where the person is and how things are set up."""

    setup: Setup = field(default_factory=lambda: Setup("off"))
    place: str = "engine bay"


def change_s(circuit: Circuit, costs: Costs, stand: Stand, check: Check) -> float:
    """Seconds to bring about the check's setup and go to its place."""
    total = 0.0
    if check.place and check.place != stand.place:
        total += costs.go_elsewhere.value
    if check.setup.key != stand.setup.key:
        total += costs.crank.value if check.setup.key == "cranking" else costs.turn_key.value
    changed = check.setup.removed ^ stand.setup.removed
    # once prepared for cranking, the plug that prevents the start may stay off
    changed -= {circuit.start_prevented.unplug} if check.setup.key != "cranking" else set()
    for name in changed:
        part = circuit.parts[name]
        if isinstance(part, Relay):
            total += costs.relay_out_or_in.value
        elif isinstance(part, Fuse):
            total += costs.fuse_out_or_in.value
        elif isinstance(part, Pump) or name == circuit.start_prevented.unplug:
            total += costs.unplug_or_plug.value
        elif name == circuit.battery:
            total += costs.battery_off_or_on.value
    return total


def act_s(circuit: Circuit, costs: Costs, check: Check) -> float:
    """Seconds for the reading or the look itself, and for telling what came of it."""
    return costs.answer.value + _hands_s(circuit, costs, check)


def _hands_s(circuit: Circuit, costs: Costs, check: Check) -> float:
    if check.kind == "observation":
        if check.about.startswith("whole"):
            return costs.inspect.value
        return costs.look.value + (costs.wait_for_heat.value if check.about.startswith("hot") else 0.0)
    if check.is_ohms:
        return costs.ohms.value
    act = costs.held.value if check.function in ("volts_min", "volts_max") else costs.reading.value
    battery = check.black.startswith(f"{circuit.battery}.")
    return act + (costs.long_leads.value if battery and check.place != "engine bay" else 0.0)


def cost_s(circuit: Circuit, costs: Costs, stand: Stand, check: Check) -> float:
    """All of it."""
    return change_s(circuit, costs, stand, check) + act_s(circuit, costs, check)
