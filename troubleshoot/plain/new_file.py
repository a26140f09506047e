"""A file that a person asked for: named rightly, in a folder that is there, and never over another by mistake."""

from __future__ import annotations

from pathlib import Path

from troubleshoot.errors import Problem, TypedWrong
from troubleshoot.files.tell import shown_path


def check_target(path: Path, suffix: str, force: bool = False) -> None:
    """Whether a file that ends in `suffix` may be written there, before the work is done. Raises TypedWrong."""
    if path.suffix.lower() != suffix:
        told = Problem("wrong-ending", f"'{shown_path(path)}' does not end in {suffix}", f"name it FILE{suffix}")
        raise TypedWrong(told)
    if path.exists() and not force:
        told = Problem("file-there", f"{shown_path(path)} is there already", "another name, or --force to replace it")
        raise TypedWrong(told)


def write_new(content: str | bytes, path: Path, suffix: str, force: bool = False) -> None:
    """Writes a file that ends in `suffix`; over one that is there only with `force`. Raises TypedWrong."""
    check_target(path, suffix, force)
    data = content.encode() if isinstance(content, str) else content
    try:
        with path.open("wb" if force else "xb") as file:
            file.write(data)
    except OSError as error:
        reason = (error.strerror or "it cannot be written").lower()
        told = Problem("not-written", f"{shown_path(path)}: {reason}", "a folder that is there and open to you")
        raise TypedWrong(told) from error
