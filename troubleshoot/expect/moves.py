"""How the readings of one setup move with what is not known about this car, for many cells at once.

A voltmeter between two points replies to one ampere sent through them with R volts across every branch (the
circuit's adjoint). Its reading moves by R·g·(v - e) when ln(ohm) of a branch moves, and by R·g when its source does:
so the slopes of all readings come from the replies alone. Where only the covariance with a few known readings is
wanted, their slopes are pushed into the circuit instead, and one solution answers for every reading of the setup.
Arrays are (cells, readings, ...); U unknowns: branches, sources, the copper's temperature, gain, severity.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.network import Network
from troubleshoot.expect.cells import Cell
from troubleshoot.parts.branch import OPEN_SPREAD
from troubleshoot.parts.copper import COPPER_PER_K
from troubleshoot.solve import meter
from troubleshoot.solve.cases import OPEN
from troubleshoot.solve.linear import Bools, Floats, Ints, Solved

TEMPERATURE_SIGMA_K = 12.0
"""How far a car's copper is from 20 °C (invented)."""

FLOATS_V = 0.05
"""A floating point reads anywhere from nothing up to about twice what the stated leakage would give."""

AT_A_TIME = 1_500_000
"""Numbers that replies are worked out of at a time: cells × readings × branches."""

DIGITS = 1e-11
"""Relative error of a sum of squares that was found as a difference, with room to spare."""

LEAKS_OHM = 1e6
LEAKS_LN = 1.0
"""Ohms above which only leakage is read, and how far ln(ohm) is from what is stated (invented)."""

DRIFT = 0.1
"""A bad joint drifts with current and heat: sigma of ln(ohm) from one reading to the next (decision 6, invented)."""

CHATTERS_V = 2.0
"""Sigma of a reading while a relay chatters (invented)."""


@dataclass(frozen=True)
class Unknowns:
    """What is not known: of every branch (B,) its spread, whether it is copper, the sigma of its source; of every cell
    (C, B) what the fault adds in series, and how ln(ohm) or the source moves with a sigma of severity; where a second
    fault is, (C, B): its share of the branch, and how they move, apart from the rest, as one knows it no better."""

    spread: Floats
    copper: Bools
    emf_sigma: Floats
    gain_sigma: float
    added_ohm: Floats
    graded_ln: Floats
    graded_emf: Floats
    ln_sigma: Floats
    beside_share: Floats
    beside_ln: Floats
    beside_emf: Floats

    @classmethod
    def of(cls, network: Network, cells: Sequence[Cell], gain_sigma: float) -> Unknowns:
        """Those of a network's branches and of these cells; `gain_sigma` is the meter's."""
        branches = network.branches
        rows = len(cells), len(branches)
        added, graded_ln, graded_emf, share, beside_ln, beside_emf = (np.zeros(rows) for _ in range(6))
        for c, cell in enumerate(cells):
            for change in cell.fault.changes:
                at = network.branch_at.get(change.target)
                if at is not None and change.value is not None and change.spread:
                    if change.what == "emf":
                        beside_emf[c, at] = change.spread * change.value
                    else:
                        series = change.what == "series"
                        share[c, at] = change.value / (change.value + branches[at].ohm) if series else 1.0
                        # what is joined is all fault, and has the branch's own spread too
                        beside_ln[c, at] = np.hypot(change.spread * share[c, at], branches[at].spread * (not series))
                if at is None or change.value is not None or cell.severity is None or cell.severity == OPEN:
                    continue
                if change.what == "series":
                    added[c, at] = cell.severity
                elif change.what == "emf":
                    graded_emf[c, at] = cell.ln_sigma * cell.severity
                else:
                    graded_ln[c, at] = cell.ln_sigma
        return cls(
            np.array([b.spread for b in branches]), np.array([b.copper for b in branches]),
            np.array([b.emf_sigma_v for b in branches]), gain_sigma, added, graded_ln, graded_emf,
            np.array([cell.ln_sigma for cell in cells]), share, beside_ln, beside_emf,
        )  # fmt: skip

    @cached_property
    def sources(self) -> Ints:
        """The branches whose source is not known."""
        return np.flatnonzero(self.emf_sigma)

    @property
    def count(self) -> int:
        """U."""
        return self.spread.size + self.sources.size + 3

    def rows(self, cells: Ints | slice) -> Unknowns:
        """The same for some of the cells."""
        return Unknowns(
            self.spread, self.copper, self.emf_sigma, self.gain_sigma, self.added_ohm[cells], self.graded_ln[cells],
            self.graded_emf[cells], self.ln_sigma[cells], self.beside_share[cells], self.beside_ln[cells],
            self.beside_emf[cells],
        )  # fmt: skip


