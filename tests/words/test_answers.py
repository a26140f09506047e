"""Everything a person may type back to a check: the table of oddities, and properties of any text."""

from __future__ import annotations

import subprocess
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typed_oddities import CLICKS, ODDITIES, SEEN, YES_NO

from troubleshoot.units import show
from troubleshoot.words.answers import (
    Answer,
    Command,
    Doubtful,
    OverLimit,
    Refused,
    Seen,
    Skip,
    Stop,
    Value,
    Wander,
    read_answer,
)


def meaning(answer: Answer) -> object:
    """Say an answer the way the table of oddities does."""
    match answer:
        case Value(value, _, about, _):
            return ("about", pytest.approx(value)) if about else pytest.approx(value)
        case OverLimit():
            return "OL"
        case Wander(low, high, _):
            return (pytest.approx(low), pytest.approx(high))
        case Doubtful(_, candidates, _):
            return ("doubtful", *[meaning(candidate) for candidate in candidates])
        case Refused():
            return "refused"
    return answer


@pytest.mark.parametrize(("text", "expects", "must_be"), ODDITIES)
def test_typed_oddities_are_understood_or_refused_but_never_misread(text, expects, must_be):
    assert meaning(read_answer(text, expects)) == must_be


@pytest.mark.parametrize(("text", "choices", "must_be"), SEEN)
def test_an_observation_is_matched_only_where_it_is_unambiguous(text, choices, must_be):
    answer = read_answer(text, "observation", choices)
    if must_be == "refused":
        assert isinstance(answer, Refused)
        assert answer.message
        assert answer.hint
    else:
        assert isinstance(answer, Seen)
        assert answer.choice == must_be


def test_there_are_at_least_three_hundred_oddities_and_none_twice():
    rows = [(text, expects) for text, expects, _ in ODDITIES] + [(text, choices) for text, choices, _ in SEEN]
    assert len(rows) >= 300
    assert len(set(rows)) == len(rows)


@pytest.mark.parametrize(
    ("text", "expects", "resolution"),
    [
        ("12.4", "voltage", 0.1),
        ("12.40", "voltage", 0.01),
        ("12", "voltage", 1.0),
        ("12.", "voltage", 1.0),
        ("450mV", "voltage", 0.001),
        ("12,456 V", "voltage", 0.001),
        ("1.2k", "resistance", 100.0),
        ("90 ohm", "resistance", 1.0),
        (".5", "resistance", 0.1),
    ],
)
def test_the_last_digit_typed_is_the_resolution(text, expects, resolution):
    answer = read_answer(text, expects)
    assert isinstance(answer, Value)
    assert answer.resolution == pytest.approx(resolution)


def test_a_candidate_keeps_the_resolution_of_its_own_meaning():
    answer = read_answer("1240", "voltage")
    assert isinstance(answer, Doubtful)
    assert [candidate.resolution for candidate in answer.candidates] == pytest.approx([0.01, 0.001])


@pytest.mark.parametrize("expects", ["voltage", "resistance", "observation"])
@pytest.mark.parametrize(
    ("text", "must_be"),
    [
        ("why", Command("why")),
        ("Why?", Command("why")),
        ("undo", Command("undo")),
        ("UNDO!", Command("undo")),
        ("?", Command("?")),
        ("??", Command("?")),
        ("help", Command("?")),
        ("verdict", Command("verdict")),
        ("suspects", Command("suspects")),
        ("readings", Command("readings")),
        ("q", Command("quit")),
        ("exit", Command("quit")),
        ("quit", Command("quit")),
        ("skip", Skip("")),
        ("skip can't reach", Skip("can't reach")),
        ("Skip: no lamp here", Skip("no lamp here")),
        ("stop fuel smell", Stop("fuel smell")),
        ("STOP", Stop("")),
        ("unsafe, smoke under the dash", Stop("smoke under the dash")),
        ("stop!", Stop("")),
    ],
)
def test_skips_stops_and_commands_work_at_every_check(text, expects, must_be):
    assert read_answer(text, expects, CLICKS) == must_be


def test_a_stop_is_obeyed_however_long_or_garbled():
    assert isinstance(read_answer("stop " + "smoke " * 5000, "voltage"), Stop)
    assert read_answer("\x1b[31mstop\x07 smoke", "voltage") == Stop("smoke")


def test_a_long_reason_to_skip_is_kept_and_cut():
    answer = read_answer("skip " + "the plug is behind the tank " * 50, "voltage")
    assert isinstance(answer, Skip)
    assert answer.why.startswith("the plug is behind the tank the plug")
    assert len(answer.why) <= 200


