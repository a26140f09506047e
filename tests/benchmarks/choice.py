"""How close the choice of checks comes to the cheapest possible, on decision tables of the shipped circuits.

    python tests/benchmarks/choice.py [--quick] [--seed N] [--instances N] [--workers N]

An instance is a shipped circuit's decision table, read fresh, with drawn priors (each cell's weight times exp N(0,1))
and drawn costs (each guessed number of seconds times exp N(0, 0.5)), cut down to 28 to 60 cells drawn at random. Half
have constant costs, half also cost what it takes to change the setup and the place. The exact solver proves each
optimum; the policies' expected seconds are divided by it. An instance that was not proved in its budget counts
in `unproved` and is left out of the shares. The rollout plans on hedged weights (HEDGE), `unhedged` on the weights
as they are; both are reckoned with the right ones. "Priors wrong by 5" can be read in two ways, and both are printed.
`priors5x`: the rollout chooses on weights that are each 5 times too high or too low, by the toss of a coin, and its
cost is reckoned with the right ones; `priors5x_within`: wrong by a factor drawn evenly on the log scale from 1/5 to 5.
`priors5x_exact`: the exact optimum of the weights of `priors5x`, reckoned with the right ones: no chooser that
believes its weights can be expected to do better (it may happen to, on an instance).
`table_gap`: seconds of sessions with sampled cars over those of their decision tables (table_gap.py).
Seconds are CPU seconds of one core. The last line is JSON.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass, replace
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from table_gap import gap_of, sessions

from troubleshoot.circuit.cost import Stand
from troubleshoot.circuit.guesses import Costs, Guesses
from troubleshoot.diagnose.belief import prior_of
from troubleshoot.diagnose.decision import DecisionTable, decide
from troubleshoot.diagnose.optimum import find_optimum, worth_while
from troubleshoot.diagnose.reason import Reasoner
from troubleshoot.diagnose.rollout import Plan, Rollout, Sorting, State, walked_s
from troubleshoot.expect.table import Table, build_table
from troubleshoot.files.circuit_file import load_circuit
from troubleshoot.files.guesses_file import load_guesses
from troubleshoot.places import trees
from troubleshoot.session.ability import Can
from troubleshoot.solve.linear import Floats

FEWEST, MOST = 28, 60
"""Cells of an instance."""

BUDGET = 80_000
"""Work (sets of cells looked at, states opened) after which the solver gives up on an instance."""

SESSIONS, QUICK_SESSIONS = 24, 6
"""Sampled sessions of each circuit, for the table's gap."""

QUICK_CIRCUITS = ("horn-button-to-ground", "pump-by-switch", "radiator-fan-thermal", "training-bench")
"""The quickest to read and to group."""

Rng = np.random.Generator


@dataclass(frozen=True)
class Read:
    """A shipped circuit, read and grouped, with the checks that a usual person can do."""

    table: Table
    guesses: Guesses
    reasoner: Reasoner

    @classmethod
    def of(cls, folder: Path) -> Read:
        guesses = load_guesses()
        table = build_table(load_circuit(folder / "circuit.yaml"), guesses)
        # a check that hangs on an earlier reading is none of the table's
        checks = [check for check in Can().allowed(table.network, table.checks) if not check.after]
        return cls(table, guesses, Reasoner(table, guesses, checks))

    def decision(self, guesses: Guesses, severities: int) -> DecisionTable:
        prior = prior_of(self.table, guesses)
        return decide(self.table, guesses, prior, self.reasoner.group_of, self.reasoner.checks, Stand(), severities)


def drawn_costs(rng: Rng, guesses: Guesses) -> Guesses:
    """Every number of seconds times exp N(0, 0.5)."""
    costs = {
        name: guess.model_copy(update={"value": guess.value * float(rng.lognormal(0, 0.5))})
        for name, guess in guesses.costs
    }
    return guesses.model_copy(update={"costs": Costs(**costs)})


