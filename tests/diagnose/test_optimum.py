"""The decision table, the rollout and the exact optimum: against brute force, and against cases with known answers."""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest

from troubleshoot.circuit.cost import Stand
from troubleshoot.diagnose.belief import prior_of
from troubleshoot.diagnose.bounds import Bounds
from troubleshoot.diagnose.decision import GAP_SIGMAS, DecisionTable, bands_of, decide, tidied
from troubleshoot.diagnose.optimum import Search, cuts_of, find_optimum, worth_while
from troubleshoot.diagnose.reason import Reasoner
from troubleshoot.diagnose.rollout import Plan, Rollout, State, walked_s

TABLES = 200


def random_table(seed: int, setups: bool) -> DecisionTable:
    """A small table; with `setups`, readiness costs what it takes to get from one of some stands to another."""
    rng = np.random.default_rng(seed)
    n, checks, stands = int(rng.integers(3, 8)), int(rng.integers(3, 8)), int(rng.integers(2, 5)) if setups else 1
    outcome = rng.integers(0, rng.integers(2, 4), (checks, n))
    outcome = np.concatenate([outcome, np.arange(n)[None, :] == rng.integers(0, n, (2, 1))]).astype(np.int64)
    after = rng.integers(0, stands, len(outcome))
    change = rng.uniform(0, 30, (stands, stands)) * (1 - np.eye(stands))
    return tidied(
        DecisionTable(
            weight=rng.dirichlet(np.full(n, 0.7)),
            group=rng.integers(0, n, n),
            outcome=outcome,
            act_s=rng.lognormal(3, 0.6, len(outcome)),
            change_s=change[:, after],
            after=after,
        )
    )


def brute_force(table: DecisionTable, cells: frozenset[int], stand: int, memo: dict[object, float]) -> float:
    """Least expected seconds times weight, by trying everything."""
    if len({int(table.group[i]) for i in cells}) < 2:
        return 0.0
    if (cells, stand) not in memo:
        best = np.inf
        for check, row in enumerate(table.outcome):
            parts = [frozenset(i for i in cells if row[i] == band) for band in {row[i] for i in cells}]
            if len(parts) > 1:
                own = float(table.weight[list(cells)].sum() * (table.change_s[stand, check] + table.act_s[check]))
                after = int(table.after[check])
                best = min(best, own + sum(brute_force(table, part, after, memo) for part in parts))
        memo[cells, stand] = best
    return memo[cells, stand]


def random_plan(table: DecisionTable, seed: int) -> Plan:
    """Any check that parts the cells, in every state."""
    rng = np.random.default_rng(seed)
    choice: dict[State, int] = {}
    waiting = [(table.everything, table.start)]
    while waiting:
        alive, stand = waiting.pop()
        if not table.is_done(alive):
            parting = [k for k, bands in enumerate(table.bands) if sum(bool(alive & band) for band in bands) > 1]
            choice[alive, stand] = int(rng.choice(parting))
            waiting += Rollout(table).after((alive, stand), choice[alive, stand])
    return Plan(choice, walked_s(table, choice, (table.everything, table.start)))


def random_tables(setups: bool) -> Iterator[tuple[DecisionTable, float, dict[object, float]]]:
    """Tables with something to find out, their optimum, and that of all their states."""
    found = 0
    for seed in itertools.count():
        table = random_table(seed, setups)
        if np.unique(table.group).size > 1:
            memo: dict[object, float] = {}
            yield table, brute_force(table, frozenset(range(table.weight.size)), table.start, memo), memo
            found += 1
        if found == TABLES:
            return


@pytest.mark.parametrize("setups", [False, True])
def test_the_optimum_is_what_trying_everything_finds(setups: bool) -> None:
    dearer = 0
    for number, (table, best, _) in enumerate(random_tables(setups)):
        # told of no better policy than a dear one, it must find the best by itself
        told = random_plan(table, number)
        dearer += told.cost_s > 1.01 * best
        for found in (find_optimum(table), find_optimum(table, incumbent=told),
                      find_optimum(table, incumbent=Plan({}, 3 * best))):  # fmt: skip
            assert found.is_proved
            assert found.plan.cost_s == pytest.approx(best, rel=1e-9)
            assert found.bound_s == pytest.approx(best, rel=1e-7)
            assert found.plan.under(table) == pytest.approx(found.plan.cost_s, rel=1e-12)
    assert dearer > TABLES / 2, "the policies told were none to improve on"


@pytest.mark.parametrize("setups", [False, True])
def test_a_whole_costs_at_least_what_its_parts_cost_however_it_is_cut(setups: bool) -> None:
    rng = np.random.default_rng(0)
    for table, _, memo in random_tables(setups):
        for (cells, stand), value in list(memo.items()):  # type: ignore[misc]
            side = {i: bool(rng.integers(2)) for i in cells}
            parts = [frozenset(i for i in cells if side[i] == which) for which in (False, True)]
            assert sum(brute_force(table, part, stand, memo) for part in parts) <= value * (1 + 1e-9)


