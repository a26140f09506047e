"""A worked-out table as plain arrays, and back: what is kept on disk. Nothing in it can be run.

Strings and setups are JSON in an array of bytes. Whatever does not fit the network raises ValueError.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from troubleshoot.circuit.network import Network
from troubleshoot.circuit.setups import Setup
from troubleshoot.expect.cells import NOTHING_WRONG, Cell
from troubleshoot.expect.moves import Told
from troubleshoot.expect.seen import answer_chances
from troubleshoot.expect.table import Table
from troubleshoot.solve.settle import State

Arrays = dict[str, npt.NDArray[Any]]

TOLD = ("mean", "noise", "sigma", "floats", "loading")
SETS = ("removed", "operated", "fitted", "reseated")


def to_arrays(table: Table) -> Arrays:
    """All that takes long: the cells, what each expects of every reading and sees, and how it settles."""
    settled = table.bench.known_states
    looks = [check for check in table.checks if check.kind == "observation"]
    for check in looks:
        answer_chances(table, check, 0.0)
    words = {
        "faults": [cell.fault.name for cell in table.cells],
        "setups": [_setup_to(setup) for setup in settled],
        "looks": list(table.remembered_all),
    }
    numbers = [
        [*(np.nan if cell.severity is None else cell.severity, cell.ln_sigma, cell.weight),
         *cell.ln_pull_in, *cell.ln_blow, *cell.ln_start]
        for cell in table.cells
    ]  # fmt: skip
    arrays: Arrays = {
        "words": np.frombuffer(json.dumps(words).encode(), dtype=np.uint8),
        "cells": np.array(numbers, dtype=np.float64),
        "states": np.stack([np.column_stack([state.bits(), chatters]).astype(np.int8)
                            for state, chatters in settled.values()]),
    }  # fmt: skip
    arrays |= {f"told_{name}": getattr(table.told, name) for name in TOLD}
    return arrays | {f"look_{k}": chances for k, chances in enumerate(table.remembered_all.values())}


def from_arrays(network: Network, arrays: Mapping[str, npt.NDArray[Any]], accuracy_percent: float) -> Table:
    """The table of a network from what `to_arrays` gave. Raises ValueError or KeyError where that does not fit."""
    words = json.loads(arrays["words"].tobytes())
    faults = {fault.name: fault for fault in (NOTHING_WRONG, *network.faults)}
    relays, fuses, bends = len(network.relays), len(network.fuses), len(network.bends)
    numbers = _shaped(arrays["cells"], np.float64, len(words["faults"]), 3 + relays + fuses + bends)
    cells = []
    for name, (severity, ln_sigma, weight, *shifts) in zip(words["faults"], numbers.tolist(), strict=True):
        cells.append(Cell(
            faults[name], None if severity != severity else severity, ln_sigma, weight,
            tuple(shifts[:relays]), tuple(shifts[relays : relays + fuses]), tuple(shifts[relays + fuses :]),
        ))  # fmt: skip
    table = Table(network, cells, accuracy_percent)
    states = _shaped(arrays["states"], np.int8, len(words["setups"]), len(cells), relays + fuses + bends + 1)
    known = {}
    for setup, bits in zip(words["setups"], states, strict=True):
        pulled, blown, bent, chatters = np.split(bits, [relays, relays + fuses, relays + fuses + bends], axis=1)
        known[_setup_from(setup)] = State(pulled > 0, blown > 0, bent), chatters[:, 0] > 0
    told = [
        _shaped(arrays[f"told_{name}"], np.bool_ if name == "floats" else np.float64, len(cells), table.moments)
        for name in TOLD
    ]
    looks = {name: _shaped(arrays[f"look_{k}"], np.float64, len(cells), -1) for k, name in enumerate(words["looks"])}
    table.restore(Told(*told), known, looks)
    return table


def _shaped(array: npt.NDArray[Any], kind: type, *shape: int) -> npt.NDArray[Any]:
    """The array, of this type and shape (-1: any length); ValueError otherwise."""
    fits = array.ndim == len(shape) and all(want in (-1, has) for want, has in zip(shape, array.shape, strict=True))
    if array.dtype != kind or not fits:
        raise ValueError(f"{array.dtype} {array.shape} where {kind.__name__} {shape} was kept")
    return array


def _setup_to(setup: Setup) -> dict[str, Any]:
    return {"key": setup.key, "warm": setup.warm} | {name: sorted(getattr(setup, name)) for name in SETS}


def _setup_from(data: dict[str, Any]) -> Setup:
    return Setup(key=data["key"], warm=data["warm"], **{name: frozenset(data[name]) for name in SETS})
