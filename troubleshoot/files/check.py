"""A Document -> any pydantic model, or every problem in it, in shop words and with its line.

The last of the generic pieces of the `files` room; the loaders of particular files call `build`.
"""

from __future__ import annotations

import re
from typing import Any, TypeVar, get_args

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails
from pydantic_core.core_schema import ErrorType

from troubleshoot.errors import Problem
from troubleshoot.files.known_fields import Place, follow, how_to_add
from troubleshoot.files.tell import UNSAFE, described, gathered, nearest, place, shown, suggest
from troubleshoot.files.yaml_text import Document
from troubleshoot.units import FROM_FILE

__all__ = ["build", "nearest"]

M = TypeVar("M", bound=BaseModel)

_Told = tuple[str, str, str]  # code, message, hint
_BUILT_IN = frozenset(get_args(ErrorType))

_A_LIST = ("a list", "put each item on its own line, beginning with '- '")
_A_GROUP = ("a group of fields", "write its fields on the lines below, indented")
_A_NUMBER = ("a number", "write it in digits, like 2.5")
_WHOLE = ("a whole number", "write it in digits, like 2")
_A_TRUTH = ("true or false", "write true or false")
_WANTED: dict[str, tuple[str, str]] = {
    "string_type": ("text", "write a few words on this line"),
    "int_type": _WHOLE,
    "int_parsing": _WHOLE,
    "int_from_float": _WHOLE,
    "float_type": _A_NUMBER,
    "float_parsing": _A_NUMBER,
    "finite_number": _A_NUMBER,
    "bool_type": _A_TRUTH,
    "bool_parsing": _A_TRUTH,
    "list_type": _A_LIST,
    "tuple_type": _A_LIST,
    "set_type": _A_LIST,
    "frozen_set_type": _A_LIST,
    "iterable_type": _A_LIST,
    "dict_type": _A_GROUP,
    "mapping_type": _A_GROUP,
    "model_type": _A_GROUP,
    "model_attributes_type": _A_GROUP,
    "dataclass_type": _A_GROUP,
}
_LIMITS = {
    "greater_than": "more than {gt}",
    "greater_than_equal": "{ge} or more",
    "less_than": "less than {lt}",
    "less_than_equal": "{le} or less",
    "multiple_of": "a multiple of {multiple_of}",
}
_LENGTHS = {
    "too_short": "too few items: {actual_length}, and there must be at least {min_length}",
    "too_long": "too many items: there may be at most {max_length}",
    "string_too_short": "too short: it must have at least {min_length} characters",
    "string_too_long": "too long: it may have at most {max_length} characters",
}


def build(model: type[M], document: Document) -> M:
    """The document as a `model`.

    Raises FileProblems with one Problem for each thing pydantic finds wrong. A validator's own
    PydanticCustomError keeps its type as code and its message; a "hint" in its context becomes the hint.
    There "message" and "hint" are sentences of ours and stay whole; all else is the file's own words.
    A bare number where a unit belongs is refused (`FROM_FILE`).
    """
    try:
        return model.model_validate(document.data, context=FROM_FILE)
    except ValidationError as error:
        details = error.errors(include_url=False)
        raise gathered([_problem(model, document, each) for each in details]) from None


def _problem(model: type[BaseModel], document: Document, error: ErrorDetails) -> Problem:
    kind, loc, ctx = error["type"], error["loc"], error.get("ctx", {})
    found = follow(model, loc)
    path = where = document.existing(found.path)
    group, name = found, ""
    if kind in ("missing", "extra_forbidden"):
        group, name = follow(model, loc[:-1]), str(loc[-1])
        where = path if kind == "extra_forbidden" else (*path, loc[-1])
    elif kind in ("union_tag_invalid", "union_tag_not_found"):
        # Only a field can be pointed at; a union may also be told apart by a function.
        name = ctx["discriminator"].strip("'")
        where = (*path, name) if name.isidentifier() else path
        path = document.existing(where)
    code, message, hint = _told(error, ctx, group, shown(name))
    return Problem(code, message, hint, place(where, document.data), document.file, document.line_of(path))


