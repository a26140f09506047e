"""Planted harm: trees made worse in one place, each with the places that a proof must name one of."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from statistics import median

import numpy as np

from troubleshoot.circuit.guesses import Guesses
from troubleshoot.errors import FileProblems
from troubleshoot.tree.branch_words import number_branch
from troubleshoot.tree.prove import Proof, prove
from troubleshoot.tree.tree import Branch, Claims, Step, Tree, Verdict
from troubleshoot.tree.tree_file import parse_tree, tree_text
from troubleshoot.tree.ways import is_right, named_below
from troubleshoot.words.say import dimension_of

EACH = 5
"""Mutants of each kind."""

KINDS = ("limit moved", "branches exchanged", "verdict wrong", "step dropped", "loop", "unsafe step")


@dataclass(frozen=True)
class Mutant:
    """The text of a tree with harm in it, what was done, and the places of which one must be named; where these are
    where cars end, with one of the faults that are harmed (`about`)."""

    kind: str
    said: str
    text: str
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


def claimed(proof: Proof) -> Tree:
    """The tree with what its proof found as its claims: any harm falls short of them."""
    claims = Claims(proof.right, proof.minutes + 1e-6, proof.worst_readings)
    return replace(proof.tree, claims=claims)


def mutants_of(proof: Proof, seed: int, each: int = EACH) -> list[Mutant]:
    """So many mutants of each kind, at places drawn by the seed. `proof`: that of the good tree, from which it is known
    which steps matter."""
    rng, found = np.random.default_rng(seed), []
    good = replace(proof, tree=claimed(proof))
    for kind in KINDS:
        some = list(_BY_KIND[kind](good))
        picked = sorted(rng.permutation(len(some))[:each].tolist())
        found += [some[i] for i in picked]
    return found


def catch(mutant: Mutant, good: Proof, guesses: Guesses, allowed: frozenset[str]) -> Caught:
    """Reads and proves a mutant with the cars of the good tree's proof."""
    network = good.tree.network
    try:
        tree = parse_tree(mutant.text, "mutant.yaml", network)
    except FileProblems as error:
        told = [p for p in error.problems if p.line and mutant.is_named_by(p.where, p.message)]
        return Caught(mutant, f"{told[0].where} {told[0].code}" if told else "")
    proof = prove(tree, good.sample, guesses, allowed, looked=0)
    known = {(f.code, f.place, f.message) for f in good.findings}
    fresh = [f for f in proof.findings if (f.code, f.place, f.message) not in known]
    by = next((f"{f.place} {f.code}: {f.message}" for f in fresh if mutant.is_named_by(f.place, f.message)), "")
    return Caught(mutant, "" if proof.holds else by)


# ---- the kinds of harm


def _taken(proof: Proof) -> dict[str, Counter[str]]:
    """How many cars that end right took each branch of each step, by its words."""
    found: dict[str, Counter[str]] = {}
    for way in proof.ways:
        if is_right(proof.tree, way):
            for visit in way.visits:
                if visit.branch:
                    found.setdefault(visit.step, Counter())[visit.branch.words] += 1
    return found


def _with_step(tree: Tree, step: Step) -> str:
    return tree_text(replace(tree, steps={**tree.steps, step.name: step}))


def _limits_moved(proof: Proof) -> Iterator[Mutant]:
    """A limit between two branches put beyond the middle one of the readings that lie on one side of it, where some of
    their faults are not to be found on the other."""
    tree, below = proof.tree, named_below(proof.tree)
    values: dict[tuple[str, str], list[tuple[float, str]]] = {}
    for way in proof.ways:
        for visit in way.visits if is_right(tree, way) else ():
            if visit.branch and math.isfinite(visit.answered.value):
                values.setdefault((visit.step, visit.branch.words), []).append(
                    (visit.answered.value, way.sampled.fault)
                )
    for name, step in tree.steps.items():
        dimension = dimension_of(step.check)
        for low in step.branches:
            high = next((b for b in step.branches if b.low == low.high and not b.over_limit), None)
            here = values.get((name, high.words), []) if high and not low.answer else []
            if high is None or not here:
                continue
            middle = float(f"{median(value for value, _ in here):.3g}")
            lost = any(value < middle and fault not in below[low.to] for value, fault in here)
            if not (low.high < middle < high.high and lost):
                continue
            fresh = {low: number_branch(step.check, low.to, low.low, middle),
                     high: number_branch(step.check, high.to, middle, high.high)}  # fmt: skip
            moved = replace(step, branches=tuple(fresh.get(b, b) for b in step.branches))
            said = f"{low.high:g} to {middle:g} ({dimension})"
            yield Mutant("limit moved", f"{name}: {said}", _with_step(tree, moved), (f"steps.{name}",))


def _matters(proof: Proof, name: str) -> bool:
    """Whether right ways part at a step."""
    return len(_taken(proof).get(name, {})) > 1


