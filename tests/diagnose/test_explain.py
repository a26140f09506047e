"""Why: what an answer moved, which answer carries the verdict, what would have to be true for another suspect."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from troubleshoot.car.car import Car
from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.cost import Stand
from troubleshoot.diagnose.evidence import Known
from troubleshoot.diagnose.explain import meanings, moved
from troubleshoot.diagnose.overturn import carriers, faults_meant, weakest, what_if
from troubleshoot.diagnose.reason import Reasoner
from troubleshoot.expect.table import Table
from troubleshoot.parts.branch import Fault

CheckOf = Callable[[str], Check]
COIL = ("relay.85 to battery.neg volts on", "relay.86 to battery.neg volts accessory",
        "coil_bolt.stud to battery.neg volts on")  # fmt: skip


@pytest.fixture(scope="module")
def bad_ground(table: Table, reasoner: Reasoner, fault_named: Callable[[str], Fault], check_of: CheckOf,
               read_off: Callable[[Car, Check], Known]) -> list[Known]:  # fmt: skip
    """Three readings off a car whose relay ground bolt is loose."""
    car = Car(table.network, fault_named("coil_bolt:bad-joint"), 2000.0, 4)
    return [read_off(car, check_of(name)) for name in COIL]


def test_what_moved_is_what_the_two_beliefs_say(reasoner: Reasoner, bad_ground: list[Known]) -> None:
    before, after = reasoner.weigh([]), reasoner.weigh(bad_ground[:1])
    fell, rose = moved(before, after)
    assert fell
    assert rose
    for move in (*fell, *rose):
        assert move.before == before.p_fault[move.fault]
        assert move.after == after.p_fault[move.fault]
    assert all(move.after < move.before / 5 for move in fell)
    assert all(move.after > 1.5 * move.before for move in rose)
    assert "coil_bolt:bad-joint" in {move.fault for move in rose}


def test_no_suspect_that_moved_most_is_left_out(reasoner: Reasoner, bad_ground: list[Known]) -> None:
    before, after = reasoner.weigh([]), reasoner.weigh(bad_ground)
    fell, rose = moved(before, after)
    p, q = before.p_fault, after.p_fault
    most_fell, most_rose = min(p, key=lambda n: q[n] - p[n]), max(p, key=lambda n: q[n] - p[n])
    assert fell[0].fault == most_fell
    assert rose[0].fault == most_rose


def test_meanings_of_a_check_share_out_all_of_the_belief(reasoner: Reasoner, check_of: CheckOf) -> None:
    belief = reasoner.weigh([])
    for name in COIL:
        told = meanings(reasoner, belief, check_of(name), lambda v: f"{v:.2f}", most=99)
        assert len(told) > 1
        assert 0.9 < sum(meaning.probability for meaning in told) <= 1.0001


# ---- which answer carries it


def test_what_carries_a_verdict_is_what_changes_the_leader_when_it_is_taken_away(
    reasoner: Reasoner, bad_ground: list[Known]
) -> None:
    belief = reasoner.weigh(bad_ground)
    lead = reasoner.leader(belief)
    named = {carrier.known.check.id for carrier in carriers(reasoner, belief, None)}
    for i, known in enumerate(bad_ground):
        p = np.bincount(reasoner.group_of, reasoner.weigh(bad_ground[:i] + bad_ground[i + 1 :]).p_cell)
        upset = p.argmax() != lead or p[lead] < 0.5
        assert (known.check.id in named) == upset, known.check.id


def test_a_single_answer_carries_all_that_it_says(reasoner: Reasoner, check_of: CheckOf) -> None:
    """One reading that leaves one suspect must be what carries it."""
    whole = Known(check_of("whole main_fuse"), choice=1)
    belief = reasoner.weigh([whole])
    assert [carrier.known for carrier in carriers(reasoner, belief, None)] == [whole]


def test_the_weakest_spot_is_the_answer_with_the_least_left_without_it(
    reasoner: Reasoner, bad_ground: list[Known]
) -> None:
    belief = reasoner.weigh(bad_ground)
    found = weakest(reasoner, belief, None)
    assert found is not None
    mine = reasoner.group_of == reasoner.leader(belief)
    rests = [bad_ground[:i] + bad_ground[i + 1 :] for i in range(len(bad_ground))]
    assert found[1] == pytest.approx(min(float(reasoner.weigh(rest).p_cell[mine].sum()) for rest in rests))
    assert weakest(reasoner, reasoner.weigh([]), None) is None


# ---- what would have to be true


def test_for_a_suspect_to_be_it_after_all_the_readings_against_it_must_be_wrong(
    reasoner: Reasoner, bad_ground: list[Known]
) -> None:
    belief = reasoner.weigh(bad_ground)
    found = what_if(reasoner, belief, ["coil_fuse:blown"], None, Stand())
    assert found.faults == ("coil_fuse:blown",)
    assert not found.leads
    assert found.probability < 0.01
    assert {known.check.id for known, _ in found.wrong} == {COIL[0], COIL[2]}  # with no feed, 85 reads nothing
    assert all(how for _, how in found.wrong)
    left = [known for known in bad_ground if known not in [wrong for wrong, _ in found.wrong]]
    assert found.without == pytest.approx(reasoner.weigh(left).p_fault["coil_fuse:blown"])
    assert found.without > 20 * found.probability


def test_the_check_that_would_tell_shows_different_things_in_the_two_cases(
    reasoner: Reasoner, bad_ground: list[Known]
) -> None:
    belief = reasoner.weigh(bad_ground)
    found = what_if(reasoner, belief, ["relay:contacts-burnt"], None, Stand())
    assert found.teller is not None
    assert found.teller.check.id not in COIL
    assert found.teller.if_so != pytest.approx(found.teller.if_not, abs=0.05)


def test_a_suspect_that_leads_needs_nothing_to_be_wrong(reasoner: Reasoner, bad_ground: list[Known]) -> None:
    found = what_if(reasoner, reasoner.weigh(bad_ground), ["coil_bolt:bad-joint"], None, Stand())
    assert found.leads
    assert found.wrong == ()


def test_a_suspect_that_does_not_exist_is_refused(reasoner: Reasoner) -> None:
    with pytest.raises(ValueError, match="none of"):
        what_if(reasoner, reasoner.weigh([]), ["flux capacitor:flat"], None, Stand())


@pytest.mark.parametrize(
    ("words", "part"),
    [("relay", "relay"), ("the pump", "pump"), ("fuel pump", "pump"), ("Coil Fuse?", "coil_fuse"), ("link", "link"),
     ("ignition switch", "ignition"), ("battery", "battery")],
)  # fmt: skip
def test_a_part_is_found_by_its_name_and_by_what_it_is_called(table: Table, words: str, part: str) -> None:
    found = faults_meant(table, words)
    assert found
    assert {name.rpartition(":")[0] for name in found} == {part}


def test_a_wire_is_found_by_its_colour_and_nonsense_finds_nothing(table: Table) -> None:
    orange = faults_meant(table, "orange wire")
    assert orange
    assert all("orange" in next(c.fault.say for c in table.cells if c.fault.name == name) for name in orange)
    assert faults_meant(table, "nothing wrong") == ["circuit:nothing-wrong"]
    for words in ("banana", "", "the", "not it"):
        assert faults_meant(table, words) == []
