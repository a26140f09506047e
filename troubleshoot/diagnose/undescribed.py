"""Something that the circuit file does not describe: how well it explains the answers, what does not fit, what to
look for.

An added switch or splice alters some readings and leaves the rest as in a healthy circuit. So each answer is either as
the healthy circuit gives it, conditional on those before it, or anything that such wiring shows: about nothing, about
battery volts, or between. In some key states nothing is altered, in others all is as at work though it should not be,
in the rest how many are is not known (what shows while cranking may show in nothing that is read at on); the same
reading taken again is altered the same way, and often so in another key state. How a load works is mostly altered,
since the car was brought for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.diagnose.chain import Chain
from troubleshoot.diagnose.evidence import OVER_LIMIT_LN, OVER_LIMIT_SIGMA, Known
from troubleshoot.diagnose.slips import flat_density
from troubleshoot.expect.cells import NOT_DESCRIBED, NOTHING_WRONG
from troubleshoot.expect.prediction import Prediction
from troubleshoot.expect.seen import answer_chances
from troubleshoot.expect.sides import Sides
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

AT_LOADS = 0.7
AT_GROUND = 0.2
"""How likely it is that a load works otherwise, where anything is altered, and that its volts are, in the key state
that it was brought for; and how much less a reading at ground shows, which no added feed lifts (invented)."""

SHOWS_IN = {"dead-while-cranking": "cranking", "runs-key-off": "off"}
"""The key state that a complaint tells of."""

SOME, AT_WORK = 0.8, 0.1
WORKS = 0.95
"""How likely anything is altered in a key state, and that all is as at work, save for so many readings (invented)."""

SAME_V = 0.05
SAME_SHARE = 0.9
ELSEWHEN = 0.5
"""How near a reading that is altered comes to what it was when it is taken again, and how often; and how often it does
in another key state (invented)."""

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
    is altered. `fed`: the feed pins of the loads; `shows_in`: the key state that they were brought for, "" for none."""

    each: Floats
    altered: Floats
    joint: tuple[Floats, Floats, Floats]
    states: dict[str, State]
    before: dict[str, tuple[float, float]]
    at_ground: frozenset[str]
    fed: frozenset[str]
    shows_in: str

    def alters(self, check: Check) -> float:
        """Chance that the next answer is altered and shows it."""
        state = self.states.get(check.setup.key, State())
        alters = (
            self.before[check.first_id][1]
            if check.first_id in self.before
            else state.alters(_is_of_load(check, self.fed, self.shows_in))
        )
        if check.red in self.at_ground and check.black in self.at_ground:
            alters *= AT_GROUND
        return float(np.clip(alters, 0.01, 0.99))

    def shows(self, check: Check) -> tuple[float, float]:
        """Mean and sigma of a reading that is altered."""
        if check.first_id in self.before:
            return self.before[check.first_id][0], SAME_V
        return ANYTHING_LN_OHM if check.is_ohms else ANYTHING_V


def _at_ground(table: Table) -> frozenset[str]:
    """The places at ground through wires alone."""
    kept, network = table.network.__dict__, table.network
    if "_at_ground" not in kept:
        contacts = frozenset(b.name for b in network.branches if b.name.endswith((".contact", ".driver")))
        kept["_at_ground"] = frozenset(Sides(network, contacts).grounded)
    return kept["_at_ground"]  # type: ignore[no-any-return]


def _fed(table: Table) -> frozenset[str]:
    """The pins of the loads that are not at ground through wires alone."""
    kept, network = table.__dict__, table.network
    if "_fed" not in kept:
        at_ground, loads = _at_ground(table), network.circuit.loads
        kept["_fed"] = frozenset(p.node for p in network.points if p.part in loads and p.node not in at_ground)
    return kept["_fed"]  # type: ignore[no-any-return]


