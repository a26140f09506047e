"""YAML text -> plain dicts, lists and values, each with its line; everything wrong with the text in one go.

Between `file_text` (bytes) and `check` (models). The tree is built here from the parser's events, by the core
rules of YAML 1.2 (section 10.3.2 of its specification), so that `on`, `off` and `12:30` stay text. Keys are
always text, so that terminal `30:` is "30".
What a circuit file never needs (aliases, tags, several documents) is refused and not interpreted.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from troubleshoot.errors import Problem
from troubleshoot.files.file_text import read_text
from troubleshoot.files.tell import UNSAFE, gathered, shown, shown_path
from troubleshoot.files.yaml_wrong import Scalar, explain, lacks_space

Loc = tuple[str | int, ...]

DEEPEST = 30
MOST_VALUES = 50_000  # some 4 s of reading; a large circuit has a few thousand
LONGEST_NUMBER = 30

_NULL = re.compile(r"null|Null|NULL|~|")
_BOOL = re.compile(r"true|True|TRUE|false|False|FALSE")
_INT = re.compile(r"[-+]?[0-9]+|0o[0-7]+|0x[0-9a-fA-F]+")
_FLOAT = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?")
_NOT_FINITE = re.compile(r"[-+]?\.(inf|Inf|INF)|\.(nan|NaN|NAN)")


@dataclass(frozen=True)
class Document:
    """A file as plain data. `lines` has the line (from 1) of every field and list item by its path."""

    data: dict[str, Any]
    file: str
    lines: dict[Loc, int]

    def existing(self, path: Loc) -> Loc:
        """The part of `path` that is there: segments that the data do not have are skipped."""
        found: Loc = ()
        for segment in path:
            for step in (segment, str(segment)):
                if (*found, step) in self.lines:
                    found = (*found, step)
                    break
        return found

    def line_of(self, path: Loc) -> int:
        """The line (from 1) of what `path` leads to, or of its nearest ancestor that is there."""
        return self.lines[self.existing(path)]


def read_yaml(path: Path) -> Document:
    """The file as a Document. Raises FileProblems with every problem of the text."""
    return parse_yaml(read_text(path), shown_path(path))


def parse_yaml(text: str, file: str = "") -> Document:
    """The text as a Document; `file` is only told in problems. Raises FileProblems."""
    tree = _Tree(text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n"), file)
    data = tree.read()
    if tree.problems:
        raise gathered(tree.problems)
    assert isinstance(data, dict)  # anything else has become a problem
    return Document(data, file, tree.lines_at)


class _StopError(Exception):
    """The rest of the text cannot be read; the problem has been noted."""


class _Tree:
    """The tree being built from the parser's events, with the problems met on the way."""

    def __init__(self, text: str, file: str) -> None:
        self.file = file
        self.problems: list[Problem] = []
        self.lines_at: dict[Loc, int] = {}
        self.last = Scalar(1, 1, False)
        for number, line in enumerate(text.split("\n"), 1):
            self._refuse_unsafe(line, number)
        # Marked, not removed, so that the columns stay; the parser would stop at the first of them.
        text = UNSAFE.sub("\ufffd", text)
        self.source = text.split("\n")
        self.events = self._events(text)

    def read(self) -> Any:
        """The top-level value, None where it could not be read."""
        data = None
        try:
            event = next(self.events, None)
            if event is None or _is_empty(event):
                self._note("empty-file", "there is nothing in this file", 0, "begin with 'field: value' lines")
                raise _StopError
            self.lines_at[()] = _line(event)
            data = self._value(event, ())
            next(self.events, None)  # what follows is a problem, or nothing
            if not isinstance(data, dict):
                self._refuse_top(event)
        except _StopError:
            return None
        return data

    def _events(self, text: str) -> Iterator[Any]:
        """The parser's events that carry content. A text that cannot be parsed becomes a problem."""
        from ruamel.yaml import YAML

        try:
            for event in YAML(typ="safe", pure=True).parse(text):
                kind = type(event).__name__
                if kind == "DocumentStartEvent" and self.lines_at:
                    hint = "keep one of them, and delete the --- or ... above it"
                    self._note("two-documents", "a second document begins here", _line(event), hint)
                    raise _StopError
                if not kind.startswith(("Stream", "Document")):
                    yield event
        except _StopError:
            raise
        except Exception as error:  # besides its own errors the parser lets stray ones out (ValueError, IndexError)
            self.problems.append(explain(error, self.source, self.last, self.file))
            raise _StopError from None

    def _value(self, event: Any, path: Loc) -> Any:
        self._refuse_marks(event)
        if len(self.lines_at) > MOST_VALUES:
            message, hint = f"there are more than {MOST_VALUES} values in this file", "is it this file?"
            self._note("too-big", message, _line(event), hint)
            raise _StopError
        kind = type(event).__name__
        if kind == "AliasEvent":
            return None
        if kind == "ScalarEvent":
            return self._scalar(event)
        if len(path) >= DEEPEST:
            message, hint = f"this is nested more than {DEEPEST} levels deep", "close the brackets before this one"
            self._note("too-deep", message, _line(event), hint)
            raise _StopError
        return self._mapping(path) if kind == "MappingStartEvent" else self._sequence(path)

    def _mapping(self, path: Loc) -> dict[str, Any]:
        found: dict[str, Any] = {}
        while type(event := next(self.events)).__name__ != "MappingEndEvent":
            key, line = self._key(event), _line(event)
            here = (*path, key)
            if key in found:
                first = self.lines_at[here]
                lines = f"lines {first} and {line}" if first != line else f"line {line}"
                self._note(
                    "duplicate-key",
                    f"'{shown(key)}' is there twice, on {lines}",
                    line,
                    "rename or delete one",
                )
                # Read on for the problems inside, at a path that cannot be meant.
                here = (*path, key, line)
            self.lines_at[here] = line
            value = self._value(next(self.events), here)
            found.setdefault(key, value)
        return found

    def _sequence(self, path: Loc) -> list[Any]:
        found: list[Any] = []
        while type(event := next(self.events)).__name__ != "SequenceEndEvent":
            here = (*path, len(found))
            self.lines_at[here] = _line(event)
            found.append(self._value(event, here))
        return found

    def _key(self, event: Any) -> str:
        if type(event).__name__ == "ScalarEvent":
            self._refuse_marks(event)
            self._text(event)
            return str(event.value)
        self._note("bad-key", "a field's name must be one word", _line(event), "put text with { or [ in quotes")
        self._value(event, ())
        return f"(line {_line(event)})"

    def _scalar(self, event: Any) -> str | int | float | bool | None:
        text = self._text(event)
        if event.style:
            return text
        try:
            return _resolved(text)
        except ValueError:
            message = f"'{shown(text)}' is not a number that can be measured"
            self._note("bad-number", message, _line(event), "put it in quotes if it is text")
            return None

    def _text(self, event: Any) -> str:
        """The scalar's text; control characters from escapes in it become a problem."""
        text = str(event.value)
        line = _line(event)
        self.last = Scalar(line, event.end_mark.line + 1, event.style in ("'", '"'))
        self._refuse_unsafe(text, line)
        if not event.style and self.last.last_line > line:
            for number in range(line + 1, self.last.last_line + 1):
                if self.source[number - 1].lstrip().startswith("- "):
                    hint = "leave nothing after the colon above the list"
                    self._note("bad-indent", "this list item runs on from the text above it", number, hint)
        return text

    def _refuse_marks(self, event: Any) -> None:
        """Notes the alias, anchor or tag on a value."""
        line, name = _line(event), shown(str(getattr(event, "anchor", None) or ""))
        if type(event).__name__ == "AliasEvent":
            hint = f"write the value out again, or '*{name}' in quotes if it is text"
            self._note("alias", f"aliases (*{name}) are not read here", line, hint)
        elif name:
            hint = f"delete it, or put '&{name}' in quotes if it is text"
            self._note("anchor", f"anchors (&{name}) are not read here", line, hint)
        if getattr(event, "tag", None) is not None:
            tag = shown(str(event.tag).replace("tag:yaml.org,2002:", "!!"))
            self._note("tag", f"tags ({tag}) are not read here", line, "delete it; put text in quotes")

    def _refuse_unsafe(self, text: str, line: int) -> None:
        unsafe = UNSAFE.search(text)
        if unsafe:
            code = f"U+{ord(unsafe.group()):04X}"
            self._note("control-character", f"there is a control character ({code}) in this text", line, "delete it")

    def _refuse_top(self, event: Any) -> None:
        line = _line(event)
        hint = "begin with 'field: value' lines"
        if type(event).__name__ == "ScalarEvent" and lacks_space(self.source[line - 1]):
            hint = "put a space after the colon: 'field: value'"
        self._note("not-a-mapping", "the file must be a group of fields", line, hint)

    def _note(self, code: str, message: str, line: int, hint: str = "") -> None:
        self.problems.append(Problem(code, message, hint, file=self.file, line=line))


def _resolved(text: str) -> str | int | float | bool | None:
    """A text without quotes as the value it is. Raises ValueError for numbers no file can mean."""
    if _NULL.fullmatch(text):
        return None
    if _BOOL.fullmatch(text):
        return text.lower() == "true"
    if _INT.fullmatch(text):
        if len(text) > LONGEST_NUMBER:
            raise ValueError
        return int(text, {"0o": 8, "0x": 16}.get(text[:2], 10))
    if _FLOAT.fullmatch(text) or _NOT_FINITE.fullmatch(text):
        number = math.nan if _NOT_FINITE.fullmatch(text) else float(text)
        if not math.isfinite(number):
            raise ValueError
        return number
    return text


def _line(event: Any) -> int:
    return int(event.start_mark.line) + 1


def _is_empty(event: Any) -> bool:
    return type(event).__name__ == "ScalarEvent" and not event.style and event.value == "" and not event.tag
