"""A compiled tree: whole, safe, for whoever it is made for, and as good as it says.

Measured against cars that are sampled and read off, which know nothing of the compiler (`tree/prove.py`).
"""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from troubleshoot.circuit.cost import Stand, cost_s
from troubleshoot.diagnose.decision import left_by
from troubleshoot.diagnose.optimum import find_optimum
from troubleshoot.expect.cells import NOTHING_WRONG
from troubleshoot.expect.table import Table
from troubleshoot.files.guesses_file import load_guesses
from troubleshoot.session.ability import Can
from troubleshoot.session.compiling import Made, Order, keep, make
from troubleshoot.session.kept import reasoner_of, table_of
from troubleshoot.session.proving import prove_file
from troubleshoot.tree.chances import Chances
from troubleshoot.tree.compile import usable
from troubleshoot.tree.draft import UNFIT
from troubleshoot.tree.lookahead import Lookahead
from troubleshoot.tree.tree import NOT_DESCRIBED, Tree
from troubleshoot.tree.tree_file import read_tree
from troubleshoot.tree.walk import longest_way
from troubleshoot.tree.yardstick import Yardstick

NAME = "lamp"
TEXT = (Path(__file__).parent / f"{NAME}.yaml").read_text(encoding="utf-8")
FEW = 300
"""States that the exact solver may look at, to be quick."""
ENOUGH = 70_000
"""So many that it proves its optima."""


def made(text: str = TEXT, budget: int = FEW, **rest: object) -> Made:
    rest = {"patience": (5e-4, 1e-3), **rest}  # few, to be quick
    done = make(Order(text, NAME, budget=budget, **rest))  # type: ignore[arg-type]
    assert not done.problem
    return done


def written(folder: Path, done: Made, text: str = TEXT) -> Tree:
    """The tree as it is read back from its file."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "circuit.yaml").write_text(text, encoding="utf-8")
    keep(folder / "tree.yaml", done)
    return read_tree(folder)


@pytest.fixture(scope="module")
def lamp(tmp_path_factory: pytest.TempPathFactory) -> tuple[Tree, Made]:
    done = made()
    return written(tmp_path_factory.mktemp("trees") / NAME, done), done


@pytest.fixture(scope="module")
def lamp_table() -> Table:
    return table_of(TEXT, NAME, "")


def test_what_sampled_cars_find_is_what_the_tree_claims(lamp: tuple[Tree, Made]) -> None:
    tree, done = lamp
    proof, _, _ = prove_file(tree.file, cars=2, severities=4, seed=3)  # type: ignore[arg-type]
    assert proof.falls_short == ()
    assert not [finding for finding in proof.findings if finding.fails]
    assert proof.right > 0.95
    assert proof.minutes == pytest.approx(done.figures["expected_s"] / 60, rel=0.1)
    assert proof.over_bound is not None
    assert proof.worst_readings <= tree.claims.readings


def test_the_bound_is_told_with_how_far_the_tree_is_from_it() -> None:
    done = made(budget=ENOUGH)
    figures = done.figures
    assert figures["bound_is_optimum"]
    assert figures["bound_s"] > 0
    assert figures["gap"] == pytest.approx(figures["cost_s"] / figures["bound_s"] - 1, abs=2e-3)
    assert 0.8 < figures["told_apart"] <= 1.0
    # none undercuts the bound but by leaving groups together in a verdict
    assert figures["gap"] >= 0 or figures["told_apart"] < 1.0
    assert json.loads(done.certificate)["compiled"]["bound_s"] == figures["bound_s"]


def test_a_bound_that_is_the_optimum_is_what_the_solver_proves(lamp_table: Table) -> None:
    guesses = load_guesses()
    checks = usable(lamp_table.network.circuit, Can().allowed(lamp_table.network, lamp_table.checks))
    group_of = reasoner_of(lamp_table, guesses, checks).group_of[:-1]
    weight = lamp_table.weight / lamp_table.weight.sum()
    chances = Chances(lamp_table, checks, weight, group_of)
    yardstick = Yardstick.of(Lookahead(chances, guesses, weight, group_of, 1e-3), severities=1)
    table = yardstick.table
    optimum = find_optimum(table, 60_000)
    assert optimum.is_proved
    # the plan that is proved best follows its own cells to their ends at just that cost
    total = 0.0
    for cell, share in enumerate(table.weight.tolist()):
        alive, stand = table.everything, table.start
        while (check := optimum.plan.choice.get((alive, stand), -1)) >= 0:
            total += share * table.cost_s[stand, check]
            alive = next(part for band in table.bands[check] if (part := alive & band) >> cell & 1)
            stand = int(table.after[check])
        assert table.is_done(alive)
    assert total == pytest.approx(optimum.plan.cost_s)


def test_every_fault_that_reads_as_predicted_is_named_in_its_verdict(
    lamp: tuple[Tree, Made], lamp_table: Table
) -> None:
    tree = lamp[0]
    missed = 0.0
    for cell, name in enumerate(lamp_table.names):
        verdict = tree.verdicts[end_of(tree, lamp_table, cell)]
        missed += lamp_table.weight[cell] * (name not in verdict.suspects)
    assert missed < 0.02


def test_a_verdict_of_several_leads_on_to_what_tells_them_apart(lamp: tuple[Tree, Made]) -> None:
    tree, done = lamp
    further = [verdict for verdict in tree.verdicts.values() if verdict.tell_apart]
    assert further
    for verdict in further:
        behind = [*replace(tree, first=verdict.tell_apart).reached()]
        ends = [tree.verdicts[name] for name in behind if name in tree.verdicts and name != UNFIT]
        assert len(ends) > 1
        assert len(verdict.suspects) > 1
        assert any(set(verdict.suspects) - set(end.suspects) for end in ends)
        assert {suspect for end in ends for suspect in end.suspects} & set(verdict.suspects)
    assert "tell_apart" not in made(least="pages").tree
    assert "tell_apart" in done.tree


def end_of(tree: Tree, table: Table, cell: int) -> str:
    """Where a cell comes to when it answers what it predicts, by its own reckoning and not the compiler's."""
    from troubleshoot.expect.seen import answer_chances

    name = tree.first
    while tree.led_to(name):
        if name in tree.verdicts:
            name = tree.verdicts[name].tell_apart
            continue
        step = tree.steps[name]
        if step.check.kind == "observation":
            branch = step.of_answer(step.check.answers[int(answer_chances(table, step.check, 0.0)[cell].argmax())])
        else:
            mean = float(table.stack.mean[cell, table.column[step.check.id]])
            value = float(np.exp(mean) - 0.5) if step.check.is_ohms else mean
            branch = step.of_over_limit() if step.check.is_ohms and value > 40e6 else step.of_value(value)
        assert branch is not None
        name = branch.to
    return name


