"""The first screen: go on with a job, begin one, open an older one, settings. Also the list of jobs and of settings."""

from __future__ import annotations

from pathlib import Path

from troubleshoot.errors import TroubleshootError
from troubleshoot.session.drafts import Draft, list_drafts
from troubleshoot.session.jobs import Job, list_jobs
from troubleshoot.tui.choice import ChoicePage, Option
from troubleshoot.tui.settings import Settings, save_settings
from troubleshoot.tui.sheet import Sheet


def say_job(job: Job) -> Option:
    """A job as an option."""
    count = "1 answer" if job.answers == 1 else f"{job.answers} answers"
    about = f"{job.begun}, {count}, {job.stands}" if job.stands != "damaged" else job.stands
    detail = " - ".join(text for text in (job.title, job.say) if text)
    return Option(str(job.path), f"{job.name} ({about})", detail)


class HomePage(ChoicePage):
    """Where one begins."""

    def __init__(self) -> None:
        super().__init__()
        self.jobs: list[Job] = []
        self.drafts: list[Draft] = []

    def title_line(self) -> str:
        return "troubleshoot: finds the fault in a relay-fed circuit"

    def on_screen_resume(self) -> None:
        self.jobs = list_jobs(self.ours.folder)
        self.drafts = list_drafts(self.ours.folder)
        self.marked = 0
        super().on_screen_resume()

    def ask(self) -> str:
        return "What do you want to do?"

    def options(self) -> list[Option]:
        last = next((job for job in self.jobs if job.is_open), None)
        found = []
        if last:
            told = say_job(last)
            found.append(Option("last", f"Go on with the last job: {told.say}", told.detail))
        found.append(Option("begin", "Begin a job"))
        found.append(Option("walk", "Walk a decision tree", "worked out beforehand, one step at a time"))
        if self.jobs:
            found.append(Option("jobs", "Open another job", f"{len(self.jobs)} kept so far"))
        if self.drafts:
            title = self.drafts[0].title or "no name yet"
            found.append(
                Option("draft", f"Go on writing a circuit down: {title}", f"{self.drafts[0].answers} answered")
            )
        found.append(Option("describe", "Write your own circuit down", "by answering questions about its wiring"))
        return [*found, Option("settings", "Settings"), Option("leave", "Leave")]

    def chose(self, option: Option) -> None:
        if option.value == "last":
            self.ours.resume_job(self, next(job for job in self.jobs if job.is_open).path)
        elif option.value == "begin":
            self.ours.choose_circuit()
        elif option.value == "walk":
            self.ours.choose_tree()
        elif option.value == "jobs":
            self.app.push_screen(JobsPage(self.jobs))
        elif option.value in ("describe", "draft"):
            self._describe(self.drafts[0].path if option.value == "draft" else None)
        elif option.value == "settings":
            self.app.push_screen(SettingsPage())
        else:
            self.app.exit()

    def _describe(self, draft: Path | None) -> None:
        """Writing a circuit down, anew or from a draft."""
        from troubleshoot.session.builder import Builder
        from troubleshoot.tui.describing import DescribePage

        try:
            builder = Builder.resume(draft) if draft else Builder.start(self.ours.folder, self.ours.clock)
        except TroubleshootError as error:
            self.fail(str(error))
            return
        self.app.push_screen(DescribePage(builder))


class JobsPage(ChoicePage):
    """All jobs, the one last worked on first."""

    def __init__(self, jobs: list[Job]) -> None:
        super().__init__()
        self.jobs = jobs

    def title_line(self) -> str:
        return "Jobs"

    def ask(self) -> str:
        return "Which job? (Esc: back)"

    def options(self) -> list[Option]:
        return [say_job(job) for job in self.jobs]

    def chose(self, option: Option) -> None:
        self.ours.resume_job(self, Path(option.value))

    def go_back(self) -> None:
        self.dismiss()


class SettingsPage(ChoicePage):
    """The settings as a form: choose a line, type its new value."""

    def __init__(self) -> None:
        super().__init__()
        self.field = ""

    def title_line(self) -> str:
        return "Settings"

    def ask(self) -> str:
        return "Which setting do you want to change? (Esc: done)"

    def options(self) -> list[Option]:
        settings = self.ours.settings
        return [
            Option(name, f"{name.replace('_', ' ')}: {say_value(getattr(settings, name))}", field.description or "")
            for name, field in Settings.model_fields.items()
        ]

    def paint(self, sheet: Sheet) -> None:
        if not self.field:
            super().paint(sheet)
            return
        sheet.head(f"New value of {self.field.replace('_', ' ')}")
        sheet.say(Settings.model_fields[self.field].description or "")
        sheet.gap()
        sheet.say(f"Now: {say_value(getattr(self.ours.settings, self.field))}")
        if words := values_of(self.field):
            sheet.say("One of: " + ", ".join(words))
        sheet.say("Enter alone leaves it as it is." + (" Type - to empty it." if not words else ""))

    def prompt(self) -> str:
        return self.field.replace("_", " ") if self.field else super().prompt()

    def chose(self, option: Option) -> None:
        self.field = option.value
        self.repaint(to_top=True)

    async def given(self, text: str) -> None:
        if not self.field:
            await super().given(text)
            return
        if text.strip():
            try:
                settings = self.ours.settings.changed(self.field, "" if text.strip() == "-" else text)
                self.ours.wear(settings)
                save_settings(settings, self.ours.settings_file)
            except TroubleshootError as error:
                self.fail(str(error))
                return
        self.field = ""
        self.repaint(to_top=True)

    def go_back(self) -> None:
        if self.field:
            self.field = ""
            self.entry.put("")
            self.repaint(to_top=True)
        else:
            self.dismiss()


def say_value(value: object) -> str:
    """A setting's value in words."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value) or "not set"


def values_of(field: str) -> list[str]:
    """What a setting may be, where that is a short list."""
    schema = Settings.model_json_schema()["properties"][field]
    if schema.get("type") == "boolean":
        return ["yes", "no"]
    return [str(value) for value in schema.get("enum", [])]