def _exchanged(proof: Proof) -> Iterator[Mutant]:
    for name, step in proof.tree.steps.items():
        first, last = step.branches[0], step.branches[-1]
        if first.to != last.to and _taken(proof).get(name):
            other = {first: replace(first, to=last.to), last: replace(last, to=first.to)}
            moved = replace(step, branches=tuple(other.get(b, b) for b in step.branches))
            yield Mutant("branches exchanged", name, _with_step(proof.tree, moved), (f"steps.{name}",))


def _verdicts_wrong(proof: Proof) -> Iterator[Mutant]:
    """A verdict that names what another names."""
    tree = proof.tree
    ends = Counter(way.verdict for way in proof.ways if is_right(tree, way))
    names = [name for name in tree.verdicts if ends[name]]
    for number, name in enumerate(names):
        other = tree.verdicts[names[(number + 1) % len(names)]]
        wrong = Verdict(name, other.suspects, other.repair)
        text = tree_text(replace(tree, verdicts={**tree.verdicts, name: wrong}))
        yield Mutant("verdict wrong", name, text, (f"verdicts.{name}",))


def _dropped(proof: Proof) -> Iterator[Mutant]:
    """A step left out: what led to it leads to where most of its cars go."""
    tree, taken = proof.tree, _taken(proof)
    for name, step in tree.steps.items():
        if name == tree.first or not _matters(proof, name):
            continue
        to = max(step.branches, key=lambda b: taken[name][b.words]).to
        led = [n for n, s in tree.steps.items() if any(b.to == name for b in s.branches)]
        steps = {
            n: replace(s, branches=tuple(replace(b, to=to) if b.to == name else b for b in s.branches))
            for n, s in tree.steps.items() if n != name
        }  # fmt: skip
        text = tree_text(_without_unreached(replace(tree, steps=steps)))
        ends = [f"verdicts.{n}" for n in replace(tree, first=to).reached() if n in tree.verdicts]
        harmed = {way.sampled.fault for way in proof.ways
                  if any(v.step == name and v.branch and v.branch.to != to for v in way.visits)}  # fmt: skip
        yield Mutant("step dropped", name, text, (*(f"steps.{n}" for n in led), *ends), tuple(harmed))


def _without_unreached(tree: Tree) -> Tree:
    """The tree without what nothing leads to any more: else that alone would give the dropped step away."""
    kept = set(tree.reached())
    return replace(tree, steps={n: s for n, s in tree.steps.items() if n in kept},
                   verdicts={n: v for n, v in tree.verdicts.items() if n in kept})  # fmt: skip


def _loops(proof: Proof) -> Iterator[Mutant]:
    """An answer that leads back to a step on the way."""
    tree = proof.tree
    way_to = {tree.first: [tree.first]}
    for name in tree.reached():
        for branch in tree.steps[name].branches if name in tree.steps else ():
            way_to.setdefault(branch.to, [*way_to[name], branch.to])
    for name, step in tree.steps.items():
        last = step.branches[-1]
        way = way_to[name]
        if last.to not in tree.verdicts or len(way) < 3:
            continue
        back = way[len(way) // 2 - 1]
        moved = replace(step, branches=(*step.branches[:-1], replace(last, to=back)))
        yield Mutant("loop", f"{name} back to {back}", _with_step(tree, moved), tuple(f"steps.{n}" for n in way))


def _unsafe_put_in(proof: Proof) -> Iterator[Mutant]:
    """A check that must not be made, or that whoever the tree is for has not the tool for, put in before a step."""
    tree = proof.tree
    ends = [step.check for step in tree.steps.values() if step.check.red][:3]
    live = [f"{check.red} to {check.black} ohms on" for check in ends]
    in_line = [f"{check.red} to {check.black} amps on" for check in ends]
    some = next(iter(tree.network.circuit.loads))
    for number, words in enumerate([*live, *in_line, f"runs {some} off -{some} with leads@{some}"]):
        after = list(tree.steps)[2 * number % len(tree.steps)]
        step = tree.steps[after]
        put = Step("put_in", step.check, (Branch("0 or more", after, 0.0), Branch("under 0", after, -math.inf, 0.0)))
        moved = {n: replace(s, branches=tuple(replace(b, to="put_in") if b.to == after else b for b in s.branches))
                 for n, s in tree.steps.items()}  # fmt: skip
        first = "put_in" if tree.first == after else tree.first
        text = tree_text(replace(tree, first=first, steps={**moved, "put_in": put}))
        block = text[text.index("\n  put_in:") :]
        block = block[: block.index("\n\n", 2)] if "\n\n" in block[2:] else block
        branches = "".join(f"\n    {answer}: {after}" for answer in _answers(words))
        harmed = f"\n  put_in:\n    check: {words}{branches}"
        yield Mutant("unsafe step", f"{words} before {after}", text.replace(block, harmed), ("steps.put_in",))


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
