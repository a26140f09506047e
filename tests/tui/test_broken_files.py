"""Broken circuit files named on the screen: one clear message each, and the UI goes on."""

from __future__ import annotations

import sys
from pathlib import Path

from driving import screen_text, settle, type_line

sys.path.insert(0, str(Path(__file__).parents[1] / "files"))
from test_broken_circuits import BROKEN, TEXT

from troubleshoot.tui.app import TroubleshootApp
from troubleshoot.tui.asking import AskingPage
from troubleshoot.tui.circuits import CircuitsPage

NO_CIRCUIT = {
    "empty": "",
    "a list": "- a\n- b\n",
    "binary": "\x00\x01\x02",
    "cut off": TEXT[: len(TEXT) // 2],
    "a tab": "parts:\n\tx: 1\n",
    "markup": "[/]\n[bold]: {",
    "escapes": "title: \x1b[2J\n",
}


def broken_texts() -> dict[str, str]:
    """Forty: as many edits of the shipped file as it takes, and what is no circuit at all."""
    edited = {name: TEXT.replace(old, new, 1) for name, (old, new, *_) in BROKEN.items()}
    return dict(list(edited.items())[: 40 - len(NO_CIRCUIT)]) | NO_CIRCUIT


async def test_a_broken_file_is_told_in_one_message_and_the_ui_goes_on(app: TroubleshootApp, tmp_path: Path) -> None:
    texts = broken_texts()
    assert len(texts) == 40
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await type_line(pilot, "begin")
        page = app.screen
        assert isinstance(page, CircuitsPage)
        for number, (name, text) in enumerate(texts.items()):
            path = tmp_path / f"b{number}.yaml"
            path.write_text(text, encoding="utf-8")
            page.entry.put(str(path))
            await pilot.press("enter")
            await settle(pilot)
            assert app.screen is page, name
            assert path.name in page.trouble, name
            assert "Traceback" not in page.trouble, name
            assert "\n ! " in screen_text(app), name
            assert "\x1b" not in screen_text(app), name
            await pilot.press("ctrl+u")
        assert not list(tmp_path.glob("*.jsonl")), "a broken file begins no job"
        for odd in ("\x00", "x" * 5000, "/", ".", "~", "no/such.yaml", "[/]"):
            page.entry.put(odd)
            await pilot.press("enter")
            await settle(pilot)
            assert app.screen is page
            assert page.trouble
            await pilot.press("ctrl+u")
        await type_line(pilot, "1")
        assert isinstance(app.screen, AskingPage)
        app.close_job()
