"""How often a fault that comes and goes is found: sampled cars whose fault is there for part of the answers.

    python tests/benchmarks/robust_intermittent.py [--quick] [--seed N] [--misses]

The fault comes and goes by itself, with a memory (what the program reckons with has none); a reading during which it
changes wanders; moved at the right place it shows, and now and then it shows when something else is moved. A winding
that opens when hot is there when warm and seldom when cold, whatever is moved (common practice, no source). Found: the
true fault is in the group that leads. The last line is JSON.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cache

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from sampled import WORKERS, answer, draw_severity, interval, seed_for

from troubleshoot.car import Car
from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.complaints import complaints_of
from troubleshoot.circuit.cost import Stand
from troubleshoot.circuit.network import Network
from troubleshoot.circuit.setups import cranking_setup, working_setup
from troubleshoot.diagnose.belief import Belief
from troubleshoot.diagnose.evidence import Known, not_yet
from troubleshoot.diagnose.reason import SURE, Group, Reasoner
from troubleshoot.expect.cells import severity_range
from troubleshoot.expect.seen import told_already
from troubleshoot.expect.table import build_table
from troubleshoot.files.circuit_file import load_circuit
from troubleshoot.files.guesses_file import load_guesses
from troubleshoot.parts.branch import Fault
from troubleshoot.places import circuit_path
from troubleshoot.session.ability import Can
from troubleshoot.session.prior import prior_after
from troubleshoot.session.state import Told as Heard

CIRCUITS = ("pump-on-ignition-feed", "pump-feed-on-30", "pump-inertia-in-ground", "radiator-fan-thermal")
LOOSE = ("stretch-bad", "ground-joint", "spread-contact", "switch-contact", "contacts-burnt", "contacts-stuck-open")
HOT = ("coil-open", "load-open")
CARS = 2, 20
"""Cars of each circuit, with `--quick` and without."""

SHARE = (0.2, 0.8)
STICKS = 0.4
"""Share of the time that the fault is there, and how often it is as it was at the answer before (invented)."""

CHANGES, WATCHED = 0.12, 0.6
"""How often it changes during a reading, and during one that is watched for half a minute while things are moved
(invented)."""

MOVED, BESIDE, BY_ITSELF = 0.75, 0.3, 0.08
"""How often it shows while moved itself, while something next to it is, by itself (invented)."""

WARM, COLD = 0.9, 0.15
MENTIONED = 0.75
"""How often the owner says that it comes and goes (invented)."""


class ComingCar(Car):
    """A car whose fault is not always there. Answers as with it or as without it; `share`: how often it is there,
    `is_there`: at the last answer."""

    def __init__(self, network: Network, fault: Fault, severity: float | None, seed: int) -> None:
        super().__init__(network, fault, severity, seed)
        self._bad, self._bad_at, self._both = self.bench, self._where, self.faults
        self.true_severity, self.seed = severity, seed
        self._moods = np.random.default_rng([seed, 78])
        self.share = float(self._moods.uniform(*SHARE))
        self.is_there = bool(self._moods.random() < self.share)

    @property
    def _is_hot(self) -> bool:
        """Whether heat brings the fault, and no hand that moves things."""
        return self.fault is not None and self.fault.prior in HOT

    def answer(self, check: Check) -> str:
        """As with the fault or as without; both where it changes meanwhile."""
        if check.about.startswith("wiggle:"):
            return check.answers[0 if self._moods.random() < self._shows_moved(check) else 1]
        self.is_there = self._next_mood(check)
        text = self._as(check, self.is_there)
        changes = WATCHED if check.watched and not self._is_hot else CHANGES
        if (check.is_ohms or check.kind == "observation") and check.watched and self._moods.random() < changes:
            return self._as(check, True)
        if check.kind == "reading" and not check.is_held and self._moods.random() < changes:
            other = self._as(check, not self.is_there)
            one, two = (answer(check, said) for said in (text, other))
            if not check.is_ohms and abs(one.value - two.value) > (0.1 if check.watched else 1.0):
                low, high = sorted((one.value, two.value))
                return f"{low:.2f} to {high:.2f}"
        return text

    def _as(self, check: Check, there: bool) -> str:
        self._become(there)
        return super().answer(check)

    def _become(self, there: bool) -> None:
        self.bench = self._bad if there else self._healthy
        self.faults = self._both if there else []

    def _next_mood(self, check: Check) -> bool:
        if self._is_hot:
            return bool(self._moods.random() < (WARM if check.setup.warm else COLD))
        if self._moods.random() < STICKS:
            return self.is_there
        return bool(self._moods.random() < self.share)

    def _shows_moved(self, check: Check) -> float:
        """Chance that the load is heard to change while a part or wire is moved."""
        heard = {self._heard_as(check, there) for there in (True, False)}
        if len(heard) == 1:
            return 0.0
        if self._is_hot:
            return BY_ITSELF
        where = self._bad_at.changes[0].target if self._bad_at else ""
        spot = (where.partition(".at.")[2] or where).partition(".")[0]
        moved = check.about.partition(":")[2]
        if moved == spot:
            return MOVED
        wires = {w.name: {w.start.partition(".")[0], w.end.partition(".")[0]} for w in self.network.circuit.wires}
        return BESIDE if spot in wires.get(moved, set()) or moved in wires.get(spot, set()) else BY_ITSELF

    def _heard_as(self, check: Check, there: bool) -> tuple[bool, ...]:
        self._become(there)
        return tuple(bool(self._bent(check.setup, name)) for name in self.network.circuit.loads)

    def is_noticed(self) -> bool:
        """Whether somebody notices that the fault is there: a load that works otherwise, while on or cranking."""
        circuit = self.network.circuit
        working = working_setup(circuit)
        setups = [s for s in (working, cranking_setup(circuit), replace(working, warm=True)) if s]
        heard = []
        for there in (True, False):
            self._become(there)
            heard.append([self._heard(s, name) for s in setups for name in circuit.loads])
        return heard[0] != heard[1]

    def complaint(self) -> str:
        """What the owner says of it."""
        offered = complaints_of(self.network.circuit)
        if self._moods.random() < MENTIONED:
            return "dies-hot" if self._is_hot and "dies-hot" in offered else "comes-and-goes"
        self._become(True)
        return super().complaint()


def coming_cars(network: Network, known: set[str], count: int, seed: int) -> Iterator[tuple[Fault, ComingCar]]:
    """So many cars of faults that come and go and stop the load or weaken it while there."""
    rng = np.random.default_rng([seed, 6])
    ranges = severity_range(network)
    faults = [f for f in network.faults if f.name in known and f.prior in LOOSE + HOT]
    given = 0
    while given < count:
        fault = faults[int(rng.integers(len(faults)))]
        car = ComingCar(network, fault, draw_severity(fault, ranges, rng), int(rng.integers(2**31)))
        if car.matters() and car.is_noticed():
            given += 1
            yield fault, car


@dataclass(frozen=True)
class Ended:
    """How a session ended: the leading group, the belief, and its story."""

    lead: Group
    belief: Belief
    story: tuple[str, ...]


def run_session(reasoner: Reasoner, car: Car, complaint: str) -> Ended:
    """A session from the complaint to the verdict, as `find` holds it."""
    circuit, reasoner = car.network.circuit, reasoner.told(complaint)
    prior = prior_after(reasoner.table, reasoner.guesses, Heard(complaint=complaint))
    passed = frozenset(c.id for c in reasoner.checks if told_already(circuit, c, complaint))
    evidence: list[Known] = []
    stand, story = Stand(), [f"complaint: {complaint}"]
    while True:
        choice, belief = reasoner.next_choice(evidence, stand, passed | not_yet(reasoner.checks, evidence), prior)
        lead = reasoner.ranked_groups(belief)[0]
        if choice is None:
            return Ended(lead, belief, tuple(story))
        text = car.answer(choice.check)
        evidence.append(answer(choice.check, text))
        stand = Stand(choice.check.setup, choice.check.place)
        there = " (the fault is there)" if isinstance(car, ComingCar) and car.is_there else ""
        story.append(f"{choice.check.id} -> {text}{there}   [{lead.faults[0]} {lead.probability:.2f}]")


@cache
def reasoner_for(name: str) -> Reasoner:
    """The reasoner on a shipped circuit, for one person with a usual meter and long leads."""
    table = build_table(load_circuit(circuit_path(name)), load_guesses())
    return Reasoner(table, load_guesses(), Can().allowed(table.network, table.checks))


@dataclass(frozen=True)
class Told:
    """How one session went: whether the fault was found, or another of the same part named, and how sure; answers, and
    how many more than with the fault always there (every third car, else None); the story."""

    found: bool
    alike: bool
    sure: bool
    answers: int
    extra: int | None
    story: str


def _play(job: tuple[str, int, int]) -> list[Told]:
    """So many sessions on one circuit."""
    circuit, count, seed = job
    reasoner = reasoner_for(circuit)
    network = reasoner.table.network
    told, known = [], set(reasoner.table.names)
    for number, (fault, car) in enumerate(coming_cars(network, known, count, seed_for(circuit, seed))):
        ended, extra = run_session(reasoner, car, car.complaint()), None
        if number % 3 == 0:
            steady = Car(network, fault, car.true_severity, car.seed)
            extra = len(ended.story) - len(run_session(reasoner, steady, steady.complaint()).story)
        # the plug of a load and its winding, a socket's contact and its relay: one spot to the hand
        alike = _spot(fault.name) in {_spot(name) for name in ended.lead.faults}
        said = f"said {', '.join(ended.lead.faults)} ({ended.lead.probability:.3f})"
        head = f"{circuit}: {fault.name} at {car.true_severity}, there {car.share:.0%} of the time; {said}"
        told.append(Told(fault.name in ended.lead.faults, alike, ended.lead.probability > SURE, len(ended.story) - 1,
                         extra, "\n    ".join([head, *ended.story])))  # fmt: skip
    return told


def figures(quick: bool, seed: int) -> dict[str, object]:
    """Sessions on cars whose fault comes and goes, every third again with the fault always there."""
    with multiprocessing.get_context("fork").Pool(WORKERS) as pool:
        jobs = [(circuit, CARS[not quick], seed) for circuit in CIRCUITS]
        told = [one for some in pool.map(_play, jobs, chunksize=1) for one in some]
    count, found = len(told), sum(one.found for one in told)
    sure, missed = [one for one in told if one.sure], [one for one in told if not one.found]
    alike, right = sum(one.alike for one in missed), sum(one.found for one in sure)
    print(f"{found} of {count} found; of {count - found} missed, {alike} with another fault of the same part; "
          f"{right} of {len(sure)} above {SURE} right")  # fmt: skip
    return {
        "intermittent_sessions": count,
        "intermittent_found": round(found / count, 4),
        "intermittent_interval": interval(found, count),
        "intermittent_right_above_097": round(right / max(len(sure), 1), 4),
        "intermittent_share_above_097": round(len(sure) / count, 4),
        "intermittent_mean_readings": round(float(np.mean([one.answers for one in told])), 2),
        "intermittent_extra_readings": round(float(np.mean([o.extra for o in told if o.extra is not None])), 2),
        "intermittent_missed_same_part": alike,
        "intermittent_misses": [one.story for one in missed],
    }


def _spot(name: str) -> str:
    return name.partition(":")[0].partition(".")[0]


def show(figures: Callable[[bool, int], dict[str, object]], description: str | None) -> None:
    """The command line of one kind."""
    parser = argparse.ArgumentParser(description=description, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="fewer cars, same code")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--misses", action="store_true", help="the story of every session that missed")
    given = parser.parse_args()
    found = figures(given.quick, given.seed)
    for name, value in found.items():
        if isinstance(value, list):
            if given.misses:
                print("\n\n".join(["", *map(str, value), ""]))
            found[name] = len(value)
    print(json.dumps({"seed": given.seed, "quick": given.quick, **found}))


if __name__ == "__main__":
    show(figures, __doc__)
