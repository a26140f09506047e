"""The suspects in detail: every fault at every severity that does something, each with its weight.

A cell is one fault near one severity with its devices settled one way. Severities lie on a grid fine enough
that ln(severity) within a cell is taken as Gaussian; neighbours that no reading could tell apart are one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from troubleshoot.circuit.guesses import Guesses
from troubleshoot.circuit.network import Network
from troubleshoot.circuit.setups import Setup, cut_offs, live_setups, working_setup
from troubleshoot.parts.branch import Device, Fault
from troubleshoot.solve.cases import OPEN, Bench, Case, Draw
from troubleshoot.solve.linear import Floats, Ints, Solved
from troubleshoot.solve.settle import Signs

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

WORN_SHARE = 0.8
"""A load that takes less than this share of its current, at full volts, is worn (invented)."""

ENDANGERED = 1.25
"""Coil drive over pull-in below which pulling in is endangered (invented)."""

STEP = 2.0
"""Ratio of neighbouring severities before those alike are merged."""

ALIKE_V = 0.08
"""Severities whose readings differ by less than this everywhere are one cell."""

ROWS_AT_A_TIME = 5_000_000
"""Numbers, cells × branches, that are settled at a time."""

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
    zero = no_shift(network)
    cells = [Cell(NOTHING_WRONG, None, 0.0, guesses.prior("nothing-wrong"), *zero)]
    for fault, (grid, volts) in _effective(network).items():
        weight = guesses.prior(fault.prior)
        for severity, ln_sigma, share in _merged(fault, grid, volts):
            cells.append(Cell(fault, severity, ln_sigma, weight * share, *zero))
    cells = _split(network, cells)
    total = sum(cell.weight for cell in cells)
    return [replace(cell, weight=cell.weight / total) for cell in cells]


Shift = tuple[tuple[float, ...], tuple[float, ...], tuple[float, ...]]


def no_shift(network: Network) -> Shift:
    """Thresholds of relays, fuses and bends as the file says them."""
    relays, fuses, bends = (tuple(0.0 for _ in kind) for kind in (network.relays, network.fuses, network.bends))
    return relays, fuses, bends


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


def watched_setups(network: Network) -> list[Setup]:
    """Setups in which a fault of a load that may not work shows itself; `running` is not among them, since the
    engine of a car with a dead pump does not run. Also warm, and with each cut-off unplugged."""
    circuit = network.circuit
    working = working_setup(circuit)
    more = [replace(working, warm=True)] if circuit.relays else []
    more += [working_setup(circuit, frozenset({cut_off})) for cut_off in cut_offs(circuit)]
    live = [setup for setup in live_setups(circuit) if setup.key != "accessory"]
    return [*live, *more]


def _effects(network: Network, cases: list[Case]) -> tuple[list[bool], list[Floats]]:
    """Whether each case does something against row 0, which is healthy; and its node volts in the setups."""
    bench = Bench(network, cases)
    differs = np.zeros(len(cases), dtype=bool)
    volts = []
    for setup in watched_setups(network):
        solved = bench.solved(setup)
        differs |= does_something(bench, setup, solved)
        volts.append(solved.volts)
    return differs.tolist(), volts


def does_something(bench: Bench, setup: Setup, solved: Solved) -> Signs:
    """Whether each case acts otherwise in a setup than row 0, which is healthy, (C,) booleans: a load gets 0.2 V less,
    a device acts otherwise, a coil draws much more or comes close to its limit through a resistance in line."""
    network = bench.network
    state, chatters = bench.settled(setup)
    works = [network.branch_at[how.branch] for how in network.circuit.loads.values()]
    across = np.abs(solved.across(np.array(works, dtype=np.int64)))
    relays = [i for i, d in enumerate(network.relays) if d.name not in network.standing_in]
    devices = bench.devices.relays
    amps = np.abs(solved.amps(devices.coil[relays]))
    drive = amps * devices.turns[:, relays] / devices.pull_in_a[:, relays]
    endangered = (drive < ENDANGERED) & (drive[0] >= ENDANGERED) & (setup.key != "off" or bool(setup.operated))
    series = np.array([bool(c.fault and any(x.what == "series" for x in c.fault.changes)) for c in bench.cases])
    lamps = np.array([d.kind == "filament" for d in network.bends], dtype=bool)  # lit either way round
    bits = replace(state, bent=np.where(lamps, np.abs(state.bent), state.bent)).bits()[:, device_bits(network, setup)]
    differs = (across[0] - across).max(axis=1, initial=0.0) > TAKES_V
    differs |= chatters | (bits != bits[0]).any(axis=1)
    differs |= endangered.any(axis=1) & series
    differs |= ((amps > 1.3 * amps[0]) & (drive > 0.1)).any(axis=1)
    taken = np.abs(solved.amps(np.array(works, dtype=np.int64)))
    differs |= (taken < WORN_SHARE * taken[0] - 0.05).any(axis=1)
    return np.asarray(differs)


def device_bits(network: Network, setup: Setup) -> Ints:
    """Which devices' states one counts in a setup. Not a starter that does not turn: that is another complaint."""
    starters = {name for name, part in network.circuit.parts.items() if part.kind == "starter"}
    turned = setup.key in ("cranking", "remote", "running")
    devices: list[Device] = [*network.relays, *network.fuses, *network.bends]
    return np.array([i for i, d in enumerate(devices) if not (turned and d.name in starters)], dtype=np.int64)


def _effective(network: Network) -> dict[Fault, tuple[list[float | None], Floats]]:
    """Each fault's severities from the smallest that does something up, and its node volts at each."""
    grids = {fault: _grid(fault) for fault in network.faults}
    cases = [Case()] + [Case(fault, severity) for fault, grid in grids.items() for severity in grid]
    differs, volts = _effects(network, cases)
    everything = np.concatenate(volts, axis=1)
    found = {}
    at = 1
    for fault, grid in grids.items():
        useful = np.flatnonzero(np.array(differs[at : at + len(grid)]))
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
        np.array([np.hypot(d.start_spread, 0.05) * (d.kind == "motor") for d in network.bends]),
    ]
    rng = np.random.default_rng(5)
    draws = [_spread_normals(rng, DRAWS, s.size) * s for s in sigmas]
    extremes = [np.repeat([-2.5 * s, 2.5 * s], len(cells), axis=0) for s in sigmas]
    low, high = np.split(_pattern(network, [*cells, *cells], extremes), 2)
    near = np.flatnonzero((low != high).any(axis=1)).tolist()
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


def _pattern(network: Network, cells: Sequence[Cell], drawn: list[Floats]) -> Signs:
    """How each row settles in all watched setups, as bits (C, bits); so many rows at a time as memory is meant for."""
    rows = max(DRAWS, ROWS_AT_A_TIME // len(network.branches))
    pieces = [slice(start, start + rows) for start in range(0, len(cells), rows)]
    return np.concatenate([_settled_bits(network, cells[piece], [d[piece] for d in drawn]) for piece in pieces])


def _settled_bits(network: Network, cells: Sequence[Cell], drawn: list[Floats]) -> Signs:
    draw = replace(Draw.nominal(network, len(cells)), ln_pull_in=drawn[0], ln_blow=drawn[1], ln_start=drawn[2])
    bench = Bench(network, [cell.case for cell in cells], draw)
    bits = []
    for setup in watched_setups(network):
        state, chatters = bench.settled(setup)
        bits += [state.bits(), chatters[:, None].astype(np.int8)]
    return np.concatenate(bits, axis=1)