def _told(error: ErrorDetails, ctx: dict[str, Any], group: Place, name: str) -> _Told:
    """Code, message and hint for one pydantic error about the field `name` of `group`."""
    kind, value = error["type"], error["input"]
    if kind not in _BUILT_IN:
        return kind, _cut(error["msg"], ctx, value), _cut(str(ctx.get("hint", "")), ctx, value)
    if kind == "missing" and name.isdigit():
        return "missing-field", f"item {int(name) + 1} is missing", "add it to the list"
    if kind == "missing":
        hint = how_to_add(group.model, name) if group.model else "add it"
        return "missing-field", f"field '{name}' is missing", hint
    if kind == "extra_forbidden":
        return "unknown-field", f"unknown field '{name}'", suggest(name, group.names, "fields here") or "delete it"
    if kind == "union_tag_invalid":
        return _kind_told(value, name, str(ctx["tag"]), group.names)
    if kind == "union_tag_not_found":
        return "missing-kind", f"field '{name}' is missing", suggest("", group.names, "it may be")
    if value is None:
        hint = "write a value after the colon, or leave the field out; text beginning with # needs quotes"
        return "empty-field", "nothing is written here", hint
    return _value_told(kind, value, ctx, error["msg"])


def _kind_told(part: object, name: str, tag: str, kinds: tuple[str, ...]) -> _Told:
    """Code, message and hint for a part whose kind there is not; pydantic tells even an empty one as a word."""
    written = part.get(name, tag) if isinstance(part, dict) else tag
    if written is None:
        return "empty-field", "nothing is written here", suggest("", kinds, "it may be")
    told = f"'{shown(written)}'" if isinstance(written, str) else described(written)
    return "unknown-kind", f"unknown {name} {told}", suggest(tag, kinds, "there are")


def _value_told(kind: str, value: object, ctx: dict[str, Any], pydantic_message: str) -> _Told:
    """Code, message and hint for a value that is there and does not fit."""
    if kind in _WANTED:
        wanted, hint = _WANTED[kind]
        if kind == "string_type" and isinstance(value, (int, float)):
            hint = f"put it in quotes: '{described(value).removeprefix('the number ')}'"
        return "wrong-type", f"this must be {wanted}, not {described(value)}", hint
    if kind in ("literal_error", "enum"):
        allowed = [a or b for a, b in re.findall(r"'([^']*)'|(-?[\w.]+)(?=,| or |$)", str(ctx["expected"]))]
        return (
            "unknown-value",
            f"{described(value)} cannot stand here",
            suggest(str(value), allowed, "it may be"),
        )
    if kind in _LIMITS:
        tidy = {name: f"{each:g}" if isinstance(each, float) else each for name, each in ctx.items()}
        limit = _LIMITS[kind].format(**tidy)
        return "out-of-range", f"this must be {limit}, not {described(value)}", f"write a number that is {limit}"
    if kind == "string_too_short" and ctx["min_length"] == 1:
        return "empty-field", "nothing is written here", "write a few words"
    if kind in _LENGTHS:
        return "wrong-length", _LENGTHS[kind].format(**ctx), "add to it, or take away from it"
    if kind == "string_pattern_mismatch":
        return (
            "wrong-form",
            f"{described(value)} has not the form that is wanted here",
            "write it as its neighbours are",
        )
    if kind in ("value_error", "assertion_error"):
        return "wrong-value", _cut(str(ctx["error"]), ctx, value), "write another value"
    # The rest is rare; pydantic's sentence is the only one there is for it.
    hint = _cut(pydantic_message, ctx, value).replace("Input should", "it should")
    return kind.replace("_", "-"), f"{described(value)} does not fit here", hint


def _cut(message: str, ctx: dict[str, Any], value: object) -> str:
    """A validator's own message, with what it quotes from the file made safe to show."""
    words = [each for name, each in ctx.items() if name not in ("message", "hint")]
    for quoted in (*words, value):
        if isinstance(quoted, str) and quoted:
            message = message.replace(quoted, shown(quoted))
    return " ".join(UNSAFE.sub("", message).split())
