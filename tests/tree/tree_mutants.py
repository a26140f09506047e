"""Planted harm: trees made worse in one place, each with the places that a proof must name one of."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from statistics import median

import numpy as np

from troubleshoot.circuit.guesses import Guesses
from troubleshoot.errors import FileProblems
from troubleshoot.tree.branch_words import number_branch
from troubleshoot.tree.prove import Proof, prove
from troubleshoot.tree.tree import Branch, Claims, Step, Tree, Verdict
from troubleshoot.tree.tree_file import parse_tree, tree_text
from troubleshoot.tree.ways import is_right, named_below

EACH = 5
"""Mutants of each kind."""

KINDS = ("limit moved", "branches exchanged", "verdict wrong", "step dropped", "loop", "unsafe step")


@dataclass(frozen=True)
class Mutant:
    """What makes the text of a tree with harm in it, what was done, and the places of which one must be named; where
    these are where cars end, with one of the faults that are harmed (`about`)."""

    kind: str
    said: str
    text: Callable[[], str]
    places: tuple[str, ...]
    about: tuple[str, ...] = ()

    def is_named_by(self, place: str, message: str) -> bool:
        """Whether what was found is at one of the places, or tells of cars that came to one."""
        ends = [f"came to '{each.partition('.')[2]}'" for each in self.places if each.startswith("verdicts.")]
        at = any(place == each or place.startswith(f"{each}.") for each in self.places)
        return (at or any(f"{end}," in message or f"{end};" in message for end in ends)) and (
            not self.about or any(f" {fault} " in f"{message} " for fault in self.about)
        )


@dataclass(frozen=True)
class Caught:
    """What a proof of a mutant said of it; `by` is "" where it was not caught, or not at its place."""

    mutant: Mutant
    by: str


class Good:
    """A good tree's proof, and what its cars say of where harm would be harm."""

    def __init__(self, proof: Proof) -> None:
        self.tree, self.below = proof.tree, named_below(proof.tree)
        self.right = [way for way in proof.ways if is_right(proof.tree, way)]
        self.ended: dict[str, list[str]] = {}
        self.passed: dict[tuple[str, str], list[tuple[float, str]]] = {}
        for way in self.right:
            self.ended.setdefault(way.verdict, []).append(way.sampled.fault)
            for visit in way.visits:
                if visit.branch:
                    here = self.passed.setdefault((visit.step, visit.branch.words), [])
                    here.append((visit.answered.value, way.sampled.fault))

    def at(self, name: str, branch: Branch | None) -> list[tuple[float, str]]:
        """What was read where a branch was taken, and with which fault, of the cars that end right."""
        return self.passed.get((name, branch.words), []) if branch else []

    def lost(self, name: str, branch: Branch, to: str) -> set[str]:
        """Faults that would be lost if the branch led elsewhere."""
        return {fault for _, fault in self.at(name, branch)} - self.below[to]


def claimed(proof: Proof) -> Tree:
    """The tree with what its proof found as its claims: any harm falls short of them."""
    claims = Claims(proof.right, proof.minutes + 1e-6, proof.worst_readings)
    return replace(proof.tree, claims=claims)


def mutants_of(proof: Proof, by: Proof, seed: int, each: int = EACH) -> list[Mutant]:
    """So many mutants of each kind, at places drawn by the seed. From the good tree's `proof` it is known where harm
    would be harm; its claims are what another proof of it found, `by`, with other cars, which are to catch them."""
    rng, found, good = np.random.default_rng(seed), list[Mutant](), Good(replace(proof, tree=claimed(by)))
    for kind in KINDS:
        some = list(_BY_KIND[kind](good))
        picked = sorted(rng.permutation(len(some))[:each].tolist())
        found += [some[i] for i in picked]
    return found


