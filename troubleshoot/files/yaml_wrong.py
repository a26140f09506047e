"""What the YAML parser could not read -> one sentence in shop words, with the line a person should look at.

Used by `yaml_text` alone. The parser stops at the first such place, and often a line or more after the slip
that caused it: the last piece of text it got through tells where the slip is.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from troubleshoot.errors import Problem
from troubleshoot.files.tell import shown


@dataclass(frozen=True)
class Scalar:
    """The last piece of text that was read: its lines (from 1) and whether it stood in quotes."""

    first_line: int
    last_line: int
    is_quoted: bool


# (words in the parser's message, code, message, hint): the first that fits is told. The words are those of
# ruamel.yaml 0.18 and 0.19, read off its answers to broken texts; unknown words fall through to `not-yaml`.
_TOLD: list[tuple[str, str, str, str]] = [
    (
        "sequence entries are not allowed",
        "bad-indent",
        "a list cannot begin in the middle of a line",
        "put each '- ' on its own line below the field",
    ),
    (
        "while parsing a flow",
        "unclosed-bracket",
        "a bracket is not closed, or a comma is missing",
        "close [ with ] and { with }, and put commas between the items",
    ),
    (
        "but found ']'",
        "stray-bracket",
        "a closing bracket has no opening one",
        "delete it, or put the text in quotes",
    ),
    (
        "but found '}'",
        "stray-bracket",
        "a closing bracket has no opening one",
        "delete it, or put the text in quotes",
    ),
    (
        "could not find expected ':'",
        "missing-colon",
        "this line has no 'field: value'",
        "put a colon and a space after the field's name",
    ),
    (
        "cannot start any token",
        "needs-quotes",
        "text cannot begin with this character",
        "put the text in 'single quotes'",
    ),
    (
        "escape",
        "bad-escape",
        "a backslash in double quotes means something else here",
        "use 'single quotes', in which a backslash is only a backslash",
    ),
    ("an alias", "alias", "text cannot begin with *", "put the text in 'single quotes'"),
    ("an anchor", "anchor", "text cannot begin with &", "put the text in 'single quotes'"),
    ("tag", "tag", "text cannot begin with !", "put the text in 'single quotes'"),
    (
        "a block scalar",
        "needs-quotes",
        "after | or > the text begins on the next line",
        "put the text in 'single quotes' if it begins with | or >",
    ),
    (
        "expected <block end>",
        "bad-indent",
        "this line is not in line with the ones it belongs to",
        "fields and list items of one group begin in the same column, with spaces",
    ),
]


def explain(error: Exception, lines: list[str], last: Scalar, file: str) -> Problem:
    """One Problem for what stopped the parser; `lines` are the text's, `last` the last scalar it read."""
    line = _line_of(error, "problem_mark", last.last_line, lines)
    opened = _line_of(error, "context_mark", line, lines)
    words = f"{getattr(error, 'context', '')} | {getattr(error, 'problem', '')}"
    code, message, hint, line = (
        _tab(words, lines, line)
        or _quote(words, last, line, opened)
        or _colon(words, lines, last, line, opened)
        or _other(words, line, opened)
    )
    return Problem(code, message, hint, file=file, line=line)


def lacks_space(line: str) -> bool:
    """True for a line like `coil:80`, which YAML reads as one word."""
    return re.match(r"\s*(- +)?[\w-]+:[^\s:/]", line) is not None


_Told = tuple[str, str, str, int]


def _tab(words: str, lines: list[str], line: int) -> _Told | None:
    source = lines[line - 1]
    indent = source[: len(source) - len(source.lstrip())]
    if r"'\t'" not in words and "\t" not in indent:
        return None
    return "tab", "there is a tab in this line's indentation", "indent with spaces only", line


def _quote(words: str, last: Scalar, line: int, opened: int) -> _Told | None:
    unclosed = "a quote is opened here and not closed", "end the text with the same kind of quote"
    # A forgotten quote swallows text up to the next quote, lines below; only there does the parser stumble.
    if last.is_quoted and last.first_line < last.last_line and last.last_line in (line, opened):
        return "unclosed-quote", *unclosed, last.first_line
    if "quoted scalar" in words and ("end of stream" in words or "document separator" in words):
        return "unclosed-quote", *unclosed, opened
    if last.is_quoted and last.last_line == line and "but found '<scalar>'" in words:
        hint = "write '' for a quote inside single quotes, or use the other kind outside"
        return "text-after-quote", "there is text after the closing quote", hint, line
    return None


def _colon(words: str, lines: list[str], last: Scalar, line: int, opened: int) -> _Told | None:
    if "mapping values are not allowed" not in words and "could not find expected ':'" not in words:
        return None
    for number in range(max(last.first_line, 1), line + 1):
        if lacks_space(lines[number - 1]):
            source = shown(lines[number - 1])
            return (
                "missing-space",
                f"there is no space after the colon in '{source}'",
                "write 'field: value'",
                number,
            )
    if "could not find" in words:
        if re.match(r"\s*-[^\s-]", lines[opened - 1]):
            return "missing-space", "there is no space after the '-'", "write '- item'", opened
        return None
    if last.first_line < line:
        hint = "begin it in the same column as the field above, or leave nothing after that field's colon"
        return "bad-indent", "this line is indented under a field that has a value already", hint, line
    return (
        "needs-quotes",
        "there is a second ': ' in this line",
        "put the text after the first in quotes",
        line,
    )


def _other(words: str, line: int, opened: int) -> _Told:
    for part, code, message, hint in _TOLD:
        if part in words:
            # A bracket or a name is wrong where it begins, the rest where the parser stopped.
            begins = code in ("unclosed-bracket", "missing-colon")
            return code, message, hint, opened if begins else line
    return "not-yaml", "this line cannot be read as YAML", "look at its indentation, quotes and colons", line


def _line_of(error: Exception, mark: str, otherwise: int, lines: list[str]) -> int:
    """The mark's line from 1; the end of the text is told as the last line that has something on it."""
    found = getattr(error, mark, None)
    last = max((number for number, text in enumerate(lines, 1) if text.strip()), default=1)
    return min(max(otherwise if found is None else found.line + 1, 1), last)
