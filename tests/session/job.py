"""What the session tests do again and again: read the log, take the next check, answer a few."""

from __future__ import annotations

import json

from troubleshoot.car.car import Car
from troubleshoot.session.cards import CheckCard, Outcome
from troubleshoot.session.session import Session


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
