"""The one object that front ends talk to: events kept first, state only from them, nonsense changes nothing."""

from __future__ import annotations

import errno
import json
import os
from collections.abc import Callable
from pathlib import Path

import pytest

from troubleshoot.car.car import Car
from troubleshoot.circuit.checks import Check
from troubleshoot.errors import TroubleshootError, TypedWrong
from troubleshoot.parts.branch import Fault
from troubleshoot.session.cards import CheckCard, Outcome, Question, VerdictCard
from troubleshoot.session.log import LogFailed
from troubleshoot.session.session import Session
from troubleshoot.session.state import replay

SHIPPED = "pump-on-ignition-feed"


def events_of(session: Session) -> list[dict[str, object]]:
    return [json.loads(line) for line in session.path.read_text(encoding="utf-8").splitlines()]


def card_of(session: Session) -> CheckCard:
    card = session.next_check()
    assert isinstance(card, CheckCard)
    return card


def answers(session: Session, car: Car, count: int) -> list[str]:
    asked = []
    for _ in range(count):
        card = card_of(session)
        asked.append(card.check.id)
        assert isinstance(session.record(card, car.answer(card.check)), Outcome)
    return asked


@pytest.fixture
def car(session: Session, fault_named: Callable[[str], Fault]) -> Car:
    return Car(session.table.network, fault_named("pump_ground:bad"), 0.8, 51)


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


@pytest.mark.parametrize("nonsense", ["", "banana", "12 bananas", "OL", "1e99", "nan", "\x1b[31m12", "12 V AC", "x" * 500])
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
    "text,code",
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


# ---- the disk


def test_a_full_disk_loses_no_answer_and_answering_again_works(
    session: Session, car: Car, monkeypatch: pytest.MonkeyPatch
) -> None:
    answers(session, car, 1)
    card = card_of(session)
    typed, kept = car.answer(card.check), session.path.read_bytes()
    write = os.write

    def full(file: int, data: bytes) -> int:
        if len(data) > 10 and data.startswith(b"{"):
            return write(file, bytes(data)[:10])
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "write", full)
    with pytest.raises(LogFailed):
        session.record(card, typed)
    monkeypatch.undo()
    assert session.path.read_bytes() == kept
    assert len(session.state.entries) == 1
    assert session.next_check() == card
    assert isinstance(session.record(card, typed), Outcome)
    assert len(session.state.entries) == 2


def test_a_question_survives_a_full_disk_and_can_be_confirmed_again(
    session: Session, check_of: Callable[[str], Check], monkeypatch: pytest.MonkeyPatch
) -> None:
    session.record(check_of("relay.86 to battery.neg volts on"), "124")

    def full(file: int, data: bytes) -> int:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "write", full)
    with pytest.raises(LogFailed):
        session.confirm(0)
    monkeypatch.undo()
    assert session.confirm(0).understood


# ---- resuming


def test_a_job_goes_on_where_it_was_with_the_same_next_check(session: Session, car: Car) -> None:
    answers(session, car, 2)
    session.skip(card_of(session), "rain")
    expected, state = session.next_check(), session.state
    session.close()
    again = Session.resume(session.path)
    assert again.next_check() == expected
    assert again.state == state
    assert not again.torn
    again.close()


def test_a_second_session_on_one_log_is_told(session: Session) -> None:
    kept = session.path.read_bytes()
    with pytest.raises(LogFailed, match="another"):
        Session.resume(session.path)
    assert session.path.read_bytes() == kept


def test_a_job_with_a_torn_last_line_goes_on_and_says_so(session: Session, car: Car) -> None:
    answers(session, car, 1)
    expected = session.next_check()
    session.close()
    with session.path.open("ab") as file:
        file.write(b'{"at":"2026-01-01","event":"answ')
    again = Session.resume(session.path)
    assert again.torn
    assert again.next_check() == expected
    again.close()


@pytest.mark.parametrize(
    "line",
    [
        '{"event":"answered"}',
        '{"event":"answered","check":{},"text":"","known":{}}',
        '{"event":"from-the-future"}',
        '{"event":"told","complaint":"unsure","can":{"wings":1},"worked":"","touched":"","present":""}',
        '{"event":"answered","check":5,"text":"","known":{}}',
    ],
)
def test_an_event_that_cannot_be_understood_is_told_in_one_message(session: Session, line: str) -> None:
    session.close()
    with session.path.open("a", encoding="utf-8") as file:
        file.write(line + "\n")
    with pytest.raises(TroubleshootError) as raised:
        Session.resume(session.path)
    assert str(session.path) in str(raised.value)


def test_a_log_that_was_refused_is_let_go_and_can_be_resumed_once_repaired(session: Session) -> None:
    session.close()
    whole = session.path.read_bytes()
    session.path.write_bytes(whole.replace(b"\n", b"\nthis is no event\n", 1))
    with pytest.raises(LogFailed) as raised:
        Session.resume(session.path)
    assert raised.value.problem.code == "log-damaged"
    session.path.write_bytes(whole)
    Session.resume(session.path).close()


@pytest.mark.parametrize("content", ["", '{"event":"noted"}\n', '{"event":"started","format":99}\n'])
def test_what_is_no_session_is_refused(tmp_path: Path, content: str) -> None:
    path = tmp_path / "other.jsonl"
    path.write_text(content, encoding="utf-8")
    for _ in range(2):
        with pytest.raises(TypedWrong) as raised:
            Session.resume(path)
        assert raised.value.problem.code == "not-a-session"


def test_a_circuit_that_was_changed_meanwhile_does_not_change_the_job(session: Session) -> None:
    """The circuit's text is in the log."""
    state = replay(events_of(session))
    assert state == session.state
    started = events_of(session)[0]
    assert "pump_ground" in str(started["circuit_text"])


# ---- what it says


def test_the_verdict_is_honest_when_nothing_is_known_yet(session: Session) -> None:
    verdict = session.verdict()
    assert not verdict.sure
    assert verdict.probability < 0.5
    assert "not sure" in verdict.say


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
