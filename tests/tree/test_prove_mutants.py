"""Thirty kinds and places of harm planted in a good tree: the proof fails, and names the place."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest
from tree_mutants import EACH, KINDS, catch, mutants_of

from troubleshoot.circuit.guesses import Guesses
from troubleshoot.files.guesses_file import load_guesses
from troubleshoot.session.proving import doable
from troubleshoot.tree.prove import Proof, prove
from troubleshoot.tree.sampled import draw_sample
from troubleshoot.tree.tree_file import read_tree

BY_HAND = Path(__file__).parents[2] / "trees" / "pump-on-ignition-feed" / "by-hand.yaml"


@pytest.fixture(scope="module")
def guesses() -> Guesses:
    return load_guesses()


def proof_of(guesses: Guesses, cars: int, seed: int) -> Proof:
    tree = read_tree(BY_HAND)
    return prove(tree, draw_sample(tree.network, guesses, cars, seed=seed), guesses, doable(tree), looked=0)


@pytest.mark.slow
def test_planted_harm_is_caught_with_its_place(guesses: Guesses) -> None:
    """Planted where it harms some of one lot of cars, caught with another."""
    planted_by, good = proof_of(guesses, 2, seed=8), proof_of(guesses, 4, seed=9)
    found = mutants_of(planted_by, good, seed=1)
    assert Counter(mutant.kind for mutant in found) == dict.fromkeys(KINDS, EACH)
    allowed = doable(good.tree)
    missed = [caught.mutant for caught in (catch(m, good, guesses, allowed) for m in found) if not caught.by]
    assert [(mutant.kind, mutant.said) for mutant in missed] == []
