"""How often the true fault is found, how sure the program is, and what it costs: sessions with sampled cars.

    python tests/benchmarks/isolation.py [CIRCUIT] [--all] [--quick] [--seed N]

The full run is every fault × 5 severities off the grid × 20 cars of one circuit; with `--all` one car at one severity
of every fault of every shipped circuit. `--quick` takes every few faults only. Figures about true look-alike groups
are there for circuits whose groups are stored (true_groups.py). The last line is JSON.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from sampled import CIRCUIT, Run, cars, interval, plan, run_session
from true_groups import load

from troubleshoot.diagnose.reason import SURE, Reasoner
from troubleshoot.expect.table import build_table
from troubleshoot.files.circuit_file import load_circuit
from troubleshoot.files.guesses_file import load_guesses
from troubleshoot.places import circuit_path, trees
from troubleshoot.session.ability import Can

WORKERS = 2
QUICK_SESSIONS = 80
_reasoner: Reasoner


@dataclass(frozen=True)
class Share:
    """One worker's share of the cars: of every `parts`-th fault from `part` so many severities × cars."""

    severities: int
    each: int
    seed: int
    part: int
    parts: int


def _play(share: Share) -> list[Run]:
    """One worker's sessions."""
    table = _reasoner.table
    drawn = cars(table.network, set(table.names), share.severities, share.each, share.seed, share.part, share.parts)
    return [run_session(_reasoner, name, car) for name, car in drawn]


def play_all(circuit: Path, severities: int, each: int, seed: int, sessions: float = float("inf")) -> list[Run]:
    """Sessions on one circuit on all workers, with about so many cars at most, of faults spread over all."""
    global _reasoner
    table = build_table(load_circuit(circuit), load_guesses())
    _reasoner = Reasoner(table, load_guesses(), Can().allowed(table.network, table.checks))
    _ = _reasoner.group_of, table.stack
    count = sum(number for _, number in plan(table.network, set(table.names), severities, each))
    apart = max(1, round(count / sessions))
    shares = [Share(severities, each, seed, worker * apart, WORKERS * apart) for worker in range(WORKERS)]
    with multiprocessing.get_context("fork").Pool(WORKERS) as pool:
        return [run for part in pool.map(_play, shares) for run in part]


def figures(runs: Iterable[Run], true_groups: list[frozenset[str]] | None) -> dict[str, object]:
    """The figures by name."""
    runs = list(runs)
    found = [run.true in run.leaders for run in runs]
    sure = [run for run in runs if run.probability > SURE]
    right = sum(run.true in run.leaders for run in sure)
    return {
        "sessions": len(runs),
        "found_share": round(float(np.mean(found)), 4),
        "found_interval": interval(sum(found), len(runs)),
        **(_group_figures(runs, true_groups) if true_groups else {}),
        "right_above_097": round(right / max(1, len(sure)), 4),
        "right_above_097_interval": interval(right, len(sure)),
        "share_above_097": round(len(sure) / len(runs), 4),
        "mean_readings": round(float(np.mean([run.answers for run in runs])), 3),
        "worst_readings": max(run.answers for run in runs),
        "mean_minutes": round(float(np.mean([run.seconds for run in runs])) / 60, 3),
    }


def _group_figures(runs: list[Run], true_groups: list[frozenset[str]]) -> dict[str, object]:
    """What was said beside the groups that no check can tell apart; faults without one count as found amiss."""
    truth = {name: group for group in true_groups for name in group}
    exact = [frozenset(run.leaders) == truth.get(run.true) for run in runs]
    size = np.mean([len(truth.get(run.true, ())) for run in runs])
    return {
        "group_exact_share": round(float(np.mean(exact)), 4),
        "group_exact_interval": interval(sum(exact), len(runs)),
        "group_size_ratio": round(float(np.mean([len(run.leaders) for run in runs]) / size), 4),
    }


def print_runs(runs: list[Run]) -> None:
    """How each fault was found, and the story of each that was not."""
    by_fault: dict[str, list[Run]] = {}
    for run in runs:
        by_fault.setdefault(run.true, []).append(run)
    print(f"{'fault':46} {'cars':>5} {'found':>6} {'readings':>8} {'minutes':>8}")
    for name, mine in by_fault.items():
        share = np.mean([name in run.leaders for run in mine])
        readings = np.mean([run.answers for run in mine])
        print(f"{name:46} {len(mine):5} {share:6.2f} {readings:8.1f} {np.mean([r.seconds for r in mine]) / 60:8.1f}")
    for run in runs:
        if run.true not in run.leaders:
            print(f"\nmissed {run.true} at {run.severity}: said {', '.join(run.leaders)} ({run.probability:.3f})")
            print("\n".join(f"    {line}" for line in run.story))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("circuit", nargs="?", default=CIRCUIT.parent.name, help="a shipped circuit's name, or a file")
    parser.add_argument("--all", action="store_true", help="all shipped circuits, few cars of each")
    parser.add_argument("--quick", action="store_true", help="fewer cars, same code")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    circuits = sorted(trees().glob("*/circuit.yaml")) if given.all else [circuit_path(given.circuit)]
    severities, each = (1, 1) if given.all else (5, 20)
    sessions = QUICK_SESSIONS / len(circuits) if given.quick else float("inf")
    everything: list[Run] = []
    by_circuit: dict[str, dict[str, object]] = {}
    for path in circuits:
        runs = play_all(path, severities, each, given.seed, sessions)
        by_circuit[path.parent.name] = figures(runs, load(path))
        everything += runs
        if given.all:
            print(f"== {path.parent.name}")
        print_runs(runs)
    whole = figures(everything, load(circuits[0]) if len(circuits) == 1 else None)
    if given.all:
        whole["by_circuit"] = by_circuit
    print(json.dumps({"seed": given.seed, "quick": given.quick, "circuits": len(circuits), **whole}))


if __name__ == "__main__":
    main()
