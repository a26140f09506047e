"""A network with faults and drawn unknowns, as arrays: one row a case.

Applies faults and setups to branches; runs the key through its states, each starting from the one before.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from troubleshoot.circuit.network import Network
from troubleshoot.circuit.setups import Setup, live_setups, setup_before
from troubleshoot.parts.branch import OPEN_OHM, Change, Fault
from troubleshoot.parts.copper import COPPER_PER_K
from troubleshoot.solve.linear import Bools, Floats, Incidence, Ints, Solved
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
        branches = (cases, len(network.branches))
        return cls(
            np.zeros(branches), np.zeros(branches), np.zeros(branches),
            np.zeros((cases, len(network.relays))), np.zeros((cases, len(network.fuses))),
            np.zeros((cases, len(network.bends))), np.zeros(cases),
        )  # fmt: skip


@lru_cache(maxsize=4)
def _incidence(count: int, a: tuple[int, ...], b: tuple[int, ...]) -> Incidence:
    """One for all benches of a network, which then share the bases that it keeps."""
    return Incidence(count, np.array(a), np.array(b))


class Bench:
    """C cases of one network, ready to be put into any setup and solved."""

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
        self.emf_v = self.draw.emf_v + np.array([b.emf_v for b in network.branches])
        copper = np.array([b.copper for b in network.branches])
        heat = np.log1p(COPPER_PER_K * self.draw.kelvin)[:, None] * copper
        self.healthy_ohm = np.exp(self.draw.ln_ohm + heat) * np.array([b.ohm for b in network.branches])
        self.ohm = self.healthy_ohm.copy()
        self._warms = 1 + COPPER_PER_K * np.array([b.heats_k for b in network.branches])
        self._loose = np.zeros_like(self.ohm, dtype=bool)
        self.open_siemens = np.exp(self.draw.ln_leak) / OPEN_OHM
        self.fitted = np.tile(np.array([b.fitted for b in network.branches]), (len(cases), 1))
        self.opened = np.zeros_like(self.fitted)
        self._set_devices()
        for row, case in enumerate(cases):
            for change in case.fault.changes if case.fault else ():
                self._apply(row, change, case.severity)
        self.devices = self._devices()
        self.known_states: dict[Setup, tuple[State, Bools]] = {}

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
        self._loose[row, branch] |= change.reseats
        if change.what == "open" or (change.what == "series" and value == OPEN):
            self.opened[row, branch] = True
            if bend is not None:
                self._seized[row, bend] = True
            return
        if value is None:
            raise ValueError(f"the fault of row {row} needs a severity")
        if change.what == "series":
            if bend is not None:
                self._run_ohm[row, bend] += value
                if self.network.bends[bend].kind == "filament":  # its lines cross at the same current, so higher volts
                    self._knee[row, bend] *= 1 + value / self.ohm[row, branch]
            self.ohm[row, branch] += value
        elif change.what == "connect":
            self.fitted[row, branch] = True
            self.ohm[row, branch] = value * np.exp(self.draw.ln_ohm[row, branch])
        elif change.what == "scale":
            self.ohm[row, branch] *= value
        elif change.what == "emf":
            self.emf_v[row, branch] = value

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
        limited = self.emf_v[:, self._bend_branches] * np.array([d.kind == "limit" for d in bends], dtype=bool)
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

    def arrays(self, setup: Setup, state: State, rows: Ints | slice = slice(None)) -> tuple[Floats, Floats]:
        """Conductances and sources (C, branches) in a setup with the devices in `state`; of some cases' rows only."""
        return self.devices.rows(rows).impose(*self._passive(setup, rows), state)

    def _passive(self, setup: Setup, rows: Ints | slice = slice(None)) -> tuple[Floats, Floats]:
        ohm, opened = self.ohm[rows], self.opened[rows]
        if setup.reseated:
            home = np.array([bool(b.needs & setup.reseated) for b in self.network.branches]) & self._loose[rows]
            ohm, opened = np.where(home, self.healthy_ohm[rows], ohm), opened & ~home
        if setup.warm:
            ohm = ohm * self._warms
        shut = self.closed(setup) & ~opened
        siemens = np.where(shut, 1 / ohm, self.open_siemens[rows])
        siemens[~self.fitted[rows]] = 0.0
        absent = [i for i, b in enumerate(self.network.branches) if b.joins and b.joins not in setup.fitted]
        siemens[:, absent] = 0.0
        return siemens, np.where(shut, self.emf_v[rows], 0.0)

    def settled(self, setup: Setup) -> tuple[State, Bools]:
        """The state in a setup after the key has come there through those before it, and who chatters, (C,)."""
        if setup not in self.known_states:
            before = setup_before(self.network.circuit, setup)
            state = self.settled(before)[0] if before else self.start_state
            self.known_states[setup] = self._settle(setup, state)
        return self.known_states[setup]

    def _settle(self, setup: Setup, state: State) -> tuple[State, Bools]:
        first, circuit = self._circuits
        return settle(self.net, self.devices, *self._passive(setup, first), state, circuit)

    @cached_property
    def _circuits(self) -> tuple[Ints, Ints]:
        """The first case of each circuit, and which circuit is each case's, (C,): many cases may differ in the
        thresholds of devices only."""
        draw = self.draw
        if draw.ln_ohm.any() or draw.ln_leak.any() or draw.emf_v.any() or draw.kelvin.any():
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
            return Solved(self.net, *self.arrays(setup, state))
        base = self.arrays(setup, state.rows(FIRST), FIRST)[0][0]
        return Solved(self.net, *self.arrays(setup, state.rows(rows), rows), base_siemens=base)

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
