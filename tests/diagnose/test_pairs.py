"""Two faults at once, the sign-off after a repair, and the cause behind a blown fuse."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from shipped_tables import check_of, table_of

from troubleshoot.car import Car
from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.cost import Stand
from troubleshoot.diagnose.behind import causes
from troubleshoot.diagnose.belief import prior_of
from troubleshoot.diagnose.evidence import Known, known_from
from troubleshoot.diagnose.pair_cells import AND, pair, parts_of
from troubleshoot.diagnose.pairs import fits_badly, widened
from troubleshoot.diagnose.reason import SURE, Reasoner
from troubleshoot.diagnose.sign_off import next_after_repair, prior_after_repair, sign_off
from troubleshoot.expect.cells import NOTHING_WRONG, Cell
from troubleshoot.expect.table import Table
from troubleshoot.files.guesses_file import load_guesses
from troubleshoot.session.ability import Can
from troubleshoot.session.cards import VerdictCard
from troubleshoot.session.prior import prior_after
from troubleshoot.session.session import Session
from troubleshoot.session.state import Told, expects
from troubleshoot.words.answers import read_answer

PUMP, FAN, BENCH = "pump-on-ignition-feed", "radiator-fan-thermal", "training-bench"


@cache
def reasoner_of(name: str) -> Reasoner:
    table = table_of(name)
    return Reasoner(table, load_guesses(), Can().allowed(table.network, table.checks))


def cells(name: str, fault: str) -> list[Cell]:
    return [cell for cell in table_of(name).cells if cell.fault.name == fault]


def car_with(name: str, *faults: tuple[str, float | None], seed: int = 3) -> Car:
    """A sampled car with one fault or two."""
    network = table_of(name).network
    by_name = {fault.name: fault for fault in network.faults}
    (one, severity), *others = faults
    second = [(by_name[other], its) for other, its in others]
    return Car(network, by_name[one], severity, seed, *second)


def answers(car: Car, checks: list[Check]) -> list[Known]:
    found = []
    for check in checks:
        read = read_answer(car.answer(check), expects(check), check.answers)
        found.append(known_from(check, read))
    return found


def read_until_done(reasoner: Reasoner, car: Car) -> tuple[list[Known], tuple[str, ...]]:
    """A whole first round: what was read, and the faults named."""
    evidence: list[Known] = []
    stand = Stand()
    while True:
        choice, belief = reasoner.next_choice(evidence, stand)
        if choice is None:
            return evidence, reasoner.ranked_groups(belief)[0].faults
        evidence += answers(car, [choice.check])
        stand = Stand(choice.check.setup, choice.check.place)


# ---- what two faults hang on


DIODE = [
    ("relay.87 to relay.30 volts on", "-0.055 V"), ("relay.86 to battery.neg volts accessory", "11.62 V"),
    ("relay.86 to battery.neg volts accessory again", "11.62 V"),
    ("relay.85 to battery.neg volts accessory", "0.021 V"),
    ("relay.86 to battery.neg volts off", "11.67 V"), ("relay.86 to battery.neg volts off again", "11.62 V"),
]  # fmt: skip
"""With the key off, of a diode from the unswitched feed into the coil feed; it takes 0.7 V. A flat battery and an
ignition feed that is always live read the same."""


def said_to_run_with_key_off(said: list[tuple[str, str]]) -> tuple[Check | None, tuple[str, ...], float]:
    """The next check in a job with this complaint after these readings, and who leads how far."""
    name = "pump-feed-on-30"
    reasoner = reasoner_of(name).told("runs-key-off")
    prior = prior_after(reasoner.table, reasoner.guesses, Told(complaint="runs-key-off"))
    evidence = []
    for words, text in said:
        check = check_of(name, words.removesuffix(" again"))
        check = check.repeated() if words.endswith(" again") else check
        evidence.append(known_from(check, read_answer(text, expects(check), check.answers)))
    choice, belief = reasoner.next_choice(evidence, Stand(), prior=prior)
    lead = reasoner.ranked_groups(belief)[0]
    return choice and choice.check, lead.faults, lead.probability


def test_two_faults_that_hang_on_one_terminal_are_looked_for_at_another() -> None:
    check, lead, probability = said_to_run_with_key_off(DIODE)
    assert lead == ("battery:flat + ignition_out:constant-feed",)
    assert probability > SURE
    assert check is not None
    assert check.red != "relay.86"


def test_what_is_read_there_may_leave_something_that_the_file_lacks() -> None:
    battery = "battery.pos to battery.neg volts off"
    _, lead, _ = said_to_run_with_key_off([*DIODE, (battery, "12.45 V"), (f"{battery} again", "12.44 V")])
    assert lead != ("battery:flat + ignition_out:constant-feed",)


# ---- pairs as faults


def test_a_pair_does_what_both_do() -> None:
    both = pair(cells(PUMP, "pump_bolt:bad-joint")[5], cells(PUMP, "coil_fuse:blown")[0])
    assert both is not None
    assert parts_of(both.fault.name) == ("coil_fuse:blown", "pump_bolt:bad-joint")
    targets = {change.target for change in both.fault.changes}
    assert "coil_fuse" in targets
    assert len(targets) == 2


def test_the_name_of_a_pair_does_not_hang_on_the_order() -> None:
    one, other = cells(PUMP, "pump_bolt:bad-joint")[5], cells(PUMP, "relay.30:bad")[4]
    first, second = pair(one, other), pair(other, one)
    assert first is not None
    assert second is not None
    assert first.fault.name == second.fault.name


def test_one_part_has_no_two_faults() -> None:
    assert pair(cells(PUMP, "relay:coil-open")[0], cells(PUMP, "relay:contacts-welded")[0]) is None


def test_the_second_severity_is_as_uncertain_as_by_itself() -> None:
    """A reading that only the second fault moves spreads as much as where that fault is alone."""
    second = cells(PUMP, "pump_bolt:bad-joint")
    one, other = cells(PUMP, "relay:coil-shorted-turns")[0], second[len(second) // 2]
    both = pair(one, other)
    assert both is not None
    table = table_of(PUMP)
    assert any(change.spread for change in both.fault.changes)
    few = table.beside([table.cells[0], other, both])
    seen = few.predict(check_of(PUMP, "pump.minus to battery.neg volts on"))
    assert seen.sigma[2] == pytest.approx(seen.sigma[1], rel=0.05)
    assert seen.mean[2] == pytest.approx(seen.mean[1], rel=0.02)


# ---- when pairs are thought of


def ground_and_battery() -> list[Known]:
    car = car_with(PUMP, ("pump_bolt:bad-joint", 0.9), ("relay.86:bad", float("inf")))
    wanted = [
        "relay.85 to battery.neg volts on", "relay.86 to battery.neg volts on", "relay.30 to battery.neg volts on",
        "pump.minus to battery.neg volts on", "relay.87 to battery.neg volts on", "click relay",
    ]  # fmt: skip
    return answers(car, [check_of(PUMP, check) for check in wanted])


def test_single_faults_are_left_alone_while_they_explain_everything() -> None:
    reasoner = reasoner_of(PUMP)
    car = car_with(PUMP, ("main_fuse:blown", None))
    evidence, named = read_until_done(reasoner, car)
    assert "main_fuse:blown" in named
    belief = reasoner.weigh(evidence)
    assert widened(reasoner.table, reasoner.guesses, belief, None, reasoner.checks, reasoner.groups) is None


TOGETHER = (
    (PUMP, ("main_fuse:blown", None), ("coil_bolt:painted", None)),
    (PUMP, ("pump:open", None), ("coil_feed:bad", float("inf"))),
    (FAN, ("fan:open", None), ("coil_fuse:blown", None)),
)


@pytest.mark.parametrize(("name", "one", "other"), TOGETHER)
def test_two_faults_that_both_show_are_found_together_or_one_is(
    name: str, one: tuple[str, float | None], other: tuple[str, float | None]
) -> None:
    _, named = read_until_done(reasoner_of(name), car_with(name, one, other))
    parts = {part for fault in named for part in parts_of(fault)}
    assert parts & {one[0], other[0]}, named


def test_a_pair_explains_what_no_single_fault_does() -> None:
    reasoner = reasoner_of(PUMP)
    car = car_with(PUMP, ("main_fuse:blown", None), ("coil_bolt:painted", None))
    wanted = [
        "relay.87 to battery.neg volts on", "main_fuse.in to battery.neg volts on",
        "main_fuse.out to battery.neg volts on", "relay.85 to battery.neg volts on",
        "coil_bolt.stud to battery.neg volts on", "relay.86 to battery.neg volts on", "click relay",
    ]  # fmt: skip
    evidence = answers(car, [check_of(PUMP, check) for check in wanted])
    belief = reasoner.weigh(evidence)
    found = reasoner.widened(belief, None)
    assert found is not None
    wider, prior = found
    group = wider.ranked_groups(wider.weigh(evidence, prior))[0]
    assert any({"main_fuse:blown"} < set(parts_of(name)) for name in group.faults), group
    assert AND in group.faults[0]


def test_the_same_evidence_makes_the_same_pairs() -> None:
    reasoner = reasoner_of(PUMP)
    evidence = ground_and_battery()
    belief = reasoner.weigh(evidence)
    fresh = Table(reasoner.table.network, reasoner.table.cells)
    before = [
        widened(table, reasoner.guesses, weighed, None, reasoner.checks, reasoner.groups)
        for table, weighed in (
            (reasoner.table, belief),
            (reasoner.table, belief),
            (fresh, replace(belief, table=fresh)),
        )
    ]
    for one, other in itertools.pairwise(before):
        assert one is not None
        assert other is not None
        assert one[0].names == other[0].names
        assert np.array_equal(one[1], other[1])


ONLY_TOGETHER = (
    (PUMP, ("relay.86:bad", 3947.0), ("coil_feed:bad", 138.0), (
        "relay.85 to battery.neg volts on", "click relay", "relay.86 to battery.neg volts on",
        "relay.87 to relay.30 volts on", "relay.86 to relay.85 volts on")),
    (BENCH, ("relay:30-86-87-85-exchanged", None), ("coil_return.at.return_stud.stud:bad", 42837.0), (
        "relay.87 to relay.30 volts off +toggle_switch", "pump.plus to pump.minus volts off +toggle_switch",
        "relay.87 to pump.plus volts off +toggle_switch", "relay.86 to relay.85 volts off +toggle_switch",
        "relay.30 to supply.neg volts off")),
)  # fmt: skip


@pytest.mark.parametrize(("name", "one", "other", "wanted"), ONLY_TOGETHER)
def test_two_faults_that_neither_shows_alone_are_found_together(
    name: str, one: tuple[str, float | None], other: tuple[str, float | None], wanted: tuple[str, ...]
) -> None:
    reasoner = reasoner_of(name)
    evidence = answers(car_with(name, one, other), [check_of(name, check) for check in wanted])
    found = reasoner.widened(reasoner.weigh(evidence), None)
    assert found is not None
    wider, prior = found
    groups = wider.ranked_groups(wider.weigh(evidence, prior))[:2]
    assert any({one[0], other[0]} == set(parts_of(name)) for group in groups for name in group.faults), groups


# ---- after a repair


def test_what_a_fault_hid_is_in_question_again_after_its_repair() -> None:
    """With the ground open nothing could be told of the pump's feed; with the pump running, much."""
    reasoner = reasoner_of(PUMP)
    evidence, named = read_until_done(reasoner, car_with(PUMP, ("pump_bolt:bad-joint", float("inf"))))
    assert "pump_bolt:bad-joint" in named
    prior = prior_after_repair(reasoner.table, reasoner.guesses, evidence, ["pump_bolt:bad-joint"])
    p = dict.fromkeys(reasoner.table.names, 0.0)
    for name, share in zip(reasoner.table.names, prior[:-1], strict=True):
        p[name] += share
    assert prior.sum() == pytest.approx(1.0)
    assert p[NOTHING_WRONG.name] > 0.2
    assert p["pump_bolt:bad-joint"] < 0.1
    assert p["pump:seized"] > 0.5 * p["pump:worn"] > 0