def constant(table: DecisionTable) -> DecisionTable:
    """The same without what it takes to change setup and place."""
    return replace(table, change_s=np.zeros((1, table.act_s.size)), after=np.zeros_like(table.after), start=0)


def drawn(read: Read, rng: Rng, setups: bool, severities: int) -> DecisionTable:
    """One instance."""
    whole = read.decision(drawn_costs(rng, read.guesses), severities)
    table = whole if setups else constant(whole)
    # cells that were told apart only by each other may fall together: draw until enough are left
    while True:
        count = int(rng.integers(FEWEST, min(MOST, table.weight.size) + 1))
        some = table.restricted(np.sort(rng.choice(table.weight.size, count, replace=False)))
        if some.weight.size >= FEWEST:
            return some.reweighted(some.weight * rng.lognormal(0, 1, some.weight.size))


# ---- policies to compare with


def greedy(table: DecisionTable, score: Callable[[Floats, Floats, int], Floats]) -> Plan:
    """The policy that takes the splitting check of the highest score(nats about groups, about cells, stand)."""
    sorting = Sorting(table)
    root = (table.everything, table.start)
    choice: dict[State, int] = {}
    waiting = [root]
    while waiting:
        alive, stand = waiting.pop()
        if table.is_done(alive) or (alive, stand) in choice:
            continue
        groups, cells = sorting.nats(table.alive([alive]))
        rated = np.where(cells[0] > 1e-15, score(groups[0] + 1e-6 * cells[0], cells[0], stand), -np.inf)
        check = choice[alive, stand] = int(rated.argmax())
        waiting += [(part, int(table.after[check])) for band in table.bands[check] if (part := alive & band)]
    return Plan(choice, walked_s(table, choice, root))


def hedged(table: DecisionTable) -> Plan:
    """What the rollout chooses on a table whose weights it does not quite believe."""
    return Rollout(table.hedged()).plan()


def wrong_by(table: DecisionTable, factor: float, rng: Rng) -> DecisionTable:
    """Weights each `factor` times too high or too low."""
    return table.reweighted(table.weight * factor ** rng.choice([-1.0, 1.0], table.weight.size))


def compare(table: DecisionTable, rng: Rng, budget: int) -> dict[str, float]:
    """An instance's figures: policies' seconds over the proved bound."""
    rollout = Rollout(table)
    plan = rollout.plan()
    start = time.process_time()
    optimum = find_optimum(table, budget, plan)
    took = time.process_time() - start
    policies = {
        "rollout": hedged(table).under(table),
        "unhedged": plan.cost_s,
        "information_per_cost": rollout.base_plan().cost_s,
        "cost_ignored": greedy(table, lambda groups, cells, stand: groups).cost_s,
        "random": float(np.mean([greedy(table, lambda g, c, s: rng.random(g.size)).cost_s for _ in range(3)])),
    }
    for factor in (2.0, 5.0):
        believed = wrong_by(table, factor, rng)
        policies[f"priors{factor:.0f}x"] = hedged(believed).under(table)
    policies["priors5x_exact"] = find_optimum(believed, budget).plan.under(table)
    within = table.reweighted(table.weight * 5.0 ** rng.uniform(-1, 1, table.weight.size))
    policies["priors5x_within"] = hedged(within).under(table)
    found = {name: seconds / optimum.plan.cost_s for name, seconds in policies.items()}
    found |= {"proved": optimum.is_proved, "gap": optimum.gap, "cells": table.weight.size, "solve_s": took}
    return found | {"checks": table.act_s.size}


# ---- the large ones


def largest(read: Read, rng: Rng, cells: int, checks: int) -> DecisionTable:
    """Constant costs, about so many cells and checks, all cells still told apart."""
    table = constant(read.decision(read.guesses, 1))
    table = table.restricted(np.sort(rng.choice(table.weight.size, min(cells, table.weight.size), replace=False)))
    kept = np.arange(table.act_s.size)
    for check in rng.permutation(kept):
        if kept.size <= checks:
            break
        fewer = kept[kept != check]
        if np.unique(table.outcome[fewer].T, axis=0).shape[0] == table.weight.size:
            kept = fewer
    return table.with_checks(kept)


