"""What would overturn a verdict: the answer that it hangs on, and what would have to be true for another suspect.

Both ask the belief itself. A suspect is taken as true by leaving nothing else in the prior; what the belief then calls
wrong is the least unlikely way in which the answers can have come about.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass, replace

import numpy as np

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.cost import Stand
from troubleshoot.diagnose.belief import Belief, prior_of
from troubleshoot.diagnose.choose import pick
from troubleshoot.diagnose.evidence import Known
from troubleshoot.diagnose.explain import natural
from troubleshoot.diagnose.pair_cells import parts_of
from troubleshoot.diagnose.reason import Reasoner
from troubleshoot.expect.cells import NOTHING_WRONG
from troubleshoot.expect.seen import answer_chances
from troubleshoot.expect.table import Table
from troubleshoot.solve.linear import Bools, Floats, Ints

AGAINST = 0.2
"""Chance of what was seen under which it would have to have been seen wrongly (invented)."""

COMES_BACK = 0.2
"""Share of its first standing that a suspect must win back once the wrong answers are left aside (invented)."""

MOST_WRONG = 4
"""Answers that are looked at as wrong together: with more, nobody would go back to that suspect."""


LOOKED_AT = 4
"""Answers that are left out in earnest to find the one that is missed most."""


@dataclass(frozen=True)
class Carrier:
    """An answer without which another group leads, or the leader is under even chances.

    `leader` is the likeliest fault without it, `probability` its group's; `before` the present leader's then.
    """

    known: Known
    leader: str
    probability: float
    before: float


def carriers(reasoner: Reasoner, belief: Belief, prior: Floats | None) -> list[Carrier]:
    """The answers that carry the verdict, each by itself, the heaviest first. What is under even chances now cannot
    fall under them."""
    lead, found = reasoner.leader(belief), []
    least = 0.5 if np.bincount(reasoner.group_of, belief.p_cell)[lead] >= 0.5 else 0.0
    for i, known in enumerate(belief.evidence):
        if _holds(np.bincount(reasoner.group_of, belief.p_without[i]), lead, least):
            continue
        without = reasoner.weigh(belief.evidence[:i] + belief.evidence[i + 1 :], prior)
        p_group = np.bincount(reasoner.group_of, without.p_cell)
        if not _holds(p_group, lead, least):
            first = reasoner.ranked_groups(without)[0]
            found.append(Carrier(known, first.faults[0], first.probability, float(p_group[lead])))
    return sorted(found, key=lambda carrier: carrier.before)


def _holds(p_group: Floats | Ints, lead: int, least: float) -> bool:
    return int(p_group.argmax()) == lead and bool(p_group[lead] >= least)


def weakest(reasoner: Reasoner, belief: Belief, prior: Floats | None) -> tuple[Known, float] | None:
    """The answer that the leader would miss most, and the leader's probability without it; None before any answer.

    Of the few that look heaviest at first sight (`p_without` leaves named slips aside) each is left out in earnest.
    """
    if not belief.evidence:
        return None
    mine = reasoner.group_of == reasoner.leader(belief)
    left = {}
    for i in np.argsort(belief.p_without @ mine)[:LOOKED_AT]:
        without = reasoner.weigh(belief.evidence[: int(i)] + belief.evidence[int(i) + 1 :], prior)
        left[int(i)] = float(without.p_cell[mine].sum())
    worst = min(left, key=lambda i: left[i])
    return belief.evidence[worst], left[worst]


@dataclass(frozen=True)
class Teller:
    """A check that tells a suspect from the leader, with what it shows in either: V, ohm, or the answer's index."""

    check: Check
    if_so: float
    if_not: float
    seconds: float


@dataclass(frozen=True)
class WhatIf:
    """What would have to be true for a suspect. `faults`: its likeliest modes; `probability`: all of them now.

    `wrong`: the answers that would have to be wrong, with how; `without` is its probability with these left aside.
    `teller` is None where no allowed check tells it from the leader; `leads` where it leads already.
    """

    faults: tuple[str, ...]
    probability: float
    leads: bool
    wrong: tuple[tuple[Known, str], ...]
    without: float
    teller: Teller | None


def what_if(
    reasoner: Reasoner, belief: Belief, faults: Collection[str], prior: Floats | None, stand: Stand,
    skipped: frozenset[str] = frozenset(),
) -> WhatIf:  # fmt: skip
    """What would have to be true for one of `faults` to be it after all. ValueError when the table has none of them."""
    table, before = belief.table, prior_of(reasoner.table, reasoner.guesses) if prior is None else prior
    mine = np.append(np.isin(table.names, list(faults)), False)
    if not before[mine].sum() > 0:
        raise ValueError(f"none of {sorted(faults)} is a suspect")
    group_of = np.array(reasoner.group_of)
    lead = reasoner.leader(belief)
    assumed = reasoner.weigh(belief.evidence, np.where(mine, before / before[mine].sum(), 0.0))
    by_mode = assumed.p_fault
    modes = sorted((n for n in set(faults) if by_mode.get(n, 0.0) > 0.1), key=lambda n: -by_mode[n])
    probability, leads = float(belief.p_cell[mine].sum()), bool((group_of[mine] == lead).any())
    wrong: tuple[tuple[Known, str], ...] = ()
    without = probability
    if not leads:
        wrong, without = _must_be_wrong(reasoner, assumed, mine, before, float(before[mine].sum()))
    teller = None if leads else _teller(reasoner, belief, assumed, stand, skipped)
    return WhatIf(tuple(modes), probability, leads, wrong, without, teller)


