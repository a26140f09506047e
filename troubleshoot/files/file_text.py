"""A file's bytes -> its text, or one plain sentence why not.

Comes before `yaml_text`: what leaves here is text with newlines as line ends, of a size that can be read.
"""

from __future__ import annotations

import stat
from pathlib import Path
from typing import NoReturn

from troubleshoot.errors import FileProblems, Problem
from troubleshoot.files.tell import shown_path

LARGEST_BYTES = 1_000_000

_SAVE_AS = "save it as plain text in UTF-8"


def read_text(path: Path) -> str:
    """The text of a file, without byte-order mark, every line end a newline.

    Raises FileProblems (codes `missing-file`, `directory`, `not-a-file`, `unreadable-file`, `too-big`,
    `binary-file`, `wrong-encoding`).
    """
    data = _read_bytes(path)
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        _refuse(path, "wrong-encoding", "the file is saved as UTF-16", _SAVE_AS)
    if b"\0" in data:
        _refuse(path, "binary-file", "this is not a text file", "give the .yaml file")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        _refuse(path, "wrong-encoding", "from this line on the text is not UTF-8", _SAVE_AS, line)
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _read_bytes(path: Path) -> bytes:
    try:
        mode = path.stat().st_mode
        if stat.S_ISDIR(mode):
            _refuse(path, "directory", "this is a folder, not a file", "give the .yaml file inside it")
        if not stat.S_ISREG(mode):  # a pipe or a device could keep us waiting for ever
            _refuse(path, "not-a-file", "this is not an ordinary file", "give a .yaml file")
        with path.open("rb") as stream:
            data = stream.read(LARGEST_BYTES + 1)
    except (FileNotFoundError, NotADirectoryError):
        _refuse(path, "missing-file", "there is no such file", "look at the name and the folder")
    except PermissionError:
        _refuse(path, "unreadable-file", "you may not read this file", "look at its permissions")
    except (OSError, ValueError) as error:  # ValueError: a NUL inside the name
        reason = getattr(error, "strerror", None) or "its name is not a file name"
        _refuse(path, "unreadable-file", f"the file cannot be read: {reason.lower()}", "look at its name and folder")
    if len(data) > LARGEST_BYTES:
        _refuse(
            path,
            "too-big",
            "the file is larger than 1 MB",
            "a circuit takes a few kilobytes: is it this file?",
        )
    return data


def _refuse(path: Path, code: str, message: str, hint: str = "", line: int = 0) -> NoReturn:
    raise FileProblems([Problem(code, message, hint, file=shown_path(path), line=line)]) from None
