"""The belief, the choice and the solver on problems whose answer is in print, or is worked out by hand beside them."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from functools import cache

import numpy as np
import pytest
from by_hand import NOTHING, Tests, answered, guesses_with, hand_table, prior_of_cells, reasoner_of

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.cost import Stand
from troubleshoot.diagnose.belief import Belief, weigh
from troubleshoot.diagnose.choose import Choice, pick
from troubleshoot.diagnose.decision import DecisionTable, tidied
from troubleshoot.diagnose.optimum import find_optimum
from troubleshoot.diagnose.reason import SURE
from troubleshoot.diagnose.rollout import Rollout
from troubleshoot.expect.table import Table
from troubleshoot.solve.linear import Floats

NO_MISTAKE = 1e-15
"""Chance of a wrong answer where a textbook knows of none."""


def weighed(table: Table, wrong_look: float, said: dict[str, str]) -> Belief:
    return weigh(table, guesses_with(wrong_look), answered(table, said), prior_of_cells(table))


def first_pick(table: Table, belief: Belief, checks: Sequence[Check], wrong_look: float) -> Choice:
    """The check that the chooser takes; all cost the same."""
    guesses = guesses_with(wrong_look)
    chosen = pick(belief, reasoner_of(table, guesses).group_of, checks, guesses, Stand())
    assert chosen is not None
    return chosen


# ---- three multipliers and two adders: de Kleer & Williams 1987, "Diagnosing multiple faults", Artificial Intelligence
# 32:97-130 (from memory; that X parts the two single faults is also in the lecture notes "Knowledge Engineering" of
# the University of Edinburgh): A=3, B=2, C=2, D=3, E=3; X = A·C, Y = B·D, Z = C·E, F = X + Y, G = Y + Z.
# 12 is expected at F and at G; F = 10 and G = 12 are read. Minimal diagnoses: [A1], [M1], [A2 M2], [M2 M3].

PARTS = ("M1", "M2", "M3", "A1", "A2")
P_BAD = 0.01
PRODUCTS = (2, 4, 6, 8, 10)
SUMS = (8, 10, 12, 14, 16)
"""What a bad part may give, all alike: any of five values, the right one among them (invented)."""


def works_out(gives: Sequence[int | None]) -> dict[str, int]:
    """The five values, where a bad part gives what it gives; None: it is good."""
    x, y, z = (6 if given is None else given for given in gives[:3])
    f = x + y if gives[3] is None else gives[3]
    g = y + z if gives[4] is None else gives[4]
    return {"X": x, "Y": y, "Z": z, "F": f, "G": g}


@cache
def multipliers() -> Table:
    """A suspect for every set of bad parts, a cell for everything that they may give."""
    names, weights, rows = [], [], []
    for gives in itertools.product(*[(None, *PRODUCTS)] * 3, *[(None, *SUMS)] * 2):
        bad = [part for part, given in zip(PARTS, gives, strict=True) if given is not None]
        names.append("+".join(bad) or NOTHING)
        weights.append((1 - P_BAD) ** (5 - len(bad)) * (P_BAD / 5) ** len(bad))
        rows.append(works_out(gives))
    tests: Tests = {}
    for point in "XYZFG":
        values = sorted({row[point] for row in rows})
        chances = np.array([[float(row[point] == value) for value in values] for row in rows])
        tests = {**tests, point: ([str(value) for value in values], chances)}
    return hand_table(names, np.array(weights), tests)


def by_name(belief: Belief) -> dict[str, float]:
    return {name.removesuffix(":bad"): p for name, p in belief.p_fault.items()}


def minimal_diagnoses(belief: Belief) -> set[frozenset[str]]:
    """The sets of bad parts that are still possible and have no other within."""
    possible = [frozenset(name.split("+")) for name, p in by_name(belief).items() if p > 1e-9]
    return {one for one in possible if not any(other < one for other in possible)}


def sets(*names: str) -> set[frozenset[str]]:
    return {frozenset(name.split()) for name in names}


def test_five_components_leave_the_four_printed_diagnoses() -> None:
    belief = weighed(multipliers(), NO_MISTAKE, {"F": "10", "G": "12"})
    assert minimal_diagnoses(belief) == sets("A1", "M1", "A2 M2", "M2 M3")
    p = by_name(belief)
    assert p["A1"] == pytest.approx(p["M1"], rel=1e-9)
    assert p["M2+A2"] == pytest.approx(p["M2+M3"], rel=1e-9)
    # by hand: of [A1] one of five values fits, of [M2 M3] one of twenty-five, and one part more is bad
    assert p["A1"] / p["M2+M3"] == pytest.approx(5 * (1 - P_BAD) / P_BAD, rel=1e-9)


@pytest.mark.parametrize(("read", "left"), [("4", ("M1",)), ("6", ("A1", "A2 M2", "M2 M3"))])
def test_a_reading_at_x_leaves_what_it_must(read: str, left: tuple[str, ...]) -> None:
    """X = 4 is told by M1 alone; X = 6 clears it of F = 10."""
    belief = weighed(multipliers(), NO_MISTAKE, {"F": "10", "G": "12", "X": read})
    assert minimal_diagnoses(belief) == sets(*left)


def test_x_is_the_first_place_to_probe() -> None:
    table = multipliers()
    belief = weighed(table, NO_MISTAKE, {"F": "10", "G": "12"})
    inner = [check for check in table.checks if check.id in "XYZ"]
    chosen = first_pick(table, belief, inner, NO_MISTAKE)
    assert chosen.check.id == "X"
    # two suspects all but alone, alike: about one bit, and next to none at Y and Z
    assert chosen.nats == pytest.approx(np.log(2), abs=0.1)
    others = [first_pick(table, belief, [check], NO_MISTAKE).nats for check in inner if check.id != "X"]
    assert max(others) < 0.15


def test_the_program_as_a_whole_asks_for_x_too() -> None:
    """The reasoner with all its rules, the five values open to it, F and G answered."""
    table, guesses = multipliers(), guesses_with(NO_MISTAKE)
    evidence = answered(table, {"F": "10", "G": "12"})
    choice, _ = reasoner_of(table, guesses).next_choice(evidence, Stand(), prior=prior_of_cells(table))
    assert choice is not None
    assert choice.check.id == "X"


# ---- one fault, one perfect test of each part: in the order of p/c. Kadane & Simon 1977, "Optimal strategies for a
# class of constrained sequential problems", Annals of Statistics 5:237-255 (from memory).


def one_look_finds(p: Floats, seconds: Floats, part: Sequence[int]) -> DecisionTable:
    """Looks that each find what nothing else finds, with `p` of it, of a part each; "nothing wrong", of the p left."""
    count = seconds.size
    outcome = (np.arange(count)[:, None] == np.arange(count + 1)).astype(np.int64)
    group, nowhere = np.array([*part, max(part) + 1]), np.zeros(count, dtype=np.int64)
    return tidied(DecisionTable(np.append(p, 1 - p.sum()), group, outcome, seconds, np.zeros((1, count)), nowhere))


def in_order_s(p: Floats, seconds: Floats) -> float:
    """Expected seconds of the looks in the order of p/c, by hand."""
    order = np.argsort(-p / seconds)
    spent = np.cumsum(seconds[order])
    return float(p[order] @ spent + (1 - p.sum()) * spent[-1])


def drawn_parts(seed: int) -> tuple[Floats, Floats]:
    """Probabilities of four to nine parts, which leave something for "nothing wrong", and seconds."""
    rng = np.random.default_rng(seed)
    count = int(rng.integers(4, 10))
    return rng.dirichlet(np.ones(count + 1))[:-1], rng.uniform(10, 90, count)


@pytest.mark.parametrize("seed", range(20))
def test_in_the_order_of_probability_over_cost_nothing_is_cheaper(seed: int) -> None:
    p, seconds = drawn_parts(seed)
    optimum = find_optimum(one_look_finds(p, seconds, range(p.size)))
    assert optimum.is_proved
    assert optimum.plan.cost_s == pytest.approx(in_order_s(p, seconds), rel=1e-9)


def test_the_rollout_finds_the_order_of_probability_over_cost() -> None:
    """It starts from information a second, which is not p/c: that alone is 2.6 % dearer in the mean over these 200
    drawings, 28 % at worst."""
    base = []
    for seed in range(200):
        p, seconds = drawn_parts(seed)
        rollout, best = Rollout(one_look_finds(p, seconds, range(p.size))), in_order_s(p, seconds)
        assert rollout.plan().cost_s == pytest.approx(best, rel=1e-9)
        base.append(rollout.base_plan().cost_s / best)
    assert np.mean(base) > 1.02, "nothing was left to find"


# ---- tests that miss: a look finds the bad part only with `hit`. Best is always the look of the highest p·hit/c, p
# being what is left of the part after the looks that missed. Black 1965, "Discrete sequential search", Information and
# Control 8:159-162 (from memory).


@pytest.mark.parametrize("seed", range(10))
def test_looks_that_may_miss_are_best_by_what_they_find_over_cost(seed: int) -> None:
    """Three looks at each of three parts, which miss independently; what they all miss passes for nothing wrong."""
    rng = np.random.default_rng(seed)
    p, hit, seconds = rng.dirichlet(np.ones(4))[:3], rng.uniform(0.4, 0.9, 3), rng.uniform(10, 90, 3)
    found = (p * hit * (1 - hit) ** np.arange(3)[:, None]).ravel()  # by the first look at each part, the second ...
    table = one_look_finds(found, np.tile(seconds, 3), [0, 1, 2] * 3)
    optimum = find_optimum(table)
    assert optimum.is_proved
    assert optimum.plan.cost_s == pytest.approx(in_order_s(found, np.tile(seconds, 3)), rel=1e-9)


# ---- twenty questions with a liar. Halving what is believed is best for the entropy left, and each answer then tells
# ln 2 - h(e) nats, the capacity of a channel that errs with e: Jedynak, Frazier & Sznitman 2012, "Twenty questions with
# noise: Bayes optimal policies for entropy loss", Journal of Applied Probability 49:114-136 (from memory).

COINS = 20
ERRS = 0.15


def h(p: Floats | Sequence[float]) -> float:
    """Entropy in nats."""
    p = np.array(p)
    return float(-(p * np.log(p)).sum())


@cache
def twenty_coins() -> Table:
    """One coin is false; "is it among the first k?" for each k."""
    among = {f"first {k}": (np.arange(COINS) < k).astype(float) for k in range(1, COINS)}
    tests = {name: (("yes", "no"), np.stack([inside, 1 - inside], axis=1)) for name, inside in among.items()}
    return hand_table([f"coin {i}" for i in range(COINS)], np.ones(COINS), tests)


@pytest.mark.parametrize("seed", range(6))
def test_what_is_believed_is_halved_however_often_the_liar_has_spoken(seed: int) -> None:
    rng = np.random.default_rng(seed)
    table, said = twenty_coins(), {}
    # with a mistake any answer is given, the right one too
    wrong_look = 2 * ERRS
    for asked in range(6):
        belief = weighed(table, wrong_look, said)
        left = [check for check in table.checks if check.id not in said]
        chosen = first_pick(table, belief, left, wrong_look)
        shares = {check.id: float(belief.p_cell[: int(check.id.split()[1])].sum()) for check in left}
        assert abs(shares[chosen.check.id] - 0.5) == pytest.approx(min(abs(p - 0.5) for p in shares.values()), abs=1e-3)
        share = shares[chosen.check.id] * (1 - ERRS) + (1 - shares[chosen.check.id]) * ERRS
        assert chosen.nats == pytest.approx(h([share, 1 - share]) - h([ERRS, 1 - ERRS]), abs=2e-3)
        if not asked:
            assert chosen.check.id == "first 10"
            assert chosen.nats == pytest.approx(np.log(2) - h([ERRS, 1 - ERRS]), rel=1e-9)
        said[chosen.check.id] = str(rng.choice(["yes", "no"]))


def test_of_nine_coins_three_are_weighed_against_three_on_a_balance_that_errs_too() -> None:
    """By hand: with thirds all three answers are equally likely, and no weighing tells more than ln 3 - h(errors)."""
    wrong_look = 0.2
    tests = {}
    for each in range(1, 5):
        side = np.zeros(9, dtype=int)
        side[:each], side[each : 2 * each] = 1, 2
        tests[f"{each} against {each}"] = (("level", "left", "right"), np.eye(3)[side])
    table = hand_table([f"coin {i}" for i in range(9)], np.ones(9), tests)
    chosen = first_pick(table, weighed(table, wrong_look, {}), table.checks, wrong_look)
    assert chosen.check.id == "3 against 3"
    assert chosen.nats == pytest.approx(
        np.log(3) - h([1 - wrong_look * 2 / 3, wrong_look / 3, wrong_look / 3]), rel=1e-9
    )


# ---- two suspects, answers that err: stop when one leads by enough. Wald 1945 and Wald & Wolfowitz 1948 (from memory):
# no other rule that is as often right needs fewer answers. By the gambler's ruin, with a lead of d to reach and right
# answers of odds r = (1-e)/e: wrong with 1/(1 + r^d), and d/(1 - 2e)·(1 - 2/(1 + r^d)) answers.


def test_two_suspects_are_told_apart_in_as_many_answers_as_wald_says() -> None:
    errs, answers = 0.2, 20
    tests = {f"look {k}": (("yes", "no"), np.eye(2)) for k in range(answers)}
    table, guesses = hand_table([NOTHING, "fault"], np.ones(2), tests), guesses_with(2 * errs)
    reasoner, prior = reasoner_of(table, guesses), prior_of_cells(table)
    odds = (1 - errs) / errs
    lead = int(np.ceil(np.log(SURE / (1 - SURE)) / np.log(odds)))
    on, right, wrong, expected = {(0, 0): 1.0}, 0.0, 0.0, 0.0
    for asked in range(answers):
        ahead: dict[tuple[int, int], float] = {}
        for (yes, no), p in on.items():
            said = ["yes"] * yes + ["no"] * no
            evidence = answered(table, {f"look {k}": word for k, word in enumerate(said)})
            choice, belief = reasoner.next_choice(evidence, Stand(), prior=prior)
            assert belief.p_cell[0] == pytest.approx(odds**yes / (odds**yes + odds**no), rel=1e-9)
            assert (choice is None) == (abs(yes - no) == lead)
            if choice is None:
                right, wrong = right + p * (yes > no), wrong + p * (no > yes)
                expected += p * asked
                continue
            ahead[yes + 1, no] = ahead.get((yes + 1, no), 0.0) + p * (1 - errs)
            ahead[yes, no + 1] = ahead.get((yes, no + 1), 0.0) + p * errs
        on = ahead
    assert sum(on.values()) < 1e-2, "undecided after all answers"
    amiss = 1 / (1 + odds**lead)
    assert wrong / (right + wrong) == pytest.approx(amiss, rel=1e-9)
    assert expected == pytest.approx(lead / (1 - 2 * errs) * (1 - 2 * amiss), rel=0.02)
