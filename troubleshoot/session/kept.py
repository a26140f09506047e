"""What takes long and is the same for every job on a circuit: kept from one session to the next."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from troubleshoot.circuit.circuit import Circuit
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.expect.table import Table, build_table
from troubleshoot.files.circuit_file import parse_circuit
from troubleshoot.files.guesses_file import load_guesses
from troubleshoot.solve import meter


def table_of(circuit_text: str, name: str, guesses: str, accuracy_percent: float = meter.ACCURACY_PERCENT) -> Table:
    """The table of a circuit file's text, a guesses file ("" the shipped one) and a meter; the last few are kept."""
    return _table_of(circuit_text, name, guesses, accuracy_percent)


@lru_cache(maxsize=4)
def _table_of(circuit_text: str, name: str, guesses: str, accuracy_percent: float) -> Table:
    return build_table(circuit_of(circuit_text, name), guesses_of(guesses), accuracy_percent)


@lru_cache(maxsize=4)
def circuit_of(circuit_text: str, name: str) -> Circuit:
    """The circuit of a file's text; the last few are kept."""
    return parse_circuit(circuit_text, name)


def guesses_of(path: str) -> Guesses:
    """The guesses file, the shipped one where none is given."""
    return load_guesses(Path(path)) if path else load_guesses()
