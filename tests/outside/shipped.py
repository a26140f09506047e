"""The circuits that ship with the program, and how many of their cases are worth a given time."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from troubleshoot.circuit import Network, wire_up
from troubleshoot.files.circuit_file import load_circuit

TREES = Path(__file__).resolve().parents[2] / "trees"


def names() -> list[str]:
    """The names of all shipped circuits."""
    return sorted(path.parent.name for path in TREES.glob("*/circuit.yaml"))


def path_of(name: str) -> Path:
    """A shipped circuit's file by its name; anything else is taken as a path."""
    return TREES / name / "circuit.yaml" if name in names() else Path(name)


@cache
def network_of(name: str) -> Network:
    """A circuit wired up."""
    return wire_up(load_circuit(path_of(name)))
