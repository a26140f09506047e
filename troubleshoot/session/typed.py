"""A reading of the person's own choice, from words or fields to a check: "86 cranking 0.2"."""

from __future__ import annotations

from typing import cast

from troubleshoot.circuit.checks import Check, Function, reading
from troubleshoot.circuit.circuit import Circuit
from troubleshoot.circuit.setups import Setup, cranking_setup, working_setup
from troubleshoot.errors import Problem, TypedWrong
from troubleshoot.expect.table import Table
from troubleshoot.units import quote
from troubleshoot.words.say import SAY_FUNCTION


def find_check(
    table: Table, text: str, red: str = "", black: str = "", function: str = "volts", key: str = "",
    removed: frozenset[str] = frozenset(),
) -> tuple[Check, str]:  # fmt: skip
    """The check that words or fields mean, and the words left over, which are the value.

    Words: `RED [to BLACK] KEY VALUE`; black is battery negative where it is not said. Raises TypedWrong.
    """
    if text:
        red, black, key, value = _split(text, key_words(table.network.circuit))
    else:
        value = ""
    circuit = table.network.circuit
    keys = key_words(circuit)
    if key not in keys:
        raise TypedWrong(Problem("no-key", f"no key state in {quote(text or key)}", f"say one of: {', '.join(keys)}"))
    if function not in SAY_FUNCTION:
        raise TypedWrong(Problem("no-function", f"unknown meter function {quote(function)}",
                                 f"one of: {', '.join(SAY_FUNCTION)}"))  # fmt: skip
    unknown = removed - set(circuit.parts)
    if unknown:
        raise TypedWrong(Problem("unknown-part", f"there is no part {quote(', '.join(sorted(unknown)))}"))
    if key == WORKING:
        setup = working_setup(circuit, removed)
    else:
        setup = (cranking_setup(circuit) if key == "cranking" else None) or Setup(key, removed)
    if setup not in table.setups:
        raise TypedWrong(Problem("no-setup", "that setup is not among those worked out for this circuit",
                                 "take the reading with everything plugged in"))  # fmt: skip
    node = _point(table, red)
    other = _point(table, black) if black else f"{circuit.battery}.neg"
    if node == other:
        raise TypedWrong(Problem("same-point", f"both leads are on {node}", "name two different points"))
    check = reading(table.network, node, other, cast(Function, function), setup)
    if check.is_ohms and circuit.battery not in removed:
        raise TypedWrong(Problem("live-ohms", "ohms are read with the battery off only"))
    return check, value


WORKING = "working"
"""What one types for the state in which the load should work, where that takes more than the key."""


def key_words(circuit: Circuit) -> tuple[str, ...]:
    """The words for the states in which one may read."""
    return (*circuit.keys, *([WORKING] if circuit.works.operate else []))


def _split(text: str, keys: tuple[str, ...]) -> tuple[str, str, str, str]:
    words = text.split()
    at = next((i for i, word in enumerate(words) if word.lower() in keys), -1)
    if at < 1 or at == len(words) - 1:
        raise TypedWrong(Problem("not-a-reading", f"{quote(text)} is not a reading",
                                 "say it as: 86 cranking 0.2, or: 30 to 87 on 0.1 V"))  # fmt: skip
    ends = " ".join(words[:at])
    red, _, black = ends.partition(" to ")
    return red.strip(), black.strip(), words[at].lower(), " ".join(words[at + 1 :])


def _point(table: Table, words: str) -> str:
    """The point that words mean: its node name, or the end of it when only one ends so."""
    joined = words.replace(" ", ".")
    if joined in table.network.point_at:
        return joined
    nodes = [p.node for p in table.network.points if not p.node.endswith(".blade")]
    ends = [n for n in nodes if n.endswith(f".{joined}") and ".at." not in n]
    relays = [n for n in ends if n.partition(".")[0] in table.network.circuit.relays]
    found = relays if len(ends) > 1 and len(relays) == 1 else ends
    if len(found) == 1:
        return found[0]
    hint = f"one of: {', '.join(found or [n for n in nodes if '.at.' not in n])}"
    raise TypedWrong(Problem("unknown-point", f"no single point is called {quote(words)}", hint))
