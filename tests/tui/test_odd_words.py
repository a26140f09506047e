"""Whatever is typed as a reading: understood, asked back or refused with a hint; the UI goes on."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from driving import at_work, screen_text, settle
from textual import events

sys.path.insert(0, str(Path(__file__).parents[1] / "words"))
from typed_oddities import ODDITIES

from troubleshoot.circuit.checks import Check
from troubleshoot.diagnose.evidence import known_from
from troubleshoot.session.cards import Outcome
from troubleshoot.session.session import Session
from troubleshoot.session.standing import ReadLine
from troubleshoot.tui import work
from troubleshoot.tui.app import TroubleshootApp
from troubleshoot.tui.entry import Entry

VOLTS = [(text, meaning) for text, expects, meaning in ODDITIES if expects == "voltage"]
MORE = [
    "\x1b[31m12.4\x1b[0m",
    "[red]12.4[/red]",
    "[/]",
    "[bold",
    "9" * 10_000,
    "x" * 10_000,
    "\u200b12",
    "12\x00.4",
    "{}",
    "$x",
]


ENDS = ("stop", "unsafe", "skip", "quit", "q", "exit")
"""Words that are no reading; test_keys and test_stories have them."""


async def test_typed_oddities_are_taken_asked_back_or_refused_and_nothing_breaks(
    app: TroubleshootApp, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What the UI hands to the session; the session itself is told the same hundreds of times in its own tests."""
    taken: list[Any] = []

    def accept(session: Session, check: Check, answer: Any, text: str) -> Outcome:
        taken.append(known_from(check, answer).value)
        return Outcome("noted", (), (), (), ())

    async with app.run_test(size=(80, 24)) as pilot:
        page = await at_work(pilot)
        standing = replace(page.standing, readings=[ReadLine("this", "noted")])
        monkeypatch.setattr(Session, "_accept", accept)
        monkeypatch.setattr(work, "standing_of", lambda session, gauge: standing)
        rows = [*VOLTS, *((text, "refused") for text in MORE)]
        rows = [row for row in rows if row[0].strip().casefold().partition(" ")[0].rstrip(":,.") not in ENDS]
        for text, meaning in rows:
            taken.clear()
            page.question, page.trouble = None, ""
            page.entry.put(text)
            await page.take(Entry.Given(page.entry.value))
            while page.busy:
                await pilot.pause(0.001)
            assert isinstance(app.focused, Entry), text[:50]
            if meaning == "refused":
                assert page.trouble, text[:50]
                assert not taken, text[:50]
            elif isinstance(meaning, tuple) and meaning[0] == "doubtful":
                assert page.question, text[:50]
                assert not taken, text[:50]
            else:
                assert len(taken) == 1, text[:50]
                if isinstance(meaning, float | int):
                    assert abs(taken[0] - meaning) < 1e-9, text[:50]
        assert len(rows) >= 200
        assert "\x1b" not in screen_text(app)
        app.close_job()


async def test_pasted_escapes_do_not_reach_the_terminal(app: TroubleshootApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        page = await at_work(pilot)
        page.entry.post_message(events.Paste("\x1b[2J12.4\nV\x00"))
        await settle(pilot)
        assert page.entry.value == "*[2J12.4 V*"
        assert "\x1b" not in screen_text(app)
        app.close_job()
