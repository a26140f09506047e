"""Checks the solver against ngspice: every shipped circuit, all nodes, setups, faults. A program, and a stored copy.

    python tests/outside/ngspice.py [--quick] [--severities N] [--seed N] [--store] [CIRCUIT ...]

One row a circuit, then one line of JSON. ngspice checks our arithmetic, not the world. `--quick` takes a sample of
each circuit's faults. Where ngspice is missing, the volts that it gave when the stored copy was made are used, and
the line says `"live": false`. CIRCUIT: the name of a shipped one, or a file.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from typing import Any

import numpy as np
from ask import ask_ngspice
from compare import Score, compare, whole
from shipped import names, network_of
from spice_run import is_here
from stored import StaleCopyError, read_store, score_stored, store
from which import list_cases, name_setup, setups_of, some_of

from troubleshoot.errors import FileProblems

QUICK_CASES = 10
"""Faults of each circuit with --quick, beside the healthy one."""

WORKERS = 2


def check(name: str, severities: int = 1, seed: int = 0, sample: int | None = None) -> Score:
    """One circuit, asked of ngspice itself; `sample` takes that many of its faults."""
    network = network_of(name)
    cases = list_cases(network, severities, seed)
    if sample is not None:
        cases = some_of(cases, sample, seed)
    return whole(compare(network, cases, ask_ngspice(network, cases, WORKERS, done=_tell(name, len(cases)))))


def _tell(name: str, count: int) -> Any:
    """Writes how far one is over the same line, for a person who waits."""
    if not sys.stderr.isatty():
        return lambda done: None
    return lambda done: print(f"\r{name} {done}/{count}", end=" " * 8 + "\r", file=sys.stderr, flush=True)


def curves(name: str) -> tuple[float, str] | None:
    """For information: how far the healthy circuit's volts lie from those with a diode's exponential and a filament's
    power law in ngspice, over all setups. None where nothing bends but motors."""
    network = network_of(name)
    if all(bend.kind not in ("diode", "filament") for bend in network.bends):
        return None
    cases = list_cases(network, 1, 0)[:1]
    straight, curved = (ask_ngspice(network, cases, WORKERS, bent)["healthy"] for bent in (False, True))
    worst = (0.0, "")
    for setup in map(name_setup, setups_of(network)):
        one, other = straight[setup], curved[setup]
        if one is None or other is None:
            continue
        apart = np.abs(np.array(one) - np.array(other))
        if apart.max() > worst[0]:
            worst = float(apart.max()), f"{setup}: {network.nodes[int(apart.argmax())]}"
    return worst


def rows(given: argparse.Namespace, live: bool) -> Iterator[tuple[str, Score]]:
    """Each circuit's score, as it comes in."""
    kept = None if live else read_store()
    for name in given.circuits or names():
        if kept is not None:
            yield name, score_stored(name, kept)
        else:
            yield name, check(name, given.severities, given.seed, QUICK_CASES if given.quick else None)


HEAD = f"{'circuit':24} parts faults setups solves float near chatter wrong worst V   worst rel worst ohm rel"


def row_of(name: str, score: Score) -> str:
    """A circuit's line of the table."""
    network = network_of(name)
    return (
        f"{name[-24:]:24} {len(network.circuit.parts):5} {len(network.faults):6} {len(setups_of(network)):6} "
        f"{score.cases:6} {score.floating:5} {score.near_threshold:4} {score.chatter:7} "
        f"{len(score.wrong) + len(score.wrong_ohms):5} {score.worst_abs_v:9.1e} {score.worst_rel:9.1e} "
        f"{score.worst_ohm_rel:9.1e}  {score.worst_at}"
    )


def figures(scores: dict[str, Score], live: bool) -> dict[str, Any]:
    """The figures of the last line."""
    sums = whole(scores)
    return {
        "circuits": len(scores), "solves": sums.cases, "nodes": sums.nodes, "ohms": sums.ohms,
        "worst_abs_v": sums.worst_abs_v, "worst_rel": sums.worst_rel, "worst_ohm_rel": sums.worst_ohm_rel,
        "disagreed_states": len(sums.wrong), "disagreed_ohms": len(sums.wrong_ohms),
        "near_threshold": sums.near_threshold, "chatter": sums.chatter, "floating": sums.floating,
        "worst_floating_v": sums.worst_floating_v, "live": live,
    }  # fmt: skip


def main() -> int:
    told = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    told.add_argument("circuits", nargs="*", metavar="CIRCUIT")
    told.add_argument("--quick", action="store_true", help=f"the healthy circuit and {QUICK_CASES} faults of each")
    told.add_argument("--severities", type=int, choices=(1, 2, 3), default=1, help="of each fault (default 1)")
    told.add_argument("--seed", type=int, default=0, help="of the severities, and of what --quick takes")
    told.add_argument("--store", action="store_true", help="make the stored copy anew first")
    given = told.parse_args()
    if given.store:
        store()
    live = is_here()
    scores: dict[str, Score] = {}
    print(HEAD)
    try:
        for name, score in rows(given, live):
            scores[name] = score
            print(row_of(name, score), flush=True)
    except (StaleCopyError, FileProblems) as wrong:
        print(wrong, file=sys.stderr)
        return 2
    for name, score in scores.items():
        for line in (*score.told, *score.wrong, *score.wrong_ohms):
            print(f"{name}: {line}")
    if live:
        print_curves(scores)
    print(json.dumps(figures(scores, live)))
    return 1 if any(score.wrong or score.wrong_ohms for score in scores.values()) else 0


def print_curves(scores: dict[str, Score]) -> None:
    """How much the two straight lines of diodes and filaments matter; not part of what is judged."""
    print("for information: two lines against a diode's exponential and a filament's power law, healthy circuit")
    for name in scores:
        found = curves(name)
        if found:
            print(f"{name[-24:]:24} {found[0]:.2f} V at {found[1]}")


if __name__ == "__main__":
    sys.exit(main())
