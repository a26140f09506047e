"""A tree walked on the screen: by keys alone, back, a check that cannot be done, the live diagnosis and back."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from driving import press, screen_lines, screen_text, settle, type_line
from textual.pilot import Pilot

from troubleshoot.car.car import Car
from troubleshoot.session.cards import CheckCard
from troubleshoot.session.walking import Walking
from troubleshoot.tui import deeds
from troubleshoot.tui.app import TroubleshootApp
from troubleshoot.tui.asking import AskingPage
from troubleshoot.tui.home import HomePage
from troubleshoot.tui.walk import LivePage, WalkPage

SMALL = Path(__file__).parents[1] / "tree" / "small_tree.yaml"


async def at_step(pilot: Pilot[None], app: TroubleshootApp, file: Path = SMALL) -> WalkPage:
    """The first step of the small tree, or of another, begun without the keys."""
    walking = Walking.start(file, app.folder, app.clock)
    walking.session.clear_gate()
    walking.tell()
    await pilot.pause()
    app.open_walk(walking)
    await settle(pilot)
    assert isinstance(app.screen, WalkPage)
    return app.screen


def flat(app: TroubleshootApp) -> str:
    return " ".join(screen_text(app).split())


async def test_a_tree_is_walked_from_the_first_screen_to_its_verdict_by_keys(app: TroubleshootApp) -> None:
    async with app.run_test(size=(80, 40)) as pilot:
        await settle(pilot)
        await type_line(pilot, "walk")
        await type_line(pilot, str(SMALL))
        assert isinstance(app.screen, AskingPage)
        assert "Safety first" in screen_text(app)
        for _ in range(3):
            await type_line(pilot, "2" if "2 No" in flat(app) or "2 no" in flat(app) else "no")
        assert "Step 1" in screen_lines(app)[0]
        assert "the starter turns as soon as the key goes on" in flat(app)
        await type_line(pilot, "12.1.2")
        assert "more than one point" in flat(app)
        await press(pilot, "end", *["backspace"] * 12)
        await type_line(pilot, "6")
        assert "Step 5" in screen_lines(app)[0]
        await type_line(pilot, "124")
        assert "Which is it" in flat(app)
        await type_line(pilot, "1")
        assert "Verdict 6" in screen_lines(app)[0]
        assert "a new relay, and look at the blades of its socket" in flat(app)
        await press(pilot, "f4")
        assert "The way so far" in flat(app)
        assert "so to 6" in flat(app)
        await press(pilot, "escape")
        await type_line(pilot, "")
        assert isinstance(app.screen, HomePage)


@pytest.mark.parametrize("by", ["key", "word"])
async def test_from_a_verdict_of_several_one_goes_on_to_which_it_is(
    app: TroubleshootApp, apart_file: Path, by: str
) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        page = await at_step(pilot, app, apart_file)
        await press(pilot, "f3")
        await settle(pilot)
        assert "the tree has no steps behind a verdict here" in flat(app)
        for answer in ("0.1", "no click", "12.4"):
            await type_line(pilot, answer)
        assert page.walking.at == "relay"
        assert "Which of them is it? F3 (or which): the tree tells, from" in flat(app)
        if by == "key":
            await press(pilot, "f3")
            await settle(pilot)
        else:
            await type_line(pilot, "which")
        assert page.walking.at == "coil_side"
        assert "Step" in screen_lines(app)[0]
        await type_line(pilot, "12.1")
        assert page.walking.at == "coil_ground"
        assert "Which of them is it?" not in flat(app)


async def test_back_takes_the_last_answer_back(app: TroubleshootApp) -> None:
    async with app.run_test(size=(80, 30)) as pilot:
        page = await at_step(pilot, app)
        await type_line(pilot, "0.2")
        assert page.walking.at == "coil"
        await press(pilot, "f6")
        await settle(pilot)
        assert page.walking.at == "output"
        assert "Taken back" in flat(app)
        app.close_job()


async def test_what_cannot_be_done_goes_to_the_live_diagnosis_and_comes_back(app: TroubleshootApp) -> None:
    async with app.run_test(size=(80, 30)) as pilot:
        await at_step(pilot, app)
        await type_line(pilot, "6")
        await press(pilot, "f7")
        assert "Why not this check" in flat(app)
        await type_line(pilot, "no hand free")
        await settle(pilot)
        await settle(pilot)
        page = app.screen
        assert isinstance(page, LivePage)
        assert "Type tree to go back to it" in flat(app)
        await type_line(pilot, "tree")
        assert isinstance(app.screen, WalkPage)
        assert "Step 5" in screen_lines(app)[0]
        app.close_job()


async def test_the_live_diagnosis_leads_back_into_the_tree_by_itself(
    app: TroubleshootApp, car_with: Callable[..., Car]
) -> None:
    car = car_with("pump_ground:bad", 1e5)
    async with app.run_test(size=(80, 30)) as pilot:
        page = await at_step(pilot, app)
        await type_line(pilot, car.answer(page.walking.step.check))
        await type_line(pilot, "skip no room at the plug")
        await settle(pilot)
        for _ in range(20):
            live = app.screen
            if not isinstance(live, LivePage) or not live.standing or not isinstance(live.standing.card, CheckCard):
                break
            await type_line(pilot, car.answer(live.standing.card.check))
            await settle(pilot)
        assert isinstance(app.screen, WalkPage)
        assert "What has been found leads back into the tree." in flat(app)
        assert app.screen.walking.at == "wires"
        app.close_job()


async def test_a_walk_that_was_left_is_gone_on_with_as_a_walk(app: TroubleshootApp) -> None:
    async with app.run_test(size=(80, 30)) as pilot:
        await at_step(pilot, app)
        await type_line(pilot, "6")
        await press(pilot, "f10")
        await settle(pilot)
        assert isinstance(app.screen, HomePage)
        await type_line(pilot, "go on")
        await settle(pilot)
        assert isinstance(app.screen, WalkPage)
        assert "Step 5" in screen_lines(app)[0]
        app.close_job()


async def test_a_walk_whose_tree_is_gone_goes_on_as_a_live_job_and_says_so(
    app: TroubleshootApp, tmp_path: Path
) -> None:
    file = tmp_path / "tree.yaml"
    file.write_text(SMALL.read_text().replace("../../trees", str(SMALL.parents[2] / "trees")))
    walking = Walking.start(file, app.folder, app.clock)
    walking.session.clear_gate()
    walking.tell()
    walking.session.close()
    file.unlink()
    async with app.run_test(size=(80, 30)) as pilot:
        await settle(pilot)
        await type_line(pilot, "go on")
        await settle(pilot)
        await settle(pilot)
        assert "Its tree is no longer as it was" in flat(app)
        app.close_job()


async def test_unsafe_stops_at_once_and_the_questions_come_again(app: TroubleshootApp) -> None:
    async with app.run_test(size=(80, 30)) as pilot:
        await at_step(pilot, app)
        await press(pilot, "f8")
        await settle(pilot)
        assert "Key off, move away" in flat(app)
        await type_line(pilot, "go on")
        assert isinstance(app.screen, AskingPage)
        app.close_job()


@pytest.mark.parametrize("size", [(40, 20), (80, 24), (140, 40)])
async def test_a_step_is_there_on_every_size_of_screen(app: TroubleshootApp, size: tuple[int, int]) -> None:
    async with app.run_test(size=size) as pilot:
        await at_step(pilot, app)
        text = flat(app)
        assert "RED" in text
        assert max(map(len, screen_lines(app))) <= size[0]
        await pilot.press("pagedown")
        app.close_job()


def test_every_deed_of_a_walk_has_its_key_and_its_action() -> None:
    assert {d.key for d in deeds.WALKING} == {
        b.key
        for b in WalkPage.BINDINGS
        if b.id and b.id.startswith("deed-")  # type: ignore[union-attr]
    }
    for deed in deeds.WALKING:
        name = deed.action.partition("(")[0]
        assert name.startswith("app.") or hasattr(WalkPage, f"action_{name}"), deed
    assert "F8 UNSAFE" in deeds.footer(deeds.WALKING, 40)
