"""Sentences for finding a fault that comes and goes: what to move, what to watch, for how long. Common practice, no
source; half a minute and ten times are invented."""

from __future__ import annotations

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.circuit import Circuit
from troubleshoot.parts import IgnitionSwitch, Relay

CAUTION = (
    "Engine at rest; hands and sleeves clear of fan and belts; yellow plugs and orange cables are not touched. What is "
    "hot or bare is not moved with the power on."
)


def say_moved(circuit: Circuit, name: str) -> str:
    """A part or wire that is moved."""
    wire = next((w.spoken for w in circuit.wires if w.name == name), "")
    return wire or circuit.named_parts[name].spoken


def say_wiggle(circuit: Circuit, name: str) -> str:
    """What to move, what to watch, and for how long."""
    loads = " and ".join(f"the {circuit.named_parts[load].spoken}" for load in circuit.loads)
    spoken, part = say_moved(circuit, name), circuit.named_parts.get(name)
    if part is None:
        what = f"Bend and pull the {spoken} a little, hand over hand from end to end"
    elif isinstance(part, Relay):
        what = f"Rock the {spoken} in its socket, tap it, and pull at each of its wires a little"
    elif isinstance(part, IgnitionSwitch):
        what = f"Move the key within its position, and the plug and wires behind the {spoken}"
    else:
        what = f"Rock the {spoken} with its plug or terminals, tap it, and pull at each of its wires a little"
    return (
        f"{what}, for half a minute. Listen to {loads}, or watch the meter's MIN and MAX across its plug: does "
        "anything start, stop or change while you move it?"
    )


def say_watch(check: Check) -> str:
    """How a check is made where a fault may come and go."""
    if check.kind == "observation":
        return "Ten times over; answer with the worst of them."
    if check.is_ohms:
        return "For half a minute, plugs and wires on the way moved meanwhile; answer with the most it shows."
    return (
        "For half a minute, plugs and wires on the way moved meanwhile, the meter on MIN and MAX; if it changes, "
        "answer with both ends, like 2 to 8."
    )
