"""Whole jobs by keystrokes: what a sampled car shows is typed key by key until the verdict names its fault."""

from __future__ import annotations

import pytest
from driving import (
    SHIPPED,
    answer_until_verdict,
    at_work,
    make_app,
    press,
    screen_text,
    settle,
    to_first_check,
    type_line,
    work_page,
)

from troubleshoot.session.cards import VerdictCard
from troubleshoot.session.jobs import list_jobs
from troubleshoot.tui.app import TroubleshootApp
from troubleshoot.tui.home import HomePage

SIZES = [(80, 24), (120, 36), (40, 12)]


@pytest.mark.parametrize(
    ("fault", "ohm", "size", "seed"),
    [
        ("ignition_out:accessory-feed", None, SIZES[0], 3),
        ("pump_ground:bad", 0.8, SIZES[1], 3),
        ("relay:coil-open", None, SIZES[2], 3),
    ],
)
async def test_a_story_typed_key_by_key_ends_in_its_fault(app, car_with, fault, ohm, size, seed) -> None:
    async with app.run_test(size=size) as pilot:
        await to_first_check(pilot)
        await answer_until_verdict(pilot, car_with(fault, ohm, seed))
        card = work_page(pilot).standing.card
        assert isinstance(card, VerdictCard)
        named = {line.name for line in card.suspects[:1] + card.look_alikes}
        assert fault in named, card.say
        assert "Verdict" in screen_text(app)
        app.close_job()


async def test_what_a_verdict_hangs_on_is_there_soon_after_the_verdict_and_so_far_with_its_key(app, car_with) -> None:
    async with app.run_test(size=(160, 50)) as pilot:
        page = await at_work(pilot)
        await press(pilot, "f9")
        await settle(pilot)
        assert "Why now" in screen_text(app)
        await answer_until_verdict(pilot, car_with("relay:coil-open"))
        assert page.standing.card.has_further
        assert "Why now" in screen_text(app)
        await press(pilot, "f2")
        assert "Why this verdict" in screen_text(app)
        assert page.standing.card.because[-1][:40] in screen_text(app)
        app.close_job()


async def test_a_finished_job_is_kept_with_its_name_and_can_be_opened(app: TroubleshootApp, car_with) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await at_work(pilot)
        await answer_until_verdict(pilot, car_with("relay:coil-open"))
        await type_line(pilot, "note the customer waits")
        await type_line(pilot, "")
        assert isinstance(app.screen, HomePage)
        (job,) = list_jobs(app.folder)
        assert (job.name, job.stands, job.begun) == ("Old van", "finished", "2024-05-06 07:08")
        assert "Go on with the last job" not in screen_text(app)
        await type_line(pilot, "open")
        assert "Old van" in screen_text(app)
        await type_line(pilot, "1")
        await settle(pilot)
        assert "Verdict" in screen_text(app)
        await press(pilot, "f1")
        assert "the customer waits" in "\n".join(str(w.render()) for w in app.screen.query("#text"))
        app.close_job()


async def test_a_job_left_in_the_middle_goes_on_at_the_same_check(app: TroubleshootApp, car_with) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        page = await at_work(pilot)
        await type_line(pilot, car_with("relay:coil-open").answer(page.standing.card.check))
        asked = page.standing.card.short
        await press(pilot, "f10")
        await settle(pilot)
        assert "Go on with the last job: Old van" in screen_text(app)
        await type_line(pilot, "")
        await settle(pilot)
        assert work_page(pilot).standing.card.short == asked
        app.close_job()


async def test_something_unsafe_at_the_gate_stops_the_job_with_what_to_do(app: TroubleshootApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        for text in ("begin", "1", "yes"):
            await type_line(pilot, text)
        assert "Stop. Key off, move away" in screen_text(app)
        (job,) = list_jobs(app.folder)
        assert job.stands == "stopped"
        await type_line(pilot, "go on")
        assert "Do you smell or see fuel" in screen_text(app)
        app.close_job()


async def test_unsafe_while_working_stops_and_the_gate_comes_again(app: TroubleshootApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        page = await at_work(pilot)
        await type_line(pilot, "unsafe smoke from the relay")
        assert "Stop. Key off, move away" in screen_text(app)
        assert page.session.state.stopped == "smoke from the relay"
        await type_line(pilot, "go on")
        for text in ("no", "no", "no"):
            assert "Safety first" in screen_text(app)
            await type_line(pilot, text)
        await settle(pilot)
        assert "RED" in screen_text(app)
        assert not work_page(pilot).session.state.stopped
        app.close_job()


async def test_the_gate_takes_no_answer_that_was_not_given_on_purpose(app: TroubleshootApp) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await type_line(pilot, "begin")
        await type_line(pilot, SHIPPED)
        await type_line(pilot, "")
        assert "1 of 11" in screen_text(app)
        app.close_job()


async def test_a_second_troubleshoot_on_the_same_job_is_told(app: TroubleshootApp, tmp_path) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        page = await at_work(pilot)
        other = make_app(tmp_path)
        async with other.run_test(size=(80, 24)) as second:
            await settle(second)
            await type_line(second, "1")
            assert "anothertroubleshootisatworkonthisjob" in "".join(screen_text(other).split())
            assert page.session.state.name == "Old van"
        app.close_job()


async def test_a_repair_is_proved_and_then_nothing_is_left_to_mend(app, car_with) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await at_work(pilot)
        car = car_with("relay:coil-open")
        await answer_until_verdict(pilot, car)
        await press(pilot, "pagedown", "pagedown")
        assert "type repaired to prove it" in " ".join(screen_text(app).split())
        await type_line(pilot, "repaired")
        await answer_until_verdict(pilot, car.repaired(0))
        shown = " ".join(screen_text(app).split())
        assert "The repair holds" in shown
        assert "What it looks like" not in shown
        assert "type repaired" not in shown
        app.close_job()


async def test_after_the_verdict_the_word_repaired_goes_on_and_undo_takes_it_back(app, car_with) -> None:
    async with app.run_test(size=(80, 24)) as pilot:
        await at_work(pilot)
        await type_line(pilot, "repaired")
        assert "no verdict yet" in screen_text(app)
        await press(pilot, "escape")
        car = car_with("relay:coil-open")
        await answer_until_verdict(pilot, car)
        await type_line(pilot, "repaired")
        await settle(pilot)
        assert "Repaired: " in screen_text(app)
        assert not isinstance(work_page(pilot).standing.card, VerdictCard)
        await press(pilot, "f6")
        await settle(pilot)
        assert "Taken back: the repair" in screen_text(app)
        assert isinstance(work_page(pilot).standing.card, VerdictCard)
        app.close_job()
