"""The trees that are shipped, tried with sampled cars: what they find, what they cost, how near their limits are.

    python tests/benchmarks/trees.py [--quick] [--seed N] [--cars N] [--workers N] [TREE ...]

Every fault that does something × 5 severities off any grid (open among them) × 20 cars, of each tree. `right`: the
last verdict names the car's fault; `isolated`: and it names no fault that some single check tells apart in other
sampled cars. `over bound`: mean seconds to the first verdict, each fault as frequent as guessed, over what the
compiler has proved that no tree of its decision table can be under that tells all its rows apart; `all over`: the
same with the steps that tell the suspects of a verdict apart; `gap`: how much dearer the compiled tree is on that
table, at most; in the JSON also `walked_over_table_worst`: measured over what the compiler reckons for the very tree.
Under the table, the verdicts that name more than one such fault, with the share of the tree's cars that come to each
and the check that would tell more. Margins are those of readings that belong on one side of a limit; below zero where
one lay on the other. Mutants: harm planted in one tree (tests/tree/tree_mutants.py), thirty kinds and places, where
it harms one lot of cars, and tried with another.
`--quick`: few cars of the smallest circuits. The last line is JSON.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[1] / "tree"))

from sampled import interval
from tree_mutants import catch, mutants_of

from troubleshoot.files.guesses_file import load_guesses
from troubleshoot.places import trees
from troubleshoot.session.proving import doable, prove_file
from troubleshoot.tree.certificate import Certificate, read_certificate
from troubleshoot.tree.prove import Proof, prove
from troubleshoot.tree.sampled import draw_sample
from troubleshoot.tree.tree_file import FILE, read_tree
from troubleshoot.tree.ways import is_right

SEED = 23
"""No tree is made with it."""

QUICK = ("horn-button-to-ground", "training-bench", "pump-by-switch")
HARMED = trees() / "pump-on-ignition-feed" / "by-hand.yaml"
"""The tree that harm is planted in."""


def of_tree(path: Path, cars: int, severities: int, seed: int, looked: int) -> dict[str, Any]:
    """One tree's line."""
    start = time.perf_counter()
    proof, notice, _ = prove_file(path, cars, severities, seed, looked=looked)
    kept = read_certificate(path)
    wide = {each.place.removeprefix("verdicts.") for each in proof.findings if each.code == "holds-more"}
    return {
        "circuit": path.parent.name, **proof.figures(), "isolated_cars": _isolated(proof, wide),
        "why": [f"{_coming(proof, one.place):.4f} {one.place.removeprefix('verdicts.')}: {one.message}"
                for one in proof.findings if one.code == "holds-more"],
        "right_cars": sum(is_right(proof.tree, way) for way in proof.ways), "wide": len(wide),
        "missed": sorted({way.sampled.fault for way in proof.ways if not is_right(proof.tree, way)}),
        "gap": kept.compiled.get("gap") if kept else None, "over_table": _over_table(proof, kept),
        "holds": proof.holds, "stale": notice,
        "findings": len(proof.findings), "seconds": round(time.perf_counter() - start, 1),
    }  # fmt: skip


def _over_table(proof: Proof, kept: Certificate | None) -> float | None:
    """Mean seconds over what the compiler reckoned for this tree on its decision table."""
    cost_s = kept.compiled.get("cost_s") if kept else None
    return round(proof.minutes * 60 / cost_s, 4) if cost_s else None


def _isolated(proof: Proof, wide: set[str]) -> int:
    return sum(is_right(proof.tree, way) and way.verdict not in wide for way in proof.ways)


def _coming(proof: Proof, place: str) -> float:
    """Share of a tree's cars that come to a verdict."""
    return sum(f"verdicts.{way.verdict}" == place for way in proof.ways) / len(proof.ways)


