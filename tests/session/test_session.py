"""The one object that front ends talk to: events kept first, state only from them, nonsense changes nothing."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path

import pytest
from job import answers, card_of, events_of

from troubleshoot.car.car import Car
from troubleshoot.circuit.checks import Check
from troubleshoot.errors import TypedWrong
from troubleshoot.session.cards import Outcome, Question, VerdictCard
from troubleshoot.session.session import Session

SHIPPED = "pump-on-ignition-feed"


# ---- beginning


def test_nothing_is_asked_of_the_disk_twice_for_one_event(session: Session, car: Car) -> None:
    answers(session, car, 1)
    session.skip(card_of(session), "rain")
    assert [event["event"] for event in events_of(session)] == [
        "started", "gate_cleared", "told", "answered", "skipped",
    ]  # fmt: skip


def test_an_answer_is_on_disk_before_it_shows_in_the_state(
    session: Session, car: Car, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = card_of(session)
    fsync = os.fsync

    def synced(file: int) -> None:
        assert session.state.entries == [], "acknowledged before it was safe"
        assert json.loads(session.path.read_text(encoding="utf-8").splitlines()[-1])["event"] == "answered"
        fsync(file)

    monkeypatch.setattr(os, "fsync", synced)
    session.record(card, car.answer(card.check))
    assert len(session.state.entries) == 1


def test_an_unknown_complaint_is_refused_with_those_there_are(tmp_path: Path) -> None:
    session = Session.start(SHIPPED, folder=tmp_path)
    session.clear_gate()
    with pytest.raises(TypedWrong) as raised:
        session.tell("makes-a-noise")
    assert raised.value.problem.code == "unknown-complaint"
    assert "cranks-no-start" in str(raised.value)
    assert session.state.told is None
    session.close()


@pytest.mark.parametrize(
    "can", [{"helpers": True}, {"helper": "perhaps"}, {"cant_reach": 5}, {"ohms": None}, {"helper": [1]}]
)
def test_a_bad_ability_is_refused_by_its_name(tmp_path: Path, can: dict[str, object]) -> None:
    session = Session.start(SHIPPED, folder=tmp_path)
    session.clear_gate()
    with pytest.raises(TypedWrong) as raised:
        session.tell("unsure", can)
    assert raised.value.problem.code == "bad-ability"
    assert f"can.{next(iter(can))}" in str(raised.value)
    assert session.state.told is None
    session.close()


def test_what_a_person_cannot_do_is_never_asked(tmp_path: Path) -> None:
    can = {"ohms": False, "cant_reach": ["at the tank"], "min_max": False, "long_leads": False}
    session = Session.start(SHIPPED, complaint="weak", can=can, folder=tmp_path)
    for check in session.reasoner.checks:
        assert not check.is_ohms
        assert check.place != "at the tank"
        assert check.function not in ("volts_min", "volts_max")
        assert not (check.setup.key == "cranking" and check.function == "volts")
    for _ in range(4):
        card = session.next_check()
        if isinstance(card, VerdictCard):
            break
        assert card.check.place != "at the tank"
        session.skip(card, "no")
    session.close()


def test_an_unknown_circuit_is_refused_with_those_there_are(tmp_path: Path) -> None:
    with pytest.raises(TypedWrong) as raised:
        Session.start("pump-on-the-moon", folder=tmp_path)
    assert SHIPPED in str(raised.value)
    assert list(tmp_path.iterdir()) == []


# ---- answers


@pytest.mark.parametrize(
    "nonsense", ["", "banana", "12 bananas", "OL", "1e99", "nan", "\x1b[31m12", "12 V AC", "x" * 500]
)
def test_nonsense_is_refused_with_a_hint_and_changes_nothing(
    session: Session, check_of: Callable[[str], Check], nonsense: str
) -> None:
    before, size = session.next_check(), session.path.stat().st_size
    with pytest.raises(TypedWrong) as raised:
        session.record(check_of("relay.86 to battery.neg volts on"), nonsense)
    assert "\x1b" not in str(raised.value)
    assert session.state.entries == []
    assert session.path.stat().st_size == size
    assert session.next_check() == before


@pytest.mark.parametrize("command", ["undo", "skip it", "stop smoke", "why"])
def test_a_command_is_no_answer(session: Session, command: str) -> None:
    with pytest.raises(TypedWrong):
        session.record(card_of(session), command)
    assert session.state.entries == []


def test_a_doubtful_value_is_asked_back_and_kept_only_when_confirmed(
    session: Session, check_of: Callable[[str], Check]
) -> None:
    check = check_of("relay.86 to battery.neg volts on")
    asked = session.record(check, "124")
    assert isinstance(asked, Question)
    assert asked.candidates
    assert session.state.entries == []
    for wrong in (-1, len(asked.candidates)):
        with pytest.raises(TypedWrong):
            session.confirm(wrong)
    outcome = session.confirm(0)
    assert outcome.understood == asked.candidates[0]
    assert session.state.entries[0].known
    assert session.state.entries[0].known.value == pytest.approx(12.4)
    with pytest.raises(TypedWrong):
        session.confirm(0)
    assert len(session.state.entries) == 1


def test_another_answer_puts_the_question_aside(session: Session, check_of: Callable[[str], Check]) -> None:
    check = check_of("relay.86 to battery.neg volts on")
    assert isinstance(session.record(check, "124"), Question)
    assert isinstance(session.record(check, "12.4"), Outcome)
    with pytest.raises(TypedWrong):
        session.confirm(0)
    assert len(session.state.entries) == 1


def test_a_reading_of_ones_own_choice_is_taken_from_words(session: Session) -> None:
    outcome = session.record_text("86 cranking 0.2")
    assert isinstance(outcome, Outcome)
    check = session.state.entries[0].check
    assert (check.red, check.black, check.setup.key) == ("relay.86", "battery.neg", "cranking")
    assert check.setup == session.table.crank
    session.record_text("30 to 87 on 0.1 V")
    check = session.state.entries[1].check
    assert (check.red, check.black, check.setup.key) == ("relay.30", "relay.87", "on")
    session.record_text("pump plus on 11.9")
    assert session.state.entries[2].check.red == "pump.plus"


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("86 0.2", "not-a-reading"),
        ("cranking 0.2", "not-a-reading"),
        ("86 cranking", "not-a-reading"),
        ("99 on 12", "unknown-point"),
        ("in on 12", "unknown-point"),
        ("86 to 86 on 0", "same-point"),
        ("86 on banana", "not-understood"),
        ("\x1b]0;x\x07 on 12", "unknown-point"),
    ],
)
def test_words_that_are_no_reading_are_refused_and_change_nothing(session: Session, text: str, code: str) -> None:
    with pytest.raises(TypedWrong) as raised:
        session.record_text(text)
    assert raised.value.problem.code == code
    assert "\x1b" not in str(raised.value)
    assert session.state.entries == []


def test_ohms_on_a_live_circuit_are_refused(session: Session) -> None:
    with pytest.raises(TypedWrong) as raised:
        session.record_reading("relay.86", "relay.85", "ohms", "on", "85")
    assert raised.value.problem.code == "live-ohms"


def test_undo_is_an_event_and_takes_the_last_answer_or_skip_back(session: Session, car: Car) -> None:
    first = session.next_check()
    assert session.undo() == ""
    answers(session, car, 1)
    second = session.next_check()
    session.skip(card_of(session), "wet")
    assert session.next_check() != second
    assert session.undo()
    assert session.next_check() == second
    assert session.undo()
    assert session.next_check() == first
    assert [event["event"] for event in events_of(session)][3:] == ["answered", "skipped", "undone", "undone"]


# ---- what it says


def test_the_verdict_is_honest_when_nothing_is_known_yet(session: Session) -> None:
    verdict = session.verdict()
    assert not verdict.sure
    assert verdict.probability < 0.5
    assert "not sure" in verdict.say


def test_why_a_verdict_comes_is_worked_out_when_asked_for_and_stays_of_its_own_moment(
    session: Session, car: Car
) -> None:
    """It takes longer than the verdict itself: what is shown at once must not wait for it."""
    answers(session, car, 2)
    asked_later, asked_at_once = session.verdict(), session.verdict()
    assert not asked_later.has_further
    because = asked_at_once.because
    assert asked_at_once.has_further
    session.undo()
    session.skip(card_of(session), "no ohms")
    assert asked_later.because == because != session.verdict().because


def test_what_was_repaired_may_be_named_by_its_part_and_the_likeliest_fault_of_it_is_meant(session: Session) -> None:
    session.record_text("86 cranking 0.1")
    likeliest = next(line for line in session.suspects(500) if line.name.startswith("ignition_out:"))
    assert session.repaired(("ignition_out",)) == (likeliest.say,)
    session.undo()
    with pytest.raises(TypedWrong, match="names no part"):
        session.repaired(("circuit",))
    assert session.state.repairs == []


def test_a_reading_without_current_says_what_it_cannot_tell(session: Session, check_of: Callable[[str], Check]) -> None:
    """Good with nothing connected, dead under load: 12 V on an unplugged pump feed proves no joint."""
    outcome = session.record(check_of("pump.plus to battery.neg volts on -pump"), "12.4")
    assert isinstance(outcome, Outcome)
    assert outcome.silent


def test_readings_stand_beside_what_a_healthy_car_shows(session: Session, car: Car) -> None:
    answers(session, car, 2)
    session.skip(card_of(session), "dark")
    lines = session.readings()
    assert len(lines) == 3
    assert "healthy" in lines[0]
    assert "skipped, dark" in lines[2]
