"""The relay's face as text. Arrangements from memory of two layouts in use; numbers as DIN 72552."""

from __future__ import annotations

import pytest

from troubleshoot.draw import ASCII, LAYOUTS, draw_face, draw_numbers

FOUR = ("30", "85", "86", "87")
FIVE = (*FOUR, "87a")


@pytest.mark.parametrize("layout", list(LAYOUTS.values()), ids=list(LAYOUTS))
@pytest.mark.parametrize("blades", [FOUR, FIVE, (*FOUR, "87b")], ids=["make", "changeover", "two makes"])
def test_a_face_shows_every_number_once_and_is_a_rectangle(layout, blades: tuple[str, ...]) -> None:
    lines = draw_face(layout, blades, "", "")
    words = " ".join(lines).replace("│", " ").split()
    numbers = sorted(word for word in words if word[0].isdigit())
    assert numbers == sorted(blades)
    assert {len(line) for line in lines} == {31}
    assert len(lines) == 7


def test_in_one_layout_30_and_in_the_other_86_is_across_from_87() -> None:
    across = {layout.below for layout in LAYOUTS.values()}
    assert across == {"30", "86"}
    for layout in LAYOUTS.values():
        assert {layout.left, layout.right, layout.below} == {"30", "85", "86"}


def test_every_layout_has_its_mirror_image() -> None:
    pairs = {(layout.left, layout.right, layout.below) for layout in LAYOUTS.values()}
    assert {(right, left, below) for left, right, below in pairs} == pairs


def test_the_leads_are_written_beside_their_numbers() -> None:
    lines = draw_face(LAYOUTS["86-85-30"], FIVE, "87", "30")
    assert "[87 RED]" in lines[1]
    assert "[30 BLK]" in lines[5]
    assert lines[3].index("86") < lines[3].index("87a") < lines[3].index("85")
    assert {len(line) for line in lines} == {31}


def test_the_lead_on_the_longest_number_still_fits() -> None:
    lines = draw_face(LAYOUTS["86-85-30"], FIVE, "87a", "85")
    assert {len(line) for line in lines} == {31}
    assert "[87a RED]" in lines[3]
    assert "[85 BLK]" in lines[3]


def test_plain_strokes_are_ascii() -> None:
    assert "".join(draw_face(LAYOUTS["30-85-86"], FOUR, "30", "", ASCII)).isascii()


def test_without_a_layout_there_are_numbers_in_a_row_only() -> None:
    assert draw_numbers(FIVE, "87", "") == "30  85  86  [87 RED]  87a"
    assert draw_numbers(FOUR, "", "85") == "30  [85 BLK]  86  87"
