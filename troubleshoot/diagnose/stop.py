"""When to stop: what a wrong repair would lose against what the best check that is left costs.

At stake is L = p(the leader is wrong, and some other fault of this circuit is it) × seconds lost by its repair. A check
that tells `nats` of the `H` nats that are open saves about L·nats/H of that; it is worth its time where that is more
than the seconds it takes. Under SURE one stops only where that is next to nothing of those seconds; of a car that
reads sound and was brought for nothing that it does, already where it is less than all of them.
The shape is the expected value of information (Howard 1966, from memory); that it falls with the share of H is our
own simplification, and the seconds that a wrong repair loses are guesses.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from troubleshoot.circuit.circuit import Circuit
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.diagnose.belief import Belief
from troubleshoot.diagnose.choose import Choice, entropy
from troubleshoot.expect.cells import NOT_DESCRIBED
from troubleshoot.expect.table import Table
from troubleshoot.parts.branch import Fault
from troubleshoot.solve.linear import Floats, Ints

WIRING = "wiring"
"""The guess for what lies between parts: wires, rings, contacts, splices."""


def wrong_repair_s(circuit: Circuit, guesses: Guesses, fault: Fault) -> float:
    """Seconds lost where this is repaired and was not the fault: by its prior's name, its part's kind, else wiring.

    0 where the guesses say nothing of repairs, and where no part is named.
    """
    if fault.name == NOT_DESCRIBED.name:
        return 0.0
    part = circuit.parts.get(fault.part)
    keys = (fault.prior, part.kind if part else WIRING, WIRING)
    return next((guesses.wrong_repairs[key].value for key in keys if key in guesses.wrong_repairs), 0.0)


@dataclass(frozen=True)
class Stake:
    """What is at stake with the leader's repair now: `wrong_s` lost if it is wrong, `open_nats` still to be told.

    `p_other` is the probability of all other faults of the circuit ("not described" no check of it can tell).
    """

    p_other: float
    wrong_s: float
    open_nats: float
    p_lead: float

    def of_any(self) -> Stake:
        """The same with "not described" among what may be wrong, and all of that as one: it is or it isn't."""
        sure = np.array([self.p_lead, 1 - self.p_lead])
        return replace(self, p_other=1 - self.p_lead, open_nats=entropy(sure))

    @property
    def at_stake_s(self) -> float:
        """Seconds lost on average by repairing now."""
        return self.p_other * self.wrong_s

    def settles(self, choice: Choice) -> float:
        """Share of what is open that a check settles, 0 to 1."""
        return min(1.0, choice.nats / self.open_nats) if self.open_nats > 0 else 0.0

    def saves_s(self, choice: Choice) -> float:
        """Seconds of what is at stake that a check saves on average."""
        return self.at_stake_s * self.settles(choice)

    def is_worth(self, choice: Choice, share: float = 1.0) -> bool:
        """Whether a check saves more than it takes, or than a share of it."""
        return self.saves_s(choice) > share * choice.seconds


def stake(table: Table, guesses: Guesses, group_of: Ints, belief: Belief) -> Stake:
    """What is at stake with the leading group; `group_of` (C + 1,) numbers each cell's group."""
    p_group: Floats = np.bincount(group_of, belief.p_cell).astype(float)
    lead = int(p_group.argmax())
    every = list(table.faults)
    names = [every[fault] for fault in np.unique(table.fault_of[group_of[:-1] == lead])]
    p_fault = belief.p_fault
    inside = sum(p_fault[name] for name in names)
    lost = sum(p_fault[n] * wrong_repair_s(table.network.circuit, guesses, table.faults[n]) for n in names)
    described = belief.p_cell[:-1]
    p_other = float(described.sum() - described[group_of[:-1] == lead].sum())
    among = np.bincount(group_of[:-1], described).astype(float)
    open_nats = entropy(among / among.sum()) if among.sum() > 0 else 0.0
    return Stake(p_other, lost / inside if inside > 0 else 0.0, open_nats, float(p_group[lead]))
