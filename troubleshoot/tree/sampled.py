"""The cars that a tree is proved with: every fault that does something, at severities on no grid, each in many cars.

Nothing here is taken from the predictions: from which severity a fault does something is asked of cars too.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np

from troubleshoot.car import Car
from troubleshoot.car.fleet import Fleet
from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.circuit.network import Network
from troubleshoot.parts.branch import Fault
from troubleshoot.solve.cases import OPEN
from troubleshoot.tree.tree import NOTHING_WRONG
from troubleshoot.words.answer_kinds import Doubtful, OverLimit, Seen, Value
from troubleshoot.words.answers import read_answer
from troubleshoot.words.say import dimension_of

CARS = 20
SEVERITIES = 5
BATCH = 1000
"""Cars that are reckoned together."""

LEAST = 1e-4
"""From where severities are looked at that may begin at nothing, in ohms."""

STEPS = 24
"""Severities looked at, evenly on the scale of logarithms, to find from where a fault does something."""

TRIES = 8
"""How often a car to which its fault does nothing is drawn anew, before one does without it."""

BROUGHT_FOR = {
    "dead": ("dead", "cranks-no-start", "blows-fuse"),
    "runs-on": ("runs-key-off",),
    "unsure": (),
    "comes-and-goes": (),
    "dies-hot": (),
}
"""What the owner of a sampled car may say where a tree's complaint is another word for it; (): whatever he says, since
a sampled car's fault is there all the time."""


@dataclass(frozen=True)
class Answered:
    """What came of a check, as it is typed and as it is understood."""

    said: str
    read: Value | OverLimit | Seen

    @property
    def value(self) -> float:
        """The number in SI; infinite over the limit, nan for a look."""
        return self.read.value if isinstance(self.read, Value) else math.inf if self.over_limit else math.nan

    @property
    def over_limit(self) -> bool:
        """Whether the meter showed OL."""
        return isinstance(self.read, OverLimit)


@dataclass(frozen=True)
class Sampled:
    """A car with its fault by name, its weight, and the seed that it was drawn with; all weights of a sample sum to
    1."""

    fault: str
    severity: float | None
    weight: float
    car: Car
    seed: int = 0


@dataclass(frozen=True)
class Sample:
    """Cars to prove a tree with. `idle`: faults of the circuit that do nothing in any of the cars that were drawn."""

    network: Network
    cars: tuple[Sampled, ...]
    idle: tuple[str, ...] = ()
    seed: int = 0
    severities: dict[str, tuple[float, float]] = field(default_factory=dict)

    @property
    def faults(self) -> list[str]:
        """The names of all faults in it, each once."""
        return list(dict.fromkeys(each.fault for each in self.cars))


def answer_of(car: Car, check: Check) -> Answered:
    """What a car's owner would type for a check, read by the grammar that reads a person's words."""
    said = car.answer(check)
    expects = "observation" if check.kind == "observation" else dimension_of(check)
    read = read_answer(said, expects, check.answers)
    if isinstance(read, Doubtful):  # a value past what is usual: meant as it stands
        read = read.candidates[0]
    if isinstance(read, Seen | OverLimit | Value):
        return Answered(said, read)
    raise ValueError(f"{said!r} is no answer to {check.id!r}")


@dataclass(frozen=True)
class _Wanted:
    """A car to be drawn: its fault at a severity from `low` to `high`; both None, or OPEN, where it has that one."""

    fault: Fault | None
    low: float | None
    high: float | None
    weight: float

    def draw(self, network: Network, rng: np.random.Generator) -> Sampled:
        severity = self.low
        if self.low is not None and self.high is not None and self.high < OPEN:
            severity = float(np.exp(rng.uniform(np.log(self.low), np.log(self.high))))
        seed = int(rng.integers(2**31))
        car = Car(network, self.fault, severity, seed)
        return Sampled(self.fault.name if self.fault else NOTHING_WRONG, severity, self.weight, car, seed)


