"""Which cases and which setups are compared with ngspice.

A case is a fault at one severity; a setup is one of `list_setups`, with the ohms readings made in it.
"""

from __future__ import annotations

import math
from collections import defaultdict

import numpy as np
from netlist import Pair

from troubleshoot.circuit import Network, Setup, list_checks
from troubleshoot.circuit.check_list import list_setups
from troubleshoot.parts.branch import Severity
from troubleshoot.solve.cases import OPEN, Case

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


def some_of(cases: list[Case], count: int, seed: int) -> list[Case]:
    """Healthy and so many others, spread evenly over the list of faults, beginning at another one for each seed."""
    others = cases[1:]
    if count >= len(others):
        return cases
    return [cases[0], *(others[(i * len(others) // count + seed) % len(others)] for i in range(count))]


def name_case(case: Case) -> str:
    """`pump_wire:bad 3.1`, `relay:coil-open`, `healthy`."""
    if case.fault is None:
        return "healthy"
    return case.fault.name if case.severity is None else f"{case.fault.name} {case.severity:.5g}"


def name_setup(setup: Setup) -> str:
    """`on`, `off -relay`: the key state and what differs, as the checks say it."""
    return setup.key + setup.tail


def name_ohms(setup: Setup) -> str:
    """What a table calls the ohms read in a setup."""
    return f"ohms {name_setup(setup)}"


def setups_of(network: Network) -> list[Setup]:
    """Every setup in which some check may be made."""
    return list_setups(network)


def pairs_of(network: Network) -> dict[Setup, list[Pair]]:
    """The ohmmeter's leads in each setup in which ohms are read."""
    ohms: dict[Setup, dict[Pair, None]] = defaultdict(dict)
    for check in list_checks(network):
        if check.is_ohms:
            ohms[check.setup][check.red, check.black] = None
    return {setup: list(pairs) for setup, pairs in ohms.items()}
