"""What is found wrong with a tree on the way of sampled cars through it."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass

from troubleshoot.tree.tree import Tree
from troubleshoot.tree.ways import Visit, Way, is_right, misled

FEWEST = 10
"""Cars that must have come to a step before it is said that all take one branch there."""


@dataclass(frozen=True)
class Finding:
    """One thing wrong, at a step, branch or verdict (`place`: "steps.coil", "verdicts.pump"). What `fails` fails the
    proof whatever the file claims."""

    code: str
    place: str
    message: str
    hint: str = ""
    fails: bool = False


def cannot(tree: Tree, allowed: Collection[str]) -> Iterator[Finding]:
    """Steps that whoever the tree is for cannot make."""
    for name, step in tree.steps.items():
        if step.check.id not in allowed:
            yield Finding("cannot", f"steps.{name}.check", f"whoever this tree is for cannot do '{step.check.id}'",
                          "say what is there in 'can', or ask something else", fails=True)  # fmt: skip


def unsafe(tree: Tree, ways: Sequence[Way]) -> Iterator[Finding]:
    """Steps that a car came to without the readings that must allow them."""
    for way in ways:
        volts = dict[str, float]()
        for visit in way.visits:
            check = tree.steps[visit.step].check
            for wanted in check.after:
                value = volts.get(wanted.check, -math.inf)
                if not wanted.low <= value <= wanted.high:
                    had = f"it read {value:g} V" if wanted.check in volts else "nobody had read it"
                    yield Finding("unsafe-order", f"steps.{visit.step}.check",
                                  f"a car with {way.sampled.fault} came here, and '{wanted.check}' must read "
                                  f"{wanted.low:g} V to {wanted.high:g} V first: {had}", "ask that before",
                                  fails=True)  # fmt: skip
                    break
            if check.kind == "reading":
                volts[check.id] = visit.answered.value


def missed(tree: Tree, ways: Sequence[Way], below: Mapping[str, frozenset[str]]) -> Iterator[Finding]:
    """Cars that come to a verdict that does not name their fault: those alike told together."""
    alike: dict[tuple[str, str, str, str], list[tuple[Way, Visit | None]]] = {}
    for way in ways:
        if not is_right(tree, way):
            visit = misled(way, below)
            words = visit.branch.words if visit and visit.branch else ""
            key = (visit.step if visit else "", words, way.verdict, way.sampled.fault)
            alike.setdefault(key, []).append((way, visit))
    total = Counter(way.sampled.fault for way in ways)
    for (step, words, verdict, fault), found in sorted(alike.items(), key=lambda item: -len(item[1])):
        end = f"came to '{verdict}'" if verdict else "came to no verdict"
        what = f"{len(found)} of {total[fault]} cars with {fault}{severities([way for way, _ in found])} {end}"
        visit = found[0][1]
        if visit is None:
            place = f"verdicts.{verdict}" if verdict else "first"
            yield Finding("missed", place, f"{what}; no verdict names that fault", "name it where it belongs")
        else:
            place = f"steps.{step}.{words}" if words else f"steps.{step}"
            said = ", ".join(dict.fromkeys(visit.answered.said for _, visit in found[:3] if visit))
            yield Finding("missed", place, f"{what}, misled by the answer {said}", "move the limit, or ask more there")


def severities(ways: Sequence[Way]) -> str:
    """Of which severities cars are, in brackets; "" where their fault has none."""
    finite = [way.sampled.severity for way in ways if way.sampled.severity is not None]
    if not finite:
        return ""
    low, high = min(finite), max(finite)
    first, last = (f"{value:.3g}" if math.isfinite(value) else "open" for value in (low, high))
    return f" ({first})" if first == last else f" ({first} to {last})"


def idle(tree: Tree, ways: Sequence[Way]) -> Iterator[Finding]:
    """Steps that no car comes to, where all take one branch, or that ask what has been asked."""
    taken: dict[str, Counter[str]] = {}
    twice: dict[str, int] = {}
    for way in ways:
        asked = set[str]()
        for visit in way.visits:
            taken.setdefault(visit.step, Counter())[visit.branch.words if visit.branch else ""] += 1
            check = tree.steps[visit.step].check.id
            twice[visit.step] = twice.get(visit.step, 0) + (check in asked)
            asked.add(check)
    for name in tree.steps:
        branches = taken.get(name, Counter())
        if not branches:
            yield Finding("nobody-comes", f"steps.{name}", "no car comes here", "leave it out")
        elif twice.get(name, 0) == branches.total():
            yield Finding("asked-twice", f"steps.{name}.check", "all who come here have been asked this before",
                          "leave it out")  # fmt: skip
        elif len(branches) == 1 and branches.total() >= FEWEST:
            words = next(iter(branches))
            yield Finding("proves-nothing", f"steps.{name}", f"all {branches.total()} cars that come here take "
                          f"'{words}'", "leave it out, or move its limit")  # fmt: skip
