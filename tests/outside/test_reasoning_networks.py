"""The belief, and what a check is said to tell, against a library for Bayesian networks (pyAgrum).

The network has a node for the cell and, for every check, one for the answer and one for "a mistake was made": with it
the answer is any of the possible ones. The library multiplies, sums out and normalises its own way; what it is given
are the chances of every answer. Readings are cut into bands, whose chances are those of the normal distribution by
scipy. Two shipped circuits; their faults are there all the time, and described: "comes and goes" and "not described"
have models of their own that are no tables, and are given no probability here.
"""

from __future__ import annotations

import numpy as np
import pyagrum as gum
import pytest
from by_hand import answered, guesses_with, hand_table, prior_of_cells, reasoner_of, with_tests
from scipy.stats import norm

from troubleshoot.circuit.cost import Stand
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.diagnose.belief import prior_of, weigh
from troubleshoot.diagnose.choose import Scale
from troubleshoot.diagnose.decision import DecisionTable, decide
from troubleshoot.diagnose.reason import Reasoner
from troubleshoot.diagnose.rollout import Sorting
from troubleshoot.expect.seen import answer_chances
from troubleshoot.expect.table import Table
from troubleshoot.places import circuit_path
from troubleshoot.session.ability import Can
from troubleshoot.session.kept import table_of
from troubleshoot.solve.linear import Floats, Ints

CIRCUITS = ("pump-on-ignition-feed", "radiator-fan-thermal")
TESTS = 16
BANDS = 5
CASES = 12
CLOSE = 1e-9


@pytest.fixture(scope="module", params=CIRCUITS)
def whole(request: pytest.FixtureRequest) -> Table:
    """The circuit's own table."""
    return table_of(circuit_path(request.param).read_text(encoding="utf-8"), request.param, "")


