"""`find --json`: one object a line each way, every documented input, nothing that ends it but its own ends."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from troubleshoot.car.car import Car
from troubleshoot.parts.branch import Fault
from troubleshoot.plain.json_lines import JsonLines
from troubleshoot.session.cards import CheckCard
from troubleshoot.session.session import Session

CHECK_FIELDS = {
    "id", "kind", "red", "black", "function", "setup", "say", "why", "cautions", "answers", "healthy", "unit", "cost_s",
}  # fmt: skip
SETUP_FIELDS = {
    "key", "before", "relay", "unplugged", "fitted", "fuses_out", "battery_negative", "start_prevented_by", "operated",
    "warm",
}  # fmt: skip
CLEAR, UNSURE = {"gate": "clear"}, {"complaint": "unsure"}


@pytest.fixture
def fresh(tmp_path: Path) -> Iterator[Session]:
    begun = Session.start("pump-on-ignition-feed", folder=tmp_path)
    yield begun
    begun.close()


def talk(session: Session, *lines: dict[str, Any] | str) -> list[dict[str, Any]]:
    """Sends the lines and gives all that came out, each made into its JSON line and back."""
    out: list[dict[str, Any]] = []

    def tell(data: dict[str, Any]) -> None:
        line = json.dumps(data, ensure_ascii=False, allow_nan=False)
        assert "\n" not in line
        line.encode()  # no half characters
        out.append(json.loads(line))

    JsonLines(session, tell).run(line if isinstance(line, str) else json.dumps(line) for line in lines)
    return out


def types(out: list[dict[str, Any]]) -> list[str]:
    return [data["type"] for data in out]


# ---- the order of things


def test_hello_comes_first_and_carries_the_protocol(fresh: Session) -> None:
    hello, gate = talk(fresh)
    assert hello["type"] == "hello"
    assert hello["protocol"] == 1
    assert hello["circuit"] == "pump-on-ignition-feed"
    assert "cranks-no-start" in hello["complaints"]
    assert gate["type"] == "gate"
    assert len(gate["questions"]) == 3


def test_nothing_is_answered_before_the_gate_and_the_complaint(fresh: Session) -> None:
    early: list[dict[str, Any]] = [
        UNSURE,
        {"value": "12.4 V"},
        {"verdict": True},
        {"skip": "no"},
        {"undo": True},
        {"reading": {}},
    ]
    out = talk(fresh, *early, CLEAR, {"value": "12.4 V"}, {"verdict": True}, UNSURE)
    assert types(out) == ["hello", "gate", *["problem"] * 8, "check"]
    assert fresh.state.entries == []


def test_a_gate_that_is_not_clear_stops_with_advice(fresh: Session) -> None:
    out = talk(fresh, {"gate": "fuel smell"}, CLEAR)
    assert types(out) == ["hello", "gate", "stopped"]
    assert "Key off" in out[-1]["say"]
    assert fresh.state.stopped == "fuel smell"


def test_stop_stops_at_any_time_even_before_the_gate(fresh: Session) -> None:
    out = talk(fresh, {"stop": "fuel smell"}, CLEAR)
    assert types(out) == ["hello", "gate", "stopped"]
    assert fresh.state.stopped == "fuel smell"


def test_a_resumed_job_sends_its_check_at_once(session: Session) -> None:
    assert types(talk(session)) == ["hello", "check"]


# ---- what is documented


def test_a_check_has_every_documented_field(session: Session) -> None:
    check = talk(session)[-1]
    assert set(check) >= CHECK_FIELDS
    assert set(check["setup"]) == SETUP_FIELDS
    assert check["kind"] in ("reading", "observation")
    assert check["cost_s"] > 0
    if check["kind"] == "reading":
        low, high = check["healthy"]
        assert low <= high
        assert check["unit"] in ("V", "ohm")
        assert check["answers"] == []
    else:
        assert check["answers"]


def test_a_complaint_may_come_with_abilities(fresh: Session) -> None:
    out = talk(fresh, CLEAR, {"complaint": "weak", "can": {"helper": True, "ohms": False, "cant_reach": ["pump"]}})
    assert types(out) == ["hello", "gate", "check"]
    assert fresh.state.told
    assert fresh.state.told.can.helper
    assert fresh.state.told.can.cant_reach == ("pump",)


@pytest.mark.parametrize(
    "wrong",
    [
        {"complaint": "sulks"}, {"complaint": None}, {"complaint": "weak", "can": {"wings": True}},
        {"complaint": "weak", "can": 5}, {"complaint": ["weak"]},
    ],
)  # fmt: skip
def test_a_wrong_complaint_is_a_problem_and_the_right_one_is_still_taken(fresh: Session, wrong: dict[str, Any]) -> None:
    out = talk(fresh, CLEAR, wrong, UNSURE)
    assert types(out) == ["hello", "gate", "problem", "check"]


def test_a_value_brings_an_outcome_and_the_next_check(session: Session) -> None:
    first, *_ = talk(session)[1:]
    out = talk(session, {"value": "12.4 V"} if first["kind"] == "reading" else {"observed": first["answers"][0]})
    assert types(out) == ["hello", "check", "outcome", "check"]
    assert out[2]["understood"]
    assert {"ruled_out", "raised", "cannot_tell", "doubted"} <= set(out[2])
    assert out[3]["id"] != out[1]["id"]


def test_a_value_may_be_a_plain_number(session: Session) -> None:
    session.skip(next(c for c in session.table.checks if c.id == "click relay"))
    out = talk(session, {"value": 0.02})
    assert "outcome" in types(out) or out[1]["kind"] == "observation"


def test_an_observation_is_taken_by_its_word(session: Session) -> None:
    for _ in range(30):
        check = talk(session)[-1]
        if check["type"] != "check" or check["kind"] == "observation":
            break
        talk(session, {"skip": "looking for an observation"})
    assert check["kind"] == "observation"
    out = talk(session, {"observed": "banana"}, {"observed": check["answers"][0]})
    assert types(out)[:4] == ["hello", "check", "problem", "outcome"]
    assert out[3]["understood"] == check["answers"][0]


def test_a_doubtful_value_is_a_question_and_confirm_answers_it(session: Session) -> None:
    reading = {"reading": {"red": "relay.86", "setup": {"key": "on"}, "value": "124"}}
    out = talk(session, reading, {"confirm": True})
    assert [t for t in types(out) if t in ("question", "outcome")] == ["question", "outcome"]
    question = next(data for data in out if data["type"] == "question")
    assert question["candidates"][0].startswith("12.4")
    assert len(session.state.entries) == 1


def test_a_question_waits_for_its_answer_before_anything_else_is_sent(session: Session) -> None:
    out = talk(session, {"reading": {"red": "relay.86", "setup": {"key": "on"}, "value": "124"}})
    assert types(out) == ["hello", "check", "question"]


def test_a_candidate_may_be_confirmed_by_its_number(session: Session) -> None:
    talk(session, {"reading": {"red": "relay.86", "setup": {"key": "on"}, "value": "124"}}, {"confirm": 1})
    assert session.state.entries[0].known
    assert session.state.entries[0].known.value == pytest.approx(0.124)


def test_a_question_that_is_denied_records_nothing(session: Session) -> None:
    talk(session, {"reading": {"red": "relay.86", "setup": {"key": "on"}, "value": "124"}}, {"confirm": False})
    assert session.state.entries == []


def test_confirm_without_a_question_is_a_problem(session: Session) -> None:
    assert types(talk(session, {"confirm": True})) == ["hello", "check", "problem"]


def test_skip_undo_and_verdict_do_what_they_say(session: Session) -> None:
    out = talk(session, {"skip": "rain"}, {"undo": True}, {"verdict": True})
    assert types(out) == ["hello", "check", "check", "check", "verdict"]
    assert out[2]["id"] != out[1]["id"] == out[3]["id"]
    verdict = out[4]
    assert {"suspects", "look_alikes", "repair", "prove"} <= set(verdict)
    assert {"part", "mode", "probability"} <= set(verdict["suspects"][0])
    assert not verdict["sure"]


BATTERY_OFF = {"key": "off", "relay": "out", "unplugged": ["pump"], "battery_negative": "off"}


def test_a_reading_of_ones_own_choice_is_taken_from_its_fields(session: Session) -> None:
    reading = {"red": "relay.85", "black": "frame.metal", "function": "ohms", "value": "0.3", "setup": BATTERY_OFF}
    assert types(talk(session, {"reading": reading})) == ["hello", "check", "outcome", "check"]
    taken = session.state.entries[0].check
    assert taken.setup.removed == {"battery", "pump", "relay"}
    assert taken.id in {check.id for check in session.table.checks}


def test_the_ohms_of_a_pulled_relays_coil_may_be_told_as_a_reading(session: Session) -> None:
    """Its blades are among the points of hello, and the program itself asks for this reading."""
    hello = talk(session)[0]
    reading = {
        "red": "relay.86.blade",
        "black": "relay.85.blade",
        "function": "ohms",
        "value": "85",
        "setup": BATTERY_OFF,
    }
    assert {reading["red"], reading["black"]} <= set(hello["points"])
    assert types(talk(session, {"reading": reading})) == ["hello", "check", "outcome", "check"]


def test_a_check_sent_out_may_be_sent_back_as_a_reading(session: Session) -> None:
    """A program that repeats a check's own fields names the same check."""
    for _ in range(12):
        check = talk(session)[-1]
        if check["kind"] == "reading":
            break
        talk(session, {"skip": "no"})
    fields = {name: check[name] for name in ("red", "black", "function", "setup")}
    out = talk(session, {"reading": {**fields, "value": "0.5"}})
    assert "outcome" in types(out)
    assert session.state.entries[-1].check.id == check["id"]


