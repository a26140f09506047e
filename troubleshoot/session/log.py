"""An append-only file of events, one JSON object a line, each on disk before it is acknowledged.

`append` returns only after write and fsync have succeeded. What could not be written whole is taken back,
so that the file always ends in a whole line or in the torn piece of one that nobody was told of.
"""

from __future__ import annotations

import contextlib
import fcntl
import json
import os
from pathlib import Path
from typing import Any

from troubleshoot.errors import OneProblem, Problem

Event = dict[str, Any]


class LogFailed(OneProblem):
    """The event is not on disk; nothing acknowledged before is lost."""

    code = "log-failed"


class Log:
    """One session's file, held by this process alone."""

    def __init__(self, path: Path, create: bool) -> None:
        """Opens and locks it. Raises LogFailed when it cannot be written or another process holds it."""
        self.path = path
        self.torn = False
        flags = os.O_RDWR | os.O_APPEND | (os.O_CREAT | os.O_EXCL if create else 0)
        try:
            self._file = os.open(path, flags, 0o644)
        except OSError as error:
            raise LogFailed(_told(path, error.strerror or str(error))) from None
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            os.close(self._file)
            raise LogFailed(_told(path, "another troubleshoot is at work on this job", "finish there first")) from None
        self._whole = os.fstat(self._file).st_size
        """Bytes up to the end of the last whole line."""

    def read(self) -> list[Event]:
        """All whole events. A torn last line is cut off and told by `torn`; any other damage is an error."""
        data = self.path.read_bytes()
        whole, newline, tail = data.rpartition(b"\n")
        if tail:
            self.torn = True
            self._whole = len(whole) + len(newline)
            os.ftruncate(self._file, self._whole)
        events = []
        for number, line in enumerate(whole.split(b"\n") if whole else [], 1):
            try:
                event = json.loads(line)
            except ValueError:
                event = None
            if not isinstance(event, dict) or not isinstance(event.get("event"), str):
                raise LogFailed(Problem("log-damaged", "this line is not an event", "restore the file from a copy",
                                        "", str(self.path), number))  # fmt: skip
            events.append(event)
        return events

    def append(self, event: Event) -> None:
        """Writes one event and makes sure that it is on disk. Raises LogFailed, then nothing is kept of it."""
        line = (json.dumps(event, ensure_ascii=False, separators=(",", ":")) + "\n").encode()
        try:
            if os.fstat(self._file).st_size > self._whole:
                os.ftruncate(self._file, self._whole)  # what an earlier failure could not take back
            sent = 0
            while sent < len(line):
                sent += os.write(self._file, line[sent:])
            os.fsync(self._file)
            self._whole += len(line)
        except OSError as error:
            with contextlib.suppress(OSError):
                os.ftruncate(self._file, self._whole)
            raise LogFailed(
                _told(self.path, error.strerror or str(error), "make room on the disk, then answer again")
            ) from None

    def close(self) -> None:
        """Lets go of the file."""
        if self._file >= 0:
            os.close(self._file)
            self._file = -1


def _told(path: Path, reason: str, hint: str = "") -> Problem:
    return Problem("log-failed", f"the job's log cannot be written: {reason}", hint, "", str(path))
