"""One finding of a review: how bad, where, what, why it matters, what to do, and by whose word."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from troubleshoot.circuit.circuit import Circuit
from troubleshoot.parts import Wire

Severity = Literal["danger", "fault", "doubt", "note"]
SEVERITIES: tuple[Severity, ...] = get_args(Severity)

PRACTICE = "common practice, no source"
RECKONED = "reckoned from the circuit as written"

GUESSED = 0.5
"""Tolerance of a wire from which its size and length were never measured."""


@dataclass(frozen=True)
class Finding:
    """`code` is short and stable; `path` leads to it in the circuit file, `line` counts from 1 (0: not from a file).

    `danger` can hurt somebody or burn something; with a `fault` it does not do what it should; a `doubt` is to be
    looked at; a `note` only says what is unusual, or that it is harmless.
    """

    code: str
    severity: Severity
    path: tuple[str | int, ...]
    where: str
    what: str
    why: str
    do: str
    source: str
    line: int = 0


def at_part(circuit: Circuit, name: str) -> tuple[tuple[str | int, ...], str]:
    """Path and words for a part."""
    return ("parts", name), circuit.named_parts[name].spoken


def at_wire(circuit: Circuit, wire: Wire) -> tuple[tuple[str | int, ...], str]:
    """Path and words for a wire."""
    return ("wires", circuit.wires.index(wire)), wire.spoken


def listed(words: list[str]) -> str:
    """ "a", "a and b", "a, b and c"."""
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)
