"""The expected table as text or as JSON."""

from __future__ import annotations

from typing import Any

from troubleshoot.expect.wall import Square, Wall

WIDTH = 100
"""Columns of a page or a terminal that is not told."""


def wall_lines(wall: Wall, width: int = WIDTH) -> list[str]:
    """The table in columns: healthy range, and the fault's value beside it. Key states that do not fit into `width`
    follow below, under the same rows."""
    names = ["volts to battery negative", *(node for node, _, _ in wall.rows), *(f"({name})" for name, _ in wall.does)]
    columns = [
        [*(_square(squares[k]) for _, _, squares in wall.rows), *(words[k] for _, words in wall.does)]
        for k in range(len(wall.keys))
    ]
    heads = [key.split(" ") for key in wall.keys]
    wide = [max(len(text) for text in [*head, *column]) for head, column in zip(heads, columns, strict=True)]
    first = max(len(name) for name in names)
    lines = [wall.title, *([f"with this fault: {wall.fault}"] if wall.fault else [])]
    for block in _blocks(wide, width - first):
        tall = max(len(heads[k]) for k in block)
        head_rows = [[heads[k][row] if row < len(heads[k]) else "" for k in block] for row in range(tall)]
        rows = [[columns[k][row] for k in block] for row in range(len(names) - 1)]
        rules = ["-" * wide[k] for k in block]
        texts = [names[0], *[""] * (tall - 1), "-" * first, *names[1:]]
        lines.append("")
        for text, cells in zip(texts, [*head_rows, rules, *rows], strict=True):
            padded = [text.ljust(first), *(cell.ljust(wide[k]) for cell, k in zip(cells, block, strict=True))]
            lines.append("  ".join(padded).rstrip())
    note = "a..b: where 95 of 100 healthy cars read; ~ floating, a range at most; ! relay chatters"
    if wall.fault:
        note = "a..b healthy; [x] with the fault, * where it lies outside; ~ floating; ! relay chatters"
    return [*lines, "", note]


def _blocks(wide: list[int], room: int) -> list[list[int]]:
    """Numbers of the columns that go side by side, at least one a block."""
    blocks: list[list[int]] = [[]]
    for k in range(len(wide)):
        if blocks[-1] and sum(wide[j] + 2 for j in [*blocks[-1], k]) > room:
            blocks.append([])
        blocks[-1].append(k)
    return blocks


def _square(square: Square) -> str:
    low, high = (0.0 if abs(v) < 0.005 else v for v in (square.low_v, square.high_v))
    text = f"{low:.2f}" if f"{low:.2f}" == f"{high:.2f}" else f"{low:.2f}..{high:.2f}"
    if square.faulty_v is not None:
        outside = not square.low_v - 0.01 <= square.faulty_v <= square.high_v + 0.01
        value = 0.0 if abs(square.faulty_v) < 0.005 else square.faulty_v
        text += f" [{value:.2f}]{'*' if outside else ''}"
    return text + ("~" if square.floats else "") + ("!" if square.chatters else "")


def wall_data(wall: Wall) -> dict[str, Any]:
    """The table as plain data."""
    return {
        "title": wall.title, "fault": wall.fault, "keys": list(wall.keys),
        "rows": [
            {"point": node, "say": say, "volts": [
                {"healthy": [round(s.low_v, 4), round(s.high_v, 4)],
                 "faulty": None if s.faulty_v is None else round(s.faulty_v, 4),
                 "floats": s.floats, "chatters": s.chatters}
                for s in squares]}
            for node, say, squares in wall.rows
        ],
        "does": [{"part": name, "states": list(words)} for name, words in wall.does],
    }  # fmt: skip
