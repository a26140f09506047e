"""A circuit file of an older format written out anew, in a new file, with everything else as the person wrote it.

Behind the verb `update` alone. The renames of `migrate` are made in the text at their own places, so that comments,
order, quotes and spacing stay. Line ends become newlines, as `file_text` reads them.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from troubleshoot.errors import FileProblems, Problem
from troubleshoot.files.circuit_file import circuit_file, parse_circuit
from troubleshoot.files.file_text import read_text
from troubleshoot.files.migrate import Rename, next_step, tell
from troubleshoot.files.tell import shown_path
from troubleshoot.files.yaml_text import parse_yaml


def update(path: Path, out: Path) -> list[str]:
    """Writes the circuit file `path` to the new file `out` in the current format; returns what changed, a line each.

    With nothing to change nothing is written, and the list is empty. Raises FileProblems when the file is no circuit,
    or `out` is there already (`file-exists`) or cannot be written (`unwritable-file`).
    """
    path = circuit_file(path)
    text = read_text(path)
    parse_circuit(text, shown_path(path))
    text, told = updated(text, shown_path(path))
    if told:
        _write_new(out, text)
    return told


def updated(text: str, file: str = "") -> tuple[str, list[str]]:
    """The text of a circuit file in the current format, and what changed, with the line of each change."""
    told: list[str] = []
    while step := next_step(document := parse_yaml(text, file)):
        told += [f"line {document.line_of((*rename.path, rename.old))}: {tell(rename)}" for rename in step]
        text = _replaced(text, step)
    return text, told


def _replaced(text: str, renames: list[Rename]) -> str:
    from ruamel.yaml import YAML

    root = YAML(typ="safe", pure=True).compose(text)
    spots: list[tuple[int, int, str]] = []
    for rename in renames:
        group = root
        for segment in rename.path:
            group = _entry(group, str(segment))[1]
        key, value = _entry(group, rename.old)
        quote = key.style or ""
        spots.append((*_span(key), f"{quote}{rename.new}{quote}"))
        if rename.value != rename.was:
            spots.append((*_span(value), str(rename.value)))
    for start, end, words in sorted(spots, reverse=True):  # from the end, so that what is before keeps its place
        text = text[:start] + words + text[end:]
    return text


def _entry(group: Any, name: str) -> tuple[Any, Any]:
    """Key and value nodes of a mapping."""
    return next((key, value) for key, value in group.value if key.value == name)


def _span(node: Any) -> tuple[int, int]:
    return node.start_mark.index, node.end_mark.index


def _write_new(out: Path, text: str) -> None:
    told = shown_path(out)
    try:
        with out.open("x", encoding="utf-8", newline="\n") as stream:
            stream.write(text)
    except FileExistsError:
        hint = "nothing is overwritten: give --out a name that is free"
        raise FileProblems([Problem("file-exists", "there is such a file already", hint, file=told)]) from None
    except (OSError, ValueError) as error:  # ValueError: a NUL inside the name
        reason = (getattr(error, "strerror", None) or "its name is not a file name").lower()
        problem = Problem("unwritable-file", f"the file cannot be written: {reason}", "look at the folder", file=told)
        raise FileProblems([problem]) from None
