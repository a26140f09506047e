"""What the complaint and the first questions say of every suspect, before anything is read."""

from __future__ import annotations

import re

import numpy as np

from troubleshoot.circuit.guesses import Guesses
from troubleshoot.diagnose.belief import prior_of
from troubleshoot.diagnose.comes_and_goes import chances_told
from troubleshoot.expect.table import Table
from troubleshoot.parts.branch import Fault
from troubleshoot.session.state import Told
from troubleshoot.solve.linear import Floats

NEVER_WORKED = 5.0
WORKED_BEFORE = 0.1
TOUCHED = 3.0
"""How much the first answers weigh on wiring mistakes, and on parts touched last (invented)."""

MISWIRED = (
    "miswired", "exchanged", "other-layout", "painted-ground", "accessory-feed", "start-feed", "constant-feed",
    "ignition-feed",
)  # fmt: skip
UNLIKE_SAID = 0.3
"""How likely a car with something that the file lacks is brought with any one complaint (invented)."""

SHORTEST_WORD = 4
"""Letters from which a word of "what was touched last" is looked for in the names of parts: not "the", "its"."""


def prior_after(table: Table, guesses: Guesses, told: Told) -> Floats:
    """Probabilities of the table's cells and of "not described" after what was told, (C + 1,)."""
    prior = prior_of(table, guesses)
    prior[:-1] *= chances_told(table, told.complaint)
    prior[-1] *= UNLIKE_SAID if told.complaint != "unsure" else 1.0
    miswired = np.array([cell.fault.prior in MISWIRED for cell in table.cells])
    prior[:-1][miswired] *= {"yes": WORKED_BEFORE, "no": NEVER_WORKED}.get(told.worked, 1.0)
    words = {word for word in _words(told.touched) if len(word) >= SHORTEST_WORD}
    touched = np.array([bool(words & _named(cell.fault)) for cell in table.cells])
    prior[:-1][touched] *= TOUCHED
    return np.asarray(prior / prior.sum())


def _named(fault: Fault) -> set[str]:
    return _words(f"{fault.part} {fault.say}")


def _words(text: str) -> set[str]:
    return set(re.split(r"[^a-z0-9]+", text.lower()))
