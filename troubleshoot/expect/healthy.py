"""The healthy circuit in any setup, for a review: what works, volts, amperes, the way of a load's current."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from troubleshoot.circuit.circuit import Circuit
from troubleshoot.circuit.network import Network
from troubleshoot.circuit.setups import Setup, live_setups, working_setup
from troubleshoot.expect.cells import NOTHING_WRONG, Cell, no_shift
from troubleshoot.expect.finding import listed
from troubleshoot.expect.table import Table
from troubleshoot.parts.branch import Branch, FuseDevice
from troubleshoot.parts.keys import SAY_KEY
from troubleshoot.solve.linear import Floats


@dataclass
class Healthy:
    """The healthy circuit in any setup. `lasting` is the same with fuses that never open."""

    network: Network

    @cached_property
    def circuit(self) -> Circuit:
        return self.network.circuit

    @cached_property
    def table(self) -> Table:
        return _table(self.network)

    @cached_property
    def lasting(self) -> Table:
        devices = tuple(replace(d, blow_a=1e9) if isinstance(d, FuseDevice) else d for d in self.network.devices)
        return _table(replace(self.network, devices=devices))

    @cached_property
    def setups(self) -> list[Setup]:
        """Every plain key state, and every setup in which the circuit is judged."""
        plain = [Setup(key) for key in self.circuit.keys]
        return list(dict.fromkeys([*plain, *live_setups(self.circuit)]))

    @cached_property
    def working(self) -> Setup:
        return working_setup(self.circuit)

    def runs(self, load: str, setup: Setup) -> int:
        """1 where a load works in a setup, -1 backwards, 0 not at all."""
        return int(self.table.behaviour(setup).bent[self.circuit.loads[load].branch][0])

    def volts(self, node: str, setup: Setup) -> float:
        return float(self.table.solved(setup).volts[0, self.table.bench.node_at[node]])

    def pulled(self, relay: str, setup: Setup) -> bool:
        return bool(self.table.behaviour(setup).pulled[relay][0])

    def amps(self, setup: Setup, table: Table | None = None) -> Floats:
        """Amperes in every branch, (branches,)."""
        return np.asarray((table or self.table).solved(setup).currents()[0])

    def way(self, load: str, setup: Setup) -> list[Branch]:
        """The branches that carry most of a working load's current, from the battery to the battery."""
        amps = self.amps(setup)
        at = self.network.branch_at
        through = self.network.branches[at[self.circuit.loads[load].branch]]
        flow = amps[at[through.name]]
        start, end = (through.a, through.b) if flow > 0 else (through.b, through.a)
        feed = self._follow(amps, start, through, back=True)
        return [*reversed(feed), through, *self._follow(amps, end, through, back=False)]

    def _follow(self, amps: Floats, node: str, last: Branch, back: bool) -> list[Branch]:
        """From a node up the current (`back`) or down it, always by the branch that carries most, to a source."""
        found: list[Branch] = []
        ends = {f"{self.circuit.battery}.pos", f"{self.circuit.battery}.neg"}
        while node not in ends and len(found) < len(self.network.branches):
            best: tuple[float, Branch, str] | None = None
            for branch, flow in zip(self.network.branches, amps, strict=True):
                if node not in (branch.a, branch.b) or branch is last:
                    continue
                into = flow if branch.b == node else -flow
                far = branch.a if branch.b == node else branch.b
                into = into if back else -into
                if best is None or into > best[0]:
                    best = (into, branch, far)
            if best is None or best[0] <= 0:
                break
            found.append(best[1])
            last, node = best[1], best[2]
        return found


def _table(network: Network) -> Table:
    return Table(network, [Cell(NOTHING_WRONG, None, 0.0, 1.0, *no_shift(network))])


def say_setup(circuit: Circuit, setup: Setup) -> str:
    """The key state, and what is operated."""
    on = listed([f"the {circuit.named_parts[name].spoken}" for name in sorted(setup.operated)])
    key = SAY_KEY[setup.key] if len(circuit.keys) > 1 else "the battery on"
    return key + (f", {on} operated" if on else "")
