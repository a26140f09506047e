"""A sheet to draw on: schemdraw's lines and symbols in pixels, texts on top, and an SVG file at the end.

Texts become plain text nodes after the drawing is done, so that nothing in a file can become markup, and the sheet
needs nothing from outside. Schemdraw is imported with the first sheet, not before.
"""

from __future__ import annotations

import re
import textwrap
import unicodedata
from collections.abc import Callable, Sequence
from typing import Any
from xml.etree import ElementTree

from troubleshoot.draw.symbols import Symbol

NAMESPACE = "http://www.w3.org/2000/svg"
UNIT = 36
"""Pixels of one unit of schemdraw."""

SIZE, STEP = 12, 15
"""Pixels: height of the letters, and from one line to the next."""

LETTERS = 22
"""About as many letters go on one line beside a column's line (a letter taken as 0.6 of its size wide)."""

FONT = "system-ui, sans-serif"
THIN, THICK = 1.6, 4.5

TOGETHER = "\u00a0"
"""A space where no line may end."""

UNSEEN = re.compile(
    "[\u0000-\u001f\u007f-\u009f\u061c\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff\ufffe\uffff\ud800-\udfff]"
)
"""What is no text: controls, marks and overrides of writing direction, separators, characters of no width."""


def clean(text: str) -> str:
    """The text on one line without what cannot be seen or would turn the writing around."""
    return re.sub(" +", " ", UNSEEN.sub(" ", text)).strip()


def wrapped(text: str, letters: int = LETTERS) -> list[str]:
    """Lines of about `letters` Latin letters; wide characters count twice."""
    lines: list[str] = []
    for line in textwrap.wrap(clean(text), letters, break_on_hyphens=False) or [""]:
        line = line.replace(TOGETHER, " ")
        while breadth(line) > letters:
            cut = next(n for n in range(1, len(line) + 1) if n == len(line) or breadth(line[: n + 1]) > letters)
            lines.append(line[:cut])
            line = line[cut:]
        lines += [line] if line or not lines else []
    return lines


def breadth(text: str) -> int:
    """Columns that a text takes."""
    return sum(2 if unicodedata.east_asian_width(letter) in "WF" else 1 for letter in text)


class Paper:
    """Pixels from the upper left corner; heights grow downwards."""

    def __init__(self) -> None:
        import schemdraw
        import schemdraw.elements

        schemdraw.use("svg")
        self.shapes = schemdraw.elements
        self.drawing = schemdraw.Drawing(canvas="svg", show=False)
        self.drawing.config(inches_per_unit=UNIT / 72, lw=THIN, color="black", bgcolor="white", unit=1)
        self.texts: list[ElementTree.Element] = []

    def line(self, x: float, y: float, x2: float, y2: float, dashed: bool = False, thick: bool = False) -> None:
        """A straight line; none where its ends are one."""
        if (x, y) != (x2, y2):
            line = self.shapes.Line().endpoints(_at(x, y), _at(x2, y2)).linewidth(THICK if thick else THIN)
            self.drawing.add(line.linestyle("--").linewidth(1) if dashed else line)

    def dot(self, x: float, y: float, hollow: bool = False) -> None:
        """Filled where lines are joined, hollow where a probe goes."""
        self.drawing.add(self.shapes.Dot(open=hollow, radius=0.085).at(_at(x, y)))

    def ring(self, x: float, y: float, radius: float, colour: str) -> None:
        """A circle with nothing in it."""
        ring = self.shapes.Dot(radius=radius / UNIT, open=True, fill="none").at(_at(x, y))
        self.drawing.add(ring.color(colour).linewidth(3).zorder(5))

    def ground(self, x: float, y: float) -> None:
        """The sign for metal of the vehicle."""
        shape: Callable[..., Any] = self.shapes.GroundChassis
        self.drawing.add(shape(lead=False).at(_at(x, y)).theta(0))

    def box(self, x: float, y: float, x2: float, y2: float, fill: str = "") -> None:
        """A rectangle, empty or filled."""
        rect = self.shapes.Rect(_at(x, y), _at(x2, y2)).at((0, 0)).theta(0)
        self.drawing.add(rect.fill(fill) if fill else rect)

    def symbol(self, symbol: Symbol, x: float, y: float, y2: float, forward: bool) -> None:
        """The shape in a vertical line between two heights, the right way round."""
        if symbol.shape == "Dot":
            self.line(x, y, x, y2)
            self.dot(x, (y + y2) / 2)
            return
        start, end = (_at(x, y), _at(x, y2)) if forward else (_at(x, y2), _at(x, y))
        shape: Callable[..., Any] = getattr(self.shapes, symbol.shape)
        self.drawing.add(shape(**dict(symbol.options)).endpoints(start, end))
        if symbol.letter:
            self.write([symbol.letter], x, (y + y2) / 2 + 5, size=15, anchor="middle")

    def write(
        self, lines: Sequence[str], x: float, y: float, weight: str = "", style: str = "", size: int = SIZE,
        anchor: str = "", fill: str = "",
    ) -> None:  # fmt: skip
        """Lines of text, the first on the base line `y`."""
        looks = {"font-weight": weight, "font-style": style, "text-anchor": anchor, "fill": fill}
        for place, line in enumerate(lines):
            at = {"x": f"{x:g}", "y": f"{y + place * STEP:g}", "font-size": str(size)}
            text = ElementTree.Element("text", at | {name: look for name, look in looks.items() if look})
            text.text = clean(line)
            self.texts.append(text)

    def finish(self, width: float, height: float, title: str, told: str) -> str:
        """The text of the SVG file: it scales to the width it is given, with `title` and `told` for screen readers."""
        shapes = list(ElementTree.fromstring(self.drawing.get_imagedata("svg")))
        page = ElementTree.Element("svg", {
            "xmlns": NAMESPACE, "viewBox": f"0 0 {width:g} {height:g}", "width": "100%", "role": "img",
            "aria-labelledby": "title desc", "font-family": FONT, "style": f"max-width:{width:g}px;background:white",
        })  # fmt: skip
        for name, text in (("title", title), ("desc", told)):
            ElementTree.SubElement(page, name, {"id": name}).text = clean(text)
        ElementTree.SubElement(page, "rect", {"width": f"{width:g}", "height": f"{height:g}", "fill": "white"})
        for shape in shapes:
            for each in shape.iter():
                each.tag = each.tag.rpartition("}")[2]
            page.append(shape)
        page.extend(self.texts)
        return ElementTree.tostring(page, encoding="unicode") + "\n"


def _at(x: float, y: float) -> tuple[float, float]:
    """Schemdraw's units; its heights grow upwards."""
    return x / UNIT, -y / UNIT
