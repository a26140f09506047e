"""A known good part at hand, when no check tells any more: whether it is worth its time to try it as a repair.

As a check it competes with all others for what it tells about the look-alike groups (`choose.py`). Here it is what a
cheap repair is: it may end the job. Saved is what a wrong repair of something else would lose, times the chance that it
is this part, times the chance that it is not: the variance of the bet, an own simplification.
"""

from __future__ import annotations

import numpy as np

from troubleshoot.circuit.cost import Stand, cost_s
from troubleshoot.diagnose.belief import Belief
from troubleshoot.diagnose.choose import Choice, entropy
from troubleshoot.diagnose.reason import Reasoner
from troubleshoot.diagnose.stop import wrong_repair_s


def worth_trying(reasoner: Reasoner, belief: Belief, stand: Stand, passed: frozenset[str]) -> Choice | None:
    """The spare that saves most beyond what its trial costs; None where none does."""
    done = passed.union(known.check.id for known in belief.evidence)
    tries = [check for check in reasoner.checks if check.swaps and check.id not in done]
    if not tries:
        return None
    net, guesses, cells = belief.table.network, reasoner.guesses, belief.table.cells
    p = belief.p_cell[:-1]
    lost = np.array([wrong_repair_s(net.circuit, guesses, cell.fault) for cell in cells])
    best, most_s = None, 0.0
    for check in tries:
        own = np.array([bool(c.fault.changes) and not net.renewed(c.fault, check.swaps).changes for c in cells])
        seconds = cost_s(net.circuit, guesses.costs, stand, check)
        saves_s = float(p[own].sum() * (p * lost)[~own].sum()) - seconds
        if saves_s > most_s:
            p_own = float(p[own].sum())
            best, most_s = Choice(check, entropy(np.array([p_own, 1 - p_own])), seconds), saves_s
    return best
