"""A job and its log: a full disk loses nothing, and a job goes on where its log ends or says why not."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable
from pathlib import Path

import pytest
from job import answers, card_of, events_of

from troubleshoot.car.car import Car
from troubleshoot.circuit.checks import Check
from troubleshoot.errors import TroubleshootError, TypedWrong
from troubleshoot.session.cards import Outcome
from troubleshoot.session.log import LogFailed
from troubleshoot.session.session import Session
from troubleshoot.session.state import replay

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
