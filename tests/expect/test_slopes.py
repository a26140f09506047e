"""How a reading moves with what is not known of a car: the table's slopes against circuits solved again.

The circuits are solved here with plain dense matrices that have the meter's ohms in them, so neither the
rank-1 updates nor the loading formula of the table are shared. Devices keep the state they settled in.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pytest

from troubleshoot.circuit.check_list import list_checks
from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.network import Network
from troubleshoot.expect.cells import NOTHING_WRONG, Cell
from troubleshoot.expect.moves import TEMPERATURE_SIGMA_K
from troubleshoot.expect.table import Table
from troubleshoot.parts.branch import OPEN_SPREAD
from troubleshoot.solve import meter
from troubleshoot.solve.cases import OPEN, Bench, Case, Draw
from troubleshoot.solve.linear import Floats
from troubleshoot.solve.settle import State

STEP = 1e-4
CHECKS = (
    "relay.86 to battery.neg volts on",
    "relay.85 to battery.neg volts on",
    "relay.30 to battery.neg volts on",
    "pump.plus to pump.minus volts on",
    "relay.87 to relay.30 volts on",
    "main_fuse.in to main_fuse.out millivolts on",
    "relay.87 to battery.neg low_volts on",
    "pump_wire amps on",
    "relay.86 to battery.neg volts cranking -ignition_module",
    "relay.30 to battery.pos volts off -relay",
    "relay.86.blade to relay.85.blade ohms off -battery -pump -relay",
)
CELLS = (
    ("circuit:nothing-wrong", 0.0),
    ("ignition_out:accessory-feed", 0.0),
    ("main_fuse:blown", 0.0),
    ("pump_ground:bad", 1.0),
    ("coil_ground:bad", 30.0),
    ("battery:weak", 0.1),
    ("relay:contacts-burnt", 0.5),
)


def cell_near(table: Table, name: str, severity: float) -> int:
    """The fault's cell nearest to a severity (0: it has none), of those with thresholds as in the file."""
    found = [
        i
        for i, cell in enumerate(table.cells)
        if cell.fault.name == name and not any((*cell.ln_pull_in, *cell.ln_blow, *cell.ln_start))
    ]
    if not severity:
        return found[0]
    finite = [i for i in found if table.cells[i].severity != OPEN]
    return min(finite, key=lambda i: abs(np.log((table.cells[i].severity or 0.0) / severity)))


@dataclass(frozen=True)
class Stood:
    """One cell's circuit in one check's setup: conductances and sources (branches,), devices settled."""

    table: Table
    check: Check
    at: int
    state: State
    siemens: Floats
    emf_v: Floats

    @classmethod
    def up(cls, table: Table, check: Check, at: int) -> Stood:
        bench = Bench(table.network, [table.cells[at].case])
        state = bench.settled(check.setup)[0]
        siemens, emf_v = bench.arrays(check.setup, state)
        return cls(table, check, at, state, siemens[0], emf_v[0])

    def read(self, siemens: Floats, emf_v: Floats) -> Floats:
        """What an ideal display shows for R circuits (R, branches): volts with the meter across, amperes with a clamp
        round, or ln(ohm + 0.5) with the leads' ohms."""
        bench = self.table.bench
        a, b = bench.net.a, bench.net.b
        wire = self.table.network.branch_at.get(self.check.wire, -1)
        red, black = (bench.node_at[node] if node else int(ends[wire])
                      for node, ends in ((self.check.red, a), (self.check.black, b)))  # fmt: skip
        if not self.check.is_ohms and wire < 0:
            a, b = np.append(a, red), np.append(b, black)
            ohm = meter.LOW_OHM if self.check.function == "low_volts" else meter.METER_OHM
            meters = np.full((len(siemens), 1), 1 / ohm)
            siemens, emf_v = np.hstack([siemens, meters]), np.hstack([emf_v, 0 * meters])
        joins = np.eye(len(self.table.network.nodes))[:, a] - np.eye(len(self.table.network.nodes))[:, b]
        driven = (siemens * emf_v) @ joins.T
        if self.check.is_ohms:
            driven = np.tile(np.eye(len(driven[0]))[red] - np.eye(len(driven[0]))[black], (len(siemens), 1))
        matrix = (joins * siemens[:, None, :]) @ joins.T
        volts = np.zeros_like(driven)
        volts[:, 1:] = np.linalg.solve(matrix[:, 1:, 1:], driven[:, 1:, None])[:, :, 0]
        between = volts[:, red] - volts[:, black]
        if wire >= 0:
            return np.asarray(siemens[:, wire] * (between - emf_v[:, wire]))
        return np.asarray(meter.ohms_scale(between + meter.LEAD_OHM)) if self.check.is_ohms else between

    def moved(self, ln_siemens: Floats, volts: Floats) -> Floats:
        """Central differences of the reading for rows of steps (R, branches) in ln(siemens) and in sources."""
        rows = [np.exp(sign * STEP * ln_siemens) * self.siemens for sign in (1, -1)]
        live = [self.emf_v + sign * STEP * volts for sign in (1, -1)]
        up, down = (self.read(g, e) for g, e in zip(rows, live, strict=True))
        return np.asarray((up - down) / (2 * STEP))

    def redrawn(self, draw: Callable[[float], tuple[Case, Draw]]) -> float:
        """Central difference of the reading between two cars whose case and draw were moved a step."""
        shown = []
        for sign in (1, -1):
            case, moved = draw(sign * STEP)
            bench = Bench(self.table.network, [case], moved)
            shown.append(self.read(*bench.arrays(self.check.setup, self.state))[0])
        return float((shown[0] - shown[1]) / (2 * STEP))

    def agrees(self, slope: Floats | float, found: Floats | float) -> bool:
        """To 1 %, or to a part in ten thousand of the reading's whole spread, which nobody could see."""
        sigma = float(self.table.predict(self.check).sigma[self.at])
        return bool(np.all(np.abs(slope - found) <= 0.01 * np.abs(found) + 1e-4 * sigma))


