"""Heights of all bars and items, so that nothing lies on anything else. Right of `pieces`."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence

from troubleshoot.draw.links import Link
from troubleshoot.draw.pieces import Bar, Furnishing, Run, Tie, crosses

ROUNDS = 6
"""How often the symbols of a part are brought to one height before they are left untied."""

CLEAR = 7
"""Pixels kept free above and below a bar that crosses a column."""


def find_levels(
    runs: Sequence[Run], bars: set[str], rank: Mapping[str, float], furnishing: Furnishing
) -> dict[str, float]:
    """The bars' order down the page: by how far down the runs to them reach, with the symbols of each part that move
    together at one height. So neither order nor heights need to change once the columns are known."""
    ending: dict[str, list[Run]] = defaultdict(list)
    for run in runs:
        ending[run.bottom].append(run)
        run.items = furnishing.furnish(run, False, False)
    not_before: dict[Link, float] = {}
    for _ in range(ROUNDS):
        reach: dict[str, float] = {}
        for bar in sorted(bars, key=rank.__getitem__):
            reach[bar] = max((fill(run, reach[run.top], (), not_before) for run in ending[bar]), default=0.0)
        for group in _moving(runs, furnishing).values():
            _level(group, not_before)
    order = sorted(bars, key=lambda bar: (reach[bar], rank[bar]))
    return {bar: float(place) for place, bar in enumerate(order)}


def put_in_height(runs: Sequence[Run], bars: dict[str, Bar], furnishing: Furnishing) -> tuple[Tie, ...]:
    """Heights of all bars and items. The symbols of one part are brought to one height and tied, part by part from
    the top; a part whose symbols do not come to one height is left untied."""
    groups = _moving(runs, furnishing)
    not_before: dict[Link, float] = {}
    ties: list[Tie] = []
    _drop(runs, bars, not_before, ties)
    for part in sorted(groups, key=lambda part: _middles(groups[part])[-1]):
        group = groups[part]
        columns = tuple(sorted({run.column for run, _ in group}))
        if len(columns) < len(group) or len(columns) < 2:
            continue
        tried = dict(not_before)
        for _ in range(ROUNDS):
            tie = Tie(part, columns, _level(group, tried))
            _drop(runs, bars, tried, [*ties, tie])
            if all(_straight(each, runs, bars) for each in (*ties, tie)):
                ties.append(tie)
                not_before = tried
                break
    _drop(runs, bars, not_before, ties)
    return tuple(tie for tie in ties if _straight(tie, runs, bars))


def _moving(runs: Sequence[Run], furnishing: Furnishing) -> dict[str, list[tuple[Run, int]]]:
    """By part, where its symbols are that move together."""
    groups: dict[str, list[tuple[Run, int]]] = defaultdict(list)
    for run in runs:
        for place, item in enumerate(run.items):
            if item.kind == "part" and item.link and furnishing.moves(item.link):
                groups[item.link.part].append((run, place))
    return groups


def _level(group: Sequence[tuple[Run, int]], not_before: dict[Link, float]) -> float:
    """Asks all symbols of a group to lie no higher than the lowest of them; returns the height of its middle."""
    low = _middles(group)[-1]
    for run, place in group:
        link = run.items[place].link
        if link:
            not_before[link] = low - run.items[place].height / 2
    return low


def _middles(group: Sequence[tuple[Run, int]]) -> list[float]:
    """Heights of the middles of a part's symbols, from the top."""
    return sorted(run.at[place] + run.items[place].height / 2 for run, place in group)


def _straight(tie: Tie, runs: Sequence[Run], bars: Mapping[str, Bar]) -> bool:
    """Whether the symbols really are at the tie's height and no bar or text is in its way."""
    for run in runs:
        for item, y in zip(run.items, run.at, strict=True):
            inside = item.link and item.link.part == tie.part and item.kind == "part" and run.column in tie.columns
            if inside and abs(y + item.height / 2 - tie.y) > 0.5 and item.link:
                return False
            crossed = tie.columns[0] < run.column < tie.columns[-1] and y - 2 < tie.y < y + item.height + 2
            if crossed and not inside:
                return False
    return not any(abs(bar.y - tie.y) < CLEAR and bar.first <= tie.columns[-1] and bar.last >= tie.columns[0]
                   for bar in bars.values())  # fmt: skip


def _drop(
    runs: Sequence[Run], bars: dict[str, Bar], not_before: Mapping[Link, float], lanes: Sequence[Tie]
) -> None:  # fmt: skip
    """Bars in their order from top to bottom; each lies below the runs that end on it and the bar before it."""
    y = 0.0
    done: list[Bar] = []
    for bar in sorted(bars.values(), key=lambda bar: bar.rank):
        low = y + 2 * CLEAR if done else 0.0
        for run in (run for run in runs if run.bottom == bar.name):
            shut = [(b.y, b.y + b.height) for b in done if crosses(run, b, bars)]
            shut += [(tie.y, tie.y) for tie in lanes if _passes(tie, run)]
            top = bars[run.top]
            low = max(low, fill(run, top.y + top.height, sorted(shut), not_before))
        while any(abs(tie.y - low) < CLEAR for tie in lanes):
            low += CLEAR
        bar.y, y = low, low + bar.height
        near = ("bar", "point") if bar.height else ("bar",)  # a pin is told at the edge of its box
        for run in (run for run in runs if run.bottom == bar.name and run.items and run.items[-1].kind in near):
            _lower_last(run, low, [(b.y, b.y) for b in done if crosses(run, b, bars)], lanes)
        done.append(bar)


def _lower_last(run: Run, bar_y: float, crossing: Sequence[tuple[float, float]], lanes: Sequence[Tie]) -> None:
    """What is told of a bar, as near above it as nothing else crosses."""
    height, y = run.items[-1].height, bar_y - run.items[-1].height - 1
    for line, _ in sorted([*crossing, *((tie.y, tie.y) for tie in lanes if _passes(tie, run))], reverse=True):
        if y - CLEAR < line < y + height:
            y = line - height - CLEAR
    run.at[-1] = max(run.at[-1], y)


def _passes(tie: Tie, run: Run) -> bool:
    """Whether the tie passes through the run's column without belonging to it."""
    own = any(item.kind == "part" and item.link and item.link.part == tie.part for item in run.items)
    return not own and tie.columns[0] < run.column < tie.columns[-1]


def fill(
    run: Run, top: float, shut: Sequence[tuple[float, float]], not_before: Mapping[Link, float]
) -> float:  # fmt: skip
    """Items from the top down, none across a shut height. Returns where the run may end."""
    y, run.at = top + CLEAR, []
    for item in run.items:
        if item.link and item.kind == "part":
            y = max(y, not_before.get(item.link, y))
        for upper, lower in shut:
            if y - CLEAR < lower and upper < y + item.height + CLEAR:
                y = lower + CLEAR
        run.at.append(y)
        y += item.height
    return y + CLEAR
