"""Something that the circuit file does not describe: how well it explains the answers, what does not fit, what to
look for.

An added switch or splice alters some readings and leaves the rest as in a healthy circuit. So each answer is either as
the healthy circuit gives it, conditional on those before it, or anything that such wiring shows: about nothing, about
battery volts, or between. In some key states nothing is altered, in others how many are is not known (what shows while
cranking may show in nothing that is read at on); the same reading taken again is altered the same way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.diagnose.comes_and_goes import NIL_V, Chain
from troubleshoot.diagnose.evidence import OVER_LIMIT_LN, OVER_LIMIT_SIGMA, Known
from troubleshoot.diagnose.slips import flat_density
from troubleshoot.expect.seen import answer_chances
from troubleshoot.expect.table import Table
from troubleshoot.solve.linear import Floats

if TYPE_CHECKING:
    from troubleshoot.diagnose.belief import Belief

LIKELY_V = ((0.0, 0.1), (12.3, 0.5))
LIKELY_LN_OHM = ((np.log(0.5 + 0.3), 0.2), (OVER_LIMIT_LN, OVER_LIMIT_SIGMA))
LIKELY_SHARE = 0.3
"""What wiring that is not described shows: about nothing, about the battery; ohms of a join, or none. Each so often,
as (mean, sigma), and anything at all for the rest (invented)."""

FEW = (1.0, 2.0)
"""Of the answers in a key state in which anything is altered, how many are before anything is known: as (altered, not)
(invented: one wire that is added is met at few places)."""

SAME_V = 0.15
SAME_SHARE = 0.9
"""How near a reading that is altered comes to what it was when it is taken again, and how often (invented)."""

ANYTHING_V, ANYTHING_LN_OHM = (6.0, 5.0), (9.0, 8.0)
"""Mean and sigma of what is altered, as checks are chosen by it (invented)."""

BESIDE = 0.2
"""Probability from which a verdict names it beside what leads (invented)."""

FITS_SIGMAS = 4.0
"""Sigmas from which a reading is said not to fit."""


@dataclass(frozen=True)
class Undescribed:
    """ln p of each answer (n,) in a car with something that the file lacks, given those before it; how probably each is
    altered, (n,). `joint`: slopes, residuals and precision of the readings in the healthy circuit, those that fit.
    `states`: what is known of each key state that was read in. `before`: by check, what was read and how probably that
    is altered."""

    each: Floats
    altered: Floats
    joint: tuple[Floats, Floats, Floats]
    states: dict[str, State]
    before: dict[str, tuple[float, float]]

    def alters(self, check: Check) -> float:
        """Chance that the next answer is altered."""
        state = self.states.get(check.setup.key, State())
        alters = self.before[check.first_id][1] if check.first_id in self.before else state.alters
        return float(np.clip(alters, 0.01, 0.99))

    def shows(self, check: Check) -> tuple[float, float]:
        """Mean and sigma of a reading that is altered."""
        if check.first_id in self.before:
            return self.before[check.first_id][0], SAME_V
        return ANYTHING_LN_OHM if check.is_ohms else ANYTHING_V


@dataclass
class State:
    """A key state: `some` is the probability that anything is altered in it (at first invented); of `could` answers
    that would tell, `showed` were."""

    some: float = 0.9
    could: float = 0.0
    showed: float = 0.0

    @property
    def alters(self) -> float:
        """Chance that the next answer is altered."""
        return self.some * self.there

    @property
    def there(self) -> float:
        """The same, where anything is altered in this key state."""
        return (FEW[0] + self.showed) / (sum(FEW) + self.could)

    def take(self, healthy: float, other: float) -> tuple[float, float]:
        """Takes an answer with its densities as healthy and altered. Returns its density, and how probably it is
        altered."""
        there = self.there
        mixed = there * other + (1 - there) * healthy
        total = self.some * mixed + (1 - self.some) * healthy + 1e-300
        altered = self.some * there * other / total
        self.some *= mixed / total
        tells = abs(other - healthy) / (other + healthy + 1e-300)
        self.could, self.showed = self.could + tells, self.showed + tells * altered
        return total, altered


def weigh_undescribed(table: Table, guesses: Guesses, answers: Sequence[Known]) -> Undescribed:
    """What the answers say of "not described". They are gone through in the order of their ids, looks last."""
    order = sorted(range(len(answers)), key=lambda i: (answers[i].choice >= 0, answers[i].check.id))
    each, altered = np.zeros(len(answers)), np.zeros(len(answers))
    chain = Chain(1, len(answers), table.unknowns.count)
    states: dict[str, State] = {}
    before: dict[str, tuple[float, float]] = {}
    for i in order:
        known = answers[i]
        state = states.setdefault(known.check.setup.key, State())
        if known.choice >= 0:
            chances = answer_chances(table, known.check, guesses.mistakes.wrong_look.value)[0]
            density, altered[i] = state.take(float(chances[known.choice]), 1 / len(chances))
        else:
            healthy, parts = _as_healthy(table, known, chain)
            first = before.get(known.check.first_id)
            if first is None:
                density, altered[i] = state.take(healthy, _anything(known, None))
            else:  # the same place again tells nothing new of how much is altered
                other = first[1] * _anything(known, first)
                density = other + (1 - first[1]) * healthy + 1e-300
                altered[i] = other / density
            chain.take(parts, np.array([altered[i] < 0.5]))
            before[known.check.first_id] = (known.value, altered[i])
        each[i] = np.log(density)
    return Undescribed(each, altered, chain.arranged([i for i in order if answers[i].choice < 0]), states, before)


def to_repeat(belief: Belief) -> list[Check]:
    """The readings that no healthy circuit shows, to be taken anew: an added wire shows the same again, a slip does
    not."""
    if belief.other is None:
        return []
    pairs = zip(belief.evidence, belief.other.altered, strict=True)
    return [known.check.repeated() for known, altered in pairs
            if altered > 0.5 and not known.check.again and known.check.first_id in belief.table.column]  # fmt: skip


def _as_healthy(table: Table, known: Known, chain: Chain) -> tuple[float, tuple[Floats, ...]]:
    """Density of a reading in the healthy circuit, given those before it."""
    p = table.predict_in(known.check, np.zeros(1, dtype=np.int64))
    ln_p, parts = chain.ahead(known.value - p.mean, p.slope, np.square(p.noise) + known.sigma**2)
    density = float(np.exp(ln_p[0]))
    if p.floats[0] and not known.check.is_ohms:  # what floats may as well read nothing
        density = (density + _bell(known.value, 0.0, NIL_V)) / 2
    return density, parts


def _anything(known: Known, before: tuple[float, float] | None) -> float:
    """Density of a reading that is altered."""
    likely = list(LIKELY_LN_OHM if known.check.is_ohms else LIKELY_V[: 1 if known.check.wire else 2])
    wide = (1 - LIKELY_SHARE * len(likely)) * flat_density(known.check)
    wide += LIKELY_SHARE * sum(_bell(known.value, mean, float(np.hypot(s, known.sigma))) for mean, s in likely)
    if before is None:
        return wide
    same = _bell(known.value, before[0], float(np.hypot(SAME_V, known.sigma)))
    return SAME_SHARE * same + (1 - SAME_SHARE) * wide


def _bell(value: float, mean: float, sigma: float) -> float:
    return float(np.exp(-0.5 * ((value - mean) / sigma) ** 2) / (sigma * np.sqrt(2 * np.pi)))


# ---- what does not fit, and what to look for


@dataclass(frozen=True)
class Misfit:
    """An answer that the healthy circuit does not give; `looks_like` is a key of LOOK_FOR."""

    known: Known
    looks_like: str


LOOK_FOR = {
    "live": "another feed joined on there: a splice, a diode, a second switch or relay",
    "dead": "something that opens on the way to it: an added switch, relay or cut-off",
    "low": "something in line with it: a diode, a resistor wire, an added plug",
    "between": "another load or coil joined on, through which it is fed or grounded",
    "joined": "a way to ground or between wires that the file lacks: a splice, another load",
    "acts": "another relay layout, or wires on other numbers than the file says",
}
"""What each kind of misfit speaks for, in the words of the trade (common practice, no source)."""

LIVE_V, DEAD_V, IN_LINE_V = 6.0, 1.0, 3.0
"""Volts from which a point is live, under which it is dead, and that something in line takes at most (invented)."""


def misfits(belief: Belief) -> list[Misfit]:
    """The answers that no healthy circuit gives: what is to be explained by something that the file lacks."""
    if belief.other is None:
        return []
    pairs = zip(belief.evidence, belief.other.altered, strict=True)
    return [Misfit(known, _looks_like(belief.table, known)) for known, altered in pairs if altered > 0.5]


def _looks_like(table: Table, known: Known) -> str:
    if known.choice >= 0:
        return "acts"
    healthy = float(table.predict_in(known.check, np.zeros(1, dtype=np.int64)).mean[0])
    now, then = known.value, healthy
    if known.check.is_ohms:
        return "joined" if now < then else "dead"
    now, then = abs(now), abs(then)
    if then < LIVE_V:
        return "live" if now > LIVE_V else "between"
    if now < DEAD_V:
        return "dead"
    return "low" if then - IN_LINE_V < now < then else "between"