@pytest.mark.parametrize(("name", "severity"), CELLS[::2])
def test_a_slope_is_what_one_more_sigma_of_a_branch_does(
    table: Table, check_of: Callable[[str], Check], name: str, severity: float
) -> None:
    at = cell_near(table, name, severity)
    branches = table.network.branches
    telling = 0
    for check in map(check_of, CHECKS):
        stood = Stood.up(table, check, at)
        leaks = stood.siemens <= table.bench.open_siemens[at] * (1 + 1e-9)
        spread = np.where(leaks, OPEN_SPREAD, [branch.spread for branch in branches])
        steps = -np.diag(spread)  # a sigma more of ohms is a sigma less of siemens
        found = stood.moved(steps, np.zeros_like(steps))
        predicted = table.predict(check)
        slope = predicted.slope[at, : len(branches)].copy()
        rusty = [table.network.branch_at[c.target] for c in table.cells[at].fault.changes if c.what == "series"]
        slope[rusty] = found[rusty] = 0.0  # the last test here is about these
        assert stood.agrees(slope, found), (check.id, branches[int(np.abs(slope - found).argmax())].name)
        telling += int((np.abs(found) > 0.01 * predicted.sigma[at]).sum())
    assert telling > 20, "these checks must hang on something, or the comparison says nothing"


@pytest.mark.parametrize(("name", "severity"), CELLS)
def test_a_slope_is_what_one_more_sigma_of_a_source_does(
    table: Table, check_of: Callable[[str], Check], name: str, severity: float
) -> None:
    at = cell_near(table, name, severity)
    sigma_v = np.array([branch.emf_sigma_v for branch in table.network.branches])
    sources = np.flatnonzero(sigma_v)
    assert sources.size
    for check in map(check_of, CHECKS):
        stood = Stood.up(table, check, at)
        steps = np.diag(sigma_v)[sources]
        found = stood.moved(np.zeros_like(steps), steps) if not check.is_ohms else np.zeros(sources.size)
        slope = table.predict(check).slope[at, sigma_v.size : sigma_v.size + sources.size]
        assert stood.agrees(slope, found), check.id


@pytest.mark.parametrize(("name", "severity"), CELLS[:2])
def test_a_slope_is_what_twelve_kelvin_more_do_to_all_copper(
    table: Table, check_of: Callable[[str], Check], name: str, severity: float
) -> None:
    at = cell_near(table, name, severity)
    for check in map(check_of, CHECKS):
        stood = Stood.up(table, check, at)

        def warmer(step: float) -> tuple[Case, Draw]:
            nominal = Draw.nominal(table.network, 1)
            return table.cells[at].case, replace(nominal, kelvin=np.array([step]))

        found = stood.redrawn(warmer) * TEMPERATURE_SIGMA_K
        assert stood.agrees(float(table.predict(check).slope[at, -3]), found), (check.id, found)


