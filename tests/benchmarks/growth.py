"""How the work grows with the circuit: time and memory of the table, and the time to the next check.

    python tests/benchmarks/growth.py [--quick] [--seed N] [--parts N ...]

Generated circuits (generated.py) of 10 to 160 parts, each in a process of its own; exponents are slopes of a line
through logarithms over the sizes from 40 parts (with `--quick`, which stops earlier, over the last three).
`table_s`: from the wired-up circuit to mean and spread of every reading in every cell. `memory_mb`: the most that
process ever held beyond what it held before; `groups_mb`: the same once the look-alikes are found, too. `next_check_s`:
the slowest of a session's, from an answer to the next check. The last line is JSON.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import time
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from generated import circuit_text
from sampled import seconds_to_next

from troubleshoot.car import Car
from troubleshoot.circuit import wire_up
from troubleshoot.diagnose.reason import Reasoner
from troubleshoot.expect.table import build_table
from troubleshoot.files.circuit_file import parse_circuit
from troubleshoot.files.guesses_file import load_guesses

SIZES = (10, 20, 40, 80, 160)
QUICK_SIZES = (10, 20, 40)
FITTED_FROM = 40
CHECKS = 6
"""Checks of the session that is timed."""

Figures = dict[str, Any]


def peak_mb() -> float:
    """The most memory that this process ever held."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def measure(parts: int, seed: int) -> Figures:
    """One size's figures."""
    circuit, guesses = parse_circuit(circuit_text(parts), "generated"), load_guesses()
    network = wire_up(circuit)
    before_mb, wall, cpu = peak_mb(), time.perf_counter(), time.process_time()
    table = build_table(circuit, guesses)
    _ = table.stack
    table_s, table_cpu_s = time.perf_counter() - wall, time.process_time() - cpu
    table_mb = peak_mb() - before_mb
    wall = time.perf_counter()
    reasoner = Reasoner(table, guesses, table.checks)
    _ = reasoner.group_of
    groups_s, groups_mb = time.perf_counter() - wall, peak_mb() - before_mb
    times = next_check_times(reasoner, seed)
    return {
        "parts": parts, "nodes": len(network.nodes), "branches": len(network.branches), "cells": len(table.cells),
        "setups": len(table.setups), "readings": len(table.readings), "table_s": round(table_s, 3),
        "table_cpu_s": round(table_cpu_s, 3), "memory_mb": round(table_mb, 1), "groups_s": round(groups_s, 2),
        "groups_mb": round(groups_mb, 1), "first_check_s": round(times[0], 3), "next_check_s": round(max(times[1:]), 3),
    }  # fmt: skip


def next_check_times(reasoner: Reasoner, seed: int) -> list[float]:
    """Seconds to each check of a session with a blown fuse in the middle of the circuit."""
    network = reasoner.table.network
    blown = [fault for fault in network.faults if fault.name.startswith("fuse_") and fault.name.endswith(":blown")]
    car = Car(network, blown[len(blown) // 2], None, seed)
    return seconds_to_next(reasoner, car, CHECKS)


def apart(parts: int, seed: int) -> Figures:
    """The same in a process of its own."""
    command = [sys.executable, __file__, "--one", str(parts), "--seed", str(seed)]
    told = subprocess.run(command, capture_output=True, text=True, check=True)
    return dict(json.loads(told.stdout.splitlines()[-1]))


def exponent(rows: list[Figures], key: str) -> float:
    """The slope of ln(key) over ln(parts), least squares."""
    x, y = (np.log([row[name] for row in rows]) for name in ("parts", key))
    return round(float(np.polyfit(x, y, 1)[0]), 2)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="up to 40 parts only, same code")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--parts", type=int, nargs="*", default=None, help="other sizes: 5 and multiples of 5")
    parser.add_argument("--one", type=int, default=0, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.one:
        print(json.dumps(measure(given.one, given.seed)))
        return
    rows = []
    for parts in given.parts or (QUICK_SIZES if given.quick else SIZES):
        rows.append(apart(parts, given.seed))
        if len(rows) == 1:
            print("".join(f"{key:>14}" for key in rows[0]))
        print("".join(f"{value:>14}" for value in rows[-1].values()), flush=True)
    fitted = [row for row in rows if row["parts"] >= FITTED_FROM] if rows[-1]["parts"] > FITTED_FROM else rows[-3:]
    largest = rows[-1]
    print(json.dumps({
        "seed": given.seed, "quick": given.quick, "fitted_on": [row["parts"] for row in fitted],
        "time_exponent": exponent(fitted, "table_cpu_s"), "memory_exponent": exponent(fitted, "memory_mb"),
        f"next_check_{largest['parts']}_parts_s": largest["next_check_s"], "sizes": rows,
    }))  # fmt: skip


if __name__ == "__main__":
    main()
