"""Which places of a circuit are fed, through which fuse, and which have a way to ground: by how things are joined.

Nothing is solved here: every switch and contact counts as closed, and loads, coils and sources as no way at all.
"""

from __future__ import annotations

import heapq
import math
from collections import defaultdict
from dataclasses import dataclass
from functools import cached_property

from troubleshoot.circuit.network import Network
from troubleshoot.parts import Fuse, Supply
from troubleshoot.parts.branch import Branch

PASSES_OHM = 0.25
"""Ohms up to which what is inside of a part passes a feed on (invented; the weakest load here has more)."""

NO_WAY = ("battery", "supply", "starter", "alternator", "load")
"""Kinds of part through which nothing is passed on."""


@dataclass(frozen=True)
class Fed:
    """The most amperes that the fuses on the way let through to a place (infinite: none), and the fuse that does."""

    amps: float
    fuse: str


class Sides:
    """The feed side and the ground side of a circuit. `shut`: names of branches taken as open."""

    def __init__(self, network: Network, shut: frozenset[str] = frozenset()) -> None:
        self.network = network
        self._shut = shut

    @cached_property
    def _ways(self) -> dict[str, list[tuple[str, Branch]]]:
        """Where one gets to from each node, the way a current from the battery would go."""
        ways: dict[str, list[tuple[str, Branch]]] = defaultdict(list)
        for branch in self.network.branches:
            if branch.fitted and not branch.joins and branch.name not in self._shut and self._passes(branch):
                ways[branch.a].append((branch.b, branch))
                if self._kind(branch) != "diode" or branch.name.endswith(".contact"):
                    ways[branch.b].append((branch.a, branch))
        return ways

    def _kind(self, branch: Branch) -> str:
        """The kind of part that a branch lies in, "" for a wire or a ring."""
        part = self.network.circuit.parts.get(owner(branch))
        return part.kind if part else ""

    def _passes(self, branch: Branch) -> bool:
        """Whether a branch passes a feed or a ground on."""
        circuit, kind = self.network.circuit, self._kind(branch)
        if not kind or branch.name.endswith(".contact"):
            return not branch.name.endswith(".leak")
        if kind in NO_WAY or owner(branch) in circuit.loads or branch.emf_v:
            return False
        return branch.ohm < PASSES_OHM or branch.name in (f"{owner(branch)}.junction", f"{owner(branch)}.driver")

    @cached_property
    def fed(self) -> dict[str, Fed]:
        """Every place fed from the battery, with the least that a fuse on the best way there lets through."""
        circuit = self.network.circuit
        source = circuit.parts[circuit.battery]
        limit = source.limit if isinstance(source, Supply) else math.inf
        fed: dict[str, Fed] = {}
        heap = [(-limit, f"{circuit.battery}.pos", circuit.battery if isinstance(source, Supply) else "")]
        while heap:
            amps, node, fuse = heapq.heappop(heap)
            if node in fed:
                continue
            fed[node] = Fed(-amps, fuse)
            for far, branch in self._ways[node]:
                part = circuit.parts.get(owner(branch))
                if isinstance(part, Fuse) and part.rating < -amps:
                    heapq.heappush(heap, (-part.rating, far, owner(branch)))
                else:
                    heapq.heappush(heap, (amps, far, fuse))
        return fed

    @cached_property
    def grounded(self) -> set[str]:
        """Every place with a way to battery negative, not through the contacts of a relay."""
        back: dict[str, list[str]] = defaultdict(list)
        contacts = {n for d in self.network.relays if d.name in self.network.circuit.relays for n in (*d.make, *d.rest)}
        for node, ways in self._ways.items():
            for far, branch in ways:
                if branch.name not in contacts:
                    back[far].append(node)
        reached, todo = set[str](), [f"{self.network.circuit.battery}.neg"]
        while todo:
            node = todo.pop()
            if node not in reached:
                reached.add(node)
                todo += back[node]
        return reached

    def reaches(self, start: str, end: str) -> bool:
        """Whether a current from one place gets to another."""
        seen, todo = set[str](), [start]
        while todo:
            node = todo.pop()
            if node not in seen:
                seen.add(node)
                todo += [far for far, _ in self._ways[node]]
        return end in seen


def owner(branch: Branch) -> str:
    """The part that a branch lies in, "" for a wire or a ring."""
    name, dot, _ = branch.name.partition(".")
    return name if dot and ".at." not in branch.name else ""
