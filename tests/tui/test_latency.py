"""Over a slow line, 100 ms each way, nothing typed is lost or doubled: the log on disk has it letter for letter."""

from __future__ import annotations

import json
import os
import pty
import queue
import select
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

import pytest
from driving import TO_THE_FIRST_CHECK

WAY_S = 0.1
KEY_S = 0.03
"""A quick typist's time from key to key."""


class SlowLine:
    """A terminal with the program in it, `WAY_S` away in each direction."""

    def __init__(self, folder: Path) -> None:
        self._near, theirs = pty.openpty()
        environment = {**os.environ, "TERM": "xterm-256color", "COLUMNS": "80", "LINES": "24"}
        command = [sys.executable, "-m", "troubleshoot", "--folder", str(folder)]
        self._program = subprocess.Popen(command, stdin=theirs, stdout=theirs, stderr=theirs, env=environment)
        os.close(theirs)
        self._sent: queue.Queue[tuple[float, bytes]] = queue.Queue()
        self.heard_at = time.monotonic()
        for work in (self._carry, self._hear):
            threading.Thread(target=work, daemon=True).start()

    def _carry(self) -> None:
        while True:
            at, data = self._sent.get()
            time.sleep(max(0.0, at - time.monotonic()))
            os.write(self._near, data)

    def _hear(self) -> None:
        while self._program.poll() is None:
            if select.select([self._near], [], [], 0.05)[0]:
                try:
                    os.read(self._near, 65536)
                except OSError:
                    return
                self.heard_at = time.monotonic() + WAY_S

    def type(self, text: str) -> None:
        """Types text and Enter, then waits as a person does until the screen has been still for a while."""
        for letter in [*text, "\r"]:
            self._sent.put((time.monotonic() + WAY_S, letter.encode()))
            time.sleep(KEY_S)
        self.wait()

    def wait(self, least_s: float = 1.0) -> None:
        """Until something came and nothing more comes."""
        time.sleep(least_s)
        deadline = time.monotonic() + 30
        while time.monotonic() - self.heard_at < 1.0 and time.monotonic() < deadline:
            time.sleep(0.05)

    def close(self) -> None:
        """Ends the program."""
        self._program.kill()
        self._program.wait()


def _events(folder: Path) -> list[dict[str, Any]]:
    (log,) = folder.glob("*.jsonl")
    return [json.loads(line) for line in log.read_text().splitlines()]


@pytest.mark.slow
def test_nothing_typed_over_a_slow_line_is_lost_or_doubled(tmp_path: Path) -> None:
    line = SlowLine(tmp_path)
    typed = ["0.0213", "12.34", "  11,97 V", "about 0.5"]
    try:
        line.wait(3.0)
        for text in TO_THE_FIRST_CHECK:
            line.type(text.replace("Old van", "Old van 0123456789"))
        line.wait(8.0)  # the table is worked out meanwhile
        for text in typed:
            line.type(text)
    finally:
        line.close()
    events = _events(tmp_path)
    told = [event["text"].strip() for event in events if event["event"] == "answered"]
    names = [event["name"] for event in events if event["event"] == "noted" and event.get("name")]
    assert names == ["Old van 0123456789"]
    asked = [text.strip() for text in typed]
    # where the program asked something to be seen or heard, a number is refused and not kept
    assert told == [text for text in asked if text in told]
    assert len(told) >= 2
