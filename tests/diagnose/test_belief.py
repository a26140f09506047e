"""The belief is a pure function of the set of evidence; one wrong reading among good ones does not carry it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from troubleshoot.car.car import Car
from troubleshoot.circuit.checks import Check
from troubleshoot.diagnose import hypotheses
from troubleshoot.diagnose.belief import Belief
from troubleshoot.diagnose.evidence import Known, known_from
from troubleshoot.diagnose.joint import Joint
from troubleshoot.diagnose.reason import Reasoner
from troubleshoot.parts.branch import Fault
from troubleshoot.solve.linear import Floats
from troubleshoot.words.answers import OverLimit, Seen, Value, Wander

ASKED = (
    "relay.86 to battery.neg volts on",
    "relay.85 to battery.neg volts on",
    "relay.30 to battery.neg volts on",
    "pump.plus to pump.minus volts on",
    "pump.minus to pump_ground.at.pump_bolt.stud volts on",
    "click relay",
    "relay.86.blade to relay.85.blade ohms off -battery -pump -relay",
)
SHARED = settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.fixture(scope="module")
def evidence(
    reasoner: Reasoner, fault_named: Callable[[str], Fault], check_of: Callable[[str], Check],
    read_off: Callable[[Car, Check], Known],
) -> list[Known]:  # fmt: skip
    """Seven answers read off one car with a bad pump ground."""
    car = Car(reasoner.table.network, fault_named("pump_ground:bad"), 0.8, 31)
    return [read_off(car, check_of(name)) for name in ASKED]


def far(one: Belief, other: Belief) -> float:
    return float(np.abs(one.p_cell - other.p_cell).max())


@SHARED
@given(data=st.data())
def test_any_answers_whatever_leave_a_belief_that_sums_to_one(
    reasoner: Reasoner, evidence: list[Known], data: st.DataObject
) -> None:
    picked = data.draw(st.lists(st.sampled_from(evidence), max_size=4, unique_by=lambda known: known.check.id))
    volts = st.floats(-20, 20, allow_nan=False)
    said = [replace(k, value=data.draw(volts)) if k.choice < 0 else k for k in picked]
    belief = reasoner.weigh(said)
    assert belief.p_cell.sum() == pytest.approx(1, abs=1e-9)
    assert (belief.p_cell >= 0).all()
    assert sum(belief.p_fault.values()) == pytest.approx(1, abs=1e-9)
    assert ((belief.p_wrong >= -1e-12) & (belief.p_wrong <= 1 + 1e-9)).all()


@SHARED
@given(order=st.permutations(range(len(ASKED))))
def test_the_order_of_the_evidence_tells_only_how_long_a_meter_was_left_wrong(
    reasoner: Reasoner, evidence: list[Known], order: list[int]
) -> None:
    turned = [evidence[i] for i in order]
    assert far(reasoner.weigh(evidence), reasoner.weigh(turned)) < 0.01
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(hypotheses, "left_wrong", lambda readings: [])
        assert far(reasoner.weigh(evidence), reasoner.weigh(turned)) < 1e-9


@SHARED
@given(kept=st.sets(st.integers(0, len(ASKED) - 1)), extra=st.integers(0, len(ASKED) - 1))
def test_an_answer_added_and_taken_away_leaves_no_trace(
    reasoner: Reasoner, evidence: list[Known], kept: set[int], extra: int
) -> None:
    without = [evidence[i] for i in sorted(kept - {extra})]
    before = reasoner.weigh(without)
    reasoner.weigh([*without, evidence[extra]])
    assert far(before, reasoner.weigh(without)) == 0.0


def test_the_same_check_answered_the_same_again_counts_once(reasoner: Reasoner, evidence: list[Known]) -> None:
    assert far(reasoner.weigh(evidence), reasoner.weigh([*evidence, evidence[0], evidence[5]])) < 1e-12


def test_a_check_answered_anew_counts_by_its_latest_answer(reasoner: Reasoner, evidence: list[Known]) -> None:
    corrected = replace(evidence[0], value=0.1)
    assert far(reasoner.weigh([corrected, *evidence[1:]]), reasoner.weigh([*evidence, corrected])) < 1e-9


def test_the_true_fault_leads_after_seven_good_answers(reasoner: Reasoner, evidence: list[Known]) -> None:
    belief = reasoner.weigh(evidence)
    assert "pump_ground:bad" in reasoner.ranked_groups(belief)[0].faults
    assert reasoner.ranked_groups(belief)[0].probability > 0.9
    assert (belief.p_wrong < 0.5).all()


@pytest.mark.parametrize(("at", "wrong"), [(0, 0.02), (2, 0.0), (4, 11.9), (3, 11.95)])
def test_one_wrong_reading_among_good_ones_is_doubted_and_does_not_carry_the_verdict(
    reasoner: Reasoner, evidence: list[Known], check_of: Callable[[str], Check],
    fault_named: Callable[[str], Fault], read_off: Callable[[Car, Check], Known], at: int, wrong: float,
) -> None:  # fmt: skip
    car = Car(reasoner.table.network, fault_named("pump_ground:bad"), 0.8, 31)
    more = ["pump.minus to battery.neg volts on", "pump.plus to battery.neg volts on", "relay.86 to relay.85 volts on"]
    good = [*evidence, *(read_off(car, check_of(name)) for name in more)]
    said = [replace(known, value=wrong) if i == at else known for i, known in enumerate(good)]
    belief = reasoner.weigh(said)
    readings = [known for known in belief.evidence if known.choice < 0]
    doubted = [known.check.id for known, p in zip(readings, belief.p_wrong, strict=True) if p > 0.5]
    assert doubted == [ASKED[at]]
    lead = reasoner.ranked_groups(belief)[0]
    # the drop along the ground wire is all that tells it from its bolt: without it neither may be called sure
    assert "pump_ground:bad" in lead.faults or (at == 4 and lead.probability < 0.9)
    assert belief.p_fault["pump_ground:bad"] > 0.1


def test_swapped_leads_are_named_as_such(
    reasoner: Reasoner, evidence: list[Known], check_of: Callable[[str], Check],
    fault_named: Callable[[str], Fault], read_off: Callable[[Car, Check], Known],
) -> None:  # fmt: skip
    car = Car(reasoner.table.network, fault_named("pump_ground:bad"), 0.8, 31)
    more = read_off(car, check_of("pump.plus to battery.neg volts on"))
    swapped = replace(evidence[3], value=-evidence[3].value)
    belief = reasoner.weigh([*evidence[:3], swapped, *evidence[4:], more])
    readings = [known.check.id for known in belief.evidence if known.choice < 0]
    at = readings.index(ASKED[3])
    assert belief.p_wrong[at] > 0.9
    assert belief.slip[at] == "leads swapped"
    assert "pump_ground:bad" in reasoner.ranked_groups(belief)[0].faults


def test_readings_that_fit_nothing_speak_for_something_not_described(
    reasoner: Reasoner, check_of: Callable[[str], Check]
) -> None:
    """No fault of this circuit lifts the pump's ground pin and terminal 85 to 12 V while 87 is dead."""
    absurd = {
        "relay.87 to battery.neg volts on": 3.3, "relay.85 to battery.neg volts on": 7.7,
        "battery.pos to battery.neg volts on": 12.4, "pump.minus to battery.neg volts on": 12.4,
        "coil_bolt.stud to battery.neg volts on": 9.1,
        "relay.86 to battery.neg volts on": 5.2,
    }  # fmt: skip
    belief = reasoner.weigh([Known(check_of(name), volts, 0.001) for name, volts in absurd.items()])
    assert reasoner.ranked_groups(belief)[0].faults == ("circuit:not-described",)


