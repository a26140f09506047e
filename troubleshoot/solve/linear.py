"""Many linear circuits that differ from one base (`base.py`) in a few branches, solved together.

A case that differs from the base in K branches needs only a K×K system (Sherman, Morrison and Woodbury):
G'⁻¹ = Z - Z·U·(I + D·S)⁻¹·D·Uᵀ·Z with Z = G⁻¹, S = Uᵀ·Z·U, D = diag(Δg).
Cases in which that loses digits are solved anew.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np

from troubleshoot.solve.base import Base, Incidence, inverted
from troubleshoot.solve.circuits import Bools, Circuits, Floats, Ints

__all__ = ["Base", "Bools", "Circuits", "Floats", "Incidence", "Ints", "Solved"]

DIGITS_LOST = 1e-2
"""Relative error up to which a lifted solution is trusted. What is lost is how well leakage is known: a branch that
alone held an island and is opened leaves 1 - g·S, of the size of leak over g, as the difference of two ones."""

WIDTHS = (1, 3)
"""Cases are lifted together by the number of branches in which they differ: up to each of these, and all others."""


@dataclass(frozen=True)
class Lift:
    """Cases `rows` (R,) that differ from the base in the branches `ports` (R, K); `middle` (R, K, K) is
    (I + D·S)⁻¹·D."""

    rows: Ints
    ports: Ints
    middle: Floats


class Solved:
    """The solutions of C circuits over one incidence."""

    def __init__(self, net: Incidence, circuits: Circuits, lost: float = DIGITS_LOST) -> None:
        """Cases whose lifted solution may be off by more than `lost`, relative, are solved by themselves.

        Raises numpy.linalg.LinAlgError when a node has no path at all to the reference.
        """
        self.net = net
        self.circuits = circuits
        self._base = net.base(circuits.siemens)
        self._lifts, self._anew = self._lift(lost)

    def _lift(self, lost: float) -> tuple[list[Lift], Ints]:
        """The K×K parts of all cases, and the cases to be solved anew."""
        lifts, anew = [], []
        for rows, ports, step in _differences(self.circuits):
            middle, grown = _middle(step, self._base.at(ports[:, :, None], ports[:, None, :]))
            good = grown < lost
            anew.append(rows[~good])
            lifts.append(Lift(rows[good], ports[good], middle[good]))
        return lifts, np.concatenate([np.zeros(0, dtype=np.int64), *anew])

    @cached_property
    def _dense(self) -> tuple[Floats, Floats]:
        return self.circuits.dense()

    @property
    def siemens(self) -> Floats:
        """Conductances, (C, branches)."""
        return self._dense[0]

    @property
    def emf_v(self) -> Floats:
        """Sources, (C, branches)."""
        return self._dense[1]

    @cached_property
    def _own(self) -> Floats:
        """Z of each case that is solved anew."""
        cuts = self._base.cuts
        siemens, _ = self.circuits.rows(self._anew).dense()
        return inverted((cuts[None] * siemens[:, None, :]) @ cuts.T)

    @cached_property
    def volts(self) -> Floats:
        """Node volts that the sources make, (C, nodes)."""
        base = self._base
        return self._driven(base.to_nodes, lambda anew: anew @ base.paths.T)

    def across(self, branches: Ints) -> Floats:
        """Volts across some branches, (C, these)."""
        base = self._base
        cuts = base.cuts[:, branches]
        return self._driven(lambda driven: base.at(driven[..., None], branches), lambda anew: anew @ cuts)

    @cached_property
    def _drive(self) -> tuple[Ints, Floats]:
        """The branches with sources in any case, and the amperes that each drives, (C, these)."""
        circuits = self.circuits
        live = circuits.emf_v != 0
        live[circuits.branch[circuits.own_emf_v != 0]] = True
        sources = np.flatnonzero(live)
        siemens, emf_v = circuits.at(sources)
        return sources, siemens * emf_v

    def _driven(self, answers: Callable[[Ints], Floats], anew: Callable[[Floats], Floats]) -> Floats:
        """What the sources make of the base's `answers` to branches, (..., n) for (...), lifted to every case."""
        sources, amps = self._drive
        answer = amps @ answers(sources)
        for lift in self._lifts:
            at_ports = np.einsum("rs,srk->rk", amps[lift.rows], self._base.at(sources[:, None, None], lift.ports))
            weights = np.matmul(lift.middle, at_ports[:, :, None])[:, :, 0]
            answer[lift.rows] -= np.einsum("rk,rkn->rn", weights, answers(lift.ports))
        if self._anew.size:
            driven = amps[self._anew] @ self._base.cuts[:, sources].T
            answer[self._anew] = anew(np.matmul(self._own, driven[:, :, None])[:, :, 0])
        return np.asarray(answer)

    def rows(self, which: Ints) -> Solved:
        """The same for some of the cases, also one of them several times."""
        part = object.__new__(Solved)
        part.net, part.circuits, part._base = self.net, self.circuits.rows(which), self._base
        if "volts" in self.__dict__:
            part.__dict__["volts"] = self.volts[which]
        part._lifts = []
        for lift in self._lifts:
            rows, at = _found(lift.rows, which, self.circuits.count)
            part._lifts.append(Lift(rows, lift.ports[at], lift.middle[at]))
        part._anew, at = _found(self._anew, which, self.circuits.count)
        if at.size:
            part.__dict__["_own"] = self._own[at]
        return part

    # ---- answers to amperes from outside

    def currents(self) -> Floats:
        """Amperes from a to b in every branch, shape (C, branches)."""
        return self.siemens * (self.net.across(self.volts) - self.emf_v)

    def amps(self, branches: Ints) -> Floats:
        """Amperes from a to b in some branches, (C, these)."""
        siemens, emf_v = self.circuits.at(branches)
        return np.asarray(siemens * (self.across(branches) - emf_v))

    def between(self, red: int, black: int) -> Floats:
        """G⁻¹·u for the pair of nodes, (C, nodes): what one ampere from black to red would do."""
        base = self._base
        pair = (base.paths[red] - base.paths[black])[None]
        towards = base.towards(pair)
        return self._answer(base.over_nodes(towards), base.over_branches(towards), base.to_nodes,
                            lambda: pair @ self._own @ base.paths.T)[:, 0]  # fmt: skip

    def replies(self, red: Ints, black: Ints, which: Ints | None = None) -> Floats:
        """Volts across every branch, (C, pairs, branches), for one ampere from each pair's black to its red.

        With `which` (C, k) only those of the pairs, case by case: (C, k, branches).
        """
        pairs = self._base.paths[red] - self._base.paths[black]
        at_branches = self._base.over_branches(self._base.towards(pairs))
        if which is None:
            return self._answer(at_branches, at_branches, self._base.to_branches,
                                lambda: pairs @ self._own @ self._base.cuts)  # fmt: skip
        answer = at_branches[which]
        for lift in self._lifts:
            at_ports = at_branches[which[lift.rows][:, :, None], lift.ports[:, None, :]]
            weights = np.matmul(at_ports, np.swapaxes(lift.middle, 1, 2))
            answer[lift.rows] -= np.matmul(weights, self._base.to_branches(lift.ports))
        if self._anew.size:
            answer[self._anew] = pairs[which[self._anew]] @ self._own @ self._base.cuts
        return np.asarray(answer)

    def squares(self, red: Ints, black: Ints, weight: Floats, whole: Floats) -> tuple[Floats, Floats, Floats]:
        """Of the replies R to pairs, without making them: sum of weight·R² over branches, (C, pairs), `weight` (C,
        branches); R·whole, (C, pairs, m), `whole` (C, m, branches); and the size of the terms that the first is a
        difference of, (C, pairs), infinite where a case is solved anew."""
        base = self._base
        pairs = base.paths[red] - base.paths[black]
        plain = base.over_branches(base.towards(pairs))
        square = weight @ np.square(plain).T
        moved = np.swapaxes(_times(whole, plain.T), 1, 2)
        size = square.copy()
        size[self._anew] = np.inf
        for lift in self._lifts:
            mine, at = lift.rows, base.to_branches(lift.ports)  # (rows, K, branches)
            lifted = np.swapaxes(np.matmul(lift.middle, plain.T[lift.ports]), 1, 2)  # (rows, pairs, K)
            heavy = at * weight[mine][:, None, :]
            crossed = np.swapaxes(_times(heavy, plain.T), 1, 2)
            own = np.matmul(lifted, np.matmul(heavy, np.swapaxes(at, 1, 2)))
            square[mine] += ((own - 2 * crossed) * lifted).sum(axis=2)
            size[mine] += np.abs(own * lifted).sum(axis=2)
            moved[mine] -= np.matmul(lifted, np.matmul(at, np.swapaxes(whole[mine], 1, 2)))
        return square, moved, size

    def source_ohm(self, red: Ints, black: Ints) -> Floats:
        """Ohms between the nodes of each pair with the sources dead, (C, pairs)."""
        pairs = self._base.paths[red] - self._base.paths[black]
        towards = self._base.towards(pairs)
        at_branches = self._base.over_branches(towards).T
        answer = np.broadcast_to((towards * pairs).sum(axis=1), (self.circuits.count, pairs.shape[0])).copy()
        for lift in self._lifts:
            at_ports = at_branches[lift.ports]
            answer[lift.rows] -= (at_ports * np.matmul(lift.middle, at_ports)).sum(axis=1)
        if self._anew.size:
            answer[self._anew] = ((pairs @ self._own) * pairs).sum(axis=2)
        return answer

    def pushed(self, amps: Floats) -> Floats:
        """Node volts, (C, n, nodes), for amperes `amps` (C, n, branches) driven along the branches from b to a."""
        base = self._base
        driven = base.into_tree(amps.reshape(-1, amps.shape[2]))
        answer = base.over_nodes(base.towards(driven)).reshape(*amps.shape[:2], -1)
        for lift in self._lifts:
            mine = amps[lift.rows]
            at_ports = np.matmul(mine, np.swapaxes(base.to_branches(lift.ports), 1, 2))
            weights = np.matmul(at_ports, np.swapaxes(lift.middle, 1, 2))
            answer[lift.rows] -= np.matmul(weights, base.to_nodes(lift.ports))
        if self._anew.size:
            answer[self._anew] = amps[self._anew] @ base.cuts.T @ self._own @ base.paths.T
        return np.asarray(answer)

    def _answer(
        self, plain: Floats, at_branches: Floats, answers: Callable[[Ints], Floats], anew: Callable[[], Floats]
    ) -> Floats:
        """The base's answers `plain` (pairs, n) to pairs that put `at_branches` (pairs, branches) on the branches,
        lifted to every case by the `answers` to the branches, (..., n) for (...): (C, pairs, n)."""
        answer = np.broadcast_to(plain, (self.circuits.count, *plain.shape)).copy()
        for lift in self._lifts:
            at_ports = at_branches.T[lift.ports]  # (rows, K, pairs)
            weights = np.matmul(lift.middle, at_ports)
            answer[lift.rows] -= np.matmul(np.swapaxes(weights, 1, 2), answers(lift.ports))
        if self._anew.size:
            answer[self._anew] = anew()
        return answer


