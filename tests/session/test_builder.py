"""The builder's questions and answers: nothing typed is refused without a word, nothing acknowledged is lost."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from troubleshoot.circuit.network import wire_up
from troubleshoot.errors import TypedWrong
from troubleshoot.files.circuit_file import load_circuit, parse_circuit
from troubleshoot.plain.builder_text import BuilderDialogue
from troubleshoot.session.builder import Builder
from troubleshoot.session.builder_answers import fits, read_value, say_value
from troubleshoot.session.builder_questions import Question, questions
from troubleshoot.session.builder_wiring import write_circuit
from troubleshoot.session.drafts import list_drafts
from troubleshoot.session.log import LogFailed

USUAL = {
    "title": "Old van", "load": "fuel pump", "count": "one", "takes": "6 A", "home": "in a vehicle", "key": "yes",
    "fuse.key": "30 A 0.3 m", "engine": "yes", "prevent": "module", "switching": "relay", "blades": "4: 30",
    "at.30": "constant feed", "fuse.30": "15 A 0.4 m", "wire.30": "red 12 AWG 1 m", "at.87": "load's feed",
    "wire.87": "blue 14 AWG 3 m", "at.86": "15: live", "fuse.86": "5 A", "wire.86": "yellow 18 AWG 1 m",
    "at.85": "ground", "ground.85": "body", "wire.85": "brown 18 AWG 0.3 m", "rating": "40 A", "coil": "nothing",
    "minus": "ground", "ground.load": "body", "wire.minus": "black 14 AWG 0.4 m", "cut_offs": "", "when": "whenever",
}  # fmt: skip
"""What is typed for a usual circuit, by question."""

NONSENSE = (
    "banana",
    "99",
    "-1",
    "0",
    "1 2 3 4 5 6 7 8",
    "[b]bold[/]",
    "½",
    "0x10",
    "nan",
    "12,6,4",
    "1e999",
    "--",
    "'; x",
)


@pytest.fixture
def builder(tmp_path: Path) -> Iterator[Builder]:
    made = Builder.start(tmp_path)
    yield made
    made.close()


def drive(builder: Builder, typed: Callable[[Question], str]) -> Builder:
    """Answers every question."""
    while question := builder.question:
        builder.answer(typed(question))
    return builder


def usual(question: Question) -> str:
    return USUAL[question.id]


def dont_know(question: Question) -> str:
    """Don't know, wherever that is an answer."""
    if question.kind in ("amps", "fuse", "seconds", "wire"):
        return "?"
    return (
        "don't know"
        if any(choice.value == "unknown" for choice in question.choices)
        else ""
        if question.default
        else "1"
    )


def drawn_at_random(rng: random.Random) -> dict[str, str]:
    """A whole set of answers, drawn."""
    typed = {
        "words": ["x", 'My "car": #1 [b]ü[/]'], "amps": ["?", "6 A", "55 W", "30 A"], "seconds": ["?", "0", "2"],
        "fuse": ["?", "none", "15 A", "5 A 0.3 m", "40 A 2 m"], "wire": ["?", "red 14 AWG 2 m", "2.5 mm2", "no/yes"],
    }  # fmt: skip
    told: dict[str, str] = {}
    while question := next((q for q in questions(told) if q.id not in told), None):
        if question.kind == "one":
            value = rng.choice(question.choices).value
        elif question.kind == "many":
            value = " ".join(choice.value for choice in question.choices if rng.random() < 0.4) or "none"
        else:
            value = read_value(question, rng.choice(typed[question.kind]))
        told[question.id] = value
    return told


# ---- answers


@pytest.mark.parametrize("typed", NONSENSE)
def test_nonsense_is_told_in_words_and_changes_nothing(builder: Builder, typed: str) -> None:
    """At every question of a usual circuit that has choices or wants a value with a unit."""
    while question := builder.question:
        before = builder.told
        if question.kind != "words":
            told = ""
            try:
                builder.answer(typed)
            except TypedWrong as error:
                told = error.problem.hint
                said = str(error)
            if question.id not in builder.told:
                assert told
                assert "\x1b" not in said
                assert builder.told == before
            else:  # it was an answer after all: "1 2" where many can be chosen, say
                assert not told
                assert fits(question, builder.told[question.id])
                builder.change(question.id)
        builder.answer(usual(question))
    assert builder.told["load"] == "fuel_pump"


def test_an_answer_is_a_number_its_words_their_beginning_or_some_of_them(builder: Builder) -> None:
    builder.answer("van")
    for typed in ("1", "a fuel pump", "fuel pump", "FUEL", "fuel"):
        builder.answer(typed)
        assert builder.told["load"] == "fuel_pump"
        builder.back()
    with pytest.raises(TypedWrong):  # "a fuel pump" and "another pump" both have it
        builder.answer("pump")


