"""Which pairs of faults may explain what no single one does: those looked for, and the likeliest severities of each.

First the pairs of which one or the other, alone, explains most answers, and the faults that leave least unexplained,
each with every other, since two together may show what neither does, as a flat battery behind an open ground. Where
that does not explain everything, all pairs there are. Their cells are few; those of the likeliest are then looked at
closely. What is found follows from the evidence alone: the cells that were worked out before are kept only to save
time.
"""

from __future__ import annotations

import itertools
from collections import OrderedDict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from troubleshoot.circuit.guesses import Guesses
from troubleshoot.diagnose.evidence import Known
from troubleshoot.diagnose.joint import Joint
from troubleshoot.diagnose.pair_cells import Pair, Singles, Thin, paired, weights
from troubleshoot.diagnose.slips import flat_density
from troubleshoot.expect.seen import answer_chances
from troubleshoot.expect.table import Table
from troubleshoot.solve.linear import Floats, Ints

COVERING = 40
THIN = 6
"""Pairs of which each explains some answers that are worked out, and severities of each of the two, beside open."""

LEADING = 12
FEW = 2
"""Faults that are tried with every other, and severities of each of the two, beside open."""

MOST_PAIRS = 4500
"""Pairs of faults that are tried: more than any shipped circuit has; of more, those of the leading faults."""

CLOSER = 12
FINE = 4
"""Pairs that are looked at closely, and severities of each of the two about the likeliest."""

MOST_CLOSER = 24
"""The same with the look-alikes of their two."""

FAINT_LN = 10.0
"""Nats under the likeliest cell of a pair at which one is left aside."""

AT_ONCE = 1500
KEPT = 24000
"""Cells of pairs that are worked out together, and that are kept."""


