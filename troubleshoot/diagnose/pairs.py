"""Two faults at once: the leading suspects, each with every fault that explains the readings it leaves over.

A pair is a fault like any other, with the changes of both, in a small second table with the leading single suspects
beside it: belief, groups and choice go on over that table with the same code. Which pairs are in it follows from the
evidence alone, so that undo and replay need no state. Pairs of one part, and those in which one of the two shows in no
reading (it is masked: the sign-off after the first repair finds it), are not made.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.diagnose.belief import Belief, prior_of, weigh
from troubleshoot.diagnose.evidence import Known
from troubleshoot.diagnose.joint import Joint
from troubleshoot.diagnose.slips import flat_density
from troubleshoot.expect.cells import NOTHING_WRONG, Cell
from troubleshoot.expect.seen import answer_chances
from troubleshoot.expect.table import Table
from troubleshoot.parts.branch import Change, Fault
from troubleshoot.solve.cases import OPEN
from troubleshoot.solve.linear import Floats, Ints

TWO_FAULTS = 0.1
"""Share of jobs that have a second fault, of another cause (invented)."""

FITS_BADLY = 0.1
"""Probability of "not described" with an answer that speaks for it, of a fault that comes and goes, or of an answer
being wrong, from which pairs are thought of (invented)."""

TRIED = 40
THIN = 6
"""Pairs that are worked out, and severities of each of the two, beside open."""

LEADING = 4
TOGETHER = 6
"""Faults that are tried with every other, the likeliest with one answer or none left out, and how many pairs of these
are worked out."""

CLOSER = 10
FINE = 4
"""Pairs that are looked at closely, and severities of each of the two about the likeliest."""

SINGLES = 60
"""Cells of single suspects beside them, the likeliest."""

MATTERS = 0.02
"""Probability of all pairs together under which they are left aside (invented)."""

SHOWS = 2.0
"""Sigmas in some reading by which a pair must differ from each of its two alone."""

TINY_V = 1e-6
"""Least sigma that readings are compared in: without current some have none."""

AND = " + "


# ---- a pair as one fault


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
    if not _runs(one) and _runs(other):
        one, other = other, one
    fixed = replace(other.fault, changes=tuple(_fixed(change, other) for change in other.fault.changes))
    return replace(
        one, fault=joined(one.fault, fixed), weight=one.weight * other.weight,
        ln_pull_in=_further(one.ln_pull_in, other.ln_pull_in), ln_blow=_further(one.ln_blow, other.ln_blow),
        ln_start=_further(one.ln_start, other.ln_start),
    )  # fmt: skip


def _runs(cell: Cell) -> bool:
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


# ---- which pairs


def fits_badly(belief: Belief, guesses: Guesses) -> bool:
    """Whether no single fault that stays explains the answers without one of them being wrong."""
    looks = [_p_mistold(belief, known, guesses.mistakes.wrong_look.value)
             for known in belief.evidence if known.choice >= 0]  # fmt: skip
    doubts = (belief.p_unlike, belief.p_coming, *belief.p_wrong, *looks)
    return bool(max(doubts) > FITS_BADLY)


def _p_mistold(belief: Belief, known: Known, wrong_look: float) -> float:
    """Probability that what was seen was seen or told wrongly."""
    chances = belief.chances(known.check, wrong_look)[:, known.choice]
    return float(belief.p_cell[:-1] @ (wrong_look / len(known.check.answers) / chances))


def widened(
    table: Table, guesses: Guesses, belief: Belief, prior: Floats | None, checks: Sequence[Check]
) -> tuple[Table, Floats] | None:  # fmt: skip
    """The table of leading suspects and pairs, and its prior (C + 1,); None while single faults explain it all.

    `checks` are those that may be made: a pair must differ in one of them from each of its two.
    """
    if not belief.evidence or not fits_badly(belief, guesses):
        return None
    plain = prior_of(table, guesses)
    singles = _Singles(table, plain, plain if prior is None else prior)
    some = {name: singles.thinned(name, THIN) for name in singles.cells_of}
    wanted = _covering(singles, guesses, belief.evidence, some)
    tried = _paired(some, some, wanted + _together(singles, guesses, belief, wanted))
    if not tried:
        return None
    best = _best(
        tried, _ln_fits(table.beside([table.cells[0], *(two.cell for two in tried)]), guesses, belief.evidence)
    )
    closer = [found for two in best for found in _closer(singles, two)]
    fine = list({id(thin): thin for two in closer for thin in two.made_of}.values())
    order = np.argsort(-belief.p_cell[:-1], kind="stable")[:SINGLES]
    beside = [int(c) for c in order if table.cells[c].fault.changes]
    whole, before = _with_prior(singles, beside, closer, fine)
    masked = _masked(whole, closer, fine, checks)
    before[:-1][masked] = 0.0
    after = weigh(whole, guesses, belief.evidence, before / before.sum())
    if after.p_cell[len(whole.cells) - len(closer) : -1].sum() < MATTERS:
        return None
    return whole, before / before.sum()


def _covering(
    singles: _Singles, guesses: Guesses, evidence: Sequence[Known], some: dict[str, list[_Thin]]
) -> list[tuple[str, str]]:  # fmt: skip
    """Pairs of faults of which one or the other, alone, explains most answers: those worth working out together."""
    table, wrong = singles.table, guesses.mistakes.wrong_reading.value
    thins = [thin for mine in some.values() for thin in mine]
    at = np.array([thin.run[len(thin.run) // 2] for thin in thins], dtype=np.int64)
    fits = np.zeros((at.size, at.size))
    for known in evidence:
        if known.choice >= 0:
            own = np.log(answer_chances(table, known.check, guesses.mistakes.wrong_look.value)[at, known.choice])
        else:
            told = table.predict(known.check).rows(at)
            sigma = np.hypot(told.sigma, known.sigma)
            own = -0.5 * np.square((known.value - told.mean) / sigma) - np.log(sigma * np.sqrt(2 * np.pi))
            own = np.maximum(own, np.log(wrong * flat_density(known.check)))
        fits += np.maximum(own[:, None], own[None, :])
    plain, to = (np.array([getattr(thin, of) for thin in thins]) + 1e-300 for of in ("plain", "told"))
    fits += np.log(np.maximum(plain[:, None] * to[None, :], to[:, None] * plain[None, :]))
    fault = np.repeat(np.arange(len(some)), [len(mine) for mine in some.values()])
    best = np.full((len(some), len(some)), -np.inf)
    np.maximum.at(best, (fault[:, None], fault[None, :]), fits)
    names = list(some)
    one, other = np.triu_indices(len(some), 1)
    order = np.argsort(-best[one, other], kind="stable")[:TRIED]
    return [(names[one[k]], names[other[k]]) for k in order]


def _together(
    singles: _Singles, guesses: Guesses, belief: Belief, but: list[tuple[str, str]]
) -> list[tuple[str, str]]:  # fmt: skip
    """The best pairs of a leading fault with any other, but for these: together two may show what neither does, as a
    flat battery behind an open ground."""
    few = {name: singles.thinned(name, 1) for name in singles.cells_of}
    p = np.max([belief.p_cell, *(row for row in belief.p_without if row is not None)], axis=0)[:-1]
    total = {name: float(p[cells].sum()) for name, cells in singles.cells_of.items()}
    leading = sorted(total, key=lambda name: (-total[name], name))[:LEADING]
    known = {frozenset(two) for two in but}
    tried = _paired(few, few, [(one, other) for one in leading for other in few
                               if one != other and frozenset((one, other)) not in known])  # fmt: skip
    if not tried:
        return []
    cells = [singles.table.cells[0], *(two.cell for two in tried)]
    best = _best(tried, _ln_fits(singles.table.beside(cells), guesses, belief.evidence))
    names = [(two.made_of[0].cell.fault.name, two.made_of[1].cell.fault.name) for two in best]
    return names[:TOGETHER]


def _ln_fits(table: Table, guesses: Guesses, evidence: Sequence[Known]) -> Floats:
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


def _best(tried: list[_Pair], ln_fits: Floats) -> list[_Pair]:
    """The likeliest cell of each of the likeliest pairs; `ln_fits` has the healthy cell first."""
    ln_p = ln_fits[1:] + np.log([two.told + 1e-300 for two in tried])
    found: dict[str, _Pair] = {}
    for k in np.argsort(-ln_p, kind="stable"):
        found.setdefault(tried[int(k)].cell.fault.name, tried[int(k)])
        if len(found) == CLOSER:
            break
    return list(found.values())


def _closer(singles: _Singles, two: _Pair) -> list[_Pair]:
    """The cells of a pair about one of them."""
    firsts, seconds = (singles.near(thin) for thin in two.made_of)
    names = two.made_of[0].cell.fault.name, two.made_of[1].cell.fault.name
    return _paired({names[0]: firsts}, {names[1]: seconds}, [names])


@dataclass(frozen=True)
class _Thin:
    """A cell that stands for a `run` of its fault, with their weight: `plain` before the complaint, `told` after it."""

    cell: Cell
    run: tuple[int, ...]
    plain: float
    told: float


class _Singles:
    """The cells of a table as what pairs are made of; `plain` and `told` (C + 1,): their priors before and after the
    complaint."""

    def __init__(self, table: Table, plain: Floats, told: Floats) -> None:
        self.table, self.plain, self.told = table, plain, told
        self.kept: dict[int, _Thin] = {}
        self.cells_of: dict[str, list[int]] = {}
        for c, cell in enumerate(table.cells):
            if cell.fault.changes:
                self.cells_of.setdefault(cell.fault.name, []).append(c)

    def thinned(self, name: str, most: int) -> list[_Thin]:
        """A fault's cells, at most so many finite ones, each standing for its neighbours."""
        cells = self.table.cells
        finite = sorted((c for c in self.cells_of[name] if _runs(cells[c])), key=lambda c: cells[c].severity or 0.0)
        runs = [run.tolist() for run in np.array_split(finite, min(most, len(finite)))] if finite else []
        return [self.one(run) for run in [*runs, *([c] for c in self.cells_of[name] if not _runs(cells[c]))]]

    def near(self, thin: _Thin) -> list[_Thin]:
        """The cells of a fault whose severities are next to this one, and those without; the same ones each time."""
        mine = self.cells_of[thin.cell.fault.name]
        ln = np.log([self.table.cells[c].severity or 1.0 for c in mine])
        finite = np.isfinite(ln) & _runs(thin.cell)
        apart = np.where(finite, np.abs(ln - np.log(thin.cell.severity or 1.0)), np.inf) if finite.any() else ln
        nearest = [mine[k] for k in np.argsort(apart, kind="stable")[:FINE] if finite[k]]
        some = [*nearest, *(c for c in mine if not _runs(self.table.cells[c]))]
        for c in some:
            self.kept.setdefault(c, self.one([c]))
        return [self.kept[c] for c in some]

    def one(self, run: list[int]) -> _Thin:
        """The middle one of a run, as uncertain as all of them are apart."""
        cells = [self.table.cells[c] for c in run]
        middle = cells[len(cells) // 2]
        if len(run) > 1:
            ln = np.log([cell.severity or 1.0 for cell in cells])
            variance = np.mean(np.square([cell.ln_sigma for cell in cells])) + ln.var()
            middle = replace(middle, severity=float(np.exp(ln.mean())), ln_sigma=float(np.sqrt(variance)))
        return _Thin(middle, tuple(run), float(self.plain[run].sum()), float(self.told[run].sum()))


@dataclass(frozen=True)
class _Pair:
    """A cell of two, and what it is made of."""

    cell: Cell
    made_of: tuple[_Thin, _Thin]

    @property
    def told(self) -> float:
        """Its prior: that of the two together, a complaint being explained by either."""
        a, b = self.made_of
        return 2 * TWO_FAULTS * max(a.told * b.plain, a.plain * b.told)


def _paired(
    firsts: dict[str, list[_Thin]], seconds: dict[str, list[_Thin]], wanted: list[tuple[str, str]]
) -> list[_Pair]:  # fmt: skip
    """All cells of the wanted pairs of faults, each pair once."""
    found, done = [], set()
    for one, other in wanted:
        if frozenset((one, other)) in done:
            continue
        done.add(frozenset((one, other)))
        for a in firsts[one]:
            for b in seconds[other]:
                cell = pair(a.cell, b.cell)
                found += [_Pair(cell, (a, b))] if cell else []
    return found


def _with_prior(
    singles: _Singles, beside: list[int], pairs: list[_Pair], alone: list[_Thin]
) -> tuple[Table, Floats]:  # fmt: skip
    """The table of the healthy cells, some others, single ones to compare with, and pairs, in this order; with the
    prior."""
    table = singles.table
    some = [*(c for c, cell in enumerate(table.cells) if cell.fault is NOTHING_WRONG), *beside]
    compared = [thin.cell for thin in alone]
    cells = [*(table.cells[c] for c in some), *compared, *(two.cell for two in pairs)]
    prior = np.array([*singles.told[some], *[0.0] * len(compared), *(two.told for two in pairs), singles.told[-1]])
    return table.beside(cells), prior / prior.sum()


def _masked(whole: Table, pairs: list[_Pair], alone: list[_Thin], checks: Sequence[Check]) -> Ints:
    """The cells of pairs which read, wherever one may read, as one of their two alone does."""
    columns = np.array([whole.column[check.id] for check in checks if check.kind == "reading"], dtype=np.int64)
    mean, sigma = whole.stack.mean[:, columns], whole.stack.sigma[:, columns]
    own = np.arange(len(whole.cells) - len(pairs), len(whole.cells))
    at = {id(thin): int(own[0]) - len(alone) + k for k, thin in enumerate(alone)}
    shows = np.ones(len(pairs), dtype=bool)
    for side in (0, 1):
        single = np.array([at[id(two.made_of[side])] for two in pairs])
        apart = np.abs(mean[own] - mean[single]) / np.maximum(np.minimum(sigma[own], sigma[single]), TINY_V)
        shows &= (apart > SHOWS).any(axis=1)
    return own[~shows]


def groups_with(groups: Sequence[frozenset[str]], table: Table) -> list[frozenset[str]]:
    """Groups of single faults, and of a table's pairs: those whose two are look-alikes of the other pair's two."""
    at = {name: g for g, group in enumerate(groups) for name in group}
    found: dict[frozenset[int], set[str]] = {}
    for name in table.names:
        if AND in name:
            found.setdefault(frozenset(at[part] for part in parts_of(name)), set()).add(name)
    return [*groups, *(frozenset(names) for names in found.values())]


# ---- what else there may be beside one


def fits_beside(table: Table, guesses: Guesses, evidence: Sequence[Known], name: str) -> Floats:
    """How much likelier each fault beside one makes what was read than that one alone, (C + 1,); 1 where they cannot be
    together."""
    plain = prior_of(table, guesses)
    singles = _Singles(table, plain, plain)
    if name not in singles.cells_of or not evidence:
        return np.ones(len(table.cells) + 1)
    mine = np.array(singles.cells_of[name])
    own = table.beside([table.cells[0], *(table.cells[c] for c in mine)])
    by_itself = weigh(own, guesses, evidence, np.array([0.0, *plain[mine] / plain[mine].sum(), 0.0]))
    firsts = {name: [singles.one([int(c)]) for c in mine[np.argsort(-by_itself.p_cell[1:-1], kind="stable")[:FINE]]]}
    seconds = {other: singles.thinned(other, THIN) for other in singles.cells_of}
    pairs = _paired(firsts, seconds, [(name, other) for other in seconds])
    whole, before = _with_prior(singles, [thin.run[0] for thin in firsts[name]], pairs, [])
    found = weigh(whole, guesses, evidence, before)
    ratio = found.p_cell / np.maximum(before, 1e-300)
    alone = slice(len(whole.cells) - len(pairs) - len(firsts[name]), len(whole.cells) - len(pairs))
    scale = found.p_cell[alone].sum() / before[alone].sum()
    total, weight = np.zeros((2, len(table.cells) + 1))
    for two, share in zip(pairs, ratio[-len(pairs) - 1 : -1], strict=True):
        run = list(two.made_of[1].run)
        total[run] += share * two.made_of[0].plain
        weight[run] += two.made_of[0].plain
    return np.where(weight > 0, total / np.maximum(weight * scale, 1e-300), 1.0)