def test_what_was_seen_sound_before_the_repair_stays_ruled_out() -> None:
    """The coil circuit worked while the ground was open: an open coil is no suspect after the repair."""
    reasoner = reasoner_of(PUMP)
    car = car_with(PUMP, ("pump_bolt:bad-joint", float("inf")))
    evidence = answers(car, [check_of(PUMP, c) for c in (
        "click relay", "relay.86 to relay.85 volts on", "relay.87 to relay.30 volts on",
        "pump.minus to battery.neg volts on")])  # fmt: skip
    prior = prior_after_repair(reasoner.table, reasoner.guesses, evidence, ["pump_bolt:bad-joint"])
    before = prior_of(reasoner.table, reasoner.guesses)
    coil = np.append(np.array(reasoner.table.names) == "relay:coil-open", False)
    pump = np.append(np.array(reasoner.table.names) == "pump:seized", False)
    assert prior[coil].sum() / before[coil].sum() < 0.1 * prior[pump].sum() / before[pump].sum()


@pytest.mark.parametrize("name", [PUMP, FAN, "pump-oil-backup", "driving-lamps"])
def test_the_sign_off_reads_every_setup_in_which_it_should_work(name: str) -> None:
    reasoner = reasoner_of(name)
    checks = sign_off(reasoner.table, reasoner.checks)
    assert any(check.setup == reasoner.table.working for check in checks)
    assert all(check in reasoner.checks for check in checks)
    loads = set(reasoner.table.network.circuit.loads)
    assert loads == {check.about.partition(":")[2] for check in checks if check.kind == "observation"}


