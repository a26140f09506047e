"""The one field of a screen: it keeps the focus, takes every form of answer, and tells what was typed by a message."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from typing import Any

from textual import events
from textual.binding import Binding
from textual.message import Message
from textual.widgets import Input

HIDDEN = "*"
"""Stands for a control or invisible character; no number and no word has one, so such words are refused."""


class Entry(Input):
    """A line of typed words. Enter posts `Given`; the arrows post `Moved`, for a mark among choices or to scroll."""

    BINDINGS = [  # noqa: RUF012 - as Textual declares it
        Binding("up", "moved(-1)", "up", show=False),
        Binding("down", "moved(1)", "down", show=False),
    ]

    DEFAULT_CSS = """
    Entry, Entry:focus { border: none; height: 1; padding: 0; width: 1fr; background: $background; }
    Entry > .input--cursor { background: $foreground; color: $background; text-style: none; }
    Entry:ansi > .input--cursor { background: ansi_default; color: ansi_default; text-style: reverse; }
    Entry > .input--selection { background: $foreground; color: $background; text-style: none; }
    Entry:ansi > .input--selection { background: ansi_default; color: ansi_default; text-style: reverse; }
    """

    @dataclass
    class Given(Message):
        """What was typed when Enter was pressed, as it is."""

        text: str

    @dataclass
    class Moved(Message):
        """An arrow key: -1 up, 1 down."""

        step: int

    def __init__(self, **more: Any) -> None:
        super().__init__(select_on_focus=False, compact=True, **more)
        self.cursor_blink = False

    def action_moved(self, step: int) -> None:
        """Tells the screen; the field has one line only."""
        self.post_message(self.Moved(step))

    async def action_submit(self) -> None:
        """Gives the words away and is empty at once: keys typed ahead are neither lost nor glued to them."""
        given = self.value
        self.put("")
        self.post_message(self.Given(given))

    def validate_value(self, value: str) -> str:
        """Whatever cannot be seen is made to be seen, one for one, before it reaches the terminal or the grammar."""
        return "".join(" " if c in "\t\n\r" else HIDDEN if unicodedata.category(c)[0] == "C" else c for c in value)

    @property
    def is_longer(self) -> bool:
        """Whether some of it is out of sight."""
        return len(self.value) >= self.size.width > 0

    def put(self, text: str) -> None:
        """Replaces what is typed, cursor at the end."""
        self.value = text
        self.cursor_position = len(text)

    def _on_paste(self, event: events.Paste) -> None:
        """Pasted lines become one; nothing is cut off silently."""
        event.prevent_default()
        event.stop()
        self.insert_text_at_cursor(" ".join(event.text.splitlines()))
