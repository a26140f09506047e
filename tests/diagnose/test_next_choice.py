"""Which check comes next, what it costs, and when it is time to stop: never on one reading alone."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
import pytest

from troubleshoot.car.car import Car
from troubleshoot.circuit.checks import Check, Setup
from troubleshoot.circuit.cost import Stand, act_s, change_s, cost_s
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.diagnose.belief import Belief
from troubleshoot.diagnose.choose import REPEATED, Scale, pick
from troubleshoot.diagnose.evidence import Known
from troubleshoot.diagnose.reason import SURE, Reasoner
from troubleshoot.parts.branch import Fault
from troubleshoot.solve.cases import OPEN

CASES = [
    ("pump_ground:bad", 0.8, 71),
    ("relay:coil-open", None, 72),
    ("ignition_out:accessory-feed", None, 73),
    ("main_fuse:blown", None, 74),
    ("relay.30:bad", OPEN, 75),
]


def play(
    reasoner: Reasoner, car: Car, read_off: Callable[[Car, Check], Known], skip: frozenset[str] = frozenset()
) -> Iterator[tuple[list[Known], Check | None]]:
    """The answers so far and the check chosen on them, until the chooser has had enough (None)."""
    evidence: list[Known] = []
    stand = Stand()
    for _ in range(25):
        choice, _ = reasoner.next_choice(evidence, stand, skip)
        yield list(evidence), choice.check if choice else None
        if choice is None:
            return
        evidence.append(read_off(car, choice.check))
        stand = Stand(choice.check.setup, choice.check.place or "engine bay")
    pytest.fail("no end after 25 checks")


@pytest.mark.parametrize(("name", "severity", "seed"), CASES)
def test_a_search_ends_on_the_true_fault_and_on_no_single_reading(
    reasoner: Reasoner, fault_named: Callable[[str], Fault], read_off: Callable[[Car, Check], Known],
    name: str, severity: float | None, seed: int,
) -> None:  # fmt: skip
    car = Car(reasoner.table.network, fault_named(name), severity, seed)
    steps = list(play(reasoner, car, read_off))
    asked = [check.id for _, check in steps if check]
    assert len(asked) == len(set(asked)), "a check was asked twice under one name"
    assert len(asked) <= 10, asked
    evidence = steps[-1][0]
    belief = reasoner.weigh(evidence)
    lead = reasoner.ranked_groups(belief)[0]
    assert name in lead.faults, (lead, asked)
    if lead.probability >= SURE:
        for i in range(len(evidence)):
            without = reasoner.weigh(evidence[:i] + evidence[i + 1 :])
            assert reasoner.ranked_groups(without)[0].faults[0] in lead.faults, (name, evidence[i].check.id)


def test_shaky_names_the_answer_that_carries_the_verdict_by_itself(
    reasoner: Reasoner, check_of: Callable[[str], Check]
) -> None:
    """A fuse seen blown says it all, and says it alone."""
    blown = check_of("whole main_fuse")
    belief = reasoner.weigh([Known(blown, choice=blown.answers.index("blown"))])
    found = reasoner.shaky(belief, None)
    assert found
    assert found.carriers == [blown]
    assert not found.in_a_row
    assert found.belief.evidence == ()


def test_no_verdict_is_given_on_one_reading_however_the_complaint_leans(
    reasoner: Reasoner, check_of: Callable[[str], Check]
) -> None:
    """A pump that never worked while cranking makes the wrong feed likely; one healthy reading is no proof of it."""
    accessory = Known(check_of("relay.85 to battery.neg volts on"), 0.024, 0.001)
    prior = np.append(reasoner.table.weight, 0.02)
    prior[:-1][np.array(reasoner.table.names) == "ignition_out:accessory-feed"] *= 400
    prior /= prior.sum()
    choice, belief = reasoner.next_choice([accessory], Stand(), prior=prior)
    assert reasoner.ranked_groups(belief)[0].probability > 0.9
    assert choice is not None


def test_what_was_skipped_is_never_asked_again(
    reasoner: Reasoner, fault_named: Callable[[str], Fault], read_off: Callable[[Car, Check], Known]
) -> None:
    car = Car(reasoner.table.network, fault_named("relay:coil-open"), None, 76)
    skipped: set[str] = set()
    for _ in range(4):
        choice, _ = reasoner.next_choice([], Stand(), frozenset(skipped))
        assert choice
        assert choice.check.id not in skipped
        skipped.add(choice.check.id)
    for _, check in play(reasoner, car, read_off, frozenset(skipped)):
        assert check is None or check.id not in skipped


def told_by(reasoner: Reasoner, belief: Belief, checks: list[Check]) -> dict[str, float]:
    scale = Scale.of(belief, reasoner.group_of, checks)
    return {check.id: scale.nats(check, reasoner.guesses.mistakes.wrong_look.value) for check in checks}


def test_no_check_tells_anything_where_one_group_is_left(reasoner: Reasoner) -> None:
    """Whatever is read, the group is the same; and so nothing is picked."""
    belief, one_group = reasoner.weigh([]), np.zeros_like(reasoner.group_of)
    scale = Scale.of(belief, one_group, reasoner.checks)
    assert max(scale.nats(check, 0.02) for check in reasoner.checks) < 1e-9
    assert pick(belief, one_group, reasoner.checks, reasoner.guesses, Stand(), 1e-6) is None


def test_the_battery_post_tells_nothing_of_which_fuse_is_blown(
    reasoner: Reasoner, check_of: Callable[[str], Check]
) -> None:
    names = np.array([*reasoner.table.names, "circuit:not-described"])
    prior = np.where(np.isin(names, ["main_fuse:blown", "coil_fuse:blown"]), 1.0, 0.0)
    belief = reasoner.weigh([], prior / prior.sum())
    post, coil = (check_of(n) for n in ("battery.pos to battery.neg volts off", "relay.86 to battery.neg volts on"))
    told = told_by(reasoner, belief, [post, coil])
    assert told[post.id] < 0.01
    assert told[coil.id] > 0.5
    chosen = pick(belief, reasoner.group_of, [post, coil], reasoner.guesses, Stand(), 0.01)
    assert chosen
    assert chosen.check == coil


@pytest.fixture(scope="module")
def two_beliefs(reasoner: Reasoner, check_of: Callable[[str], Check]) -> list[Belief]:
    """Before anything was read, and after a first reading that leaves much open."""
    return [reasoner.weigh([]), reasoner.weigh([Known(check_of("relay.30 to battery.neg volts on"), 0.02, 0.003)])]


def test_information_is_never_below_nothing_nor_above_its_limit(reasoner: Reasoner, two_beliefs: list[Belief]) -> None:
    for belief in two_beliefs:
        scale = Scale.of(belief, reasoner.group_of, reasoner.checks)
        for check in reasoner.checks:
            nats = scale.nats(check, reasoner.guesses.mistakes.wrong_look.value)
            assert -1e-9 <= nats <= scale.entropy + 1e-9, check.id
            assert nats <= scale.at_most(check) + 1e-6, (check.id, nats, scale.at_most(check))


def test_the_pick_is_what_looking_at_every_check_would_pick(reasoner: Reasoner, two_beliefs: list[Belief]) -> None:
    mistakes, costs = reasoner.guesses.mistakes, reasoner.guesses.costs
    circuit = reasoner.table.network.circuit
    repeated = next(check for check in reasoner.checks if check.kind == "reading").repeated()
    checks = [*reasoner.checks, repeated]
    for belief in two_beliefs:
        told = told_by(reasoner, belief, checks)

        def rate(check: Check, told: dict[str, float] = told) -> float:
            trust = 1 - 2 * mistakes.wrong_reading.value if check.kind == "reading" else 1.0
            worth = trust * (REPEATED if check.again else 1.0)
            return worth * told[check.id] / cost_s(circuit, costs, Stand(), check)

        best = max(checks, key=rate)
        chosen = pick(belief, reasoner.group_of, checks, reasoner.guesses, Stand())
        assert chosen
        assert chosen.check == best
        assert chosen.rate == pytest.approx(rate(best))


# ---- seconds


def test_the_cost_is_the_change_and_the_act_together(reasoner: Reasoner, guesses: Guesses) -> None:
    circuit, costs = reasoner.table.network.circuit, guesses.costs
    stands = [Stand(), Stand(Setup("on"), "at the tank"), Stand(Setup("on", frozenset({"relay"})))]
    for stand in stands:
        for check in reasoner.checks:
            whole = change_s(circuit, costs, stand, check) + act_s(circuit, costs, check)
            assert cost_s(circuit, costs, stand, check) == pytest.approx(whole)
            assert act_s(circuit, costs, check) > 0


def test_each_act_on_the_way_is_counted_once(
    reasoner: Reasoner, guesses: Guesses, check_of: Callable[[str], Check]
) -> None:
    circuit, costs = reasoner.table.network.circuit, guesses.costs
    plain = check_of("relay.86 to battery.neg volts on")
    reading = costs.answer.value + costs.reading.value
    assert cost_s(circuit, costs, Stand(Setup("on")), plain) == pytest.approx(reading)
    assert cost_s(circuit, costs, Stand(), plain) == pytest.approx(reading + costs.turn_key.value)
    pulled = Stand(Setup("on", frozenset({"relay"})))
    assert cost_s(circuit, costs, pulled, plain) == pytest.approx(reading + costs.relay_out_or_in.value)
    from_tank = Stand(Setup("on"), "at the tank")
    assert cost_s(circuit, costs, from_tank, plain) == pytest.approx(reading + costs.go_elsewhere.value)
    ohms = check_of("relay.86.blade to relay.85.blade ohms off -battery -pump -relay")
    taken_out = costs.battery_off_or_on.value + costs.relay_out_or_in.value + costs.unplug_or_plug.value
    acts = costs.answer.value + costs.ohms.value
    assert cost_s(circuit, costs, Stand(), ohms) == pytest.approx(acts + taken_out)
    assert cost_s(circuit, costs, Stand(ohms.setup), ohms) == pytest.approx(acts)
