"""The suspects in detail: every fault at every severity that does something, each with its weight.

A cell is one fault near one severity with its devices settled one way. Severities lie on a grid fine enough
that ln(severity) within a cell is taken as Gaussian; neighbours that no reading could tell apart are one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from troubleshoot.circuit.checks import Setup, cranking_setup
from troubleshoot.circuit.circuit import KEYS
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.circuit.network import Network
from troubleshoot.parts.branch import Fault
from troubleshoot.solve.cases import OPEN, Bench, Case, Draw
from troubleshoot.solve.linear import Bools, Floats, Ints, Solved

NOTHING_WRONG = Fault(
    "circuit", "nothing-wrong", "nothing is wrong in this circuit",
    "look outside this circuit: fuel, filter, spark, a fault that comes and goes", "nothing-wrong",
)  # fmt: skip
NOT_DESCRIBED = Fault(
    "circuit", "not-described", "something that this circuit file does not describe",
    "compare the wiring with the file, wire by wire: an added switch, a splice, another relay layout",
    "not-described",
)  # fmt: skip

TAKES_V = 0.2
"""A resistance is a fault once it takes this much from the load (decision 6)."""

ENDANGERED = 1.25
"""Coil drive over pull-in below which pulling in is endangered (invented)."""

STEP = 2.0
"""Ratio of neighbouring severities before those alike are merged."""

ALIKE_V = 0.08
"""Severities whose readings differ by less than this everywhere are one cell."""

DRAWS = 24
"""Sampled thresholds to find the shares of a case near one of them."""


@dataclass(frozen=True)
class Cell:
    """One fault near one severity. `ln_sigma` is the sigma of ln(severity); `weight` its prior, sum 1 over all.

    `ln_pull_in`, `ln_blow` and `ln_start` are the device thresholds, relative, that make it settle this way.
    """

    fault: Fault
    severity: float | None
    ln_sigma: float
    weight: float
    ln_pull_in: tuple[float, ...]
    ln_blow: tuple[float, ...]
    ln_start: tuple[float, ...]

    @property
    def case(self) -> Case:
        return Case(self.fault, self.severity)


def list_cells(network: Network, guesses: Guesses) -> list[Cell]:
    """All cells of a circuit but "not described", with weights from the guesses, healthy first."""
    zero = tuple(tuple(0.0 for _ in kind) for kind in (network.relays, network.fuses, network.motors))
    cells = [Cell(NOTHING_WRONG, None, 0.0, guesses.prior("nothing-wrong"), *zero)]
    for fault, (grid, volts) in _effective(network).items():
        weight = guesses.prior(fault.prior)
        for severity, ln_sigma, share in _merged(fault, grid, volts):
            cells.append(Cell(fault, severity, ln_sigma, weight * share, *zero))
    cells = _split(network, cells)
    total = sum(cell.weight for cell in cells)
    return [replace(cell, weight=cell.weight / total) for cell in cells]


def severity_range(network: Network) -> dict[Fault, tuple[float, float]]:
    """For each fault with a severity, the range of it that does something; faults that never do are left out."""
    return {
        fault: (finite[0], finite[-1])
        for fault, (severities, _) in _effective(network).items()
        if (finite := [s for s in severities if s is not None and s < OPEN])
    }


# ---- severities


def _grid(fault: Fault) -> list[float | None]:
    if fault.severity is None:
        return [None]
    low, high = fault.severity.low or 1e-4, fault.severity.high
    count = max(5, round(np.log(high / low) / np.log(STEP)) + 1)
    severities: list[float | None] = list(np.geomspace(low, high, count).tolist())
    return [*severities, OPEN] if fault.severity.open_share else severities


def _watched(network: Network) -> list[Setup]:
    """Setups in which a fault of a pump that may not run shows itself; `running` is not among them, since the
    engine of a car with a dead pump does not run."""
    return [Setup("off"), Setup("on"), cranking_setup(network.circuit)]


def solve_setups(bench: Bench, setups: Sequence[Setup]) -> list[tuple[Solved, Bools, Bools]]:
    """For each setup the solution, who chatters (C,) and the device states as bits (C, devices)."""
    prevented = frozenset({bench.network.circuit.start_prevented.unplug})
    results = []
    runs = {}
    for setup in setups:
        plain = setup.removed - prevented if setup.key == "cranking" else setup.removed
        if plain not in runs:
            runs[plain] = bench.run(plain, _last_key(setups, plain, prevented), prevented=prevented)
        state, chatters = runs[plain][setup.key]
        bits = np.concatenate([state.pulled, state.blown, state.turning], axis=1)
        solved = Solved(bench.net, *bench.arrays(setup.key, setup.removed, state))
        results.append((solved, chatters, bits))
    return results


def _last_key(setups: Sequence[Setup], plain: frozenset[str], prevented: frozenset[str]) -> str:
    """How far the key must be turned for all setups with these things removed."""
    keys = [s.key for s in setups if (s.removed - prevented if s.key == "cranking" else s.removed) == plain]
    return max(keys, key=KEYS.index)


def _effects(network: Network, cases: list[Case]) -> tuple[Bools, list[Floats]]:
    """Whether each case does something against row 0, which is healthy; and its node volts in the setups."""
    bench = Bench(network, cases)
    differs = np.zeros(len(cases), dtype=bool)
    volts = []
    relays = bench.devices.relays
    for setup, (solved, chatters, bits) in zip(_watched(network), solve_setups(bench, _watched(network)), strict=True):
        across = bench.net.across(solved.volts)[:, bench.devices.motors.branch]
        lost = (across[0] - across).max(axis=1, initial=0.0) > TAKES_V
        drive = np.abs(solved.currents()[:, relays.coil]) * relays.turns / relays.pull_in_a
        hot = np.abs(solved.currents()[:, relays.coil]) > 1.3 * np.abs(solved.currents()[0, relays.coil])
        endangered = (drive < ENDANGERED) & (drive[0] >= ENDANGERED) & (setup.key != "off")
        series = np.array([bool(c.fault and any(x.what == "series" for x in c.fault.changes)) for c in cases])
        differs |= lost | chatters | (bits != bits[0]).any(axis=1)
        differs |= endangered.any(axis=1) & series
        differs |= (hot & (drive > 0.1)).any(axis=1)
        volts.append(solved.volts)
    return differs, volts


def _effective(network: Network) -> dict[Fault, tuple[list[float | None], Floats]]:
    """Each fault's severities from the smallest that does something up, and its node volts at each."""
    grids = {fault: _grid(fault) for fault in network.faults}
    cases = [Case()] + [Case(fault, severity) for fault, grid in grids.items() for severity in grid]
    differs, volts = _effects(network, cases)
    everything = np.concatenate(volts, axis=1)
    found = {}
    at = 1
    for fault, grid in grids.items():
        useful = np.flatnonzero(differs[at : at + len(grid)])
        if useful.size:
            first = int(useful[0])
            found[fault] = (grid[first:], everything[at + first : at + len(grid)])
        at += len(grid)
    return found


