"""Tables of suspects and answers written down by hand, to be put through the program's own belief and chooser.

What a textbook calls a test is an observation here: one answer out of several, whose chances for every suspect are
given. They stand where the chances that a circuit's table works out stand (`Table.remembered_all`); all that comes
after, weighing, choosing, confirming, is the program's. The circuit beneath gives costs only.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache

import numpy as np
from wired import switch_alone

from troubleshoot.circuit import Network, Setup
from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.guesses import Guess, Guesses
from troubleshoot.diagnose.evidence import Known
from troubleshoot.diagnose.reason import Reasoner
from troubleshoot.expect.cells import NOT_DESCRIBED, NOTHING_WRONG, Cell, no_shift
from troubleshoot.expect.table import Table
from troubleshoot.files.guesses_file import load_guesses
from troubleshoot.parts.branch import Fault
from troubleshoot.solve.linear import Floats

Tests = Mapping[str, tuple[Sequence[str], Floats]]
"""By name the answers that a test may give, and the chance of each for every cell, (C, answers)."""

NOTHING = "nothing wrong"
"""The suspect that is none."""


@cache
def _network() -> Network:
    return switch_alone()


def look(name: str, answers: Sequence[str], key: str) -> Check:
    """A test as an observation in the key state in which the circuit works: all take equally long."""
    return Check(name, Setup(key), about=f"test:{name}", answers=tuple(answers))


def hand_table(suspects: Sequence[str], weight: Floats, tests: Tests) -> Table:
    """A table of these suspects (one cell each; the same name twice is one suspect in two cells)."""
    faults = {name: Fault(name, "bad", name, "", "by-hand") for name in dict.fromkeys(suspects)}
    faults[NOTHING] = NOTHING_WRONG
    shift = no_shift(_network())
    share = (weight / weight.sum()).tolist()
    cells = [Cell(faults[name], None, 0.0, p, *shift) for name, p in zip(suspects, share, strict=True)]
    return with_tests(Table(_network(), cells), tests)


def with_tests(table: Table, tests: Tests) -> Table:
    """The table with these tests for its checks, and no others."""
    table.__dict__["checks"] = [look(name, answers, table.working.key) for name, (answers, _) in tests.items()]
    table.remembered_all |= {name: chances for name, (_, chances) in tests.items()}
    return table


def guesses_with(wrong_look: float) -> Guesses:
    """The shipped guesses, with another chance that an answer is wrong (it is then any of the answers)."""
    guesses = load_guesses()
    wrong = Guess(value=wrong_look, source="stated by the test")
    return guesses.model_copy(
        update={"mistakes": guesses.mistakes.model_copy(update={"wrong_look": wrong}),
                "priors": guesses.priors | {"by-hand": Guess(value=1.0, source="the cells' own weights count")}},
    )  # fmt: skip


def reasoner_of(table: Table, guesses: Guesses) -> Reasoner:
    """A reasoner in which every suspect is a group of its own."""
    reasoner = Reasoner(table, guesses, table.checks)
    names = [*dict.fromkeys(table.names), NOT_DESCRIBED.name]
    reasoner.__dict__["groups"] = [frozenset({name}) for name in names]
    return reasoner


def prior_of_cells(table: Table) -> Floats:
    """The cells' weights, and nothing for "not described", (C + 1,)."""
    return np.append(table.weight, 0.0)


def answered(table: Table, said: Mapping[str, str]) -> list[Known]:
    """Answers by the test's name."""
    return [Known(c, choice=c.answers.index(said[c.id])) for c in table.checks if c.id in said]