@pytest.mark.parametrize("setups", [False, True])
def test_no_bound_is_above_the_optimum_and_no_rollout_below(setups: bool) -> None:
    for table, best, memo in random_tables(setups):
        bounds = Bounds(table)
        for (cells, stand), value in memo.items():  # type: ignore[misc]
            assert bounds.low(sum(1 << i for i in cells), stand) <= value * (1 + 1e-9)
        base, rollout = Rollout(table).base_plan(), Rollout(table).plan()
        assert best * (1 - 1e-9) <= rollout.cost_s <= base.cost_s * (1 + 1e-9)
        assert rollout.under(table) == pytest.approx(rollout.cost_s, rel=1e-12)


@pytest.mark.parametrize("share", [0.8, 1.5])
def test_what_is_proved_from_one_stand_is_not_too_much_from_another(share: float) -> None:
    proved = 0
    for table, best, memo in random_tables(setups=True):
        search, first = Search(table, 10**9, cuts_of(table, random_plan(table, 0))), Bounds(table)
        search.settle((table.everything, table.start), share * best)
        for (cells, stand), value in memo.items():  # type: ignore[misc]
            alive = sum(1 << i for i in cells)
            low = search.low((alive, stand))
            assert low <= value * (1 + 1e-9)
            proved += low > first.low(alive, stand) * (1 + 1e-6)
    assert proved > TABLES, "hardly a bound was raised"


def test_however_small_the_budget_no_dearer_policy_is_called_the_optimum() -> None:
    for number, (table, best, _) in enumerate(random_tables(setups=True)):
        told = replace(random_plan(table, number), cost_s=3 * best)
        found = find_optimum(table, budget=1 + number % 12, incumbent=told)
        assert found.bound_s <= best * (1 + 1e-9)
        assert not found.is_proved or found.plan.cost_s == pytest.approx(best, rel=1e-9)


@pytest.mark.parametrize("setups", [False, True])
def test_a_check_left_out_as_beaten_is_never_missed(setups: bool) -> None:
    left_out = 0
    for table, best, _ in random_tables(setups):
        kept = worth_while(table)
        left_out += table.act_s.size - kept.size
        fewer = table.with_checks(kept)
        assert brute_force(fewer, frozenset(range(table.weight.size)), 0, {}) == pytest.approx(best, rel=1e-12)
    assert left_out > TABLES / 10, "the tables gave nothing to leave out"


def larger_table(seed: int = 3) -> DecisionTable:
    """Twenty cells, forty checks, three stands: enough to run out of budget."""
    rng = np.random.default_rng(seed)
    after = rng.integers(0, 3, 40)
    change = np.array([[0, 9, 30], [9, 0, 25], [30, 25, 0.0]])
    return tidied(
        DecisionTable(rng.dirichlet(np.ones(20)), np.arange(20), (rng.random((40, 20)) < 0.2).astype(np.int64),
                      rng.uniform(20, 60, 40), change[:, after], after)
    )  # fmt: skip


def test_with_a_small_budget_the_gap_is_proved_and_two_runs_say_the_same() -> None:
    table = larger_table()
    optimum = find_optimum(table)
    bounds = []
    for budget in (1, 30, 100):
        first, second = find_optimum(table, budget), find_optimum(table, budget)
        assert (first.plan, first.bound_s, first.looked_at) == (second.plan, second.bound_s, second.looked_at)
        assert first.looked_at <= budget + 40
        assert first.bound_s <= optimum.plan.cost_s * (1 + 1e-9) <= first.plan.cost_s * (1 + 2e-9)
        bounds.append(first.bound_s)
    assert not find_optimum(table, 30).is_proved
    assert bounds == sorted(bounds)


@pytest.mark.parametrize("seed", range(4))
def test_cutting_sets_of_cells_up_does_not_change_the_optimum(seed: int) -> None:
    table = larger_table(seed)
    cut, whole = find_optimum(table), find_optimum(table, incumbent=Plan({}, Rollout(table).plan().cost_s))
    assert cut.is_proved
    assert whole.is_proved
    assert cut.plan.cost_s == pytest.approx(whole.plan.cost_s, rel=1e-9)


def test_the_bound_is_not_asked_of_a_search_that_ends_before_one_group_is_left() -> None:
    with pytest.raises(ValueError, match=r"0\.9"):
        find_optimum(replace(larger_table(), sure=0.9))


def test_a_rollout_out_of_budget_still_answers_and_more_budget_is_no_worse_here() -> None:
    table = larger_table()
    costs = [Rollout(table, budget).plan().cost_s for budget in (1, 60, 10**9)]
    assert costs[0] >= costs[1] >= costs[2]
    assert Rollout(table, 60).plan() == Rollout(table, 60).plan()


