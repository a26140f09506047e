"""The sign-off after a repair: no circuit is called sound again before its loads were read and watched in every key
state in which they should work, and at rest. It finds the second fault that the first one hid."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.setups import Setup, live_setups, working_setup
from troubleshoot.diagnose.belief import Belief
from troubleshoot.diagnose.choose import Choice
from troubleshoot.diagnose.cost import Stand, cost_s
from troubleshoot.diagnose.evidence import Known
from troubleshoot.diagnose.reason import MOST_READINGS, Reasoner
from troubleshoot.expect.cells import NOTHING_WRONG
from troubleshoot.expect.table import Table
from troubleshoot.solve.linear import Floats

RESTS = ("off", "accessory")

SHOWS = 3.0
"""Sigmas from healthy at which a reading shows a fault."""


def sign_off(table: Table, checks: Sequence[Check]) -> list[Check]:
    """The checks of a sign-off among those that may be made: in every setup in which a load should work the reading
    that would show most faults, and the loads watched at work and at rest."""
    circuit, stack = table.network.circuit, table.stack
    seen = np.abs(stack.mean - stack.mean[0]) > SHOWS * np.hypot(stack.sigma, stack.sigma[0])
    shown = table.weight @ seen
    best: dict[Setup, Check] = {}
    for check in sorted(checks, key=lambda one: -shown[table.column[one.id]] if one.kind == "reading" else 0.0):
        rests = check.setup.key in RESTS and not check.setup.operated
        if check.kind == "reading" and not check.is_ohms and not rests:
            best.setdefault(check.setup, check)
    watched = [f"runs:{name}" for name in circuit.loads]
    setups = (working_setup(circuit), Setup("off"))
    return [
        *(best[setup] for setup in live_setups(circuit) if setup in best),
        *(check for check in checks if check.about in watched and check.setup in setups),
    ]


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
