"""The same questions put to ngspice and to the solver.

Both turn the key through all states once (what is left are blown fuses), then again from rest with the
setup's parts out.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from netlist import TEST_A, write_netlist
from spice_run import run, settled
from which import Run, list_runs, name_case, name_setup

from troubleshoot.circuit import Network, Setup
from troubleshoot.solve.cases import Bench, Case, Draw
from troubleshoot.solve.linear import Solved
from troubleshoot.solve.settle import State

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Table = dict[str, dict[str, list[float] | None]]
"""What ngspice said: case, then setup (one voltage a node, in the network's order) or `ohms` and setup
(one resistance a pair, in the run's order). None: it came to no rest."""

NEAR = 0.02
"""A device this near to its threshold may rightly be found in either state."""


def ask_ngspice(network: Network, cases: list[Case], workers: int = 2) -> Table:
    """Runs every case through every run. A state in which ngspice finds no rest, or breaks off, is None."""
    todo = [(case, one) for case in cases for one in list_runs(network)]
    table: Table = defaultdict(dict)
    with ThreadPoolExecutor(workers) as pool:
        for (case, _), found in zip(todo, pool.map(lambda t: _ask(network, *t), todo), strict=True):
            table[name_case(case)].update(found)
    return table


def _ask(network: Network, case: Case, one: Run) -> dict[str, list[float] | None]:
    fault = case.fault.name if case.fault else ""
    net = write_netlist(network.circuit, fault, case.severity, one.removed, one.prevented, one.upto, one.pairs)
    missing = set(network.nodes) - set(net.spice_name)
    if missing:
        raise KeyError(f"the netlist of {fault} has no {', '.join(sorted(missing))}")
    vectors = run(net.text)
    names = [net.spice_name[node] for node in network.nodes]
    found = {name_setup(setup): settled(vectors, net.read_at_s[setup.key], net.rest_s, names) for setup in one.setups}
    if one.pairs:
        ohms: list[float] = []
        for pair, at_s in net.ohms_at_s.items():
            volts = settled(vectors, at_s, net.rest_s, [net.spice_name[node] for node in pair])
            ohms.append((volts[0] - volts[1]) / TEST_A if volts else float("nan"))
        found[name_ohms(one)] = ohms
    return found


def name_ohms(one: Run) -> str:
    """What a table calls the ohms of a run."""
    return f"ohms {name_setup(one.setups[-1])}"


@dataclass(frozen=True)
class Answer:
    """The solver's answer to one setup, for all cases: `volts` and the ohms to battery negative behind each
    node (C, nodes), who chatters and who is near a threshold (C,), the ohms of the run's pairs (C, pairs)."""

    run: Run
    setup: Setup
    volts: Floats
    behind_ohm: Floats
    chatters: Bools
    near: Bools
    ohms: Floats


def ask_solver(network: Network, cases: list[Case]) -> Iterator[Answer]:
    """All setups. Near: shifting every pull-in, blow and start threshold by NEAR changes the state."""
    bench = Bench(network, cases)
    shifted = [Bench(network, cases, _shift(network, len(cases), by)) for by in (-NEAR, NEAR)]
    for one in list_runs(network):
        way = bench.run(one.removed, one.upto, prevented=one.prevented)
        others = [other.run(one.removed, one.upto, prevented=one.prevented) for other in shifted]
        for setup in one.setups:
            state, chatters = way[setup.key]
            siemens, emf_v = bench.arrays(setup.key, setup.removed, state)
            solved = Solved(bench.net, siemens, emf_v)
            near = np.any([_differs(state, other[setup.key][0]) for other in others], axis=0)
            yield Answer(one, setup, solved.volts, _behind(bench, siemens), chatters, near,
                         _ohms(bench, solved, one))  # fmt: skip


def _behind(bench: Bench, siemens: Floats) -> Floats:
    """Ohms from each node to the reference, (C, nodes), each case inverted whole: what floats is decided
    without the solver's short cut."""
    matrix = bench.net.matrix()
    whole = np.linalg.inv((matrix * siemens[:, None, :]) @ matrix.T)
    behind = np.diagonal(whole, axis1=1, axis2=2)
    return np.concatenate([np.zeros((siemens.shape[0], 1)), behind], axis=1)


def _ohms(bench: Bench, solved: Solved, one: Run) -> Floats:
    """What one ampere from black to red does between them, (C, pairs)."""
    columns = []
    for red, black in one.pairs:
        r, k = bench.node_at[red], bench.node_at[black]
        risen = solved.between(r, k)
        columns.append(risen[:, r] - risen[:, k])
    return np.stack(columns, axis=1) if columns else np.zeros((solved.volts.shape[0], 0))


def _shift(network: Network, cases: int, by: float) -> Draw:
    plain = Draw.nominal(network, cases)
    return replace(plain, ln_pull_in=plain.ln_pull_in + by, ln_blow=plain.ln_blow + by, ln_start=plain.ln_start + by)


def _differs(one: State, other: State) -> Bools:
    pairs = ((one.pulled, other.pulled), (one.blown, other.blown), (one.turning, other.turning))
    return np.asarray(np.any([(a != b).any(axis=1) for a, b in pairs], axis=0))
