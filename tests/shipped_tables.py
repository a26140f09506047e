"""Shipped circuits for tests: the table of each and its checks by name, worked out once a run."""

from __future__ import annotations

from functools import cache

from troubleshoot.circuit.checks import Check
from troubleshoot.expect.table import Table
from troubleshoot.places import circuit_path
from troubleshoot.session import kept


@cache
def table_of(name: str) -> Table:
    """The table of a shipped circuit, from the folder that a run's workers share where one has worked it out."""
    return kept.table_of(circuit_path(name).read_text(encoding="utf-8"), name, "")


def check_of(name: str, words: str) -> Check:
    """One of its checks, by its id."""
    return next(check for check in table_of(name).checks if check.id == words)
