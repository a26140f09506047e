"""Which cases and which setups are compared with ngspice.

A case is a fault at one severity; a setup is one of `list_setups`, with the ohms readings made in it.
"""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass

import numpy as np

from troubleshoot.circuit import KEYS, Network, Setup, list_checks
from troubleshoot.circuit.checks import cranking_setup, list_setups
from troubleshoot.parts.branch import Severity
from troubleshoot.solve.cases import OPEN, Case

Pair = tuple[str, str]
"""Red and black lead of an ohmmeter."""

SPREAD_FROM_OHM = 0.01
"""Where a severity that may be nought begins to be spread."""


def list_cases(network: Network, severities: int, seed: int) -> list[Case]:
    """Healthy, and each fault at `severities` values: one drawn in each part of its range, evenly in log.

    A fault that may be fully open is so in its last part as often as not.
    """
    chance = np.random.default_rng(seed)
    cases = [Case()]
    for fault in network.faults:
        if fault.severity is None:
            cases.append(Case(fault))
            continue
        for value in _spread(fault.severity, severities, chance):
            cases.append(Case(fault, value))
    return cases


def _spread(severity: Severity, count: int, chance: np.random.Generator) -> list[float]:
    low, high = math.log(severity.low or SPREAD_FROM_OHM), math.log(severity.high)
    edges = np.linspace(low, high, 4)
    parts = range(3) if count == 3 else chance.choice(3, size=count, replace=False)
    values = []
    for part in parts:
        value = math.exp(chance.uniform(edges[part], edges[part + 1]))
        is_open = severity.open_share > 0 and part == 2 and chance.random() < 0.5
        values.append(OPEN if is_open else float(f"{value:.5g}"))
    return values


def name_case(case: Case) -> str:
    """`pump_wire:bad 3.1`, `relay:coil-open`, `healthy`."""
    if case.fault is None:
        return "healthy"
    return case.fault.name if case.severity is None else f"{case.fault.name} {case.severity:.5g}"


def name_setup(setup: Setup) -> str:
    """`on`, `off without relay`."""
    out = " ".join(sorted(setup.removed))
    return f"{setup.key} without {out}" if out else setup.key


@dataclass(frozen=True)
class Run:
    """One way through the key states, the setups that are read on it, and the ohms measured at its end."""

    removed: frozenset[str]
    prevented: frozenset[str]
    setups: tuple[Setup, ...]
    pairs: tuple[Pair, ...] = ()

    @property
    def upto(self) -> str:
        return max((s.key for s in self.setups), key=KEYS.index)


def list_runs(network: Network) -> list[Run]:
    """The setups of `list_setups`, those with the same things out together, and the ohms checks in them."""
    crank = cranking_setup(network.circuit)
    together: dict[frozenset[str], list[Setup]] = defaultdict(list)
    for setup in list_setups(network.circuit):
        if setup != crank:
            together[setup.removed].append(setup)
    ohms: dict[frozenset[str], dict[Pair, None]] = defaultdict(dict)
    for check in list_checks(network):
        if check.is_ohms:
            ohms[check.setup.removed][check.red, check.black] = None
    runs = [Run(out, frozenset(), tuple(setups), tuple(ohms[out])) for out, setups in together.items()]
    return [*runs, Run(frozenset(), crank.removed, (crank,))]
