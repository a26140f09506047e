"""Sampled cars driven through a tree: what was read at each step, which branch it took, where it ended, the cost."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from troubleshoot.circuit.cost import Stand, act_s, change_s
from troubleshoot.circuit.guesses import Costs
from troubleshoot.tree.sampled import Answered, Sampled, answer_of
from troubleshoot.tree.tree import Branch, Tree
from troubleshoot.tree.walk import branch_of


@dataclass(frozen=True)
class Visit:
    """A step made with a car, and the branch that its answer took; None where none takes it."""

    step: str
    answered: Answered
    branch: Branch | None


@dataclass(frozen=True)
class Way:
    """A car's way through the tree to its `verdict`, the last there is; "" where it came to none. `seconds` to its
    first verdict, after `decided` of the visits; `all_seconds` until the suspects of that are told apart too."""

    sampled: Sampled
    visits: tuple[Visit, ...]
    verdict: str
    seconds: float
    decided: int
    all_seconds: float


def walk(tree: Tree, cars: Sequence[Sampled], costs: Costs) -> list[Way]:
    """The ways of all cars, in their order. Cars at one step are asked one after the other, which is quick."""
    visits: list[list[Visit]] = [[] for _ in cars]
    stands, seconds, ends = [Stand() for _ in cars], [0.0 for _ in cars], ["" for _ in cars]
    decided: dict[int, tuple[float, int]] = {}
    circuit, waiting = tree.network.circuit, {tree.first: list(range(len(cars)))}
    while waiting:
        name = next(iter(waiting))
        here = waiting.pop(name)
        step, on = tree.steps.get(name), tree.led_to(name)
        for i in here:
            if step is None:
                decided.setdefault(i, (seconds[i], len(visits[i])))
                ends[i] = name if name in tree.verdicts and not on else ""
                for to in on:  # what tells the verdict's suspects apart, where there is that
                    waiting.setdefault(to, []).append(i)
                continue
            if len(visits[i]) >= len(tree.steps):  # round and round
                continue
            seconds[i] += change_s(circuit, costs, stands[i], step.check) + act_s(circuit, costs, step.check)
            stands[i] = Stand(step.check.setup, step.check.place or stands[i].place)
            answered = answer_of(cars[i].car, step.check)
            branch = branch_of(step, answered.read)
            visits[i].append(Visit(name, answered, branch))
            if branch:
                waiting.setdefault(branch.to, []).append(i)
    return [
        Way(car, tuple(visits[i]), ends[i], *decided.get(i, (seconds[i], len(visits[i]))), seconds[i])
        for i, car in enumerate(cars)
    ]


def named_below(tree: Tree) -> Mapping[str, frozenset[str]]:
    """The faults that some verdict names to which each step or verdict may lead; a loop leads to what it leads to."""
    found = {name: frozenset(verdict.suspects) for name, verdict in tree.verdicts.items()}
    found |= {name: frozenset() for name in tree.steps}
    while True:
        before = dict(found)
        for name in (*tree.steps, *tree.verdicts):
            found[name] = found[name].union(*(found.get(to, frozenset()) for to in tree.led_to(name)))
        if found == before:
            return found


def misled(way: Way, below: Mapping[str, frozenset[str]]) -> Visit | None:
    """The first reading whose branch leads to no verdict that names the car's fault; None where the first step leads to
    none already."""
    for visit in way.visits:
        if visit.branch is None or way.sampled.fault not in below.get(visit.branch.to, frozenset()):
            return visit if way.sampled.fault in below.get(visit.step, frozenset()) else None
    return None


def is_right(tree: Tree, way: Way) -> bool:
    """Whether a car's last verdict names its fault."""
    return bool(way.verdict) and way.sampled.fault in tree.verdicts[way.verdict].suspects
