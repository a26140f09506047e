"""Where everything of a circuit goes on paper: current runs down in columns, what is joined lies on a bar.

Spots where more than two links meet, dead ends, metal and the battery's posts are bars across the page; what lies
between two bars is a run, and each run has a column to itself for as long as it lasts. So no two texts can meet, and
lines may only cross at right angles; what is joined has a dot. Right of `links`, left of `svg`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence

import numpy as np

from troubleshoot.circuit import Circuit
from troubleshoot.draw.columns import put_in_columns
from troubleshoot.draw.heights import find_levels, put_in_height
from troubleshoot.draw.links import Link, Links
from troubleshoot.draw.pieces import Bar, Furnishing, Plan, Run


def make_plan(circuit: Circuit, found: Links, furnishing: Furnishing) -> Plan:
    """Finds every link its place."""
    start, end = f"{circuit.battery}.pos", f"{circuit.battery}.neg"

    def bar_of(spot: str) -> str:
        owner = spot.partition(".")[0]
        return owner if owner in found.boxed else spot

    ends = [(bar_of(link.a), bar_of(link.b)) for link in found.links]
    near: dict[str, list[int]] = defaultdict(list)
    for index, (a, b) in enumerate(ends):
        near[a].append(index)
        near[b].append(index)
    metal = {f"{name}.metal" for name in circuit.parts}
    bars = {s for s, met in near.items() if len(met) != 2 or s in metal or s in (start, end) or s in found.boxed}
    rank = _ranks(found.links, ends, furnishing, start, end)
    runs = _runs(found.links, ends, near, bars, rank)
    rank = find_levels(runs, bars, rank, furnishing)
    placed = {name: Bar(name, rank[name]) for name in sorted(bars, key=rank.__getitem__)}
    for name in bars & found.boxed:
        placed[name].height = furnishing.box_height(name)
    columns = put_in_columns(runs, placed, start, circuit.battery)
    _furnish(runs, placed, furnishing)
    ties = put_in_height(runs, placed, furnishing)
    return Plan(tuple(runs), placed, ties, columns, max(bar.y + bar.height for bar in placed.values()))


def _ranks(
    links: Sequence[Link], ends: Sequence[tuple[str, str]], furnishing: Furnishing, start: str, end: str
) -> dict[str, float]:
    """Places in the order from battery positive to negative, by volts with every contact closed.

    Dead ends have the volts of where they hang and come after it.
    """
    names = list(dict.fromkeys([start, end, *(name for pair in ends for name in pair)]))
    index = {name: i for i, name in enumerate(names)}
    matrix = np.eye(len(names)) * 1e-9
    for link, (a, b) in zip(links, ends, strict=True):
        i, j, weight = index[a], index[b], 0.01 if furnishing.heavy(link) else 1.0
        matrix[[i, j, i, j], [i, j, j, i]] += (weight, weight, -weight, -weight)
    right = np.zeros(len(names))
    for name, volts in ((start, 1.0), (end, 0.0)):
        matrix[index[name]] = np.eye(len(names))[index[name]]
        right[index[name]] = volts
    solved = np.linalg.solve(matrix, right)
    depth, wave = {start: 0}, [start]
    while wave:
        wave = [far for pair in ends for one, far in (pair, pair[::-1]) if one in wave and far not in depth]
        depth |= dict.fromkeys(wave, max(depth.values()) + 1)
    order = sorted(names, key=lambda n: (-round(float(solved[index[n]]), 7), depth.get(n, len(names)), index[n]))
    return {name: place for place, name in enumerate(order)}


def _runs(
    links: Sequence[Link], ends: Sequence[tuple[str, str]], near: Mapping[str, list[int]], bars: set[str],
    rank: dict[str, float],
) -> list[Run]:  # fmt: skip
    """The links cut at the bars into runs, each from its higher bar down. A ring without a bar gets one."""
    runs, done = [], set[int]()
    waiting = sorted(bars, key=rank.__getitem__)
    while len(done) < len(links):
        if not waiting:
            first = next(i for i in range(len(links)) if i not in done)
            waiting = [ends[first][0]]
            bars.add(waiting[0])
        bar = waiting.pop(0)
        for index in near[bar]:
            if index in done:
                continue
            at, passed, spots = bar, list[Link](), list[str]()
            while True:
                done.add(index)
                link = links[index]
                onward = ends[index][0] == at
                passed.append(link)
                spots += [link.a, link.b] if onward else [link.b, link.a]
                at = ends[index][1] if onward else ends[index][0]
                if at == bar and at not in bars:
                    break
                if at in bars:
                    break
                index = next(i for i in near[at] if i != index)
            runs += _halved(bar, at, spots, passed, bars, rank)
    return runs


def _halved(
    top: str, bottom: str, spots: list[str], links: list[Link], bars: set[str], rank: dict[str, float]
) -> list[Run]:
    """The run the right way up; one that comes back to its own bar becomes two, down to its middle, and a single
    wire between two pins of one box ends at its second pin, which is told in full there."""
    if top == bottom and len(links) == 1:
        bottom = spots[-1]
        bars.add(bottom)
        rank[bottom] = rank[top] + 0.5
    if top == bottom and len(links) > 1:
        half = len(links) // 2
        middle = spots[2 * half]
        bars.add(middle)
        there, back = (spots[: 2 * half], links[:half]), (spots[2 * half :], links[half:])
        return [*_halved(top, middle, *there, bars, rank), *_halved(middle, bottom, *back, bars, rank)]
    if rank[top] > rank[bottom]:
        top, bottom, spots, links = bottom, top, spots[::-1], links[::-1]
    return [Run(top, bottom, tuple(spots), tuple(links))]


def _furnish(runs: Sequence[Run], bars: Mapping[str, Bar], furnishing: Furnishing) -> None:
    """Each run's items. The leftmost run that ends on a bar tells of it; where none ends, one that begins there."""
    tells_top, tells_bottom = set[int](), set[int]()
    for name in bars:
        ending = [run for run in runs if run.bottom == name]
        beginning = [run for run in runs if run.top == name]
        if ending:
            tells_bottom.add(id(min(ending, key=lambda run: run.column)))
        else:
            tells_top.add(id(min(beginning, key=lambda run: run.column)))
    for run in runs:
        run.items = furnishing.furnish(run, id(run) in tells_top, id(run) in tells_bottom)
