"""A check taken apart into what to do first, next and last, each in ready words, for a screen that sets them apart."""

from __future__ import annotations

from dataclasses import dataclass

from troubleshoot.circuit.checks import Check, Setup
from troubleshoot.circuit.circuit import SAY_KEY, Circuit
from troubleshoot.circuit.network import Network
from troubleshoot.parts import Relay
from troubleshoot.words import say


@dataclass(frozen=True)
class OnRelay:
    """Where the leads go on a relay: stamped numbers, "" for a lead that is elsewhere."""

    say: str
    blades: int
    red: str
    black: str
    on_part: bool


@dataclass(frozen=True)
class Steps:
    """What a check asks, piece by piece. Empty where there is nothing to say.

    `put_back` is what the last check took out and this one wants in; `red_mark` and `black_mark` are the stamped
    terminal numbers; `on_relays` every relay that a lead goes to.
    """

    key: str
    before: str
    start_prevented: str
    out: tuple[str, ...]
    put_back: tuple[str, ...]
    look: str
    red: str
    black: str
    red_mark: str
    black_mark: str
    meter: str
    hold: str
    on_relays: tuple[OnRelay, ...]


HOLD = "Start holding with the key on, then crank for three seconds."


def steps_of(network: Network, check: Check, last: Setup) -> Steps:
    """The pieces of a check that comes after one in the setup `last`."""
    circuit, setup = network.circuit, check.setup
    is_reading = check.kind == "reading"
    cranking = setup.key == "cranking"
    plug = circuit.start_prevented.unplug
    out = setup.removed - {plug} if cranking else setup.removed
    back = last.removed - setup.removed
    return Steps(
        key=SAY_KEY[setup.key],
        before="" if setup.key == "off" else SAY_KEY[setup.before],
        start_prevented=circuit.start_prevented.by if cranking else "",
        out=tuple(say.say_out(circuit, Setup(setup.key, out))),
        put_back=_put_back(circuit, back),
        look="" if is_reading else say.say_look(circuit, check),
        red=say.say_point(network, check.red) if is_reading else "",
        black=say.say_point(network, check.black) if is_reading else "",
        red_mark=_mark(check.red),
        black_mark=_mark(check.black),
        meter=say.SAY_FUNCTION[check.function] if is_reading else "",
        hold=HOLD if check.function in ("volts_min", "volts_max") else "",
        on_relays=_on_relays(network, check),
    )


def _put_back(circuit: Circuit, back: frozenset[str]) -> tuple[str, ...]:
    """What to put back, the battery's clamp last: nothing is plugged together live."""
    ordered = sorted(back, key=lambda name: (name == circuit.battery, name))
    return tuple(
        f"{circuit.named_parts[name].spoken}{' negative clamp' if name == circuit.battery else ''}" for name in ordered
    )


def _mark(node: str) -> str:
    """The stamped number of a terminal, "" where it has none."""
    terminal = node.removesuffix(".blade").rpartition(".")[2]
    return terminal if terminal[:1].isdigit() and ".at." not in node else ""


def _on_relays(network: Network, check: Check) -> tuple[OnRelay, ...]:
    found = {}
    for node in (check.red, check.black):
        name = node.partition(".")[0]
        part = network.circuit.named_parts.get(name)
        if isinstance(part, Relay):
            red, black = (_mark(n) if n.startswith(f"{name}.") else "" for n in (check.red, check.black))
            found[name] = OnRelay(part.spoken, part.blades, red, black, node.endswith(".blade"))
    return tuple(found.values())