def _must_be_wrong(
    reasoner: Reasoner, assumed: Belief, mine: Bools, prior: Floats, at_first: float
) -> tuple[tuple[tuple[Known, str], ...], float]:
    """The answers that the suspect cannot live with, and its probability without them."""
    wrong: list[tuple[Known, str]] = []
    left = list(assumed.evidence)
    while True:
        now = reasoner.weigh(left, prior)
        p = float(now.p_cell[mine].sum())
        if p > COMES_BACK * at_first or len(wrong) >= MOST_WRONG or not left:
            return tuple(wrong), p
        if_so = reasoner.weigh(left, np.where(mine, prior, 0.0) / prior[mine].sum())
        against = _against(if_so, now, mine)
        known, how = max(against, key=lambda found: found[2])[:2]
        wrong.append((known, how))
        left.remove(known)


def _against(if_so: Belief, now: Belief, mine: Bools) -> list[tuple[Known, str, float]]:
    """Every answer with how it would be wrong and how much speaks against the suspect through it."""
    readings = [known for known in if_so.evidence if known.choice < 0]
    doubts = {id(known): (if_so.slip[i], float(if_so.p_wrong[i])) for i, known in enumerate(readings)}
    found = []
    for i, known in enumerate(if_so.evidence):
        how, p_wrong = doubts.get(id(known), ("seen or told wrongly", 0.0))
        gained = float(now.p_without[i][mine].sum()) / max(float(now.p_cell[mine].sum()), 1e-300)
        found.append((known, how, float(np.log(max(gained, 1e-300))) + p_wrong))
    return found


def _teller(
    reasoner: Reasoner, belief: Belief, assumed: Belief, stand: Stand, skipped: frozenset[str]
) -> Teller | None:
    """The check that best tells the suspect from the leader for its time, were both as likely."""
    lead = reasoner.group_of == reasoner.leader(belief)
    rival = np.where(lead, belief.p_cell, 0.0)
    even = replace(belief, p_cell=0.5 * assumed.p_cell + 0.5 * rival / rival.sum())
    done = {known.check.id for known in belief.evidence} | skipped
    sides = np.where(lead, 1, 0)
    allowed = [check for check in reasoner.checks if check.id not in done]
    choice = pick(even, sides, allowed, reasoner.guesses, stand, AGAINST * np.log(2)) if allowed else None
    if choice is None:
        return None
    if_so, if_not = (_shown(belief, p / p.sum(), choice.check) for p in (assumed.p_cell[:-1], rival[:-1]))
    return Teller(choice.check, if_so, if_not, choice.seconds)


def _shown(belief: Belief, p: Floats, check: Check) -> float:
    """What the check most likely shows under weights `p` (C,): the middle value, or the likeliest answer's index."""
    if check.kind == "observation":
        return float(np.argmax(p @ answer_chances(belief.table, check, 0.0)))
    mean = natural(belief, check)
    order = np.argsort(mean)
    return float(mean[order][np.searchsorted(np.cumsum(p[order]), 0.5)])


def faults_meant(table: Table, words: str) -> list[str]:
    """The suspects that a person's words name: of a part by its name or as it is spoken of, else all whose words fit.

    "relay", "the fuel pump", "coil fuse", "relay contacts", "orange wire". Empty where nothing fits every word.
    """
    wanted = {word for word in _words(words) if word not in NO_NAME}
    if not wanted:
        return []
    if wanted in HEALTHY:
        return [NOTHING_WRONG.name]
    faults = {name: fault for name, fault in table.faults.items() if fault.changes}
    parts = table.network.circuit.named_parts
    named = [{name for name in parts if wanted == _words(name)},
             {name for name, part in parts.items() if wanted == _words(part.spoken)}]  # fmt: skip
    for those in named:
        found = [n for n in faults if those & {one.rpartition(":")[0] for one in parts_of(n)}]
        if found:
            return found
    return [name for name, fault in faults.items() if wanted <= _words(f"{name} {fault.say}")]


NO_NAME = frozenset({"the", "a", "an", "is", "it", "of", "not", "bad", "be", "could", "would", "to"})
"""Words that name nothing."""

HEALTHY = ({"healthy"}, {"nothing"}, {"nothing", "wrong"})
"""Words for no fault at all."""


def _words(text: str) -> set[str]:
    return set(re.split(r"[^a-z0-9]+", text.casefold())) - {""}