def catch(mutant: Mutant, good: Proof, guesses: Guesses, allowed: frozenset[str]) -> Caught:
    """Reads and proves a mutant with the cars of a proof of the good tree."""
    network = good.tree.network
    try:
        tree = parse_tree(mutant.text(), "mutant.yaml", network)
    except FileProblems as error:
        told = [p for p in error.problems if p.line and mutant.is_named_by(p.where, p.message)]
        return Caught(mutant, f"{told[0].where} {told[0].code}" if told else "")
    proof = prove(tree, good.sample, guesses, allowed, looked=0)
    known = {(f.code, f.place, f.message) for f in good.findings}
    fresh = [f for f in proof.findings if (f.code, f.place, f.message) not in known]
    by = next((f"{f.place} {f.code}: {f.message}" for f in fresh if mutant.is_named_by(f.place, f.message)), "")
    return Caught(mutant, "" if proof.holds else by)


# ---- the kinds of harm


def _with_step(tree: Tree, step: Step) -> Callable[[], str]:
    return partial(tree_text, replace(tree, steps={**tree.steps, step.name: step}))


def _limits_moved(good: Good) -> Iterator[Mutant]:
    """A limit between two branches put beyond the middle one of the readings that lie on one side of it, where some of
    their faults are not to be found on the other."""
    for name, step in good.tree.steps.items():
        for low in step.branches:
            high = next((b for b in step.branches if b.low == low.high and not b.over_limit), None)
            here = [(value, fault) for value, fault in good.at(name, high) if math.isfinite(value)]
            if high is None or low.answer or not here:
                continue
            middle = float(f"{median(value for value, _ in here):.3g}")
            lost = any(value < middle and fault not in good.below[low.to] for value, fault in here)
            if not (low.high < middle < high.high and lost):
                continue
            fresh = {low: number_branch(step.check, low.to, low.low, middle),
                     high: number_branch(step.check, high.to, middle, high.high)}  # fmt: skip
            moved = replace(step, branches=tuple(fresh.get(b, b) for b in step.branches))
            said = f"{name}: {low.high:g} to {middle:g}"
            yield Mutant("limit moved", said, _with_step(good.tree, moved), (f"steps.{name}",))


def _exchanged(good: Good) -> Iterator[Mutant]:
    """The first and the last branch of a step, where some fault is not to be found on the other one."""
    for name, step in good.tree.steps.items():
        first, last = step.branches[0], step.branches[-1]
        if good.lost(name, first, last.to) or good.lost(name, last, first.to):
            other = {first: replace(first, to=last.to), last: replace(last, to=first.to)}
            moved = replace(step, branches=tuple(other.get(b, b) for b in step.branches))
            yield Mutant("branches exchanged", name, _with_step(good.tree, moved), (f"steps.{name}",))


def _verdicts_wrong(good: Good) -> Iterator[Mutant]:
    """A verdict that names what the next one names that may stand there, and not what comes to it: behind a verdict of
    several one that names some of these, else reading the file would already tell."""
    tree, names = good.tree, list(good.ended)
    fronts = [v for v in tree.verdicts.values() if v.tell_apart]
    behind = {v.name: set(replace(tree, first=v.tell_apart).reached()) for v in fronts}
    for number, name in enumerate(names):
        before = [set(v.suspects) for v in fronts if name in behind[v.name]]
        others = [tree.verdicts[each] for each in (*names[number + 1 :], *names[:number])]
        other = next((o for o in others if all(set(o.suspects) <= each for each in before)), None)
        if other and set(good.ended[name]) - set(other.suspects):
            wrong = replace(tree, verdicts={**tree.verdicts, name: Verdict(name, other.suspects, other.repair)})
            places = (f"verdicts.{name}",)
            yield Mutant("verdict wrong", name, partial(tree_text, wrong), places, tuple(set(good.ended[name])))


def _dropped(good: Good) -> Iterator[Mutant]:
    """A step left out: what led to it leads to where most of its cars go, where some fault of the others is lost."""
    tree = good.tree
    for name, step in tree.steps.items():
        to = max(step.branches, key=lambda b: len(good.at(name, b))).to
        lost = set().union(*(good.lost(name, branch, to) for branch in step.branches if branch.to != to))
        if name == tree.first or not lost:
            continue
        led = [_place(tree, n) for n in tree.reached() if name in tree.led_to(n)]
        text = partial(tree_text, _without_unreached(_led_elsewhere(tree, name, to)))
        ends = [f"verdicts.{n}" for n in replace(tree, first=to).reached() if n in tree.verdicts]
        yield Mutant("step dropped", name, text, (*led, *ends), tuple(sorted(lost)))


