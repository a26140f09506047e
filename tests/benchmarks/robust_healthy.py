"""What is said of cars with nothing wrong: the load is brought for what lies elsewhere.

    python tests/benchmarks/robust_healthy.py [--quick] [--seed N] [--misses]

A false fault: a part of the file named at more than 0.97. The last line is JSON.
"""

from __future__ import annotations

import multiprocessing
import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from robust_intermittent import reasoner_for, run_session, show
from sampled import WORKERS, interval

from troubleshoot.car import Car
from troubleshoot.circuit.complaints import complaints_of
from troubleshoot.diagnose.reason import SURE
from troubleshoot.expect.cells import NOT_DESCRIBED, NOTHING_WRONG

CIRCUITS = ("pump-on-ignition-feed", "pump-feed-on-30", "pump-inertia-in-ground", "radiator-fan-thermal")
CARS = 7, 35
"""Cars of each circuit, with `--quick` (of the first circuit only) and without."""

COMPLAINTS = ("unsure", "cranks-no-start", "dead", "weak", "comes-and-goes", "dies-hot", "dead-while-cranking")
"""What a sound circuit is brought for: no fuel, a clogged filter, no spark, or a wrong guess."""


def _play(job: tuple[str, int, int]) -> tuple[str, float, int, str]:
    """The leader of one session with its probability, its answers and its story."""
    circuit, number, seed = job
    reasoner = reasoner_for(circuit)
    network = reasoner.table.network
    offered = [key for key in COMPLAINTS if key in complaints_of(network.circuit)]
    car = Car(network, None, None, int(np.random.default_rng([seed, number, 10]).integers(2**31)))
    ended = run_session(reasoner, car, offered[number % len(offered)])
    story = "\n    ".join([f"{circuit}: healthy, said {', '.join(ended.lead.faults)}", *ended.story])
    return ended.lead.faults[0], ended.lead.probability, len(ended.story) - 1, story


def figures(quick: bool, seed: int) -> dict[str, object]:
    """Sessions on healthy cars, every complaint in turn."""
    circuits = CIRCUITS[: 1 if quick else None]
    jobs = [(circuit, number, seed) for circuit in circuits for number in range(CARS[not quick])]
    with multiprocessing.get_context("fork").Pool(WORKERS) as pool:
        ended = pool.map(_play, jobs, chunksize=1 if quick else CARS[1])
    elsewhere = (NOTHING_WRONG.name, NOT_DESCRIBED.name)
    false = [story for lead, p, _, story in ended if lead not in elsewhere and p > SURE]
    settled = [p for lead, p, _, _ in ended if lead == NOTHING_WRONG.name]
    print(f"{len(ended)} healthy cars: {len(false)} with a part named, {len(settled)} with nothing wrong leading")
    return {
        "healthy_sessions": len(ended),
        "false_fault": round(len(false) / len(ended), 4),
        "false_fault_interval": interval(len(false), len(ended)),
        "healthy_led": round(len(settled) / len(ended), 4),
        "healthy_probability": round(float(np.mean(settled or [0.0])), 3),
        "healthy_readings": round(float(np.mean([answers for _, _, answers, _ in ended])), 2),
        "false_fault_misses": false,
    }


if __name__ == "__main__":
    show(figures, __doc__)
