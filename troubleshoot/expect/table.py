"""What a meter would show for every suspect, and how that moves with what is not known about this car.

The one set of predictions in the middle: belief, choice, look-alikes, the printed table and trees read it.
Unknowns are unit Gaussians: ln(ohm) of each branch (or its leakage when open), each source, the copper's
temperature, the meter's gain, and the fault's own severity around its grid point (decision 4).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from troubleshoot.circuit.checks import Check, Setup, cranking_setup, list_checks, list_setups
from troubleshoot.circuit.circuit import Circuit
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.circuit.network import Network, wire_up
from troubleshoot.expect.cells import Cell, list_cells, solve_setups, thresholds
from troubleshoot.parts.branch import OPEN_SPREAD
from troubleshoot.parts.wire import COPPER_PER_K
from troubleshoot.solve import meter
from troubleshoot.solve.cases import OPEN, Bench
from troubleshoot.solve.linear import Bools, Floats, Ints, Solved

TEMPERATURE_SIGMA_K = 12.0
"""How far a car's copper is from 20 °C (invented)."""

FLOATS_V = 0.05
"""A floating point reads anywhere from nothing up to about twice what the stated leakage would give."""

NOTHING_V = 0.3
"""Up to here a reading is what a floating point may show just as well as a grounded one (trade-facts: a terminal that
goes open reads about zero; only a path to ground, read against battery positive or in ohms, tells them apart)."""

LEAKS_OHM = 1e6
LEAKS_LN = 1.0
"""Ohms above which only leakage is read, and how far ln(ohm) is from what is stated (invented)."""

DRIFT = 0.1
"""A bad joint drifts with current and heat: sigma of ln(ohm) from one reading to the next (decision 6, invented)."""


@dataclass(frozen=True)
class Prediction:
    """What each cell expects of one reading: `mean` (C,), `slope` (C, unknowns) a sigma, `noise` (C,) sigma.

    Volts, or ln(ohm + 0.5) for ohms. `floats` (C,): the reading is a range there, not a value.
    """

    mean: Floats
    slope: Floats
    noise: Floats
    floats: Bools

    @cached_property
    def sigma(self) -> Floats:
        """Total spread of the reading, (C,)."""
        return np.asarray(np.sqrt(np.square(self.slope).sum(axis=1) + np.square(self.noise)))


@dataclass(frozen=True)
class Stack:
    """Predictions of K readings: `mean`, `noise`, `sigma`, `floats` (C, K), `slope` (C, K, unknowns) as float32."""

    mean: Floats
    slope: npt.NDArray[np.float32]
    noise: Floats
    sigma: Floats
    floats: Bools

    def of(self, columns: Ints) -> Stack:
        """Some of the readings."""
        return Stack(
            self.mean[:, columns],
            self.slope[:, columns],
            self.noise[:, columns],
            self.sigma[:, columns],
            self.floats[:, columns],
        )


@dataclass(frozen=True)
class Behaviour:
    """What each cell's circuit does in one setup: (C,) booleans and volts, by device name."""

    pulled: dict[str, Bools]
    chatters: Bools
    turning: dict[str, Bools]
    motor_v: dict[str, Floats]
    blown: dict[str, Bools]
    heat_w: dict[str, Floats]


