"""How long things take: the table of predictions, the same solves in ngspice, the next check, the help.

    python tests/benchmarks/speed.py [--quick] [--seed N]

`table_s` is all cells' settled volts in every setup, with the sensitivities of every reading. Beside it in the
same run: the same cases by plain re-solving, and in one long-running ngspice process (a sample of decks, each
turning the key through all states as the table does, scaled up to all). The last line is JSON.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[1] / "outside"))

import numpy as np
from netlist import write_netlist
from sampled import CIRCUIT, answer, cars
from screen import screen_figures
from spice_run import is_here
from which import list_runs

from troubleshoot.circuit import wire_up
from troubleshoot.diagnose.cost import Stand
from troubleshoot.diagnose.reason import Reasoner
from troubleshoot.expect.cells import list_cells, solve_setups
from troubleshoot.expect.table import Table
from troubleshoot.files.circuit_file import load_circuit
from troubleshoot.files.guesses_file import load_guesses


def seconds_of(work: object, times: int = 1) -> tuple[float, object]:
    """The shortest of `times` runs, and the last result."""
    best, result = float("inf"), None
    for _ in range(times):
        start = time.perf_counter()
        result = work()  # type: ignore[operator]
        best = min(best, time.perf_counter() - start)
    return best, result


def resolve_s(table: Table) -> float:
    """The final solution of every (cell, setup), each by itself with numpy.linalg.solve."""
    solved = [solved for solved, _, _ in solve_setups(table.bench, table.setups)]
    start = time.perf_counter()
    for one in solved:
        a = one.net.matrix()
        for g, e in zip(one.siemens, one.emf_v, strict=True):
            np.linalg.solve((a * g) @ a.T, a @ (g * e))
    return time.perf_counter() - start


def ngspice_s(table: Table, decks: int, seed: int) -> float:
    """Seconds that one ngspice process would take for all (cell, run) decks, from a sample of them."""
    runs = list_runs(table.network)
    rng = np.random.default_rng(seed)
    with tempfile.TemporaryDirectory() as folder:
        lines = ["* many decks", ".control"]
        for number in range(decks):
            cell = table.cells[int(rng.integers(1, len(table.cells)))]
            one = runs[number % len(runs)]
            text = write_netlist(
                table.network.circuit, cell.fault.name, cell.severity, one.removed, one.prevented, one.upto
            ).text
            path = Path(folder, f"d{number}.cir")
            path.write_text(text, encoding="ascii", errors="replace")
            lines += [f"source {path}", "run", "destroy all", "remcirc"]
        control = Path(folder, "many.cir")
        control.write_text("\n".join([*lines, "quit", ".endc", ".end", ""]))
        start = time.perf_counter()
        subprocess.run(["ngspice", "-b", str(control)], capture_output=True, check=False)
        took = time.perf_counter() - start
    return took / decks * len(runs) * len(table.cells)


def next_check_times(reasoner: Reasoner, sessions: int, seed: int) -> list[float]:
    """Seconds from an answer to the next check, over sampled sessions."""
    times = []
    table = reasoner.table
    for number, (_, car) in enumerate(cars(table.network, set(table.names), 1, 1, seed)):
        if number >= sessions:
            break
        evidence, stand = [], Stand()
        while True:
            start = time.perf_counter()
            choice, _ = reasoner.next_choice(evidence, stand)
            times.append(time.perf_counter() - start)
            if choice is None:
                break
            evidence.append(answer(choice.check, car.answer(choice.check)))
            stand = Stand(choice.check.setup, choice.check.place)
    return times


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="fewer runs, same code")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    guesses = load_guesses()
    network = wire_up(load_circuit(CIRCUIT))
    cells_s, cells = seconds_of(lambda: list_cells(network, guesses))

    def tabulate() -> Table:
        table = Table(network, cells)  # type: ignore[arg-type]
        _ = table.stack
        return table

    table_s, table = seconds_of(tabulate, 2 if given.quick else 5)
    assert isinstance(table, Table)
    groups_s, reasoner = seconds_of(lambda: _grouped(table))
    assert isinstance(reasoner, Reasoner)
    times = next_check_times(reasoner, 12 if given.quick else 48, given.seed)
    help_s, _ = seconds_of(
        lambda: subprocess.run([sys.executable, "-m", "troubleshoot", "--help"], capture_output=True, check=True), 5
    )
    plain_s = resolve_s(table)
    figures = {
        "seed": given.seed, "quick": given.quick, "cells": len(table.cells), "setups": len(table.setups),
        "readings": len(table.readings), "cells_s": round(cells_s, 3), "table_s": round(table_s, 3),
        "resolve_s": round(plain_s, 3), "groups_s": round(groups_s, 3),
        "next_check_p50_s": round(float(np.percentile(times, 50)), 4),
        "next_check_p95_s": round(float(np.percentile(times, 95)), 4), "next_checks": len(times),
        "help_s": round(help_s, 3),
        "peak_mb": round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024),
    }  # fmt: skip
    figures |= screen_figures(network, given.quick, given.seed)
    if is_here():
        spice_s = ngspice_s(table, 20 if given.quick else 100, given.seed)
        figures |= {"ngspice_s": round(spice_s, 1), "table_vs_ngspice": round(spice_s / table_s, 1)}
    for name, value in figures.items():
        print(f"{name:20} {value}")
    print(json.dumps(figures))


def _grouped(table: Table) -> Reasoner:
    reasoner = Reasoner(table, load_guesses(), table.checks)
    _ = reasoner.group_of
    return reasoner


if __name__ == "__main__":
    main()