@pytest.mark.parametrize(
    ("typed", "value"),
    [
        ("red/white 14 AWG 1.2 m", "red/white|14 AWG|1.2 m"), ("1,2 m 2.5 mm2 Red", "red|2.5 mm2|1.2 m"),
        ("14awg", "|14awg|"), ("brown", "brown||"), ("4 ft", "||1.22 m"), ("50 cm", "||0.5 m"), ("?", "unknown"),
        ("", "unknown"),
    ],
)  # fmt: skip
def test_a_wire_is_told_in_any_order_and_in_part(typed: str, value: str) -> None:
    question = Question("wire.30", "wire", "?", default="unknown")
    assert read_value(question, typed) == value
    assert fits(question, value)
    assert say_value(question, value)


@pytest.mark.parametrize("typed", ["14", "red 14 AWG 900 m", "3 kg", "14 AWG 16 AWG", "500 mm2", "re\x1b[31md", "12 V"])
def test_a_wire_that_is_none_is_refused(typed: str) -> None:
    with pytest.raises(TypedWrong):
        read_value(Question("wire.30", "wire", "?", default="unknown"), typed)


@pytest.mark.parametrize("typed", ["1", "15 V", "none 3", "0 A", "0.5 m", "15 A 100 m", "9000 A"])
def test_a_fuse_that_is_none_is_refused(typed: str) -> None:
    with pytest.raises(TypedWrong):
        read_value(Question("fuse.30", "fuse", "?"), typed)


# ---- back, change, drafts


def test_back_takes_answer_after_answer_back_in_their_order(builder: Builder) -> None:
    drive(builder, usual)
    asked = [question.id for question, _ in builder.answers]
    taken = []
    while question := builder.back():
        taken.append(question.id)
    assert taken == asked[::-1]
    assert builder.told == {}


def test_a_changed_answer_brings_its_own_questions_and_drops_those_of_the_old_one(builder: Builder) -> None:
    drive(builder, usual)
    builder.change("at.86")
    assert builder.question
    assert builder.question.id == "at.86"
    builder.answer("ground")
    assert "fuse.86" not in builder.told
    assert builder.question.id == "ground.86"
    builder.answer("engine")
    assert builder.question is None
    assert "coil-two-grounds" in {finding.code for finding in builder.made().findings}


def test_without_a_key_what_the_key_feeds_is_asked_anew(builder: Builder) -> None:
    drive(builder, usual)
    builder.change("key")
    builder.answer("no")
    asked = []
    while question := builder.question:
        asked.append(question.id)
        builder.answer({"at.86": "constant", "fuse.86": "same", "when": "all the time"}[question.id])
    assert asked[0] == "at.86"
    assert "ignition" not in builder.made().text


def test_what_was_acknowledged_survives_a_torn_line_and_goes_on_where_it_was(tmp_path: Path) -> None:
    first = Builder.start(tmp_path)
    for _ in range(9):
        first.answer(usual(first.question))  # type: ignore[arg-type]
    first.change("takes")
    told, path = first.told, first.path
    first.close()
    with path.open("ab") as file:
        file.write(b'{"event":"answered","question":"takes","val')
    assert [draft.answers for draft in list_drafts(tmp_path)] == [8]
    second = Builder.resume(path)
    assert second.torn
    assert second.told == told
    assert second.question
    assert second.question.id == "takes"
    drive(second, usual)
    second.write(tmp_path / "van")
    second.close()
    assert list_drafts(tmp_path) == []


def test_quitting_in_the_middle_says_how_to_go_on_and_going_on_asks_nothing_twice(tmp_path: Path) -> None:
    lines: list[str] = []
    typed = iter(["Old van", "1", "back", "fuel", "answers", "help", "quit"])

    def ask(prompt: str) -> str:
        del prompt
        return next(typed)

    first = Builder.start(tmp_path)
    assert BuilderDialogue(first, ask, lines.append).run() is None
    first.close()
    assert "describe --resume" in " ".join(lines)
    second = Builder.resume(list_drafts(tmp_path)[0].path)
    assert second.told == {"title": "Old van", "load": "fuel_pump"}
    second.close()


def test_ctrl_c_keeps_what_was_answered(tmp_path: Path) -> None:
    typed = iter(["Old van"])

    def ask(prompt: str) -> str:
        del prompt
        try:
            return next(typed)
        except StopIteration:
            raise KeyboardInterrupt from None

    builder = Builder.start(tmp_path)
    assert BuilderDialogue(builder, ask, lambda line: None).run() is None
    builder.close()
    assert list_drafts(tmp_path)[0].title == "Old van"


