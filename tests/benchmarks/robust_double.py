"""Cars with two faults at once: are both found, together or one after the other?

    python tests/benchmarks/robust_double.py [--quick] [--seed N] [--misses] [--circuit NAME ...]

Two faults of different parts are drawn by the priors, each of which matters in this very car by itself. A session
names what it finds; all that it names is repaired (whoever works does not know which of some look-alikes it was), a new
part put in where a fault of the part itself is named, and while a fault is left the session goes on with the sign-off.
Found: both mended before the program calls the circuit sound, and every verdict named one that was there.
`double_found_in_the_end`: also those where a wrong part was renewed on the way.
`double_together`: both in one verdict. `double_extra_readings`: those of the sign-off that finds the second.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
from collections.abc import Iterator
from dataclasses import dataclass

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from sampled import TRIES, WORKERS, answer, draw_severity, interval, seed_for

from troubleshoot.car import Car
from troubleshoot.circuit.cost import Stand
from troubleshoot.circuit.network import Network
from troubleshoot.diagnose.belief import Belief
from troubleshoot.diagnose.comes_and_goes import chances_told
from troubleshoot.diagnose.evidence import Known, not_yet
from troubleshoot.diagnose.pair_cells import parts_of
from troubleshoot.diagnose.reason import Reasoner
from troubleshoot.diagnose.sign_off import mended_with, next_after_repair, prior_after_repair
from troubleshoot.expect.cells import NOT_DESCRIBED, NOTHING_WRONG, severity_range
from troubleshoot.expect.seen import told_already
from troubleshoot.expect.table import build_table
from troubleshoot.files.circuit_file import load_circuit
from troubleshoot.files.guesses_file import load_guesses
from troubleshoot.parts.branch import Fault
from troubleshoot.places import circuit_path, trees
from troubleshoot.session.ability import Can
from troubleshoot.session.prior import prior_after
from troubleshoot.session.state import Told
from troubleshoot.solve.linear import Floats

CARS, QUICK_CARS = 128, 8
QUICK_CIRCUITS = ("pump-on-ignition-feed", "pump-controller-grounds")
ROUNDS = 5
"""Verdicts of a job at most."""


_reasoner: Reasoner


@dataclass(frozen=True)
class Double:
    """How one job went: what each round named, and its readings."""

    true: tuple[str, str]
    rounds: tuple[tuple[str, ...], ...]
    readings: tuple[int, ...]
    found: bool
    by_name: bool
    together: bool
    in_the_end: bool
    story: tuple[str, ...]


def cars(network: Network, weights: dict[Fault, float], count: int, seed: int) -> Iterator[Car]:
    """Cars with two faults, drawn by their weights."""
    ranges = severity_range(network)
    faults = list(weights)
    p = np.array(list(weights.values()))
    rng = np.random.default_rng([seed, 2])
    made = 0
    while made < count:
        one, other = (faults[int(k)] for k in rng.choice(len(faults), 2, replace=False, p=p / p.sum()))
        if one.part == other.part:
            continue
        for _ in range(TRIES):
            severities = [draw_severity(fault, ranges, rng) for fault in (one, other)]
            car = Car(network, one, severities[0], int(rng.integers(2**31)), (other, severities[1]))
            if car.repaired(0).matters() and car.repaired(1).matters():
                made += 1
                yield car
                break


def play(reasoner: Reasoner, car: Car) -> Double:
    """A whole job: verdict, repair, sign-off, second verdict."""
    true = car.faults[0][0].name, car.faults[1][0].name
    complaint, circuit = car.complaint(), car.network.circuit
    reasoner, prior = reasoner.told(complaint), prior_after(reasoner.table, reasoner.guesses, Told(complaint=complaint))
    done: list[str] = []
    told = {c.id for c in reasoner.checks if told_already(circuit, c, complaint)}
    left = list(true)
    rounds: list[tuple[str, ...]] = []
    readings: list[int] = []
    severities = [severity for _, severity in car.faults]
    story = [f"{' and '.join(map(str, severities))}, said to be {complaint}"]
    together, straight = False, True
    while left and len(rounds) < ROUNDS:
        belief, taken = _round(reasoner, car, prior / prior.sum(), told, bool(rounds), story)
        lead = reasoner.ranked_groups(belief)[0]
        named = {part for name in lead.faults for part in parts_of(name)}
        rounds.append(lead.faults)
        readings.append(taken)
        story.append(f"=> {', '.join(lead.faults)} ({lead.probability:.2f})")
        mended = {name for one in named for name in _goes_with(reasoner, one)}
        right = [name for name in left if name in mended]
        together |= len(right) == 2
        straight &= bool(right)
        if named & {NOTHING_WRONG.name, NOT_DESCRIBED.name}:
            break
        for name in right:
            car = car.repaired(left.index(name))
            left.remove(name)
        complaint = car.complaint()
        told = {c.id for c in reasoner.checks if told_already(circuit, c, complaint)}
        repaired = lead.faults
        prior = prior_after_repair(reasoner.table, reasoner.guesses, belief.evidence, repaired, prior, done)
        done += repaired
        prior[:-1] *= chances_told(reasoner.table, complaint)
        story.append(f"after the repair of {' and '.join(repaired)} said to be {complaint}")
    found = straight and not left
    by_name = found and all(any(name in parts_of(one) for some in rounds for one in some) for name in true)
    return Double(true, tuple(rounds), tuple(readings), found, by_name, together, not left, tuple(story))


def _goes_with(reasoner: Reasoner, name: str) -> set[str]:
    """The faults that are gone once this one has been repaired."""
    return {name} | set(np.array(reasoner.table.names)[mended_with(reasoner.table, name)])


def _round(
    reasoner: Reasoner, car: Car, prior: Floats, told: set[str], repaired: bool, story: list[str]
) -> tuple[Belief, int]:  # fmt: skip
    """Checks until the verdict; the belief then, and how many."""
    evidence: list[Known] = []
    stand = Stand()
    while True:
        skipped = frozenset(told) | not_yet(reasoner.checks, evidence)
        choose = next_after_repair if repaired else Reasoner.next_choice
        choice, belief = choose(reasoner, evidence, stand, skipped, prior)
        if choice is None:
            return belief, len(evidence)
        text = car.answer(choice.check)
        evidence.append(answer(choice.check, text))
        stand = Stand(choice.check.setup, choice.check.place)
        lead = reasoner.ranked_groups(belief)[0]
        story.append(f"    {choice.check.id} -> {text}   (led by {lead.faults[0]} {lead.probability:.2f})")


def _play(share: tuple[int, int]) -> list[Double]:
    """One worker's jobs: so many cars from a seed."""
    count, seed = share
    network = _reasoner.table.network
    known = set(_reasoner.table.names)
    weights = {fault: _reasoner.guesses.prior(fault.prior) for fault in network.faults if fault.name in known}
    return [play(_reasoner, car) for car in cars(network, weights, count, seed)]


