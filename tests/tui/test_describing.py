"""Writing a circuit down on the screens: by keys alone, from the first screen to a job on the new circuit."""

from __future__ import annotations

from pathlib import Path

from driving import screen_text, settle, type_line
from textual.pilot import Pilot

from troubleshoot.files.circuit_file import load_circuit
from troubleshoot.session.builder import Builder
from troubleshoot.session.drafts import list_drafts
from troubleshoot.tui.app import TroubleshootApp
from troubleshoot.tui.asking import AskingPage
from troubleshoot.tui.describing import DescribePage
from troubleshoot.tui.home import HomePage

TYPED = {
    "title": "Old van", "load": "1", "count": "1", "takes": "6 A", "home": "1", "key": "1", "fuse.key": "30 A 0.3 m",
    "engine": "1", "prevent": "1", "switching": "1", "blades": "1", "at.30": "1", "fuse.30": "15 A 0.4 m",
    "wire.30": "red 12 AWG 1 m", "at.87": "7", "wire.87": "blue 14 AWG 3 m", "at.86": "6", "ground.86": "1",
    "wire.86": "", "at.85": "6", "ground.85": "1", "wire.85": "", "rating": "?", "coil": "1", "minus": "1",
    "ground.load": "1", "wire.minus": "", "cut_offs": "", "when": "1",
}  # fmt: skip
"""A pump whose coil is grounded at both ends, by question."""


def page_of(pilot: Pilot[None]) -> DescribePage:
    page = pilot.app.screen
    assert isinstance(page, DescribePage), page
    return page


async def answer_all(pilot: Pilot[None], folder: Path) -> None:
    """Goes on with a draft in which all but the last two questions are answered, and answers those by keys."""
    builder = Builder.start(folder)
    for _ in range(len(TYPED) - 2):
        assert builder.question
        builder.answer(TYPED[builder.question.id])
    builder.close()
    assert isinstance(pilot.app.screen, HomePage)
    pilot.app.screen.on_screen_resume()
    await settle(pilot)
    await type_line(pilot, "Go on")
    while question := page_of(pilot).builder.question:
        await type_line(pilot, TYPED[question.id])
        assert not page_of(pilot).trouble, (question.id, page_of(pilot).trouble)
    await settle(pilot)


async def test_a_circuit_is_written_down_changed_confirmed_and_a_job_begun_on_it(
    app: TroubleshootApp, tmp_path: Path
) -> None:  # fmt: skip
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await answer_all(pilot, app.folder)
        assert "Is it drawn as it is wired?" in screen_text(app)
        made = page_of(pilot).made
        assert made
        assert "coil-two-grounds" in {finding.code for finding in made.findings}
        assert "both ends of the coil go to ground" in " ".join(str(page_of(pilot).query_one("#text").render()).split())
        await type_line(pilot, "2")
        number = next(i for i, (q, _) in enumerate(page_of(pilot).builder.answers, 1) if q.id == "at.86")
        await type_line(pilot, str(number))
        for words in ("15: live", "5 A", ""):
            await type_line(pilot, words)
        await settle(pilot)
        made = page_of(pilot).made
        assert made
        assert "coil-two-grounds" not in {finding.code for finding in made.findings}
        await type_line(pilot, "1")
        page_of(pilot).entry.put(str(tmp_path / "van"))
        await type_line(pilot, "")
        assert load_circuit(tmp_path / "van").title == "Old van"
        await type_line(pilot, "1")
        await settle(pilot)
        assert isinstance(app.screen, AskingPage)


async def test_undo_nonsense_and_leaving_lose_nothing(app: TroubleshootApp) -> None:
    async with app.run_test(size=(40, 12)) as pilot:
        await settle(pilot)
        await type_line(pilot, "Write")
        await type_line(pilot, "Old [b]van")
        await type_line(pilot, "banana")
        assert "none of the answers" in " ".join(page_of(pilot).trouble.split())
        await type_line(pilot, "1")
        await pilot.press("f6")
        question = page_of(pilot).builder.question
        assert question
        assert question.id == "load"
        await pilot.press("down", "down", "down", "enter")
        await settle(pilot)
        assert page_of(pilot).builder.told["load"] == "fan"
        await pilot.press("escape")
        await settle(pilot)
        assert isinstance(app.screen, HomePage)
        assert [(draft.title, draft.answers) for draft in list_drafts(app.folder)] == [("Old [b]van", 2)]
        await type_line(pilot, "Go on writing")
        assert page_of(pilot).builder.told == {"title": "Old [b]van", "load": "fan"}
        assert "Old" not in page_of(pilot).trouble


async def test_a_folder_that_has_a_circuit_is_not_written_into(app: TroubleshootApp, tmp_path: Path) -> None:
    there = tmp_path / "van"
    there.mkdir()
    (there / "circuit.yaml").write_text("mine", encoding="utf-8")
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await answer_all(pilot, app.folder)
        await type_line(pilot, "1")
        page_of(pilot).entry.put(str(there))
        await type_line(pilot, "")
        assert "there already" in page_of(pilot).trouble
        assert (there / "circuit.yaml").read_text(encoding="utf-8") == "mine"
        page_of(pilot).entry.put(str(tmp_path / "other"))
        await type_line(pilot, "")
        assert (tmp_path / "other" / "circuit.yaml").exists()
