"""Typed text made safe: cleaned before it is read, and shortened before it is echoed.

First file of the first room. Everything a person, a file or a message brings goes
through `clean` before it is understood, and through `quote` before it is shown.
"""

from __future__ import annotations

import re
import unicodedata

from troubleshoot.errors import Problem, TypedWrong

LONGEST_TYPED = 80
_DASHES = dict.fromkeys(map(ord, "‐‒–—−"), "-")
_ESCAPES = re.compile(r"\x1b(?:\[[0-?]*[ -/]*[@-~]|\][^\x07\x1b]*(?:\x07|\x1b\\)?|.)?|\x9b[0-?]*[ -/]*[@-~]", re.S)
_RAISED_OTHER_THAN_SQUARE = re.compile(r"(?<![mM])²")


def wrong(code: str, words: str, message: str, hint: str = "") -> TypedWrong:
    """Build the error for `words` that could not be understood; the words are made safe to print."""
    return TypedWrong(Problem(code=code, message=message, hint=hint, where=f'"{quote(words)}"'))


def quote(text: str, longest: int = 40) -> str:
    """Return `text` safe to print: one line, no control characters or escapes, at most `longest` long."""
    visible = _ESCAPES.sub("", text[: longest * 20])
    visible = "".join(" " if character.isspace() else character for character in visible)
    visible = " ".join("".join(c for c in visible if not _is_hidden(c)).split())
    if len(visible) > longest or len(text) > longest * 20:
        return visible[: longest - 1] + "…"
    return visible


def clean(text: str) -> str:
    """Return `text` trimmed, with full-width characters, dashes and spaces made ordinary.

    Raises TypedWrong: `too-long`, `hidden-characters`, or `not-a-number` for raised digits,
    circled digits and fractions, which normalising would silently glue to the number before them.
    """
    trimmed = text.strip()
    if len(trimmed) > LONGEST_TYPED:
        raise wrong("too-long", text, f"longer than {LONGEST_TYPED} characters", "write one value")
    if any(_is_hidden(character) and character != "\t" for character in trimmed):
        raise wrong("hidden-characters", text, "has control or invisible characters in it", "type it again")
    odd_digit = any(unicodedata.category(c) in ("No", "Nl") and c != "²" for c in trimmed)
    if odd_digit or _RAISED_OTHER_THAN_SQUARE.search(trimmed):
        raise wrong("not-a-number", text, "has raised digits or fractions in it", "write 12.5, not 12½")
    return " ".join(unicodedata.normalize("NFKC", trimmed).translate(_DASHES).split())


def _is_hidden(character: str) -> bool:
    category = unicodedata.category(character)
    return category.startswith("C") or category in ("Zl", "Zp")
