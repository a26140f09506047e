"""The true look-alike groups of a shipped circuit, found by sampled cars alone.

Shares nothing with troubleshoot.expect.lookalike: for each fault many cars are drawn, every allowed check is
read off each, and a classifier is trained to tell every two faults apart. Two faults are look-alikes when its
error on cars it has not seen is above 0.1; groups are connected components.

    python tests/benchmarks/true_groups.py [CIRCUIT] [--store]     many minutes on 2 cores

Stored are only the groups of more than one fault, by circuit.
"""

from __future__ import annotations

import argparse
import hashlib
import itertools
import json
from pathlib import Path

import numpy as np
from sampled import CIRCUIT, cars
from sklearn.ensemble import ExtraTreesClassifier

from troubleshoot.circuit import wire_up
from troubleshoot.circuit.checks import Check
from troubleshoot.diagnose.evidence import known_from
from troubleshoot.expect.cells import NOTHING_WRONG
from troubleshoot.expect.table import build_table
from troubleshoot.files.circuit_file import load_circuit
from troubleshoot.files.guesses_file import load_guesses
from troubleshoot.places import circuit_path
from troubleshoot.session.ability import Can
from troubleshoot.session.state import expects
from troubleshoot.words.answers import Doubtful, read_answer

STORED = Path(__file__).with_name("true_groups.json")
LOOK_ALIKE_ERROR = 0.1


def feature(check: Check, text: str) -> float:
    """An answer as a number that a classifier can use."""
    read = read_answer(text, expects(check), check.answers)
    known = known_from(check, read.candidates[0] if isinstance(read, Doubtful) else read)
    return float(known.choice) if check.answers else known.value


def error_between(a: np.ndarray, b: np.ndarray, trees: int) -> float:  # type: ignore[type-arg]
    """Cross-validated error of telling two sets of cars apart, both equally likely."""
    for column in range(a.shape[1]):
        if a[:, column].max() < b[:, column].min() or b[:, column].max() < a[:, column].min():
            return 0.0
    half = min(len(a), len(b)) // 2
    errors = []
    for train, test in ((slice(0, half), slice(half, None)), (slice(half, 2 * half), slice(0, half))):
        forest = ExtraTreesClassifier(trees, min_samples_leaf=1, random_state=1, n_jobs=1)
        forest.fit(np.concatenate([a[train], b[train]]), [0] * len(a[train]) + [1] * len(b[train]))
        errors.append((np.mean(forest.predict(a[test]) == 1) + np.mean(forest.predict(b[test]) == 0)) / 2)
    return float(np.mean(errors))


def find_groups(
    circuit: Path, severities: int, each: int, seed: int, trees: int = 300
) -> tuple[list[list[str]], dict[str, float]]:
    """Groups as sorted lists of names, and the error of every pair above 0.02."""
    table = build_table(load_circuit(circuit), load_guesses())
    checks = Can().allowed(table.network, table.checks)  # what somebody with a usual meter can do, as in a session
    samples: dict[str, list[list[float]]] = {}
    for name, car in cars(table.network, set(table.names), severities, each, seed, plain=severities * each):
        samples.setdefault(name, []).append(
            [feature(c, text) for c, text in zip(checks, car.survey(checks), strict=True)]
        )
    rng = np.random.default_rng(seed)
    arrays = {name: rng.permutation(np.array(rows)) for name, rows in samples.items()}
    group = {name: name for name in arrays}
    errors = {}
    for one, two in itertools.combinations(arrays, 2):
        error = error_between(arrays[one], arrays[two], trees)
        if error > 0.02:
            errors[f"{one} | {two}"] = round(error, 3)
        if error > LOOK_ALIKE_ERROR:
            old, new = group[two], group[one]
            group = {name: new if g == old else g for name, g in group.items()}
    found = [sorted(n for n, g in group.items() if g == key) for key in dict.fromkeys(group.values())]
    return found, errors


def load(circuit: Path) -> list[frozenset[str]] | None:
    """The stored groups of a circuit, a group of its own for each other fault; None where there are none, or of
    another state of its file."""
    data = json.loads(STORED.read_text()).get(circuit.parent.name)
    if not data or data["circuit_sha"] != sha_of(circuit):
        return None
    groups = [frozenset(group) for group in data["groups"]]
    network = wire_up(load_circuit(circuit))
    alone = {NOTHING_WRONG.name, *(fault.name for fault in network.faults)} - {n for group in groups for n in group}
    return [*groups, *(frozenset({name}) for name in sorted(alone))]


def sha_of(circuit: Path) -> str:
    """Hash of a circuit's file."""
    return hashlib.sha256(circuit.read_bytes()).hexdigest()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("circuit", nargs="?", default=CIRCUIT.parent.name, help="a shipped circuit's name")
    parser.add_argument("--store", action="store_true")
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--severities", type=int, default=30, help="severities of each fault, four cars of each")
    parser.add_argument("--quick", action="store_true", help="fewer cars; not for storing")
    given = parser.parse_args()
    path = circuit_path(given.circuit)
    size = (2, 4, given.seed, 30) if given.quick else (given.severities, 4, given.seed)
    groups, errors = find_groups(path, *size)
    together = [names for names in groups if len(names) > 1]
    for names in together:
        print("look alike:", ", ".join(names))
    for pair, error in sorted(errors.items(), key=lambda item: -item[1]):
        print(f"{error:6.3f}  {pair}")
    if given.store and not given.quick:
        data = json.loads(STORED.read_text())
        data[path.parent.name] = {"circuit_sha": sha_of(path), "seed": given.seed, "cars": 4 * given.severities,
                                  "groups": together}  # fmt: skip
        STORED.write_text(json.dumps(data, indent=1) + "\n")
    print(json.dumps({"groups": len(groups), "pairs_over_0.02": len(errors), "seed": given.seed}))


if __name__ == "__main__":
    main()
