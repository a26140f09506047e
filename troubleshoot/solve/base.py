"""Which nodes the branches join, and one circuit over them solved for any source: the base of many that differ little.

Cut-set analysis: the unknowns x are the volts across the branches of a tree that takes the best conductors first.
With Q (tree branches × branches, entries 0 and ±1), conductances g and sources e, Q·diag(g)·Qᵀ·x = Q·(g∘e), and the
nodes' volts are sums of x along the tree, v = P·x. Volts against the reference as unknowns would lose the digits
wherever a whole island hangs on leakage: the drop along its wires is then the difference of two large numbers (a
100 kohm joint was read as -913 ohm that way with the battery off; found against ngspice).
"""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from troubleshoot.solve.circuits import Floats, Ints

KEPT_BYTES = 600e6
"""Solved bases kept for the next time, at most: those of a large circuit are large, and a step asks for several."""

SPARSE_FROM = 250
"""Nodes from which the ways through the tree are multiplied as sparse arrays: few branches lie on any one of them."""


@dataclass(frozen=True)
class Incidence:
    """Which nodes each branch joins: `a` and `b`, shape (branches,), node 0 the reference."""

    count: int
    a: Ints
    b: Ints
    _bases: OrderedDict[bytes, Base] = field(default_factory=OrderedDict, repr=False, compare=False)

    def across(self, volts: Floats) -> Floats:
        """Volts across every branch, from node volts (..., nodes) to (..., branches)."""
        return np.asarray(volts[..., self.a] - volts[..., self.b])

    def matrix(self) -> Floats:
        """A without the reference row, shape (nodes - 1, branches)."""
        full = np.zeros((self.count, self.a.size))
        full[self.a, np.arange(self.a.size)] += 1.0
        full[self.b, np.arange(self.a.size)] -= 1.0
        return full[1:]

    def base(self, siemens: Floats) -> Base:
        """The circuit with these conductances (branches,), solved; the last few are kept."""
        key = siemens.tobytes()
        if key not in self._bases:
            self._bases[key] = Base(self, siemens)
            while len(self._bases) > max(2, KEPT_BYTES / self._bases[key].size_bytes):
                self._bases.popitem(last=False)
        self._bases.move_to_end(key)
        return self._bases[key]

    def tree(self, siemens: Floats) -> Floats:
        """P, (nodes, nodes - 1): node volts from the volts across a tree of the best conductors.

        Raises numpy.linalg.LinAlgError when a node has no path at all to the reference.
        """
        chosen = self._best_conductors(siemens)
        joined: list[list[tuple[int, int, float]]] = [[] for _ in range(self.count)]
        for t, branch in enumerate(chosen):
            a, b = int(self.a[branch]), int(self.b[branch])
            joined[a].append((b, t, -1.0))
            joined[b].append((a, t, 1.0))
        paths = np.zeros((self.count, len(chosen)))
        waiting, seen = [0], {0}
        for node in waiting:
            for other, t, sign in joined[node]:
                if other not in seen:
                    seen.add(other)
                    paths[other] = paths[node]
                    paths[other, t] = sign
                    waiting.append(other)
        if len(seen) < self.count:
            raise np.linalg.LinAlgError("a node has no path to the reference")
        return paths

    def _best_conductors(self, siemens: Floats) -> list[int]:
        """The branches of a spanning tree, best conductors first (Kruskal 1956)."""
        root = list(range(self.count))

        def find(node: int) -> int:
            while root[node] != node:
                root[node] = root[root[node]]
                node = root[node]
            return node

        chosen = []
        for branch in np.argsort(-siemens, kind="stable").tolist():
            one, other = find(int(self.a[branch])), find(int(self.b[branch]))
            if one != other and siemens[branch] > 0:
                root[one] = other
                chosen.append(branch)
        return chosen


