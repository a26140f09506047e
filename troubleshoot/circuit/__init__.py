"""Parts joined up: circuit, network, faults, setups and checks. Right of parts, left of files."""

from __future__ import annotations

from troubleshoot.circuit.check_list import list_checks
from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.circuit import Circuit
from troubleshoot.circuit.network import Network, wire_up
from troubleshoot.circuit.setups import Setup
from troubleshoot.circuit.stretches import Point, Stretch
from troubleshoot.parts.keys import KEYS, SAY_KEY

__all__ = [
    "KEYS",
    "SAY_KEY",
    "Check",
    "Circuit",
    "Network",
    "Point",
    "Setup",
    "Stretch",
    "list_checks",
    "wire_up",
]
