"""A reading of the person's own choice, from words or fields to a check: "86 cranking 0.2"."""

from __future__ import annotations

import re
from typing import cast

from troubleshoot.circuit.checks import Check, Function, reading
from troubleshoot.circuit.circuit import Circuit
from troubleshoot.circuit.setups import Setup, cranking_setup, working_setup
from troubleshoot.errors import Problem, TypedWrong
from troubleshoot.expect.table import Table
from troubleshoot.units import quote
from troubleshoot.words.limits import parts_named
from troubleshoot.words.say import SAY_FUNCTION

LOOKS = ("lamp", "click", "runs", "whole", "hot", "swap")
"""What may be told of one's own accord as seen or heard: "lamp pump bright", "click relay no click", "swap relay works
now" (a known good one tried in its place)."""


def find_look(table: Table, text: str) -> tuple[Check, str] | None:
    """The observation that words tell, and the answer; None where they begin with none. Raises TypedWrong.

    Words: `LOOK PART ANSWER`, of the state in which the load should work.
    """
    kind, _, rest = text.strip().partition(" ")
    if kind.casefold() not in LOOKS:
        return None
    spoken = {name: part.spoken for name, part in table.network.circuit.named_parts.items()}
    for check in sorted(table.checks, key=lambda check: check.setup.key != table.working.key):
        name = check.about.rpartition("@")[2] if kind == "lamp" else check.about.partition(":")[2]
        if not check.about.startswith(f"{kind.casefold()}:"):
            continue
        for answer in check.answers:
            told = rest.casefold().removesuffix(f" {answer}")
            if told != rest.casefold() and name in parts_named(told, spoken):
                return check, answer
    raise TypedWrong(Problem("not-a-look", f"{quote(text)} is not something to look at here",
                             "say it as: lamp pump bright, or: click relay no click"))  # fmt: skip


def find_check(
    table: Table, text: str, red: str = "", black: str = "", function: str = "volts", key: str = "",
    removed: frozenset[str] = frozenset(),
) -> tuple[Check, str]:  # fmt: skip
    """The check that words or fields mean, and the words left over, which are the value.

    Words: `RED [to BLACK] KEY [PART out] VALUE`; black is battery negative where it is not said. Raises TypedWrong.
    """
    if text:
        red, black, key, value = _split(text, key_words(table.network.circuit))
        removed, value = _taken_out(table.network.circuit, value)
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


_OUT = re.compile(r"(.+?)\s+(?:is\s+)?(?:out|off|unplugged|pulled)\b[\s,:]*(.+)", re.IGNORECASE)


def _taken_out(circuit: Circuit, words: str) -> tuple[frozenset[str], str]:
    """What "pump unplugged 12.4" says is out, and the words after it. Raises TypedWrong for an unknown part."""
    found = _OUT.fullmatch(words)
    if not found:
        return frozenset(), words
    names = parts_named(found[1].casefold(), {n: part.spoken for n, part in circuit.named_parts.items()})
    if not names:
        raise TypedWrong(Problem("unknown-part", f"there is no part {quote(found[1])}", "name it as the checks do"))
    return frozenset(names), found[2]


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