# ---- what is wrong


@pytest.mark.parametrize(
    "wrong",
    [
        "{", "nonsense", "[]", "5", '"value"', "null", "{}", '{"vaule": "12"}', '{"value": null}', '{"value": []}',
        '{"value": "banana"}', '{"value": "quit"}', '{"value": "undo"}', '{"reading": 5}', '{"reading": {}}',
        '{"reading": {"red": "relay.86", "value": "1"}}',
        '{"reading": {"red": "x", "setup": {"key": "on"}, "value": 1}}',
        '{"reading": {"red": "relay.86", "setup": [], "value": 1}}', '{"confirm": 7}', '{"value": NaN}',
        '{"reading": {"red": "relay.86", "setup": {"key": "on", "unplugged": ["moon"]}, "value": 1}}',
        "x" * 200_000, '{"value": "' + "1" * 200_000 + '"}', "[" * 60_000, '{"value": "\\ud800"}', "\x1b[2J", "\x00",
        '{"skip": "\\ud800"}', '{"value": {"a": 1}}', '{"value": true}',
    ],
    ids=lambda text: text[:40].encode("unicode_escape").decode(),
)  # fmt: skip
def test_a_wrong_line_is_a_problem_and_the_talk_goes_on(session: Session, wrong: str) -> None:
    before = session.state.entries
    out = talk(session, wrong, {"verdict": True})
    assert types(out) == ["hello", "check", "problem", "verdict"]
    assert out[2]["message"]
    assert len(out[2]["message"]) < 2000
    assert "\x1b" not in out[2]["message"]
    assert session.state.entries == before