def draw_sample(
    network: Network, guesses: Guesses, cars: int = CARS, severities: int = SEVERITIES, seed: int = 0, after: str = ""
) -> Sample:
    """`cars` cars of every fault at each of its severities, of those that are brought for the complaint `after`.

    A fault with a severity has `severities` of them: open where it may be, else ranges that are even on the scale of
    logarithms; each car has its own within its range. The healthy car is drawn as often as a fault with severities.
    """
    rng = np.random.default_rng([seed, 177])
    begins = _lowest(network, rng)
    wanted = [_Wanted(None, None, None, guesses.prior("nothing-wrong") / (cars * severities))] * (cars * severities)
    for fault in network.faults:
        wanted += _of_fault(fault, guesses.prior(fault.prior), begins.get(fault.name), cars, severities)
    drawn = list(_drawn(network, wanted, rng))
    there = {each.fault for each in drawn}
    idle = tuple(fault.name for fault in network.faults if fault.name not in there)
    kept = [each for each in drawn if brought_for(each.car, after)] if after else drawn
    ranges = {fault.name: (begins[fault.name], fault.severity.high) for fault in network.faults
              if fault.severity and fault.name in begins}  # fmt: skip
    total = sum(each.weight for each in kept)
    return Sample(network, tuple(replace(each, weight=each.weight / total) for each in kept), idle, seed, ranges)


def brought_for(car: Car, after: str) -> bool:
    """Whether a car may be brought for a complaint."""
    fits = BROUGHT_FOR.get(after, (after,))
    return not fits or car.complaint() in fits


def again(network: Network, some: Sequence[Sampled]) -> list[Sampled]:
    """Some cars of a sample once more, to be asked by themselves."""
    by_name = {fault.name: fault for fault in network.faults}
    cars = [Car(network, by_name.get(one.fault), one.severity, one.seed) for one in some]
    for start in range(0, len(cars), BATCH):
        Fleet(network, cars[start : start + BATCH])
    return [replace(one, car=car) for one, car in zip(some, cars, strict=True)]


def _of_fault(fault: Fault, prior: float, low: float | None, cars: int, severities: int) -> Iterator[_Wanted]:
    """The cars wanted of one fault, their weights summing to its prior."""
    if fault.severity is None:
        for _ in range(cars):
            yield _Wanted(fault, None, None, prior / cars)
        return
    opens = fault.severity.open_share
    if opens:
        for _ in range(cars):
            yield _Wanted(fault, OPEN, OPEN, prior * (opens if low is not None else 1.0) / cars)
    if low is None:
        return
    ranges = severities - bool(opens)
    edges = np.geomspace(low, fault.severity.high, ranges + 1).tolist()
    for first, last in pairwise(edges):
        for _ in range(cars):
            yield _Wanted(fault, first, last, prior * (1 - opens) / (ranges * cars))


def _lowest(network: Network, rng: np.random.Generator) -> dict[str, float]:
    """A severity of each fault a step below the lowest that does something in the one car that is looked at, so that it
    is low enough for others too; faults that never do anything are left out."""
    looked: list[tuple[str, float, Car]] = []
    for fault in network.faults:
        if fault.severity:
            seed = int(rng.integers(2**31))
            steps = np.geomspace(fault.severity.low or LEAST, fault.severity.high, STEPS).tolist()
            for lower, severity in pairwise([steps[0], *steps]):
                looked.append((fault.name, lower, Car(network, fault, severity, seed)))
    found: dict[str, float] = {}
    for (name, lower, _), does in zip(looked, _matter(network, [car for _, _, car in looked]), strict=True):
        if does:
            found.setdefault(name, lower)
    return found


def _matter(network: Network, cars: Sequence[Car]) -> list[bool]:
    """Whether its fault does something to each car."""
    told: list[bool] = []
    for start in range(0, len(cars), BATCH):
        told += Fleet(network, cars[start : start + BATCH]).matter()
    return told


def _drawn(network: Network, wanted: Sequence[_Wanted], rng: np.random.Generator) -> Iterator[Sampled]:
    """The cars wanted, in the order wanted; those that a fault does nothing to are drawn anew, then left out."""
    left, found = list(range(len(wanted))), dict[int, Sampled]()
    for _ in range(TRIES):
        drawn = [wanted[i].draw(network, rng) for i in left]
        does = _matter(network, [each.car for each in drawn])
        found |= {i: one for i, one, yes in zip(left, drawn, does, strict=True) if yes or wanted[i].fault is None}
        left = [i for i in left if i not in found]
        if not left:
            break
    yield from (found[i] for i in sorted(found))
