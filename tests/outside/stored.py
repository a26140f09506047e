"""What ngspice said when it was last here: each case of each circuit in one setup, at a few of its nodes.

Kept so that the check runs where there is no ngspice. Which setup and which nodes goes round from case to case.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from ask import Found, ask_ngspice
from compare import Score, compare, whole
from shipped import names, network_of, path_of
from which import list_cases, name_case, name_ohms, name_setup, setups_of

from troubleshoot.circuit import Network, Setup
from troubleshoot.solve.cases import Case

STORED = Path(__file__).resolve().parent / "ngspice_stored.json"
DIGITS = 7
SEED = 0
NODES = 8
"""How many nodes are kept of a case; two of eight or so float, and say little."""

STRIDE = 7
"""Which: every seventh, from the case's own number on."""


class StaleCopyError(Exception):
    """The stored copy is of another circuit than the one in the tree."""


def circuit_hash(name: str) -> str:
    return hashlib.sha256(path_of(name).read_bytes()).hexdigest()[:16]


def _by_setup(network: Network) -> dict[Setup, list[tuple[int, Case]]]:
    """The numbered cases, by the setup in which each is kept: the next one for each case."""
    setups = setups_of(network)
    kept: dict[Setup, list[tuple[int, Case]]] = {}
    for number, case in enumerate(list_cases(network, 1, SEED)):
        kept.setdefault(setups[number % len(setups)], []).append((number, case))
    return kept


def _nodes_of(network: Network, number: int) -> list[int]:
    """Indices of the nodes that are kept of a case."""
    count = len(network.nodes)
    return [(number + STRIDE * step) % count for step in range(min(NODES, count // STRIDE))]


def store(done: Callable[[str], object] = print) -> None:
    """Asks ngspice and writes what it says; the solver is not asked."""
    told = {}
    for name in names():
        network = network_of(name)
        rows: dict[str, list[Any]] = {}
        for setup, numbered in _by_setup(network).items():
            table = ask_ngspice(network, [case for _, case in numbered], setups=[setup])
            for number, case in numbered:
                rows[name_case(case)] = _kept(network, number, setup, table[name_case(case)])
        told[name] = {"circuit": circuit_hash(name), "nodes": len(network.nodes), "volts": rows}
        done(f"{name}: {len(rows)} cases kept")
    text = ",\n".join(f'"{name}":{json.dumps(each, separators=(",", ":"))}' for name, each in told.items())
    STORED.write_text(f"{{\n{text}\n}}\n", encoding="utf-8")


def _kept(network: Network, number: int, setup: Setup, found: Found) -> list[Any]:
    """Volts at the case's nodes (None: it came to no rest), then ohms where ohms are read in its setup."""
    volts, ohms = found[name_setup(setup)], found.get(name_ohms(setup))
    return [
        volts and [_rounded(volts[node]) for node in _nodes_of(network, number)],
        [_rounded(ohm) for ohm in ohms or []],
    ]


def _rounded(value: float) -> float:
    return float(f"{value:.{DIGITS}g}")


def read_store() -> dict[str, Any]:
    return dict(json.loads(STORED.read_text(encoding="utf-8")))


def score_stored(name: str, kept: dict[str, Any] | None = None) -> Score:
    """The solver against the stored copy of one circuit; raises StaleCopyError."""
    told = (kept or read_store()).get(name, {})
    network = network_of(name)
    cases = list_cases(network, 1, SEED)
    asks = f"{STORED.name} is of another {name}: run ngspice.py --store where ngspice is"
    if told.get("circuit") != circuit_hash(name) or told["nodes"] != len(network.nodes):
        raise StaleCopyError(asks)
    if set(told["volts"]) != {name_case(case) for case in cases}:
        raise StaleCopyError(asks)
    table = {
        name_case(case): _restored(network, number, setup, told["volts"][name_case(case)])
        for setup, numbered in _by_setup(network).items()
        for number, case in numbered
    }
    return whole(compare(network, cases, table, partial=True))


def _restored(network: Network, number: int, setup: Setup, row: list[Any]) -> Found:
    """A case's row as `compare` wants it: nan at the nodes that were not kept."""
    volts, ohms = row
    found: Found = {name_setup(setup): None}
    if volts is not None:
        every = [float("nan")] * len(network.nodes)
        for node, volt in zip(_nodes_of(network, number), volts, strict=True):
            every[node] = volt
        found[name_setup(setup)] = every
    return found | ({name_ohms(setup): ohms} if ohms else {})