def _found(among: Ints, which: Ints, count: int) -> tuple[Ints, Ints]:
    """Where `which` of `count` cases are `among` some, each once: their places in `which`, and in `among`."""
    place = np.full(count, -1)
    place[among] = np.arange(among.size)
    rows = np.flatnonzero(place[which] >= 0)
    return rows, place[which[rows]]


def _differences(circuits: Circuits) -> Iterator[tuple[Ints, Ints, Floats]]:
    """Cases by how many branches they differ in: rows (R,), those branches (R, K) and by how much, (R, K); cases
    that differ in fewer are filled up with what does not change."""
    step = circuits.own_siemens - circuits.siemens[circuits.branch]
    differs = np.flatnonzero(step)
    row, branch, step = circuits.row[differs], circuits.branch[differs], step[differs]
    counts = np.bincount(row, minlength=circuits.count)
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


def _times(stack: Floats, matrix: Floats) -> Floats:
    """(R, K, n) times (n, m) as one product, (R, K, m): many small ones take several times as long."""
    return np.asarray((stack.reshape(-1, stack.shape[2]) @ matrix).reshape(*stack.shape[:2], matrix.shape[1]))


def _middle(step: Floats, at_ports: Floats) -> tuple[Floats, Floats]:
    """(I + D·S)⁻¹·D of systems (R, K, K), from the steps D (R, K) and S at the ports; and how much an error of one
    rounding in S may grow there, (R,) (Skeel's condition number)."""
    system = step[:, :, None] * at_ports
    size = np.abs(system)
    diagonal = np.arange(step.shape[1])
    system[:, diagonal, diagonal] += 1.0
    size[:, diagonal, diagonal] += 1.0
    lifted = _inverted(system)
    grown = np.matmul(np.abs(lifted), size).max(axis=(1, 2), initial=0.0) * np.finfo(float).eps
    return lifted * step[:, None, :], grown


def _inverted(system: Floats) -> Floats:
    """Inverses of K×K systems; those that are exactly singular give something huge."""
    if system.shape[1] == 1:
        return 1 / np.where(system == 0, 1e-30, system)
    try:
        return np.asarray(np.linalg.inv(system))
    except np.linalg.LinAlgError:
        signs, _ = np.linalg.slogdet(system)
        return np.asarray(np.linalg.inv(np.where(signs[:, None, None] == 0, 1e-30 * np.eye(system.shape[1]), system)))