def _merged(fault: Fault, grid: list[float | None], rows: Floats) -> list[tuple[float | None, float, float]]:
    if grid == [None]:
        return [(None, 0.0, 1.0)]
    finite = [s for s in grid if s is not None and s < OPEN]
    open_share = fault.severity.open_share if fault.severity and len(finite) < len(grid) else 0.0
    if not finite:
        return [(OPEN, 0.0, 1.0)]
    step = np.log(finite[1] / finite[0]) if len(finite) > 1 else 0.5
    runs, first = [], 0
    for i in range(1, len(finite) + 1):
        if i == len(finite) or np.abs(rows[i] - rows[first]).max() > ALIKE_V:
            runs.append((first, i))
            first = i
    shares = [
        (
            float(np.exp(np.mean(np.log(finite[a:b])))),
            float((b - a) * step / np.sqrt(12)),
            (1 - open_share) * (b - a) / len(finite),
        )
        for a, b in runs
    ]
    result: list[tuple[float | None, float, float]] = [*shares]
    return [*result, (OPEN, 0.0, open_share)] if open_share else result


# ---- settled states near a threshold


def _split(network: Network, cells: list[Cell]) -> list[Cell]:
    """Splits each cell that may settle in more than one way, by shares of the thresholds' spread."""
    sigmas = [
        # the drive is uncertain too: coil ohms and battery add about as much again
        np.array([np.hypot(d.pull_in_spread, 0.055) for d in network.relays]),
        np.array([np.hypot(d.blow_spread, 0.05) for d in network.fuses]),
        np.array([np.hypot(d.start_spread, 0.05) for d in network.motors]),
    ]
    rng = np.random.default_rng(5)
    draws = [_spread_normals(rng, DRAWS, s.size) * s for s in sigmas]
    extremes = [[sign * 2.5 * s for s in sigmas] for sign in (-1, 1)]
    patterns = [_pattern(network, cells, [np.tile(e, (len(cells), 1)) for e in ends]) for ends in extremes]
    near = [i for i in range(len(cells)) if not (patterns[0][i] == patterns[1][i]).all()]
    if not near:
        return cells
    rows = [cells[i] for i in near for _ in range(DRAWS)]
    drawn = _pattern(network, rows, [np.tile(d, (len(near), 1)) for d in draws])
    result = [cell for i, cell in enumerate(cells) if i not in set(near)]
    healthy_split = 0 in near
    for n, i in enumerate(near):
        mine = drawn[n * DRAWS : (n + 1) * DRAWS]
        _, first, which = np.unique(mine, axis=0, return_index=True, return_inverse=True)
        for kind in range(first.size):
            members = np.flatnonzero(which.ravel() == kind)
            middle = _most_central(draws, members)
            thresholds = [tuple(d[middle].tolist()) for d in draws]
            result.append(
                Cell(cells[i].fault, cells[i].severity, cells[i].ln_sigma,
                     cells[i].weight * members.size / DRAWS, *thresholds)
            )  # fmt: skip
    if healthy_split:
        result.sort(key=lambda cell: cell.fault is not NOTHING_WRONG)
    return result


