"""Many sampled cars of one circuit, reckoned together: each answers word for word as it would alone.

What a car alone works out for itself (how its devices settle, its volts in a setup) a fleet works out for all of
its cars in one go, for the setups that are asked for. Beside `car.py`.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from typing import Any

import numpy as np

from troubleshoot.car.car import Car
from troubleshoot.circuit.network import Network
from troubleshoot.circuit.setups import Setup
from troubleshoot.solve.cases import Bench
from troubleshoot.solve.linear import Bools, Circuits, Floats, Incidence, Ints, Solved
from troubleshoot.solve.settle import Devices, State
from troubleshoot.solve.sweep import Swept

KEPT = 12
"""Setups, and pairs of points in each, of which all cars' answers are kept for the next car."""


class Fleet:
    """Sampled cars that belong together from now on; ask each by `cars[i].answer(check)`.

    Takes about 10 kB a car and setup; make several of a thousand rather than one of many. What is asked of one
    car after another should be the same check: only the last few setups and pairs of points are kept.
    """

    def __init__(self, network: Network, cars: Sequence[Car]) -> None:
        self.cars = list(cars)
        self._benches = []
        for name in ("bench", "_healthy"):
            together = _Together(network, [getattr(car, name) for car in self.cars])
            self._benches.append(together)
            for row, car in enumerate(self.cars):
                setattr(car, name, _Seat(together, row))

    def matter(self) -> list[bool]:
        """Whether its fault does something to each car."""
        does = [car.matters() for car in self.cars]
        self.forget()
        return does

    def forget(self) -> None:
        """Lets go of the solutions that were kept for the next car; how everything settled stays known."""
        for together in self._benches:
            together.forget()


class _Together(Bench):
    """The benches of many single cases as one, every branch of every case its own."""

    solve = Swept

    def __init__(self, network: Network, benches: Sequence[Bench]) -> None:
        self.network, self.benches = network, benches
        self.cases = [bench.cases[0] for bench in benches]
        first = benches[0]
        self.net, self.node_at, self._warms = first.net, first.node_at, first._warms
        self._stack_branches()
        self._blown = np.concatenate([bench._blown for bench in benches])
        self.devices = _stacked([bench.devices for bench in benches])
        self.known_states: dict[Setup, tuple[State, Bools]] = {}
        self._known: OrderedDict[Setup, _InSetup] = OrderedDict()

    def _stack_branches(self) -> None:
        """What each case has at each branch, (C, branches) each."""
        benches = self.benches
        self._ohm = np.concatenate([bench._ohm for bench in benches])
        self._open = np.concatenate([bench._open for bench in benches])
        self._emf_v = np.concatenate([bench._emf_v for bench in benches])
        self._fitted = np.tile(benches[0]._fitted, (len(benches), 1))
        self._healthy_ohm = self._ohm.copy()
        self._opened, self._loose = np.zeros_like(self._fitted), np.zeros_like(self._fitted)
        self._row = np.repeat(np.arange(len(benches)), [bench._place.size for bench in benches])
        self._place = np.concatenate([bench._place for bench in benches])
        self._own_loose = np.concatenate([bench._own_loose for bench in benches])
        at = self._row, self._place
        for whole, own in (
            (self._ohm, "_own_ohm"), (self._open, "_own_open"), (self._emf_v, "_own_emf"),
            (self._healthy_ohm, "_own_healthy"), (self._fitted, "_own_fitted"), (self._opened, "_own_opened"),
            (self._loose, "_own_loose"),
        ):  # fmt: skip
            whole[at] = np.concatenate([getattr(bench, own) for bench in benches])

    @cached_property
    def _circuits(self) -> tuple[Ints, Ints]:
        every = np.arange(len(self.cases))
        return every, every

    def _passive(self, setup: Setup, rows: Ints | slice = slice(None)) -> Circuits:
        branches, shut = self.network.branches, self.closed(setup)
        warms = self._warms if setup.warm else np.ones_like(self._warms)
        absent = np.array([bool(b.joins) and b.joins not in setup.fitted for b in branches])
        home = self._loose[rows] & np.array([bool(b.needs & setup.reseated) for b in branches])
        ohm = np.where(home, self._healthy_ohm[rows], self._ohm[rows]) * warms
        conducts = shut & ~(self._opened[rows] & ~home)
        siemens = np.where(conducts, 1 / ohm, self._open[rows]) * (self._fitted[rows] & ~absent)
        return Circuits.of(siemens, np.where(conducts, self._emf_v[rows], 0.0))

    def forget(self) -> None:
        """Lets go of all solutions."""
        self._known.clear()

    def known(self, setup: Setup) -> _InSetup:
        """All cases solved in a setup; the last few setups are kept."""
        if setup not in self._known:
            self._known[setup] = _InSetup(self, setup)
            while len(self._known) > KEPT:
                self._known.popitem(last=False)
        self._known.move_to_end(setup)
        return self._known[setup]

    @cached_property
    def drifting(self) -> Ints:
        """The branch at which each case has a resistance that drifts, (C,); 0 where it has none."""
        found = np.zeros(len(self.cases), dtype=np.int64)
        for row, case in enumerate(self.cases):
            changes = case.fault.changes if case.fault else ()
            names = [c.target for c in changes if c.value is None and c.target in self.network.branch_at]
            found[row] = self.network.branch_at[names[0]] if names else 0
        return found


