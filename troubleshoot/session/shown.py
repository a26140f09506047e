"""What a session shows of its reckoning: the card of a check, what an answer did, the verdict, the look back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.cost import cost_s
from troubleshoot.diagnose.behind import Cause, causes
from troubleshoot.diagnose.belief import Belief
from troubleshoot.diagnose.doubt import doubted
from troubleshoot.diagnose.evidence import Known
from troubleshoot.diagnose.explain import meanings, moved, silent_about
from troubleshoot.diagnose.pair_cells import parts_of
from troubleshoot.draw import Path
from troubleshoot.draw.circuit_line import GaugeUnit
from troubleshoot.expect.cells import NOTHING_WRONG
from troubleshoot.expect.seen import starter_turns
from troubleshoot.session.beyond import say_beyond
from troubleshoot.session.cards import CheckCard, Further, Line, Meanings, Outcome, VerdictCard, verdict_card
from troubleshoot.session.doubts import say_doubts, say_why_again
from troubleshoot.session.reasons import say_moves
from troubleshoot.session.reckoning import Reckoning
from troubleshoot.session.standing import ReadLine, healthy_range, stand_path
from troubleshoot.session.steps import steps_of
from troubleshoot.session.swaps import last_cure, say_then, still_in
from troubleshoot.words import say
from troubleshoot.words.swapping import say_unproved

WARNED = 1e-3
"""Probability of a dangerous suspect from which a check warns of it (invented)."""

PROVED = 0.9
"""Probability of "nothing is wrong" from which a repair is said to hold (invented): a healthy car rarely gets more."""

# ---- a check


def check_card(now: Reckoning, check: Check) -> CheckCard:
    """A check with all that is said of it."""
    network, belief = now.table.network, now.belief
    reasoner = now.reasoner

    def look_meanings() -> Meanings:
        told = meanings(reasoner, belief, check, lambda value: now.say_value(check, value))
        return tuple((one.outcome, tuple(reasoner.fault(name).say for name in one.faults)) for one in told)

    return CheckCard(
        check=check,
        say=say.say_check(network, check),
        short=say.say_short(network, check),
        why=_say_why(now, check),
        cautions=(*_surprises(belief, check), *say.cautions(network, check)),
        healthy=healthy_range(now.table, check, now.leads_ohm),
        cost_s=cost_s(now.circuit, now.guesses.costs, now.stand, check),
        steps=steps_of(network, check, now.state.stand.setup),
        look_meanings=look_meanings,
    )


def _surprises(belief: Belief, check: Check) -> tuple[str, ...]:
    """What turning the key for this check may do if a suspect that is still alive is the fault."""
    turns = starter_turns(belief.table, check.setup)
    return (say.STARTER_MAY_TURN,) if belief.p_cell[:-1][turns].sum() > WARNED else ()


def _say_why(now: Reckoning, check: Check) -> str:
    if check.again and (doubt := say_why_again(now.belief, check)):
        return doubt
    groups = [g for g in now.reasoner.ranked_groups(now.belief)[:3] if g.probability > 0.02]
    names = ", ".join(f"{now.say_fault(g.faults[0])} ({g.probability:.0%})" for g in groups)
    if groups[0].probability >= 0.97:
        return f"One reading alone must not carry the verdict; this confirms or upsets it. Leading: {names}."
    return f"It tells most for its time. In question now: {names}."


# ---- an answer


def outcome_of(now: Reckoning, before: Belief, known: Known) -> Outcome:
    """What an answer did to the belief that was there before it."""
    fell, rose = moved(before, now.belief) if not last_cure(now.state) else ([], [])
    silent = silent_about(now.table, known, now.belief)
    return Outcome(
        understood=now.say_known(known),
        fell=say_moves(fell, now.say_fault, 4),
        rose=say_moves(rose, now.say_fault, 3),
        moves=(*fell[:4], *rose[:3]),
        silent=tuple(
            f"This reading can't tell you whether {now.say_fault(name)}: no current flows there now, "
            f"so even {say.say_ohm(ohm)} would read the same."
            for name, ohm in silent[:1]
        ),
        doubted=say_doubts(before, now.belief, known, now.say_known),
        compared=_say_compared(now, known),
        then=say_then(now.table, now.guesses, now.state, known, now.say_fault),
    )


def _say_compared(now: Reckoning, known: Known) -> str:
    """How a reading stands to a healthy car's, "" for a look: in it, it may prove less than one thinks."""
    limits = healthy_range(now.table, known.check, now.leads_ohm)
    if limits is None:
        return ""
    shown = float(np.exp(known.value) - 0.5) - now.leads_ohm if known.check.is_ohms else known.value
    if limits[0] - known.sigma <= shown <= limits[1] + known.sigma:
        return "as in a healthy car"
    return f"a healthy car: {say.say_range(known.check, *limits)}"


