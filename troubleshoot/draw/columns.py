"""Left and right: every run gets a column, so that bars are short and few lines cross. Right of `pieces`."""

from __future__ import annotations

import random
from collections import defaultdict
from collections.abc import Mapping, Sequence

from troubleshoot.draw.pieces import Bar, Run, crosses

TRIES = 300
"""Orders of the runs that are tried for few crossings."""


def put_in_columns(runs: Sequence[Run], bars: dict[str, Bar], start: str, battery: str) -> int:
    """Columns with few crossings and short bars, the battery's own at the left. Returns how many."""
    below: dict[str, list[Run]] = defaultdict(list)
    for run in runs:
        below[run.top].append(run)
    own = [run for run in runs if run.links[0].part == battery]
    best: tuple[float, dict[int, int], int] | None = None
    chance = random.Random(1)  # any order is right; always the same one keeps a drawing the same
    for _ in range(TRIES):
        order = {top: sorted(there, key=lambda run: (run not in own, chance.random())) for top, there in below.items()}
        columns, count = _walk(order, [start, *bars])
        for run in runs:
            run.column = columns[id(run)]
        _stretch(runs, bars)
        cost = _crossings(runs, bars) * 3.0 + sum(bar.last - bar.first for bar in bars.values()) + count
        if best is None or cost < best[0]:
            best = (cost, columns, count)
    assert best is not None
    for run in runs:
        run.column = best[1][id(run)]
    _stretch(runs, bars)
    return best[2]


def _walk(order: Mapping[str, Sequence[Run]], roots: Sequence[str]) -> tuple[dict[int, int], int]:
    """Down from each bar in turn: its first run goes on in the column it was reached by, others get new ones."""
    columns, count, seen = dict[int, int](), 0, set[str]()

    def visit(bar: str, column: int) -> None:
        nonlocal count
        seen.add(bar)
        for place, run in enumerate(order.get(bar, ())):
            columns[id(run)] = column if place == 0 else count
            count = max(count, columns[id(run)] + 1)
            if run.bottom not in seen:
                visit(run.bottom, columns[id(run)])

    for root in roots:
        if root not in seen:
            visit(root, count)
    return columns, count


def _stretch(runs: Sequence[Run], bars: dict[str, Bar]) -> None:
    """Each bar as wide as the runs that end on it."""
    meet: dict[str, list[int]] = defaultdict(list)
    for run in runs:
        meet[run.top].append(run.column)
        meet[run.bottom].append(run.column)
    for bar in bars.values():
        bar.first, bar.last = min(meet[bar.name]), max(meet[bar.name])


def _crossings(runs: Sequence[Run], bars: dict[str, Bar]) -> int:
    return sum(crosses(run, bar, bars) for run in runs for bar in bars.values())
