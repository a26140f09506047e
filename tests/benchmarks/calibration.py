"""Whether what the program says with 60, 80, 95 or 97 % is right that often: sessions with cars drawn by the priors.

    python tests/benchmarks/calibration.py [--quick] [--seed N] [--sessions N] [--keep FILE] [--picture [FILE]]

Faults are drawn by the circuit's own priors and a severity by the weights of its cells (log-uniform over what does
something, or open); the owner's complaint is the drawn car's. Drawn evenly over faults, as in isolation.py, a stated
probability could not come out right. "Not described" is never drawn. Circuits take turns, so each has as many sessions.

One session gives a verdict at each stop: what the likeliest look-alike group was, and how probable, after the first
answer at which it came to 0.6, 0.8 and 0.95; and at the end. Whatever stops a session, a verdict stated with p must be
right with p if the belief is what it says, so stops may be compared with what was stated at them.

`calibration_error` is the expected calibration error (Naeini, Cooper & Hauskrecht 2015; bins of one width as in Guo et
al. 2017, both from memory): verdicts of all stops in bins of the stated probability, the mean over verdicts of
|share right - mean stated| of their bins. `calibration_error_end` is that of the verdicts at the end alone.
`log_score` is the mean ln of the probability that the end gives to the true fault's group (Good 1952; 0 is best).

With `--keep`, each session is added to FILE, and those that are in it are not played again: a long run may be stopped
and taken up, or be shared between seeds. Keep nothing over a change of the program. The last line is JSON.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass
from functools import lru_cache
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from sampled import TRIES, draw_severity, interval, run_session

from troubleshoot.car import Car
from troubleshoot.diagnose.reason import SURE, Reasoner
from troubleshoot.expect.cells import NOTHING_WRONG, severity_range
from troubleshoot.expect.table import build_table
from troubleshoot.files.circuit_file import load_circuit
from troubleshoot.files.guesses_file import load_guesses
from troubleshoot.parts.branch import Fault
from troubleshoot.places import trees
from troubleshoot.session.ability import Can

STOPS = (0.6, 0.8, 0.95)
BINS = 20
SESSIONS = 5000
QUICK_SESSIONS = 300
QUICK_CIRCUITS = ("horn-button-to-ground", "pump-by-switch", "radiator-fan-thermal", "training-bench")
"""The quickest to read and to group."""

WORKERS = 2
AT_A_TIME = 25
"""Sessions on one circuit before a worker takes up another task."""

PICTURE = Path(__file__).with_suffix(".svg")


@dataclass(frozen=True)
class Played:
    """One session. `trail`: after each answer the likeliest group's probability, and whether it has the true fault;
    `p_true` is what the true fault's group had at the end."""

    circuit: str
    seed: int
    number: int
    true: str
    severity: float | None
    trail: tuple[tuple[float, bool], ...]
    p_true: float
    said: tuple[str, ...]
    story: tuple[str, ...]

    def at(self, stop: float) -> tuple[float, bool] | None:
        """The first verdict at this probability or above."""
        return next((stated for stated in self.trail if stated[0] >= stop), None)

    @property
    def end(self) -> tuple[float, bool]:
        """The verdict that the program gave."""
        return self.trail[-1]


@lru_cache(maxsize=1)
def _read(circuit: str) -> tuple[Reasoner, dict[Fault, tuple[float, float]]]:
    """A shipped circuit with all that a usual person can do, and the ranges of its severities."""
    guesses = load_guesses()
    table = build_table(load_circuit(trees() / circuit / "circuit.yaml"), guesses)
    reasoner = Reasoner(table, guesses, Can().allowed(table.network, table.checks))
    return reasoner, severity_range(table.network)


def draw_car(reasoner: Reasoner, ranges: dict[Fault, tuple[float, float]], rng: np.random.Generator) -> Car:
    """A car by the priors; where its fault does nothing to it (decision 6), another car with the same fault."""
    table = reasoner.table
    drawn = table.cells[rng.choice(table.weight.size, p=table.weight)].fault
    fault = None if drawn is NOTHING_WRONG else drawn
    for _ in range(TRIES):
        severity = draw_severity(fault, ranges, rng) if fault else None
        car = Car(table.network, fault, severity, int(rng.integers(2**31)))
        if fault is None or car.matters():
            break
    return car


