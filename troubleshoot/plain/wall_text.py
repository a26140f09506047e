"""The expected table as text or as JSON."""

from __future__ import annotations

from typing import Any

from troubleshoot.expect.wall import Square, Wall


def wall_lines(wall: Wall) -> list[str]:
    """The table in columns, at most about 100 wide: healthy range, and the fault's value beside it."""
    head = ["volts to battery negative", *wall.keys]
    rows = [[node, *(_square(square) for square in squares)] for node, _, squares in wall.rows]
    does = [[f"({name})", *words] for name, words in wall.does]
    widths = [max(len(row[i]) for row in [head, *rows, *does]) for i in range(len(head))]

    def line(row: list[str]) -> str:
        return "  ".join(text.ljust(width) for text, width in zip(row, widths, strict=True)).rstrip()

    title = wall.title + (f"\nwith this fault: {wall.fault}" if wall.fault else "")
    note = "a..b: where 95 of 100 healthy cars read; ~ floating, a range at most; ! relay chatters"
    if wall.fault:
        note = "a..b healthy; [x] with the fault, * where it lies outside; ~ floating; ! relay chatters"
    return [
        title,
        "",
        line(head),
        line(["-" * w for w in widths]),
        *map(line, rows),
        *map(line, does),
        "",
        note,
    ]


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
