"""The next check: the one that tells most about the look-alike groups for each second it costs.

The information of a reading about the group is estimated from the pairwise Bhattacharyya coefficients of the
cells' Gaussians (the lower bound of Kolchinsky & Tracey 2017, Entropy 19:361):
I(C; Y) >= -sum_i w_i ln sum_j w_j BC_ij, and I(G; Y) = I(C; Y) - sum_g w_g I(C; Y | g).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.diagnose.belief import Belief
from troubleshoot.diagnose.cost import Stand, cost_s
from troubleshoot.expect.seen import answer_chances
from troubleshoot.solve.linear import Floats, Ints

MOST_CELLS = 120
CELLS_A_FAULT = 3
"""Cells that a choice looks at: the heaviest of each fault, standing for the rest of it."""


@dataclass(frozen=True)
class Choice:
    """A check with the nats it is expected to tell about the groups, and the seconds it costs."""

    check: Check
    nats: float
    seconds: float

    @property
    def rate(self) -> float:
        return self.nats / self.seconds


def rank(
    belief: Belief, group_of: Ints, checks: Sequence[Check], guesses: Guesses, stand: Stand
) -> list[Choice]:
    """The checks by information a second, best first. `group_of` (C + 1,) numbers each cell's group."""
    picked, weight = _representatives(belief, group_of)
    group = group_of[picked]
    circuit = belief.table.network.circuit
    readings = [c for c in checks if c.kind == "reading"]
    nats = dict(
        zip((c.id for c in readings), _reading_nats(belief, readings, picked, weight, group), strict=True)
    )
    choices = []
    for check in checks:
        seconds = cost_s(circuit, guesses.costs, stand, check)
        if check.kind == "observation":
            chances = answer_chances(belief.table, check, guesses.mistakes.wrong_look.value)[picked]
            told = _look_nats(chances, weight, group)
        else:
            told = float(nats[check.id]) * (1 - 2 * guesses.mistakes.wrong_reading.value)
        choices.append(Choice(check, told, seconds))
    return sorted(choices, key=lambda choice: -choice.rate)


def _representatives(belief: Belief, group_of: Ints) -> tuple[Ints, Floats]:
    """The heaviest cells, a few of each fault, with weights that keep each fault's total."""
    p = belief.p_cell[:-1]
    faults = np.unique(belief.table.names, return_inverse=True)[1]
    order = np.argsort(-p, kind="stable")
    rank_in_fault = np.zeros(p.size, dtype=int)
    seen = np.zeros(faults.max() + 1, dtype=int)
    for cell in order:
        rank_in_fault[cell] = seen[faults[cell]]
        seen[faults[cell]] += 1
    kept = [c for c in order if rank_in_fault[c] < CELLS_A_FAULT and p[c] > 1e-5][:MOST_CELLS]
    picked = np.array(kept, dtype=np.int64)
    total = np.bincount(faults, p)
    inside = np.bincount(faults[picked], p[picked], minlength=total.size)
    weight = p[picked] * total[faults[picked]] / inside[faults[picked]]
    return picked, weight / weight.sum()


def _reading_nats(
    belief: Belief, readings: Sequence[Check], picked: Ints, weight: Floats, group: Ints
) -> Floats:
    """Expected information of each reading about the group, (readings,)."""
    if not readings:
        return np.zeros(0)
    columns = [belief.table.column[check.id] for check in readings]
    mean, sigma = (np.ascontiguousarray(e[:, columns].T, dtype=np.float32) for e in belief.expect(picked))
    w = weight.astype(np.float32)
    same = (group[:, None] == group[None, :]).astype(np.float32)
    own = w / (same @ w)  # weight within the group, up to the group's own total
    nats = np.zeros(len(readings))
    for k in range(len(readings)):
        variance = np.square(sigma[k])
        both = variance[:, None] + variance[None, :]
        step = mean[k][:, None] - mean[k][None, :]
        bc = np.sqrt(2 * sigma[k][:, None] * sigma[k][None, :] / both) * np.exp(-np.square(step) / (4 * both))
        among_all = np.log(bc @ w)
        among_own = np.log((bc * same) @ own)
        nats[k] = -float(w @ (among_all - among_own))
    return np.maximum(nats, 0.0)


def _look_nats(chances: Floats, weight: Floats, group: Ints) -> float:
    """Information of an observation's answer about the group."""
    groups = np.unique(group, return_inverse=True)[1]
    joint = np.zeros((groups.max() + 1, chances.shape[1]))
    np.add.at(joint, groups, weight[:, None] * chances)
    alone = joint.sum(axis=1, keepdims=True) * joint.sum(axis=0, keepdims=True)
    return float(
        np.where(joint > 0, joint * np.log(np.maximum(joint, 1e-300) / np.maximum(alone, 1e-300)), 0).sum()
    )
