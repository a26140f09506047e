"""A decision tree as data: steps with the branches of their answers, and the verdicts that they lead to.

What is in the file is here and nothing else: how one is compiled, proved, walked or printed is in files of their own.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

from troubleshoot.circuit.check_list import list_checks
from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.network import Network

NOTHING_WRONG = "circuit:nothing-wrong"
NOT_DESCRIBED = "circuit:not-described"
"""Suspects beside the circuit's faults: all is well in it; something that its file does not describe."""


@dataclass(frozen=True)
class Branch:
    """One answer of a step, as it is written, and the step or verdict that it leads to.

    A number from `low` up to, not including, `high`, in volts, ohms or amperes; `OL` has `over_limit`; an observation
    has the `answer`.
    """

    words: str
    to: str
    low: float = -math.inf
    high: float = math.inf
    over_limit: bool = False
    answer: str = ""

    def takes(self, value: float) -> bool:
        """Whether a number falls into it."""
        return not self.over_limit and not self.answer and self.low <= value < self.high


@dataclass(frozen=True)
class Step:
    """A check and its branches, in the order of the file."""

    name: str
    check: Check
    branches: tuple[Branch, ...]
    note: str = ""

    def of_value(self, value: float) -> Branch | None:
        """The first branch that takes a number, in SI."""
        return next((branch for branch in self.branches if branch.takes(value)), None)

    def of_over_limit(self) -> Branch | None:
        """The branch of a reading over the meter's limit: the one that says so, else the one without an upper end."""
        said = next((branch for branch in self.branches if branch.over_limit), None)
        return said or next((b for b in self.branches if b.high == math.inf and not b.answer), None)

    def of_answer(self, answer: str) -> Branch | None:
        """The branch of what was seen or heard."""
        return next((branch for branch in self.branches if branch.answer == answer), None)


@dataclass(frozen=True)
class Verdict:
    """An end: the faults that are left (`part:mode`), what to repair, and the checks that prove the repair, by id.

    `tell_apart`: the step with which one goes on where it is worth more to know which of the suspects it is, "" where
    nothing tells them apart, or nobody has said what.
    """

    name: str
    suspects: tuple[str, ...]
    repair: str = ""
    prove: tuple[str, ...] = ()
    tell_apart: str = ""


@dataclass(frozen=True)
class Claims:
    """What a tree's maker says of it; a proof that finds less fails. `right`: share of sampled cars that come to a
    last verdict that names their fault; `minutes`: mean time to the first verdict, by the costs of guesses.yaml;
    `readings`: the most until there."""

    right: float = 0.0
    minutes: float = math.inf
    readings: int = 10**6


@dataclass(frozen=True)
class Tree:
    """The whole of a `tree.yaml`. `file`: where it was read from; `circuit`: its circuit's file, as seen from there;
    `after`: the complaint that it starts after, "" for any; `can`: limits of the person it was made for, in the words
    that one tells them in."""

    network: Network
    first: str
    steps: Mapping[str, Step]
    verdicts: Mapping[str, Verdict]
    name: str = ""
    after: str = ""
    can: tuple[str, ...] = ()
    claims: Claims = field(default_factory=Claims)
    circuit: str = "circuit.yaml"
    file: Path | None = None

    @cached_property
    def checks(self) -> dict[str, Check]:
        """All checks of the circuit, by id."""
        return {check.id: check for check in list_checks(self.network)}

    def reached(self) -> Iterator[str]:
        """The names of all steps and verdicts that some answer leads to, each once, steps before what they lead to
        where there is no loop."""
        waiting, seen = [self.first], set()
        while waiting:
            name = waiting.pop()
            if name in seen:
                continue
            seen.add(name)
            yield name
            waiting += reversed(self.led_to(name))

    def led_to(self, name: str) -> list[str]:
        """What the answers of a step lead to, or what tells the suspects of a verdict apart."""
        if name in self.steps:
            return [branch.to for branch in self.steps[name].branches]
        on = self.verdicts[name].tell_apart if name in self.verdicts else ""
        return [on] if on else []