# ---- the verdict


def verdict_of(now: Reckoning) -> VerdictCard:
    """What is left, what to repair, which readings prove it; what takes long is worked out when it is looked at."""
    belief, choice, at = now.belief, now.choice, now.standpoint()
    card = verdict_card(now.reasoner, belief, choice is None, now.leads_ohm)
    leading = [line.name for line in (card.suspects[0], *card.look_alikes)]
    named = [part for name in leading for part in parts_of(name)] if card.sure else []
    evidence = now.state.evidence

    def further() -> Further:
        because = (at.stopping(choice), *(at.carries().lines if choice is None else ()))
        return Further(because, _behind(now, evidence, named))

    card = replace(card, say=card.say + say_beyond(belief, leading, at.known), look_further=further)
    first = card.suspects[0]
    if not now.state.repairs or first.name != NOTHING_WRONG.name:
        return card
    if first.probability >= PROVED:
        return replace(card, say=say.say_holds(first.probability), repair=())
    swapped = still_in(now.state) if choice is None else ""
    return replace(card, say=say_unproved(now.circuit, swapped, first.probability), repair=()) if swapped else card


def _behind(now: Reckoning, evidence: Sequence[Known], named: Sequence[str]) -> tuple[Cause, ...]:
    """Why what is named failed: of the first that has a cause behind it."""
    found = (causes(now.table, now.guesses, evidence, name) for name in named)
    return next(filter(None, found), ())


# ---- looking back


def suspects(now: Reckoning, most: int) -> list[Line]:
    """The likeliest faults, with probabilities."""
    p_fault = now.belief.p_fault
    names = sorted(p_fault, key=lambda name: -p_fault[name])[:most]
    return [Line(name, now.say_fault(name), p_fault[name]) for name in names if p_fault[name] > 0.001]


def read_lines(now: Reckoning) -> list[ReadLine]:
    """What was read, seen and skipped so far, in pieces."""
    network, lines = now.table.network, []
    doubts = {id(now.belief.readings[i]) for i in doubted(now.belief)}
    for entry in now.state.entries:
        short = say.say_short(network, entry.check)
        if entry.known is None:
            lines.append(ReadLine(short, f"skipped, {entry.why_skipped}"))
            continue
        limits = healthy_range(now.table, entry.check, now.leads_ohm)
        healthy = say.say_range(entry.check, *limits) if limits else ""
        lines.append(ReadLine(short, now.say_known(entry.known), healthy, id(entry.known) in doubts))
    return lines


def circuit_lines(now: Reckoning, gauge: GaugeUnit) -> list[Path]:
    """The circuit through load and coil, with what was read and how each stretch stands."""
    reads = [(known.check, now.say_known(known)) for known in now.state.evidence if known.choice < 0]
    before = now.weigh([]).p_fault if reads else {}
    after = now.belief.p_fault if reads else {}
    return [stand_path(path, now.circuit.battery, reads, before, after) for path in now.paths(gauge)]
