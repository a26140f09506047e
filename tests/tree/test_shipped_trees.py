"""The trees that are shipped: one for every circuit, proved with the program as it is, and as good as they say.

Their figures are those of `troubleshoot tree compile trees --prove`; `tests/benchmarks/trees.py` measures them anew.
"""

from __future__ import annotations

import pytest

from troubleshoot.circuit.network import wire_up
from troubleshoot.expect.cells import NOT_DESCRIBED, list_cells
from troubleshoot.files.circuit_file import load_circuit
from troubleshoot.files.guesses_file import SHIPPED, load_guesses
from troubleshoot.places import trees
from troubleshoot.tree.certificate import notice_of, read_certificate
from troubleshoot.tree.tree_file import FILE, read_tree

NAMES = sorted(path.parent.name for path in trees().glob("*/circuit.yaml"))


@pytest.mark.parametrize("name", NAMES)
def test_every_shipped_circuit_has_a_tree_whose_proof_is_of_today_and_holds(name: str) -> None:
    file = trees() / name / FILE
    tree, kept = read_tree(file), read_certificate(file)
    assert notice_of(tree, SHIPPED) == ""
    assert kept
    assert kept.proved["right"] >= tree.claims.right
    assert kept.proved["minutes"] <= tree.claims.minutes
    assert kept.proved["worst_readings"] <= tree.claims.readings
    assert kept.compiled["bound_is_optimum"]
    assert kept.proved["cars"] >= 20 * kept.proved["faults"]


@pytest.mark.parametrize("name", NAMES)
def test_each_fault_that_does_something_has_a_verdict_that_names_it(name: str) -> None:
    file = trees() / name / "circuit.yaml"
    tree = read_tree(trees() / name / FILE)
    named = {suspect for verdict in tree.verdicts.values() for suspect in verdict.suspects}
    cells = list_cells(wire_up(load_circuit(file)), load_guesses())
    assert named - {NOT_DESCRIBED.name} == {cell.fault.name for cell in cells}