def _is_of_load(check: Check, fed: frozenset[str], shows_in: str) -> bool:
    """Whether an answer is how a load works, with nothing unplugged, or the volts at its feed in the key state that it
    was brought for."""
    if check.kind == "reading":  # the highest over a turn of the key may be of before it
        return check.setup.key == shows_in and check.function in ("volts", "volts_min") and check.red in fed
    return check.about.partition(":")[0] in ("runs", "flows") and not check.setup.removed


@dataclass
class State:
    """A key state: `some` is the probability that anything is altered in it, `works` that all is as at work; of `could`
    answers that would tell, `showed` were altered."""

    some: float = SOME
    works: float = AT_WORK
    could: float = 0.0
    showed: float = 0.0

    def alters(self, of_load: bool = False) -> float:
        """Chance that the next answer is altered, not as at work; `of_load` where it is how a load works."""
        return self.some * self.there(of_load)

    def there(self, of_load: bool) -> float:
        """The same, where something is altered in this key state."""
        return AT_LOADS if of_load else (FEW[0] + self.showed) / (sum(FEW) + self.could)

    def take(
        self, healthy: float, other: float, working: float | None = None, of_load: bool = False
    ) -> tuple[float, float, float]:  # fmt: skip
        """Takes an answer with its densities as healthy, altered, and as at work where that is told apart. Returns its
        density, how probably it is altered, and how probably all is as at work."""
        there = self.there(of_load)
        mixed = there * other + (1 - there) * healthy
        as_at_work = healthy if working is None else WORKS * working + (1 - WORKS) * other
        none = 1 - self.some - self.works
        total = self.some * mixed + self.works * as_at_work + none * healthy + 1e-300
        altered = self.some * there * other / total
        works = self.works * as_at_work / total
        self.some, self.works = self.some * mixed / total, works
        if not of_load:
            tells = abs(other - healthy) / (other + healthy + 1e-300)
            self.could, self.showed = self.could + tells, self.showed + tells * altered
        return total, altered + works * max(0.0, 1 - healthy / (as_at_work + 1e-300)), works


def weigh_undescribed(
    table: Table, guesses: Guesses, answers: Sequence[Known], brought: str = ""
) -> Undescribed:  # fmt: skip
    """What the answers say of "not described" in a car brought with this complaint ("" for none). They are gone through
    in the order of their ids, looks last."""
    fed, shows_in = _fed(table), SHOWS_IN.get(brought, "")
    order = sorted(range(len(answers)), key=lambda i: (answers[i].choice >= 0, answers[i].check.id))
    each, altered = np.zeros(len(answers)), np.zeros(len(answers))
    chain = Chain(1, len(answers), table.unknowns.count)
    states: dict[str, State] = {}
    before: dict[str, tuple[float, float]] = {}
    spots: dict[tuple[str, str, str], float] = {}
    for i in order:
        known = answers[i]
        check = known.check
        works = 0.0 if check.setup.key == table.working.key else AT_WORK
        state = states.setdefault(check.setup.key, State(works=works))
        if known.choice >= 0:
            chances, others = (_chances(table, guesses, one) for one in (check, _at_work(table, check)))
            own, so = chances[known.choice], others[known.choice]
            density, altered[i], _ = state.take(own, 1 / len(chances), so, _is_of_load(check, fed, shows_in))
        else:
            healthy, parts = _as_healthy(table, known, chain, check)
            first, spot = before.get(check.first_id), (check.red, check.black, check.function)
            if first is None:
                working, at_work = _as_healthy(table, known, chain, _at_work(table, check))
                other = _again(known, spots[spot], ELSEWHEN) if spot in spots else _anything(known)
                density, altered[i], works = state.take(healthy, other, working, _is_of_load(check, fed, shows_in))
                if works > 0.5:
                    parts = at_work
            else:  # the same place again tells nothing new of how much is altered
                works, other = 0.0, first[1] * _again(known, first[0], SAME_SHARE)
                density = other + (1 - first[1]) * healthy + 1e-300
                altered[i] = other / density
            chain.take(parts, np.array([altered[i] < 0.5 or works > 0.5]))
            before[check.first_id] = (known.value, altered[i])
            if altered[i] > 0.5:
                spots[spot] = known.value
        each[i] = np.log(density)
    joint = chain.arranged([i for i in order if answers[i].choice < 0])
    return Undescribed(each, altered, joint, states, before, _at_ground(table), fed, shows_in)


