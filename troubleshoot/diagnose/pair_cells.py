"""Two faults as one: its name, its cells, and what these are made of.

A pair is a fault like any other, with the changes of both. Pairs of one part, or that change one thing, are not made.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from troubleshoot.expect.cells import Cell
from troubleshoot.expect.table import Table
from troubleshoot.parts.branch import Change, Fault
from troubleshoot.solve.cases import OPEN
from troubleshoot.solve.linear import Floats

TWO_FAULTS = 0.1
"""Share of jobs that have a second fault, of another cause (invented)."""

AND = " + "


def parts_of(name: str) -> tuple[str, ...]:
    """The names of the faults in a suspect's name: one, or two."""
    return tuple(name.split(AND))


def joined(one: Fault, other: Fault) -> Fault:
    """Two faults as one, under a name that does not hang on their order."""
    first, second = sorted((one, other), key=lambda fault: fault.name)
    return Fault(
        f"{first.name}{AND}{second.part}", second.mode, f"two faults: {first.say}, and {second.say}",
        f"{first.repair}; and {second.repair}", one.prior, one.changes + other.changes, one.severity,
        first.shows or second.shows,
    )  # fmt: skip


def pair(one: Cell, other: Cell) -> Cell | None:
    """A cell with both faults; None where they are of one part, or change one thing. Its severity is that of the first
    or, where only the second runs over a range, of that one; the other's is written into its changes."""
    targets = {change.target for change in one.fault.changes}
    if one.fault.part == other.fault.part or targets & {change.target for change in other.fault.changes}:
        return None
    if not one.fault.changes or not other.fault.changes:
        return None
    if not runs(one) and runs(other):
        one, other = other, one
    fixed = replace(other.fault, changes=tuple(_fixed(change, other) for change in other.fault.changes))
    return replace(
        one, fault=joined(one.fault, fixed), weight=one.weight * other.weight,
        ln_pull_in=_further(one.ln_pull_in, other.ln_pull_in), ln_blow=_further(one.ln_blow, other.ln_blow),
        ln_start=_further(one.ln_start, other.ln_start),
    )  # fmt: skip


def runs(cell: Cell) -> bool:
    """Whether its fault runs over a range of severities."""
    return cell.severity is not None and cell.severity < OPEN


def _fixed(change: Change, cell: Cell) -> Change:
    """A change with its cell's severity written into it."""
    if change.value is not None or change.what in ("blown", "welded", "stuck", "seized"):
        return change
    if change.what == "open" or cell.severity is None:
        return replace(change, value=0.0)
    return replace(change, value=cell.severity, spread=cell.ln_sigma)


def _further(one: tuple[float, ...], other: tuple[float, ...]) -> tuple[float, ...]:
    """Of two shifts of each threshold the larger one: cells that settle one way only have none."""
    return tuple(a if abs(a) >= abs(b) else b for a, b in zip(one, other, strict=True))


# ---- what pairs are made of


@dataclass(frozen=True)
class Thin:
    """A cell that stands for a `run` of its fault, as uncertain as all of them are apart."""

    cell: Cell
    run: tuple[int, ...]


@dataclass(frozen=True)
class Pair:
    """A cell of two, and what it is made of."""

    cell: Cell
    made_of: tuple[Thin, Thin]


@dataclass(frozen=True)
class Singles:
    """The cells of a table as what pairs are made of."""

    table: Table

    @classmethod
    def of(cls, table: Table) -> Singles:
        """Those of a table; kept with it."""
        return table.__dict__.setdefault("_singles", cls(table))  # type: ignore[no-any-return]

    @cached_property
    def cells_of(self) -> dict[str, list[int]]:
        """The cells of each fault, by its name."""
        found: dict[str, list[int]] = {}
        for c, cell in enumerate(self.table.cells):
            if cell.fault.changes:
                found.setdefault(cell.fault.name, []).append(c)
        return found

    @cached_property
    def _kept(self) -> dict[tuple[int, ...], Thin]:
        return {}

    def one(self, run: Iterable[int]) -> Thin:
        """The middle one of a run; the same each time."""
        run = tuple(run)
        if run not in self._kept:
            cells = [self.table.cells[c] for c in run]
            middle = cells[len(cells) // 2]
            if len(run) > 1:
                ln = np.log([cell.severity or 1.0 for cell in cells])
                variance = np.mean(np.square([cell.ln_sigma for cell in cells])) + ln.var()
                middle = replace(middle, severity=float(np.exp(ln.mean())), ln_sigma=float(np.sqrt(variance)))
            self._kept[run] = Thin(middle, run)
        return self._kept[run]

    def thinned(self, name: str, most: int) -> list[Thin]:
        """A fault's cells, at most so many finite ones, each standing for its neighbours."""
        cells = self.table.cells
        finite = sorted((c for c in self.cells_of[name] if runs(cells[c])), key=lambda c: cells[c].severity or 0.0)
        some = [run.tolist() for run in np.array_split(finite, min(most, len(finite)))] if finite else []
        return [self.one(run) for run in [*some, *([c] for c in self.cells_of[name] if not runs(cells[c]))]]

    def every(self, name: str) -> list[Thin]:
        """All of a fault's cells."""
        return [self.one([c]) for c in self.cells_of[name]]

    def near_to(self, name: str, cell: Cell, most: int) -> list[Thin]:
        """So many cells of a fault, those whose severities are nearest to that of this cell; those without beside
        them."""
        mine = self.cells_of[name]
        finite = [c for c in mine if runs(self.table.cells[c])]
        nearest: list[int] = []
        if runs(cell):
            ln = np.log([self.table.cells[c].severity or 1.0 for c in finite])
            apart = np.abs(ln - np.log(cell.severity or 1.0))
            nearest = [finite[k] for k in np.argsort(apart, kind="stable")[:most]]
        return [self.one([c]) for c in [*nearest, *(c for c in mine if c not in finite)]]

    def prior(self, pairs: Iterable[Pair], plain: Floats, told: Floats) -> Floats:
        """Prior of each of these, (pairs,), from those of the table's cells before and after the complaint: that of the
        two together, a complaint being explained by either."""
        thins = self._kept.values()
        total = dict(zip(self._kept, zip(weights(thins, plain), weights(thins, told), strict=True), strict=True))
        ends = [(total[a.run], total[b.run]) for a, b in (two.made_of for two in pairs)]
        return np.array([2 * TWO_FAULTS * max(a[1] * b[0], a[0] * b[1]) for a, b in ends])


def weights(thins: Iterable[Thin], prior: Floats) -> Floats:
    """The prior of what each of these stands for, (thins,), from that of the table's cells."""
    return np.array([prior[[*thin.run]].sum() for thin in thins])


def paired(
    firsts: dict[str, list[Thin]], seconds: dict[str, list[Thin]], wanted: Iterable[tuple[str, str]]
) -> list[Pair]:
    """All cells of the wanted pairs of faults, each pair once."""
    found, done = [], set()
    for one, other in wanted:
        if frozenset((one, other)) in done:
            continue
        done.add(frozenset((one, other)))
        for a in firsts[one]:
            for b in seconds[other]:
                cell = pair(a.cell, b.cell)
                found += [Pair(cell, (a, b))] if cell else []
    return found