def test_words_that_begin_like_a_command_are_not_commands():
    assert isinstance(read_answer("stopped", "observation", ("stopped", "runs")), Seen)
    assert isinstance(read_answer("skipping", "voltage"), Refused)


def test_smoke_typed_instead_of_a_number_brings_the_way_to_stop():
    answer = read_answer("I see smoke", "voltage")
    assert isinstance(answer, Refused)
    assert "stop" in answer.hint


@pytest.mark.parametrize(
    ("text", "expects", "word"),
    [
        ("90 ohm", "voltage", "resistance"),
        ("12 V", "resistance", "voltage"),
        ("OL", "voltage", "higher"),
        ("-0.3", "resistance", "live"),
        ("12 VAC", "voltage", "DC"),
        ("4", "observation", "no click"),
        ("1,234.5", "voltage", "thousands"),
    ],
)
def test_a_refusal_says_what_would_be_right(text, expects, word):
    answer = read_answer(text, expects, CLICKS)
    assert isinstance(answer, Refused)
    assert word in f"{answer.message} {answer.hint}"


def test_the_question_names_every_candidate():
    answer = read_answer("124", "voltage")
    assert isinstance(answer, Doubtful)
    assert "12.40 V" in answer.question
    assert "124 mV" in answer.question


def test_an_unknown_kind_of_check_is_the_callers_error():
    with pytest.raises(ValueError, match="expects"):
        read_answer("12", "power")


AWKWARD = st.text(alphabet="0123456789.,-+ VvmMkKΩohmOLolto~?\x1b[]…²½１。\u200b\ud800", max_size=14)


@given(st.text(max_size=60) | AWKWARD, st.sampled_from(["voltage", "resistance", "observation"]))
@settings(max_examples=400, deadline=None)
def test_no_text_raises_and_all_that_is_echoed_is_printable(text, expects):
    answer = read_answer(text, expects, YES_NO)
    for echoed in vars(answer).values():
        if isinstance(echoed, str):
            assert echoed.isprintable()
            echoed.encode("utf-8")
    if isinstance(answer, Refused):
        assert answer.message


@given(st.text(max_size=2000))
@settings(max_examples=100, deadline=None)
def test_a_refusal_echoes_at_most_forty_characters_of_what_was_typed(text):
    answer = read_answer("zz" + text, "voltage")
    assert isinstance(answer, Refused)
    quoted = answer.message[1 : answer.message.rindex('": ')] if '": ' in answer.message else answer.message
    assert len(quoted) <= 40


@given(st.integers(-2000, 2000), st.sampled_from(["{}", "{} V", "{}v", "{} volts"]), st.sampled_from(".,"))
@settings(deadline=None)
def test_volts_round_trip_however_written(centivolts, pattern, point):
    text = pattern.format(f"{centivolts / 100:.2f}").replace(".", point)
    answer = read_answer(text, "voltage")
    assert isinstance(answer, Value)
    assert answer.value == centivolts / 100
    assert answer.resolution == 0.01


@given(st.floats(0.1, 20), st.booleans())
@settings(deadline=None)
def test_volts_as_shown_are_read_back_to_three_digits(value_v, ascii_only):
    answer = read_answer(show(value_v, "voltage", ascii=ascii_only), "voltage")
    assert isinstance(answer, Value)
    assert answer.value == pytest.approx(value_v, rel=0.006)


@given(st.floats(0.1, 39e6), st.booleans())
@settings(deadline=None)
def test_ohms_as_shown_are_read_back_within_their_last_digit(value_ohm, ascii_only):
    answer = read_answer(show(value_ohm, "resistance", ascii=ascii_only), "resistance")
    assert isinstance(answer, Value)
    assert answer.value == pytest.approx(value_ohm, rel=0.006, abs=0.0051)


@given(st.integers(0, 99), st.integers(0, 99))
@settings(deadline=None)
def test_two_dots_never_make_a_range_that_runs_down(first, second):
    answer = read_answer(f"{first}..{second}", "voltage")
    if isinstance(answer, Wander):
        assert first < second <= 20
        assert (answer.low, answer.high) == (first, second)
    else:
        assert isinstance(answer, (Doubtful, Refused))


def test_reading_answers_brings_in_no_heavy_library():
    code = (
        "import sys; from troubleshoot.words.answers import read_answer; read_answer('12,4 V', 'voltage');"
        "print([m for m in ('pint', 'textual', 'numpy', 'ruamel', 'ruamel.yaml') if m in sys.modules])"
    )
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert shown.stdout.strip() == "[]"