def with_setups(read: Read, rng: Rng, cells: int) -> DecisionTable | None:
    """All costs as guessed, so many cells; None where the circuit has fewer."""
    table = read.decision(read.guesses, 1)
    if table.weight.size < cells:
        return None
    return table.restricted(np.sort(rng.choice(table.weight.size, cells, replace=False)))


def solve_large(name: str, table: DecisionTable, budget: int) -> dict[str, float | str]:
    """Time, gap and size of one large table."""
    start = time.process_time()
    optimum = find_optimum(table, budget)
    return {
        "name": name, "cells": table.weight.size, "groups": int(np.unique(table.group).size),
        "checks": table.act_s.size, "worth_while": worth_while(table).size, "stands": len(table.change_s),
        "s": time.process_time() - start, "gap": optimum.gap, "looked_at": optimum.looked_at,
    }  # fmt: skip


def of_circuit(folder: Path, seed: int, instances: int, large: bool) -> dict[str, list[dict[str, float | str]]]:
    """All that is measured on one circuit."""
    start = time.process_time()
    read = Read.of(folder)
    rng = np.random.default_rng([seed, *folder.name.encode()])
    rows = []
    for number in range(instances):
        table = drawn(read, rng, setups=number % 2 == 1, severities=1 + number // 2 % 2)
        rows.append({"circuit": folder.name, "setups": number % 2, **compare(table, rng, BUDGET)})
    setup = with_setups(read, rng, 64) if large else None
    found = {"instances": rows, "setup_64": [], "largest": []}
    if setup is not None:
        found["setup_64"] = [solve_large(folder.name, setup, 4 * BUDGET)]
    if large and folder.name == "radiator-fan-two-speed":
        found["largest"] = [solve_large(folder.name, largest(read, rng, 97, 186), 5 * BUDGET)]
    before = time.process_time()
    found["sessions"] = sessions(read.reasoner, SESSIONS if large else QUICK_SESSIONS, rng)
    now = time.process_time()
    most_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    found["took"] = [{"s": now - start, "sessions_s": now - before, "mb": most_mb}]
    return found


POLICIES = ("rollout", "information_per_cost", "cost_ignored", "random", "priors2x", "priors5x", "priors5x_within",
            "priors5x_exact", "unhedged")  # fmt: skip


def figures(rows: list[dict[str, float]]) -> dict[str, float]:
    """Means and worst of the proved instances."""
    proved = [row for row in rows if row["proved"]]
    found: dict[str, float] = {"instances": len(proved), "unproved": len(rows) - len(proved)}
    for name in POLICIES:
        over = np.array([row[name] for row in proved])
        found[f"{name}_mean"], found[f"{name}_worst"] = round(float(over.mean()), 4), round(float(over.max()), 4)
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="few circuits and instances, same code")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--instances", type=int, default=8, help="per circuit")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--circuits", nargs="*", help="only these")
    given = parser.parse_args()
    folders = sorted(path.parent for path in trees().glob("*/circuit.yaml"))
    wanted = given.circuits or (QUICK_CIRCUITS if given.quick else [folder.name for folder in folders])
    folders = [folder for folder in folders if folder.name in wanted]
    instances = 4 if given.quick else given.instances
    start = time.perf_counter()
    print(f"{'circuit':24} {'kind':9} {'cells':>5} {'checks':>6} {'rollout':>8} {'inf/cost':>8} {'no cost':>8} "
          f"{'random':>7} {'pri 2x':>7} {'pri 5x':>7} {'pri <5x':>7} {'5x ex.':>7} {'unhedg.':>7} {'gap':>7} "
          f"{'solved in':>9}", flush=True)  # fmt: skip
    # each circuit in a process of its own, so that its memory is its own
    with ProcessPoolExecutor(given.workers, max_tasks_per_child=1) as pool:
        jobs = [pool.submit(of_circuit, folder, given.seed, instances, not given.quick) for folder in folders]
        for number, job in enumerate(as_completed(jobs), 1):
            show(job.result())
            print(f"{number} of {len(jobs)} circuits done, {time.perf_counter() - start:.0f} s", flush=True)
        found = [job.result() for job in jobs]
    rows = [row for one in found for row in one["instances"]]
    report(given.seed, given.quick, rows, found)


