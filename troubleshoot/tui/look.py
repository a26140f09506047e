"""How text gets onto the screen: made safe, in the characters that the terminal has. All content passes here.

Emphasis is bold, underlined or reversed; colour is only ever added on top of a word that says the same.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass

from textual.content import Content

from troubleshoot.draw import ASCII, LINES, Strokes

_PLAIN = str.maketrans(
    {"²": "2", "³": "3", "±": "+/-", "µ": "u", "μ": "u", "Ω": "ohm", "°": " deg ", "×": "x", "–": "-", "—": "-",
     "…": "...", "“": '"', "”": '"', "‘": "'", "’": "'", "≈": "~", "−": "-"}
)  # fmt: skip
_POINT = re.compile(r"(?<=[0-9])\.(?=[0-9])")

HEAD = "bold underline"
STRONG = "bold"
LOUD = "bold reverse"
RED_LEAD = "bold reverse $error"
ALARM = "bold $error"


@dataclass(frozen=True)
class Look:
    """Characters and decimal mark to show text with."""

    ascii: bool = False
    comma: bool = False

    @property
    def strokes(self) -> Strokes:
        """What drawings are made of."""
        return ASCII if self.ascii else LINES

    @property
    def mark(self) -> str:
        """What stands before the choice that Enter takes."""
        return ">" if self.ascii else "▸"

    def safe(self, text: str) -> str:
        """The text without control, bidirectional and other invisible characters, in ASCII where that is wanted."""
        kept = "".join(c if c == "\n" or unicodedata.category(c)[0] != "C" else " " for c in text)
        if self.ascii:
            kept = unicodedata.normalize("NFKD", kept.translate(_PLAIN))
            kept = "".join(c if ord(c) < 128 else "" if unicodedata.combining(c) else "?" for c in kept)
        return kept

    def number(self, text: str) -> str:
        """A text of the program's own with values in it, with the decimal mark that is wanted."""
        return self.safe(_POINT.sub(",", text) if self.comma else text)

    def rule(self, width: int) -> str:
        """A line across."""
        return self.strokes.across * width

    def bar(self, share: float, width: int) -> str:
        """A probability as a bar of `width` cells."""
        full = round(min(1.0, max(0.0, share)) * width)
        on, off = ("#", ".") if self.ascii else ("█", "░")
        return on * full + off * (width - full)

    def shorten(self, text: str, width: int) -> str:
        """The text in `width` cells, with a sign at its end when some of it is left out."""
        text = self.safe(text)
        sign = "..." if self.ascii else "…"
        return text if len(text) <= width else text[: max(0, width - len(sign))] + sign


def lines_of(parts: Iterable[Content | str]) -> Content:
    """Pieces under one another."""
    return Content("\n").join(part if isinstance(part, Content) else Content(part) for part in parts)


def hang(text: str, width: int, first: str = "", rest: str = "") -> list[str]:
    """Words wrapped at `width`, the first line led by `first`, the others by `rest`; a long word is broken."""
    lines, line, begun = [], first, False
    for word in text.split():
        gap = " " if begun else ""
        if begun and len(line) + len(gap) + len(word) > width:
            lines.append(line)
            line, gap = rest, ""
        while len(line) + len(gap) + len(word) > width and len(word) > 1:
            room = max(1, width - len(line) - len(gap))
            lines.append(line + gap + word[:room])
            line, gap, word = rest, "", word[room:]
        line += gap + word
        begun = True
    return [*lines, line]
