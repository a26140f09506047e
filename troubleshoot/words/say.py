"""Sentences for checks, setups, points and values, in shop words. Front ends print these as they stand."""

from __future__ import annotations

from troubleshoot.circuit.checks import Check, Setup
from troubleshoot.circuit.circuit import SAY_KEY, Circuit
from troubleshoot.circuit.network import Network
from troubleshoot.parts import Fuse, Pump, Relay
from troubleshoot.units import show

SAY_FUNCTION = {
    "volts": "DC volts",
    "volts_min": "DC volts, the lowest held by the meter's MIN key",
    "volts_max": "DC volts, the highest held by the meter's MAX key",
    "millivolts": "DC millivolts",
    "ohms": "ohms",
}


def say_point(network: Network, node: str) -> str:
    """A place to touch, with its wire's colour where the file tells it."""
    point = network.point_at.get(node)
    if point is None:
        return node
    colours = [w.colour for w in network.circuit.wires if node in (w.start, w.end) and w.colour]
    terminal = network.circuit.terminals.get(node)
    detail = f"{colours[0]} wire" if len(colours) == 1 and terminal and terminal.kind != "stud" else ""
    if terminal and terminal.kind == "socket":
        detail = f"{detail}, back-probed" if detail else "back-probed"
    if terminal and terminal.kind == "tab":
        detail = "test tab"
    return f"{point.say} ({detail})" if detail else point.say


def say_out(circuit: Circuit, setup: Setup) -> list[str]:
    """What is out, unplugged or off in a setup, one short phrase each."""
    said = []
    for name in sorted(setup.removed):
        part = circuit.named_parts[name]
        if isinstance(part, Relay):
            said.append(f"{part.spoken} pulled out of its socket")
        elif isinstance(part, Fuse):
            said.append(f"{part.spoken} out")
        elif isinstance(part, Pump):
            said.append(f"{part.spoken} unplugged")
        elif name == circuit.battery:
            said.append("battery negative clamp off")
        else:
            said.append(f"{part.spoken} unplugged")
    return said


def say_setup(circuit: Circuit, setup: Setup) -> str:
    """How things must stand for the check, one sentence."""
    key = SAY_KEY[setup.key]
    if setup.key == "cranking":
        key = f"{key} (start prevented: {circuit.start_prevented.by})"
    elif setup.key == "on":
        key += ", having passed through accessory"
    out = say_out(circuit, setup)
    if setup.key == "cranking":
        out = say_out(circuit, Setup(setup.key, setup.removed - {circuit.start_prevented.unplug}))
    rest = "; ".join(out) if out else "everything plugged in"
    return f"{key[0].upper()}{key[1:]}; {rest}."


def say_check(network: Network, check: Check) -> str:
    """What to do, whole: setup first, then the probes or the look."""
    setup = say_setup(network.circuit, check.setup)
    if check.again:
        anew = "lift both leads, look for the numbers, set them anew" if check.kind == "reading" else "look anew"
        setup = f"Once more, since the verdict hangs on it: {anew}. {setup}"
    if check.kind == "observation":
        return f"{setup} {say_look(network.circuit, check)}"
    held = ""
    if check.function in ("volts_min", "volts_max"):
        held = " Start holding with the key on, then crank for three seconds."
    return (
        f"{setup} Red on {say_point(network, check.red)}, black on {say_point(network, check.black)}. "
        f"Meter on {SAY_FUNCTION[check.function]}.{held}"
    )


def say_look(circuit: Circuit, check: Check) -> str:
    """The question of an observation."""
    kind, _, name = check.about.partition(":")
    part = circuit.named_parts[name]
    if kind == "click":
        return f"Have the key turned from off to on: does the {part.spoken} click?"
    if kind == "runs":
        return f"Listen and feel: does the {part.spoken} run?"
    if kind == "whole":
        return f"Look through the {part.spoken} against the light: is its strip whole?"
    return f"After a minute, feel near the {part.spoken} with the back of your hand: is it hot?"


