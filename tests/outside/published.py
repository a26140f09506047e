"""What the published-value tests share: sums on a few branches, and small circuits with a bench supply.

Both go through the program: the first through its solver alone, the second from the file's text on.
"""

from __future__ import annotations

import numpy as np

from troubleshoot.circuit import Network, wire_up
from troubleshoot.files.circuit_file import parse_circuit
from troubleshoot.solve.linear import Circuits, Incidence, Solved

FOOT_M = 0.3048

Row = tuple[int, int, float, float]
"""A branch: nodes a and b, ohms, volts of the source in it (its plus at a)."""


def solve(*rows: Row) -> Solved:
    """The branches solved; node 0 is the reference."""
    net = Incidence(
        1 + max(max(a, b) for a, b, _, _ in rows),
        np.array([a for a, _, _, _ in rows]),
        np.array([b for _, b, _, _ in rows]),
    )
    return Solved(net, Circuits.of(np.array([[1 / ohm for _, _, ohm, _ in rows]]), np.array([[e for *_, e in rows]])))


def drawn(amps: float) -> Row:
    """A load from node 1 to the reference that draws just that current, whatever its volts."""
    return (1, 0, 1e9, -amps * 1e9)


def drop(ohm: float, amps: float) -> float:
    """Volts along a run of so many ohms with a current drawn through it."""
    return -float(solve((1, 0, ohm, 0.0), drawn(amps)).volts[0, 1])


def small(volts: float, parts: dict[str, str], wires: dict[str, tuple[str, str, str]]) -> Network:
    """A circuit on an ideal supply, `supply.pos` and `supply.neg`: parts as the file has them, wires as from, to and
    size with length. What is not stated is 0.001 mohm."""
    lines = [
        "format: 2", "title: worked example", "feeds: load", "joint: 0.001 mohm", "works: {key: off}", "parts:",
        f"  supply: {{kind: supply, voltage: {volts} V, limit: 1000 A, internal_resistance: 0.001 mohm}}",
        *(f"  {name}: {{{fields}}}" for name, fields in parts.items()),
        "wires:",
        *(f"  - {{name: {name}, from: {start}, to: {end}, {size}}}" for name, (start, end, size) in wires.items()),
    ]  # fmt: skip
    return wire_up(parse_circuit("\n".join(lines) + "\n"))


SHORT = "gauge: 120 mm², length: 0.01 m"
"""A wire with next to no ohms."""
