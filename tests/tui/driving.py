"""Drives the UI with keystrokes, and reads what is on its screen. Not a test itself."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from textual.pilot import Pilot

from troubleshoot.car.car import Car
from troubleshoot.session.cards import CheckCard
from troubleshoot.session.session import Session
from troubleshoot.tui.app import TroubleshootApp
from troubleshoot.tui.entry import Entry
from troubleshoot.tui.work import WorkPage

NAMED = {
    " ": "space",
    ".": "full_stop",
    ",": "comma",
    "-": "minus",
    "?": "question_mark",
    "/": "slash",
    "_": "underscore",
}

SHIPPED = "pump-on-ignition-feed"

TO_THE_FIRST_CHECK = ("begin", SHIPPED, "1", "1", "1", "Old van", "11", "", "", "", "", "", "2")
"""What is typed, each with Enter, from the first screen to the first check."""


def make_app(folder: Path, plain: bool = False) -> TroubleshootApp:
    """An app on a folder of its own, with a clock that stands still."""
    settings = folder / "settings" / "settings.json"
    return TroubleshootApp(folder, plain, settings, clock=lambda: datetime(2024, 5, 6, 7, 8, tzinfo=UTC))


async def settle(pilot: Pilot[None]) -> None:
    """Until nothing is at work and the screen is painted."""
    await pilot.pause()
    for _ in range(2000):
        if not getattr(pilot.app.screen, "busy", ""):
            break
        await pilot.pause(0.02)
    await pilot.pause()


async def press(pilot: Pilot[None], *keys: str) -> None:
    """Keys, one after the other; the entry must have the focus after each."""
    for key in keys:
        await pilot.press(key)
        assert isinstance(pilot.app.focused, Entry), f"focus lost after {key}: {pilot.app.focused}"


async def type_line(pilot: Pilot[None], text: str) -> None:
    """Types the text, key by key, then Enter; waits until the screen has answered."""
    await press(pilot, *(NAMED.get(character, character) for character in text), "enter")
    await settle(pilot)


async def to_first_check(pilot: Pilot[None]) -> WorkPage:
    """From the first screen to the first check, all by keys."""
    await settle(pilot)
    for text in TO_THE_FIRST_CHECK:
        await type_line(pilot, text)
    await settle(pilot)
    return work_page(pilot)


async def at_work(pilot: Pilot[None], layout: str = "86-85-30") -> WorkPage:
    """The first check of a job that was begun without the keys, for tests that are not about the beginning."""
    app = pilot.app
    assert isinstance(app, TroubleshootApp)
    session = Session.start(SHIPPED, complaint="unsure", folder=app.folder, clock=app.clock)
    session.note(name="Old van", layout=layout)
    await pilot.pause()
    app.open_session(session)
    await settle(pilot)
    await settle(pilot)
    return work_page(pilot)


def work_page(pilot: Pilot[None]) -> WorkPage:
    """The working screen, which must be the one shown."""
    page = pilot.app.screen
    assert isinstance(page, WorkPage), page
    return page


async def answer_until_verdict(pilot: Pilot[None], car: Car, most: int = 25) -> int:
    """Types what the car shows until there is a verdict; how many checks that took."""
    page = work_page(pilot)
    for count in range(most):
        card = page.standing.card if page.standing else None
        if not isinstance(card, CheckCard):
            return count
        await type_line(pilot, car.answer(card.check))
        assert not page.trouble, page.trouble
    raise AssertionError("no verdict")


def screen_lines(app: TroubleshootApp) -> list[str]:
    """What stands on the screen now, a line of text a row."""
    strips = app.screen._compositor.render_strips()
    return ["".join(segment.text for segment in strip).rstrip() for strip in strips]


def screen_text(app: TroubleshootApp) -> str:
    """The same in one piece."""
    return "\n".join(screen_lines(app))
