"""What takes long and is the same for every job on a circuit: kept from one session to the next."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.circuit import Circuit
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.circuit.network import wire_up
from troubleshoot.diagnose.reason import Reasoner
from troubleshoot.expect.cells import NOT_DESCRIBED
from troubleshoot.expect.stored import from_arrays, to_arrays
from troubleshoot.expect.table import Table, build_table
from troubleshoot.files.circuit_file import parse_circuit
from troubleshoot.files.guesses_file import load_guesses
from troubleshoot.session import cache
from troubleshoot.solve import meter


def table_of(circuit_text: str, name: str, guesses: str, accuracy_percent: float = meter.ACCURACY_PERCENT) -> Table:
    """The table of a circuit file's text, a guesses file ("" the shipped one) and a meter; the last few are kept."""
    return _table_of(circuit_text, name, guesses, accuracy_percent)


@lru_cache(maxsize=4)
def _table_of(circuit_text: str, name: str, guesses: str, accuracy_percent: float) -> Table:
    """From disk where it has been worked out before, else worked out and kept there."""
    key = cache.key_of(circuit_text, guesses_of(guesses).model_dump_json(), repr(accuracy_percent))
    circuit = circuit_of(circuit_text, name)
    arrays = cache.load(key)
    if arrays is not None:
        try:
            return _named(from_arrays(wire_up(circuit), arrays, accuracy_percent), key)
        except cache.DAMAGED:
            pass
    table = _named(build_table(circuit, guesses_of(guesses), accuracy_percent), key)
    cache.store(key, to_arrays(table))
    return table


def _named(table: Table, key: str) -> Table:
    table.key = key
    return table


def reasoner_of(table: Table, guesses: Guesses, checks: Sequence[Check]) -> Reasoner:
    """The reasoner for these checks, with its look-alike groups from disk where they have been found before."""
    reasoner = Reasoner.shared(table, guesses, checks)
    if table.key and not reasoner.has_groups:
        key = cache.key_of(table.key, "groups", *(check.id for check in checks))
        groups = cache.groups_from(cache.load(key), {*table.names, NOT_DESCRIBED.name})
        if groups is None:
            cache.store(key, cache.groups_to(reasoner.groups))
        else:
            reasoner.groups = groups
    return reasoner


@lru_cache(maxsize=4)
def circuit_of(circuit_text: str, name: str) -> Circuit:
    """The circuit of a file's text; the last few are kept."""
    return parse_circuit(circuit_text, name)


def guesses_of(path: str) -> Guesses:
    """The guesses file, the shipped one where none is given."""
    return load_guesses(Path(path)) if path else load_guesses()