def play_all(names: list[str], count: int, seed: int) -> dict[str, list[Double]]:
    """Jobs on these circuits, about so many in all, on all workers."""
    global _reasoner
    found = {}
    each = max(1, round(count / len(names) / WORKERS))
    for name in names:
        table = build_table(load_circuit(circuit_path(name)), load_guesses())
        _reasoner = Reasoner(table, load_guesses(), Can().allowed(table.network, table.checks))
        _ = _reasoner.group_of, table.stack
        with multiprocessing.get_context("fork").Pool(WORKERS) as pool:
            shares = [(each, seed_for(f"{name} {worker}", seed)) for worker in range(WORKERS)]
            found[name] = [job for part in pool.map(_play, shares) for job in part]
        print(f"{name:26} {sum(job.found for job in found[name]):3} of {len(found[name])}", flush=True)
    return found


def figures(quick: bool, seed: int, names: list[str] | None = None, count: int = 0) -> dict[str, object]:
    """The figures by name, with the stories of the misses."""
    every = sorted(path.parent.name for path in trees().glob("*/circuit.yaml"))
    names = names or (list(QUICK_CIRCUITS) if quick else every)
    by_circuit = play_all(names, count or (QUICK_CARS if quick else CARS), seed)
    jobs = [job for some in by_circuit.values() for job in some]
    found = [job for job in jobs if job.found]
    apart = [job for job in found if not job.together]
    return {
        "double_jobs": len(jobs),
        "double_found": round(len(found) / len(jobs), 4),
        "double_interval": interval(len(found), len(jobs)),
        "double_by_name": round(sum(job.by_name for job in jobs) / len(jobs), 4),
        "double_together": round(sum(job.together for job in found) / len(jobs), 4),
        "double_found_in_the_end": round(sum(job.in_the_end for job in jobs) / len(jobs), 4),
        "double_one_after_the_other": round(len(apart) / len(jobs), 4),
        "double_first_readings": round(float(np.mean([job.readings[0] for job in jobs])), 2),
        "double_extra_readings": round(float(np.mean([sum(job.readings[1:]) for job in apart])), 2) if apart else 0.0,
        "double_misses": [_tell(name, job) for name, some in by_circuit.items() for job in some if not job.found],
    }


def _tell(circuit: str, job: Double) -> str:
    return "\n".join([f"{circuit}: {' and '.join(job.true)}", *job.story])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="fewer cars, same code")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--misses", action="store_true", help="the story of every job that missed")
    parser.add_argument("--circuit", nargs="+", help="these shipped circuits only")
    parser.add_argument("--cars", type=int, default=0, help="so many cars in all")
    given = parser.parse_args()
    found = figures(given.quick, given.seed, given.circuit, given.cars)
    misses = found.pop("double_misses")
    if given.misses and isinstance(misses, list):
        print("\n\n".join(map(str, misses)))
    print(json.dumps({"seed": given.seed, "quick": given.quick, **found}))


if __name__ == "__main__":
    main()