@dataclass(frozen=True)
class Told:
    """Readings as every cell expects them, all (C, K): `mean` (volts, amperes, or ln(ohm + 0.5)), `noise` sigma of its
    own, `sigma` of everything, `floats`: a range there, not a value; `loading`: what the meter makes of a reply."""

    mean: Floats
    noise: Floats
    sigma: Floats
    floats: Bools
    loading: Floats

    def only(self, cells: Ints, columns: Ints) -> Told:
        """Some of the readings in some of the cells."""
        at = np.ix_(cells, columns)
        return Told(self.mean[at], self.noise[at], self.sigma[at], self.floats[at], self.loading[at])


@dataclass(frozen=True)
class Expected:
    """The same without what the unknowns make of it; `source_ohm`: between the leads."""

    mean: Floats
    noise: Floats
    floats: Bools
    loading: Floats
    source_ohm: Floats

    def only(self, which: Ints) -> Expected:
        """Some of the readings, cell by cell, (C, k)."""
        at = np.arange(which.shape[0])[:, None], which
        return Expected(self.mean[at], self.noise[at], self.floats[at], self.loading[at], self.source_ohm[at])

    def rows(self, cells: Ints) -> Expected:
        """All of the readings, of some cells."""
        return Expected(self.mean[cells], self.noise[cells], self.floats[cells], self.loading[cells],
                        self.source_ohm[cells])  # fmt: skip


