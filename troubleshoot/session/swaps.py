"""What comes of a known good part put in to try: whether the old one was the fault and stays out, and what is said.

Where it was, that is a repair, and the sign-off begins: what follows is read with the good part in. Where it was not,
the old part goes back, so that what is expected of every later check stays true.
"""

from __future__ import annotations

from collections.abc import Callable

from troubleshoot.circuit.circuit import Circuit
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.circuit.look_checks import BLOWS_AGAIN, WORKS_NOW, runs
from troubleshoot.circuit.setups import Setup, working_setup
from troubleshoot.diagnose.behind import causes
from troubleshoot.diagnose.belief import Belief
from troubleshoot.diagnose.evidence import Known
from troubleshoot.diagnose.pair_cells import parts_of
from troubleshoot.expect.table import Table
from troubleshoot.session.state import Repair, State
from troubleshoot.words import swapping

CURED = 0.9
"""Probability of a fault in the old part that is always there, after the answer, from which it stays out (invented):
contacts that were moved too, and a fault that comes and goes, must be as good as out of question; else the old one goes
back, and whether the fault comes back with it tells."""

LEADS = 0.5
"""The same where no check is left to tell, and where something else is wrong too, so that leaving the good one in takes
nothing for proved (invented)."""


def cured_by(belief: Belief, known: Known, complaint: str, tells: bool) -> dict[str, str]:
    """The likeliest fault of the part that was exchanged, and what is still complained of, as the log has it; empty
    where the old part was not the fault, alone or beside another. `belief` is after the answer; `tells`: that some
    check would tell more with the old part back."""
    part, answer, net = known.check.swaps, _answer(known), belief.table.network
    if not part or answer == BLOWS_AGAIN:
        return {}
    own = {fault.name for fault in net.faults if fault.changes and not net.renewed(fault, part).changes}
    stays = belief.p_cell[:-1] * (1.0 if belief.p_goes is None else 1 - belief.p_goes)
    chances: dict[str, float] = {}
    for name, p in zip(belief.table.names, stays.tolist(), strict=True):
        for one in own.intersection(parts_of(name)):
            chances[one] = chances.get(one, 0.0) + p
    if sum(chances.values()) < (CURED if tells and answer == WORKS_NOW else LEADS):
        return {}
    lead = max(chances, key=lambda one: (chances[one], one))
    return {"suspect": lead, "complaint": "unsure" if answer == WORKS_NOW else complaint}


def last_cure(state: State) -> Repair | None:
    """The repair that the last answer was, None where it was none."""
    last = state.repairs[-1] if state.repairs else None
    return last if last and last.by_swap and last.end == len(state.entries) else None


def still_in(state: State) -> str:
    """The part in whose place a good one was put as the last repair, "" where that was none, or cured one of two."""
    last = state.repairs[-1] if state.repairs else None
    known = state.entries[last.at].known if last and last.by_swap else None
    return known.check.swaps if known and _answer(known) == WORKS_NOW else ""


def say_then(
    table: Table, guesses: Guesses, state: State, known: Known, say_fault: Callable[[str], str]
) -> tuple[str, ...]:  # fmt: skip
    """What to do with the good part now, what its working proves, and what may be behind a fault that it cured;
    nothing where none was put in. `known` is the last answer."""
    circuit, part, cure = table.network.circuit, known.check.swaps, last_cure(state)
    if not part:
        return ()
    if cure is None:
        return swapping.say_not_cured(circuit, part, known.choice)
    (name,) = cure.suspects
    start = state.repairs[-2].at if len(state.repairs) > 1 else 0
    why = causes(table, guesses, state.answers(start, cure.end), name)
    told = (f"{cause.probability:.0%} {cause.say}. Shown by: {cause.proof}" for cause in why)
    return (*swapping.say_cured(circuit, part, say_fault(name), _answer(known) == WORKS_NOW), *told)


def tried_already(circuit: Circuit, state: State) -> frozenset[str]:
    """Checks that a good part put in leaves nothing to ask by: the same again, in this job; and whether the loads work
    and rest, since the last repair, where that has been seen with it."""
    tried = [entry.known for entry in state.entries if entry.known and entry.check.swaps]
    once = {check.id for known in tried for check in (known.check, known.check.repeated())}
    seen = state.repairs and any(known.check.swaps and _answer(known) == WORKS_NOW for known in state.evidence)
    setups = (working_setup(circuit), Setup("off")) if seen else ()
    return frozenset(once).union(runs(n, how.answers, s).id for n, how in circuit.loads.items() for s in setups)


def _answer(known: Known) -> str:
    return known.check.answers[known.choice] if known.check.swaps else ""
