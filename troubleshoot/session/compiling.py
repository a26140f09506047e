"""A circuit's file made into a tree's, by what a person can do: from text to text, so that any machine can do it."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from troubleshoot.circuit.circuit import Circuit
from troubleshoot.circuit.complaints import complaints_of
from troubleshoot.errors import Problem, TroubleshootError, TypedWrong
from troubleshoot.files.file_text import read_text
from troubleshoot.files.guesses_file import SHIPPED
from troubleshoot.files.tell import shown, suggest
from troubleshoot.session.ability import Can, told_limits
from troubleshoot.session.kept import guesses_of, reasoner_of, table_of
from troubleshoot.session.proving import prove_file
from troubleshoot.tree.certificate import Certificate, certificate_file, hashes_of, write_certificate
from troubleshoot.tree.compile import BUDGET, PATIENCE, compile_tree, usable
from troubleshoot.tree.lookahead import Least
from troubleshoot.tree.tree_file import CIRCUIT, FILE, tree_text


@dataclass(frozen=True)
class Order:
    """A tree to be made: from a circuit file's text, told as `file`; for a person with these limits in words, after a
    complaint ("" for any), by a guesses file ("" the shipped one). With `cars`, to be proved by so many of each fault
    at each severity."""

    text: str
    file: str
    least: Least = "mean-time"
    can: tuple[str, ...] = ()
    after: str = ""
    guesses: str = ""
    cars: int = 0
    budget: int = BUDGET
    patience: tuple[float, ...] = PATIENCE


@dataclass(frozen=True)
class Made:
    """What came of an order: the texts of the tree and of its certificate, and `figures`; or the `problem`."""

    tree: str = ""
    certificate: str = ""
    figures: dict[str, Any] = field(default_factory=dict)
    problem: str = ""


def make(order: Order) -> Made:
    """Fills an order; what is wrong with it is told in `problem`."""
    try:
        return _made(order)
    except TroubleshootError as error:
        return Made(problem=str(error))


def _made(order: Order) -> Made:
    table, guesses = table_of(order.text, order.file, order.guesses), guesses_of(order.guesses)
    circuit = table.network.circuit
    _check_complaint(circuit, order.after)
    able = Can().with_limits(limits_of(circuit, order.can))
    checks = usable(circuit, able.allowed(table.network, table.checks), order.after)
    groups = reasoner_of(table, guesses, checks).group_of[:-1]
    made = compile_tree(
        table, guesses, checks, groups, order.least, order.after, order.can, order.budget, order.patience
    )
    figures = made.figures()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / FILE
        path.with_name(CIRCUIT).write_text(order.text, encoding="utf-8")
        path.write_text(tree_text(made.tree), encoding="utf-8")
        rules = Path(order.guesses) if order.guesses else SHIPPED
        write_certificate(path, Certificate(hashes_of(path, path.with_name(CIRCUIT), rules), {}, figures))
        if order.cars:
            prove_file(path, order.cars, guesses=rules if order.guesses else None, certify=True)
        certificate = certificate_file(path).read_text(encoding="utf-8")
        return Made(path.read_text(encoding="utf-8"), certificate, {**figures, **json.loads(certificate)["proved"]})


def limits_of(circuit: Circuit, words: Sequence[str]) -> dict[str, Any]:
    """What a person's words say of what they can do: fields of `Can`. Raises TypedWrong for what is not understood."""
    limits: dict[str, Any] = {}
    for each in words:
        said, unread = told_limits(circuit, each)
        if unread or not said:
            hint = "in words like: alone, no ohms, no long leads, a lamp, can't reach the pump"
            raise TypedWrong(Problem("unknown-limit", f"'{shown(each)}' is not understood", hint))
        limits |= said
    return limits


def _check_complaint(circuit: Circuit, after: str) -> None:
    known = complaints_of(circuit)
    if after and after not in known:
        hint = suggest(after, known, "there are")
        raise TypedWrong(Problem("unknown-complaint", f"'{shown(after)}' is no complaint about this circuit", hint))


def orders(path: Path, **rest: Any) -> dict[Path, Order]:
    """An order for a circuit's file, or for all circuits in the folders of a folder, by the tree's file to write."""
    found = [path] if path.is_file() else sorted(path.glob(f"*/{CIRCUIT}"))
    if not found:
        raise TypedWrong(Problem("no-circuit", f"there is no {CIRCUIT} in the folders of {shown(str(path))}",
                                 f"each circuit in a folder of its own: FOLDER/NAME/{CIRCUIT}"))  # fmt: skip
    return {each.with_name(FILE): Order(read_text(each), str(each), **rest) for each in found}


def keep(path: Path, made: Made) -> None:
    """Writes a tree and its certificate to where they go."""
    path.write_text(made.tree, encoding="utf-8")
    certificate_file(path).write_text(made.certificate, encoding="utf-8")
