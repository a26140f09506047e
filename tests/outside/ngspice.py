"""Checks the solver against ngspice: all nodes, setups, faults, severities. A program, and a stored copy.

    python tests/outside/ngspice.py [--quick] [--seed N] [--store]

Prints a table for people, then one line of JSON. ngspice checks our arithmetic, not the world. Where it is
missing, the volts that it gave when the stored copy was made are used, and the line says `"live": false`.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import sys
from dataclasses import asdict
from pathlib import Path
from typing import Any

from ask import Table, ask_ngspice
from compare import Score, compare
from spice_run import is_here
from which import list_cases, list_runs, name_case, name_setup

from troubleshoot.circuit import Network, wire_up
from troubleshoot.files.circuit_file import load_circuit
from troubleshoot.solve.cases import Case

HERE = Path(__file__).resolve().parent
CIRCUIT = HERE.parents[1] / "trees" / "pump-on-ignition-feed" / "circuit.yaml"
STORED = HERE / "ngspice_stored.json"
DIGITS = 7
STORED_SEED = 0


class StaleCopyError(Exception):
    """The stored copy is of another circuit than the one in the tree."""


def circuit_hash() -> str:
    return hashlib.sha256(CIRCUIT.read_bytes()).hexdigest()


def store(network: Network) -> None:
    """Writes every second (case, setup) of the quick cases, to `DIGITS` digits; the solver is not asked."""
    cases = list_cases(network, 1, STORED_SEED)
    table = ask_ngspice(network, cases)
    setups = [name_setup(setup) for one in list_runs(network) for setup in one.setups]
    volts: Table = {}
    for c, name in enumerate(name_case(case) for case in cases):
        kept = [setup for s, setup in enumerate(setups) if (s + c) % 2 == 0]
        kept += [f"ohms {setup}" for setup in kept if f"ohms {setup}" in table[name]]
        volts[name] = {setup: _rounded(table[name][setup]) for setup in kept}
    told = {"circuit_sha256": circuit_hash(), "nodes": network.nodes, "volts": volts}
    STORED.write_text(json.dumps(told, separators=(",", ":")) + "\n", encoding="utf-8")


def _rounded(volts: list[float] | None) -> list[float] | None:
    return None if volts is None else [float(f"{v:.{DIGITS}g}") for v in volts]


def from_store(network: Network) -> tuple[list[Case], Table]:
    """The stored cases and volts; raises StaleCopyError."""
    kept = json.loads(STORED.read_text(encoding="utf-8"))
    if kept["circuit_sha256"] != circuit_hash():
        raise StaleCopyError(f"{STORED.name} is of another {CIRCUIT.name}: run ngspice.py --store where ngspice is")
    cases = list_cases(network, 1, STORED_SEED)
    if set(kept["nodes"]) != set(network.nodes) or set(kept["volts"]) != {name_case(c) for c in cases}:
        raise StaleCopyError(f"{STORED.name} has other nodes or faults: run ngspice.py --store where ngspice is")
    order = [kept["nodes"].index(node) for node in network.nodes]
    volts: Table = kept["volts"]
    for by_setup in volts.values():
        for name, found in by_setup.items():
            if found is not None and not name.startswith("ohms"):
                by_setup[name] = [found[i] for i in order]
    return cases, volts


def check(severities: int, seed: int, live: bool) -> dict[str, Score]:
    """Scores by setup, from ngspice itself or from the stored copy."""
    network = wire_up(load_circuit(CIRCUIT))
    if live:
        cases = list_cases(network, severities, seed)
        return compare(network, cases, ask_ngspice(network, cases))
    return compare(network, *from_store(network), partial=True)


def whole(scores: dict[str, Score]) -> Score:
    """All setups together."""
    sums = Score()
    for score in scores.values():
        sums.add(score)
    return sums


def figures(score: Score, live: bool) -> dict[str, Any]:
    """The figures of the last line; lists become their lengths."""
    told = asdict(score)
    del told["told"]
    counted = {name: len(value) if isinstance(value, list) else value for name, value in told.items()}
    return counted | {"live": live}


def print_table(scores: dict[str, Score]) -> None:
    wide = max(map(len, scores))
    print(f"{'setup':{wide}}  cases  floating  near  chatter  wrong  worst rel  worst V  ohms  wrong")
    for setup, s in scores.items():
        print(
            f"{setup:{wide}}  {s.cases:5}  {s.floating:8}  {s.near_threshold:4}  {s.chatter:7}  "
            f"{len(s.wrong):5}  {s.worst_rel:9.1e}  {s.worst_abs_v:7.1e}  {s.ohms:4}  {len(s.wrong_ohms):5}"
        )
    for score in scores.values():
        for line in (*score.told, *score.wrong, *score.wrong_ohms):
            print(line)


def main() -> int:
    told = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    told.add_argument("--quick", action="store_true", help="one severity a fault instead of three")
    told.add_argument("--seed", type=int, default=0, help="of the severities")
    told.add_argument("--store", action="store_true", help="make the stored copy anew first")
    given = told.parse_args()
    if given.store:
        store(wire_up(load_circuit(CIRCUIT)))
    live = is_here()
    try:
        scores = check(1 if given.quick else 3, given.seed, live)
    except StaleCopyError as stale:
        print(stale, file=sys.stderr)
        return 2
    print_table(scores)
    score = whole(scores)
    print(json.dumps(figures(score, live)))
    return 1 if score.wrong or score.wrong_ohms else 0


if __name__ == "__main__":
    sys.exit(main())
