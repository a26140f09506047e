"""How long things take, for every shipped circuit: the table of predictions, the same solves in ngspice, the table
from disk, the next check, the help; and once the screens.

    python tests/benchmarks/speed.py [CIRCUIT ...] [--quick] [--seed N]

`table_s`: from the circuit's file to the volts of every suspect in every setup, with mean and spread of every
reading over all that is not known (the sensitivities). `predict_cpu_s` is the part of it after the list of cells has
been found (which takes solutions of many more cases). Beside it in the same run: one long-running ngspice process
that turns the same cells through the same setups (a sample of decks, scaled up to all), and the settled cases solved
once more by numpy.linalg.solve, each by itself. ngspice gives no sensitivities, so the ratios are on the low side:
`table_vs_ngspice` to `predict_cpu_s`, which is the same work, `build_vs_ngspice` to all of the table.
`cached_s`: the same table from disk. `cpu` figures are without what other programs took from the processor.
The last line is JSON; `_worst` are over the circuits.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[1] / "outside"))

import numpy as np
from netlist import write_netlist
from sampled import CIRCUIT, cars, seconds_to_next
from screen import screen_figures
from shipped import names, path_of
from spice_run import is_here
from which import pairs_of, setups_of

from troubleshoot.circuit import wire_up
from troubleshoot.circuit.cost import Stand
from troubleshoot.diagnose.reason import Reasoner
from troubleshoot.expect.table import Table, build_table
from troubleshoot.files.circuit_file import load_circuit
from troubleshoot.files.guesses_file import load_guesses
from troubleshoot.session import kept

Figures = dict[str, Any]


def shortest(work: Callable[[], Any], times: int) -> tuple[float, float, Any]:
    """The shortest of `times` runs by the clock and in processor seconds, and the last result."""
    wall_s, cpu_s, result = [], [], None
    for _ in range(times):
        wall, cpu = time.perf_counter(), time.process_time()
        result = work()
        wall_s.append(time.perf_counter() - wall)
        cpu_s.append(time.process_time() - cpu)
    return min(wall_s), min(cpu_s), result


def tabulate(name: str) -> Table:
    """The table with all that it predicts."""
    table = build_table(load_circuit(path_of(name)), load_guesses())
    _ = table.stack
    return table


def predict(table: Table) -> Table:
    """The same cells' predictions once more."""
    again = Table(table.network, table.cells)
    _ = again.stack
    for setup in again.setups:
        again.bench.settled(setup)
    return again


def resolve_s(table: Table) -> float:
    """The final solution of every (cell, setup), each by itself with numpy.linalg.solve."""
    took = 0.0
    for setup in table.setups:
        one = table.solved(setup)
        start = time.perf_counter()
        a = one.net.matrix()
        for g, e in zip(one.siemens, one.emf_v, strict=True):
            np.linalg.solve((a * g) @ a.T, a @ (g * e))
        took += time.perf_counter() - start
    return took


def ngspice_s(table: Table, decks: int, seed: int, limit_s: float) -> tuple[float, float]:
    """Seconds by the clock and of the processor that one ngspice process would take for all cells in all setups, from a
    sample of them.

    A deck with which ngspice does not come to an end within the limit is left out, and those behind it: that flatters
    ngspice. 0 where it comes to the end of none.
    """
    rng = np.random.default_rng(seed)
    circuit, setups, pairs = table.network.circuit, setups_of(table.network), pairs_of(table.network)
    with tempfile.TemporaryDirectory() as folder:
        lines = ["* many decks", ".control"]
        for number, at in enumerate(rng.integers(1, len(table.cells), decks)):
            cell = table.cells[int(at)]
            text = write_netlist(circuit, cell.fault.name, cell.severity, setups, pairs).text
            path = Path(folder, f"d{number}.cir")
            path.write_text(text, encoding="ascii", errors="replace")
            lines += [f"source {path}", "run", "destroy all", "remcirc", f"echo done > {folder}/d{number}.done"]
        control = Path(folder, "many.cir")
        control.write_text("\n".join([*lines, "quit", ".endc", ".end", ""]))
        start, cpu_s = time.time(), children_s()
        with contextlib.suppress(subprocess.TimeoutExpired):
            subprocess.run(["ngspice", "-b", str(control)], capture_output=True, check=False, timeout=limit_s)
        busy = (children_s() - cpu_s) / (time.time() - start)
        ends = [path.stat().st_mtime for path in Path(folder).glob("*.done")]
    took = (max(ends) - start) / len(ends) * len(table.cells) if ends else 0.0
    return took, took * busy


