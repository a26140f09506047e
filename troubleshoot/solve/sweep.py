"""Many circuits over one incidence that differ in every branch, solved together: a sweep through the nodes.

A node is taken out by turning its star of branches into a mesh between its neighbours (Rosen 1924, from memory):
g_ij += g_i·g_j / Σg, and the amperes put into it go to its neighbours by g_i / Σg. The last node is the reference;
the way back gives v = (amperes + Σ g_i·v_i) / Σg. No conductance is ever subtracted, so that what hangs on leakage
keeps its digits (for such elimination: Grassmann, Taksar and Heyman 1985, from memory); only a battery of milliohms
whose both ends hang on leakage leaves its volts against the reference uncertain, by some 1e-5 V. All C circuits take
each step at once. `linear` is for circuits that differ in a few branches.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from troubleshoot.solve.circuits import Circuits, Floats, Ints
from troubleshoot.solve.linear import DIGITS_LOST, Incidence, Solved


@dataclass(frozen=True)
class Step:
    """A node taken out: its neighbours, the joined branches that lead to them, and for every two of these (`one`,
    `other`, places among the neighbours) the joined branch `between` them."""

    node: int
    others: Ints
    edges: Ints
    one: Ints
    other: Ints
    between: Ints


@dataclass(frozen=True)
class Order:
    """In what order the nodes are taken out; `edge` (branches,) is the joined branch that each is part of, -1 for one
    with both ends at one node."""

    steps: tuple[Step, ...]
    edge: Ints
    edges: int


def order_of(net: Incidence) -> Order:
    """The order for an incidence; few neighbours first."""
    return _order(net.count, tuple(net.a.tolist()), tuple(net.b.tolist()))


@lru_cache(maxsize=4)
def _order(count: int, a: tuple[int, ...], b: tuple[int, ...]) -> Order:
    at: dict[frozenset[int], int] = {}
    edge = [at.setdefault(frozenset(ends), len(at)) if len(set(ends)) == 2 else -1 for ends in zip(a, b, strict=True)]
    beside: list[set[int]] = [set() for _ in range(count)]
    for ends in at:
        for node in ends:
            beside[node] |= ends - {node}
    left, steps = set(range(1, count)), []
    while left:
        node = min(left, key=lambda n: (len(beside[n]), n))
        left.remove(node)
        others = sorted(beside[node])
        pairs = [(i, j) for j in range(len(others)) for i in range(j)]
        between = [at.setdefault(frozenset((others[i], others[j])), len(at)) for i, j in pairs]
        for other in others:
            beside[other] |= set(others) - {other}
            beside[other].discard(node)
        one, two = (np.array([pair[side] for pair in pairs], dtype=np.int64) for side in (0, 1))
        mine = np.array([at[frozenset((node, other))] for other in others], dtype=np.int64)
        steps.append(Step(node, np.array(others, dtype=np.int64), mine, one, two, np.array(between, dtype=np.int64)))
    return Order(tuple(steps), np.array(edge, dtype=np.int64), len(at))


class Swept(Solved):
    """The solutions of C circuits over one incidence; a node that nothing leads to has no volts."""

    def __init__(self, net: Incidence, circuits: Circuits, lost: float = DIGITS_LOST) -> None:
        """`lost` is there for the sake of `Solved`: no digits are lost here."""
        del lost
        self.net, self.circuits, self._order, self._count = net, circuits, order_of(net), circuits.count
        self._shares, self._ohm = self._take_out()

    def let_go(self) -> None:
        """Keeps its solution and lets go of the circuits, which are several times as large."""
        self.circuits = self.circuits.rows(np.arange(0)) if self._dense else self.circuits

    def _take_out(self) -> tuple[list[Floats], Floats]:
        """Of each step the shares that go to its neighbours, (neighbours, C), and the ohms 1/Σg, (nodes, C)."""
        siemens = np.ascontiguousarray(self.siemens.T)
        joined = np.zeros((self._order.edges, self._count))
        for branch, edge in enumerate(self._order.edge.tolist()):
            if edge >= 0:
                joined[edge] += siemens[branch]
        shares, ohm = [], np.zeros((self.net.count, self._count))
        for step in self._order.steps:
            star = joined[step.edges]
            total = star.sum(axis=0)
            ohm[step.node] = 1 / np.where(total > 0, total, np.inf)
            share = star * ohm[step.node]
            joined[step.between] += star[step.one] * share[step.other]
            shares.append(share)
        return shares, ohm

    def answers(self, amps: Floats) -> Floats:
        """Node volts (nodes, C) for amperes (nodes, C) put in at the nodes, back by the reference."""
        amps, volts = amps.copy(), np.zeros_like(amps)
        steps = list(zip(self._order.steps, self._shares, strict=True))
        for step, share in steps:
            amps[step.others] += share * amps[step.node]
        for step, share in reversed(steps):
            volts[step.node] = amps[step.node] * self._ohm[step.node] + (share * volts[step.others]).sum(axis=0)
        return volts

    @cached_property
    def volts(self) -> Floats:
        """Node volts against the reference, (C, nodes)."""
        driven = np.ascontiguousarray((self.siemens * self.emf_v).T)
        amps = np.zeros((self.net.count, self._count))
        for branch in np.flatnonzero(driven.any(axis=1)).tolist():
            amps[self.net.a[branch]] += driven[branch]
            amps[self.net.b[branch]] -= driven[branch]
        return np.ascontiguousarray(self.answers(amps).T)

    def across(self, branches: Ints) -> Floats:
        """Volts across some branches, (C, these)."""
        return np.asarray(self.volts[:, self.net.a[branches]] - self.volts[:, self.net.b[branches]])

    def per_ampere(self, a: Ints, b: Ints) -> Floats:
        """Node volts (C, nodes) for one ampere into node `a` and out of node `b`, (C,) each."""
        amps, cases = np.zeros((self.net.count, self._count)), np.arange(self._count)
        np.add.at(amps, (a, cases), 1.0)
        np.add.at(amps, (b, cases), -1.0)
        return np.ascontiguousarray(self.answers(amps).T)

    def between(self, red: int, black: int) -> Floats:
        """What one ampere from black to red would do, (C, nodes)."""
        return self.per_ampere(*(np.full(self._count, node) for node in (red, black)))