def _place(tree: Tree, name: str) -> str:
    """Where a step or verdict stands in the file."""
    return f"{'steps' if name in tree.steps else 'verdicts'}.{name}"


def _led_elsewhere(tree: Tree, name: str, to: str) -> Tree:
    """The tree with all that leads to a step leading elsewhere."""
    steps = {n: replace(s, branches=tuple(replace(b, to=to) if b.to == name else b for b in s.branches))
             for n, s in tree.steps.items()}  # fmt: skip
    apart = to if to not in tree.verdicts else ""  # no verdict is told apart by another
    verdicts = {n: replace(v, tell_apart=apart) if v.tell_apart == name else v for n, v in tree.verdicts.items()}
    return replace(tree, steps=steps, verdicts=verdicts)


def _without_unreached(tree: Tree) -> Tree:
    """The tree without what nothing leads to any more: else that alone would give the dropped step away."""
    kept = set(tree.reached())
    return replace(tree, steps={n: s for n, s in tree.steps.items() if n in kept},
                   verdicts={n: v for n, v in tree.verdicts.items() if n in kept})  # fmt: skip


def _loops(good: Good) -> Iterator[Mutant]:
    """An answer that leads back to a step on the way."""
    tree = good.tree
    way_to = {tree.first: [tree.first]}
    for name in tree.reached():
        for to in tree.led_to(name):
            way_to.setdefault(to, [*way_to[name], to])
    for name, step in tree.steps.items():
        last = step.branches[-1]
        way = way_to[name]
        if last.to not in tree.verdicts or len(way) < 3:
            continue
        back = way[len(way) // 2 - 1]
        moved = replace(step, branches=(*step.branches[:-1], replace(last, to=back)))
        yield Mutant("loop", f"{name} back to {back}", _with_step(tree, moved), tuple(_place(tree, n) for n in way))


def _unsafe_put_in(good: Good) -> Iterator[Mutant]:
    """A check that must not be made, or that whoever the tree is for has not the tool for, put in before a step."""
    tree = good.tree
    ends = [step.check for step in tree.steps.values() if step.check.red][:3]
    live = [f"{check.red} to {check.black} ohms on" for check in ends]
    in_line = [f"{check.red} to {check.black} amps on" for check in ends]
    some = next(iter(tree.network.circuit.loads))
    for number, words in enumerate([*live, *in_line, f"runs {some} off -{some} with leads@{some}"]):
        after = list(tree.steps)[2 * number % len(tree.steps)]
        yield Mutant("unsafe step", f"{words} before {after}", partial(_put_in, tree, after, words), ("steps.put_in",))


def _put_in(tree: Tree, after: str, words: str) -> str:
    """The text of the tree with a step whose check has these words put in before one."""
    step = tree.steps[after]
    branches = tuple(Branch(answer, after, answer=answer) for answer in _answers(words))
    moved = _led_elsewhere(tree, after, "put_in")
    put = Step("put_in", replace(step.check, id=words), branches)
    first = "put_in" if tree.first == after else tree.first
    return tree_text(replace(moved, first=first, steps={**moved.steps, "put_in": put}))


def _answers(words: str) -> tuple[str, ...]:
    if " ohms " in words:
        return ("5 ohm or more", "under 5 ohm")
    return ("1 A or more", "under 1 A") if " amps " in words else ("runs", "weak", "no")


_BY_KIND = {
    "limit moved": _limits_moved,
    "branches exchanged": _exchanged,
    "verdict wrong": _verdicts_wrong,
    "step dropped": _dropped,
    "loop": _loops,
    "unsafe step": _unsafe_put_in,
}