class _InSetup:
    """All cases in one setup: their solution, and answers to amperes put in that seats ask for again and again."""

    def __init__(self, together: _Together, setup: Setup) -> None:
        self.net, self._drifting = together.net, together.drifting
        self.solved = Swept(together.net, together.circuits(setup, together.settled(setup)[0]))
        self.solved.let_go()
        self._pairs: OrderedDict[tuple[int, int], Floats] = OrderedDict()

    def pair(self, red: int, black: int) -> Floats:
        """Node volts of every case for one ampere from black to red, (C, nodes)."""
        if (red, black) not in self._pairs:
            self._pairs[red, black] = self.solved.between(red, black)
            while len(self._pairs) > KEPT:
                self._pairs.popitem(last=False)
        return self._pairs[red, black]

    def column(self, branch: int, row: int) -> Floats:
        """Node volts of a case for one ampere put in where a branch begins and taken out where it ends, (nodes,)."""
        if self._drifting[row] == branch:
            return np.asarray(self._columns[row])
        return np.asarray(self.pair(int(self.net.a[branch]), int(self.net.b[branch]))[row])

    @cached_property
    def _columns(self) -> Floats:
        """That of every case's own bad joint, all in one go, (C, nodes)."""
        return self.solved.per_ampere(self.net.a[self._drifting], self.net.b[self._drifting])


class _Seat(Bench):
    """One case of those reckoned together, as a bench of its own."""

    def __init__(self, together: _Together, row: int) -> None:
        self.together, self.at = together, np.array([row])
        self.row = row
        self.network, self.net, self.node_at = together.network, together.net, together.node_at
        self.cases = [together.cases[row]]
        self.devices = together.benches[row].devices

    def settled(self, setup: Setup) -> tuple[State, Bools]:
        state, chatters = self.together.settled(setup)
        return state.rows(self.at), chatters[self.at]

    def solved(self, setup: Setup, rows: Ints | None = None) -> Solved:
        del rows
        return self.solved_with(setup, {})

    def solved_with(self, setup: Setup, more_ohm: Mapping[int, float]) -> Solved:
        if len(more_ohm) > 1:
            return super().solved_with(setup, more_ohm)
        return _Lifted(self, setup, *next(iter(more_ohm.items()), (0, 0.0)))

    def arrays(self, setup: Setup, state: State) -> tuple[Floats, Floats]:
        del state
        solved = self.together.known(setup).solved
        return solved.siemens[self.at].copy(), solved.emf_v[self.at].copy()


class _Lifted(Solved):
    """One case in a setup, with ohms more in one branch: from the solution without them by Sherman and Morrison's
    formula; a joint that drifts by a tenth loses no digits by it."""

    def __init__(self, seat: _Seat, setup: Setup, branch: int, more_ohm: float) -> None:
        self.net: Incidence = seat.net
        self._at, self._row, self._branch = seat.at, seat.row, branch
        self._known = seat.together.known(setup)
        self._solved = self._known.solved
        was = self._solved.siemens[seat.row, branch]
        self._step = 1 / (1 / was + more_ohm) - was if more_ohm and was > 0 else 0.0

    def _lift_row(self, volts: Floats, emf_v: float) -> Floats:
        """Node volts (nodes,) of the case without the more ohms, lifted, (1, nodes)."""
        if not self._step:
            return volts[None]
        a, b, column = self.net.a[self._branch], self.net.b[self._branch], self._known.column(self._branch, self._row)
        grown = 1 + self._step * (column[a] - column[b])
        return np.asarray((volts - column * (self._step * (volts[a] - volts[b] - emf_v) / grown))[None])

    @cached_property
    def volts(self) -> Floats:
        """Node volts against the reference, (1, nodes)."""
        return self._lift_row(self._solved.volts[self._row], float(self._solved.emf_v[self._row, self._branch]))

    @cached_property
    def siemens(self) -> Floats:
        """Conductances, (1, branches)."""
        own = self._solved.siemens[self._at].copy()
        own[0, self._branch] += self._step
        return np.asarray(own)

    @property
    def emf_v(self) -> Floats:
        """Sources, (1, branches)."""
        return np.asarray(self._solved.emf_v[self._at])

    def between(self, red: int, black: int) -> Floats:
        """What one ampere from black to red would do, (1, nodes)."""
        return self._lift_row(self._known.pair(red, black)[self._row], 0.0)


def _stacked(devices: Sequence[Devices]) -> Devices:
    """Devices of single cases as those of many, the leakage case by case."""

    def joined(kind: str, *names: str) -> Any:
        """One kind of them, with what differs from case to case."""
        own = {name: np.concatenate([getattr(getattr(one, kind), name) for one in devices]) for name in names}
        return replace(getattr(devices[0], kind), **own)

    return Devices(
        joined("relays", "pull_in_a", "release_a", "turns", "welded", "stuck"),
        joined("fuses", "blow_a"),
        joined("bends", "run_siemens", "emf_v", "start_v", "keep_v", "seized"),
        np.stack([one.open_siemens for one in devices]),
    )