@pytest.fixture(scope="module")
def discrete(whole: Table) -> Table:
    """Its cells and weights, with tests for checks: half of them observations as they are, half readings in bands."""
    rng = np.random.default_rng(8)
    looks = [check for check in whole.checks if check.kind == "observation"][: TESTS // 2]
    tests = {f"look {check.id}": (check.answers, answer_chances(whole, check, 0.0)) for check in looks}
    wide = np.flatnonzero(np.ptp(whole.stack.mean, axis=0) > 1.0)
    for column in rng.choice(wide, TESTS - len(looks), replace=False):
        chances = bands(whole.stack.mean[:, column], whole.stack.sigma[:, column])
        tests[f"band {whole.readings[column].id}"] = (tuple("abcde"), chances)
    return with_tests(Table(whole.network, whole.cells), tests)


def bands(mean: Floats, sigma: Floats) -> Floats:
    """Chance of each band, (C, BANDS), with edges at quantiles of the means."""
    edges = np.quantile(mean, np.arange(1, BANDS) / BANDS)
    below = np.array([norm.cdf(edge, mean, sigma) for edge in edges])
    return np.ascontiguousarray(np.diff(below, axis=0, prepend=0.0, append=1.0).T)


def network(prior: Floats, chances: dict[str, Floats], wrong: float, group: Ints | None = None) -> gum.BayesNet:
    """The network; `chances` are those of answers given without a mistake, (cells, answers)."""
    net = gum.BayesNet()
    net.add(gum.LabelizedVariable("cell", "", prior.size))
    net.cpt("cell").fillWith(prior.tolist())
    for name, right in chances.items():
        net.add(gum.LabelizedVariable(name, "", right.shape[1]))
        net.add(gum.LabelizedVariable(f"mistake {name}", "", 2))
        net.cpt(f"mistake {name}").fillWith([1 - wrong, wrong])
        net.addArc("cell", name)
        net.addArc(f"mistake {name}", name)
        net.cpt(name)[:] = np.stack([right, np.full_like(right, 1 / right.shape[1])])  # (mistake, cell, answer)
    if group is not None:
        net.add(gum.LabelizedVariable("group", "", int(group.max()) + 1))
        net.addArc("cell", "group")
        net.cpt("group")[:] = np.eye(int(group.max()) + 1)[group]
    return net


def posterior(net: gum.BayesNet, said: dict[str, int], node: str = "cell") -> Floats:
    engine = gum.LazyPropagation(net)
    engine.setEvidence(said)
    engine.makeInference()
    return np.asarray(engine.posterior(node).toarray())


def nats_about_group(net: gum.BayesNet, said: dict[str, int], name: str) -> float:
    """Mutual information of an answer and the group, given what was said."""
    engine = gum.LazyPropagation(net)
    engine.setEvidence(said)
    engine.addJointTarget({"group", name})
    engine.makeInference()
    joint = np.asarray(engine.jointPosterior({"group", name}).toarray())
    apart = joint.sum(axis=0, keepdims=True) * joint.sum(axis=1, keepdims=True)
    return float((joint[joint > 0] * np.log(joint[joint > 0] / apart[joint > 0])).sum())


def chances_of(table: Table) -> dict[str, Floats]:
    """Every test's chances, with a row for "not described", which may answer anything."""
    given = {check.id: table.remembered_all[check.id] for check in table.checks}
    return {name: np.vstack([part, np.full((1, part.shape[1]), 1 / part.shape[1])]) for name, part in given.items()}


def drawn_answers(chances: dict[str, Floats], prior: Floats, rng: np.random.Generator) -> dict[str, int]:
    """What a random car would answer to some of the checks, now and then by mistake."""
    cell = rng.choice(prior.size, p=prior)
    names = rng.choice(sorted(chances), rng.integers(1, len(chances) + 1), replace=False).tolist()
    honest = {name: chances[name][cell] if rng.random() > 0.05 else None for name in names}
    return {name: int(rng.choice(chances[name].shape[1], p=p)) for name, p in honest.items()}


def test_the_belief_is_the_networks_posterior(discrete: Table, guesses: Guesses) -> None:
    prior, chances = prior_of_cells(discrete), chances_of(discrete)
    steady = np.zeros(len(discrete.cells))
    net = network(prior, chances, guesses.mistakes.wrong_look.value)
    answers = {check.id: check.answers for check in discrete.checks}
    rng = np.random.default_rng(4)
    moved = 0.0
    for _ in range(CASES):
        said = drawn_answers(chances, prior, rng)
        evidence = answered(discrete, {name: answers[name][i] for name, i in said.items()})
        belief = weigh(discrete, guesses, evidence, prior, coming=steady)
        assert np.abs(belief.p_cell - posterior(net, said)).max() < CLOSE
        for known, without in list(zip(belief.evidence, belief.p_without, strict=True))[:3]:
            fewer = {name: i for name, i in said.items() if name != known.check.id}
            assert np.abs(without - posterior(net, fewer)).max() < CLOSE
        moved = max(moved, float(np.abs(belief.p_cell - prior).max()))
    assert moved > 0.5, "the answers said nothing"


def test_what_a_check_tells_about_the_suspects_is_the_networks_mutual_information() -> None:
    """Thirty suspects of two cells each, tests of random chances; before any answer and after two."""
    rng = np.random.default_rng(2)
    suspects, wrong = [f"s{i // 2}" for i in range(60)], 0.08
    tests = {f"t{k}": (("a", "b", "c"), rng.dirichlet(np.full(3, 1.5), 60)) for k in range(8)}
    table, guesses = hand_table(suspects, rng.uniform(0.5, 1.5, 60), tests), guesses_with(wrong)
    reasoner = reasoner_of(table, guesses)
    prior = prior_of_cells(table)
    net = network(prior, chances_of(table), wrong, reasoner.group_of)
    for said in ({}, {"t0": 0}, {"t0": 2, "t1": 1}):
        belief = weigh(table, guesses, answered(table, {name: "abc"[i] for name, i in said.items()}), prior)
        assert belief.p_cell[:-1].min() > 2e-4, "a cell that the chooser would leave out"
        scale = Scale.of(belief, reasoner.group_of, table.checks)
        for check in table.checks:
            if check.id not in said:
                assert scale.nats(check, wrong) == pytest.approx(nats_about_group(net, said, check.id), abs=CLOSE)


@pytest.fixture(scope="module")
def decision(whole: Table, guesses: Guesses) -> DecisionTable:
    """Its decision table, of some sixty cells."""
    checks = [check for check in Can().allowed(whole.network, whole.checks) if not check.after]
    reasoner = Reasoner.shared(whole, guesses, checks)
    prior = prior_of(whole, guesses)
    table = decide(whole, guesses, prior, reasoner.group_of, checks, Stand(), severities=2)
    some = np.sort(np.random.default_rng(1).choice(table.weight.size, min(60, table.weight.size), replace=False))
    return table.restricted(some)


def test_the_decision_table_follows_the_network_from_band_to_band(decision: DecisionTable) -> None:
    """Weights of the next bands, and what each check tells about the groups, along random ways through the table."""
    rng = np.random.default_rng(3)
    few = np.sort(rng.choice(decision.act_s.size, 12, replace=False))
    table = DecisionTable(decision.weight, decision.group, decision.outcome[few], decision.act_s[few],
                          decision.change_s[:, few], decision.after[few])  # fmt: skip
    bands_of = {f"k{k}": np.eye(int(row.max()) + 1)[row] for k, row in enumerate(table.outcome)}
    net = network(table.weight, bands_of, 0.0, table.group)
    sorting = Sorting(table)
    for _ in range(CASES):
        cell = rng.choice(table.weight.size, p=table.weight)
        way = rng.choice(len(few), 4, replace=False).tolist()
        for taken in range(4):
            said = {f"k{k}": int(table.outcome[k, cell]) for k in way[:taken]}
            alive = np.all([table.outcome[k] == table.outcome[k, cell] for k in way[:taken]], axis=0)
            alive = np.broadcast_to(alive, table.weight.shape)[None, :]
            total = float(table.weight[alive[0]].sum())
            masses, nats = sorting.masses(alive)[0] / total, sorting.nats(alive)[0][0] / total
            asked = way[taken]
            first = sorting.first[asked]
            mine = masses[first : first + bands_of[f"k{asked}"].shape[1]]
            assert np.abs(mine - posterior(net, said, f"k{asked}")).max() < CLOSE
            assert nats[asked] == pytest.approx(nats_about_group(net, said, f"k{asked}"), abs=CLOSE)