def children_s() -> float:
    """Processor seconds of all processes started so far that have ended."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def cached_figures(name: str, times: int) -> Figures:
    """The table from disk, and all from the file's text to the first check, in a cache of our own."""
    text = path_of(name).read_text(encoding="utf-8")
    guesses = kept.guesses_of("")

    def load() -> Table:
        kept._table_of.cache_clear()
        table = kept.table_of(text, name, "")
        _ = table.stack
        return table

    def start() -> None:
        kept.circuit_of.cache_clear()
        table = load()
        kept.reasoner_of(table, guesses, table.checks).next_choice([], Stand())

    with tempfile.TemporaryDirectory() as folder:
        os.environ["XDG_CACHE_HOME"] = folder
        start()
        return {"cached_s": round(shortest(load, times)[0], 4), "cached_start_s": round(shortest(start, times)[0], 4)}


def next_check_times(reasoner: Reasoner, sessions: int, seed: int) -> list[float]:
    """Seconds from an answer to the next check, over sampled sessions."""
    times: list[float] = []
    table = reasoner.table
    for number, (_, car) in enumerate(cars(table.network, set(table.names), 1, 1, seed)):
        if number >= sessions:
            break
        times += seconds_to_next(reasoner, car)
    return times


def figures_of(name: str, quick: bool, seed: int) -> Figures:
    """One circuit's figures."""
    table_s, cpu_s, table = shortest(lambda: tabulate(name), 2 if quick else 5)
    predict_cpu_s = shortest(lambda: predict(table), 2 if quick else 5)[1]
    reasoner = Reasoner(table, load_guesses(), table.checks)
    groups_s = shortest(lambda: reasoner.group_of, 1)[0]
    times = next_check_times(reasoner, 3 if quick else 24, seed)
    found = {
        "cells": len(table.cells), "setups": len(table.setups), "readings": len(table.readings),
        "table_s": round(table_s, 3), "table_cpu_s": round(cpu_s, 3),
        "predict_cpu_s": round(predict_cpu_s, 3), "groups_s": round(groups_s, 3),
        "next_check_p50_s": round(float(np.percentile(times, 50)), 4),
        "next_check_p95_s": round(float(np.percentile(times, 95)), 4), "next_checks": len(times),
        **cached_figures(name, 2 if quick else 5),
    }  # fmt: skip
    if not quick:
        found["resolve_s"] = round(resolve_s(table), 2)
    if is_here():
        spice_s, spice_cpu_s = ngspice_s(table, 3 if quick else 12, seed, 5 if quick else 30)
        if spice_s:
            found |= {"ngspice_s": round(spice_s), "ngspice_cpu_s": round(spice_cpu_s),
                      "table_vs_ngspice": round(spice_cpu_s / predict_cpu_s, 1),
                "build_vs_ngspice": round(spice_cpu_s / cpu_s, 1)}  # fmt: skip
    return found


SHOWN = (
    "cells", "setups", "readings", "table_s", "table_cpu_s", "predict_cpu_s", "ngspice_cpu_s", "table_vs_ngspice",
    "build_vs_ngspice", "cached_s", "groups_s", "next_check_p50_s", "next_check_p95_s",
)  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("circuits", nargs="*", help="names of shipped circuits; all where none is named")
    parser.add_argument("--quick", action="store_true", help="fewer runs, same code")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    print(f"{'circuit':26}" + "".join(f"{name.removesuffix('_s')[:12]:>13}" for name in SHOWN))
    found: dict[str, Figures] = {}
    for name in given.circuits or names():
        found[name] = figures_of(name, given.quick, given.seed)
        print(f"{name:26}" + "".join(f"{found[name].get(key, '-'):>13}" for key in SHOWN), flush=True)
    network = wire_up(load_circuit(CIRCUIT))
    help_s = shortest(
        lambda: subprocess.run([sys.executable, "-m", "troubleshoot", "--help"], capture_output=True, check=True), 3
    )[0]
    first = CIRCUIT.parent.name
    whole = {
        "seed": given.seed, "quick": given.quick, "circuits": len(found),
        **found.get(first, {}),
        **worst(found), "help_s": round(help_s, 3),
        "peak_mb": round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024),
    }  # fmt: skip
    whole |= screen_figures(network, given.quick, given.seed)
    for key, value in whole.items():
        print(f"{key:28} {value}")
    print(json.dumps({**whole, "by_circuit": found}))


def worst(found: dict[str, Figures]) -> Figures:
    """The least favourable of each figure over the circuits."""
    slowest = ("table_s", "table_cpu_s", "cached_s", "cached_start_s", "groups_s", "next_check_p50_s",
               "next_check_p95_s")  # fmt: skip
    figures: Figures = {f"{key}_worst": max(each[key] for each in found.values()) for key in slowest}
    for key in ("table_vs_ngspice", "build_vs_ngspice"):
        ratios = [each[key] for each in found.values() if key in each]
        figures |= {f"{key}_worst": min(ratios)} if ratios else {}
    return figures


if __name__ == "__main__":
    main()