# ---- the closed forms


@pytest.fixture(scope="module")
def readings(evidence: list[Known]) -> list[Known]:
    return [known for known in evidence if known.choice < 0]


def close(one: Floats, other: Floats) -> None:
    assert np.abs(one - other).max() < 1e-6 * (1 + np.abs(other).max())


def test_all_but_one_in_closed_form_is_the_joint_built_without_it(reasoner: Reasoner, readings: list[Known]) -> None:
    joint = Joint.of(reasoner.table, readings)
    for i in range(len(readings)):
        others = [j for j in range(len(readings)) if j != i]
        anew = Joint.of(reasoner.table, [readings[j] for j in others])
        left = joint.without(i)
        close(left.log_density, anew.log_density)
        close(joint.log_without(i), anew.log_density)
        assert np.abs(left.weighted[:, i]).max() < 1e-6 * np.abs(joint.weighted).max()
        scale = 1 + np.abs(anew.weighted)
        assert (np.abs(left.weighted[:, others] - anew.weighted) / scale).max() < 1e-6
        inner = left.precision[:, others][:, :, others]
        assert np.abs(inner - anew.precision).max() < 1e-6 * np.abs(anew.precision).max()


def test_all_but_two_in_closed_form_is_the_joint_built_without_them(reasoner: Reasoner, readings: list[Known]) -> None:
    joint = Joint.of(reasoner.table, readings)
    for i, j in combinations(range(len(readings)), 2):
        anew = Joint.of(reasoner.table, [known for k, known in enumerate(readings) if k not in (i, j)])
        close(joint.without(i).log_without(j), anew.log_density)
        some = np.isin(np.arange(len(readings)), (i, j)) & np.ones((len(reasoner.table.cells), 1), dtype=bool)
        close(joint.without_some(some).log_density, anew.log_density)


def test_the_belief_without_an_answer_is_the_belief_weighed_without_it(
    reasoner: Reasoner, evidence: list[Known]
) -> None:
    """What `shaky` trusts before it weighs anew; slips are left out there, so to a tenth and by the leader."""
    belief = reasoner.weigh(evidence)
    for i in range(len(belief.evidence)):
        without = reasoner.weigh(belief.evidence[:i] + belief.evidence[i + 1 :])
        assert belief.p_without[i].sum() == pytest.approx(1, abs=1e-9)
        assert int(belief.p_without[i].argmax()) == int(without.p_cell.argmax())
        assert np.abs(belief.p_without[i] - without.p_cell).max() < 0.1


# ---- from words to evidence


def test_what_a_person_types_becomes_a_value_with_its_own_doubt(check_of: Callable[[str], Check]) -> None:
    volts = check_of("relay.86 to battery.neg volts on")
    exact = known_from(volts, Value(12.4, 0.01, False, "12.40"))
    coarse = known_from(volts, Value(12.0, 1.0, False, "12"))
    about = known_from(volts, Value(12.0, 1.0, True, "about 12"))
    wander = known_from(volts, Wander(2, 8, "2 to 8"))
    assert exact.sigma < coarse.sigma < about.sigma < wander.sigma
    assert (wander.value, wander.sigma, wander.wanders) == (5.0, 3.0, True)
    ohms = check_of(ASKED[-1])
    assert known_from(ohms, OverLimit("OL")).value > known_from(ohms, Value(30e6, 1e4, False, "30M")).value
    with pytest.raises(ValueError, match="OL"):
        known_from(volts, OverLimit("OL"))
    look = check_of("click relay")
    assert known_from(look, Seen("no click", "no click")).choice == look.answers.index("no click")