def _spread_normals(rng: np.random.Generator, count: int, width: int) -> Floats:
    """Standard normals, (count, width), evenly spread in every column and shuffled (a Latin hypercube)."""
    ranks = np.stack([rng.permutation(count) for _ in range(width)], axis=1) if width else np.zeros((count, 0))
    p = (ranks + 0.5) / count
    # Winitzki's closed form of the inverse error function, good to 2e-3: thresholds need no more
    x = 2 * p - 1
    ln = np.log1p(-(x**2))
    c = 2 / (np.pi * 0.147) + ln / 2
    return np.asarray(np.sign(x) * np.sqrt(np.sqrt(c**2 - ln / 0.147) - c) * np.sqrt(2))


def _most_central(draws: list[Floats], members: Ints) -> int:
    stacked = np.concatenate(draws, axis=1)
    scaled = stacked / (stacked.std(axis=0) + 1e-12)
    distance = np.square(scaled[members] - scaled[members].mean(axis=0)).sum(axis=1)
    return int(members[int(distance.argmin())])


def thresholds(network: Network, cells: Sequence[Cell]) -> Draw:
    """The draw that gives each cell its own thresholds and is nominal otherwise."""
    nominal = Draw.nominal(network, len(cells))
    return replace(
        nominal,
        ln_pull_in=np.array([cell.ln_pull_in for cell in cells]).reshape(len(cells), -1),
        ln_blow=np.array([cell.ln_blow for cell in cells]).reshape(len(cells), -1),
        ln_start=np.array([cell.ln_start for cell in cells]).reshape(len(cells), -1),
    )


def _pattern(network: Network, cells: Sequence[Cell], drawn: list[Floats]) -> Bools:
    """How each row settles in all watched setups, as bits (C, bits)."""
    draw = replace(Draw.nominal(network, len(cells)), ln_pull_in=drawn[0], ln_blow=drawn[1], ln_start=drawn[2])
    bench = Bench(network, [cell.case for cell in cells], draw)
    solved = solve_setups(bench, _watched(network))
    return np.concatenate([np.concatenate([bits, chatters[:, None]], axis=1) for _, chatters, bits in solved], axis=1)
