"""Sentences for checks, setups, points and values, in shop words. Front ends print these as they stand."""

from __future__ import annotations

from collections.abc import Sequence

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.circuit import Circuit
from troubleshoot.circuit.network import Network
from troubleshoot.circuit.setups import Setup, key_before
from troubleshoot.parts import Fuse, Relay, Switch
from troubleshoot.parts.keys import SAY_KEY
from troubleshoot.units import show
from troubleshoot.words import swapping
from troubleshoot.words.moving import CAUTION, say_moved, say_watch, say_wiggle

SAY_FUNCTION = {
    "volts": "DC volts",
    "volts_min": "DC volts, the lowest held by the meter's MIN key",
    "volts_max": "DC volts, the highest held by the meter's MAX key",
    "low_volts": "DC volts, low-impedance input",
    "millivolts": "DC millivolts",
    "amps": "DC clamp, zeroed just before",
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
        elif name == circuit.battery:
            said.append("battery negative clamp off")
        else:
            said.append(f"{part.spoken} unplugged")
    return said


OPERATED = {"toggle": "switched on", "button": "held pressed", "thermal": "hot, or its two wires joined at its plug"}


def say_operated(circuit: Circuit, setup: Setup) -> list[str]:
    """Which switches are operated, one short phrase each."""
    parts = [circuit.named_parts[name] for name in sorted(setup.operated)]
    return [f"{part.spoken} {OPERATED[part.style]}" for part in parts if isinstance(part, Switch)]


def say_fitted(network: Network, setup: Setup) -> list[str]:
    """What is fitted for the test, and what was done before it."""
    said = [fitting.say for fitting in network.fittings if fitting.name in setup.fitted]
    spoken = [network.circuit.named_parts[name].spoken for name in sorted(setup.reseated)]
    said += [f"{name} pulled and pushed home again, key off" for name in spoken]
    return said + (["after ten minutes of work, warm"] if setup.warm else [])


def on_extension(setup: Setup) -> frozenset[str]:
    """Relays that are out of their sockets only to sit on extension leads."""
    return frozenset(name.partition("@")[2] for name in setup.fitted if name.startswith("extension@"))


def say_key(circuit: Circuit, key: str) -> str:
    """The key state in words; "power on" where there is no key."""
    return SAY_KEY[key] if len(circuit.keys) > 1 else "power connected"


def say_setup(network: Network, setup: Setup) -> str:
    """How things must stand for the check, one sentence."""
    circuit = network.circuit
    key = say_key(circuit, setup.key)
    turned = setup.key in ("cranking", "remote")
    if turned and circuit.start_prevented:
        key = f"{key} (start prevented: {circuit.start_prevented.by})"
    elif setup.key == "on" and key_before(circuit, setup) == "accessory":
        key += ", having passed through accessory"
    removed = setup.removed - (circuit.unplugged_to_crank if turned else frozenset()) - on_extension(setup)
    out = say_operated(circuit, setup) + say_out(circuit, Setup(setup.key, removed)) + say_fitted(network, setup)
    rest = "; ".join(out) if out else "everything plugged in"
    return f"{key[0].upper()}{key[1:]}; {rest}."


def say_check(network: Network, check: Check) -> str:
    """What to do, whole: setup first, then the probes or the look."""
    setup = say_setup(network, check.setup)
    if check.again and not check.watched:
        setup = f"{say_again(network, check)} {setup}"
    watch = f" {say_watch(check)}" if check.watched else ""
    if check.swaps:
        exchange, tried = swapping.say_exchange(network.circuit, check.swaps), swapping.say_tried(network.circuit)
        return f"{exchange} Then: {setup[0].lower()}{setup[1:]} {tried}"
    if check.kind == "observation":
        return f"{setup} {say_look(network.circuit, check)}{watch}"
    held = watch
    if check.is_held:
        held = f" {say_hold(network.circuit, check.setup)}"
    if check.wire:
        wire, arrow = say_wire(network, check.wire), say_arrow(network, check.wire)
        return f"{setup} Put the clamp round {wire}, its arrow {arrow}.{watch}"
    return (
        f"{setup} Red on {say_point(network, check.red)}, black on {say_point(network, check.black)}. "
        f"Meter on {SAY_FUNCTION[check.function]}.{held}"
    )


def say_again(network: Network, check: Check) -> str:
    """How a check is made anew: not the same way, so that what was wrong the first time shows. Common practice, no
    source: the meter is tried on something known before it is believed."""
    if check.kind == "observation":
        return "Once more, since much hangs on it: look anew."
    if check.wire:
        return "Once more, since much hangs on it: open the clamp, zero it, look for the wire and the arrow anew."
    if check.is_ohms:
        tried = "touch the leads together first: under 1 ohm, and OL when they part"
        return f"Once more, since much hangs on it: lift both leads and {tried}. Then look for the numbers anew."
    battery = network.circuit.battery
    red, black = (say_point(network, f"{battery}.{end}") for end in ("pos", "neg"))
    return (
        "Once more, since much hangs on it: lift both leads. Dial on DC volts, red lead in the volts jack; black on "
        f"{black}, touch red to {red}: what a good battery shows, or it is the meter, its fuse or its leads. Then look "
        "for the numbers and set the leads anew."
    )


def say_hold(circuit: Circuit, setup: Setup) -> str:
    """How a held reading is taken."""
    if setup.key == "prime":
        return "Start holding with the key off, then turn it on and wait two seconds."
    return "Start holding with the key on, then crank for three seconds."


def say_wire(network: Network, name: str) -> str:
    """A wire in words."""
    return next(f"the {wire.spoken}" for wire in network.circuit.wires if wire.name == name)


def say_arrow(network: Network, name: str) -> str:
    """Which way a clamp's arrow points on a wire."""
    wire = next(wire for wire in network.circuit.wires if wire.name == name)
    return f"towards {network.circuit.terminals[wire.end].say}"


def say_look(circuit: Circuit, check: Check) -> str:
    """The question of an observation."""
    kind, _, name = check.about.partition(":")
    if kind == "lamp":
        return "Does the test lamp light?"
    if kind == "wiggle":
        return say_wiggle(circuit, name)
    if kind == "swap":
        return f"{swapping.say_exchange(circuit, name)} {swapping.say_tried(circuit)}"
    part = circuit.named_parts[name]
    if kind == "click":
        return f"{_say_turn(check.setup)} does the {part.spoken} click?"
    if kind == "numbers":
        return (
            f"With the {part.spoken} pulled, compare: do the numbers stamped on its blades stand where its socket's "
            "numbers are, and is each wire of the socket on the number that the circuit says?"
        )
    if kind == "runs":
        return circuit.loads[name].asks
    if kind == "flows":
        return circuit.loads[name].turns
    if kind == "whole":
        return f"Look through the {part.spoken} against the light: is its strip whole?"
    return f"After a minute, feel near the {part.spoken} with the back of your hand: is it hot?"


def _say_turn(setup: Setup) -> str:
    """What is done to hear a relay act."""
    if setup.operated:
        return "Have that done and undone again:"
    return f"Have the key turned from {'on to start' if setup.key == 'cranking' else 'off to on'}:"


def say_short(network: Network, check: Check) -> str:
    """The check in a few words, for lists of readings."""
    circuit, setup = network.circuit, check.setup
    key = f"key {setup.key}" if len(circuit.keys) > 1 else "power on"
    removed = setup.removed - circuit.unplugged_to_crank - on_extension(setup)
    out = say_operated(circuit, setup) + say_out(circuit, Setup(setup.key, removed))
    out += say_fitted(network, setup)
    out += ["watched"] if check.watched else []
    tail = f", {', '.join(out)}" if out else ""
    if check.kind == "observation":
        kind, _, name = check.about.partition(":")
        if kind == "lamp":
            return f"test lamp? ({key}{tail})"
        if kind == "wiggle":
            return f"{say_moved(circuit, name)} moved: any change? ({key}{tail})"
        part = circuit.named_parts[name]
        asked = {
            "click": "clicks?",
            "whole": "whole?",
            "numbers": "numbers match?",
            "hot": "hot?",
            "flows": "delivers?",
            "swap": "exchanged for a good one: works?",
        }.get(kind)
        asked = asked or f"{circuit.loads[name].answers[0]}?"
        return f"{part.spoken} {asked} ({key}{tail})"
    if check.again:
        tail += ", again"
    held = {"volts_min": " lowest", "volts_max": " highest"}.get(check.function, "")
    if check.wire:
        return f"current in {say_wire(network, check.wire)} ({key}{tail})"
    low = " low-impedance" if check.function == "low_volts" else ""
    red, black = (_say_briefly(network, node) for node in (check.red, check.black))
    return f"{red} to {black}{held}{low} ({key}{tail})"


def _say_briefly(network: Network, node: str) -> str:
    """A point as one would jot it down: "85 of the pump relay", "battery negative post"."""
    return network.point_at[node].say.removeprefix("terminal ").removeprefix("the ")


def say_value(check: Check, value: float) -> str:
    """A reading's value in its own unit; `value` in V or ohm."""
    return show(value, dimension_of(check))


def dimension_of(check: Check) -> str:
    """What a check reads: voltage, current or resistance."""
    return "resistance" if check.is_ohms else "current" if check.wire else "voltage"


def unit_of(check: Check) -> str:
    """The unit of a check's value, "" for an observation."""
    if check.kind == "observation":
        return ""
    return {"resistance": "ohm", "current": "A", "voltage": "V"}[dimension_of(check)]


def say_range(check: Check, low: float, high: float) -> str:
    """A range of a reading in words, rounded to what one would remember: "20 mV to 30 mV", "12.2 V to 12.4 V"."""
    dimension = dimension_of(check)
    if dimension == "voltage" and check.function != "millivolts" and abs(low) < 0.005 and abs(high) < 0.02:
        return "about 0 V"
    first, last = (show(value, dimension, 3 if abs(value) >= 10 else 2) for value in (low, high))
    return first if first == last else f"{first} to {last}"


def say_ohm(ohm: float) -> str:
    """Ohms in words."""
    return show(ohm, "resistance")


def cautions(network: Network, check: Check) -> list[str]:
    """What to mind for this check. Common practice, no source, save where trade-facts section 9 names one."""
    circuit, setup = network.circuit, check.setup
    said = []
    part = circuit.parts.get(network.point_at[check.red].part) if check.red else None
    if setup.key in ("cranking", "remote"):
        said.append(
            "Neutral or park, brake on, wheels chocked; hands, hair and leads clear of fan and belts. "
            "Crank briefly, and let the starter cool."
        )
    if check.place == "at the tank":
        said.append("Fuel vapour: no flame, no spark, no hot bulb; make no live connection at the tank.")
    said += [CAUTION] if check.watched or check.about.startswith("wiggle:") else []
    said += _fitting_cautions(setup)
    if check.is_ohms:
        said.append("Battery negative off first: never ohms on a live circuit.")
    plugs = {n for n, p in circuit.parts.items() if isinstance(p, Relay | Fuse | Switch)} | set(circuit.loads)
    if check.pulled & plugs:
        said.append("Plug and unplug with the key off.")
    said += _swap_cautions(circuit, check) if check.swaps else []
    if any(circuit.parts[name].kind == "fan" for name in circuit.loads):
        said.append("The fan can start at any time, even with the key off: hands, hair and leads clear.")
    if part and check.setup.key == "off" and not check.is_ohms and part.kind in ("pump", "fan"):
        said.append("Let it come to rest first: a motor that still spins makes volts of its own.")
    if isinstance(part, Relay) and check.kind == "reading" and not check.red.endswith(".blade"):
        said.append("Back-probe along the wire; push nothing into the front of a contact, pierce no wire.")
    if check.wire:
        said.append("The clamp goes round the wire; no lead is put into the amps jack.")
    elif check.kind == "reading" and not check.is_ohms:
        said.append("Red lead in the volts jack, never in the amps jack.")
    return said


def _swap_cautions(circuit: Circuit, check: Check) -> list[str]:
    """What to mind with a known good part put in to try."""
    pumps = any(circuit.parts[name].kind == "pump" for name in circuit.loads)
    fuse = circuit.parts[check.swaps].spare == "fuse"
    return [swapping.CAUTION, *([swapping.FUEL_CAUTION] if pumps else []), *([swapping.FUSE_CAUTION] if fuse else [])]


def _fitting_cautions(setup: Setup) -> list[str]:
    """What to mind with a test lamp, fused leads, or a ground given by hand."""
    tools = {name.partition("@")[0] for name in setup.fitted}
    said = []
    if "lamp" in tools:
        said.append("The bulb gets hot: keep it away from tank, pump and hands; fit and take it off with the key off.")
    if "leads" in tools:
        said.append("Fused leads, at most ten seconds dry; make and break the last connection away from tank and "
                    "battery.")  # fmt: skip
    if "ground" in tools:
        said.append("A fused lead of about 2 A, on this terminal only, and not after a crash or with a smell of fuel; "
                    "not for laymen.")  # fmt: skip
    return said


STARTER_MAY_TURN = (
    "If run and start feeds are joined, the starter turns as soon as the key goes on: neutral or park, brake on, "
    "hands clear, and the key back at once."
)

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


def say_repaired(faults: Sequence[str]) -> str:
    """What is done next, once these faults, in words, have been repaired."""
    return f"Repaired: {'; '.join(faults)}. Now the readings that prove it, and whatever it may have hidden."


def say_holds(p: float) -> str:
    """That a repair has been proved, with this probability that nothing is wrong any more."""
    return f"The repair holds: nothing that was read or seen since is wrong ({p:.1%} sure)."
