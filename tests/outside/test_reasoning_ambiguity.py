"""Which faults look alike, against the classical test: parallel columns of the measurement Jacobian.

In a linear circuit a resistance in series with a branch moves all volts along one direction whatever its size (the
rank-one formula of Householder), that of the derivative by the branch's ohms. So faults of any size look alike for a
set of readings just where their columns of the Jacobian are parallel; a column of zeros looks like a sound circuit, and
the rank is what may be told at all: Sen & Saeks 1979, "Fault diagnosis for linear systems via multifrequency
measurements"; Manetti & Piccirilli 2003, "A singular-value decomposition approach for ambiguity group determination in
analog circuits", IEEE Trans. CAS-I 50:477 (both from memory). Here columns must also point the same way, since a bad
joint only adds ohms.

Volts and Jacobian are this file's own, by nodal analysis and differences; the program is asked for its groups and for
its slopes. The circuit, a ladder of five loads, is invented; its cars are all alike and the meter is a good one, as the
classical test has it. Wires and joints have half an ohm or less, so that few columns are all but parallel.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from wired import BATTERY, STRAP, network

from troubleshoot.circuit import Network, Setup
from troubleshoot.circuit.checks import Check, reading
from troubleshoot.expect.cells import NOTHING_WRONG, Cell, no_shift
from troubleshoot.expect.lookalike import group_faults
from troubleshoot.expect.table import Table
from troubleshoot.parts.branch import Branch, Fault
from troubleshoot.solve.linear import Floats

OHMS = {"a": "3 ohm", "b": "7 ohm", "c": "4 ohm", "d": "9 ohm", "e": "5 ohm"}
WIRES = (STRAP, "battery.pos a.in", "a.out b.in", "a.out c.in", "b.out bolt.stud", "c.out d.in", "c.out e.in",
         "d.out bolt.stud", "e.out bolt.stud")  # fmt: skip
SAME = 1e-4
"""Spread of every value of these cars."""

MOVES_V = (0.4, 0.6, 0.9)
"""How far the readings together are moved by a fault, at its three severities."""

PARALLEL, CLEARLY_APART = 1e-5, 0.3
"""Angles, in radians. Sets of readings with an angle in between are left out: there the meter decides, whose noise at
12 V, 35 mV, is what 0.4 V differ by at 0.09."""


@cache
def ladder() -> Network:
    made = network(BATTERY | {name: {"kind": "load", "resistance": ohm} for name, ohm in OHMS.items()}, WIRES)
    rng = np.random.default_rng(0)
    ohm = {b.name: b.ohm if b.ohm > 1 else float(rng.uniform(0.05, 0.5)) for b in made.branches}
    alike = [replace(b, ohm=ohm[b.name], copper=False, spread=SAME, emf_sigma_v=min(b.emf_sigma_v, SAME))
             for b in made.branches]  # fmt: skip
    return replace(made, branches=tuple(alike))


def branches() -> list[Branch]:
    """Those that conduct with nothing done to the circuit."""
    every = [b for b in ladder().branches if b.fitted and not b.joins and not b.operate]
    return [b for b in every if b.keys is None or "off" in b.keys]


def faults() -> dict[str, Fault]:
    """Bad stretches and grounds: so many ohms in series with one branch."""
    return {f.name: f for f in ladder().faults if f.severity and [c.what for c in f.changes] == ["series"]}


STEP_OHM = 1e-4
TRIED_OHM = np.geomspace(0.01, 1e4, 200)


def volts(target: str, more: Floats) -> Floats:
    """Volts of every node against the battery's negative post, by nodal analysis, with `more` ohms (n,) in a branch:
    (n, nodes)."""
    nodes = ladder().nodes
    at = {name: i for i, name in enumerate(nodes)}
    siemens, amps = np.zeros((more.size, len(nodes), len(nodes))), np.zeros((more.size, len(nodes)))
    for branch in branches():
        a, b, g = at[branch.a], at[branch.b], 1 / (branch.ohm + (branch.name == target) * more)
        siemens[:, a, a] += g
        siemens[:, b, b] += g
        siemens[:, a, b] -= g
        siemens[:, b, a] -= g
        amps[:, a] += g * branch.emf_v
        amps[:, b] -= g * branch.emf_v
    kept = [i for i, name in enumerate(nodes) if name != "battery.neg" and siemens[0, i, i] > 0]
    found = np.zeros((more.size, len(nodes)))
    found[:, kept] = np.linalg.solve(siemens[:, kept][:, :, kept], amps[:, kept, None])[:, :, 0]
    return found


@cache
def moved(target: str) -> Floats:
    """How STEP_OHM, and each of TRIED_OHM, in a branch moves every node, (1 + tried, nodes)."""
    found = volts(target, np.array([0.0, STEP_OHM, *TRIED_OHM]))
    return np.asarray(found[1:] - found[0])


def column(points: tuple[str, ...], target: str) -> Floats:
    """The Jacobian's column: volts an ohm, by differences."""
    return np.asarray(moved(target)[0, [ladder().nodes.index(point) for point in points]] / STEP_OHM)


