"""The relay's face as a picture. Arrangements from memory of two layouts in use; numbers as DIN 72552."""

from __future__ import annotations

from itertools import combinations
from xml.etree import ElementTree

import pytest

from troubleshoot.draw import LAYOUTS
from troubleshoot.draw.relay_svg import draw_face_svg

SVG = "{http://www.w3.org/2000/svg}"
FOUR = ("30", "85", "86", "87")


def places(svg: str) -> dict[str, tuple[float, float]]:
    """Where each text stands."""
    found = ElementTree.fromstring(svg).iter(f"{SVG}text")
    return {text.text or "": (float(text.get("x", "0")), float(text.get("y", "0"))) for text in found}


@pytest.mark.parametrize("layout", list(LAYOUTS.values()), ids=list(LAYOUTS))
@pytest.mark.parametrize("numbers", [FOUR, (*FOUR, "87a"), (*FOUR, "87b")], ids=["make", "changeover", "two makes"])
def test_every_number_stands_where_the_layout_says(layout, numbers: tuple[str, ...]) -> None:
    at = places(draw_face_svg(layout, numbers))
    assert {text for text in at if text[0].isdigit()} == set(numbers)
    assert at[layout.left][0] < at["87"][0] < at[layout.right][0]
    assert at["87"][1] < at[layout.left][1] == at[layout.right][1] < at[layout.below][1]
    if len(numbers) == 5:
        assert at["87"][1] < at[numbers[4]][1] < at[layout.below][1]


def test_probes_are_told_by_word_and_by_shape_beside_their_numbers() -> None:
    layout = LAYOUTS["86-85-30"]
    svg = draw_face_svg(layout, FOUR, "87", "30")
    at = places(svg)
    assert abs(at["RED"][0] - at["87"][0]) < 1
    assert 0 < at["RED"][1] - at["87"][1] < 30
    assert 0 < at["BLACK"][1] - at["30"][1] < 30
    without = draw_face_svg(layout, FOUR)
    assert svg.count("<circle") == without.count("<circle") + 1
    told = ElementTree.fromstring(svg).findtext(f"{SVG}desc") or ""
    assert "red probe on 87" in told
    assert "black probe on 30" in told
    assert "RED" not in places(without)


def test_it_says_from_where_one_looks_and_keeps_names_text() -> None:
    layout = LAYOUTS["30-85-86"]
    assert any("wire side" in text for text in places(draw_face_svg(layout, FOUR)))
    on_part = draw_face_svg(layout, FOUR, on_part=True, name="<script>&\u202e")
    assert any("its blades" in text for text in places(on_part))
    assert "<script" not in on_part


@pytest.mark.parametrize("red", [*FOUR, "87a"])
def test_no_two_texts_lie_on_each_other(red: str) -> None:
    for black in (*FOUR, "87a"):
        if black != red:
            at = places(draw_face_svg(LAYOUTS["85-30-86"], (*FOUR, "87a"), red, black))
            for (x, y), (other_x, other_y) in combinations(at.values(), 2):
                assert abs(x - other_x) > 40 or abs(y - other_y) > 12
