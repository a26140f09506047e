"""How a problem in a file is told: the user's own text made safe to show, the nearest word, one list.

The first piece of the `files` room; the reader and the checker both speak through it.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from troubleshoot.errors import FileProblems, Problem

SHOWN_CHARACTERS = 60
SHOWN_PROBLEMS = 20
SHOWN_NAMES = 12

# Characters that move the cursor, end a line unseen, turn the writing direction or are no text at all:
# C0 and C1 controls except tab and newline, line and paragraph separators, direction overrides and isolates,
# byte-order marks inside a text, halves of surrogate pairs, and two code points that are never characters.
UNSAFE = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ufeff\ufffe\uffff\ud800-\udfff]"
)


def shown(text: str) -> str:
    """The text as it may be shown: on one line, without control characters, at most 60 characters."""
    # A long text is cut before it is cleaned, so that a megabyte of rubbish costs nothing.
    clean = " ".join(UNSAFE.sub("", text[: 20 * SHOWN_CHARACTERS]).split())
    return clean if len(clean) <= SHOWN_CHARACTERS else clean[: SHOWN_CHARACTERS - 1] + "…"


def shown_path(path: Path) -> str:
    """A file's name as it may be shown; of a long one the end is kept, which tells files apart."""
    clean = " ".join(UNSAFE.sub("", str(path)).split())
    return clean if len(clean) <= SHOWN_CHARACTERS else "…" + clean[1 - SHOWN_CHARACTERS :]


def place(path: tuple[str | int, ...], data: Any) -> str:
    """A path as a person would say it: "wires.#3 (pump_wire).from" is field `from` of the third wire.

    A list item that has a `name` in `data`, the whole file's, is told with it.
    """
    steps = []
    for step in path:
        try:
            data = data[step]
        except (LookupError, TypeError):  # a missing field is told by its name too
            data = None
        steps.append(f"#{step + 1}{_own_name(data)}" if isinstance(step, int) else shown(step))
    return ".".join(steps)


def _own_name(item: object) -> str:
    name = item.get("name") if isinstance(item, dict) else None
    return f" ({shown(name)})" if isinstance(name, str) and name else ""


def described(value: object) -> str:
    """A value from a file in shop words: "text 'abc'", "the number 30", "a list"."""
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return f"the number {value}"
    if isinstance(value, str):
        return f"text '{shown(value)}'"
    return "a list" if isinstance(value, list) else "a group of fields"


def nearest(word: str, known: Iterable[str]) -> str:
    """The known word most like `word`, or "" when none is near. Case, "-" and "_" do not count."""
    by_plain = {_plain(name): name for name in known}
    near = difflib.get_close_matches(_plain(word[:SHOWN_CHARACTERS]), by_plain, n=1, cutoff=0.6)
    return by_plain[near[0]] if near else ""


def suggest(word: str, known: Iterable[str], called: str) -> str:
    """The hint for a word that is not known: the nearest one, then what there is ("kinds: fuse, relay")."""
    names = list(known)
    near = nearest(word, names)
    listed = ", ".join(shown(name) for name in names[:SHOWN_NAMES])
    if len(names) > SHOWN_NAMES:
        listed += f" and {len(names) - SHOWN_NAMES} more"
    pieces = [f"did you mean '{near}'?"] if near else []
    if names:
        pieces.append(f"{called}: {listed}")
    return " ".join(pieces)


def gathered(problems: list[Problem]) -> FileProblems:
    """All problems as one error: by line, the same one on the same line once, the first 20, then a count."""
    once: dict[tuple[int, str, str], Problem] = {}
    for problem in sorted(problems, key=lambda each: each.line):
        once.setdefault((problem.line, problem.code, problem.message), problem)
    told = list(once.values())
    left = len(told) - SHOWN_PROBLEMS
    if left > 0:
        noun = "problem" if left == 1 else "problems"
        first = told[SHOWN_PROBLEMS]
        more = Problem("more", f"and {left} more {noun} from here on", "mend these first", "", first.file, first.line)
        told = [*told[:SHOWN_PROBLEMS], more]
    return FileProblems(told)


def _plain(word: str) -> str:
    return word.lower().replace("-", "_").replace(" ", "_")