def play(circuit: str, seed: int, number: int) -> Played:
    """One session, the same whenever and wherever it is played."""
    reasoner, ranges = _read(circuit)
    car = draw_car(reasoner, ranges, np.random.default_rng([seed, number, *circuit.encode()]))
    true = car.fault.name if car.fault else NOTHING_WRONG.name
    run = run_session(reasoner, true, car)
    trail = tuple((group.probability, true in group.faults) for group in run.trail)
    return Played(circuit, seed, number, true, car.severity, trail, run.p_true, run.leaders, run.story)


def _play_some(task: tuple[str, int, Sequence[int]]) -> list[Played]:
    circuit, seed, numbers = task
    return [play(circuit, seed, number) for number in numbers]


def kept_in(file: Path | None) -> list[Played]:
    """The sessions that a file holds; what a stop tore off is left out."""
    if not file or not file.exists():
        return []
    rows = []
    for line in file.read_text().splitlines():
        with suppress(json.JSONDecodeError):
            rows.append(json.loads(line))
    for row in rows:
        row |= {"trail": tuple((p, right) for p, right in row["trail"])}
        row |= {"said": tuple(row["said"]), "story": tuple(row["story"])}
    return [Played(**row) for row in rows]


def play_all(circuits: Sequence[str], seed: int, sessions: int, keep: Path | None) -> Iterator[Played]:
    """So many sessions, those that are kept first."""
    wanted = {(circuits[n % len(circuits)], n // len(circuits)) for n in range(sessions)}
    for played in kept_in(keep):
        if played.seed == seed and (played.circuit, played.number) in wanted:
            wanted.discard((played.circuit, played.number))
            yield played
    tasks = []
    for circuit in circuits:
        numbers = sorted(number for name, number in wanted if name == circuit)
        tasks += [(circuit, seed, numbers[i : i + AT_A_TIME]) for i in range(0, len(numbers), AT_A_TIME)]
    with multiprocessing.get_context("fork").Pool(WORKERS) as pool:
        for some in pool.imap(_play_some, tasks):
            if keep:
                with keep.open("a") as out:
                    out.writelines(json.dumps(asdict(played)) + "\n" for played in some)
            yield from some


# ---- figures


@dataclass(frozen=True)
class Stated:
    """Verdicts: the probability stated with each, and whether it was right, (n,)."""

    p: np.ndarray
    right: np.ndarray

    @classmethod
    def of(cls, verdicts: Sequence[tuple[float, bool]]) -> Stated:
        return cls(np.array([p for p, _ in verdicts]), np.array([right for _, right in verdicts], dtype=bool))

    def bins(self) -> list[Stated]:
        """Those of each bin of the stated probability that has any."""
        at = np.minimum((self.p * BINS).astype(int), BINS - 1)
        return [Stated(self.p[at == b], self.right[at == b]) for b in np.unique(at)]

    @property
    def error(self) -> float:
        """Expected calibration error."""
        return float(sum(abs(b.right.sum() - b.p.sum()) for b in self.bins()) / self.p.size)


def stops_of(played: Sequence[Played]) -> dict[str, Stated]:
    """The verdicts at each stop, and at the end."""
    found = {str(stop): [verdict for one in played if (verdict := one.at(stop))] for stop in STOPS}
    return {name: Stated.of(verdicts) for name, verdicts in (found | {"end": [one.end for one in played]}).items()}


def all_of(stops: dict[str, Stated]) -> Stated:
    """The verdicts of all stops."""
    return Stated(np.concatenate([s.p for s in stops.values()]), np.concatenate([s.right for s in stops.values()]))


def figures(played: Sequence[Played]) -> dict[str, object]:
    """The figures by name."""
    stops = stops_of(played)
    sure = [one.end[1] for one in played if one.end[0] >= SURE]
    found: dict[str, object] = {
        "sessions": len(played),
        "calibration_error": round(all_of(stops).error, 4),
        "calibration_error_end": round(stops["end"].error, 4),
        "right_above_097": round(sum(sure) / max(1, len(sure)), 4),
        "right_above_097_interval": interval(sum(sure), len(sure)),
        "share_above_097": round(len(sure) / len(played), 4),
        "share_above_097_interval": interval(len(sure), len(played)),
        "log_score": round(float(np.mean(np.log([max(one.p_true, 1e-300) for one in played]))), 4),
        "mean_answers": round(float(np.mean([len(one.trail) for one in played])), 2),
    }
    for name, stated in stops.items():
        if stated.p.size:
            found[f"stop_{name}"] = {
                "verdicts": stated.p.size, "stated": round(float(stated.p.mean()), 4),
                "right": round(float(stated.right.mean()), 4),
                "right_interval": interval(int(stated.right.sum()), stated.p.size),
            }  # fmt: skip
    return found


def print_tables(played: Sequence[Played]) -> None:
    """By stop, by bin, by circuit; then the sure and wrong ones."""
    stops = stops_of(played)
    print(f"{'verdicts':28} {'count':>6} {'stated':>7} {'right':>7} {'95 % interval':>17}")
    rows = [(f"stopped at {name}", stated) for name, stated in stops.items()]
    rows += [(f"  stated {b.p.min():.3f} to {b.p.max():.3f}", b) for b in all_of(stops).bins()]
    for circuit in sorted({one.circuit for one in played}):
        rows.append((circuit, all_of(stops_of([one for one in played if one.circuit == circuit]))))
    for name, stated in rows:
        if stated.p.size:
            low, high = interval(int(stated.right.sum()), stated.p.size)
            print(f"{name:28} {stated.p.size:6} {stated.p.mean():7.3f} {stated.right.mean():7.3f}", end="")
            print(f"   {low:.3f} to {high:.3f}")
    for one in played:
        if one.end[0] >= SURE and not one.end[1]:
            print(f"\nsure and wrong, {one.circuit}, session {one.number}: {one.true} at {one.severity}, said "
                  f"{', '.join(one.said)} ({one.end[0]:.3f})")  # fmt: skip
            print("\n".join(f"    {line}" for line in one.story))


# ---- the picture


def draw(played: Sequence[Played], seed: int, file: Path) -> None:
    """The reliability diagram: share right over probability stated, with intervals; below, how many verdicts."""
    import matplotlib as mpl

    mpl.use("svg")
    mpl.rcParams |= {"svg.hashsalt": "calibration", "svg.fonttype": "none", "font.size": 9}
    from matplotlib import pyplot as plt

    stops = stops_of(played)
    bins = [b for b in all_of(stops).bins() if b.p.size >= 10]
    stated, right = np.array([b.p.mean() for b in bins]), np.array([b.right.mean() for b in bins])
    ends = np.array([interval(int(b.right.sum()), b.right.size) for b in bins])
    figure, (upper, lower) = plt.subplots(
        2, 1, figsize=(4.6, 4.6), sharex=True, height_ratios=(4, 1), layout="constrained"
    )
    upper.plot([0, 1], [0, 1], "--", color="0.5", label="as stated")
    upper.errorbar(stated, right, np.abs(ends.T - right), fmt="o", ms=4, capsize=2, label="was right (95 % interval)")
    least = np.floor(10 * min(stated.min(), ends.min())) / 10
    upper.set(ylabel="share right", ylim=(least, 1.02), xlim=(least, 1.02))
    upper.set_title(f"{len(played):,} sampled cars, seed {seed}")
    upper.legend(loc="upper left", frameon=False)
    lower.hist(all_of(stops).p, np.arange(BINS + 1) / BINS, color="0.6")
    lower.set(xlabel="probability stated with the verdict", ylabel="verdicts", yscale="log")
    figure.savefig(file, metadata={"Date": None, "Creator": None})


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="fewer sessions and circuits, same code")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--sessions", type=int, help=f"on all circuits together; {SESSIONS}")
    parser.add_argument("--keep", type=Path, help="file to which sessions are added, and from which they are taken up")
    parser.add_argument("--picture", type=Path, nargs="?", const=PICTURE, help="draws the picture, into this SVG file")
    given = parser.parse_args()
    shipped = sorted(path.parent.name for path in trees().glob("*/circuit.yaml"))
    circuits = QUICK_CIRCUITS if given.quick else shipped
    sessions = given.sessions or (QUICK_SESSIONS if given.quick else SESSIONS)
    played = sorted(play_all(circuits, given.seed, sessions, given.keep), key=lambda one: (one.circuit, one.number))
    print_tables(played)
    if given.picture:
        draw(played, given.seed, given.picture)
    print(json.dumps({"seed": given.seed, "quick": given.quick, "circuits": len(circuits), **figures(played)}))


if __name__ == "__main__":
    main()