@dataclass(frozen=True)
class Search:
    """The pairs that explain these answers best; `plain` and `told` (C + 1,): priors of the table's cells before and
    after the complaint. `groups`: the look-alikes among the faults."""

    singles: Singles
    groups: Sequence[frozenset[str]]
    guesses: Guesses
    evidence: Sequence[Known]
    plain: Floats
    told: Floats

    def likeliest(self, everywhere: bool) -> list[Pair]:
        """Cells of the pairs that explain the answers best, about the severities that do; `everywhere`: of all pairs
        that there are."""
        leading = self._wanted[1]
        others = itertools.combinations(leading, 2) if everywhere else _each_with(leading[:LEADING], leading)
        tried = [self._covering, self._tried(list(itertools.islice(others, MOST_PAIRS)), FEW)]
        best = _best([two for some in tried for two in some[0]], np.concatenate([some[1] for some in tried]))
        for side in (0, 1):
            along = [found for two in best for found in self._along(two, side)]
            best = _best(along, self.fits(along))
        closer = [found for two in self._look_alikes(best) for found in self._closer(two)]
        fits = self.fits(closer)
        return [two for two, ln_p in zip(closer, fits, strict=True) if ln_p > fits.max() - FAINT_LN]

    def fits(self, pairs: list[Pair]) -> Floats:
        """ln of prior and chance of all answers in each of these cells, (pairs,)."""
        if not pairs:
            return np.zeros(0)
        table = self.singles.table.beside([self.singles.table.cells[0], *(two.cell for two in pairs)])
        return self._with_prior(pairs, ln_fits(table, self.guesses, self.evidence)[1:])

    def _with_prior(self, pairs: list[Pair], fits: Floats) -> Floats:
        return np.asarray(fits + np.log(self.singles.prior(pairs, self.plain, self.told) + 1e-300))

    def _tried(self, wanted: list[tuple[str, str]], thin: int) -> tuple[list[Pair], Floats]:
        """Thin cells of the wanted pairs, and ln of prior and chance of all answers in each."""
        pairs, fits = thin_fits(self.singles, self.guesses, self.once, wanted, thin)
        return pairs, self._with_prior(pairs, fits)

    # ---- which pairs

    @cached_property
    def once(self) -> list[Known]:
        """The evidence with what was answered twice once, by its latest answer."""
        return list({known.check.first_id: known for known in self.evidence}.values())

    @cached_property
    def alike(self) -> list[list[str]]:
        """The look-alike groups, without what is no fault."""
        found = [sorted(name for name in group if name in self.singles.cells_of) for group in self.groups]
        return [names for names in found if names]

    @cached_property
    def names(self) -> list[str]:
        """The faults that are tried: one of each look-alike group stands for it."""
        return [names[0] for names in self.alike]

    @cached_property
    def _covering(self) -> tuple[list[Pair], Floats]:
        return self._tried(self._wanted[0], THIN)

    @cached_property
    def _wanted(self) -> tuple[list[tuple[str, str]], list[str]]:
        """Pairs of faults of which one or the other, alone, explains most answers; and all faults, those that leave
        least unexplained first."""
        some = [self.singles.thinned(name, THIN) for name in self.names]
        thins = [thin for mine in some for thin in mine]
        fault = np.repeat(np.arange(len(some)), [len(mine) for mine in some])
        each = self._explained(np.array([thin.run[len(thin.run) // 2] for thin in thins], dtype=np.int64))
        plain, told = (weights(thins, prior) + 1e-300 for prior in (self.plain, self.told))

        fits = np.log(np.maximum(plain[:, None] * told[None, :], told[:, None] * plain[None, :]))
        for own in each.T:
            fits += np.maximum(own[:, None], own[None, :])
        of_two = np.full((len(some), len(some)), -np.inf)
        np.maximum.at(of_two, (fault[:, None], fault[None, :]), fits)
        one, other = np.triu_indices(len(some), 1)
        order = np.argsort(-of_two[one, other], kind="stable")[:COVERING]
        covering = [(self.names[one[k]], self.names[other[k]]) for k in order]

        of_one = np.full(len(some), -np.inf)
        np.maximum.at(of_one, fault, each.sum(axis=1) + np.log(told))
        return covering, [self.names[k] for k in np.argsort(-of_one, kind="stable")]

    def _explained(self, cells: Ints) -> Floats:
        """ln p of each answer in some cells of single faults, (cells, answers), at least that of a wrong answer."""
        table, wrong = self.singles.table, self.guesses.mistakes
        found = []
        for known in self.once:
            if known.choice >= 0:
                chances = answer_chances(table, known.check, wrong.wrong_look.value)
                found.append(np.log(chances[cells, known.choice]))
                continue
            told = table.predict(known.check).rows(cells)
            sigma = np.hypot(told.sigma, known.sigma)
            own = -0.5 * np.square((known.value - told.mean) / sigma) - np.log(sigma * np.sqrt(2 * np.pi))
            found.append(np.maximum(own, np.log(wrong.wrong_reading.value * flat_density(known.check))))
        return np.stack(found, axis=1)

    def _look_alikes(self, best: list[Pair]) -> list[Pair]:
        """These pairs, and those of the look-alikes of their two."""
        of = {name: names for names in self.alike for name in names}
        found: dict[frozenset[str], Pair] = {}
        for two in best:
            names = [thin.cell.fault.name for thin in two.made_of]
            found.setdefault(frozenset(names), two)
            for one, other in itertools.product(*(of[name] for name in names)):
                if one != other and frozenset((one, other)) not in found:
                    ends = [self._such(name, thin) for name, thin in zip((one, other), two.made_of, strict=True)]
                    found |= {frozenset((one, other)): same for same in _crossed(*ends)[:1]}
        return list(found.values())[:MOST_CLOSER]

    def _such(self, name: str, thin: Thin) -> list[Thin]:
        """The cell of a fault whose severity is that of this one, as nearly as there is one."""
        if name == thin.cell.fault.name:
            return [thin]
        return (self.singles.near_to(name, thin.cell, 1) or self.singles.every(name))[:1]

    # ---- their severities

    def _along(self, two: Pair, side: int) -> list[Pair]:
        """A pair with the first (0) or the second (1) of the two at each of its severities."""
        ends = [[thin] for thin in two.made_of]
        ends[side] = self.singles.every(two.made_of[side].cell.fault.name)
        return _crossed(*ends)

    def _closer(self, two: Pair) -> list[Pair]:
        """The cells of a pair about one of them."""
        return _crossed(*(self.singles.near_to(thin.cell.fault.name, thin.cell, FINE) for thin in two.made_of))


def _each_with(some: list[str], every: list[str]) -> Iterator[tuple[str, str]]:
    return ((one, other) for one in some for other in every if one != other)


def _crossed(firsts: list[Thin], seconds: list[Thin]) -> list[Pair]:
    names = firsts[0].cell.fault.name, seconds[0].cell.fault.name
    return paired({names[0]: firsts}, {names[1]: seconds}, [names])


def thin_fits(
    singles: Singles, guesses: Guesses, evidence: Sequence[Known], wanted: list[tuple[str, str]], thin: int
) -> tuple[list[Pair], Floats]:  # fmt: skip
    """Thin cells of the wanted pairs of faults, and ln p of all answers in each; the cells are kept."""
    found: list[Pair] = []
    fits = [np.zeros(0)]
    for lot, rows in _Kept.of(singles).lots(wanted, thin):
        found += [lot.pairs[k] for k in rows]
        fits.append(ln_fits(lot.table, guesses, evidence)[1:][rows])
    return found, np.concatenate(fits)


def ln_fits(table: Table, guesses: Guesses, evidence: Sequence[Known]) -> Floats:
    """ln p of all answers in each cell, (C,), with one reading at most wrong, in any way."""
    readings = [known for known in evidence if known.choice < 0]
    looks = [known for known in evidence if known.choice >= 0]
    found = np.zeros(len(table.cells))
    for known in looks:
        found += np.log(answer_chances(table, known.check, guesses.mistakes.wrong_look.value)[:, known.choice])
    if not readings:
        return found
    joint, wrong = Joint.of(table, readings), np.log(guesses.mistakes.wrong_reading.value)
    ways = [joint.log_without(i) + wrong + np.log(flat_density(known.check)) for i, known in enumerate(readings)]
    return np.asarray(found + np.logaddexp.reduce([joint.log_density, *ways], axis=0))


def _best(tried: list[Pair], fits: Floats) -> list[Pair]:
    """The likeliest cell of each of the likeliest pairs."""
    found: dict[str, Pair] = {}
    for k in np.argsort(-fits, kind="stable"):
        found.setdefault(tried[int(k)].cell.fault.name, tried[int(k)])
        if len(found) == CLOSER:
            break
    return list(found.values())


# ---- what was worked out before


@dataclass(frozen=True)
class _Lot:
    """Cells of pairs that were worked out together: `table` has the healthy cell first. `rows` by pair of faults."""

    pairs: list[Pair]
    table: Table
    rows: dict[tuple[str, str, int], list[int]]


@dataclass
class _Kept:
    """The lots of a table's pairs, the latest used last."""

    singles: Singles
    made: OrderedDict[int, _Lot] = field(default_factory=OrderedDict)
    where: dict[tuple[str, str, int], int] = field(default_factory=dict)
    count: int = 0

    @classmethod
    def of(cls, singles: Singles) -> _Kept:
        """Those of a table; kept with it."""
        return singles.table.__dict__.setdefault("_pairs_kept", cls(singles))  # type: ignore[no-any-return]

    def lots(self, wanted: Iterable[tuple[str, str]], thin: int) -> list[tuple[_Lot, list[int]]]:
        """The lots that the wanted pairs are in, and the rows of these."""
        keys = list(dict.fromkeys((min(two), max(two), thin) for two in wanted))
        self._make([key for key in keys if key not in self.where])
        rows: dict[int, list[int]] = {}
        for key in keys:
            rows.setdefault(self.where[key], []).extend(self.made[self.where[key]].rows[key])
        for at in rows:
            self.made.move_to_end(at)
        found = [(self.made[at], mine) for at, mine in rows.items() if mine]
        while sum(len(lot.pairs) for lot in self.made.values()) > KEPT and len(self.made) > len(rows):
            _, lot = self.made.popitem(last=False)
            for key in lot.rows:
                del self.where[key]
        return found

    def _make(self, keys: list[tuple[str, str, int]]) -> None:
        pairs: list[Pair] = []
        rows: dict[tuple[str, str, int], list[int]] = {}
        for key in keys:
            mine = _crossed(*(self.singles.thinned(name, key[2]) for name in key[:2]))
            rows[key] = list(range(len(pairs), len(pairs) + len(mine)))
            pairs += mine
            if len(pairs) > AT_ONCE or key == keys[-1]:
                table = self.singles.table.beside([self.singles.table.cells[0], *(two.cell for two in pairs)])
                self.made[self.count] = _Lot(pairs, table, rows)
                self.where |= dict.fromkeys(rows, self.count)
                self.count, pairs, rows = self.count + 1, [], {}