class Base:
    """One circuit solved for any source: what branches and nodes answer to an ampere anywhere.

    Of a small circuit all is worked out at once, from a dense inverse; of a large one what is asked for, from a sparse
    factor, since few branches lie on any way through its tree.
    """

    def __init__(self, net: Incidence, siemens: Floats) -> None:
        self.paths = net.tree(siemens)
        self.cuts = (self.paths[net.a] - self.paths[net.b]).T
        tree, branches = self.cuts.shape
        self._known = np.zeros(branches, dtype=bool)
        self._to_branches, self._to_nodes = np.empty((branches, branches)), np.empty((branches, tree + 1))
        self.size_bytes = 8 * (2 * self.cuts.size + branches**2 + 2 * self.paths.size)
        if net.count < SPARSE_FROM:
            self._joins, self._ways = self.cuts, self.paths
            self._inverse: Floats | _Factor = inverted((self.cuts * siemens) @ self.cuts.T)
            self._work_out(np.arange(branches))
        else:
            from scipy.sparse import csr_array  # a small circuit does without, and starts sooner

            self._joins, self._ways = csr_array(self.cuts), csr_array(self.paths)
            self._inverse = _Factor((self._joins * siemens) @ self._joins.T)

    def _work_out(self, branches: Ints) -> None:
        """Fills in what an ampere through each of these branches does."""
        towards = self._inverse @ self.cuts[:, branches]
        self._to_branches[branches] = (self._joins.T @ towards).T
        self._to_nodes[branches] = (self._ways @ towards).T
        self._known[branches] = True

    def to_branches(self, branches: Ints) -> Floats:
        """Rows of S = Uᵀ·Z·U: volts across every branch for an ampere driven through each of these from b to a,
        (..., branches) for an array (...) of them."""
        self._ask(branches)
        return np.asarray(self._to_branches[branches])

    def to_nodes(self, branches: Ints) -> Floats:
        """Volts of every node for the same, (..., nodes)."""
        self._ask(branches)
        return np.asarray(self._to_nodes[branches])

    def at(self, driven: Ints, across: Ints) -> Floats:
        """Entries of S: volts across the one branch for an ampere through the other, both of any shapes that go
        together."""
        self._ask(driven)
        return np.asarray(self._to_branches[driven, across])

    def _ask(self, branches: Ints) -> None:
        unknown = np.unique(branches[~self._known[branches]])
        if unknown.size:
            self._work_out(unknown)

    def towards(self, pairs: Floats) -> Floats:
        """Volts across the tree for amperes driven into it, (n, tree branches) each."""
        return np.asarray((self._inverse @ pairs.T).T)

    def into_tree(self, amps: Floats) -> Floats:
        """What amperes along the branches (n, branches) drive into the tree, (n, tree branches)."""
        return np.asarray((self._joins @ amps.T).T)

    def over_branches(self, tree_v: Floats) -> Floats:
        """Volts across every branch, (n, branches), from those across the tree, (n, tree branches)."""
        return np.asarray((self._joins.T @ tree_v.T).T)

    def over_nodes(self, tree_v: Floats) -> Floats:
        """Volts of every node, (n, nodes), from those across the tree, (n, tree branches)."""
        return np.asarray((self._ways @ tree_v.T).T)


class _Factor:
    """The inverse of a sparse symmetric positive matrix whose diagonal spans many powers of ten, for products only."""

    def __init__(self, matrix: Any) -> None:
        from scipy.sparse import csc_array
        from scipy.sparse.linalg import splu

        self._scale = 1 / np.sqrt(matrix.diagonal())
        scaled = csc_array(matrix * self._scale[:, None] * self._scale[None, :])
        options = {"SymmetricMode": True}
        self._factor = splu(scaled, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options=options)

    def __matmul__(self, columns: Floats) -> Floats:
        scaled = self._scale[:, None] * columns
        return np.asarray(self._scale[:, None] * self._factor.solve(np.ascontiguousarray(scaled)))


def inverted(matrices: Floats) -> Floats:
    """Inverses of symmetric positive matrices (..., n, n) whose diagonals span many powers of ten."""
    scale = 1 / np.sqrt(np.diagonal(matrices, axis1=-2, axis2=-1))
    both = scale[..., :, None] * scale[..., None, :]
    return np.asarray(np.linalg.inv(matrices * both) * both)