def severity_for(points: tuple[str, ...], target: str, move_v: float) -> float | None:
    """Ohms that move the readings about so far together; None where none do."""
    far = np.linalg.norm(moved(target)[1:, [ladder().nodes.index(point) for point in points]], axis=1)
    return float(TRIED_OHM[np.searchsorted(far, move_v)]) if far[0] < move_v < far[-1] else None


def checks_at(points: tuple[str, ...]) -> list[Check]:
    return [reading(ladder(), point, "battery.neg", "volts", Setup("off")) for point in points]


def told(points: tuple[str, ...], severities: dict[str, list[float]]) -> Table:
    """The program's table for these readings, a sound circuit and these faults."""
    shift = no_shift(ladder())
    cells = [Cell(NOTHING_WRONG, None, 0.0, 1.0, *shift)]
    for name, ohms in severities.items():
        cells += [Cell(faults()[name], ohm, 0.05, 1 / len(ohms), *shift) for ohm in ohms]
    total = sum(cell.weight for cell in cells)
    table = Table(ladder(), [replace(cell, weight=cell.weight / total) for cell in cells], accuracy_percent=1e-4)
    table.__dict__["checks"] = checks_at(points)
    return table


def by_columns(columns: dict[str, Floats]) -> tuple[set[frozenset[str]], bool]:
    """Groups of parallel columns, zeros with the sound circuit; whether all others are clearly apart."""
    groups: list[tuple[Floats, set[str]]] = []
    clear = True
    none = {NOTHING_WRONG.name}
    for name, own in columns.items():
        length = float(np.linalg.norm(own))
        if length < 1e-5:
            none.add(name)
            continue
        angles = [float(np.linalg.norm(own / length - other)) for other, _ in groups]
        clear &= all(angle < PARALLEL or angle > CLEARLY_APART for angle in angles)
        mine = next((names for angle, (_, names) in zip(angles, groups, strict=True) if angle < PARALLEL), None)
        if mine is None:
            groups.append((own / length, {name}))
        else:
            mine.add(name)
    return {frozenset(none), *(frozenset(names) for _, names in groups)}, clear


def points_of(count: int, seed: int) -> tuple[str, ...]:
    """Some of the terminals of battery, loads and bolt."""
    every = ["battery.pos", "bolt.stud", "frame.metal", *(f"{load}.{end}" for load in OHMS for end in ("in", "out"))]
    return tuple(np.random.default_rng(seed).permutation(every)[:count].tolist())


@pytest.mark.parametrize("count", [2, 3, 4, 5, 7, 13])
def test_faults_look_alike_where_columns_of_the_jacobian_are_parallel(count: int) -> None:
    tried = parted = together = 0
    for seed in range(12 if count < 13 else 1):
        points = points_of(count, seed)
        targets = {name: fault.changes[0].target for name, fault in faults().items()}
        ohms = {name: [severity_for(points, target, move) for move in MOVES_V] for name, target in targets.items()}
        strong = {name: [s for s in found if s] for name, found in ohms.items() if None not in found}
        groups, clear = by_columns({name: column(points, targets[name]) for name in strong})
        if not clear or len(strong) < 3:
            continue
        found = group_faults(told(points, strong), checks_at(points), 0.01)
        assert set(found) == groups, points
        tried, parted = tried + 1, parted + len(groups) - 1
        together += sum(len(group) > 1 for group in groups)
    assert tried
    assert parted > 2 * tried, "nothing to tell apart"
    assert together or count == 13, "nothing looked alike"


def test_the_programs_jacobian_has_the_columns_and_the_rank_of_our_own() -> None:
    points = points_of(13, 0)
    table = told(points, {})
    slopes = table.slopes(np.array([0]), np.arange(len(points))[None, :])[0]  # (readings, unknowns), a sigma of ln(ohm)
    at = ladder().branch_at
    of_branch = {b.name: b for b in branches()}
    own, programs = [], []
    for fault in faults().values():
        target = fault.changes[0].target
        own.append(column(points, target))
        programs.append(slopes[:, at[target]] / SAME / of_branch[target].ohm)
    assert np.abs(np.array(programs) - np.array(own)).max() < 1e-4 * np.abs(own).max()
    rank = np.linalg.matrix_rank(np.array(own), tol=1e-5)
    assert np.linalg.matrix_rank(np.array(programs), tol=1e-5) == rank
    assert rank < len(own), "all told apart: nothing to see"
