"""How a tree hangs together: branches that leave gaps or overlap, names that lead nowhere, loops, unsafe order."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from graphlib import CycleError, TopologicalSorter

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.network import Network
from troubleshoot.files.tell import shown, suggest
from troubleshoot.files.yaml_text import Loc
from troubleshoot.tree.branch_words import write_limit
from troubleshoot.tree.tree import Branch, Step, Tree
from troubleshoot.words.say import dimension_of

Leads = Mapping[str, Mapping[str, str]]
"""For each step of a file, where each of its branches leads, by the branch's words."""

Ends = list[tuple[Loc, str]]
"""The names of steps and verdicts that something leads to, each with the path of the field that says so."""

Told = tuple[str, str, str]


@dataclass(frozen=True)
class Doubt:
    """One thing wrong in a tree, with the path of the field where it is."""

    path: Loc
    code: str
    message: str
    hint: str


def doubts_of(tree: Tree, leads: Leads) -> list[Doubt]:
    """All that is wrong in how a tree hangs together. `leads` has also steps that could not be read."""
    found = [doubt for step in tree.steps.values() for doubt in _branch_doubts(step)]
    found += [
        Doubt(("steps", name), "no-branches", "this step has no branches", "write an answer and where it leads")
        for name in leads
        if not leads[name] and name not in tree.steps
    ]
    names = [*leads, *tree.verdicts]
    found += [
        Doubt(("verdicts", name), "name-twice", f"'{shown(name)}' is a step and a verdict", "rename one of them")
        for name in leads
        if name in tree.verdicts
    ]
    ends: Ends = [(("first",), tree.first)]
    ends += [(("steps", name, words), to) for name, branches in leads.items() for words, to in branches.items()]
    ends += _apart(tree)
    lost = [
        Doubt(path, "leads-nowhere", f"there is no step or verdict '{shown(to)}'", suggest(to, names, "there are"))
        for path, to in ends
        if to not in names
    ]
    round_and_round = _loop(names, ends)
    # what nothing leads to is told once all that leads astray has been mended
    unreached = [] if lost or round_and_round else _unreached(tree, leads, ends)
    whole = [] if lost or round_and_round else _tells_nothing(tree)
    return [*found, *lost, *round_and_round, *unreached, *whole, *([] if round_and_round else _unsafe(tree))]


def _apart(tree: Tree) -> Ends:
    """The steps that tell the suspects of verdicts apart, with where that is written."""
    return [(("verdicts", name, "tell_apart"), v.tell_apart) for name, v in tree.verdicts.items() if v.tell_apart]


# ---- branches of one step


def _branch_doubts(step: Step) -> Iterator[Doubt]:
    here = ("steps", step.name)
    if not step.branches:
        yield Doubt(here, "no-branches", "this step has no branches", "write an answer and where it leads")
    elif step.check.kind == "observation":
        yield from _answers(step)
    elif not any(math.isinf(branch.low) and branch.low > 0 for branch in step.branches):  # else told already
        yield from _numbers(step)


def _answers(step: Step) -> Iterator[Doubt]:
    """Answers of a look that have no branch, or two."""
    answered = [branch for branch in step.branches if branch.answer]
    given = [branch.answer for branch in answered]
    missing = [answer for answer in step.check.answers if answer not in given]
    if missing and len(answered) == len(step.branches):
        what = ", ".join(missing)
        yield Doubt(("steps", step.name), "no-branch", f"there is no branch for: {what}", "write where each leads")
    for number, branch in enumerate(answered):
        if branch.answer in given[:number]:
            path = ("steps", step.name, branch.words)
            yield Doubt(path, "overlap", f"'{branch.answer}' is there twice", "delete one")


def _numbers(step: Step) -> Iterator[Doubt]:
    """Gaps and overlaps between the ranges of a reading."""
    dimension = dimension_of(step.check)
    ranges = sorted((b for b in step.branches if not b.over_limit), key=lambda b: (b.low, b.high))
    for number, branch in enumerate(b for b in step.branches if b.over_limit):
        if number:
            yield Doubt(("steps", step.name, branch.words), "overlap", "'OL' is there twice", "delete one")
    if not ranges:
        yield Doubt(("steps", step.name), "gap", "no branch takes a number", "write 'under ...' and '... or more'")
        return
    reached, before = -math.inf, ranges[0]
    for branch in ranges:
        path = ("steps", step.name, branch.words)
        if branch.low > reached:
            low = write_limit(branch.low, dimension)
            between = f"from {write_limit(reached, dimension)} up to" if math.isfinite(reached) else "under"
            yield Doubt(path, "gap", f"no branch takes what is {between} {low}",
                        "let one branch begin where another ends")  # fmt: skip
        elif branch is not before and branch.low < reached:
            yield Doubt(path, "overlap", f"'{branch.words}' and '{before.words}' both take {_both(branch, before)}",
                        "let one branch begin where the other ends")  # fmt: skip
        if branch.high > reached or branch is before:
            reached, before = branch.high, branch
    if reached < math.inf:
        last = write_limit(reached, dimension)
        yield Doubt(("steps", step.name, before.words), "gap", f"no branch takes {last} or more",
                    f"add a branch '{last} or more'")  # fmt: skip


