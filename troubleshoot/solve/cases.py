"""A network with faults and drawn unknowns, as arrays: one row a case.

Applies faults and setups to branches; runs the key through its states, each starting from the one before.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from troubleshoot.circuit.circuit import KEYS
from troubleshoot.circuit.network import Network
from troubleshoot.parts.branch import OPEN_OHM, Change, Fault
from troubleshoot.parts.wire import COPPER_PER_K
from troubleshoot.solve.linear import Bools, Floats, Incidence, Ints
from troubleshoot.solve.settle import Devices, Fuses, Motors, Relays, State, settle

OPEN = float("inf")
"""The severity of a joint that is fully open."""


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
            np.zeros((cases, len(network.motors))), np.zeros(cases),
        )  # fmt: skip


class Bench:
    """C cases of one network, ready to be put into any setup and solved."""

    def __init__(self, network: Network, cases: Sequence[Case], draw: Draw | None = None) -> None:
        self.network = network
        self.cases = cases
        self.draw = draw or Draw.nominal(network, len(cases))
        index = {node: i for i, node in enumerate(network.nodes)}
        self.node_at = index
        self.net = Incidence(
            len(index),
            np.array([index[b.a] for b in network.branches]),
            np.array([index[b.b] for b in network.branches]),
        )
        self.emf_v = self.draw.emf_v + np.array([b.emf_v for b in network.branches])
        copper = np.array([b.copper for b in network.branches])
        heat = np.log1p(COPPER_PER_K * self.draw.kelvin)[:, None] * copper
        self.healthy_ohm = np.exp(self.draw.ln_ohm + heat) * np.array([b.ohm for b in network.branches])
        self.ohm = self.healthy_ohm.copy()
        self.open_siemens = np.exp(self.draw.ln_leak) / OPEN_OHM
        self.fitted = np.tile(np.array([b.fitted for b in network.branches]), (len(cases), 1))
        self.opened = np.zeros_like(self.fitted)
        self._set_devices()
        for row, case in enumerate(cases):
            for change in case.fault.changes if case.fault else ():
                self._apply(row, change, case.severity)
        self.devices = self._devices()
        self.start_state = self._history()

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
        self._seized = np.zeros((count, len(network.motors)), dtype=bool)
        self._motor_branches = self._indices([d.branch for d in network.motors])
        self._run_ohm = np.exp(self.draw.ln_ohm[:, self._motor_branches])
        self._run_ohm *= np.array([d.run_ohm for d in network.motors])

    def _indices(self, names: Sequence[str]) -> Ints:
        """Branch indices of the given names; -1 for ''."""
        return np.array([self._branch(name) if name else -1 for name in names], dtype=np.int64)

    def _branch(self, name: str) -> int:
        return self.network.branch_at[name]

    def _apply(self, row: int, change: Change, severity: float | None) -> None:
        value = severity if change.value is None else change.value
        if change.target in self.network.branch_at:
            self._apply_to_branch(row, self._branch(change.target), change.what, value)
        else:
            self._apply_to_device(row, change, value)

    def _apply_to_branch(self, row: int, branch: int, what: str, value: float | None) -> None:
        motor = next((m for m, at in enumerate(self._motor_branches) if at == branch), None)
        if what == "open" or (what == "series" and value == OPEN):
            self.opened[row, branch] = True
            if motor is not None:
                self._seized[row, motor] = True
            return
        if value is None:
            raise ValueError(f"the fault of row {row} needs a severity")
        if what == "series":
            self.ohm[row, branch] += value
            if motor is not None:
                self._run_ohm[row, motor] += value
        elif what == "connect":
            self.fitted[row, branch] = True
            self.ohm[row, branch] = value
        elif what == "scale":
            self.ohm[row, branch] *= value
        elif what == "emf":
            self.emf_v[row, branch] = value

    def _apply_to_device(self, row: int, change: Change, value: float | None) -> None:
        network = self.network
        relay = next((i for i, d in enumerate(network.relays) if d.name == change.target), -1)
        fuse = next((i for i, d in enumerate(network.fuses) if d.name == change.target), -1)
        motor = next((i for i, d in enumerate(network.motors) if d.name == change.target), -1)
        factor = 1.0 if value is None else value
        if change.what == "turns":
            self._turns[row, relay] *= factor
        elif change.what == "pull_in":
            self._pull_in[row, relay] *= factor
        elif change.what == "welded":
            self._welded[row, relay] = True
        elif change.what == "stuck":
            self._stuck[row, relay] = True
        elif change.what == "blown":
            self._blown[row, fuse] = True
        elif change.what == "seized":
            self._seized[row, motor] = True

    def _devices(self) -> Devices:
        relays, fuses, motors = self.network.relays, self.network.fuses, self.network.motors
        count = len(self.cases)
        return Devices(
            Relays(
                self._indices([d.coil for d in relays]),
                self._indices([d.make[0] for d in relays]),
                self._indices([d.rest[0] if d.rest else "" for d in relays]),
                self._pull_in,
                np.tile(np.array([d.release_a for d in relays]), (count, 1)),
                self._turns,
                self._welded,
                self._stuck,
            ),
            Fuses(
                self._indices([d.branch for d in fuses]),
                np.exp(self.draw.ln_blow) * np.array([d.blow_a for d in fuses]),
            ),
            Motors(
                self._motor_branches,
                1 / self._run_ohm,
                np.tile(np.array([d.emf_v for d in motors]), (count, 1)),
                np.exp(self.draw.ln_start) * np.array([d.start_v for d in motors]),
                self._seized,
            ),
            np.exp(self.draw.ln_leak.mean(axis=0)) / OPEN_OHM,
        )

    # ---- setups

    def closed(self, key: str, removed: frozenset[str]) -> Bools:
        """Which branches conduct in this setup as far as key and fitting go, (branches,)."""
        return np.array([(b.keys is None or key in b.keys) and not (b.needs & removed) for b in self.network.branches])

    def arrays(self, key: str, removed: frozenset[str], state: State) -> tuple[Floats, Floats]:
        """Conductances and sources (C, branches) in a setup with the devices in `state`."""
        return self.devices.impose(*self._passive(key, removed), state)

    def _passive(self, key: str, removed: frozenset[str]) -> tuple[Floats, Floats]:
        shut = self.closed(key, removed) & ~self.opened
        siemens = np.where(shut, 1 / self.ohm, self.open_siemens)
        siemens[~self.fitted] = 0.0
        return siemens, np.where(shut, self.emf_v, 0.0)

    def run(self, removed: frozenset[str], upto: str, state: State | None = None,
            prevented: frozenset[str] = frozenset()) -> dict[str, tuple[State, Bools]]:  # fmt: skip
        """Turns the key from off through every state up to `upto`.

        Returns the settled state and who chatters, by key state. `prevented` is taken out in addition
        while cranking.
        """
        state = (state or self.start_state).copy()
        results: dict[str, tuple[State, Bools]] = {}
        for key in KEYS[: KEYS.index(upto) + 1]:
            out = removed | prevented if key == "cranking" else removed
            state, chatters = settle(self.net, self.devices, *self._passive(key, out), state)
            results[key] = (state.copy(), chatters)
        return results

    def _history(self) -> State:
        """What the car went through before one came to it: all key states once. Only blown fuses remain."""
        state = self.devices.at_rest(len(self.cases))
        state.blown |= self._blown
        blown = self.run(frozenset(), "running", state)["running"][0].blown
        rest = self.devices.at_rest(len(self.cases))
        rest.blown = blown
        return rest