def test_what_was_renewed_twice_is_suspected_less_still() -> None:
    reasoner = reasoner_of(PUMP)
    names = np.append(np.array(reasoner.table.names), "")
    once = prior_after_repair(reasoner.table, reasoner.guesses, [], ["main_fuse:blown"])
    again = prior_after_repair(reasoner.table, reasoner.guesses, [], ["main_fuse:blown"], once, ["main_fuse:blown"])
    of_fuse = names == "main_fuse:blown"
    assert 0 < again[of_fuse].sum() < 0.1 * once[of_fuse].sum()
    assert again.sum() == pytest.approx(1)


def test_an_observation_that_the_leader_cannot_show_makes_one_think_of_two_faults() -> None:
    reasoner = reasoner_of(PUMP)
    car = car_with(PUMP, ("main_fuse:blown", None))
    runs = next(c for c in reasoner.checks if c.about.startswith("runs:") and c.setup == reasoner.table.working)
    readings = answers(car, [c for c in reasoner.checks if c.setup == reasoner.table.working and not c.about][:6])
    fits, does_not = (reasoner.weigh([*readings, Known(runs, choice=choice)]) for choice in (2, 0))
    assert not fits_badly(fits, reasoner.guesses)
    assert fits_badly(does_not, reasoner.guesses)