def _at_work(table: Table, check: Check) -> Check:
    """The same check as it is made with the key where the loads work; of looks those alone with nothing unplugged."""
    if check.is_ohms or check.is_held or check.setup.key == table.working.key or (check.about and check.setup.removed):
        return check
    return replace(check, id=f"{check.first_id} as at work", setup=replace(check.setup, key=table.working.key))


def _chances(table: Table, guesses: Guesses, check: Check) -> list[float]:
    return answer_chances(table, check, guesses.mistakes.wrong_look.value)[0].tolist()  # type: ignore[no-any-return]


def to_repeat(belief: Belief) -> list[Check]:
    """The readings that no healthy circuit shows, to be taken anew: an added wire shows the same again, a slip does
    not."""
    if belief.other is None:
        return []
    pairs = zip(belief.evidence, belief.other.altered, strict=True)
    return [known.check.repeated() for known, altered in pairs
            if altered > 0.5 and not known.check.again and known.check.first_id in belief.table.column]  # fmt: skip


def _healthy(table: Table, check: Check) -> Prediction:
    """What the healthy circuit makes of a reading; kept with the table."""
    kept = table.__dict__.setdefault("_healthy_reads", {})
    key = (check.red, check.black, check.wire, check.function, check.setup)
    if key not in kept:
        kept[key] = table.predict_in(check, np.zeros(1, dtype=np.int64))
    return kept[key]  # type: ignore[no-any-return]


def _as_healthy(table: Table, known: Known, chain: Chain, check: Check) -> tuple[float, tuple[Floats, ...]]:
    """Density of what was read in the healthy circuit where this check is made, given what was read before."""
    p = _healthy(table, check)
    ln_p, parts = chain.ahead(known.value - p.mean, p.slope, np.square(p.noise) + known.sigma**2)
    density = float(np.exp(ln_p[0]))
    if p.floats[0] and not known.check.is_ohms:  # what floats may as well be dry
        density = (density + float(p.dry_density(known.value, known.sigma)[0])) / 2
    return density, parts


def _anything(known: Known) -> float:
    """Density of a reading that is altered."""
    likely = list(LIKELY_LN_OHM if known.check.is_ohms else LIKELY_V[: 1 if known.check.wire else 2])
    wide = (1 - LIKELY_SHARE * len(likely)) * flat_density(known.check)
    return wide + LIKELY_SHARE * sum(_bell(known.value, mean, float(np.hypot(s, known.sigma))) for mean, s in likely)


def _again(known: Known, there: float, share: float) -> float:
    """The same where so much was read there before; `share`: how often it is the same again."""
    same = _bell(known.value, there, float(np.hypot(SAME_V, known.sigma)))
    return share * same + (1 - share) * _anything(known)


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


def stays_odd(belief: Belief) -> bool:
    """Whether a reading that no healthy circuit gives came out the same when it was taken again."""
    found = [misfit.known for misfit in misfits(belief) if misfit.known.choice < 0]
    first = {known.check.first_id: known.value for known in found if not known.check.again}
    return any(abs(known.value - first.get(known.check.first_id, np.inf)) < SAME_V * 3
               for known in found if known.check.again)  # fmt: skip


def is_told(belief: Belief, leads: str) -> bool:
    """Whether a verdict that this fault leads tells of something that the file lacks: it leads, or is not unlikely, or
    nothing is said to be wrong against a reading that stays odd."""
    if leads == NOT_DESCRIBED.name:
        return True
    beside = belief.p_cell[-1] > BESIDE and bool(misfits(belief))
    return bool(beside or (leads == NOTHING_WRONG.name and stays_odd(belief)))


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