def of_mutants(path: Path, seed: int, planting: int, catching: int) -> tuple[int, int, list[str]]:
    """Mutants of a tree that were caught, how many there were, and those that were not. Harm is planted where it harms
    one lot of cars, and another lot is to show it."""
    tree, guesses = read_tree(path), load_guesses()
    allowed = doable(tree)
    planted_by, good = (
        prove(tree, draw_sample(tree.network, guesses, cars, seed=own), guesses, allowed, looked=0)
        for cars, own in ((planting, seed + 1), (catching, seed))
    )
    tried = [catch(mutant, good, guesses, allowed) for mutant in mutants_of(planted_by, good, seed)]
    missed = [f"{one.mutant.kind}: {one.mutant.said}" for one in tried if not one.by]
    return len(tried) - len(missed), len(tried), missed


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("trees", nargs="*", type=Path, help="tree files (all that are shipped)")
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--cars", type=int, default=20)
    parser.add_argument("--workers", type=int, default=2)
    given = parser.parse_args()
    paths = given.trees or sorted(trees().glob(f"*/{FILE}"))
    if given.quick and not given.trees:
        paths = [path for path in paths if path.parent.name in QUICK]
    cars, severities, looked = (4, 3, 12) if given.quick else (given.cars, 5, 24)
    with ProcessPoolExecutor(given.workers) as pool:
        # the tree written by hand; in full also the compiled one beside it, many of whose steps few cars come to
        harmed = [path for path in (HARMED, HARMED.with_name(FILE)) if path.exists()][: 1 if given.quick else 2]
        planted = [pool.submit(of_mutants, path, given.seed, 2, 4 if given.quick else given.cars) for path in harmed]
        jobs = [pool.submit(of_tree, path, cars, severities, given.seed, looked) for path in paths]
        rows = []
        for job in jobs:
            rows.append(job.result())
            say(rows[-1], first=len(rows) == 1)
        tried = [job.result() for job in planted]
    for row in rows:
        for words in row["why"]:
            print(f"{row['circuit']}: {words}")
    for words in (words for _, _, missed in tried for words in missed):
        print(f"not caught: {words}")
    mutants = [{"mutants_caught": caught, "mutants": count} for caught, count, _ in tried]
    more = {f"compiled_{name}": value for name, value in mutants[1].items()} if mutants[1:] else {}
    print(json.dumps({"seed": given.seed, "quick": given.quick, **summed(rows), **mutants[0], **more}))


COLUMNS = (("circuit", 26), ("faults", 6), ("cars", 6), ("right", 7), ("isolated", 8), ("minutes", 7),
           ("over bound", 10), ("all over", 8), ("gap", 7), ("worst", 5), ("margin V", 9), ("/ error", 8),
           ("time", 7))  # fmt: skip


def say(row: dict[str, Any], first: bool) -> None:
    """A line of the table."""
    if first:
        print(" ".join(f"{name:{'<' if name == 'circuit' else '>'}{width}}" for name, width in COLUMNS))
    cells = [
        row["circuit"], row["faults"], row["cars"], f"{row['right']:.4f}",
        f"{row['isolated_cars'] / row['cars']:.4f}", f"{row['minutes']:.2f}", _or_dash(row["over_bound"]),
        _or_dash(row["all_over_bound"]), _or_dash(row["gap"]), row["worst_readings"],
        _or_dash(row["smallest_margin_v"]), _or_dash(row["margin_over_meter_error"]), f"{row['seconds']:.0f} s",
    ]  # fmt: skip
    line = " ".join(f"{cell:{'<' if name == 'circuit' else '>'}{width}}"
                    for cell, (name, width) in zip(cells, COLUMNS, strict=True))  # fmt: skip
    print(line + ("" if row["holds"] else "  does not hold") + ("  stale" if row["stale"] else ""), flush=True)


def _or_dash(value: float | None) -> str:
    return "-" if value is None else f"{value:.3f}"


def summed(rows: list[dict[str, Any]]) -> dict[str, Any]:
    """The figures of all trees together."""
    count = sum(row["cars"] for row in rows)
    right, isolated = (sum(row[name] for row in rows) for name in ("right_cars", "isolated_cars"))

    def worst(name: str, pick: Any) -> float | None:
        return pick([row[name] for row in rows if row[name] is not None], default=None)

    return {
        "circuits": len(rows), "cars": count, "right_share": round(right / count, 4) if count else None,
        "right_interval": interval(right, count), "isolated_share": round(isolated / count, 4) if count else None,
        "isolated_interval": interval(isolated, count), "holding": sum(row["holds"] for row in rows),
        "stale": sum(bool(row["stale"]) for row in rows), "walked_over_bound_worst": worst("over_bound", max),
        "walked_all_over_bound_worst": worst("all_over_bound", max),
        "walked_over_table_worst": worst("over_table", max), "gap_worst": worst("gap", max),
        "smallest_margin_v": worst("smallest_margin_v", min),
        "margin_over_meter_error_worst": worst("margin_over_meter_error", min),
        "worst_readings": worst("worst_readings", max), "all_worst_readings": worst("all_worst_readings", max),
    }  # fmt: skip


if __name__ == "__main__":
    main()
