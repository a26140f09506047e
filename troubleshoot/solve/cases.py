"""A network with faults and drawn unknowns, as arrays: one row a case.

Applies faults and setups to branches; runs the key through its states, each starting from the one before.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np

from troubleshoot.circuit.network import Network
from troubleshoot.circuit.setups import Setup, live_setups, setup_before
from troubleshoot.parts.branch import OPEN_OHM, Change, Fault
from troubleshoot.parts.copper import COPPER_PER_K
from troubleshoot.solve.linear import Bools, Circuits, Floats, Incidence, Ints, Solved
from troubleshoot.solve.settle import Bends, Devices, Fuses, Relays, State, settle

OPEN = float("inf")
"""The severity of a joint that is fully open."""


FIRST = np.zeros(1, dtype=np.int64)

TURN = {"diode": -1, "limit": -1, "motor": 0, "filament": 1}
"""Who moves first."""


@dataclass(frozen=True)
class Case:
    """A fault at one severity (ohms, volts or a factor; OPEN; None where it has none). No fault: healthy."""

    fault: Fault | None = None
    severity: float | None = None


@dataclass(frozen=True)
class Draw:
    """What differs in one sampled car from the file's nominal values; one row a case.

    `ln_ohm`, `ln_leak` and `emf_v` are (C, branches), the rest (C, devices of that kind) in the order of
    the network; `kelvin` (C,) is how much warmer than 20 °C the copper is.
    """

    ln_ohm: Floats
    ln_leak: Floats
    emf_v: Floats
    ln_pull_in: Floats
    ln_blow: Floats
    ln_start: Floats
    kelvin: Floats

    @classmethod
    def nominal(cls, network: Network, cases: int) -> Draw:
        """No difference at all."""
        none = np.broadcast_to(0.0, (cases, len(network.branches)))
        return cls(
            none, none, none,
            np.zeros((cases, len(network.relays))), np.zeros((cases, len(network.fuses))),
            np.zeros((cases, len(network.bends))), np.zeros(cases),
        )  # fmt: skip


@lru_cache(maxsize=4)
def _incidence(count: int, a: tuple[int, ...], b: tuple[int, ...]) -> Incidence:
    """One for all benches of a network, which then share the bases that it keeps."""
    return Incidence(count, np.array(a), np.array(b))


@dataclass(frozen=True)
class _Own:
    """What a case has at one branch instead of the healthy first case."""

    ohm: float
    healthy_ohm: float
    open_siemens: float
    emf_v: float
    fitted: bool
    opened: bool = False
    loose: bool = False


class Bench:
    """C cases of one network, ready to be put into any setup and solved."""

    solve: type[Solved] = Solved

    def __init__(self, network: Network, cases: Sequence[Case], draw: Draw | None = None) -> None:
        self.network = network
        self.cases = cases
        self.draw = draw or Draw.nominal(network, len(cases))
        index = {node: i for i, node in enumerate(network.nodes)}
        self.node_at = index
        ends = (
            tuple(index[node] for node in side) for side in zip(*((b.a, b.b) for b in network.branches), strict=True)
        )
        self.net = _incidence(len(index), *ends)
        self._warms = 1 + COPPER_PER_K * np.array([b.heats_k for b in network.branches])
        self._fitted = np.array([b.fitted for b in network.branches])
        self._set_branches()
        self._set_devices()
        for row, case in enumerate(cases):
            for change in case.fault.changes if case.fault else ():
                self._apply(row, change, case.severity)
        self._list_own()
        self.devices = self._devices()
        self.known_states: dict[Setup, tuple[State, Bools]] = {}

    # ---- branches

    @cached_property
    def _one_draw(self) -> bool:
        """Whether the cases differ in faults and thresholds only: no branch was drawn."""
        draw = self.draw
        return not (draw.ln_ohm.any() or draw.ln_leak.any() or draw.emf_v.any() or draw.kelvin.any())

    def _set_branches(self) -> None:
        """Healthy branches of the rows that were drawn, (1 or C, branches) each; and what some case has instead."""
        branches, rows = self.network.branches, slice(0, 1 if self._one_draw else None)
        copper = np.array([b.copper for b in branches])
        heat = np.log1p(COPPER_PER_K * self.draw.kelvin[rows])[:, None] * copper
        self._emf_v = self.draw.emf_v[rows] + np.array([b.emf_v for b in branches])
        self._ohm = np.exp(self.draw.ln_ohm[rows] + heat) * np.array([b.ohm for b in branches])
        self._open = np.exp(self.draw.ln_leak[rows]) / OPEN_OHM
        self._own: dict[tuple[int, int], _Own] = {}
        for row in range(1, self._ohm.shape[0]):
            for branch in range(len(branches)):
                self._own[row, branch] = self._healthy(row, branch)

    def _healthy(self, row: int, branch: int) -> _Own:
        at = min(row, self._ohm.shape[0] - 1), branch
        ohm = float(self._ohm[at])
        return _Own(ohm, ohm, float(self._open[at]), float(self._emf_v[at]), bool(self._fitted[branch]))

    def _change(self, row: int, branch: int, **to: float | bool) -> None:
        self._own[row, branch] = replace(self._at(row, branch), **to)  # type: ignore[arg-type]

    def _at(self, row: int, branch: int) -> _Own:
        return self._own.get((row, branch)) or self._healthy(row, branch)

    def _list_own(self) -> None:
        """What some case has instead, as arrays by row."""
        places = sorted(self._own)
        owned = [self._own[place] for place in places]
        at = np.array(places, dtype=np.int64).reshape(len(places), 2)
        self._row, self._place = at[:, 0], at[:, 1]
        self._first = np.searchsorted(self._row, np.arange(len(self.cases) + 1))
        self._own_ohm, self._own_healthy, self._own_open, self._own_emf = (
            np.array([getattr(own, name) for own in owned]) for name in ("ohm", "healthy_ohm", "open_siemens", "emf_v")
        )
        self._own_fitted, self._own_opened, self._own_loose = (
            np.array([getattr(own, name) for own in owned], dtype=bool) for name in ("fitted", "opened", "loose")
        )

    @property
    def open_siemens(self) -> Floats:
        """What each branch still leaks when open, (C, branches); not to be written to."""
        return np.broadcast_to(self._open, (len(self.cases), self._open.shape[1]))

    # ---- devices and faults

    def _set_devices(self) -> None:
        """Arrays of what faults may change in devices, (C, devices of the kind)."""
        count = len(self.cases)
        network = self.network
        self._turns = np.ones((count, len(network.relays)))
        self._pull_in = np.exp(self.draw.ln_pull_in) * np.array([d.pull_in_a for d in network.relays])
        self._welded = np.zeros((count, len(network.relays)), dtype=bool)
        self._stuck = self._welded.copy()
        self._blown = np.zeros((count, len(network.fuses)), dtype=bool)
        self._blow_a = np.exp(self.draw.ln_blow) * np.array([d.blow_a for d in network.fuses])
        self._seized = np.zeros((count, len(network.bends)), dtype=bool)
        self._bend_branches = self._indices([d.branch for d in network.bends])
        self._run_ohm = np.exp(self.draw.ln_ohm[:, self._bend_branches])
        self._run_ohm *= np.array([d.run_ohm for d in network.bends])
        self._knee = np.ones((count, len(network.bends)))

    def _indices(self, names: Sequence[str]) -> Ints:
        """Branch indices of the given names; -1 for ''."""
        return np.array([self._branch(name) if name else -1 for name in names], dtype=np.int64)

    def _branch(self, name: str) -> int:
        return self.network.branch_at[name]

    def _apply(self, row: int, change: Change, severity: float | None) -> None:
        value = severity if change.value is None else change.value
        if change.target in self.network.branch_at:
            self._apply_to_branch(row, self._branch(change.target), change, value)
        else:
            self._apply_to_device(row, change, value)

    def _apply_to_branch(self, row: int, branch: int, change: Change, value: float | None) -> None:
        bend = next((m for m, at in enumerate(self._bend_branches) if at == branch), None)
        was = self._at(row, branch)
        self._change(row, branch, loose=was.loose or change.reseats)
        if change.what == "open" or (change.what == "series" and value == OPEN):
            self._change(row, branch, opened=True)
            if bend is not None:
                self._seized[row, bend] = True
            return
        if value is None:
            raise ValueError(f"the fault of row {row} needs a severity")
        if change.what == "series":
            if bend is not None:
                self._run_ohm[row, bend] += value
                if self.network.bends[bend].kind == "filament":  # its lines cross at the same current, so higher volts
                    self._knee[row, bend] *= 1 + value / was.ohm
            self._change(row, branch, ohm=was.ohm + value)
        elif change.what == "connect":
            self._change(row, branch, fitted=True, ohm=value * float(np.exp(self.draw.ln_ohm[row, branch])))
        elif change.what == "scale":
            self._change(row, branch, ohm=was.ohm * value)
        elif change.what == "emf":
            self._change(row, branch, emf_v=value)

    def _apply_to_device(self, row: int, change: Change, value: float | None) -> None:
        network = self.network
        relay = next((i for i, d in enumerate(network.relays) if d.name == change.target), -1)
        fuse = next((i for i, d in enumerate(network.fuses) if d.name == change.target), -1)
        bend = next((i for i, d in enumerate(network.bends) if d.name == change.target), -1)
        factor = 1.0 if value is None else value
        if change.what == "turns":
            self._turns[row, relay] *= factor
        elif change.what == "pull_in":
            self._pull_in[row, relay] *= factor
        elif change.what == "blow":
            self._blow_a[row, fuse] *= factor
        elif change.what == "welded":
            self._welded[row, relay] = True
        elif change.what == "stuck":
            self._stuck[row, relay] = True
        elif change.what == "blown":
            self._blown[row, fuse] = True
        elif change.what == "seized":
            self._seized[row, bend] = True

    def _devices(self) -> Devices:
        relays, fuses, bends = self.network.relays, self.network.fuses, self.network.bends
        count = len(self.cases)
        # a supply's limit is told from its own volts, which differ from one to the next
        emf_v = np.tile(self._emf_v[:, self._bend_branches], (count // self._emf_v.shape[0], 1))
        for m, branch in enumerate(self._bend_branches):
            mine = np.flatnonzero(self._place == branch)
            emf_v[self._row[mine], m] = self._own_emf[mine]
        limited = emf_v * np.array([d.kind == "limit" for d in bends], dtype=bool)
        contacts = [(r, name, True) for r, d in enumerate(relays) for name in d.make]
        contacts += [(r, name, False) for r, d in enumerate(relays) for name in d.rest]
        return Devices(
            Relays(
                self._indices([d.coil for d in relays]),
                tuple((r, self._branch(name), makes) for r, name, makes in contacts),
                np.array([d.leads for d in relays], dtype=bool),
                self._pull_in,
                np.tile(np.array([d.release_a for d in relays]), (count, 1)),
                self._turns,
                self._welded,
                self._stuck,
            ),
            Fuses(
                self._indices([d.branch for d in fuses]),
                np.array([d.resets for d in fuses], dtype=bool),
                self._blow_a,
            ),
            Bends(
                self._bend_branches,
                np.array([d.two_way for d in bends], dtype=bool),
                1 / self._run_ohm,
                limited + np.array([d.emf_v for d in bends]),
                limited + self._knee * np.exp(self.draw.ln_start) * np.array([d.start_v for d in bends]),
                limited + self._knee * np.array([d.keep_v for d in bends]),
                self._seized,
                np.array([TURN[d.kind] for d in bends], dtype=np.int64),
            ),
            np.exp(self.draw.ln_leak.mean(axis=0)) / OPEN_OHM,
        )

    # ---- setups

    def closed(self, setup: Setup) -> Bools:
        """Which branches conduct in this setup as far as key, switches and fitting go, (branches,)."""
        return np.array([
            (b.keys is None or setup.key in b.keys)
            and not (b.needs & setup.removed)
            and (not b.operate or b.operate in setup.operated)
            for b in self.network.branches
        ])  # fmt: skip

    def circuits(self, setup: Setup, state: State, rows: Ints | slice = slice(None)) -> Circuits:
        """The circuits in a setup with the devices in `state`, of some cases; said by how they differ from the first
        case's."""
        first = self._passive(setup, FIRST)
        base = self.devices.rows(FIRST).impose(first, self.settled(setup)[0].rows(FIRST))
        return self.devices.rows(rows).impose(self._passive(setup, rows), state, base)

    def arrays(self, setup: Setup, state: State) -> tuple[Floats, Floats]:
        """The same as conductances and sources, (C, branches) each."""
        return self.circuits(setup, state).dense()

    def _pushed_home(self, setup: Setup) -> Bools:
        """Which own joints sit as they should because what they belong to has been pushed home, (own,)."""
        home = np.array([bool(b.needs & setup.reseated) for b in self.network.branches])
        return np.asarray(home[self._place] & self._own_loose)

    def _passive(self, setup: Setup, rows: Ints | slice = slice(None)) -> Circuits:
        branches = self.network.branches
        shut = self.closed(setup)
        warms = self._warms if setup.warm else np.ones_like(self._warms)
        absent = np.array([bool(b.joins) and b.joins not in setup.fitted for b in branches])
        siemens = np.where(shut, 1 / (self._ohm[0] * warms), self._open[0]) * (self._fitted & ~absent)
        emf_v = np.where(shut, self._emf_v[0], 0.0)

        at = self._place
        home = self._pushed_home(setup)
        ohm = np.where(home, self._own_healthy, self._own_ohm) * warms[at]
        own_shut = shut[at] & ~(self._own_opened & ~home)
        own_siemens = np.where(own_shut, 1 / ohm, self._own_open) * (self._own_fitted & ~absent[at])
        own_emf_v = np.where(own_shut, self._own_emf, 0.0)
        return Circuits(siemens, emf_v, self._first, at, own_siemens, own_emf_v).rows(rows)

    def settled(self, setup: Setup) -> tuple[State, Bools]:
        """The state in a setup after the key has come there through those before it, and who chatters, (C,)."""
        if setup not in self.known_states:
            before = setup_before(self.network.circuit, setup)
            state = self.settled(before)[0] if before else self.start_state
            self.known_states[setup] = self._reseated(setup, state) if setup.reseated else self._settle(setup, state)
        return self.known_states[setup]

    def _reseated(self, setup: Setup, state: State) -> tuple[State, Bools]:
        """The same where something has been pushed home: only those act otherwise to which that does something."""
        as_found = self.settled(replace(setup, reseated=frozenset()))
        after, chatters = as_found[0].copy(), as_found[1].copy()
        rows = np.unique(self._row[self._pushed_home(setup)])
        if rows.size:
            own, buzz = settle(
                self.net, self.devices.rows(rows), self._passive(setup, rows), state.rows(rows), solve=self.solve
            )
            after.put(rows, own)
            chatters[rows] = buzz
        return after, chatters

    def _settle(self, setup: Setup, state: State) -> tuple[State, Bools]:
        first, circuit = self._circuits
        return settle(self.net, self.devices, self._passive(setup, first), state, circuit, self.solve)

    @cached_property
    def _circuits(self) -> tuple[Ints, Ints]:
        """The first case of each circuit, and which circuit is each case's, (C,): many cases may differ in the
        thresholds of devices only."""
        if not self._one_draw:
            return np.arange(len(self.cases)), np.arange(len(self.cases))
        at: dict[tuple[int, float | None], int] = {}
        first: list[int] = []
        for row, case in enumerate(self.cases):
            if at.setdefault((id(case.fault), case.severity), len(first)) == len(first):
                first.append(row)
        return np.array(first), np.array([at[id(case.fault), case.severity] for case in self.cases])

    def solved(self, setup: Setup, rows: Ints | None = None) -> Solved:
        """All cases, or those of some rows, solved in a setup, settled."""
        state = self.settled(setup)[0]
        if rows is None:
            return self.solve(self.net, self.circuits(setup, state))
        return self.solve(self.net, self.circuits(setup, state.rows(rows), rows))

    def solved_with(self, setup: Setup, more_ohm: Mapping[int, float]) -> Solved:
        """The same with ohms more in series at some branches, in every case."""
        siemens, emf_v = self.arrays(setup, self.settled(setup)[0])
        for branch, ohm in more_ohm.items():
            siemens[:, branch] = 1 / (1 / siemens[:, branch] + ohm)
        return self.solve(self.net, Circuits.of(siemens, emf_v))

    @cached_property
    def start_state(self) -> State:
        """What the car went through before one came to it: all key states once. Only blown fuses remain."""
        state = self.devices.at_rest(len(self.cases))
        state.blown |= self._blown
        circuit = self.network.circuit
        way = [Setup(key) for key in circuit.keys if key != "remote"]
        if circuit.works.operate:
            working = [s for s in live_setups(circuit) if s.operated and not s.removed]
            way = [*[s for s in way if s.key in ("off", "accessory", "prime", "on")], *working, *way]
        for setup in way:
            state, _ = self._settle(setup, state)
        rest = self.devices.at_rest(len(self.cases))
        rest.blown = state.blown
        return rest