def show(one: dict[str, list[dict[str, float]]]) -> None:
    """A circuit's instances and large tables, a line each, and what it took."""
    for row in one["instances"]:
        over = " ".join(f"{row[name]:8.4f}" if i < 3 else f"{row[name]:7.3f}" for i, name in enumerate(POLICIES))
        kind = "setups" if row["setups"] else "constant"
        print(f"{row['circuit']:24} {kind:9} {row['cells']:5} {row['checks']:6} {over} {row['gap']:7.4f}", end="")
        print(f" {row['solve_s']:7.2f} s")
    for kind in ("setup_64", "largest"):
        for row in one[kind]:
            print(kind, {k: round(v, 4) if isinstance(v, float) else v for k, v in row.items()})
    took = one["took"][0]
    print(f"{took['s']:.0f} s of CPU, {took['sessions_s']:.0f} s of it sessions; {took['mb']:.0f} MB at most")


def report(
    seed: int, quick: bool, rows: list[dict[str, float]], found: list[dict[str, list[dict[str, float]]]]
) -> None:
    """The figures of all, and the line of JSON."""
    parts = {kind: figures([r for r in rows if r["setups"] == flag]) for flag, kind in ((0, "constant"), (1, "setups"))}
    for kind, part in parts.items():
        print(kind, part)
    every = figures(rows)
    last = {
        "seed": seed, "quick": quick, "instances": every["instances"], "unproved": every["unproved"],
        "mean_over_optimum": every["rollout_mean"], "worst_over_optimum": every["rollout_worst"],
        "unhedged_mean": every["unhedged_mean"], "unhedged_worst": every["unhedged_worst"],
        "priors2x_over_optimum": every["priors2x_mean"], "priors5x_over_optimum": every["priors5x_mean"],
        "priors5x_worst": every["priors5x_worst"], "priors5x_exact_over_optimum": every["priors5x_exact_mean"],
        "priors5x_within_over_optimum": every["priors5x_within_mean"],
        **{f"{name}_{kind}": every[f"{name}_{kind}"] for name in POLICIES[1:4] for kind in ("mean", "worst")},
        **{f"{kind}_{name}": part[f"rollout_{name}"] for kind, part in parts.items() for name in ("mean", "worst")},
    }  # fmt: skip
    setup = [row for one in found for row in one["setup_64"]]
    for row in (row for one in found for row in one["largest"]):
        last |= {"exact_largest_s": round(row["s"], 2), "exact_largest_gap": round(row["gap"], 5),
                 "exact_largest_cells": row["cells"], "exact_largest_checks": row["checks"]}  # fmt: skip
    if setup:
        solved = sorted(row["s"] for row in setup if row["gap"] < 1e-8)
        last |= {"exact_setup_64": len(setup), "exact_setup_64_solved": len(solved),
                 "exact_setup_64_s": round(float(np.median([row["s"] for row in setup])), 2),
                 "exact_setup_64_worst_s": round(max(row["s"] for row in setup), 2),
                 "gap_worst": round(max(row["gap"] for row in [*setup, *rows]), 4)}  # fmt: skip
    last |= gap_of([row for one in found for row in one["sessions"]])
    last["peak_mb"] = round(max(one["took"][0]["mb"] for one in found))
    print(json.dumps(last))


if __name__ == "__main__":
    main()
