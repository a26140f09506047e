"""What the benchmarks share: sampled cars of every fault, sessions driven by them, shares with intervals."""

from __future__ import annotations

import math
import time
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from troubleshoot.car import Car
from troubleshoot.circuit import Network
from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.cost import Stand
from troubleshoot.diagnose.evidence import Known, known_from, not_yet
from troubleshoot.diagnose.reason import Group, Reasoner
from troubleshoot.expect.cells import NOTHING_WRONG, severity_range
from troubleshoot.expect.seen import told_already
from troubleshoot.expect.table import Table, build_table
from troubleshoot.files.circuit_file import load_circuit
from troubleshoot.files.guesses_file import load_guesses
from troubleshoot.parts.branch import Fault
from troubleshoot.session.ability import Can
from troubleshoot.session.prior import prior_after
from troubleshoot.session.state import Told, expects
from troubleshoot.solve.cases import OPEN
from troubleshoot.words.answers import read_answer

CIRCUIT = Path(__file__).parents[2] / "trees" / "pump-on-ignition-feed" / "circuit.yaml"
TRIES = 40
WORKERS = 2


def shipped_table() -> Table:
    """The table of the shipped circuit, with the shipped guesses."""
    return build_table(load_circuit(CIRCUIT), load_guesses())


def draw_severity(fault: Fault, ranges: dict[Fault, tuple[float, float]], rng: np.random.Generator) -> float | None:
    """A severity off the grid: log-uniform over what does something, or open."""
    if fault not in ranges:
        return None if fault.severity is None else OPEN
    if fault.severity and rng.random() < fault.severity.open_share:
        return OPEN
    low, high = ranges[fault]
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def plan(
    network: Network, known: set[str], severities: int, each: int, plain: int = 0
) -> list[tuple[Fault | None, int]]:
    """(fault, cars to draw at one severity of it), the healthy car first.

    A fault without severities gets `plain` cars (`each` where it is 0), the healthy car as many, at least twice
    `each`.
    """
    items: list[tuple[Fault | None, int]] = [(None, max(plain, each * 2))]
    for fault in network.faults:
        if fault.name in known:
            items += [(fault, each)] * severities if fault.severity else [(fault, plain or each)]
    return items


def cars(
    network: Network,
    known: set[str],
    severities: int,
    each: int,
    seed: int,
    part: int = 0,
    parts: int = 1,
    plain: int = 0,
) -> Iterator[tuple[str, Car]]:
    """Cars of every fault that can do something: `severities` severities × `each` draws, and healthy ones.

    A draw in which the fault does nothing to this very car (decision 6) is drawn again. Of the plan's items
    only every `parts`-th is drawn, from `part`; each has its own random stream, so that parts add up.
    """
    ranges = severity_range(network)
    for number, (fault, count) in enumerate(plan(network, known, severities, each, plain)):
        if number % parts != part:
            continue
        rng = np.random.default_rng([seed, number])
        severity = draw_severity(fault, ranges, rng) if fault else None
        for _ in range(count):
            for _ in range(TRIES):
                car = Car(network, fault, severity, int(rng.integers(2**31)))
                if fault is None or car.matters():
                    yield (fault.name if fault else NOTHING_WRONG.name), car
                    break
                severity = draw_severity(fault, ranges, rng)


@dataclass(frozen=True)
class Run:
    """How one session went. `trail`: the likeliest group after each answer; `p_true`: what the true fault's group had
    at the end."""

    true: str
    severity: float | None
    leaders: tuple[str, ...]
    probability: float
    answers: int
    seconds: float
    story: tuple[str, ...]
    trail: tuple[Group, ...] = ()
    p_true: float = 0.0


def run_session(reasoner: Reasoner, true: str, car: Car) -> Run:
    """Drives the reasoner with a car until it gives its verdict, by the checks that a session would let one make."""
    complaint, circuit = car.complaint(), car.network.circuit
    reasoner, prior = reasoner.told(complaint), prior_after(reasoner.table, reasoner.guesses, Told(complaint=complaint))
    allowed = {check.id for check in Can().allowed(car.network, reasoner.checks)}
    passed = {c.id for c in reasoner.checks if c.id not in allowed or told_already(circuit, c, complaint)}
    evidence: list[Known] = []
    stand, seconds, story = Stand(), 0.0, []
    trail: list[Group] = []
    while True:
        skipped = passed | not_yet(reasoner.checks, evidence)
        choice, belief = reasoner.next_choice(evidence, stand, skipped, prior)
        groups = reasoner.ranked_groups(belief)
        if evidence or choice is None:
            trail.append(groups[0])
        if choice is None:
            break
        text = car.answer(choice.check)
        evidence.append(answer(choice.check, text))
        stand = Stand(choice.check.setup, choice.check.place)
        seconds += choice.seconds
        story.append(f"{choice.check.id} -> {text}")
    lead, p_true = groups[0], next(group.probability for group in groups if true in group.faults)
    return Run(
        true, car.severity, lead.faults, lead.probability, len(evidence), seconds, tuple(story), tuple(trail), p_true
    )


def answer(check: Check, text: str) -> Known:
    """A car's words as evidence, through the same grammar as a person's."""
    read = read_answer(text, expects(check), check.answers)
    return known_from(check, read)


def seconds_to_next(reasoner: Reasoner, car: Car, most: int = 1000) -> list[float]:
    """Seconds from each answer to the next check, of one session of at most so many checks."""
    evidence: list[Known] = []
    stand, times = Stand(), []
    while len(times) < most:
        start = time.perf_counter()
        choice, _ = reasoner.next_choice(evidence, stand)
        times.append(time.perf_counter() - start)
        if choice is None:
            break
        evidence.append(answer(choice.check, car.answer(choice.check)))
        stand = Stand(choice.check.setup, choice.check.place)
    return times


def seed_for(circuit: str, seed: int) -> int:
    """A seed of a circuit's own: with one for all, the same faults would be drawn in each."""
    return zlib.crc32(f"{circuit} {seed}".encode())


def interval(hits: int, count: int) -> tuple[float, float]:
    """95 % Wilson interval of a share (Wilson 1927; from memory)."""
    if not count:
        return 0.0, 1.0
    z, p = 1.96, hits / count
    middle = (p + z * z / (2 * count)) / (1 + z * z / count)
    half = z * math.sqrt(p * (1 - p) / count + z * z / (4 * count * count)) / (1 + z * z / count)
    return round(max(0.0, middle - half), 4), round(min(1.0, middle + half), 4)