@pytest.mark.parametrize("seed", range(3))
def test_a_hedged_choice_is_cheaper_when_every_weight_is_far_out_and_hardly_dearer_else(seed: int) -> None:
    rng = np.random.default_rng(seed)
    believed, hedged, over = [], [], []
    for number in range(12):
        table = larger_table(100 * seed + number)
        best = Rollout(table).plan().cost_s
        over.append(Rollout(table.hedged()).plan().under(table) / best)
        wrong = table.reweighted(table.weight * 5.0 ** rng.choice([-1, 1], table.weight.size))
        believed.append(Rollout(wrong).plan().under(table) / best)
        hedged.append(Rollout(wrong.hedged()).plan().under(table) / best)
    assert np.mean(hedged) < np.mean(believed)
    assert np.mean(over) < 1.02


# ---- cases with known answers


def unit_table(weight: list[float], outcome: list[list[int]], act_s: list[float] | None = None,
               group: list[int] | None = None) -> DecisionTable:  # fmt: skip
    """A table of constant costs, one second each by default, each cell its own group by default."""
    rows = np.array(outcome)
    zeros = np.zeros(len(rows))
    return tidied(
        DecisionTable(np.array(weight) / sum(weight), np.array(group or range(len(weight))), rows,
                      np.array(act_s) if act_s else zeros + 1.0, zeros[None, :], zeros.astype(np.int64))
    )  # fmt: skip


@pytest.mark.parametrize("seed", range(8))
def test_independent_parts_are_tested_in_the_order_of_probability_over_cost(seed: int) -> None:
    """One test a suspect and "nothing wrong" besides: p/c is the optimal order (Kadane & Simon 1977, from memory)."""
    rng = np.random.default_rng(seed)
    p, seconds = rng.dirichlet(np.ones(7)), rng.uniform(10, 90, 6)
    table = unit_table(p.tolist(), [[int(i == k) for i in range(7)] for k in range(6)], seconds.tolist())
    order = sorted(range(6), key=lambda k: -p[k] / seconds[k])
    spent, expected = 0.0, 0.0
    for k in order:
        spent += seconds[k]
        expected += p[k] * spent
    expected += p[6] * spent
    found = find_optimum(table).plan
    assert found.cost_s == pytest.approx(expected, rel=1e-9)
    asked, alive = [], table.everything
    while not table.is_done(alive):
        check = found.choice[alive, 0]
        asked.append(int(np.flatnonzero(table.outcome[check] == table.outcome[check][order[len(asked)]])[0]))
        alive &= ~(1 << order[len(asked) - 1])
    assert asked == order


@pytest.mark.parametrize("seed", range(4))
def test_with_every_yes_or_no_question_the_optimum_is_huffmans(seed: int) -> None:
    """Huffman 1952: the least expected number of yes-or-no questions."""
    weight = np.random.default_rng(seed).dirichlet(np.full(7, 0.6)).tolist()
    heap, expected = list(weight), 0.0
    heapq.heapify(heap)
    while len(heap) > 1:
        both = heapq.heappop(heap) + heapq.heappop(heap)
        expected += both
        heapq.heappush(heap, both)
    questions = [[number >> i & 1 for i in range(7)] for number in range(1, 64)]
    assert find_optimum(unit_table(weight, questions)).plan.cost_s == pytest.approx(expected, rel=1e-9)


def test_one_heavy_coin_among_eight_takes_two_weighings() -> None:
    """Three outcomes a weighing: by Kraft's inequality not under 2 for eight (3 coins against 3, then 1 against 1)."""
    weighings = []
    for count in range(1, 5):
        for left in itertools.combinations(range(8), count):
            rest = [c for c in range(8) if c not in left]
            weighings += [
                [1 if c in left else 2 if c in right else 0 for c in range(8)]
                for right in itertools.combinations(rest, count)
                if left < right
            ]
    table = unit_table([1.0] * 8, weighings)
    assert find_optimum(table).plan.cost_s == pytest.approx(2.0)
    assert Rollout(table).plan().cost_s == pytest.approx(2.0)


def test_a_question_of_which_one_answer_may_be_wrong_is_asked_until_two_agree() -> None:
    """Two coins, three askings, at most one of them answered wrongly, each with r: 2 + 2r askings are the least."""
    r = 0.1
    lies = [(coin, lie) for coin in (0, 1) for lie in (None, 0, 1, 2)]
    weight = [0.5 * ((1 - 3 * r) if lie is None else r) for _, lie in lies]
    askings = [[coin ^ (lie == asking) for coin, lie in lies] for asking in range(3)]
    table = unit_table(weight, askings, group=[coin for coin, _ in lies])
    assert find_optimum(table).plan.cost_s == pytest.approx(2 + 2 * r)