class Table:
    """Predictions for all cells of a circuit. `cells[0]` is the healthy one."""

    def __init__(
        self,
        network: Network,
        cells: Sequence[Cell],
        setups: Sequence[Setup] = (),
        accuracy_percent: float = meter.ACCURACY_PERCENT,
    ) -> None:
        """Solves all cells in all setups, those of `list_setups` unless given; `accuracy_percent` is the meter's."""
        self.network = network
        self._gain_sigma = meter.gain_sigma(accuracy_percent)
        self.cells = list(cells)
        self.bench = Bench(network, [cell.case for cell in cells], thresholds(network, cells))
        self.setups = list(setups) or list_setups(network.circuit)
        self._solved: dict[Setup, Solved] = {}
        self._bits: dict[Setup, tuple[Bools, Bools]] = {}
        for setup, (solved, chatters, bits) in zip(self.setups, solve_setups(self.bench, self.setups), strict=True):
            self._solved[setup] = solved
            self._bits[setup] = (chatters, bits)
        self._behaviours: dict[Setup, Behaviour] = {}
        self._remembered: dict[str, Floats] = {}
        self._unknowns()
        self._predictions: dict[tuple[str, str, str, Setup], Prediction] = {}

    @cached_property
    def weight(self) -> Floats:
        """Prior of every cell, (C,), sum 1."""
        return np.array([cell.weight for cell in self.cells])

    @cached_property
    def names(self) -> list[str]:
        """Fault name of every cell."""
        return [cell.fault.name for cell in self.cells]

    @cached_property
    def checks(self) -> list[Check]:
        """All checks that can be made on this circuit."""
        return list_checks(self.network)

    @cached_property
    def readings(self) -> list[Check]:
        """Those of the checks that are readings."""
        return [check for check in self.checks if check.kind == "reading"]

    def solved(self, setup: Setup) -> Solved:
        """All cells' circuits in a setup: volts, currents, replies."""
        return self._solved[setup]

    # ---- unknowns

    def _unknowns(self) -> None:
        branches = self.network.branches
        self._copper = np.array([b.copper for b in branches])
        self._spread = np.array([b.spread for b in branches])
        self._emf_sigma = np.array([b.emf_sigma_v for b in branches])
        self._sources = np.flatnonzero(self._emf_sigma)
        rows = len(self.cells), len(branches)
        self._added_ohm = np.zeros(rows)  # what the fault adds in series
        self._graded_ln = np.zeros(rows)  # d ln(ohm) a sigma of severity, where severity is all of the branch
        self._graded_emf = np.zeros(rows)
        self._ln_sigma = np.array([cell.ln_sigma for cell in self.cells])[:, None]
        for c, cell in enumerate(self.cells):
            if cell.severity is None or cell.severity == OPEN:
                continue
            for change in cell.fault.changes:
                at = self.network.branch_at.get(change.target)
                if change.value is not None or at is None:
                    continue
                if change.what == "series":
                    self._added_ohm[c, at] = cell.severity
                elif change.what == "emf":
                    self._graded_emf[c, at] = cell.ln_sigma * cell.severity
                else:
                    self._graded_ln[c, at] = cell.ln_sigma

    # ---- predictions

    def predict(self, check: Check) -> Prediction:
        """What every cell expects of a reading; worked out once and kept."""
        key = (check.red, check.black, check.function, check.setup)
        if key not in self._predictions:
            self._predictions[key] = self._held(check) if "_m" in check.function else self._plain(check)
        return self._predictions[key]

    @cached_property
    def stack(self) -> Stack:
        """The predictions of all `readings` in one piece."""
        predicted = [self.predict(check) for check in self.readings]
        return Stack(
            np.stack([p.mean for p in predicted], axis=1),
            np.stack([p.slope for p in predicted], axis=1).astype(np.float32),
            np.stack([p.noise for p in predicted], axis=1),
            np.stack([p.sigma for p in predicted], axis=1),
            np.stack([p.floats & (not c.is_ohms) for p, c in zip(predicted, self.readings, strict=True)], axis=1),
        )

    @cached_property
    def column(self) -> dict[str, int]:
        """Where each reading stands in the stack, by the check's id."""
        return {check.id: k for k, check in enumerate(self.readings)}

    def _held(self, check: Check) -> Prediction:
        """Held minimum or maximum from key on through cranking: whichever of the two is lower or higher."""
        before = self._plain(Check("", Setup("on"), check.red, check.black, "volts"))
        then = self._plain(Check("", check.setup, check.red, check.black, check.function))
        first = before.mean < then.mean if check.function == "volts_min" else before.mean > then.mean
        pick = first[:, None]
        return Prediction(
            np.where(first, before.mean, then.mean),
            np.where(pick, before.slope, then.slope),
            np.where(first, before.noise, then.noise),
            np.where(first, before.floats, then.floats),
        )

    def _plain(self, check: Check) -> Prediction:
        solved = self._solved[check.setup]
        red, black = self.bench.node_at[check.red], self.bench.node_at[check.black]
        reply = solved.between(red, black)
        source_ohm = reply[:, red] - reply[:, black]
        net = solved.net
        at_reply, at_volts = net.across(reply), net.across(solved.volts) - solved.emf_v
        if check.is_ohms:
            shown = np.maximum(source_ohm, 0.0) + meter.LEAD_OHM
            per_ln = solved.siemens * at_reply**2 / (shown + meter.OHMS_OFFSET)[:, None]
            noise = np.hypot(meter.LEAD_SIGMA_OHM / (shown + meter.OHMS_OFFSET), 0.01)
            noise = np.where(shown > LEAKS_OHM, noise + LEAKS_LN, noise)
            return self._prediction(solved, meter.ohms_scale(shown), per_ln, None, noise, shown > LEAKS_OHM)
        open_v = solved.volts[:, red] - solved.volts[:, black]
        loading = meter.METER_OHM / (meter.METER_OHM + source_ohm)
        mean = open_v * loading
        per_ln = solved.siemens * at_reply * at_volts * loading[:, None]
        per_emf = solved.siemens * at_reply * loading[:, None]
        floats = source_ohm > meter.FLOATING_OHM
        noise = meter.noise_v(mean, check.function)
        noise = np.where(floats, noise + FLOATS_V + np.abs(mean), noise)
        chatters, _ = self._bits[check.setup]
        noise = np.where(chatters, np.maximum(noise, 2.0), noise)
        return self._prediction(solved, mean, per_ln, per_emf, noise, floats)

    def _prediction(
        self, solved: Solved, mean: Floats, per_ln: Floats, per_emf: Floats | None, noise: Floats, floats: Bools
    ) -> Prediction:  # fmt: skip
        """Puts slopes by unknown together: branches, sources, temperature, gain, severity."""
        leaks = solved.siemens <= self.bench.open_siemens * (1 + 1e-9)
        added = np.where(leaks, 0.0, self._added_ohm * solved.siemens)  # share of the branch that the fault is
        spread = np.where(leaks, OPEN_SPREAD, self._spread)
        sound = per_ln * (1 - added)
        parts = [sound * spread]
        rust = per_ln * added
        severity = (rust * self._ln_sigma + per_ln * self._graded_ln).sum(axis=1)
        if per_emf is not None:
            parts.append(per_emf[:, self._sources] * self._emf_sigma[self._sources])
            severity = severity + (per_emf * self._graded_emf).sum(axis=1)
        else:
            parts.append(np.zeros((mean.size, self._sources.size)))
        parts.append((sound[:, self._copper].sum(axis=1) * COPPER_PER_K * TEMPERATURE_SIGMA_K)[:, None])
        parts.append((np.zeros_like(mean) if per_emf is None else mean * self._gain_sigma)[:, None])
        parts.append(severity[:, None])
        drift = DRIFT * (rust + per_ln * (self._graded_ln > 0)).sum(axis=1)
        return Prediction(mean, np.concatenate(parts, axis=1), np.hypot(noise, drift), floats)

    # ---- behaviour

    def behaviour(self, setup: Setup) -> Behaviour:
        """What the devices do in a setup, and the watts turned to heat in each part's joints."""
        if setup not in self._behaviours:
            self._behaviours[setup] = self._behave(setup)
        return self._behaviours[setup]

    def _behave(self, setup: Setup) -> Behaviour:
        chatters, bits = self._bits[setup]
        net = self.network
        solved = self._solved[setup]
        across = solved.net.across(solved.volts)
        watts = solved.siemens * np.square(across - solved.emf_v)
        r, f = len(net.relays), len(net.fuses)
        heat: dict[str, Floats] = {}
        for index, branch in enumerate(net.branches):
            part = branch.name.partition(".")[0]
            motor = any(branch.name == m.branch for m in net.motors)
            if part in net.circuit.parts and not motor:
                heat[part] = heat.get(part, 0.0) + watts[:, index]
        return Behaviour(
            {d.name: bits[:, i] for i, d in enumerate(net.relays)},
            chatters,
            {d.name: bits[:, r + f + i] for i, d in enumerate(net.motors)},
            {d.name: across[:, net.branch_at[d.branch]] for d in net.motors},
            {d.name: bits[:, r + i] for i, d in enumerate(net.fuses)},
            heat,
        )

    def remembered(self, key: str, make: Callable[[], Floats]) -> Floats:
        """What was worked out under this key before, else what `make` gives now."""
        if key not in self._remembered:
            self._remembered[key] = make()
        return self._remembered[key]

    @cached_property
    def crank(self) -> Setup:
        """The setup in which cranking readings are taken."""
        return cranking_setup(self.network.circuit)


def build_table(circuit: Circuit, guesses: Guesses, accuracy_percent: float = meter.ACCURACY_PERCENT) -> Table:
    """The table of a circuit: wires it up, lists its cells, solves every setup. About two seconds."""
    network = wire_up(circuit)
    return Table(network, list_cells(network, guesses), accuracy_percent=accuracy_percent)
