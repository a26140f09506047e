"""What a check costs from where the person stands: seconds for the act and for the change of setup."""

from __future__ import annotations

from dataclasses import dataclass, field

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.circuit import Circuit
from troubleshoot.circuit.guesses import Costs
from troubleshoot.circuit.setups import Setup
from troubleshoot.parts import Fuse, Relay, Switch


@dataclass(frozen=True)
class Stand:
    """Where the person is and how things are set up. `fetches`: whoever is to hold the key must be fetched yet."""

    setup: Setup = field(default_factory=lambda: Setup("off"))
    place: str = "engine bay"
    fetches: bool = False


def takes_two(circuit: Circuit, check: Check) -> bool:
    """Whether the key or a button must be held by one while another reads or feels elsewhere.

    A value that the meter holds, and a load that is heard from the seat, take one.
    """
    buttons = {n for n, part in circuit.parts.items() if isinstance(part, Switch) and part.style == "button"}
    held = check.setup.key in ("cranking", "remote") or bool(check.setup.operated & buttons)
    heard = check.about.startswith(("runs:", "flows:", "swap:"))
    return held and not check.is_held and not heard


def change_s(circuit: Circuit, costs: Costs, stand: Stand, check: Check) -> float:
    """Seconds to bring about the check's setup and go to its place."""
    total = 0.0
    if stand.fetches and takes_two(circuit, check):
        total += costs.fetch_helper.value
    if check.place and check.place != stand.place:
        total += costs.go_elsewhere.value
    here, there = stand.setup, check.setup
    if there.key != here.key:
        total += costs.crank.value if there.key in ("cranking", "remote") else costs.turn_key.value
    changed = there.removed ^ here.removed
    # once prepared for cranking, the plug that prevents the start may stay off
    changed -= circuit.unplugged_to_crank if there.key not in ("cranking", "remote") else set()
    for name in changed:
        part = circuit.parts[name]
        if isinstance(part, Relay):
            total += costs.relay_out_or_in.value
        elif isinstance(part, Fuse):
            total += costs.fuse_out_or_in.value
        elif name == circuit.battery:
            total += costs.battery_off_or_on.value
        else:
            total += costs.unplug_or_plug.value
    total += len(there.fitted ^ here.fitted) * costs.fit_test_load.value
    total += len(there.operated ^ here.operated) * costs.operate.value
    total += 2 * len(there.reseated - here.reseated) * costs.relay_out_or_in.value
    return total + (costs.wait_for_warmth.value if there.warm and not here.warm else 0.0)


def act_s(circuit: Circuit, costs: Costs, check: Check) -> float:
    """Seconds for the reading or the look itself, and for telling what came of it."""
    return costs.answer.value + _hands_s(circuit, costs, check)


def _hands_s(circuit: Circuit, costs: Costs, check: Check) -> float:
    if check.swaps:
        return costs.look.value + _swap_s(circuit, costs, check.swaps)
    if check.kind == "observation":
        if check.about.startswith(("whole", "numbers")):
            return costs.inspect.value
        if check.watched or check.about.startswith("wiggle"):
            return costs.held.value
        return costs.look.value + (costs.wait_for_heat.value if check.about.startswith("hot") else 0.0)
    if check.is_ohms:
        return costs.ohms.value
    if check.wire:
        return costs.clamp.value
    act = costs.held.value if check.is_held or check.watched else costs.reading.value
    battery = check.black.startswith(f"{circuit.battery}.")
    return act + (costs.long_leads.value if battery and check.place != "engine bay" else 0.0)


def _swap_s(circuit: Circuit, costs: Costs, part: str) -> float:
    """A spare fetched, the old one pulled, the good one pushed home, the key turned for it; and the old one back again,
    which is not wanted where it was that."""
    if circuit.parts[part].spare == "fuse":
        get, move = costs.spare_fuse.value, costs.fuse_out_or_in.value
    else:
        get, move = costs.spare_relay.value, costs.relay_out_or_in.value
    return get + 4 * move + 2 * costs.turn_key.value


def cost_s(circuit: Circuit, costs: Costs, stand: Stand, check: Check) -> float:
    """All of it."""
    return change_s(circuit, costs, stand, check) + act_s(circuit, costs, check)
