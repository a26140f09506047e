"""The relay's face as SVG, for a layout that somebody has confirmed. Right of `relay_face`.

It is what one sees from the wire side of the socket, and on the relay from its blades; looking into the socket's
front, left and right change places (from memory). 87 and the blade amid lie across, the other three stand (from
memory); numbers are where they are, sizes and distances are not to scale.
"""

from __future__ import annotations

from collections.abc import Sequence

from troubleshoot.draw.paper import STEP, Paper, clean, wrapped
from troubleshoot.draw.relay_face import Layout, middle_of

SIDE, EDGE = 300.0, 14.0
ACROSS, UP = (34.0, 10.0), (10.0, 34.0)
NUMBER_BELOW = 43.0
"""Pixels from a blade's middle to its number: clear of the mark of a probe."""

RED = "#b00000"


def draw_face_svg(
    layout: Layout, numbers: Sequence[str], red: str = "", black: str = "", on_part: bool = False, name: str = "relay"
) -> str:
    """The text of an SVG file. `red` and `black` are the stamped numbers that the probes go to, "" for none.

    A probe is told by its word and its shape (red a ring, black a square), so that it also reads without colour.
    """
    side = "its blades" if on_part else "the wire side of its socket"
    paper = Paper()
    head = [*wrapped(f"{name}, seen from {side}", 48), "The stamped numbers decide, not the places."]
    paper.write(head, EDGE, 24)
    top = 24 + STEP * len(head)
    paper.box(EDGE, top, EDGE + SIDE, top + SIDE)
    middle, amid = EDGE + SIDE / 2, top + 0.43 * SIDE
    places = [
        ("87", middle, top + 0.13 * SIDE, ACROSS),
        (middle_of(numbers), middle, amid, ACROSS),
        (layout.left, EDGE + 0.18 * SIDE, amid, UP),
        (layout.right, EDGE + 0.82 * SIDE, amid, UP),
        (layout.below, middle, top + 0.73 * SIDE, UP),
    ]
    probes = {red: "RED", black: "BLACK"}
    for number, x, y, size in places:
        if number in numbers:
            _draw_blade(paper, number, (x, y), size, probes.get(number, ""))
    told = f"{clean(name)} seen from {side}: 87 at the top, {layout.say}"
    told += f", {middle_of(numbers)} in the middle" if middle_of(numbers) else ""
    told += "".join(f"; {word} probe on {number}" for word, number in (("red", red), ("black", black)) if number)
    return paper.finish(SIDE + 2 * EDGE, top + SIDE + EDGE, f"Face of the {name}", told)


def _draw_blade(
    paper: Paper, number: str, at: tuple[float, float], size: tuple[float, float], probe: str
) -> None:  # fmt: skip
    (x, y), (wide, tall) = at, size
    paper.box(x - wide / 2, y - tall / 2, x + wide / 2, y + tall / 2, fill="#555")
    below = y + NUMBER_BELOW
    paper.write([number], x, below, anchor="middle", weight="bold", size=16)
    if probe == "RED":
        paper.ring(x, y, 25, RED)
    elif probe:
        paper.box(x - 23, y - 23, x + 23, y + 23)
    if probe:
        paper.write(
            [probe], x, below + 16, anchor="middle", weight="bold", size=13, fill=RED if probe == "RED" else "black"
        )
