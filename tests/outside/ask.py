"""The same questions put to ngspice and to the solver.

Both turn the key through all states once (what is left are blown fuses), then come to each setup from rest.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import cached_property, partial

import numpy as np
import numpy.typing as npt
from netlist import TEST_A, Pair, write_netlist
from spice_run import run, settled
from which import name_case, name_ohms, name_setup, pairs_of, setups_of

from troubleshoot.circuit import Network, Setup
from troubleshoot.solve.cases import Bench, Case, Draw
from troubleshoot.solve.linear import Circuits, Solved
from troubleshoot.solve.settle import State

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Found = dict[str, list[float] | None]
Table = dict[str, Found]
"""What ngspice said: case, then setup (one voltage a node, in the network's order) or `ohms` and setup
(one resistance a pair, in the order of `pairs_of`). None: it came to no rest."""

NEAR = 0.02
"""A device this near to its threshold may rightly be found in either state."""


def ask_ngspice(
    network: Network, cases: list[Case], workers: int = 2, curved: bool = False, setups: list[Setup] | None = None,
    done: Callable[[int], None] = lambda count: None,
) -> Table:  # fmt: skip
    """Runs every case through every setup (or those given). One in which ngspice finds no rest, or breaks off, is
    None. `done` is told how many cases are behind one."""
    asked = setups_of(network) if setups is None else setups
    pairs = {setup: leads for setup, leads in pairs_of(network).items() if setup in asked}
    table: Table = {}
    with ThreadPoolExecutor(workers) as pool:
        for case, found in zip(cases, pool.map(lambda c: _ask(network, c, asked, pairs, curved), cases), strict=True):
            table[name_case(case)] = found
            done(len(table))
    return table


def _ask(network: Network, case: Case, setups: list[Setup], pairs: dict[Setup, list[Pair]], curved: bool) -> Found:
    """One case. Where ngspice breaks off, the setups that it has not come to are asked anew without that one."""
    fault = case.fault.name if case.fault else ""
    found: Found = {}
    left = setups
    while left:
        net = write_netlist(network.circuit, fault, case.severity, left,
                            {s: leads for s, leads in pairs.items() if s in left}, curved)  # fmt: skip
        missing = set(network.nodes) - set(net.spice_name)
        if missing:
            raise KeyError(f"the netlist of {fault} has no {', '.join(sorted(missing))}")
        vectors = run(net.text)
        names = [net.spice_name[node] for node in network.nodes]
        came_to_s = vectors["time"][-1] + 1e-9
        for setup in left:
            if net.read_at_s[setup] <= came_to_s:
                found[name_setup(setup)] = settled(vectors, net.read_at_s[setup], net.rest_s, names)
        for setup in left:
            read_at = [(pair, at_s) for (where, pair), at_s in net.ohms_at_s.items() if where == setup]
            ohms = [
                _ohms(vectors, net.spice_name, pair, at_s, net.rest_s) for pair, at_s in read_at if at_s <= came_to_s
            ]
            if ohms:
                found[name_ohms(setup)] = ohms
        unread = sorted((s for s in left if name_setup(s) not in found), key=lambda s: net.read_at_s[s])
        if unread:
            found[name_setup(unread[0])] = None
        left = unread[1:]
    return found


def _ohms(vectors: dict[str, Floats], spice_name: dict[str, str], pair: Pair, at_s: float, rest_s: float) -> float:
    volts = settled(vectors, at_s, rest_s, [spice_name[node] for node in pair])
    return (volts[0] - volts[1]) / TEST_A if volts else float("nan")


@dataclass(frozen=True)
class Answer:
    """The solver's answer to one setup, for all cases: `volts` and the ohms to battery negative behind each
    node (C, nodes), who chatters (C,), the ohms of the setup's pairs (C, pairs). `near` tells who is near a threshold
    (C,); it is asked only where the two sides differ."""

    setup: Setup
    volts: Floats
    behind_ohm: Floats
    chatters: Bools
    near: Callable[[], Bools]
    pairs: list[Pair]
    ohms: Floats


def ask_solver(network: Network, cases: list[Case]) -> Iterator[Answer]:
    """All setups."""
    bench, nearness = Bench(network, cases), Nearness(network, cases)
    pairs = pairs_of(network)
    for setup in setups_of(network):
        state, chatters = bench.settled(setup)
        siemens, emf_v = bench.arrays(setup, state)
        solved = Solved(bench.net, Circuits.of(siemens, emf_v))
        leads = pairs.get(setup, [])
        near = partial(nearness.of, setup, state)
        yield Answer(
            setup, solved.volts, _behind(bench, siemens), chatters, near, leads, _between(bench, solved, leads)
        )


class Nearness:
    """Who is so near to a threshold that shifting some by NEAR changes the state."""

    def __init__(self, network: Network, cases: list[Case]) -> None:
        self._network, self._cases = network, cases

    @cached_property
    def _shifted(self) -> list[Bench]:
        draws = [draw for by in (-NEAR, NEAR) for draw in _shifts(self._network, len(self._cases), by)]
        return [Bench(self._network, self._cases, draw) for draw in draws]

    def of(self, setup: Setup, state: State) -> Bools:
        """For each case whether it is, in a setup in which it settled at `state`."""
        return np.asarray(np.any([_differs(state, bench.settled(setup)[0]) for bench in self._shifted], axis=0))


def _behind(bench: Bench, siemens: Floats) -> Floats:
    """Ohms from each node to the reference, (C, nodes), each case inverted whole: what floats is decided
    without the solver's short cut."""
    matrix = bench.net.matrix()
    whole = np.linalg.inv(np.stack([(matrix * each) @ matrix.T for each in siemens]))
    behind = np.diagonal(whole, axis1=1, axis2=2)
    return np.concatenate([np.zeros((siemens.shape[0], 1)), behind], axis=1)


def _between(bench: Bench, solved: Solved, pairs: list[Pair]) -> Floats:
    """What one ampere from black to red does between them, (C, pairs)."""
    columns = []
    for red, black in pairs:
        r, k = bench.node_at[red], bench.node_at[black]
        risen = solved.between(r, k)
        columns.append(risen[:, r] - risen[:, k])
    return np.stack(columns, axis=1) if columns else np.zeros((solved.volts.shape[0], 0))


def _shifts(network: Network, cases: int, by: float) -> list[Draw]:
    """Every threshold shifted by so much, save where a line only bends; and those of fuses up and down by turns, since
    of two alike in series nobody knows which melts."""
    plain = Draw.nominal(network, cases)
    starts = by * np.array([bend.kind == "motor" for bend in network.bends], dtype=float)
    all_of_them = replace(
        plain, ln_pull_in=plain.ln_pull_in + by, ln_blow=plain.ln_blow + by, ln_start=plain.ln_start + starts
    )
    by_turns = by * (-1.0) ** np.arange(len(network.fuses))
    return [all_of_them, replace(plain, ln_blow=plain.ln_blow + by_turns)]


def _differs(one: State, other: State) -> Bools:
    pairs = ((one.pulled, other.pulled), (one.blown, other.blown), (one.bent, other.bent))
    return np.asarray(np.any([(a != b).any(axis=1) for a, b in pairs], axis=0))
