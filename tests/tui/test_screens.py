"""Every screen at every size: nothing cut without a sign, and the texts kept beside the tests, so changes are seen.

After a change that is meant: `python tests/tui/pictures.py --keep`, and look at the pictures.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from driving import at_work, make_app, press, screen_lines, screen_text, settle
from pictures import KEPT_PICTURES, SIZES, SNAPSHOTS, screens, still, tell_texts
from textual.filter import NoColor
from textual.pilot import Pilot
from textual.widgets import Static

from troubleshoot.expect.table import Table
from troubleshoot.tui.app import TroubleshootApp
from troubleshoot.tui.page import Page, Scroll
from troubleshoot.tui.settings import Settings

PLAIN = {(40, 12): True, (80, 24): False, (120, 36): True, (160, 50): False}
"""Which sizes are walked in ASCII, to have both at little cost; all are in the pictures."""


def check_nothing_is_cut(pilot: Pilot[None], name: str) -> None:
    page, height = pilot.app.screen, pilot.app.size.height
    assert isinstance(page, Page)
    lines = screen_lines(pilot.app)
    assert len(lines) <= height
    for static in page.query(Static):
        parent = static.parent
        if not static.display or not (isinstance(parent, Scroll) and parent.display):
            continue
        longest = max((len(line) for line in str(static.render()).split("\n")), default=0)
        assert longest <= static.size.width, f"{name}: {longest} columns in {static.size.width}"
    told = lines[height - 3] if len(lines) >= height - 2 else ""
    for scroll in page.query(Scroll):
        if scroll.display and scroll.max_scroll_y:
            assert "more" in told, f"{name}: {scroll.id} hides lines and nothing says so"


@pytest.mark.parametrize(
    "size",
    [
        pytest.param(size, id=f"{size[0]}x{size[1]}", marks=[] if size[0] == 80 else [pytest.mark.slow])
        for size in SIZES
    ],
)
async def test_every_screen_is_as_kept_and_cuts_nothing_silently(size, tmp_path: Path, table: Table) -> None:
    del table
    app = make_app(tmp_path, plain=PLAIN[size])
    texts: dict[str, str] = {}
    async with app.run_test(size=size) as pilot:
        async for name in screens(pilot):
            await settle(pilot)
            check_nothing_is_cut(pilot, name)
            texts[name] = screen_text(app)
            if size == (80, 24) and name in KEPT_PICTURES:
                kept_picture = (SNAPSHOTS / f"{name}.svg").read_text(encoding="utf-8")
                assert still(app.export_screenshot()) == kept_picture, name
            if PLAIN[size]:
                assert texts[name].isascii(), name
        app.close_job()
    mode = "ascii" if PLAIN[size] else "colour"
    kept = (SNAPSHOTS / f"{size[0]}x{size[1]}-{mode}.txt").read_text(encoding="utf-8")
    assert tell_texts(texts) == kept


async def test_all_of_a_long_pane_can_be_read_by_paging(app: TroubleshootApp) -> None:
    async with app.run_test(size=(40, 12)) as pilot:
        await at_work(pilot)
        await press(pilot, "f5")
        seen = ""
        for _ in range(40):
            await settle(pilot)
            seen += screen_text(app)
            if "PgDn" not in screen_text(app):
                break
            await press(pilot, "pagedown")
        assert "battery negative post" in seen
        assert "PgUp" in screen_text(app)
        app.close_job()


@pytest.mark.parametrize("theme", ["terminal", "dark", "light"])
async def test_without_colour_the_terminals_own_colours_are_used(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, theme: str
) -> None:
    """NO_COLOR with a theme of the terminal's colours was seen black on black; every cell must have its defaults."""
    monkeypatch.setenv("NO_COLOR", "1")
    app = make_app(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        app.wear(Settings.model_validate({"theme": theme}))
        await at_work(pilot)
        (filtering,) = [each for each in app._filters if isinstance(each, NoColor)]
        strips = app.screen._compositor.render_strips()
        for strip in strips:
            for segment in filtering.apply(list(strip), app.screen.background_colors[1]):
                style = segment.style
                assert style is None or not style.color or style.color.is_default
                assert style is None or not style.bgcolor or style.bgcolor.is_default
        app.close_job()


async def test_red_and_black_are_said_in_words_and_reversed_not_by_colour_alone(app: TroubleshootApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await at_work(pilot)
        cells = [segment for strip in app.screen._compositor.render_strips() for segment in strip]
        for label in (" RED ", " BLACK "):
            assert any(segment.text == label and segment.style and segment.style.reverse for segment in cells), label
        app.close_job()


@pytest.mark.parametrize("theme", ["terminal", "dark", "light"])
async def test_the_cursor_can_be_seen_in_every_theme(app: TroubleshootApp, theme: str) -> None:
    """Seen once: reversed twice, and so the colour of its ground."""
    async with app.run_test(size=(80, 24)) as pilot:
        app.wear(Settings.model_validate({"theme": theme}))
        await settle(pilot)
        row = app.screen.entry.region.y
        cells = list(app.screen._compositor.render_strips()[row])
        cursor = cells[1].style
        assert cells[1].text == " "
        assert bool(cursor.reverse) == (theme == "terminal")
        assert cursor.reverse or cursor.bgcolor != cells[0].style.bgcolor


async def test_the_palette_is_ascii_where_that_is_wanted(tmp_path: Path) -> None:
    app = make_app(tmp_path, plain=True)
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await pilot.press("ctrl+p")
        await pilot.pause(0.5)
        assert "leave; the job is kept" in screen_text(app)
        assert screen_text(app).isascii()


async def test_the_face_is_drawn_only_for_a_layout_that_was_confirmed(app: TroubleshootApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        page = await at_work(pilot, layout="")
        assert "┌" not in screen_text(app)
        assert "30  [85 RED]  86  87  87a" in screen_text(app)
        assert "Numbers, not places, decide." in screen_text(app)
        page.session.note(layout="86-85-30")
        page.repaint()
        await settle(pilot)
        assert "┌" in screen_text(app)
        assert "Numbers, not places, decide." in screen_text(app)
        app.close_job()


async def test_a_name_from_a_person_cannot_bring_markup_or_escapes(app: TroubleshootApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        page = await at_work(pilot)
        page.session.note(name="[/] [red]van[/red] \x1b[31m\x07", note="[bold")
        page.repaint()
        await press(pilot, "f1")
        await settle(pilot)
        assert "[/] [red]van[/red]" in screen_text(app)
        assert "\x1b" not in screen_text(app)
        app.close_job()
