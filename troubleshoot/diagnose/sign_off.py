"""After a repair: what is left to suspect, and the sign-off.

No circuit is called sound again before its loads were read and watched in every key state in which they should work,
and at rest. It finds the second fault that the first one hid.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.cost import Stand, cost_s
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.circuit.setups import Setup, live_setups, working_setup
from troubleshoot.diagnose.belief import Belief, prior_of, weigh
from troubleshoot.diagnose.choose import Choice
from troubleshoot.diagnose.evidence import Known
from troubleshoot.diagnose.pair_cells import parts_of
from troubleshoot.diagnose.pairs import fits_beside
from troubleshoot.diagnose.reason import MOST_READINGS, Reasoner
from troubleshoot.expect.cells import NOTHING_WRONG
from troubleshoot.expect.table import Table
from troubleshoot.parts.branch import Fault
from troubleshoot.solve.linear import Bools, Floats

RESTS = ("off", "accessory")

SHOWS = 3.0
"""Sigmas from healthy at which a reading shows a fault."""

SOUND = 0.25
"""Probability that a circuit just repaired has no other fault, until its sign-off says more. It is higher (TWO_FAULTS);
but a sign-off is there to find the second fault, not to take its absence for granted (invented)."""

REPAIR_FAILED = 0.02
"""What is left of the chance of a fault once its part has been renewed (invented)."""


def sign_off(table: Table, checks: Sequence[Check]) -> list[Check]:
    """The checks of a sign-off among those that may be made: in every setup in which a load should work the reading
    that would show most faults that no other shows, and the loads watched at work and at rest."""
    circuit, stack = table.network.circuit, table.stack
    seen = np.abs(stack.mean - stack.mean[0]) > SHOWS * np.hypot(stack.sigma, stack.sigma[0])
    hidden, best = table.weight.copy(), []
    for setup in live_setups(circuit):
        rests = setup.key in RESTS and not setup.operated
        readings = [c for c in checks if c.kind == "reading" and c.setup == setup and not (c.is_ohms or rests)]
        if readings:
            shown = hidden @ seen[:, [table.column[check.id] for check in readings]]
            best.append(readings[int(shown.argmax())])
            hidden[seen[:, table.column[best[-1].id]]] = 0.0
    watched = [f"runs:{name}" for name in circuit.loads]
    setups = (working_setup(circuit), Setup("off"))
    return [*best, *(check for check in checks if check.about in watched and check.setup in setups)]


def next_after_repair(
    reasoner: Reasoner, evidence: Sequence[Known], stand: Stand, skipped: frozenset[str], prior: Floats
) -> tuple[Choice | None, Belief]:  # fmt: skip
    """The next check after a repair, with the belief: while nothing seems wrong, until the sign-off is complete."""
    choice, belief = reasoner.next_choice(evidence, stand, skipped, prior)
    if choice or NOTHING_WRONG.name not in reasoner.ranked_groups(belief)[0].faults or len(evidence) >= MOST_READINGS:
        return choice, belief
    done = skipped.union(known.check.first_id for known in evidence)
    circuit, costs = reasoner.table.network.circuit, reasoner.guesses.costs
    left = [Choice(check, 0.0, cost_s(circuit, costs, stand, check))
            for check in sign_off(reasoner.table, reasoner.checks) if check.id not in done]  # fmt: skip
    return min(left, key=lambda one: one.seconds, default=None), belief


# ---- what is left to suspect


def prior_after_repair(
    table: Table, guesses: Guesses, evidence: Sequence[Known], repaired: Sequence[str], prior: Floats | None = None,
    earlier: Sequence[str] = (),
) -> Floats:  # fmt: skip
    """What is left to suspect once a suspect has been repaired, (C + 1,).

    Either it was the fault: then chances are SOUND that nothing is left, and every other fault counts by how well it
    explains, together with the one repaired, what was read. Or it was not: then the others are where they were.
    `evidence` was read before the repair, from `prior`; `repaired` are names of suspects, of which a pair has two, or
    those of some look-alikes;
    `earlier` those that were repaired before: what has been renewed twice is suspected less still.
    """
    plain = prior_of(table, guesses)
    names = list(dict.fromkeys(part for name in repaired for part in parts_of(name)))
    healthy = np.append(np.array([cell.fault is NOTHING_WRONG for cell in table.cells]), False)
    after = np.where(healthy, SOUND * plain / plain[healthy].sum(), (1 - SOUND) * plain / plain[~healthy].sum())
    mended = np.append(np.any([mended_with(table, name) for name in names], axis=0), False)
    for name in (part for one in earlier for part in parts_of(one)):
        after[np.append(mended_with(table, name), False)] *= REPAIR_FAILED
    if evidence and not any(len(parts_of(name)) > 1 for name in repaired):
        was = weigh(table, guesses, evidence, prior).p_cell
        likeliest = max(names, key=lambda name: was[:-1][np.array(table.names) == name].sum())
        after = was[mended].sum() * after * fits_beside(table, guesses, evidence, likeliest) + was
    after[mended] *= REPAIR_FAILED
    return np.asarray(after / after.sum())


def mended_with(table: Table, name: str) -> Bools:
    """The cells whose fault is gone once that of this name has been repaired, (C,): its own, and of a fault of a part
    itself all that lies in that part, since another one goes in. What lies in its wires or its socket stays."""
    net = table.network
    part = table.faults[name].part if name in table.faults else ""

    def of_the_part(fault: Fault) -> bool:
        return fault.part == part and bool(fault.changes) and not net.renewed(fault, part).changes

    new_one = part in net.circuit.parts and of_the_part(table.faults[name])
    gone = {one for one, fault in table.faults.items() if one == name or (new_one and of_the_part(fault))}
    return np.array([cell in gone for cell in table.names])