def test_no_circuit_is_called_sound_before_its_sign_off_is_complete() -> None:
    reasoner = reasoner_of(PUMP)
    car = car_with(PUMP, ("main_fuse:blown", None)).repaired(0)
    prior = prior_after_repair(reasoner.table, reasoner.guesses, [], ["main_fuse:blown"])
    evidence: list[Known] = []
    stand = Stand()
    while True:
        choice, belief = next_after_repair(reasoner, evidence, stand, frozenset(), prior)
        if choice is None:
            break
        evidence += answers(car, [choice.check])
        stand = Stand(choice.check.setup, choice.check.place)
    assert reasoner.ranked_groups(belief)[0].faults == (NOTHING_WRONG.name,)
    assert {check.id for check in sign_off(reasoner.table, reasoner.checks)} <= {k.check.first_id for k in evidence}


# ---- in a session


@pytest.fixture
def session(tmp_path: Path) -> Iterator[Session]:
    job = Session.start(PUMP, complaint="dead", folder=tmp_path)
    yield job
    job.close()


def drive(session: Session, car: Car) -> str:
    """Answers until the verdict; what it names."""
    while True:
        card = session.next_check()
        if isinstance(card, VerdictCard):
            return card.suspects[0].name
        session.record(card, car.answer(card.check))


def test_a_masked_second_fault_is_found_after_the_repair_and_undone_and_replayed(session: Session) -> None:
    car = car_with(PUMP, ("main_fuse:blown", None), ("pump:seized", None))
    first = drive(session, car)
    assert first == "main_fuse:blown"
    assert session.repaired(complaint="dead")
    assert session.state.evidence == []
    assert drive(session, car.repaired(0)) == "pump:seized"
    path, told = session.path, [line.probability for line in session.suspects()]
    session.close()
    again = Session.resume(path)
    assert [line.probability for line in again.suspects()] == pytest.approx(told)
    while again.state.evidence:
        again.undo()
    assert "repair" in again.undo()
    assert again.verdict().suspects[0].name == first
    again.close()


# ---- the cause behind the cause


def test_a_blown_fan_fuse_is_asked_whether_the_fan_is_seized() -> None:
    told = causes(table_of(FAN), load_guesses(), [], "main_fuse:blown")
    names = [cause.fault for cause in told]
    assert {"fan:seized", "fan_wire:shorted", ""} <= set(names)
    assert sum(cause.probability for cause in told) <= 1 + 1e-9
    assert all(cause.proof for cause in told)
    assert "main_fuse:bridged" not in names
    seized = next(cause for cause in told if cause.fault == "fan:seized")
    assert "a sound radiator fan turns on it" in seized.proof


def test_every_proof_in_ohms_is_with_the_power_off() -> None:
    for name in (PUMP, FAN):
        for fault in ("main_fuse:blown", "link:blown", "coil_fuse:blown"):
            for cause in causes(table_of(name), load_guesses(), [], fault):
                if "Meter on ohms" in cause.proof:
                    assert "battery negative clamp off" in cause.proof


def test_ohms_to_ground_rule_a_short_behind_the_fuse_out() -> None:
    """Read open on the dead side, the chafed wire there falls; what does not show in it stays."""
    table = table_of(FAN)
    before = {c.fault: c.probability for c in causes(table, load_guesses(), [], "main_fuse:blown")}
    car = car_with(FAN, ("main_fuse:blown", None))
    evidence = answers(
        car, [c for c in table.checks if c.is_ohms and c.red == "relay.30" and c.black.endswith("metal")][:1]
    )
    assert evidence
    after = {c.fault: c.probability for c in causes(table, load_guesses(), evidence, "main_fuse:blown")}
    assert after.get("fused_feed:shorted", 0.0) < 0.2 * before["fused_feed:shorted"]
    assert after["fan:seized"] > before["fan:seized"]


def test_a_fault_that_is_its_own_cause_has_none_behind_it() -> None:
    assert causes(table_of(FAN), load_guesses(), [], "fan_wire:shorted") == ()