def minimal_diagnoses() -> dict[frozenset[str], tuple[int, int, int]]:
    """Of three multipliers and two adders, with the values at X, Y, Z that each implies.

    X = 3·2 (M1), Y = 2·3 (M2), Z = 2·3 (M3); A1 adds X and Y and reads 10, A2 adds Y and Z and reads 12.
    """
    laws = {"M1": ([1, 0, 0], 6), "M2": ([0, 1, 0], 6), "M3": ([0, 0, 1], 6), "A1": ([1, 1, 0], 10),
            "A2": ([0, 1, 1], 12)}  # fmt: skip
    found: dict[frozenset[str], tuple[int, int, int]] = {}
    for size in range(6):
        for bad in map(frozenset, itertools.combinations(laws, size)):
            rows, values = (
                zip(*(law for part, law in laws.items() if part not in bad), strict=True) if size < 5 else ((), ())
            )
            if any(smaller <= bad for smaller in found) or not rows:
                continue
            xyz, _, rank, _ = np.linalg.lstsq(np.array(rows, float), np.array(values, float), rcond=None)
            if np.allclose(np.array(rows) @ xyz, values):
                assert rank == 3
                found[bad] = tuple(np.rint(xyz).astype(int).tolist())
    return found


def test_five_components_have_four_minimal_diagnoses_and_x_is_probed_first() -> None:
    """de Kleer & Williams 1987, "Diagnosing multiple faults" (from memory): minimal diagnoses [A1], [M1], [M2 A2]
    and [M2 M3] after F = 10 and G = 12; with parts that fail alike and seldom, X is the best place to probe."""
    found = minimal_diagnoses()
    assert set(found) == {frozenset(s.split()) for s in ("A1", "M1", "M2 A2", "M2 M3")}
    table = unit_table([0.01 ** len(bad) for bad in found], np.array(list(found.values())).T.tolist())
    first = (table.everything, 0)
    x_first = table.outcome[find_optimum(table).plan.choice[first]].tolist()
    assert x_first == [0 if values[0] == 6 else 1 for values in found.values()] or x_first == [
        1 if values[0] == 6 else 0 for values in found.values()
    ]
    assert Rollout(table).plan().choice[first] == find_optimum(table).plan.choice[first]


# ---- from a circuit


def test_bands_end_where_there_is_a_gap_of_three_sigmas() -> None:
    value, sigma = np.array([0.0, 0.1, 5.0, 5.25, 12.0]), np.array([0.05, 0.05, 0.1, 0.1, 0.2])
    assert bands_of(value, sigma).tolist() == [0, 0, 1, 1, 2]
    rng = np.random.default_rng(0)
    value, sigma = rng.uniform(0, 12, 40), rng.uniform(0.01, 0.2, 40)
    band = bands_of(value, sigma)
    order = np.argsort(value)
    apart = (np.diff(value[order]) > GAP_SIGMAS / 2 * (sigma[order][1:] + sigma[order][:-1]))[np.diff(band[order]) > 0]
    assert apart.all()
    assert apart.size > 3


@pytest.mark.parametrize(("severities", "tolerances"), [(1, 1), (2, 1), (2, 3)])
def test_a_circuits_decision_table_can_be_worked_to_the_end(
    reasoner: Reasoner, severities: int, tolerances: int
) -> None:
    prior = prior_of(reasoner.table, reasoner.guesses)
    table = decide(reasoner.table, reasoner.guesses, prior, reasoner.group_of, reasoner.checks, Stand(), severities,
                   tolerances)  # fmt: skip
    assert table.weight.sum() == pytest.approx(1.0)
    assert table.weight.min() > 0
    assert table.lost < 0.08
    assert np.unique(table.outcome.T, axis=0).shape[0] == table.weight.size, "two cells behave alike on all checks"
    plan = Rollout(table).plan()
    assert 60 < plan.cost_s < 900, "seconds to a verdict"
    assert Rollout(table).base_plan().cost_s >= plan.cost_s * (1 - 1e-9)


def test_going_there_costs_what_it_costs_from_where_one_stands(reasoner: Reasoner) -> None:
    prior = prior_of(reasoner.table, reasoner.guesses)
    here = decide(reasoner.table, reasoner.guesses, prior, reasoner.group_of, reasoner.checks, Stand())
    readings = [check for check in reasoner.checks if check.kind == "reading" and check.setup.key == "on"]
    there = Stand(readings[0].setup, readings[0].place)
    away = decide(reasoner.table, reasoner.guesses, prior, reasoner.group_of, reasoner.checks, there)
    column_here, column_away = here.checks.index(readings[0].id), away.checks.index(readings[0].id)
    assert here.change_s[here.start, column_here] == reasoner.guesses.costs.turn_key.value
    assert away.change_s[away.start, column_away] == 0
