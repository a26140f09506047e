"""What the person has set, as one model, kept as JSON in their config folder. Does not know Textual."""

from __future__ import annotations

import json
import os
import tempfile
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from troubleshoot.errors import OneProblem, Problem, TypedWrong


class SettingsFailed(OneProblem):
    """The settings could not be read or written."""

    code = "settings"


class Settings(BaseModel):
    """Each field with what it is for; the form on the screen is made from these."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    theme: Literal["terminal", "dark", "light"] = Field(
        default="terminal", description="Colours: the terminal's own sixteen, or the program's dark or light ones."
    )
    ascii: bool = Field(default=False, description="Draw with plain ASCII characters only.")
    decimal_comma: bool = Field(default=False, description="Show 12,4 V instead of 12.4 V. Both can always be typed.")
    gauge: Literal["as written", "AWG", "mm2"] = Field(default="as written", description="Unit of wire sizes.")
    accuracy_percent: float = Field(
        default=0.5, ge=0.05, le=5, description="The meter's accuracy on DC volts, in % of reading (its booklet says)."
    )
    guesses: str = Field(default="", description="A file of costs and guesses in place of the shipped one.")

    def changed(self, field: str, value: str) -> Settings:
        """The same with one field set from typed words. Raises TypedWrong."""
        words: Any = value.strip()
        if type(getattr(self, field)) is bool:
            words = {"y": True, "yes": True, "on": True, "n": False, "no": False, "off": False}.get(
                words.lower(), words
            )
        elif type(getattr(self, field)) is float:
            words = words.replace(",", ".").removesuffix("%").strip()
        try:
            return Settings.model_validate({**self.model_dump(), field: words})
        except ValidationError as error:
            hint = str(error.errors()[0]["msg"])
            raise TypedWrong(Problem("bad-setting", f"{words!r} does not fit here", hint, field)) from None


def settings_path() -> Path:
    """Where the settings are kept: in the user's config folder."""
    config = os.environ.get("XDG_CONFIG_HOME") or str(Path.home() / ".config")
    return Path(config) / "troubleshoot" / "settings.json"


def load_settings(path: Path | None = None) -> Settings:
    """The settings as last saved, the defaults where there is no file. Raises SettingsFailed for a damaged one."""
    path = path or settings_path()
    try:
        return Settings.model_validate(json.loads(path.read_text(encoding="utf-8")))
    except FileNotFoundError:
        return Settings()
    except (OSError, ValueError) as error:
        reason = error.errors()[0]["msg"] if isinstance(error, ValidationError) else error
        raise SettingsFailed(
            Problem("settings", f"cannot be read: {reason}", "the defaults hold until you set something", "", str(path))
        ) from None


def save_settings(settings: Settings, path: Path | None = None) -> None:
    """Writes them whole or not at all. Raises SettingsFailed."""
    path = path or settings_path()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=".settings-")
        try:
            with os.fdopen(handle, "w", encoding="utf-8") as file:
                file.write(settings.model_dump_json(indent=2) + "\n")
                file.flush()
                os.fsync(file.fileno())
            Path(name).replace(path)
        except OSError:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise SettingsFailed(
            Problem("settings", f"cannot be saved: {error.strerror}", "they hold until you leave", "", str(path))
        ) from None
