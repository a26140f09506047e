"""`find` in plain lines, with a scripted person: commands, nonsense at every prompt, nothing raw on the screen."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from troubleshoot.car.car import Car
from troubleshoot.circuit.checks import Check
from troubleshoot.parts.branch import Fault
from troubleshoot.plain.dialogue import Dialogue
from troubleshoot.session.cards import CheckCard
from troubleshoot.session.session import Session
from troubleshoot.words import say

GATE = ["no"] * len(say.SAFETY_QUESTIONS)
FIRST = ["11", "unknown", "", "yes", "no", "", ""]
"""Not sure, -, nothing touched, present, alone, no other tool, nothing that cannot be done."""


class Talk:
    """Feeds scripted lines and keeps what was told; a callable in the script gives its line when asked."""

    def __init__(self, session: Session, script: list[str | Callable[[], str]]) -> None:
        self.session = session
        self.script = list(script)
        self.told: list[str] = []
        self.prompts: list[str] = []

    def ask(self, prompt: str) -> str:
        self.prompts.append(prompt)
        if not self.script:
            raise EOFError
        line = self.script.pop(0)
        return line if isinstance(line, str) else line()

    def run(self) -> str:
        Dialogue(self.session, self.ask, self.told.append).run()
        return "\n".join(self.told)


@pytest.fixture
def fresh(tmp_path: Path) -> Iterator[Session]:
    begun = Session.start("pump-on-ignition-feed", folder=tmp_path)
    yield begun
    begun.close()


def talk(session: Session, *script: str | Callable[[], str]) -> tuple[str, Talk]:
    person = Talk(session, list(script))
    return person.run(), person


def id_of(session: Session) -> str:
    card = session.next_check()
    assert isinstance(card, CheckCard)
    return card.check.id


# ---- the gate and the first questions


@pytest.mark.parametrize("at", range(len(say.SAFETY_QUESTIONS)))
def test_a_yes_to_any_safety_question_stops_with_advice(fresh: Session, at: int) -> None:
    said, person = talk(fresh, *["no"] * at, "yes", "should not be asked")
    assert "Stop. Key off" in said
    assert fresh.state.stopped
    assert not fresh.state.cleared
    assert person.script == ["should not be asked"]


def test_the_safety_questions_come_before_anything_else(fresh: Session) -> None:
    _, person = talk(fresh, *GATE, "quit?")
    assert [p.removesuffix(" [yes/no] ") for p in person.prompts[: len(GATE)]] == list(say.SAFETY_QUESTIONS)


def test_a_stopped_job_asks_the_safety_questions_again_when_resumed(fresh: Session) -> None:
    talk(fresh, "yes")
    said, person = talk(fresh, *GATE, *FIRST, "quit")
    assert "was stopped" in said
    assert person.prompts[0].startswith(say.SAFETY_QUESTIONS[0])
    assert fresh.state.cleared


@pytest.mark.parametrize("nonsense", ["", "maybe", "42"])
def test_nonsense_at_every_prompt_before_the_first_check_is_asked_again(fresh: Session, nonsense: str) -> None:
    lines: list[str] = []
    for right in [*GATE, FIRST[0], FIRST[1]]:
        lines += [nonsense or "?", right]
    lines += [FIRST[2], "banana", FIRST[3], "banana", FIRST[4], "banana", FIRST[5], "banana", FIRST[6], "quit"]
    said, person = talk(fresh, *lines)
    assert person.script == []
    assert said.count("Please answer yes or no.") >= len(GATE)
    assert "Please give a number from 1 to 11." in said
    assert fresh.state.told
    assert fresh.state.told.complaint == "unsure"


HOSTILE = ["\x1b[31mno", "\x1b]0;title\x07", "no\x00", "n" * 300, "½", "\u202eno"]


@pytest.mark.parametrize("at", [0, len(GATE), len(GATE) + 1, len(GATE) + 2, len(GATE) + 4])
def test_hidden_or_endless_characters_at_a_question_are_refused_and_asked_again(fresh: Session, at: int) -> None:
    lines = [*GATE, *FIRST, "quit"]
    said, _ = talk(fresh, *lines[:at], *HOSTILE, *lines[at:])
    assert fresh.state.told, "the dialogue ended over an unreadable line"
    assert "\x1b" not in said
    assert "\x07" not in said


def test_a_complaint_may_be_given_by_number_or_by_name(fresh: Session) -> None:
    talk(fresh, *GATE, "weak", *FIRST[1:], "quit")
    assert fresh.state.told
    assert fresh.state.told.complaint == "weak"


def test_a_fault_that_is_away_is_warned_about(fresh: Session) -> None:
    said, _ = talk(fresh, *GATE, *FIRST[:3], "no", "no", "", "", "quit")
    assert "while the fault is away" in said.replace("\n  ", " ")


# ---- at a check


@pytest.mark.parametrize(
    "nonsense", ["banana", "", "12 bananas", "99999999", "ol ol", "1,2,3", "½", "x" * 300, "\x1b[2J12"]
)
def test_nonsense_at_a_check_is_refused_and_the_same_check_waits(session: Session, nonsense: str) -> None:
    before = id_of(session)
    said, person = talk(session, nonsense, "quit")
    assert session.state.entries == []
    assert person.script == []
    assert id_of(session) == before
    assert "\x1b" not in said
    assert len(said.splitlines()) > 3


def test_why_tells_what_each_answer_would_mean(session: Session) -> None:
    said, _ = talk(session, "why", "quit")
    card = session.next_check()
    assert isinstance(card, CheckCard)
    assert "In question now" in said
    for outcome, _ in card.meanings:
        assert outcome in said


def test_help_names_every_command(session: Session) -> None:
    said, _ = talk(session, "?", "quit")
    for word in ("why", "skip", "undo", "suspects", "readings", "verdict", "quit", "stop"):
        assert word in said


def test_suspects_readings_and_verdict_answer_without_using_the_check_up(session: Session) -> None:
    before = id_of(session)
    said, _ = talk(session, "suspects", "readings", "verdict", "quit")
    assert "%" in said
    assert "nothing yet" in said
    assert "Verdict:" in said
    assert "not sure yet" in said
    assert session.state.entries == []
    assert id_of(session) == before


def test_skip_goes_on_to_another_check_and_undo_comes_back(session: Session) -> None:
    before = id_of(session)
    said, _ = talk(session, "skip it rains", "undo", "undo", "quit")
    assert id_of(session) == before
    assert "Taken back" in said
    assert "There is nothing to take back." in said
    assert session.state.entries == []


def test_stop_at_a_check_stops_with_advice(session: Session) -> None:
    said, _ = talk(session, "stop smoke from the loom")
    assert "Stop. Key off" in said
    assert session.state.stopped == "smoke from the loom"


def test_a_long_cry_of_stop_stops_too(session: Session) -> None:
    said, _ = talk(
        session,
        "stop there is smoke coming out of the dash and i can smell fuel, what do i do now, it is getting worse",
    )
    assert session.state.stopped, said


def test_smoke_typed_instead_of_a_number_tells_how_to_stop(session: Session) -> None:
    said, _ = talk(session, "smoke!", "quit")
    assert "stop" in said.lower().split("smoke!")[-1]


def test_quit_says_where_it_is_kept_and_how_to_go_on(session: Session) -> None:
    said, _ = talk(session, "quit")
    assert str(session.path) in said
    assert "--resume" in said


def test_the_end_of_the_input_is_no_error(session: Session) -> None:
    said, _ = talk(session)
    assert "--resume" in said


def test_a_doubtful_value_is_asked_back(session: Session, check_of: Callable[[str], Check]) -> None:
    said, person = talk(session, "86 on 124", "1", "quit")
    assert "doubtful on a 12 V vehicle" in " ".join(person.prompts)
    assert "Noted: 12.4" in said
    assert len(session.state.entries) == 1


def test_a_doubtful_value_typed_anew_is_taken_as_typed(session: Session) -> None:
    """The question offers it: "or type it anew"."""
    said, _ = talk(session, "86 on 124", "12.1", "quit")
    assert [entry.text for entry in session.state.entries] == ["12.1"], said


def test_a_reading_of_ones_own_choice_is_taken_at_any_check(session: Session) -> None:
    said, _ = talk(session, "86 cranking 0.2", "quit")
    assert session.state.entries[0].check.red == "relay.86"
    assert "Noted: 200 mV" in said


def test_a_wrong_reading_of_ones_own_is_refused_with_a_hint(session: Session) -> None:
    said, _ = talk(session, "97 cranking 0.2", "quit")
    assert "no single point" in said
    assert session.state.entries == []


# ---- to the end


def test_a_car_is_found_out_and_the_record_reads_whole(fresh: Session, fault_named: Callable[[str], Fault]) -> None:
    car = Car(fresh.table.network, fault_named("main_fuse:blown"), None, 61)

    def typed() -> str:
        card = fresh.next_check()
        return car.answer(card.check) if isinstance(card, CheckCard) else ""

    said, person = talk(fresh, *GATE, "1", *FIRST[1:], *[typed] * 10)
    assert "Verdict:" in said
    verdict = fresh.verdict()
    assert verdict.sure
    assert "main_fuse:blown" in [line.name for line in verdict.suspects[:1] + verdict.look_alikes]
    assert "These readings must be right after the repair" in said
    assert "Repair:" in said
    # a path must not be broken; everything else fits a narrow terminal
    assert max(len(line) for line in person.told if str(fresh.path) not in line) <= 80


def test_tools_at_hand_are_told_by_their_numbers(fresh: Session) -> None:
    said, person = talk(fresh, *GATE, *FIRST[:5], "9", "1 clamp", "1, 3", "", "quit")
    assert person.script == []
    assert said.count("Please give numbers from 1 to 8") == 2
    assert fresh.state.told
    can = fresh.state.told.can
    assert (can.clamp, can.lamp, can.low_impedance, can.fused_leads) == (True, True, False, False)


# ---- why, at any time, and what cannot be done


def test_why_not_says_what_would_have_to_be_true_and_uses_nothing_up(session: Session) -> None:
    before = id_of(session)
    said, person = talk(session, "why not relay", "Why not the fuel pump?", "why not flux capacitor", "carries", "quit")
    assert person.script == []
    assert said.count("What would tell") + said.count("likeliest now") >= 2
    assert "no suspect is called" in said
    assert "Nothing has been answered yet" in said
    assert session.state.entries == []
    assert id_of(session) == before


def test_a_reason_that_holds_for_the_whole_job_is_said_back(session: Session) -> None:
    said, _ = talk(session, "skip can't reach the pump relay", "skip it rains", "quit")
    assert "For the rest of this job: nothing is asked at the pump relay." in said
    assert "Skipped, this once." in said
    assert session.state.can.cant_reach == ("relay",)


def test_what_cannot_be_done_is_asked_for_before_the_first_check_and_understood(fresh: Session) -> None:
    said, person = talk(fresh, *GATE, *FIRST[:6], "banana", "no ohms, relay is soldered in", "quit")
    assert person.script == []
    assert "Not understood: banana" in said
    assert "Understood: no ohms; the pump relay stays in." in said.replace("\n  ", " ")
    assert not fresh.state.can.ohms
    assert fresh.state.can.cant_remove == ("relay",)


@pytest.mark.parametrize(
    ("typed", "check"),
    [
        ("pump.plus on pump unplugged 12.4", "pump.plus to battery.neg volts on -pump"),
        ("lamp pump bright", "lamp pump on -pump with lamp@pump"),
        ("click relay no click", "click relay"),
    ],
)
def test_what_one_did_of_ones_own_accord_is_taken(session: Session, typed: str, check: str) -> None:
    talk(session, typed, "quit")
    assert [entry.check.id for entry in session.state.entries] == [check]


def test_after_the_verdict_one_may_ask_go_back_or_finish(fresh: Session, fault_named: Callable[[str], Fault]) -> None:
    car = Car(fresh.table.network, fault_named("main_fuse:blown"), None, 61)
    asked = ["why not relay", "carries", "banana", "undo"]

    def typed() -> str:
        card = fresh.next_check()
        if isinstance(card, CheckCard):
            return car.answer(card.check)
        return asked.pop(0) if asked else ""

    said, _ = talk(fresh, *GATE, "1", *FIRST[1:], *[typed] * 20)
    assert asked == []
    assert said.count("Verdict:") == 2
    assert "carries it" in said or "hangs on this" in said
    assert "Taken back" in said
    assert fresh.state.concluded


# ---- after the verdict


def test_a_repair_is_proved_until_nothing_is_wrong_any_more(fresh: Session) -> None:
    blown = next(fault for fault in fresh.table.network.faults if fault.name == "main_fuse:blown")
    car = [Car(fresh.table.network, blown, None, 3)]

    def answers() -> str:
        card = fresh.next_check()
        if isinstance(card, CheckCard):
            return car[0].answer(card.check)
        if fresh.state.repairs:
            return ""
        car[0] = car[0].repaired(0)
        return "repaired"

    said, _ = talk(fresh, *GATE, *FIRST, *[answers] * 60)
    assert fresh.state.repairs
    assert "Repaired: " in said
    verdict, after = said.split("Repaired: ")
    assert "When it is repaired: repaired" in verdict
    assert "The repair holds" in after
    assert "When it is repaired" not in after, "nothing is left to repair"


def test_before_a_verdict_nothing_is_repaired(fresh: Session) -> None:
    said, _ = talk(fresh, *GATE, *FIRST, "repaired")
    assert "no verdict yet" in said
    assert not fresh.state.repairs