def _both(one: Branch, other: Branch) -> str:
    low, high = max(one.low, other.low), min(one.high, other.high)
    middle = low if math.isfinite(low) else high - 1 if math.isfinite(high) else 0.0
    return f"{middle:g}"


# ---- the whole


def _loop(names: Sequence[str], ends: Ends) -> list[Doubt]:
    """The first loop there is, told where it closes."""
    edges: dict[tuple[str, str], Loc] = {}
    for path, to in ends[1:]:  # all but the first step
        edges.setdefault((str(path[1]), to), path)
    graph: dict[str, set[str]] = {name: set() for name in names}
    for name, to in edges:
        graph[name].add(to)
    try:
        list(TopologicalSorter(graph).static_order())
    except CycleError as error:
        way = list(reversed(error.args[1]))  # the sorter tells it from what is led to
        start = min(range(len(way) - 1), key=lambda i: names.index(way[i]))
        way = [*way[start:-1], *way[:start], way[start]]
        told = " to ".join(shown(name) for name in way)
        return [Doubt(edges[way[-2], way[-1]], "loop", f"this leads round and round: {told}",
                      "let one of them lead on")]  # fmt: skip
    return []


def _tells_nothing(tree: Tree) -> Iterator[Doubt]:
    """Verdicts whose suspects are to be told apart by another verdict."""
    for path, to in _apart(tree):
        if to not in tree.steps:
            yield Doubt(path, "no-step", f"'{shown(to)}' is a verdict, and a step tells suspects apart", "name a step")


def _unreached(tree: Tree, leads: Leads, ends: Ends) -> Iterator[Doubt]:
    """Steps and verdicts that nothing leads to, save those that only such steps lead to."""
    led_to = {to for _, to in ends}
    for kind, names in (("steps", leads), ("verdicts", tree.verdicts)):
        for name in names:
            if name not in led_to:
                yield Doubt((kind, name), "not-reached", f"nothing leads to '{shown(name)}'",
                            "let an answer lead here, or delete it")  # fmt: skip


Known = dict[str, tuple[float, float]]
"""Between which values, from and up to, each reading by its check's id lies on every way to a step."""


def _unsafe(tree: Tree) -> Iterator[Doubt]:
    """Steps whose check wants readings before it that some way there lacks."""
    known = {tree.first: Known()}
    graph = {name: set(tree.led_to(name)) for name in (*tree.steps, *tree.verdicts)}
    for name in reversed(list(TopologicalSorter(graph).static_order())):
        here = known.get(name, {})
        for wanted in tree.steps[name].check.after if name in tree.steps else ():
            low, high = here.get(wanted.check, (-math.inf, math.inf))
            if low < wanted.low or high > wanted.high:
                dimension = "voltage"
                span = f"{write_limit(wanted.low, dimension)} to {write_limit(wanted.high, dimension)}"
                yield Doubt(("steps", name, "check"), "unsafe-order",
                            f"this is safe only after '{wanted.check}' has read {span}, and one can come here without",
                            f"ask that before, on every way here, and lead on from '{span}' only")  # fmt: skip
        for to, taught in _taught(tree, name, here):
            known[to] = _both_ways(known[to], taught) if to in known else taught


def _taught(tree: Tree, name: str, here: Known) -> Iterator[tuple[str, Known]]:
    """What is known at each step or verdict that a step or verdict leads to, by this way."""
    step = tree.steps.get(name)
    if step is None:
        yield from ((to, here) for to in tree.led_to(name))
        return
    for branch in step.branches:
        yield branch.to, here if branch.answer else {**here, step.check.id: (branch.low, branch.high)}


def _both_ways(one: Known, other: Known) -> Known:
    """What is known whichever of two ways was taken."""
    return {
        check: (min(one[check][0], other[check][0]), max(one[check][1], other[check][1]))
        for check in one.keys() & other.keys()
    }


# ---- a check that there is not


def why_no_check(network: Network, words: str, checks: Mapping[str, Check]) -> Told:
    """Code, message and hint for a check that is none of the circuit's."""
    said, battery = words.split(), network.circuit.battery
    if "ohms" in said and ("off" not in said or f"-{battery}" not in said):
        hint = f"key off and battery negative off; {_alike(words, [name for name in checks if ' ohms ' in name])}"
        return "unsafe-check", "never ohms on a live circuit", hint
    if "amps" in said and "to" in said:
        clamps = [name for name in checks if " amps " in name]
        return "unsafe-check", "no ammeter is put in line", f"a DC clamp round a wire; {_alike(words, clamps)}"
    for point in (said[0], said[2]) if len(said) > 2 and said[1] == "to" else ():
        if point not in network.point_at:
            part = point.partition(".")[0]
            near = [node for node in network.point_at if node.partition(".")[0] == part]
            hint = suggest(point, near or network.point_at, f"points of {shown(part)}" if near else "points are")
            return "unknown-point", f"'{shown(point)}' is no point that a probe can touch", hint
    return "unknown-check", f"'{shown(words)}' is no check of this circuit", _alike(words, checks)


def _alike(words: str, checks: Collection[str]) -> str:
    """The checks most like these words, whole, so that one can be copied."""
    near = get_close_matches(words, checks, n=3, cutoff=0.3) or list(checks)[:3]
    return f"did you mean {' or '.join(repr(name) for name in near)}?" if near else "see the checks of this circuit"