def say_short(network: Network, check: Check) -> str:
    """The check in a few words, for lists of readings."""
    key = check.setup.key
    out = say_out(network.circuit, Setup(key, check.setup.removed - {network.circuit.start_prevented.unplug}))
    tail = f", {', '.join(out)}" if out else ""
    if check.kind == "observation":
        kind, _, name = check.about.partition(":")
        asked = {"click": "clicks?", "runs": "runs?", "whole": "whole?", "hot": "hot?"}[kind]
        return f"{network.circuit.named_parts[name].spoken} {asked} (key {key}{tail})"
    if check.again:
        tail += ", again"
    held = {"volts_min": " lowest", "volts_max": " highest"}.get(check.function, "")
    red, black = (_say_briefly(network, node) for node in (check.red, check.black))
    return f"{red} to {black}{held} (key {key}{tail})"


def _say_briefly(network: Network, node: str) -> str:
    """A point as one would jot it down: "85 of the pump relay", "battery negative post"."""
    return network.point_at[node].say.removeprefix("terminal ").removeprefix("the ")


def say_value(check: Check, value: float) -> str:
    """A reading's value in its own unit; `value` in V or ohm."""
    return show(value, "resistance" if check.is_ohms else "voltage")


def say_range(check: Check, low: float, high: float) -> str:
    """A range of a reading in words, rounded to what one would remember: "20 mV to 30 mV", "12.2 V to 12.4 V"."""
    dimension = "resistance" if check.is_ohms else "voltage"
    if check.function not in ("ohms", "millivolts") and abs(low) < 0.005 and abs(high) < 0.02:
        return "about 0 V"
    first, last = (show(value, dimension, 3 if abs(value) >= 10 else 2) for value in (low, high))
    return first if first == last else f"{first} to {last}"


def say_ohm(ohm: float) -> str:
    """Ohms in words."""
    return show(ohm, "resistance")


def cautions(network: Network, check: Check) -> list[str]:
    """What to mind for this check. Common practice, no source, save where trade-facts section 9 names one."""
    circuit = network.circuit
    said = []
    part = circuit.parts.get(network.point_at[check.red].part) if check.red else None
    if check.setup.key == "cranking":
        said.append(
            "Neutral or park, brake on, wheels chocked; hands, hair and leads clear of fan and belts. "
            "Crank briefly, and let the starter cool."
        )
    if check.place == "at the tank":
        said.append("Fuel vapour: no flame, no spark, no hot bulb; make no live connection at the tank.")
    if check.is_ohms:
        said.append("Battery negative off first: never ohms on a live circuit.")
    if check.setup.removed & {n for n, p in circuit.parts.items() if isinstance(p, Pump | Relay | Fuse)}:
        said.append("Plug and unplug with the key off.")
    if isinstance(part, Relay) and check.kind == "reading" and not check.red.endswith(".blade"):
        said.append("Back-probe along the wire; push nothing into the front of a contact, pierce no wire.")
    if check.kind == "reading" and not check.is_ohms:
        said.append("Red lead in the volts jack, never in the amps jack.")
    return said


SAFETY_QUESTIONS = (
    "Do you smell or see fuel where it should not be?",
    "Has the vehicle been in a crash, or has a safety cut-off tripped?",
    "Is there smoke, or a wire, fuse or relay too hot to touch?",
)
"""Asked before anything else. A yes to any stops the job."""

STOP_ADVICE = (
    "Stop. Key off, move away, let it air; nobody smokes, nothing is switched. Take the battery negative off "
    "only where there is no vapour. Go on when the cause is found and made safe, or leave it to a workshop."
)

GENERAL_CAUTION = (
    "This is a guide for people who know the usual dangers of cranking engines, fuel and batteries. The "
    "vehicle's own manual, local rules and a licensed workshop come before it."
)
