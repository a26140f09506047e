"""The face of a relay with its stamped numbers, seen from the blades, and where the two leads go.

Numbers, not places, decide: blades of the same number sit in other places on other relays. A face is drawn only
for a layout that somebody has looked at and confirmed. Seen from the wire side the socket has the same picture as
the relay seen from its blades; looking into the socket's front, left and right change places (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from troubleshoot.draw.strokes import LINES, Strokes

CELL = 9
"""Width of one blade's place: its number and the lead on it."""


@dataclass(frozen=True)
class Layout:
    """Where the numbers are with 87 at the top and the blades towards the eye; a fifth blade, 87a or 87b, is amid."""

    left: str
    right: str
    below: str

    @property
    def say(self) -> str:
        """In words, to choose from."""
        return f"left {self.left}, right {self.right}, below {self.below}"


LAYOUTS = {
    f"{layout.left}-{layout.right}-{layout.below}": layout
    for layout in (
        Layout("86", "85", "30"),
        Layout("85", "86", "30"),
        Layout("30", "85", "86"),
        Layout("85", "30", "86"),
    )
}
"""The two layouts in use (30 across from 87, or 86 across from 87), each with its mirror image. By their key."""


def draw_face(
    layout: Layout, numbers: Sequence[str], red: str, black: str, strokes: Strokes = LINES
) -> list[str]:  # fmt: skip
    """Seven lines of 31 columns. `numbers` are those of the relay's blades; `red` and `black` are stamped numbers
    or "" where that lead is elsewhere."""

    def cell(number: str) -> str:
        return marked(number, red, black).center(CELL)

    middle = cell(middle_of(numbers))
    left_top, right_top, left_end, right_end = tuple(strokes.corners)
    edge = strokes.across * (3 * CELL + 2)
    empty = " " * CELL
    inside = [
        empty + cell("87") + empty,
        " " * 3 * CELL,
        cell(layout.left) + middle + cell(layout.right),
        " " * 3 * CELL,
        empty + cell(layout.below) + empty,
    ]
    return [
        f"{left_top}{edge}{right_top}",
        *(f"{strokes.down} {line} {strokes.down}" for line in inside),
        f"{left_end}{edge}{right_end}",
    ]


def middle_of(numbers: Sequence[str]) -> str:
    """The number of the fifth blade, "" without one."""
    return next((number for number in numbers if number not in ("30", "85", "86", "87")), "")


def draw_numbers(numbers: Sequence[str], red: str, black: str) -> str:
    """The blades in a row by number, for a relay whose layout nobody has confirmed: it shows no places."""
    return "  ".join(marked(number, red, black) for number in numbers)


def marked(number: str, red: str, black: str) -> str:
    """A number, with the lead that goes on it."""
    lead = "RED" if number and number == red else "BLK" if number and number == black else ""
    return f"[{number} {lead}]" if lead else number