def test_a_draft_is_held_by_one_at_a_time_and_a_file_that_is_none_is_refused(tmp_path: Path) -> None:
    first = Builder.start(tmp_path)
    first.answer("van")
    with pytest.raises(LogFailed):
        Builder.resume(first.path)
    first.close()
    other = tmp_path / "drafts" / "other.jsonl"
    other.write_text('{"event":"started"}\n', encoding="utf-8")
    with pytest.raises(LogFailed):
        Builder.resume(other)
    other.write_text("rubbish\n", encoding="utf-8")
    assert [draft.title for draft in list_drafts(tmp_path)] == ["van"]


def test_answers_in_a_draft_that_are_none_are_asked_anew(tmp_path: Path) -> None:
    first = Builder.start(tmp_path)
    drive(first, usual)
    path = first.path
    first.close()
    with path.open("a", encoding="utf-8") as file:
        file.write('{"event":"answered","question":"at.30","value":"the moon"}\n')
        file.write('{"event":"answered","question":"wire.87","value":"}|{|"}\n')
    second = Builder.resume(path)
    assert second.question
    assert second.question.id == "at.30"
    second.close()


# ---- the file


def test_not_knowing_anything_is_never_refused_and_gives_wide_bands(builder: Builder) -> None:
    made = drive(builder, dont_know).made()
    circuit = made.network.circuit
    assert made.guesses
    assert {finding.severity for finding in made.findings} <= {"doubt", "note"}
    assert all(wire.tolerance >= 0.5 for wire in circuit.wires)
    load = circuit.parts["load"]
    assert load.kind == "pump"
    assert load.resistance.relative >= 0.5


def test_what_was_told_is_in_the_file_and_what_was_not_is_called_invented(builder: Builder, tmp_path: Path) -> None:
    path = drive(builder, usual).write(tmp_path / "van")
    text = path.read_text(encoding="utf-8")
    circuit = load_circuit(path)
    wires = {wire.name: wire for wire in circuit.wires}
    load = wires["load_wire"]
    assert (load.gauge.text, load.length, load.colour, load.tolerance) == ("14 AWG", 3.0, "blue", 0.1)
    line = next(line for line in text.splitlines() if "name: load_wire" in line)
    assert line.endswith("# as told")
    line = next(line for line in text.splitlines() if "name: body_strap" in line)
    assert line.endswith("invented)")
    assert circuit.parts["fuse_30"].rating == 15.0  # type: ignore[union-attr]


def test_a_file_that_is_there_is_never_written_over(builder: Builder, tmp_path: Path) -> None:
    drive(builder, usual)
    there = tmp_path / "van"
    there.mkdir()
    (there / "circuit.yaml").write_text("mine", encoding="utf-8")
    with pytest.raises(TypedWrong, match="there already"):
        builder.write(there)
    assert (there / "circuit.yaml").read_text(encoding="utf-8") == "mine"
    with pytest.raises(TypedWrong):
        builder.write(there / "circuit.yaml")
    assert builder.write(tmp_path / "other").exists()


@pytest.mark.parametrize(
    "title", ['"x"', "a: b # c", "{x}", "- x", "on", "null", "*x", "my [b]car[/b]", "Käfer", "1.0"]
)
def test_a_title_stays_what_it_is(builder: Builder, title: str) -> None:
    made = drive(builder, lambda q: title if q.id == "title" else usual(q)).made()
    assert made.network.circuit.title == title


def test_a_circuit_that_no_wire_joins_to_the_battery_is_told_in_words(builder: Builder) -> None:
    told = {**USUAL, "at.87": "nothing", "plus": "nothing", "minus": "nothing"}
    drive(builder, lambda question: told[question.id])
    with pytest.raises(TypedWrong, match="load"):
        builder.made()


def test_whatever_is_answered_makes_a_circuit_that_loads_and_can_be_reviewed(tmp_path: Path) -> None:
    loaded = 0
    for seed in range(120):
        told = drawn_at_random(random.Random(seed))
        text = write_circuit(told).text
        if "no wire leads to" in _problems(text):
            continue
        wire_up(parse_circuit(text))
        loaded += 1
    assert loaded > 90


def _problems(text: str) -> str:
    from troubleshoot.errors import FileProblems

    try:
        parse_circuit(text)
    except FileProblems as error:
        return str(error) if {problem.code for problem in error.problems} == {"floating-part"} else ""
    return ""
