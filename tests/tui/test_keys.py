"""Keys: the entry keeps the focus, letters are typed, never stolen, half-typed words survive; one definition each."""

from __future__ import annotations

import pytest
from driving import at_work, press, screen_lines, screen_text, settle, type_line, work_page

from troubleshoot.tui import deeds
from troubleshoot.tui.app import TroubleshootApp
from troubleshoot.tui.asking import AskingPage
from troubleshoot.tui.choice import ChoicePage
from troubleshoot.tui.circuits import CircuitsPage
from troubleshoot.tui.entry import Entry
from troubleshoot.tui.home import HomePage, JobsPage, SettingsPage
from troubleshoot.tui.page import Page
from troubleshoot.tui.work import WorkPage

PAGES = (Page, ChoicePage, HomePage, JobsPage, SettingsPage, CircuitsPage, AskingPage, WorkPage)
HARMLESS = ["f1", "f2", "f3", "f4", "f5", "f9", "tab", "shift+tab", "up", "down", "pageup", "pagedown", "left",
            "right", "home", "end", "f11", "f12", "ctrl+l", "ctrl+t", "insert"]  # fmt: skip


async def test_no_key_takes_the_focus_or_the_half_typed_value(app: TroubleshootApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        page = await at_work(pilot)
        await press(pilot, "1", "2")
        for key in HARMLESS:
            await press(pilot, key)
            assert page.entry.value == "12", key
        await press(pilot, "escape", "end", "full_stop", "4")
        assert page.entry.value == "12.4"
        app.close_job()


async def test_every_letter_goes_into_the_entry(app: TroubleshootApp) -> None:
    typed = "abcdefghijklmnopqrstuvwxyz0123456789QSUX"
    async with app.run_test(size=(80, 24)) as pilot:
        page = await at_work(pilot)
        await press(pilot, *typed[:20], "f3", *typed[20:])
        assert page.entry.value == typed
        app.close_job()


async def test_the_palette_gives_the_focus_back(app: TroubleshootApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        page = await at_work(pilot)
        await press(pilot, "1", "2")
        await pilot.press("ctrl+p")
        await pilot.pause(0.2)
        await pilot.press("escape")
        await settle(pilot)
        assert isinstance(app.focused, Entry)
        assert page.entry.value == "12"
        app.close_job()


async def test_the_palette_does_what_its_line_says(app: TroubleshootApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await at_work(pilot)
        await pilot.press("ctrl+p", *"question")
        await pilot.pause(0.5)
        await pilot.press("enter")
        await pilot.pause(0.2)
        if not isinstance(app.screen, WorkPage):
            await pilot.press("enter")
            await pilot.pause(0.2)
        await settle(pilot)
        assert "In question now" in screen_text(app)
        app.close_job()


@pytest.mark.parametrize("page", PAGES)
def test_the_keys_of_a_page_are_its_deeds(page: type[Page]) -> None:
    bound = {binding.key: binding.action for binding in page.BINDINGS if binding.id and binding.id.startswith("deed-")}
    assert bound == {deed.key: deed.action for deed in page.DEEDS}


@pytest.mark.parametrize("page", PAGES)
def test_every_deed_has_its_action(page: type[Page]) -> None:
    for deed in page.DEEDS:
        name = deed.action.partition("(")[0]
        assert name.startswith("app.") or hasattr(page, f"action_{name}"), deed


@pytest.mark.parametrize("given", [deeds.WORKING, deeds.ASKING, deeds.CHOOSING])
def test_a_footer_fits_and_always_tells_where_all_keys_are(given) -> None:
    for width in range(12, 200):
        shown = deeds.footer(given, width)
        assert len(shown) <= width
        assert "F1" in shown
    assert "F8 UNSAFE" in deeds.footer(deeds.WORKING, 40)


def test_no_key_and_no_word_is_used_twice() -> None:
    keys = [deed.key for deed in deeds.WORKING]
    words = [deed.word for deed in deeds.WORKING if deed.word]
    assert len(set(keys)) == len(keys)
    assert len(set(words)) == len(words)
    assert not any(len(deed.key) == 1 for deed in deeds.WORKING), "letters belong to the entry"


WORDS = {
    "why": "Why this check",
    "suspects": "In question now",
    "readings": "Read so far",
    "circuit": "battery positive post",
    "verdict": "What it looks like",
    "?": "words that do the same",
    "F3": "In question now",
    "f1": "words that do the same",
}
"""What is typed and what comes; the names of keys too, since a phone has none of them."""


async def test_a_typed_word_does_what_its_key_does(app: TroubleshootApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        page = await at_work(pilot)
        for word, told in WORDS.items():
            await type_line(pilot, word)
            assert told in screen_text(app), word
            assert page.entry.value == ""
            await press(pilot, "escape")
            await settle(pilot)
            assert "RED" in screen_text(app), word
        app.close_job()


async def test_undo_and_skip_by_key_keep_what_is_typed(app: TroubleshootApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        page = await at_work(pilot)
        first = page.standing.card.short
        await press(pilot, "1", "2", "f7")
        assert page.entry.value == ""
        await press(pilot, "escape")
        assert page.entry.value == "12"
        await press(pilot, "f7")
        await type_line(pilot, "cannot reach it")
        assert page.session.state.entries[-1].why_skipped == "cannot reach it"
        assert page.standing.card.short != first
        await press(pilot, "5", "f6")
        await settle(pilot)
        assert page.entry.value == "5"
        assert not page.session.state.entries
        assert page.standing.card.short == first
        assert "Taken back" in screen_text(app)
        app.close_job()


async def test_keys_typed_ahead_are_neither_lost_nor_glued_to_the_answer(app: TroubleshootApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        page = await at_work(pilot)
        await pilot.press("0", "enter", "7", "7")
        await settle(pilot)
        assert page.entry.value == "77"
        assert [entry.text for entry in page.session.state.entries] == ["0"]
        app.close_job()


async def test_enter_twice_answers_once(app: TroubleshootApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        page = await at_work(pilot)
        await pilot.press("0", "enter", "enter")
        await settle(pilot)
        assert len(page.session.state.entries) == 1
        app.close_job()


async def test_a_doubted_value_is_asked_back_and_its_number_confirms_it(app: TroubleshootApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        page = await at_work(pilot)
        await type_line(pilot, "124")
        assert "is doubtful on a 12 V vehicle" in screen_text(app)
        assert not page.session.state.entries
        await type_line(pilot, "1")
        assert page.session.state.entries[-1].known.value == pytest.approx(12.4)
        app.close_job()


async def test_a_reading_of_ones_own_is_taken(app: TroubleshootApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        page = await at_work(pilot)
        await type_line(pilot, "86 cranking 0.2")
        assert page.session.state.entries[-1].check.red == "relay.86"
        assert page.session.state.entries[-1].check.setup.key == "cranking"
        app.close_job()


async def test_a_resized_terminal_keeps_the_words_and_the_focus(app: TroubleshootApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        page = await at_work(pilot)
        await press(pilot, "1", "2")
        for size in ((40, 12), (160, 50), (120, 36), (20, 8), (80, 24)):
            await pilot.resize_terminal(*size)
            await settle(pilot)
            assert page.entry.value == "12"
            assert isinstance(app.focused, Entry)
            assert all(len(line) <= size[0] for line in screen_lines(app))
        assert "RED" in screen_text(app)
        assert work_page(pilot) is page
        app.close_job()


async def test_why_not_and_carries_open_a_pane_and_use_nothing_up(app: TroubleshootApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        page = await at_work(pilot)
        asked = page.standing.card.short
        await type_line(pilot, "why not pump relay")
        await settle(pilot)
        assert "What would tell" in screen_text(app) or "likeliest now" in screen_text(app)
        await press(pilot, "escape")
        await type_line(pilot, "carries")
        await settle(pilot)
        assert "Nothing has been answered yet" in screen_text(app)
        await press(pilot, "escape")
        await type_line(pilot, "why not banana")
        await settle(pilot)
        assert "no suspect is called" in screen_text(app)
        assert work_page(pilot).standing.card.short == asked
        app.close_job()
