"""How much dearer a simulated session is than the decision table says, for choice.py.

Cars are drawn as often as the circuit's priors say, with severities off the grid; each is worked to its verdict as a
session is. Beside it the rollout's expected seconds on the decision table of what was believed after the same
complaint. A table knows neither noise nor slips, and ends in certainty where a session ends at 0.97 with its verdict
resting on no single answer: both ways they differ. How dear a table is hangs on its rows: `table_gap` is by four
severities of each fault in two quantiles of what else is not known (the rows of decision 8 of the design),
`table_gap_coarse` by two severities alone, which is about a tenth cheaper.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from sampled import TRIES, draw_severity, run_session

from troubleshoot.car import Car
from troubleshoot.circuit.cost import Stand
from troubleshoot.diagnose.decision import decide
from troubleshoot.diagnose.reason import Reasoner
from troubleshoot.diagnose.rollout import Rollout
from troubleshoot.expect.cells import NOTHING_WRONG, severity_range
from troubleshoot.session.prior import prior_after
from troubleshoot.session.state import Told

ROWS = {"table_s": (4, 2), "coarse_s": (2, 1)}
"""Severities and quantiles of a table."""


def cars_by_prior(reasoner: Reasoner, count: int, rng: np.random.Generator) -> Iterator[tuple[str, Car]]:
    """So many cars, faults drawn by their weight; one that its fault does nothing to is drawn again."""
    table = reasoner.table
    network, ranges = table.network, severity_range(table.network)
    faults = {fault.name: fault for fault in network.faults}
    names, of = np.unique(table.names, return_inverse=True)
    p = np.bincount(of, table.weight)
    for _ in range(count):
        for _ in range(TRIES):
            name = str(rng.choice(names, p=p / p.sum()))
            fault = faults.get(name)
            if fault is None and name != NOTHING_WRONG.name:
                continue
            severity = draw_severity(fault, ranges, rng) if fault else None
            car = Car(network, fault, severity, int(rng.integers(2**31)))
            if fault is None or car.matters():
                yield name, car
                break


def tables_s(reasoner: Reasoner, complaint: str) -> dict[str, float]:
    """The rollout's expected seconds on the decision tables after a complaint."""
    table, guesses = reasoner.table, reasoner.guesses
    prior = prior_after(table, guesses, Told(complaint=complaint))
    p_cell, checks = prior / prior.sum(), [check for check in reasoner.checks if not check.after]
    return {
        name: Rollout(decide(table, guesses, p_cell, reasoner.group_of, checks, Stand(), *rows)).plan().cost_s
        for name, rows in ROWS.items()
    }


def sessions(reasoner: Reasoner, count: int, rng: np.random.Generator) -> list[dict[str, float]]:
    """For each session its seconds, and the tables'."""
    known: dict[str, dict[str, float]] = {}
    rows = []
    for name, car in cars_by_prior(reasoner, count, rng):
        complaint = car.complaint()
        if complaint not in known:
            known[complaint] = tables_s(reasoner, complaint)
        rows.append({"session_s": run_session(reasoner, name, car).seconds, **known[complaint]})
    return rows


def gap_of(rows: list[dict[str, float]]) -> dict[str, float]:
    """All sessions' seconds over the tables', with the standard error of that ratio, and how many there were."""
    session, table, coarse = (np.array([row[key] for row in rows]) for key in ("session_s", *ROWS))
    ratio = float(session.sum() / table.sum())
    error = float((session - ratio * table).std() / np.sqrt(len(rows)) / table.mean())
    return {"table_gap": round(ratio, 3), "table_gap_error": round(error, 3), "table_gap_sessions": len(rows),
            "table_gap_coarse": round(float(session.sum() / coarse.sum()), 3)}  # fmt: skip