def test_branches_leave_no_gap_and_surprises_are_told(lamp: tuple[Tree, Made]) -> None:
    tree = lamp[0]
    for step in tree.steps.values():
        if step.check.kind == "observation":
            assert all(step.of_answer(answer) for answer in step.check.answers)
        else:
            values = (*np.linspace(-20, 20, 401), 1e3, 1e5, 1e7)
            assert all(sum(branch.takes(value) for branch in step.branches) == 1 for value in values)
            assert step.of_over_limit() or not step.check.is_ohms
    assert tree.verdicts[UNFIT].suspects == (NOT_DESCRIBED,)
    assert "fits nothing" in tree.verdicts[UNFIT].repair


def test_no_check_is_made_twice_on_a_way(lamp: tuple[Tree, Made]) -> None:
    tree = lamp[0]

    def walk(name: str, made: tuple[str, ...]) -> None:
        if name in tree.steps:
            check = tree.steps[name].check.id
            assert check not in made
            made = (*made, check)
        for to in set(tree.led_to(name)):
            walk(to, made)

    walk(tree.first, ())


def test_names_are_words_and_steps_come_before_what_they_lead_to(lamp: tuple[Tree, Made]) -> None:
    tree = lamp[0]
    assert all(re.fullmatch(r"\w+", name) for name in (*tree.steps, *tree.verdicts))
    order = list(tree.steps)
    for name in tree.steps:
        led_to = [on for to in tree.led_to(name) for on in ([to] if to in tree.steps else tree.led_to(to))]
        assert all(order.index(on) > order.index(name) for on in led_to)
    assert order[0] == tree.first


def test_a_verdict_says_how_a_repair_is_proved(lamp: tuple[Tree, Made]) -> None:
    faults = [v for v in lamp[0].verdicts.values() if v.suspects[0] not in (NOT_DESCRIBED, NOTHING_WRONG.name)]
    assert faults
    assert all(verdict.prove for verdict in faults)


def test_whoever_lacks_something_is_not_asked_for_it(tmp_path: Path) -> None:
    tree = written(tmp_path / NAME, made(can=("no ohms",)))
    assert tree.can == ("no ohms",)
    assert not any(step.check.is_ohms for step in tree.steps.values())
    with_ohms = Can().allowed(tree.network, table_of(TEXT, NAME, "").checks)
    assert any(check.is_ohms for check in with_ohms)  # or the test would prove nothing


def test_a_tree_after_a_complaint_does_not_ask_what_it_said(tmp_path: Path) -> None:
    tree = written(tmp_path / NAME, made(after="weak"))
    assert tree.after == "weak"
    working = table_of(TEXT, NAME, "").working
    assert not [s for s in tree.steps.values() if s.check.about.startswith("runs:") and s.check.setup == working]


@pytest.mark.parametrize("least", ["worst-time", "pages"])
def test_what_is_to_be_least_is_no_more_than_with_the_least_mean_time(lamp: tuple[Tree, Made], least: str) -> None:
    other = made(least=least).figures
    figure = {"worst-time": "longest_s", "pages": "steps"}[least]
    assert other[figure] <= lamp[1].figures[figure]


def test_the_longest_way_is_counted(lamp: tuple[Tree, Made]) -> None:
    tree = lamp[0]

    def count(name: str) -> int:
        return 1 + max(count(b.to) for b in tree.steps[name].branches) if name in tree.steps else 0

    assert longest_way(tree) == count(tree.first) == tree.claims.readings


def test_what_cannot_be_made_is_told() -> None:
    assert "'purple' is not understood" in make(Order(TEXT, NAME, can=("purple",))).problem
    assert "no complaint" in make(Order(TEXT, NAME, after="sulks")).problem
    assert "lamp.yaml" in make(Order("parts: {}", "lamp.yaml")).problem


def test_the_seconds_on_the_table_are_those_of_its_checks(lamp: tuple[Tree, Made], lamp_table: Table) -> None:
    tree, done = lamp
    circuit, costs = lamp_table.network.circuit, load_guesses().costs
    seconds, stand, name = 0.0, Stand(), tree.first
    while name in tree.steps:  # always the first branch that leads to a step: some way, by its own reckoning
        step = tree.steps[name]
        seconds += cost_s(circuit, costs, stand, step.check)
        stand = left_by(step.check)
        name = next((b.to for b in step.branches if b.to in tree.steps), step.branches[0].to)
    assert 0 < seconds <= done.figures["longest_s"] + 1e-6
