"""When to stop: what is at stake with a wrong repair, and whether a check is worth its time."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from troubleshoot.car.car import Car
from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.cost import Stand
from troubleshoot.circuit.guesses import Guess, Guesses
from troubleshoot.diagnose.belief import Belief
from troubleshoot.diagnose.choose import Choice
from troubleshoot.diagnose.evidence import Known, not_yet
from troubleshoot.diagnose.reason import SURE, Reasoner
from troubleshoot.diagnose.stop import stake, wrong_repair_s
from troubleshoot.expect.table import Table
from troubleshoot.files.circuit_file import load_circuit
from troubleshoot.files.guesses_file import load_guesses
from troubleshoot.parts.branch import Fault
from troubleshoot.places import trees
from troubleshoot.session.prior import prior_after
from troubleshoot.session.state import Told

FaultNamed = Callable[[str], Fault]


def standing_at(reasoner: Reasoner, p_lead: float, lead: str, other: str) -> Belief:
    """A belief with one fault at `p_lead` and another at the rest."""
    belief = reasoner.weigh([])
    names = np.array([*belief.table.names, ""])
    p_cell = np.zeros_like(belief.p_cell)
    for name, p in ((lead, p_lead), (other, 1 - p_lead)):
        p_cell[names == name] = p / (names == name).sum()
    return replace(belief, p_cell=p_cell)


def test_what_is_at_stake_is_the_chance_of_being_wrong_times_what_the_repair_loses(
    reasoner: Reasoner, table: Table, guesses: Guesses
) -> None:
    belief = standing_at(reasoner, 0.98, "pump:open", "coil_fuse:blown")
    at = stake(table, guesses, reasoner.group_of, belief)
    assert at.p_other == pytest.approx(0.02)
    assert at.wrong_s == guesses.wrong_repairs["pump"].value
    assert at.at_stake_s == pytest.approx(0.02 * at.wrong_s)
    assert at.open_nats == pytest.approx(-(0.98 * np.log(0.98) + 0.02 * np.log(0.02)))


def test_a_check_is_worth_more_before_a_dear_repair_than_before_a_cheap_one(
    reasoner: Reasoner, table: Table, guesses: Guesses, check_of: Callable[[str], Check]
) -> None:
    """The same chances and the same check: before a pump is taken out it is made, before a fuse is changed not."""
    dear, cheap = (
        stake(table, guesses, reasoner.group_of, standing_at(reasoner, 0.98, lead, other))
        for lead, other in (("pump:open", "coil_fuse:blown"), ("coil_fuse:blown", "pump:open"))
    )
    choice = Choice(check_of("whole coil_fuse"), dear.open_nats * 0.9, 40.0)
    assert dear.is_worth(choice)
    assert not cheap.is_worth(choice)
    assert dear.saves_s(choice) == pytest.approx(0.9 * dear.at_stake_s)


def test_no_check_is_worth_its_time_once_there_is_nothing_open(
    reasoner: Reasoner, table: Table, guesses: Guesses, check_of: Callable[[str], Check]
) -> None:
    at = stake(table, guesses, reasoner.group_of, standing_at(reasoner, 1.0, "pump:open", "coil_fuse:blown"))
    assert not at.is_worth(Choice(check_of("whole coil_fuse"), 0.5, 1.0))


def test_the_dearer_a_wrong_repair_the_more_is_asked_before_the_verdict(
    table: Table, guesses: Guesses, fault_named: FaultNamed, read_off: Callable[[Car, Check], Known]
) -> None:
    """With repairs a thousand times dearer a job goes on where it stopped before; never the other way round."""
    dearer = {key: Guess(value=1000 * one.value, source="test") for key, one in guesses.wrong_repairs.items()}
    dear = guesses.model_copy(update={"wrong_repairs": dearer})
    bare = guesses.model_copy(update={"wrong_repairs": {}})
    counts = []
    for using in (bare, guesses, dear):
        reasoner = Reasoner(table, using, Reasoner.shared(table, guesses, table.checks).checks)
        reasoner.groups = Reasoner.shared(table, guesses, table.checks).groups
        counts.append(sum(answers_to_verdict(reasoner, name, fault_named, read_off) for name in ENDS))
    assert counts[0] <= counts[1] <= counts[2]
    assert counts[0] < counts[2]


ENDS = ("relay:coil-open", "coil_fuse:blown", "pump:open")


def answers_to_verdict(
    reasoner: Reasoner, name: str, fault_named: FaultNamed, read_off: Callable[[Car, Check], Known]
) -> int:
    fault = fault_named(name)
    car = Car(reasoner.table.network, fault, np.inf if fault.severity else None, 5)
    evidence: list[Known] = []
    stand = Stand()
    while True:
        choice, belief = reasoner.next_choice(evidence, stand)
        if choice is None:
            assert max(np.bincount(reasoner.group_of, belief.p_cell)) > SURE or len(evidence) >= 20
            return len(evidence)
        evidence.append(read_off(car, choice.check))
        stand = Stand(choice.check.setup, choice.check.place or "engine bay")


def test_every_fault_of_the_shipped_circuit_has_a_price_of_its_repair(table: Table, guesses: Guesses) -> None:
    for cell in table.cells:
        assert wrong_repair_s(table.network.circuit, guesses, cell.fault) > 0, cell.fault.name


WIRED = {"metal", "splice", "starter", "alternator", "load"}
"""Kinds that are no more than wiring here, or whose own faults are not looked for."""


def test_every_kind_of_part_that_can_be_replaced_has_its_own_guess() -> None:
    guesses = load_guesses()
    kinds = {part.kind for path in trees().glob("*/circuit.yaml") for part in load_circuit(path).parts.values()}
    assert kinds - WIRED <= set(guesses.wrong_repairs)


def test_under_sure_a_check_that_hardly_saves_anything_is_not_made(
    reasoner: Reasoner, check_of: Callable[[str], Check]
) -> None:
    """Ten minutes that tell next to nothing, and a fuse at 94 %: the fuse is tried. A pump at 94 %, or a fuse at 45 %:
    the check comes first."""
    dear = Choice(check_of("whole coil_fuse"), 0.01, 600.0)

    def goes_on(p_lead: float, lead: str, other: str) -> Choice | None:
        return reasoner.worth_going_on(standing_at(reasoner, p_lead, lead, other), dear, [], Stand())

    assert goes_on(0.94, "coil_fuse:blown", "pump:open") is None
    assert goes_on(0.94, "pump:open", "coil_fuse:blown") is dear
    assert goes_on(0.45, "coil_fuse:blown", "pump:open") is dear


def test_a_healthy_car_is_not_warmed_up_nor_gone_through_to_the_last(
    table: Table, guesses: Guesses, read_off: Callable[[Car, Check], Known]
) -> None:
    """Each further reading that is as it should be rules out little; ten minutes of warming are not worth that."""
    reasoner = Reasoner.shared(table, guesses, table.checks).told("unsure")
    prior = prior_after(table, guesses, Told(complaint="unsure"))
    for seed in (1, 2):
        car, evidence, stand, seconds = Car(table.network, None, None, seed), list[Known](), Stand(), 0.0
        while choice := reasoner.next_choice(evidence, stand, not_yet(reasoner.checks, evidence), prior)[0]:
            evidence.append(read_off(car, choice.check))
            stand, seconds = Stand(choice.check.setup, choice.check.place), seconds + choice.seconds
        belief = reasoner.weigh(evidence, prior)
        assert reasoner.ranked_groups(belief)[0].faults == ("circuit:nothing-wrong",)
        assert belief.p_cell[reasoner.group_of == reasoner.group_of[0]].sum() > 0.7
        assert seconds < 15 * 60
        assert not any(known.check.setup.warm for known in evidence)
