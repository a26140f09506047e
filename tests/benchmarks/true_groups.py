"""The true look-alike groups of the shipped circuit, found by sampled cars alone.

Shares nothing with troubleshoot.expect.lookalike: for each fault many cars are drawn, every allowed check is
read off each, and a classifier is trained to tell every two faults apart. Two faults are look-alikes when its
error on cars it has not seen is above 0.1; groups are connected components.

    python tests/benchmarks/true_groups.py [--store]     about ten minutes on 2 cores
"""

from __future__ import annotations

import argparse
import hashlib
import itertools
import json
from pathlib import Path

import numpy as np
from sampled import CIRCUIT, cars, shipped_table
from sklearn.ensemble import ExtraTreesClassifier

from troubleshoot.circuit.checks import Check
from troubleshoot.words.answers import OverLimit, Value, read_answer

STORED = Path(__file__).with_name("true_groups.json")
LOOK_ALIKE_ERROR = 0.1


def feature(check: Check, text: str) -> float:
    """An answer as a number that a classifier can use."""
    if check.answers:
        return float(check.answers.index(text))
    read = read_answer(text, "resistance" if check.is_ohms else "voltage")
    if isinstance(read, OverLimit):
        return 18.0
    if not isinstance(read, Value):
        raise ValueError(f"{check.id}: {text}")
    return float(np.log(read.value + 0.5)) if check.is_ohms else read.value


def error_between(a: np.ndarray, b: np.ndarray) -> float:  # type: ignore[type-arg]
    """Cross-validated error of telling two sets of cars apart, both equally likely."""
    for column in range(a.shape[1]):
        if a[:, column].max() < b[:, column].min() or b[:, column].max() < a[:, column].min():
            return 0.0
    half = min(len(a), len(b)) // 2
    errors = []
    for train, test in ((slice(0, half), slice(half, None)), (slice(half, 2 * half), slice(0, half))):
        forest = ExtraTreesClassifier(300, min_samples_leaf=1, random_state=1, n_jobs=1)
        forest.fit(np.concatenate([a[train], b[train]]), [0] * len(a[train]) + [1] * len(b[train]))
        errors.append((np.mean(forest.predict(a[test]) == 1) + np.mean(forest.predict(b[test]) == 0)) / 2)
    return float(np.mean(errors))


def find_groups(severities: int, each: int, seed: int) -> tuple[list[list[str]], dict[str, float]]:
    """Groups as sorted lists of names, and the error of every pair above 0.02."""
    table = shipped_table()
    samples: dict[str, list[list[float]]] = {}
    for name, car in cars(table.network, set(table.names), severities, each, seed, plain=severities * each):
        samples.setdefault(name, []).append(
            [feature(c, text) for c, text in zip(table.checks, car.survey(table.checks), strict=True)]
        )
    rng = np.random.default_rng(seed)
    arrays = {name: rng.permutation(np.array(rows)) for name, rows in samples.items()}
    group = {name: name for name in arrays}
    errors = {}
    for one, two in itertools.combinations(arrays, 2):
        error = error_between(arrays[one], arrays[two])
        if error > 0.02:
            errors[f"{one} | {two}"] = round(error, 3)
        if error > LOOK_ALIKE_ERROR:
            old, new = group[two], group[one]
            group = {name: new if g == old else g for name, g in group.items()}
    found = [sorted(n for n, g in group.items() if g == key) for key in dict.fromkeys(group.values())]
    return found, errors


def load() -> list[frozenset[str]]:
    """The stored groups; ValueError when the circuit has changed since."""
    data = json.loads(STORED.read_text())
    if data["circuit_sha"] != hashlib.sha256(CIRCUIT.read_bytes()).hexdigest():
        raise ValueError("true_groups.json is of another circuit file: run true_groups.py --store")
    return [frozenset(group) for group in data["groups"]]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--store", action="store_true")
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--quick", action="store_true", help="fewer cars; not for storing")
    given = parser.parse_args()
    severities, each = (6, 4) if given.quick else (30, 4)
    groups, errors = find_groups(severities, each, given.seed)
    for names in groups:
        if len(names) > 1:
            print("look alike:", ", ".join(names))
    for pair, error in sorted(errors.items(), key=lambda item: -item[1]):
        print(f"{error:6.3f}  {pair}")
    if given.store and not given.quick:
        sha = hashlib.sha256(CIRCUIT.read_bytes()).hexdigest()
        STORED.write_text(
            json.dumps({"circuit_sha": sha, "seed": given.seed, "groups": groups, "errors": errors}, indent=1)
        )
    print(json.dumps({"groups": len(groups), "pairs_over_0.02": len(errors), "seed": given.seed}))


if __name__ == "__main__":
    main()
