"""What a meter would show for every suspect, and how that moves with what is not known about this car.

The one set of predictions in the middle: belief, choice, look-alikes, the printed table and trees read it.
Unknowns are unit Gaussians: ln(ohm) of each branch (or its leakage when open), each source, the copper's
temperature, the meter's gain, and the fault's own severity around its grid point (decision 4).
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Sequence
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from troubleshoot.circuit.check_list import list_checks, list_setups
from troubleshoot.circuit.checks import Check, reading
from troubleshoot.circuit.circuit import Circuit
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.circuit.network import Network, wire_up
from troubleshoot.circuit.setups import Setup, cranking_setup, setup_before, working_setup
from troubleshoot.expect.cells import Cell, list_cells, thresholds
from troubleshoot.expect.moves import Moves, Places, Told, Unknowns
from troubleshoot.expect.prediction import Behaviour, Prediction, Stack
from troubleshoot.parts.branch import Fault
from troubleshoot.solve import meter
from troubleshoot.solve.cases import Bench
from troubleshoot.solve.linear import Bools, Floats, Ints, Solved
from troubleshoot.solve.settle import State

NOTHING_V = 0.3
"""Up to here a reading is what a floating point may show just as well as a grounded one (trade-facts: a terminal that
goes open reads about zero; only a path to ground, read against battery positive or in ohms, tells them apart)."""

NIL_V = 0.002
"""Sigma of a floating point that reads nothing, as behind a dry break (invented): as a grounded one, or what is read
there several times would tell them apart."""

CHUNK = 1_500_000
"""Numbers that are worked on at a time: cells × readings × branches."""

ROUNDING_V = 1e-6
"""Values that are the same but for rounding: neither is lower."""

KEPT_BYTES = 200e6
"""Solved setups, and predictions with their slopes, that are kept for the next time, at most, each."""


class Table:
    """Predictions for all cells of a circuit. `cells[0]` is the healthy one."""

    def __init__(
        self,
        network: Network,
        cells: Sequence[Cell],
        accuracy_percent: float = meter.ACCURACY_PERCENT,
    ) -> None:
        """Solves all cells in a setup once it is asked for; `accuracy_percent` is the meter's."""
        self.network = network
        self.key = ""  # the name under which it is kept on disk, if it is
        self._gain_sigma = meter.gain_sigma(accuracy_percent)
        self.cells = list(cells)
        self.setups = list_setups(network)
        self._solved: OrderedDict[Setup, Solved] = OrderedDict()
        self._behaviours: dict[Setup, Behaviour] = {}
        self.remembered_all: dict[str, Floats] = {}
        self._states: dict[Setup, tuple[State, Bools]] = {}
        self._predictions: OrderedDict[tuple[str, str, str, str, Setup], Prediction] = OrderedDict()

    def restore(self, told: Told, states: dict[Setup, tuple[State, Bools]], remembered: dict[str, Floats]) -> None:
        """Puts back what was worked out before."""
        self.__dict__["told"] = told
        self._states = states
        self.remembered_all = remembered

    def beside(self, cells: Sequence[Cell]) -> Table:
        """The table of other cells, on the same circuit with the same meter."""
        other = Table(self.network, cells)
        other._gain_sigma, other.setups = self._gain_sigma, self.setups
        other.__dict__ |= {"checks": self.checks, "readings": self.readings}
        return other

    @cached_property
    def bench(self) -> Bench:
        """All cells as cases, with the thresholds that make each settle its way."""
        bench = Bench(self.network, [cell.case for cell in self.cells], thresholds(self.network, self.cells))
        bench.known_states.update(self._states)
        return bench

    @cached_property
    def unknowns(self) -> Unknowns:
        """What is not known about this car, and how it hangs on each cell's fault."""
        return Unknowns.of(self.network, self.cells, self._gain_sigma)

    @cached_property
    def weight(self) -> Floats:
        """Prior of every cell, (C,), sum 1."""
        return np.array([cell.weight for cell in self.cells])

    @cached_property
    def names(self) -> list[str]:
        """Fault name of every cell."""
        return [cell.fault.name for cell in self.cells]

    @cached_property
    def faults(self) -> dict[str, Fault]:
        """Its cells' faults by name, as they first appear."""
        return {cell.fault.name: cell.fault for cell in self.cells}

    @cached_property
    def fault_of(self) -> Ints:
        """Number of every cell's fault among these, (C,)."""
        at = {name: number for number, name in enumerate(self.faults)}
        return np.array([at[name] for name in self.names])

    @cached_property
    def checks(self) -> list[Check]:
        """All checks that can be made on this circuit."""
        return list_checks(self.network)

    @cached_property
    def readings(self) -> list[Check]:
        """Those of the checks that are readings."""
        return [check for check in self.checks if check.kind == "reading"]

    def solved(self, setup: Setup) -> Solved:
        """All cells' circuits in a setup: volts, currents, replies; the last few are kept."""
        if setup not in self._solved:
            self._solved[setup] = self.bench.solved(setup)
            _ = self._solved[setup].volts
            _forget_old(self._solved, 8 * len(self.cells) * len(self.network.nodes))
        self._solved.move_to_end(setup)
        return self._solved[setup]

    def _some_solved(self, setup: Setup, cells: Ints) -> Solved:
        """The same for some of the cells."""
        return self._solved[setup].rows(cells) if setup in self._solved else self.bench.solved(setup, cells)

    # ---- predictions

    def predict(self, check: Check) -> Prediction:
        """What every cell expects of a reading; the last few are kept."""
        key = (check.red, check.black, check.wire, check.function, check.setup)
        if key not in self._predictions:
            self._predictions[key] = self._predicted(check, np.arange(len(self.cells)))
            _forget_old(self._predictions, 8 * len(self.cells) * self.unknowns.count)
        self._predictions.move_to_end(key)
        return self._predictions[key]

    def predict_in(self, check: Check, cells: Ints) -> Prediction:
        """What some of the cells expect of a reading; where these are few, worked out for them alone."""
        if 2 * cells.size >= len(self.cells):
            whole = self.predict(check)
            return whole if cells.size == len(self.cells) else whole.rows(cells)
        return self._predicted(check, cells)

    def _predicted(self, check: Check, cells: Ints) -> Prediction:
        return self._held(check, cells) if check.is_held else self._plain(check, cells)

    @cached_property
    def column(self) -> dict[str, int]:
        """Where each reading stands in the stack, by the check's id."""
        return {check.id: k for k, check in enumerate(self.readings)}

    @cached_property
    def stack(self) -> Stack:
        """The predictions of all `readings` in one piece."""
        told, count = self.told, len(self.readings)
        held = np.array([k for k, check in enumerate(self.readings) if check.is_held], dtype=np.int64)
        pick = self.pick[:, held]

        def shown(moments: npt.NDArray[Any]) -> npt.NDArray[Any]:
            readings = moments[:, :count].copy()
            readings[:, held] = np.take_along_axis(moments, pick, axis=1)
            return readings

        ohms = np.array([check.is_ohms for check in self.readings], dtype=bool)
        # and where another moment's value would be held if nothing leaked
        pick_dry = self._held_moment(np.arange(len(self.cells)), held, dry=True)
        floats = shown(told.floats) & ~ohms
        floats[:, held] |= pick != pick_dry
        return Stack(shown(told.mean), shown(told.noise), shown(told.sigma), floats)

    def dry(self, cells: Ints, columns: Ints) -> tuple[Floats, Floats]:
        """Mean and sigma of some readings where they float and nothing leaks, (cells, columns) each, in volts."""
        at = cells[:, None], self._held_moment(cells, columns, dry=True)
        floats = self.told.floats[at]
        return np.where(floats, 0.0, self.told.mean[at]), np.where(floats, NIL_V, self.told.sigma[at])

    @cached_property
    def _moments(self) -> list[Check]:
        """The readings, and where a meter holds the lowest or highest value, those that it may have held instead."""
        earlier = [self._earlier(check) for check in self.readings if check.is_held]
        return [*self.readings, *dict.fromkeys(check for check in earlier if check.id not in self.column)]

    def _earlier(self, check: Check) -> Check:
        """The reading before the last turn of the key."""
        before = setup_before(self.network.circuit, check.setup) or check.setup
        return reading(self.network, check.red, check.black, "volts", before)

    @property
    def moments(self) -> int:
        """How many moments `told` is about."""
        return len(self._moments)

    @cached_property
    def told(self) -> Told:
        """What every cell expects at each of the moments, held values as they are at that moment."""
        parts: list[Floats] = [np.zeros((len(self.cells), len(self._moments))) for _ in range(5)]
        for setup, ohms, columns in self._blocks(np.arange(len(self._moments))):
            solved, chatters = self.solved(setup), self.chatters(setup)
            checks = [self._moments[k] for k in columns]
            places = self._places(checks)
            chunk = max(8, CHUNK // (4 * max(columns.size, len(self.network.branches))))
            for start in range(0, len(self.cells), chunk):
                cells = np.arange(start, min(start + chunk, len(self.cells)))
                moves = self._moves(solved.rows(cells), chatters[cells], cells, ohms)
                told = moves.told(moves.expect(checks, places), places)
                for whole, part in zip(parts, _arrays(told), strict=True):
                    whole[cells[:, None], columns] = part
        return Told(parts[0], parts[1], parts[2], parts[3] > 0, parts[4])

    @cached_property
    def pick(self) -> Ints:
        """Which of the moments each cell's reading is, (C, K): of a held one the lower or higher."""
        return self._held_moment(np.arange(len(self.cells)), np.arange(len(self.readings)))

    def _held_moment(self, cells: Ints, columns: Ints, dry: bool = False) -> Ints:
        """The moment that some of the readings show, (cells, columns); with `dry` where nothing leaks."""

        def shown(k: int) -> Floats:
            mean = self.told.mean[cells, k]
            return np.where(self.told.floats[cells, k], 0.0, mean) if dry else mean

        pick = np.tile(columns, (cells.size, 1))
        for i, k in enumerate(columns.tolist()):
            if k in self._before:
                first = self._before[k]
                pick[:, i] = np.where(self._holds_first(self.readings[k], shown(first), shown(k)), first, k)
        return pick

    @cached_property
    def _before(self) -> dict[int, int]:
        """The moment before the last turn of the key, of every held reading, by its column."""
        at = {check.id: k for k, check in enumerate(self._moments)}
        return {k: at[self._earlier(check).id] for k, check in enumerate(self.readings) if check.is_held}

    def _blocks(self, wanted: Ints) -> list[tuple[Setup, bool, Ints]]:
        """Some of the moments, each once, by setup, those of ohms by themselves."""
        found: dict[tuple[Setup, bool], list[int]] = {}
        for k in np.unique(wanted).tolist():
            check = self._moments[k]
            found.setdefault((check.setup, check.is_ohms), []).append(k)
        return [(setup, ohms, np.array(columns)) for (setup, ohms), columns in found.items()]

    def _places(self, checks: Sequence[Check]) -> Places:
        return Places.of(self.network, self.bench.node_at, checks)

    def _moves(self, solved: Solved, chatters: Bools, cells: Ints, ohms: bool) -> Moves:
        return Moves(self.unknowns.rows(cells), solved, chatters, self.bench.open_siemens[cells], ohms)

    def covariance(self, cells: Ints, columns: Ints, known: Floats) -> Floats:
        """Covariance of some of the readings with n others through the unknowns, (cells, columns, n); `known`
        (cells, n, U) are the others' slopes."""
        pick = self.pick[np.ix_(cells, columns)]
        found = np.zeros((cells.size, len(self._moments), known.shape[1]))
        for setup, ohms, block in self._blocks(pick):
            told = self.told.only(cells, block)
            moves = self._moves(self._some_solved(setup, cells), self.chatters(setup)[cells], cells, ohms)
            found[:, block] = moves.against(known, told, self._places([self._moments[k] for k in block]))
        return np.take_along_axis(found, pick[:, :, None], axis=1)

    def slopes(self, cells: Ints, columns: Ints) -> Floats:
        """Slopes of some of the readings, `columns` (cells, k), of some cells: (cells, k, U)."""
        pick = self.pick[cells[:, None], columns]
        slopes = np.zeros((*pick.shape, self.unknowns.count))
        for setup, ohms, block in self._blocks(pick):
            wanted = np.isin(pick, block)
            some = np.flatnonzero(wanted.any(axis=1))
            order = np.argsort(~wanted[some], axis=1, kind="stable")[:, : int(wanted.sum(axis=1).max())]
            row, place = np.nonzero(np.take_along_axis(wanted[some], order, axis=1))
            which = np.searchsorted(block, pick[some[:, None], order]).clip(0, block.size - 1)
            checks = [self._moments[k] for k in block]
            mine, at = cells[some], self._places(checks)
            moves = self._moves(self._some_solved(setup, mine), self.chatters(setup)[mine], mine, ohms)
            told, reply = moves.tell(moves.expect(checks, at), at, which)
            slopes[some[row], order[row, place]] = moves.slopes(told.mean, reply)[row, place]
        return slopes

    def _holds_first(self, check: Check, before: Floats, then: Floats) -> Bools:
        """Whether the value before the last turn of the key is the one held, (C,)."""
        gap = then - before if check.function == "volts_min" else before - then
        return np.asarray(gap > ROUNDING_V)

    def _held(self, check: Check, cells: Ints) -> Prediction:
        """Held minimum or maximum over the last turn of the key: whichever of the two is lower or higher."""
        before, then = self._plain(self._earlier(check), cells), self._plain(check, cells)
        first = self._holds_first(check, before.mean, then.mean)
        pick = first[:, None]
        dry = [np.where(each.floats, each.dry, each.mean) for each in (before, then)]
        dry_slope = [np.where(each.floats[:, None], 0.0, each.slope) for each in (before, then)]
        dry_noise = [np.where(each.floats, each.dry_noise, each.noise) for each in (before, then)]
        first_dry = self._holds_first(check, *dry)
        return Prediction(
            np.where(first, before.mean, then.mean),
            np.where(pick, before.slope, then.slope),
            np.where(first, before.noise, then.noise),
            np.where(first, before.floats, then.floats) | (first != first_dry),
            np.where(first_dry, *dry),
            np.where(first_dry[:, None], *dry_slope),
            np.where(first_dry, *dry_noise),
        )

    def _plain(self, check: Check, cells: Ints) -> Prediction:
        setup, every = check.setup, cells.size == len(self.cells)
        solved = self.solved(setup) if every else self._some_solved(setup, cells)
        moves = self._moves(solved, self.chatters(setup)[cells], cells, check.is_ohms)
        at = self._places([check])
        told, reply = moves.tell(moves.expect([check], at), at)
        slope = moves.slopes(told.mean, reply)[:, 0]
        return Prediction(
            told.mean[:, 0],
            slope,
            told.noise[:, 0],
            told.floats[:, 0],
            np.zeros(cells.size),
            np.broadcast_to(0.0, slope.shape),
            np.full(cells.size, NIL_V),
        )

    def chatters(self, setup: Setup) -> Bools:
        """Which cells come to no rest in a setup, (C,)."""
        return self.bench.settled(setup)[1]

    # ---- behaviour

    def behaviour(self, setup: Setup) -> Behaviour:
        """What the devices do in a setup."""
        if setup not in self._behaviours:
            self._behaviours[setup] = self._behave(setup)
        return self._behaviours[setup]

    def _behave(self, setup: Setup) -> Behaviour:
        state, chatters = self.bench.settled(setup)
        net = self.network
        bends = [d.branch for d in net.bends]
        amps = self.solved(setup).amps(np.array([net.branch_at[name] for name in bends], dtype=np.int64))
        return Behaviour(
            {d.name: state.pulled[:, i] for i, d in enumerate(net.relays)},
            chatters,
            {name: state.bent[:, i] for i, name in enumerate(bends)},
            {name: amps[:, i] for i, name in enumerate(bends)},
            {d.name: state.blown[:, i] for i, d in enumerate(net.fuses)},
        )

    def remembered(self, key: str, make: Callable[[], Floats]) -> Floats:
        """What was worked out under this key before, else what `make` gives now."""
        if key not in self.remembered_all:
            self.remembered_all[key] = make()
        return self.remembered_all[key]

    @cached_property
    def working(self) -> Setup:
        """The setup in which the load should work."""
        return working_setup(self.network.circuit)

    @cached_property
    def crank(self) -> Setup | None:
        """The setup in which cranking readings are taken, if anything cranks."""
        return cranking_setup(self.network.circuit)


def _arrays(told: Told) -> tuple[Floats, Floats, Floats, Bools, Floats]:
    return told.mean, told.noise, told.sigma, told.floats, told.loading


def _forget_old(kept: OrderedDict[Any, Any], size_bytes: int) -> None:
    """Drops what was used longest ago, all entries being of this size."""
    while len(kept) > max(1, KEPT_BYTES / size_bytes):
        kept.popitem(last=False)


def build_table(circuit: Circuit, guesses: Guesses, accuracy_percent: float = meter.ACCURACY_PERCENT) -> Table:
    """The table of a circuit: wires it up, lists its cells, solves every setup. About two seconds."""
    network = wire_up(circuit)
    return Table(network, list_cells(network, guesses), accuracy_percent=accuracy_percent)