class Moves:
    """One setup: what a step of each unknown pushes into the circuit, for readings of volts and amperes or of ohms."""

    def __init__(self, unknowns: Unknowns, solved: Solved, chatters: Bools, open_siemens: Floats, ohms: bool) -> None:
        self._solved = solved
        self._chatters = chatters[:, None]
        self._unknowns = unknowns
        self._ohms = ohms
        siemens = solved.siemens
        # for ohms the sources are dead, and the reply itself is what is read
        drive = siemens if ohms else siemens * (solved.net.across(solved.volts) - solved.emf_v)
        leaks = siemens <= open_siemens * (1 + 1e-9)
        added = np.where(leaks, 0.0, unknowns.added_ohm * siemens)  # share of the branch that the fault is
        left = 1 - added - np.where(leaks, 0.0, unknowns.beside_share)
        sound, rust = drive * left, drive * added
        spread = left * np.where(leaks, OPEN_SPREAD, unknowns.spread)
        self._own = drive * np.hypot(spread, unknowns.beside_ln)
        self._copper = sound * (COPPER_PER_K * TEMPERATURE_SIGMA_K) * unknowns.copper
        self._severity = rust * unknowns.ln_sigma[:, None] + drive * unknowns.graded_ln
        self._drift = DRIFT * (rust + drive * (unknowns.graded_ln > 0))
        self._beside = DRIFT * drive * unknowns.beside_share
        emf_sigma = np.hypot(unknowns.emf_sigma, unknowns.beside_emf)[:, unknowns.sources]
        self._sources = siemens[:, unknowns.sources] * emf_sigma * (not ohms)
        if not ohms:
            self._severity += siemens * unknowns.graded_emf

    # ---- readings

    def expect(self, checks: Sequence[Check], at: Places) -> Expected:
        """The readings of these checks, all with volts and amperes or all with ohms, as far as they need no replies."""
        source_ohm = self._solved.source_ohm(at.red, at.black)
        if self._ohms:
            shown = np.maximum(source_ohm, 0.0) + meter.LEAD_OHM
            scale = shown + meter.OHMS_OFFSET
            noise = np.hypot(meter.LEAD_SIGMA_OHM / scale, 0.01)
            noise = np.where(shown > LEAKS_OHM, noise + LEAKS_LN, noise)
            return Expected(meter.ohms_scale(shown), noise, shown > LEAKS_OHM, 1 / scale, source_ohm)
        meter_ohm = np.array([meter.LOW_OHM if c.function == "low_volts" else meter.METER_OHM for c in checks])
        loading = meter_ohm / (meter_ohm + source_ohm)
        mean = (self._solved.volts[:, at.red] - self._solved.volts[:, at.black]) * loading
        floats = (source_ohm > meter.FLOATING_OHM) & (meter_ohm == meter.METER_OHM)
        noise = np.stack([meter.noise_v(mean[:, k], c.function) for k, c in enumerate(checks)], axis=1)
        noise = np.where(floats, noise + FLOATS_V + np.abs(mean), noise)
        clamped = np.flatnonzero(at.wire >= 0)
        if clamped.size:
            wire = at.wire[clamped]
            mean[:, clamped] = self._solved.amps(wire)
            noise[:, clamped] = meter.noise_a(mean[:, clamped])
            floats[:, clamped], loading[:, clamped] = False, self._solved.siemens[:, wire]
        noise = np.where(self._chatters, np.maximum(noise, CHATTERS_V), noise)
        return Expected(mean, noise, floats, loading, source_ohm)

    def tell(self, found: Expected, at: Places, which: Ints | None = None) -> tuple[Told, Floats]:
        """What `expect` found, with what the unknowns make of it; and the replies R behind the readings,
        (C, K, branches), each already on the scale of the reading. With `which` (C, k) only some, cell by cell."""
        reply = self._solved.replies(at.red, at.black, which)
        wire = np.broadcast_to(at.wire, found.mean.shape)
        if which is not None:
            found, wire = found.only(which), np.take_along_axis(wire, which, axis=1)
        if self._ohms:
            reply *= reply
        reply *= found.loading[:, :, None]
        cell, place = np.nonzero(wire >= 0)
        reply[cell, place, wire[cell, place]] -= 1.0
        moved = np.matmul(reply, np.swapaxes(self._whole, 1, 2))
        noise = np.sqrt(np.square(found.noise) + np.square(moved[:, :, 2:]).sum(axis=2))
        own = reply * self._own[:, None, :]
        square = np.einsum("ckb,ckb->ck", own, own) + np.square(moved[:, :, :2]).sum(axis=2)
        square += np.square(reply[:, :, self._unknowns.sources] * self._sources[:, None, :]).sum(axis=2)
        square += np.square(self._gain(found.mean)) + np.square(noise)
        return Told(found.mean, noise, np.sqrt(square), found.floats, found.loading), reply

    @cached_property
    def _whole(self) -> Floats:
        """What pushes all branches together, (C, 3, branches): the copper's temperature, severity, drift; 4 where there
        are second faults, which drift by themselves."""
        pushes = [self._copper, self._severity, self._drift, *([self._beside] if self._beside.any() else [])]
        return np.stack(pushes, axis=1)

    def told(self, found: Expected, at: Places) -> Told:
        """The same as `tell`, without the replies where they are not needed: of volts, where no digits are lost."""
        parts: list[Floats] = [np.empty(found.mean.shape) for _ in range(2)]
        every, clamped = np.arange(found.mean.shape[0]), at.wire >= 0
        plain, other = np.flatnonzero(~clamped & (not self._ohms)), np.flatnonzero(clamped | self._ohms)
        if other.size:
            self._tell_into(parts, found, at, every, other)
        if plain.size:
            lost = self._reckon_into(parts, found, at, plain)
            self._tell_into(parts, found, at, lost, plain)
        return Told(found.mean, parts[0], parts[1], found.floats, found.loading)

    def _reckon_into(self, parts: list[Floats], found: Expected, at: Places, columns: Ints) -> Ints:
        """Noise and sigma of some readings from sums of squares; the cells in which that loses digits."""
        weight = np.square(self._own)
        weight[:, self._unknowns.sources] += np.square(self._sources)
        square, moved, size = self._solved.squares(at.red[columns], at.black[columns], weight, self._whole)
        loading, own_noise = found.loading[:, columns], found.noise[:, columns]
        moved *= loading[:, :, None]
        noise = np.sqrt(np.square(own_noise) + np.square(moved[:, :, 2:]).sum(axis=2))
        total = square * np.square(loading) + np.square(moved[:, :, :2]).sum(axis=2)
        total += np.square(self._gain(found.mean[:, columns])) + np.square(noise)
        parts[0][:, columns], parts[1][:, columns] = noise, np.sqrt(np.maximum(total, 0.0))
        return np.flatnonzero((size * np.square(loading) * DIGITS > 1e-4 * np.square(own_noise)).any(axis=1))

    def _tell_into(self, parts: list[Floats], found: Expected, at: Places, cells: Ints, columns: Ints) -> None:
        """Noise and sigma of some readings in some cells by way of their replies, a few cells at a time."""
        here = Places(at.red[columns], at.black[columns], at.wire[columns])
        step = max(8, AT_A_TIME // (columns.size * self._own.shape[1]))
        for start in range(0, cells.size, step):
            some = cells[start : start + step]
            which = np.broadcast_to(columns, (some.size, columns.size))
            told, _ = self._rows(some).tell(found.rows(some).only(which), here)
            for whole, part in zip(parts, (told.noise, told.sigma), strict=True):
                whole[np.ix_(some, columns)] = part

    def _rows(self, cells: Ints) -> Moves:
        """The same for some of the cells."""
        part = object.__new__(Moves)
        part._solved, part._chatters = self._solved.rows(cells), self._chatters[cells]
        part._unknowns, part._ohms = self._unknowns.rows(cells), self._ohms
        for name in ("_own", "_copper", "_severity", "_drift", "_beside", "_sources"):
            setattr(part, name, getattr(self, name)[cells])
        return part

    def _gain(self, mean: Floats) -> Floats:
        return mean * (0.0 if self._ohms else self._unknowns.gain_sigma)

    def slopes(self, mean: Floats, reply: Floats) -> Floats:
        """The slopes of readings of which `tell` gave mean and replies, (C, K, U), each for a sigma of its unknown."""
        parts = [
            reply * self._own[:, None, :],
            reply[:, :, self._unknowns.sources] * self._sources[:, None, :],
            np.matmul(reply, self._copper[:, :, None]),
            self._gain(mean)[:, :, None],
            np.matmul(reply, self._severity[:, :, None]),
        ]
        return np.concatenate(parts, axis=2)

    def against(self, known: Floats, told: Told, at: Places) -> Floats:
        """Covariance through the unknowns, (C, K, n), of readings with n others whose slopes are `known` (C, n, U)."""
        branches = self._own.shape[1]
        sources = self._unknowns.sources
        pushed = known[:, :, :branches] * self._own[:, None, :]
        pushed[:, :, sources] += known[:, :, branches:-3] * self._sources[:, None, :]
        pushed += known[:, :, [-3]] * self._copper[:, None, :] + known[:, :, [-1]] * self._severity[:, None, :]
        if self._ohms:
            reply = np.square(self._solved.replies(at.red, at.black))
            return np.asarray(np.matmul(reply, np.swapaxes(pushed, 1, 2)) * told.loading[:, :, None])
        volts = self._solved.pushed(pushed)
        found = np.swapaxes(volts[:, :, at.red] - volts[:, :, at.black], 1, 2) * told.loading[:, :, None]
        clamped = np.flatnonzero(at.wire >= 0)
        found[:, clamped] -= np.swapaxes(pushed[:, :, at.wire[clamped]], 1, 2)
        return np.asarray(found + self._gain(told.mean)[:, :, None] * known[:, None, :, -2])


@dataclass(frozen=True)
class Places:
    """Where readings are taken, (K,) each: nodes of red and black; the branch that a clamp is round, else -1."""

    red: Ints
    black: Ints
    wire: Ints

    @classmethod
    def of(cls, network: Network, node_at: dict[str, int], checks: Sequence[Check]) -> Places:
        """Those of checks; a clamp's ends are those of its wire."""
        wire = np.array([network.branch_at[c.wire] if c.wire else -1 for c in checks], dtype=np.int64)
        ends = [(network.branches[w].a, network.branches[w].b) if w >= 0 else (c.red, c.black)
                for w, c in zip(wire, checks, strict=True)]  # fmt: skip
        red, black = (np.array([node_at[pair[side]] for pair in ends], dtype=np.int64) for side in (0, 1))
        return cls(red, black, wire)
