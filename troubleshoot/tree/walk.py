"""Walking a tree: which branch an answer takes, what lies behind it, and the numbers that steps are called by."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from troubleshoot.circuit.complaints import complaints_of
from troubleshoot.tree.tree import NOT_DESCRIBED, NOTHING_WRONG, Branch, Step, Tree, Verdict
from troubleshoot.words import say
from troubleshoot.words.answers import OverLimit, Seen, Value, Wander

STARTER_FED_TOO = "run-start-joined"
"""The mode of the fault with which the starter turns as soon as the key goes on."""

WHICH_IS_IT = "Which of them is it?"
"""What leads from a verdict to the steps that tell its suspects apart."""

BESIDE = {
    NOTHING_WRONG: (
        "nothing is wrong in this circuit",
        "look outside it: fuel, filter, spark, a fault that comes and goes",
    ),
    NOT_DESCRIBED: (
        "something that the circuit's file does not tell",
        "compare the wiring with the file, wire by wire: an added switch, a splice, another relay layout",
    ),
}
"""What is said of the suspects beside the circuit's own faults, and what to do then."""


@dataclass(frozen=True)
class Found:
    """A verdict in words: what is left, what to repair, and the checks that prove the repair, with what to mind."""

    suspects: tuple[str, ...]
    repairs: tuple[str, ...]
    prove: tuple[str, ...]
    cautions: tuple[str, ...]

    @property
    def say(self) -> str:
        """What is left, one sentence."""
        if len(self.suspects) == 1:
            return f"{_begun(self.suspects[0])}."
        return f"One of these: {'; '.join(self.suspects)}."


def branch_of(step: Step, answer: Value | OverLimit | Wander | Seen) -> Branch | None:
    """The branch that an answer takes; None for a reading that wanders from one branch into another."""
    if isinstance(answer, Seen):
        return step.of_answer(answer.choice)
    if isinstance(answer, OverLimit):
        return step.of_over_limit()
    if isinstance(answer, Wander):
        low, high = step.of_value(answer.low), step.of_value(answer.high)
        return low if low == high else None
    return step.of_value(answer.value)


def suspects_behind(tree: Tree, name: str) -> frozenset[str]:
    """The suspects of all verdicts that a step leads to, or of the verdict itself."""

    @cache
    def behind(at: str) -> frozenset[str]:
        own = tree.verdicts[at].suspects if at in tree.verdicts else ()
        return frozenset(own).union(*map(behind, tree.led_to(at)))

    return behind(name)


def numbered(tree: Tree) -> dict[str, int]:
    """A number for each step and verdict, from 1: a page one can go to. Each stands close behind what leads to it."""
    return {name: number for number, name in enumerate(tree.reached(), 1)}


def say_scope(tree: Tree) -> list[str]:
    """How large a tree is, which complaint it starts after, and for whom it was made, a sentence each."""
    further = any(verdict.tell_apart for verdict in tree.verdicts.values())
    to_where = " to a verdict; where that names several, more may tell which" if further else ""
    told = [f"{len(tree.steps)} steps, at most {longest_way(tree)} on one way{to_where}."]
    if tree.after:
        told.append(f"For when {complaints_of(tree.network.circuit)[tree.after]}.")
    if tree.can:
        told.append(f"Made for: {', '.join(tree.can)}.")
    return told


def longest_way(tree: Tree) -> int:
    """How many steps there are at most before a first verdict."""

    @cache
    def below(at: str) -> int:
        return 1 + max(below(branch.to) for branch in tree.steps[at].branches) if at in tree.steps else 0

    return below(tree.first)


def cautions_of(tree: Tree, step: Step) -> list[str]:
    """What to mind at a step; also that the starter may turn, where the key is first turned on there."""
    joined = any(fault.mode == STARTER_FED_TOO for fault in tree.network.faults)
    turns = [say.STARTER_MAY_TURN] if joined and step.name in _first_with_key_on(tree) else []
    return turns + say.cautions(tree.network, step.check)


def _first_with_key_on(tree: Tree) -> set[str]:
    """Steps with the key on that one may come to with the key never on before."""
    waiting, found = [tree.first], set[str]()
    seen = set[str]()
    while waiting:
        name = waiting.pop()
        if name in seen:
            continue
        seen.add(name)
        if name in tree.steps and tree.steps[name].check.setup.key not in ("off", "accessory"):
            found.add(name)
        else:
            waiting += tree.led_to(name)
    return found


def say_verdict(tree: Tree, verdict: Verdict) -> Found:
    """A verdict in words; where its maker says no repair, that of each suspect."""
    known = {fault.name: (fault.say, fault.repair) for fault in tree.network.faults} | BESIDE
    told = [known[name] for name in verdict.suspects]
    prove = [tree.checks[name] for name in verdict.prove]
    return Found(
        tuple(dict.fromkeys(words for words, _ in told)),
        (verdict.repair.rstrip(" ."),) if verdict.repair else _gathered([repair for _, repair in told]),
        tuple(say.say_check(tree.network, check) for check in prove),
        tuple(dict.fromkeys(words for check in prove for words in say.cautions(tree.network, check))),
    )


def _gathered(repairs: Sequence[str]) -> tuple[str, ...]:
    """Each repair once. Of several that say the same behind their colon, "repair the ring: look for green copper ...",
    the part is told by the suspects beside it."""
    tails = Counter(repair.partition(": ")[2] for repair in dict.fromkeys(repairs))
    return tuple(dict.fromkeys(
        f"repair whichever it is: {tail}" if (tail := repair.partition(": ")[2]) and tails[tail] > 1 else repair
        for repair in repairs
    ))  # fmt: skip


def _begun(words: str) -> str:
    return words[:1].upper() + words[1:]