def test_an_empty_line_is_nothing(session: Session) -> None:
    assert types(talk(session, "", "  \n", {"verdict": True})) == ["hello", "check", "verdict"]


def test_the_end_of_the_lines_ends_it_and_the_job_can_be_resumed(session: Session) -> None:
    talk(session, {"skip": "rain"})
    session.close()
    again = Session.resume(session.path)
    assert len(again.state.entries) == 1
    again.close()


# ---- why


def test_why_not_and_carries_bring_an_answer_and_leave_the_check_waiting(session: Session) -> None:
    out = talk(session, {"reading": {"red": "relay.86", "setup": {"key": "on"}, "value": "0.01"}},
               {"why_not": "relay"}, {"carries": True}, {"why_not": "banana"}, {"verdict": True})  # fmt: skip
    assert types(out) == ["hello", "check", "outcome", "check", "why", "why", "problem", "verdict"]
    assert {"say", "suspects", "probability", "leads", "wrong", "without", "check"} <= set(out[4])
    assert out[4]["say"]
    assert [set(one) for one in out[5]["carriers"]] in ([], [{"check", "leader", "probability", "left"}])
    assert out[7]["because"]


def test_an_outcome_tells_in_numbers_what_moved(session: Session) -> None:
    out = talk(session, {"reading": {"red": "relay.86", "setup": {"key": "on"}, "value": "0.01"}})
    moves = out[2]["moves"]
    assert moves
    assert all(0 <= move["before"] <= 1 and 0 <= move["after"] <= 1 for move in moves)
    assert any(move["after"] > move["before"] for move in moves)
    assert any(move["after"] < move["before"] for move in moves)
    assert out[2]["compared"].startswith("a healthy car:")


