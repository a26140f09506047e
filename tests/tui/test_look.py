"""Text made fit for the terminal: wrapped, safe, in the characters that there are."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from troubleshoot.tui.choice import Option, find_option
from troubleshoot.tui.look import Look, hang
from troubleshoot.tui.sheet import Sheet


@given(st.text(), st.integers(8, 60), st.sampled_from(["", "- ", "> 12 "]))
def test_wrapped_words_lose_nothing_and_fit(text: str, width: int, first: str) -> None:
    lines = hang(text, width, first, " " * len(first))
    assert all(len(line) <= width for line in lines)
    assert "".join("".join(lines).split()) == "".join((first + text).split())


@given(st.text())
def test_nothing_invisible_gets_through(text: str) -> None:
    shown = Look().safe(text)
    assert len(shown) == len(text)
    assert all(c.isprintable() or c in "\n\u2028\u2029" or c.isspace() for c in shown)


@given(st.text())
def test_ascii_is_ascii(text: str) -> None:
    assert Look(ascii=True).safe(text).isascii()


def test_known_signs_have_a_plain_spelling() -> None:
    assert Look(ascii=True).safe("2.5 mm² ± 5 µV 28 MΩ é") == "2.5 mm2 +/- 5 uV 28 Mohm e"


def test_the_decimal_mark_is_changed_between_digits_only() -> None:
    look = Look(comma=True)
    assert look.number("12.53 V at relay.86. Yes.") == "12,53 V at relay.86. Yes."
    assert Look().number("12.53 V") == "12.53 V"


def test_what_a_person_wrote_keeps_its_points() -> None:
    sheet = Sheet(Look(comma=True), 60)
    sheet.say("file 1.2", own=False)
    assert sheet.content.plain == "file 1.2"


@pytest.mark.parametrize(("share", "full"), [(0.0, 0), (0.04, 0), (0.5, 5), (1.0, 10), (2.0, 10)])
def test_a_bar_is_as_long_as_its_share(share: float, full: int) -> None:
    assert Look().bar(share, 10) == "█" * full + "░" * (10 - full)
    assert Look(ascii=True).bar(share, 10) == "#" * full + "." * (10 - full)


def test_a_shortened_text_says_so() -> None:
    assert Look().shorten("abcdef", 6) == "abcdef"
    assert Look().shorten("abcdefg", 6) == "abcde…"
    assert Look(ascii=True).shorten("abcdefg", 6) == "abc..."


OPTIONS = [Option("a", "begin"), Option("b", "open"), Option("c", "other")]


@pytest.mark.parametrize(
    ("typed", "marked", "found"),
    [("1", 0, 0), ("3", 0, 2), ("0", 0, None), ("4", 0, None), ("", 1, 1), ("", -1, None), ("BE", 0, 0), ("o", 0, None),
     ("ot", 0, 2), ("x", 0, None), ("99999999999", 0, None), ("²", 0, None), ("１", 0, 0)],
)  # fmt: skip
def test_an_option_is_found_by_number_or_by_a_beginning_that_only_it_has(typed, marked, found) -> None:
    assert find_option(OPTIONS, typed, marked) == found
