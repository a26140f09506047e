"""`tree walk` in plain lines: gate, steps, answers doubted, back, and the live diagnosis where the tree ends."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from troubleshoot.car.car import Car
from troubleshoot.circuit.network import Network
from troubleshoot.errors import TypedWrong
from troubleshoot.parts.branch import Fault
from troubleshoot.plain.dialogue import PAGE
from troubleshoot.plain.walk_text import WalkDialogue
from troubleshoot.session.cards import CheckCard
from troubleshoot.session.session import Session
from troubleshoot.session.walking import Walking
from troubleshoot.tree.walk import say_verdict
from troubleshoot.words import say

SMALL = Path(__file__).parents[1] / "tree" / "small_tree.yaml"
GATE = ["no", "no", "no"]


@pytest.fixture
def walking(tmp_path: Path) -> Iterator[Walking]:
    begun = Walking.start(SMALL, tmp_path)
    yield begun
    begun.session.close()


def talk(walking: Walking, *script: str, columns: int = PAGE) -> str:
    lines, told = list(script), list[str]()

    def ask(prompt: str) -> str:
        if not lines:
            raise EOFError
        told.append(f"{prompt}{lines[0]}")
        return lines.pop(0)

    WalkDialogue(walking, ask, told.append, columns).run()
    return "\n".join(told)


def flat(text: str) -> str:
    return " ".join(text.split())


def test_the_safety_questions_come_first_and_a_yes_stops_it(walking: Walking) -> None:
    told = talk(walking, "no", "yes")
    assert say.SAFETY_QUESTIONS[1] in told
    assert "Stop. Key off, move away" in told
    assert "Step 1" not in told


def test_readings_lead_to_a_verdict_with_cautions_on_the_way(walking: Walking) -> None:
    told = flat(talk(walking, *GATE, "6", "12,4 V", ""))
    assert "Step 1. Key on" in told
    assert "Caution: If run and start feeds are joined, the starter turns" in told
    assert "0.5 V to 11.0 V: go to 5." in told
    assert "Verdict 6. One of these: the contacts of the pump relay do not close" in told
    assert "Repair: a new relay, and look at the blades of its socket." in told
    assert walking.session.state.concluded.startswith("One of these: the contacts")
    assert [entry.text for entry in walking.session.state.entries] == ["6", "12,4 V"]


def test_from_a_verdict_of_several_one_goes_on_to_which_it_is_and_back(apart_file: Path) -> None:
    begun = Walking.start(apart_file, apart_file.parent)
    try:
        told = flat(talk(begun, *GATE, "0.1", "no click", "12.4", "which", "0.0", "which", "back"))
        verdict = begun.tree.verdicts["relay"]
        assert "Which of them is it? Type which: the tree tells, from" in told
        assert verdict.tell_apart == "coil_side"
        assert "One of these: the coil of the pump relay is open" in told
        assert "The coil of the pump relay is open" in told.partition("> 0.0")[2]
        assert "the tree has no steps behind this verdict" in told
        assert begun.at == "coil_side"  # the answer was taken back
        assert begun.way()[-1].to == "relay"
        assert "Taken back: which of them it is." in flat(talk(begun, "back"))
        assert begun.at == "relay"
        assert [passed.to for passed in begun.way()][-1] == "relay"
        talk(begun, "which", "12.1", "")
        assert begun.session.state.concluded == say_verdict(begun.tree, begun.tree.verdicts["coil_ground"]).say
        talk(begun, "back", "back", "back")  # the answer, the question, the answer before the verdict
        assert [entry.text for entry in begun.session.state.entries] == ["0.1", "no click"]
    finally:
        begun.session.close()


def test_which_is_no_answer_to_a_step(walking: Walking) -> None:
    assert "the tree has no steps behind" in flat(talk(walking, *GATE, "which"))
    assert walking.at == "output"


def test_a_narrow_terminal_gets_lines_that_fit(walking: Walking) -> None:
    told = talk(walking, *GATE, "6", columns=44).splitlines()
    prompts = (*say.SAFETY_QUESTIONS, "Kept in")  # a prompt and a path are not broken
    sentences = [line for line in told if not line.startswith(prompts)]
    assert "Step" in " ".join(sentences)
    assert max(map(len, sentences)) <= 44


def test_nonsense_and_doubtful_values_are_asked_back_and_lead_nowhere(walking: Walking) -> None:
    told = talk(walking, *GATE, "12.1.2", "wet", "", "124", "1")
    assert told.count("Step 1.") == 1
    assert "has more than one point or comma" in told
    assert "Which is it: 12.4 V, 1.24 V" in flat(told) or "Which is it" in told
    assert walking.at == "ground"


def test_back_takes_the_last_answer_back(walking: Walking) -> None:
    told = talk(walking, *GATE, "0.1", "no click", "back", "clicks")
    assert "Taken back" in told
    assert walking.at == "contacts"
    assert [passed.to for passed in walking.way()] == ["coil", "contacts"]
    talk(walking, "back", "back", "back")
    assert walking.at == "output"
    assert walking.way() == []


def test_what_cannot_be_done_goes_to_the_live_diagnosis_and_comes_back(walking: Walking) -> None:
    told = flat(talk(walking, *GATE, "6", "can't, no hand free"))
    assert "The tree ends where a check is not done: the live diagnosis goes on with what is known." in told
    assert "Check 3." in told  # the answer and the skip count
    assert walking.is_live
    told = flat(talk(walking, "tree", "12.3"))
    assert told.count("Step 5.") == 1
    assert walking.at == "contacts"
    assert not walking.is_live


def test_the_live_diagnosis_leads_back_into_the_tree_once_it_knows_the_branch(
    walking: Walking, network: Network, fault_named: Callable[[str], Fault]
) -> None:
    """The step that would tell the wires from the pump is skipped; other checks tell that the ground is open."""
    car = Car(network, fault_named("pump_ground:bad"), 1e5, 3)
    talk(walking, *GATE, car.answer(walking.step.check), "skip no room at the plug")
    assert walking.at == "ground"
    assert walking.is_live
    for _ in range(20):
        card = walking.session.next_check()
        if not walking.is_live or not isinstance(card, CheckCard):
            break
        talk(walking, car.answer(card.check))
    assert walking.at == "wires"
    assert not walking.is_live
    assert "Verdict 4. One of these: the orange wire (pump wire)" in flat(talk(walking, ""))


def test_who_chose_the_live_diagnosis_is_not_led_back_before_asking(walking: Walking) -> None:
    talk(walking, *GATE, "0.2", "live", "skip")
    assert walking.is_live
    assert walking.taken_up() == ""
    assert "Step 8" in talk(walking, "tree")


def test_a_reading_that_wanders_between_branches_goes_to_the_live_diagnosis(walking: Walking) -> None:
    told = flat(talk(walking, *GATE, "0.1 to 8"))
    assert "The tree has no branch for such a reading" in told
    assert walking.session.state.entries[0].known is not None
    assert walking.is_live


def test_the_log_is_gone_on_with_as_a_walk_or_as_a_plain_job(walking: Walking) -> None:
    talk(walking, *GATE, "6")
    walking.session.close()
    again = Walking.resume(walking.session.path)
    assert again.at == "drop"
    assert "Step 5." in talk(again)
    again.session.close()
    job = Session.resume(walking.session.path)
    assert [entry.text for entry in job.state.entries] == ["6"]
    job.close()


def test_a_walk_whose_tree_has_changed_goes_on_as_a_plain_job(tmp_path: Path) -> None:
    file = tmp_path / "tree.yaml"
    text = SMALL.read_text().replace("../../trees", str(SMALL.parents[2] / "trees"))
    file.write_text(text)
    begun = Walking.start(file, tmp_path)
    talk(begun, *GATE, "6")
    begun.session.close()
    file.write_text(text.replace("  drop:", "  lower:").replace(": drop", ": lower"))
    with pytest.raises(TypedWrong, match=r"no step 'drop' any more .*find --resume"):
        Walking.resume(begun.session.path)
    Session.resume(begun.session.path).close()  # and the log is free for it


def test_a_job_without_a_walk_is_no_walk(tmp_path: Path) -> None:
    job = Session.start("pump-on-ignition-feed", folder=tmp_path)
    job.close()
    with pytest.raises(TypedWrong, match="no tree was walked in this job"):
        Walking.resume(job.path)


def test_stop_and_quit_work_at_every_step(walking: Walking) -> None:
    assert "tree walk --resume" in talk(walking, *GATE, "quit")
    assert "Stop. Key off" in talk(walking, "stop, smell of fuel")
    assert walking.session.state.stopped == "smell of fuel"


def test_escapes_from_a_file_and_from_a_person_do_not_reach_the_screen(walking: Walking) -> None:
    told = talk(walking, *GATE, "\x1b[31m12", "skip \x1b[2J", "quit")
    assert "\x1b" not in told.replace("> \x1b[31m12", "").replace("> skip \x1b[2J", "")
