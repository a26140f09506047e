"""A check taken apart into what to do first, next and last, each in ready words, for a screen that sets them apart."""

from __future__ import annotations

from dataclasses import dataclass, replace

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.circuit import Circuit
from troubleshoot.circuit.network import Network
from troubleshoot.circuit.setups import Setup, key_before
from troubleshoot.parts import Relay
from troubleshoot.words import say
from troubleshoot.words.moving import say_watch

NOTHING: frozenset[str] = frozenset()


@dataclass(frozen=True)
class OnRelay:
    """Where the leads go on a relay: stamped numbers, "" for a lead that is elsewhere."""

    say: str
    numbers: tuple[str, ...]
    red: str
    black: str
    on_part: bool


@dataclass(frozen=True)
class Steps:
    """What a check asks, piece by piece. Empty where there is nothing to say.

    `put_back` is what the last check took out and this one wants in; `red_mark` and `black_mark` are the stamped
    terminal numbers; `on_relays` every relay that a lead goes to; `again` how a check is made anew.
    """

    key: str
    before: str
    start_prevented: str
    operated: tuple[str, ...]
    fitted: tuple[str, ...]
    out: tuple[str, ...]
    put_back: tuple[str, ...]
    look: str
    red: str
    black: str
    red_mark: str
    black_mark: str
    clamp: str
    meter: str
    hold: str
    on_relays: tuple[OnRelay, ...]
    again: str


def steps_of(network: Network, check: Check, last: Setup) -> Steps:
    """The pieces of a check that comes after one in the setup `last`."""
    circuit, setup = network.circuit, check.setup
    is_reading = check.kind == "reading"
    turned = setup.key in ("cranking", "remote")
    out = setup.removed - (circuit.unplugged_to_crank if turned else frozenset()) - say.on_extension(setup)
    back = last.removed - setup.removed
    return Steps(
        key=say.say_key(circuit, setup.key),
        before=""
        if setup.key == "off"
        else say.say_key(circuit, key_before(circuit, replace(setup, operated=NOTHING))),
        start_prevented=circuit.start_prevented.by if turned and circuit.start_prevented else "",
        operated=tuple(say.say_operated(circuit, setup)),
        fitted=tuple(say.say_fitted(network, setup)),
        out=tuple(say.say_out(circuit, Setup(setup.key, out))),
        put_back=_put_back(circuit, back),
        look="" if is_reading else say.say_look(circuit, check),
        red=say.say_point(network, check.red) if check.red else "",
        black=say.say_point(network, check.black) if check.black else "",
        clamp=f"{say.say_wire(network, check.wire)}, arrow {say.say_arrow(network, check.wire)}" if check.wire else "",
        red_mark=_mark(check.red),
        black_mark=_mark(check.black),
        meter=say.SAY_FUNCTION[check.function] if is_reading else "",
        hold=say.say_hold(circuit, setup) if check.is_held else say_watch(check) if check.watched else "",
        on_relays=_on_relays(network, check),
        again=say.say_again(network, check) if check.again else "",
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
            found[name] = OnRelay(part.spoken, part.numbers, red, black, node.endswith(".blade"))
    return tuple(found.values())
