"""Settings: one model, a form on the screen, a file that is whole or not there."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from driving import make_app, press, screen_text, settle, type_line

from troubleshoot.errors import TypedWrong
from troubleshoot.tui.settings import Settings, SettingsFailed, load_settings, save_settings, settings_path


def test_settings_come_back_as_they_were_saved(tmp_path: Path) -> None:
    path = tmp_path / "deep" / "settings.json"
    settings = Settings(theme="light", ascii=True, decimal_comma=True, gauge="AWG", guesses="mine.yaml")
    save_settings(settings, path)
    assert load_settings(path) == settings
    assert [p.name for p in path.parent.iterdir()] == ["settings.json"]


def test_the_meters_accuracy_is_set_with_either_decimal_mark_and_kept_within_reason() -> None:
    assert Settings().changed("accuracy_percent", "1,2 %").accuracy_percent == 1.2
    for text in ("0", "-1", "90", "good", ""):
        with pytest.raises(TypedWrong):
            Settings().changed("accuracy_percent", text)


def test_without_a_file_the_defaults_hold(tmp_path: Path) -> None:
    assert load_settings(tmp_path / "none.json") == Settings()


def test_the_file_is_in_the_config_folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    assert settings_path() == tmp_path / "troubleshoot" / "settings.json"


@pytest.mark.parametrize("text", ["", "{", "[]", '{"theme": "pink"}', '{"unknown": 1}', "\x00"])
def test_a_damaged_file_is_told_not_guessed(tmp_path: Path, text: str) -> None:
    path = tmp_path / "settings.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SettingsFailed, match="cannot be read"):
        load_settings(path)


def test_a_failed_save_leaves_the_old_file_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "settings.json"
    save_settings(Settings(gauge="AWG"), path)

    def fail(fd: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", fail)
    with pytest.raises(SettingsFailed, match="No space left"):
        save_settings(Settings(), path)
    assert load_settings(path) == Settings(gauge="AWG")
    assert [p.name for p in tmp_path.iterdir()] == ["settings.json"]


def test_every_setting_says_what_it_is_for() -> None:
    for name, field in Settings.model_fields.items():
        assert field.description, name


def test_a_wrong_value_is_refused_with_what_would_be_right() -> None:
    assert Settings().changed("decimal_comma", " Yes ").decimal_comma is True
    assert Settings().changed("gauge", "AWG").gauge == "AWG"
    with pytest.raises(TypedWrong, match="terminal"):
        Settings().changed("theme", "pink")
    with pytest.raises(TypedWrong):
        Settings().changed("ascii", "perhaps")


def test_the_model_does_not_import_the_toolkit() -> None:
    code = "import sys, troubleshoot.tui.settings; sys.exit('textual' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


async def test_the_form_changes_saves_and_takes_effect_at_once(tmp_path: Path) -> None:
    app = make_app(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        await type_line(pilot, "settings")
        assert "─" in screen_text(app)
        await type_line(pilot, "ascii")
        await type_line(pilot, "perhaps")
        assert "does not fit here" in screen_text(app)
        await press(pilot, "ctrl+u")
        await type_line(pilot, "yes")
        assert screen_text(app).isascii()
        assert json.loads((tmp_path / "settings" / "settings.json").read_text())["ascii"] is True
        await press(pilot, "escape")
        await settle(pilot)
        assert screen_text(app).isascii()
    again = make_app(tmp_path)
    async with again.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        assert again.settings.ascii


async def test_damaged_settings_are_told_on_the_first_screen(tmp_path: Path) -> None:
    path = tmp_path / "settings" / "settings.json"
    path.parent.mkdir()
    path.write_text("{", encoding="utf-8")
    app = make_app(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        assert "cannot be read" in screen_text(app)
        assert "Begin a job" in screen_text(app)
