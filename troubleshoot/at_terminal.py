"""What every verb of the command line needs: lines written and asked for, the terminal's width, the last job kept."""

from __future__ import annotations

import sys
from pathlib import Path
from textwrap import wrap


def write(line: str) -> None:
    """One line out, at once."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def width() -> int:
    """Columns of the terminal; what is piped is set for a page."""
    from shutil import get_terminal_size

    from troubleshoot.plain.wall_text import WIDTH

    return get_terminal_size((WIDTH, 24)).columns if sys.stdout.isatty() else WIDTH


def ask(prompt: str) -> str:
    """A line from the person, the prompt broken between words; what comes by pipe is echoed, so that a record reads
    whole."""
    *before, last = wrap(prompt, width()) or [""]
    for line in before:
        write(line)
    line = input(last + prompt[len(prompt.rstrip()) :])
    if not sys.stdin.isatty():
        write(line)
    return line


def last_session(folder: Path | None) -> Path:
    """The log of the job that was last at work; TypedWrong where there is none."""
    from troubleshoot import places
    from troubleshoot.errors import Problem, TypedWrong

    where = folder or places.sessions()
    found = sorted(where.glob("*.jsonl"), key=lambda path: path.stat().st_mtime)
    found = [path for path in found if not path.name.startswith("example-")]
    if not found:
        raise TypedWrong(
            Problem("no-session", f"there is no session in {where}", "begin one: troubleshoot find CIRCUIT")
        )
    return found[-1]
