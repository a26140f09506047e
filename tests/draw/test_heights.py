"""Items of a run keep clear of every bar and tie that passes through their column."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from troubleshoot.draw.heights import CLEAR, fill
from troubleshoot.draw.pieces import Item, Run

HEIGHTS = st.lists(st.floats(5, 120), min_size=1, max_size=8)
SHUT = st.lists(st.tuples(st.floats(0, 600), st.floats(0, 40)), max_size=6)


@given(HEIGHTS, SHUT, st.floats(0, 100))
def test_items_keep_their_order_and_clear_of_what_passes(
    heights: list[float], shut: list[tuple[float, float]], top: float
) -> None:
    run = Run("a", "b", (), (), items=[Item("wire", height) for height in heights])
    passing = sorted((y, y + height) for y, height in shut)
    end = fill(run, top, passing, {})
    spans = [(y, y + height) for y, height in zip(run.at, heights, strict=True)]
    assert spans[0][0] >= top
    assert spans[-1][1] <= end
    assert all(one[1] <= other[0] + 1e-9 for one, other in pairwise(spans))
    for upper, lower in passing:
        for y, bottom in spans:
            assert lower <= y - CLEAR + 1e-9 or bottom + CLEAR <= upper + 1e-9
