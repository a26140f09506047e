"""Many linear circuits that differ from one base in a few branches, solved together.

Cut-set analysis: the unknowns x are the volts across the branches of a tree that takes the best conductors first.
With Q (tree branches × branches, entries 0 and ±1), conductances g and sources e, Q·diag(g)·Qᵀ·x = Q·(g∘e), and the
nodes' volts are sums of x along the tree, v = P·x. Volts against the reference as unknowns would lose the digits
wherever a whole island hangs on leakage: the drop along its wires is then the difference of two large numbers (a
100 kohm joint was read as -913 ohm that way with the battery off; found against ngspice).

A case that differs from the base in K branches needs only a K×K system (Sherman, Morrison and Woodbury):
G'⁻¹ = Z - Z·U·(I + D·S)⁻¹·D·Uᵀ·Z with Z = G⁻¹, S = Uᵀ·Z·U, D = diag(Δg).
Cases in which that loses digits are solved anew.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

DIGITS_LOST = 1e-2
"""Relative error up to which a lifted solution is trusted. What is lost is how well leakage is known: a branch that
alone held an island and is opened leaves 1 - g·S, of the size of leak over g, as the difference of two ones."""

KEPT_BYTES = 100e6
"""Solved bases that are kept for the next time, at most."""

WIDTHS = (1, 3)
"""Cases are lifted together by the number of branches in which they differ: up to each of these, and all others."""


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
    """One circuit solved for any source: what every branch and every node answers to an ampere anywhere."""

    def __init__(self, net: Incidence, siemens: Floats) -> None:
        self.siemens = siemens
        self.paths = net.tree(siemens)
        self.cuts = (self.paths[net.a] - self.paths[net.b]).T
        self.inverse = inverted((self.cuts * siemens) @ self.cuts.T)
        self.size_bytes = 8 * (2 * self.cuts.size + siemens.size**2 + 2 * self.paths.size)

    @cached_property
    def to_nodes(self) -> Floats:
        """Z·Pᵀ, (tree branches, nodes)."""
        return np.asarray(self.inverse @ self.paths.T)

    @cached_property
    def branch_to_nodes(self) -> Floats:
        """Node volts for an ampere driven through each branch from b to a, (branches, nodes)."""
        return np.asarray(self.cuts.T @ self.to_nodes)

    @cached_property
    def branch_to_branches(self) -> Floats:
        """S = Uᵀ·Z·U for all branches, (branches, branches)."""
        return np.asarray((self.cuts.T @ self.inverse) @ self.cuts)


def inverted(matrices: Floats) -> Floats:
    """Inverses of symmetric positive matrices (..., n, n) whose diagonals span many powers of ten."""
    scale = 1 / np.sqrt(np.diagonal(matrices, axis1=-2, axis2=-1))
    both = scale[..., :, None] * scale[..., None, :]
    return np.asarray(np.linalg.inv(matrices * both) * both)


@dataclass(frozen=True)
class Lift:
    """Cases `rows` (R,) that differ from the base in the branches `ports` (R, K); `middle` (R, K, K) is
    (I + D·S)⁻¹·D."""

    rows: Ints
    ports: Ints
    middle: Floats


class Solved:
    """The solutions of C cases over one incidence. `volts` has shape (C, nodes)."""

    def __init__(
        self, net: Incidence, siemens: Floats, emf_v: Floats, base: int = 0, lost: float = DIGITS_LOST,
        base_siemens: Floats | None = None,
    ) -> None:  # fmt: skip
        """Solves for `siemens` and `emf_v`, both (C, branches); row `base` is what the others differ from, or a
        circuit that is none of them, `base_siemens`.

        Cases whose lifted solution may be off by more than `lost`, relative, are solved by themselves.

        Raises numpy.linalg.LinAlgError when a node has no path at all to the reference.
        """
        self.net = net
        self.siemens = siemens
        self.emf_v = emf_v
        self._base = net.base(siemens[base] if base_siemens is None else base_siemens)
        self._lifts, self._anew = self._lift(lost)
        self.volts = self._driven()

    def _lift(self, lost: float) -> tuple[list[Lift], Ints]:
        """The K×K parts of all cases, and the cases to be solved anew."""
        lifts, anew = [], []
        for rows, ports, step in _differences(self.siemens, self._base.siemens):
            system = step[:, :, None] * self._base.branch_to_branches[ports[:, :, None], ports[:, None, :]]
            size = np.abs(system)
            diagonal = np.arange(ports.shape[1])
            system[:, diagonal, diagonal] += 1.0
            size[:, diagonal, diagonal] += 1.0
            lifted = _inverted(system)
            # how much an error of one rounding in S may grow (Skeel's condition number)
            grown = np.matmul(np.abs(lifted), size).max(axis=(1, 2)) * np.finfo(float).eps
            good = grown < lost
            anew.append(rows[~good])
            lifts.append(Lift(rows[good], ports[good], (lifted * step[:, None, :])[good]))
        return lifts, np.concatenate([np.zeros(0, dtype=np.int64), *anew])

    @cached_property
    def _own(self) -> Floats:
        """Z of each case that is solved anew."""
        cuts = self._base.cuts
        return inverted((cuts[None] * self.siemens[self._anew][:, None, :]) @ cuts.T)

    def _driven(self) -> Floats:
        """Node volts that the sources make, (C, nodes)."""
        sources = np.flatnonzero(self.emf_v.any(axis=0))
        amps = self.siemens[:, sources] * self.emf_v[:, sources]
        base = self._base
        answer = amps @ base.branch_to_nodes[sources]
        for lift in self._lifts:
            mine = amps[lift.rows]
            at_ports = np.einsum("rs,srk->rk", mine, base.branch_to_branches[sources[:, None, None], lift.ports])
            weights = np.matmul(lift.middle, at_ports[:, :, None])
            answer[lift.rows] -= np.einsum("rk,rkn->rn", weights[:, :, 0], base.branch_to_nodes[lift.ports])
        if self._anew.size:
            driven = amps[self._anew] @ base.cuts[:, sources].T
            answer[self._anew] = np.matmul(self._own, driven[:, :, None])[:, :, 0] @ base.paths.T
        return answer

    def rows(self, which: Ints) -> Solved:
        """The same for some of the cases."""
        part = object.__new__(Solved)
        part.net, part.siemens, part.emf_v, part._base = self.net, self.siemens[which], self.emf_v[which], self._base
        part.volts = self.volts[which]
        place = np.full(self.volts.shape[0], -1)
        place[which] = np.arange(which.size)
        part._lifts = []
        for lift in self._lifts:
            mine = place[lift.rows] >= 0
            part._lifts.append(Lift(place[lift.rows[mine]], lift.ports[mine], lift.middle[mine]))
        mine = place[self._anew] >= 0
        part._anew = place[self._anew[mine]]
        if self._anew.size:
            part.__dict__["_own"] = self._own[mine]
        return part

    # ---- answers to amperes from outside

    def currents(self) -> Floats:
        """Amperes from a to b in every branch, shape (C, branches)."""
        return self.siemens * (self.net.across(self.volts) - self.emf_v)

    def amps(self, branches: Ints) -> Floats:
        """Amperes from a to b in some branches, (C, these)."""
        across = self.volts[:, self.net.a[branches]] - self.volts[:, self.net.b[branches]]
        return np.asarray(self.siemens[:, branches] * (across - self.emf_v[:, branches]))

    def between(self, red: int, black: int) -> Floats:
        """G⁻¹·u for the pair of nodes, (C, nodes): what one ampere from black to red would do."""
        pair = self._base.paths[red] - self._base.paths[black]
        at_branches = pair @ self._base.inverse @ self._base.cuts
        return self._answer((pair @ self._base.to_nodes)[None], at_branches[None], self._base.branch_to_nodes,
                            lambda: (pair @ self._own @ self._base.paths.T)[:, None])[:, 0]  # fmt: skip

    def replies(self, red: Ints, black: Ints, which: Ints | None = None) -> Floats:
        """Volts across every branch, (C, pairs, branches), for one ampere from each pair's black to its red.

        With `which` (C, k) only those of the pairs, case by case: (C, k, branches).
        """
        pairs = self._base.paths[red] - self._base.paths[black]
        at_branches = pairs @ self._base.inverse @ self._base.cuts
        if which is None:
            return self._answer(at_branches, at_branches, self._base.branch_to_branches,
                                lambda: pairs @ self._own @ self._base.cuts)  # fmt: skip
        answer = at_branches[which]
        for lift in self._lifts:
            at_ports = at_branches[which[lift.rows][:, :, None], lift.ports[:, None, :]]
            weights = np.matmul(at_ports, np.swapaxes(lift.middle, 1, 2))
            answer[lift.rows] -= np.matmul(weights, self._base.branch_to_branches[lift.ports])
        if self._anew.size:
            answer[self._anew] = pairs[which[self._anew]] @ self._own @ self._base.cuts
        return np.asarray(answer)

    def squares(self, red: Ints, black: Ints, weight: Floats, whole: Floats) -> tuple[Floats, Floats, Floats]:
        """Of the replies R to pairs, without making them: sum of weight·R² over branches, (C, pairs), `weight` (C,
        branches); R·whole, (C, pairs, m), `whole` (C, branches, m); and the size of the terms that the first is a
        difference of, (C, pairs), infinite where a case is solved anew."""
        base = self._base
        pairs = base.paths[red] - base.paths[black]
        plain = pairs @ base.inverse @ base.cuts
        square = weight @ np.square(plain).T
        moved = np.matmul(plain, whole)
        size = square.copy()
        size[self._anew] = np.inf
        for lift in self._lifts:
            mine, at = lift.rows, base.branch_to_branches[lift.ports]  # (rows, K, branches)
            lifted = np.swapaxes(np.matmul(lift.middle, plain.T[lift.ports]), 1, 2)  # (rows, pairs, K)
            heavy = at * weight[mine][:, None, :]
            crossed = np.swapaxes(heavy @ plain.T, 1, 2)
            own = np.matmul(lifted, np.matmul(heavy, np.swapaxes(at, 1, 2)))
            square[mine] += ((own - 2 * crossed) * lifted).sum(axis=2)
            size[mine] += np.abs(own * lifted).sum(axis=2)
            moved[mine] -= np.matmul(lifted, np.matmul(at, whole[mine]))
        return square, moved, size

    def source_ohm(self, red: Ints, black: Ints) -> Floats:
        """Ohms between the nodes of each pair with the sources dead, (C, pairs)."""
        pairs = self._base.paths[red] - self._base.paths[black]
        towards = pairs @ self._base.inverse
        at_branches = (towards @ self._base.cuts).T
        answer = np.broadcast_to((towards * pairs).sum(axis=1), (self.siemens.shape[0], pairs.shape[0])).copy()
        for lift in self._lifts:
            at_ports = at_branches[lift.ports]
            answer[lift.rows] -= (at_ports * np.matmul(lift.middle, at_ports)).sum(axis=1)
        if self._anew.size:
            answer[self._anew] = ((pairs @ self._own) * pairs).sum(axis=2)
        return answer

    def pushed(self, amps: Floats) -> Floats:
        """Node volts, (C, n, nodes), for amperes `amps` (C, n, branches) driven along the branches from b to a."""
        base = self._base
        answer = amps @ base.branch_to_nodes
        for lift in self._lifts:
            mine = amps[lift.rows]
            at_ports = np.matmul(mine, base.branch_to_branches[:, lift.ports].swapaxes(0, 1))
            weights = np.matmul(at_ports, np.swapaxes(lift.middle, 1, 2))
            answer[lift.rows] -= np.matmul(weights, base.branch_to_nodes[lift.ports])
        if self._anew.size:
            answer[self._anew] = amps[self._anew] @ base.cuts.T @ self._own @ base.paths.T
        return np.asarray(answer)

    def _answer(self, plain: Floats, at_branches: Floats, columns: Floats, anew: Callable[[], Floats]) -> Floats:
        """The base's answers `plain` (pairs, n) to pairs that put `at_branches` (pairs, branches) on the branches,
        lifted to every case by the answers `columns` (branches, n) to the branches: (C, pairs, n)."""
        answer = np.broadcast_to(plain, (self.siemens.shape[0], *plain.shape)).copy()
        for lift in self._lifts:
            at_ports = at_branches.T[lift.ports]  # (rows, K, pairs)
            weights = np.matmul(lift.middle, at_ports)
            answer[lift.rows] -= np.matmul(np.swapaxes(weights, 1, 2), columns[lift.ports])
        if self._anew.size:
            answer[self._anew] = anew()
        return answer


def _differences(siemens: Floats, base: Floats) -> Iterator[tuple[Ints, Ints, Floats]]:
    """Cases by how many branches they differ in: rows (R,), those branches (R, K) and by how much, (R, K); cases
    that differ in fewer are filled up with what does not change."""
    row, branch = np.nonzero(siemens != base)
    step = siemens[row, branch] - base[branch]
    counts = np.bincount(row, minlength=siemens.shape[0])
    place = np.arange(row.size) - np.repeat(np.cumsum(counts) - counts, counts)
    edges = [0, *WIDTHS, max(int(counts.max(initial=0)), WIDTHS[-1] + 1)]
    for low, high in pairwise(edges):
        inside = (counts > low) & (counts <= high)
        rows = np.flatnonzero(inside)
        if not rows.size:
            continue
        mine = inside[row]
        at = (np.cumsum(inside) - 1)[row[mine]], place[mine]
        shape = rows.size, int(counts[rows].max())
        ports, steps = np.zeros(shape, dtype=np.int64), np.zeros(shape)
        ports[at], steps[at] = branch[mine], step[mine]
        yield rows, ports, steps


def _inverted(system: Floats) -> Floats:
    """Inverses of K×K systems; those that are exactly singular give something huge."""
    if system.shape[1] == 1:
        return 1 / np.where(system == 0, 1e-30, system)
    try:
        return np.asarray(np.linalg.inv(system))
    except np.linalg.LinAlgError:
        signs, _ = np.linalg.slogdet(system)
        return np.asarray(np.linalg.inv(np.where(signs[:, None, None] == 0, 1e-30 * np.eye(system.shape[1]), system)))