@pytest.mark.parametrize(("name", "severity"), [cell for cell in CELLS if cell[1]])
def test_a_slope_is_what_one_more_sigma_of_the_severity_does(
    table: Table, check_of: Callable[[str], Check], name: str, severity: float
) -> None:
    at = cell_near(table, name, severity)
    cell = table.cells[at]
    for check in map(check_of, CHECKS):
        stood = Stood.up(table, check, at)

        def worse(step: float) -> tuple[Case, Draw]:
            return Case(cell.fault, (cell.severity or 0) * float(np.exp(step))), Draw.nominal(table.network, 1)

        found = stood.redrawn(worse) * cell.ln_sigma
        assert stood.agrees(float(table.predict(check).slope[at, -1]), found), (check.id, found)


@pytest.mark.parametrize(
    ("name", "severity", "check_id"),
    [
        ("pump_ground:bad", 1.0, "pump.plus to pump.minus volts on"),
        ("coil_ground:bad", 30.0, "relay.85 to battery.neg volts on"),
    ],
)
def test_the_sound_part_of_a_bad_joint_spreads_by_itself_not_with_the_rust(
    table: Table, check_of: Callable[[str], Check], name: str, severity: float, check_id: str
) -> None:
    """A wire of 3 mohm with an ohm of rust in it: its own 5 % are 5 % of 3 mohm; the rust has its severity."""
    at = cell_near(table, name, severity)
    cell, network = table.cells[at], table.network
    (index,) = (network.branch_at[change.target] for change in cell.fault.changes)
    stood = Stood.up(table, check_of(check_id), at)

    def longer(step: float) -> tuple[Case, Draw]:
        nominal = Draw.nominal(network, 1)
        ln_ohm = nominal.ln_ohm.copy()
        ln_ohm[0, index] = step
        return cell.case, replace(nominal, ln_ohm=ln_ohm)

    found = stood.redrawn(longer) * network.branches[index].spread
    slope = float(table.predict(stood.check).slope[at, index])
    assert stood.agrees(slope, found), f"slope {slope:.5f} V a sigma, solved again {found:.5f} V"


def test_covariances_and_the_whole_tables_sigmas_are_those_of_the_slopes(table: Table) -> None:
    """The table pushes known slopes into the circuit, or takes all readings in one go; both must be what the slopes of
    each reading alone give."""
    columns = np.array([table.column[name] for name in CHECKS])
    cells = np.array([cell_near(table, name, severity) for name, severity in CELLS])
    slopes = table.slopes(cells, columns)
    alone = [table.predict(table.readings[column]) for column in columns]
    for k, (column, predicted) in enumerate(zip(columns, alone, strict=True)):
        assert slopes[:, k] == pytest.approx(predicted.slope[cells], rel=1e-6, abs=1e-9)
        assert table.stack.sigma[cells, column] == pytest.approx(predicted.sigma[cells], rel=1e-6)
        assert table.stack.mean[cells, column] == pytest.approx(predicted.mean[cells], rel=1e-6, abs=1e-9)
    covariance = table.covariance(cells, columns, slopes)
    direct = np.einsum("cku,cnu->ckn", slopes, slopes)
    size = np.sqrt(np.einsum("ckk->ck", direct))
    allowed = 1e-6 * size[:, :, None] * size[:, None, :] + 1e-12
    assert (np.abs(covariance - direct) <= allowed).all()
    assert (np.abs(direct) > 1e3 * allowed).mean() > 0.3


def test_a_worse_meter_widens_what_is_expected_by_its_gain(network: Network) -> None:
    zero = tuple(tuple(0.0 for _ in kind) for kind in (network.relays, network.fuses, network.bends))
    cells = [Cell(NOTHING_WRONG, None, 0.0, 1.0, *zero)]
    check = next(c for c in list_checks(network) if c.id == "battery.pos to battery.neg volts off")
    good, poor = (Table(network, cells, percent).predict(check) for percent in (0.5, 3.0))
    wider = np.sqrt(poor.sigma[0] ** 2 - good.sigma[0] ** 2)
    assert wider == pytest.approx(good.mean[0] * np.sqrt(0.015**2 - 0.0025**2), rel=1e-6)
