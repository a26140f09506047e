"""Two faults at once: the leading suspects, each with every fault that explains the readings it leaves over.

The pairs (`pair_search.py`) are in a small second table with the leading single suspects beside them: belief, groups
and choice go on over that table with the same code. Which pairs are in it follows from the evidence alone, so that undo
and replay need no state. Those in which one of the two shows in no reading (it is masked: the sign-off after the first
repair finds it) are left out.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.diagnose.belief import Belief, prior_of, weigh
from troubleshoot.diagnose.evidence import Known
from troubleshoot.diagnose.pair_cells import AND, Pair, Singles, Thin, parts_of, weights
from troubleshoot.diagnose.pair_search import THIN, Search, ln_fits, thin_fits
from troubleshoot.expect.cells import NOTHING_WRONG
from troubleshoot.expect.table import Table
from troubleshoot.solve.linear import Floats, Ints

FITS_BADLY = 0.1
"""Probability of "not described" with an answer that speaks for it, of a fault that comes and goes, or of an answer
being wrong, from which pairs are thought of (invented)."""

SINGLES = 60
"""Cells of single suspects beside them, the likeliest."""

MATTERS = 0.02
LIKELIER = 0.5
"""Probability of all pairs together under which they are left aside; and where a single fault that comes and goes
explains much (invented)."""

SHOWS = 2.0
"""Sigmas in some reading by which a pair must differ from each of its two alone."""

LN_MOST = 10.0
"""ln of the most that one fault is told to make answers likelier beside another."""

TINY_V = 1e-6
"""Least sigma that readings are compared in: without current some have none."""

# ---- which pairs


def fits_badly(belief: Belief, guesses: Guesses) -> bool:
    """Whether no single fault that stays explains the answers without one of them being wrong."""
    return bool(belief.p_coming > FITS_BADLY) or leaves_unexplained(belief, guesses)


def leaves_unexplained(belief: Belief, guesses: Guesses) -> bool:
    """The same, where a fault that comes and goes is an explanation."""
    looks = [_p_mistold(belief, known, guesses.mistakes.wrong_look.value)
             for known in belief.evidence if known.choice >= 0]  # fmt: skip
    return bool(max((belief.p_unlike, *belief.p_wrong, *looks)) > FITS_BADLY)


def _p_mistold(belief: Belief, known: Known, wrong_look: float) -> float:
    """Probability that what was seen was seen or told wrongly."""
    chances = belief.chances(known.check, wrong_look)[:, known.choice]
    return float(belief.p_cell[:-1] @ (wrong_look / len(known.check.answers) / chances))


def widened(
    table: Table, guesses: Guesses, belief: Belief, prior: Floats | None, checks: Sequence[Check],
    groups: Sequence[frozenset[str]], least: float = MATTERS,
) -> tuple[Table, Floats] | None:  # fmt: skip
    """The table of leading suspects and pairs, and its prior (C + 1,); None while single faults explain it all.

    `checks` are those that may be made: a pair must differ in one of them from each of its two. `groups`: the
    look-alikes among single faults. `least`: how probable all pairs together must be. Where the likeliest pairs leave
    an answer unexplained, too, all that there are are tried.
    """
    if not belief.evidence or not fits_badly(belief, guesses):
        return None
    plain = prior_of(table, guesses)
    told = plain if prior is None else prior
    search = Search(Singles.of(table), groups, guesses, belief.evidence, plain, told)
    order = np.argsort(-belief.p_cell[:-1], kind="stable")[:SINGLES]
    beside = [int(c) for c in order if table.cells[c].fault.changes]
    found = None
    for everywhere in (False, True):
        pairs = search.likeliest(everywhere)
        if not pairs:
            continue
        whole, before = _with_pairs(search, pairs, beside, checks)
        after = weigh(whole, guesses, belief.evidence, before)
        matter = after.p_cell[len(whole.cells) - len(pairs) : -1].sum() > least
        if matter:
            found = whole, before
        if not leaves_unexplained(after if matter else belief, guesses):
            break
    return found


def _with_pairs(
    search: Search, pairs: list[Pair], beside: list[int], checks: Sequence[Check]
) -> tuple[Table, Floats]:  # fmt: skip
    """The table with these pairs, those that are masked at no prior."""
    alone = list({id(thin): thin for two in pairs for thin in two.made_of}.values())
    whole, before = _with_prior(search.singles, search.plain, search.told, beside, pairs, alone)
    before[:-1][_masked(whole, pairs, alone, checks)] = 0.0
    return whole, before / before.sum()


def _with_prior(
    singles: Singles, plain: Floats, told: Floats, beside: list[int], pairs: list[Pair], alone: list[Thin]
) -> tuple[Table, Floats]:  # fmt: skip
    """The table of the healthy cells, some others, single ones to compare with, and pairs, in this order; with the
    prior."""
    table = singles.table
    some = [*(c for c, cell in enumerate(table.cells) if cell.fault is NOTHING_WRONG), *beside]
    compared = [thin.cell for thin in alone]
    cells = [*(table.cells[c] for c in some), *compared, *(two.cell for two in pairs)]
    prior = np.array([*told[some], *[0.0] * len(compared), *singles.prior(pairs, plain, told), told[-1]])
    return table.beside(cells), prior / prior.sum()


def _masked(whole: Table, pairs: list[Pair], alone: list[Thin], checks: Sequence[Check]) -> Ints:
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


def fits_beside(
    table: Table, guesses: Guesses, evidence: Sequence[Known], name: str, among: Collection[str] | None = None
) -> Floats:  # fmt: skip
    """How much likelier each fault beside one makes what was read than that one alone, (C + 1,); 1 where they cannot be
    together, and for those that are not `among` the faults asked for (None: all)."""
    plain, singles = prior_of(table, guesses), Singles.of(table)
    found = np.ones(len(table.cells) + 1)
    if name not in singles.cells_of or not evidence:
        return found
    firsts = singles.thinned(name, THIN)
    own = table.beside([table.cells[0], *(thin.cell for thin in firsts)])
    weight = weights(firsts, plain)
    alone = ln_fits(own, guesses, evidence)[1:]
    scale = np.logaddexp.reduce(alone + np.log(weight / weight.sum() + 1e-300))
    others = [other for other in singles.cells_of if other != name and (among is None or other in among)]
    pairs, fits = thin_fits(singles, guesses, evidence, [(name, other) for other in others], THIN)
    share = dict(zip((thin.run for thin in firsts), weight / weight.sum(), strict=True))
    total: dict[int, float] = {}
    for two, ratio in zip(pairs, np.exp(np.minimum(fits - scale, LN_MOST)), strict=True):
        first, other = two.made_of if two.made_of[0].run in share else two.made_of[::-1]
        for c in other.run:
            total[c] = total.get(c, 0.0) + ratio * share[first.run]
    found[list(total)] = list(total.values())
    return found