def test_a_skip_that_teaches_is_noted_with_what_one_can_do_now(session: Session) -> None:
    out = talk(session, {"skip": "no ohms"}, {"skip": "the dog"})
    assert types(out) == ["hello", "check", "noted", "check", "check"]
    assert out[2]["can"]["ohms"] is False


# ---- after the verdict


@pytest.fixture
def to_verdict(session: Session, fault_named: Callable[[str], Fault]) -> None:
    """The job is at its verdict: a blown main fuse."""
    car = Car(session.table.network, fault_named("main_fuse:blown"), None, 3)
    while isinstance(card := session.next_check(), CheckCard):
        session.record(card, car.answer(card.check))


def test_before_a_verdict_nothing_is_repaired(session: Session) -> None:
    out = talk(session, {"repaired": True}, {"verdict": True}, {"repaired": "relay"})
    assert types(out) == ["hello", "check", "problem", "verdict", "problem"]
    assert session.state.repairs == []


def test_after_the_verdict_repaired_goes_on_and_undo_takes_it_back(session: Session, to_verdict: None) -> None:
    out = talk(session, {"repaired": True}, {"undo": True})
    assert types(out) == ["hello", "verdict", "repaired", "check", "verdict"]
    leading = out[1]["suspects"][0]
    assert out[2]["suspects"] == [{"part": leading["part"], "mode": leading["mode"]}]
    assert leading["say"] in out[2]["say"]
    assert session.state.repairs == []


@pytest.mark.parametrize("named", ["main_fuse", "main_fuse:blown"])
def test_what_was_repaired_may_be_named_by_its_part(session: Session, to_verdict: None, named: str) -> None:
    out = talk(session, {"repaired": named})
    assert types(out) == ["hello", "verdict", "repaired", "check"]
    assert out[2]["suspects"] == [{"part": "main_fuse", "mode": "blown"}]


@pytest.mark.parametrize("named", ["moon", "nothing-wrong", "", ["main_fuse"], None, False, 5, "\x1b[2J"])
def test_what_names_no_part_is_a_problem_and_repairs_nothing(session: Session, to_verdict: None, named: Any) -> None:
    out = talk(session, {"repaired": named}, {"value": "12.4"})
    assert types(out) == ["hello", "verdict", "problem", "problem"]
    assert "as in the verdict" in out[2]["message"]
    assert "\x1b" not in out[2]["message"]
    assert session.state.repairs == []
