"""The solver and ngspice side by side: how far apart, and what that means."""

from __future__ import annotations

from dataclasses import dataclass, field, fields

import numpy as np
from ask import Answer, Bools, Floats, Table, ask_solver
from which import name_case, name_ohms, name_setup

from troubleshoot.circuit import Network
from troubleshoot.solve.cases import Case

TOLERANCE = 1e-4
"""Of the larger of |v| and 1 V."""

FLOATING_OHM = 1e5
"""A node held by more than this to battery negative floats: it is held by leakage, which nobody knows."""

OUTSIDE_V = 1e-3
"""How far a floating node may lie beyond the lowest and highest end of any source (battery, alternator,
motor): nothing made of resistances can, but for rounding."""

LIMIT_OHM = 5e6
"""Above this two ohms readings are both `OL`, or as good as: leaks that nobody knows."""


@dataclass
class Score:
    """What came out, for one setup or for all. `worst_at` is where `worst_rel` was found."""

    cases: int = 0
    nodes: int = 0
    floating: int = 0
    floating_outside: int = 0
    near_threshold: int = 0
    chatter: int = 0
    worst_rel: float = 0.0
    worst_abs_v: float = 0.0
    worst_at: str = ""
    worst_floating_v: float = 0.0
    ohms: int = 0
    over_limit: int = 0
    worst_ohm_rel: float = 0.0
    wrong: list[str] = field(default_factory=list)
    wrong_ohms: list[str] = field(default_factory=list)
    told: list[str] = field(default_factory=list)

    def add(self, other: Score) -> None:
        """Takes another's figures in."""
        if other.worst_rel >= self.worst_rel:
            self.worst_at = other.worst_at
        for f in fields(self):
            mine, theirs = getattr(self, f.name), getattr(other, f.name)
            if f.name != "worst_at":
                setattr(self, f.name, max(mine, theirs) if f.name.startswith("worst") else mine + theirs)


def compare(network: Network, cases: list[Case], table: Table, partial: bool = False) -> dict[str, Score]:
    """One score a setup. `partial`: the table holds only some setups of each case, and others are no loss."""
    scores = {}
    for answer in ask_solver(network, cases):
        setup = name_setup(answer.setup)
        scores[setup] = score = Score()
        for row, case in enumerate(cases):
            spice = table[name_case(case)]
            if partial and setup not in spice:
                continue
            compare_volts(score, answer, row, case, spice[setup], network)
            ohms = spice.get(name_ohms(answer.setup))
            if ohms:
                compare_ohms(score, answer, row, case, np.array(ohms))
    return scores


def whole(scores: dict[str, Score]) -> Score:
    """All setups together."""
    sums = Score()
    for score in scores.values():
        sums.add(score)
    return sums


def compare_volts(
    score: Score, answer: Answer, row: int, case: Case, found: list[float] | None, network: Network
) -> None:  # fmt: skip
    """Counts one case; where `found` holds nan, that node is not asked about. Where both chatter there are no volts
    to compare; near a threshold none are wrong."""
    told = f"{name_case(case)}, {name_setup(answer.setup)}"
    if found is None or answer.chatters[row]:
        if found is None and answer.chatters[row]:
            score.chatter += 1
            score.told.append(f"both chatter: {told}")
            return
        who = "ngspice" if found is None else "the solver"
        near = bool(answer.near()[row])
        score.near_threshold += int(near)
        (score.told if near else score.wrong).append(f"only {who} chatters: {told}")
        return
    ours, theirs = answer.volts[row], np.array(found)
    asked = ~np.isnan(theirs)
    theirs = np.where(asked, theirs, ours)
    floats = answer.behind_ohm[row] > FLOATING_OHM
    apart = np.where(floats, 0.0, np.abs(ours - theirs))
    rel = apart / np.maximum(np.abs(theirs), 1.0)
    worst = int(rel.argmax())
    say = f"{told}: {network.nodes[worst]} solver {ours[worst]:.6f} V, ngspice {theirs[worst]:.6f} V"
    if rel[worst] > TOLERANCE and answer.near()[row]:
        score.near_threshold += 1
        score.told.append(f"near a threshold: {say}")
        return
    score.cases += 1
    score.nodes += int((asked & ~floats).sum())
    score.floating += int((asked & floats).sum())
    score.worst_floating_v = max(score.worst_floating_v, float(np.abs(ours - theirs)[floats].max(initial=0.0)))
    for volts in (ours, theirs):
        _judge_floating(score, volts, floats, ours[_source_ends(network)], told)
    if rel[worst] >= score.worst_rel:
        score.worst_rel, score.worst_at = float(rel[worst]), f"{told}: {network.nodes[worst]}"
    score.worst_abs_v = max(score.worst_abs_v, float(apart.max()))
    if rel[worst] > TOLERANCE:
        score.wrong.append(say)


def _source_ends(network: Network) -> list[int]:
    """Indices of the nodes between which there is a source: battery, alternator, motors."""
    motors = {d.branch for d in network.bends if d.kind == "motor"}
    ends = {n for b in network.branches if b.emf_v or b.name in motors for n in (b.a, b.b)}
    return [i for i, node in enumerate(network.nodes) if node in ends]


def _judge_floating(score: Score, volts: Floats, floats: Bools, ends: Floats, told: str) -> None:
    """A floating node must lie between the lowest and the highest end of any source."""
    low, high = ends.min() - OUTSIDE_V, ends.max() + OUTSIDE_V
    outside = int((floats & ((volts < low) | (volts > high))).sum())
    score.floating_outside += outside
    if outside:
        score.wrong.append(f"{outside} floating nodes outside {low:.3f} to {high:.3f} V: {told}")


def compare_ohms(score: Score, answer: Answer, row: int, case: Case, theirs: Floats) -> None:
    """Ohms of one case. Above LIMIT_OHM a meter shows OL, and all that is asked is that both are above."""
    for pair, ours, their in zip(answer.pairs, answer.ohms[row], theirs, strict=True):
        score.ohms += 1
        if ours > LIMIT_OHM and their > LIMIT_OHM:
            score.over_limit += 1
            continue
        rel = float(abs(ours - their) / max(abs(their), 1.0))
        score.worst_ohm_rel = max(score.worst_ohm_rel, rel)
        if rel <= TOLERANCE:
            continue
        score.wrong_ohms.append(
            f"{name_case(case)}, {name_ohms(answer.setup)}: {' to '.join(pair)} solver {ours:.6g} ohm, "
            f"ngspice {their:.6g} ohm"
        )
