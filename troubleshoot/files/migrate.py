"""A circuit file of an older format, read as one of today: one step a format, always in memory.

Between `yaml_text` (a Document) and `check` (models). A step looks at plain data and says what is called otherwise
in the next format. Nobody's file is rewritten here; `update` makes the same renames in a text, when asked to.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from copy import deepcopy
from dataclasses import dataclass, replace
from typing import Any

from troubleshoot.errors import FileProblems, Problem
from troubleshoot.files.tell import described, place, shown
from troubleshoot.files.yaml_text import Document, Loc


@dataclass(frozen=True)
class Rename:
    """In the group at `path`, `old: was` is `new: value` in the next format."""

    path: Loc
    old: str
    new: str
    was: object
    value: object


_CONTACTS = {4: "make", 5: "changeover"}


def _from_1(data: Mapping[str, Any]) -> Iterator[Rename]:
    """A relay's `blades: 5` says `contacts: changeover`: five blades can also be two make contacts.

    Any other number stays as it is, for `check` to refuse.
    """
    parts = data.get("parts")
    for name, part in parts.items() if isinstance(parts, dict) else ():
        if isinstance(part, dict) and part.get("kind") == "relay" and "blades" in part and "contacts" not in part:
            was = part["blades"]
            value = _CONTACTS.get(was, was) if type(was) is int else was
            yield Rename(("parts", name), "blades", "contacts", was, value)


STEPS: dict[int, Callable[[Mapping[str, Any]], Iterator[Rename]]] = {1: _from_1}
"""By the format that each step starts from; it ends at the next."""

CURRENT = max(STEPS) + 1


def migrate(document: Document) -> tuple[Document, list[Rename]]:
    """The document as one of the current format, and what was renamed; lines stay those of the person's file.

    A `format` that is missing or senseless is left for `check`. Raises FileProblems (`newer-format`).
    """
    renames: list[Rename] = []
    while step := next_step(document):
        document = _renamed(document, step)
        renames += step
    return document, renames


def next_step(document: Document) -> list[Rename]:
    """The renames that lead to the next format, its own number first; none when the document is up to date.

    Raises FileProblems (`newer-format`).
    """
    number = document.data.get("format")
    if type(number) is not int:  # True is an int too
        return []
    if number > CURRENT:
        message = f"this file is written for format {shown(str(number))}, and formats up to {CURRENT} are read here"
        hint = "read it with a newer version of this program"
        line = document.line_of(("format",))
        raise FileProblems([Problem("newer-format", message, hint, "format", document.file, line)])
    if number not in STEPS:
        return []
    return [Rename((), "format", "format", number, number + 1), *STEPS[number](document.data)]


def tell(rename: Rename) -> str:
    """What is called otherwise, in words: "parts.relay: 'blades: 5' is now 'contacts: changeover'"."""
    group = f"{place(rename.path, {})}: " if rename.path else ""
    return f"{group}'{rename.old}: {_written(rename.was)}' is now '{rename.new}: {_written(rename.value)}'"


def _written(value: object) -> str:
    return shown(str(value)) if isinstance(value, (str, int, float)) else described(value)


def _renamed(document: Document, renames: list[Rename]) -> Document:
    data, lines = deepcopy(document.data), dict(document.lines)
    for rename in renames:
        group: Any = data
        for segment in rename.path:
            group = group[segment]
        del group[rename.old]
        group[rename.new] = rename.value
        old, new = (*rename.path, rename.old), (*rename.path, rename.new)
        lines = {(*new, *loc[len(old) :]) if loc[: len(old)] == old else loc: line for loc, line in lines.items()}
    return replace(document, data=data, lines=lines)
