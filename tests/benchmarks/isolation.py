"""How often the true fault is found, how sure the program is, and what it costs: sessions with sampled cars.

    python tests/benchmarks/isolation.py [--quick] [--seed N]

The full run is every fault × 5 severities off the grid × 20 cars. The last line is JSON.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
from collections.abc import Iterable

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from sampled import Run, cars, interval, run_session, shipped_table
from true_groups import load

from troubleshoot.diagnose.reason import SURE, Reasoner
from troubleshoot.files.guesses_file import load_guesses

WORKERS = 2
_reasoner: Reasoner


def _play(task: tuple[int, int, int, int]) -> list[Run]:
    """One worker's share of the cars."""
    severities, each, seed, part = task
    table = _reasoner.table
    drawn = cars(table.network, set(table.names), severities, each, seed, part, WORKERS)
    return [run_session(_reasoner, name, car) for name, car in drawn]


def play_all(severities: int, each: int, seed: int) -> list[Run]:
    """All sessions, on all workers."""
    global _reasoner
    _reasoner = Reasoner(shipped_table(), load_guesses(), [])
    _reasoner.checks = _reasoner.table.checks
    _ = _reasoner.group_of, _reasoner.table.stack
    with multiprocessing.get_context("fork").Pool(WORKERS) as pool:
        parts = pool.map(_play, [(severities, each, seed, part) for part in range(WORKERS)])
    return [run for part in parts for run in part]


def figures(runs: Iterable[Run], true_groups: list[frozenset[str]]) -> dict[str, object]:
    """The figures by name."""
    runs = list(runs)
    truth = {name: group for group in true_groups for name in group}
    found = [run.true in run.leaders for run in runs]
    exact = [frozenset(run.leaders) == truth[run.true] for run in runs]
    sure = [run for run in runs if run.probability > SURE]
    right = sum(run.true in run.leaders for run in sure)
    return {
        "sessions": len(runs),
        "found_share": round(float(np.mean(found)), 4),
        "found_interval": interval(sum(found), len(runs)),
        "group_exact_share": round(float(np.mean(exact)), 4),
        "group_exact_interval": interval(sum(exact), len(runs)),
        "group_size_ratio": round(
            float(np.mean([len(r.leaders) for r in runs]) / np.mean([len(truth[r.true]) for r in runs])), 4
        ),
        "right_above_097": round(right / max(1, len(sure)), 4),
        "right_above_097_interval": interval(right, len(sure)),
        "share_above_097": round(len(sure) / len(runs), 4),
        "mean_readings": round(float(np.mean([run.answers for run in runs])), 3),
        "worst_readings": max(run.answers for run in runs),
        "mean_minutes": round(float(np.mean([run.seconds for run in runs])) / 60, 3),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="fewer cars, same code")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    severities, each = (2, 4) if given.quick else (5, 20)
    runs = play_all(severities, each, given.seed)
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
    print(json.dumps({"seed": given.seed, "quick": given.quick, **figures(runs, load())}))


if __name__ == "__main__":
    main()
