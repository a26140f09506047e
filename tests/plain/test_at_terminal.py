"""What every verb of the command line asks and says at a terminal."""

from __future__ import annotations

import pytest

from troubleshoot import at_terminal


def test_a_long_prompt_is_broken_between_words_and_the_answer_goes_behind_it(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    asked: list[str] = []

    def typed(prompt: str) -> str:
        asked.append(prompt)
        return "no"

    monkeypatch.setattr("builtins.input", typed)
    monkeypatch.setattr(at_terminal, "width", lambda: 24)
    assert at_terminal.ask("Do you smell fuel where it should not be? [yes/no] ") == "no"
    assert at_terminal.ask("> ") == "no"
    assert asked == ["[yes/no] ", "> "]
    assert capsys.readouterr().out.split("no\n")[0] == "Do you smell fuel where\nit should not be?\n"
