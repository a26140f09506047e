"""A tree's file proved: by the checks that whoever it is for can make, with the bound that the compiler has found."""

from __future__ import annotations

from pathlib import Path

from troubleshoot.circuit.check_list import list_checks
from troubleshoot.errors import Problem, TypedWrong
from troubleshoot.files.guesses_file import SHIPPED, load_guesses
from troubleshoot.session.ability import Can, told_limits
from troubleshoot.tree.certificate import (
    bound_for,
    hashes_of,
    proved,
    read_certificate,
    stale,
    write_certificate,
)
from troubleshoot.tree.closer import LOOKED
from troubleshoot.tree.prove import Proof, prove
from troubleshoot.tree.sampled import CARS, SEVERITIES, draw_sample
from troubleshoot.tree.tree import Tree
from troubleshoot.tree.tree_file import FILE, read_tree


def prove_file(
    path: Path, cars: int = CARS, severities: int = SEVERITIES, seed: int = 0, guesses: Path | None = None,
    certify: bool = False, looked: int = LOOKED,
) -> tuple[Proof, str, Path | None]:  # fmt: skip
    """The proof of a tree's file; what is to be said of the certificate that was there, "" for nothing; and where the
    new one was written, where one was asked for. `looked` as for `prove`. Raises FileProblems and TypedWrong."""
    if cars < 1 or severities < 2:
        raise TypedWrong(Problem("too-few", "too few cars", "--cars 1 or more, --severities 2 or more"))
    tree = read_tree(path)
    priors = load_guesses(guesses) if guesses else load_guesses()
    today = hashes_of(path, path.with_name(tree.circuit), guesses or SHIPPED)
    sample = draw_sample(tree.network, priors, cars, severities, seed, tree.after)
    proof = prove(tree, sample, priors, doable(tree), bound_for(path, today, _compiled_beside(path, tree)), looked)
    kept = read_certificate(path)
    notice = stale(kept, today) if kept and not certify else ""
    return proof, notice, write_certificate(path, proved(path, today, proof.figures())) if certify else None


def doable(tree: Tree) -> frozenset[str]:
    """The ids of the checks that whoever a tree is for can make."""
    limits, _ = told_limits(tree.network.circuit, ", ".join(tree.can))
    able = Can().with_limits(limits)
    return frozenset(check.id for check in able.allowed(tree.network, list_checks(tree.network)))


def _compiled_beside(path: Path, tree: Tree) -> Path | None:
    """The compiled tree beside one written by hand, if it is for the same people and the same complaint."""
    beside = path.with_name(FILE)
    if path.name == FILE or not beside.is_file():
        return None
    other = read_tree(beside)
    return beside if (other.after, other.can, other.circuit) == (tree.after, tree.can, tree.circuit) else None
