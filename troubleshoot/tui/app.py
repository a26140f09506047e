"""The application: its colours, its settings, and which screen comes when. `run` is what the command line calls.

The session and the screens over it are imported when they are first needed, so that the first screen comes at once.
"""

from __future__ import annotations

import asyncio
import os
from collections.abc import Callable
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from textual import work
from textual.app import App
from textual.command import CommandPalette
from textual.theme import Theme

from troubleshoot import places
from troubleshoot.errors import TroubleshootError
from troubleshoot.tui.deeds import DeedCommands
from troubleshoot.tui.home import HomePage
from troubleshoot.tui.look import Look
from troubleshoot.tui.page import Page
from troubleshoot.tui.settings import Settings, SettingsFailed, load_settings

if TYPE_CHECKING:
    from troubleshoot.session.session import Session
    from troubleshoot.session.walking import Walking

THEMES = {
    "terminal": Theme(
        name="terminal", ansi=True, primary="ansi_default", secondary="ansi_default", warning="ansi_yellow",
        error="ansi_red", success="ansi_green", accent="ansi_cyan", foreground="ansi_default",
        background="ansi_default", surface="ansi_default", panel="ansi_default", boost="ansi_default",
        variables={
            "ansi-background": "ansi_default", "ansi-foreground": "ansi_default", "border-blurred": "ansi_default",
            "block-cursor-foreground": "ansi_black", "block-cursor-background": "ansi_white",
        },
    ),
    "dark": Theme(
        name="own-dark", dark=True, primary="#d8c9a3", secondary="#9fb3a2", warning="#e0b060", error="#e07a6a",
        success="#8fbf8f", accent="#d8c9a3", foreground="#ece6d8", background="#1d1b18", surface="#1d1b18",
        panel="#2a2723",
    ),
    "light": Theme(
        name="own-light", dark=False, primary="#4a3f28", secondary="#3f5a48", warning="#7a5200", error="#9a2a1a",
        success="#2f6a2f", accent="#4a3f28", foreground="#1f1b14", background="#f6f2e8", surface="#f6f2e8",
        panel="#e8e2d2",
    ),
}  # fmt: skip


def local_now() -> datetime:
    """The clock that events are stamped with; tests give their own."""
    return datetime.now().astimezone()


class TroubleshootApp(App[None]):
    """One job at a time, over the session object; nothing is computed here."""

    CSS = """
    Screen { background: $background; color: $foreground; layout: vertical; }
    #head, #more, #keys { height: 1; width: 100%; }
    #keys { text-style: bold; }
    #middle { height: 1fr; }
    Scroll { height: 100%; width: 1fr; scrollbar-size: 0 0; padding: 0 1; background: $background; }
    #side { border-left: none; padding: 0 1 0 2; }
    Screen.-narrow Scroll { padding: 0; }
    #row { height: 1; }
    #prompt { width: auto; height: 1; }
    #text, #aside { width: 100%; height: auto; }
    CommandPalette SearchIcon { display: none; }
    CommandPalette #--input, CommandPalette #--results, CommandPalette CommandList { border: none; }
    """
    HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (60, "-roomy")]  # noqa: RUF012 - as Textual declares it
    COMMANDS = {DeedCommands}  # noqa: RUF012 - as Textual declares it
    ENABLE_COMMAND_PALETTE = True
    TITLE = "troubleshoot"

    def __init__(
        self, folder: Path | None = None, ascii: bool = False, settings_file: Path | None = None,  # noqa: A002
        clock: Callable[[], datetime] = local_now,
    ) -> None:  # fmt: skip
        no_color = "NO_COLOR" in os.environ
        super().__init__(ansi_color=True if no_color else None)
        self.folder = folder or places.sessions()
        self.settings_file = settings_file
        self.clock = clock
        self.settings = Settings()
        self.look = Look()
        self._ascii = ascii
        self._plain = no_color
        self._job: Session | None = None
        self._walk: Walking | None = None
        self._table: asyncio.Task[Any] | None = None

    def on_mount(self) -> None:
        """Settings first, so that the first screen is right at once."""
        for theme in THEMES.values():
            self.register_theme(theme)
        trouble = ""
        try:
            settings = load_settings(self.settings_file)
        except SettingsFailed as error:
            settings, trouble = Settings(), str(error)
        self.wear(settings)
        home = HomePage()
        home.trouble = trouble
        self.push_screen(home)
        self.call_after_refresh(self._warm_up)

    @work(thread=True)
    def _warm_up(self) -> None:
        """Imports what the next screens need while the person reads the first one."""
        import troubleshoot.tui.asking
        import troubleshoot.tui.circuits
        import troubleshoot.tui.work  # noqa: F401

    def wear(self, settings: Settings) -> None:
        """Takes settings on."""
        self.settings = settings
        self.look = Look(self._ascii or settings.ascii, settings.decimal_comma)
        # without colours only the terminal's own defaults are sure to be readable
        self.theme = THEMES["terminal" if self._plain else settings.theme].name

    def get_system_commands(self, screen: Any) -> Any:
        """None of the toolkit's own: everything comes from the deeds."""
        del screen
        return ()

    def action_command_palette(self) -> None:
        """The palette, with a hint in the characters that there are."""
        self.push_screen(CommandPalette(placeholder="what do you want to do?", id="--command-palette"))

    # ---- which screen comes when

    def choose_circuit(self) -> None:
        """Begin a job."""
        from troubleshoot.tui.circuits import CircuitsPage

        self.push_screen(CircuitsPage())

    def choose_tree(self) -> None:
        """Walk a decision tree."""
        from troubleshoot.tui.walk import TreesPage

        self.push_screen(TreesPage())

    def resume_job(self, page: Page, path: Path) -> None:
        """Go on with a job from its log; what is wrong is told on the page that asked."""

        def resume() -> Session:
            from troubleshoot.session.session import Session

            session = Session.resume(path, self.clock)
            if session.state.led:
                from troubleshoot.session.walking import Walking

                # a tree that has changed meanwhile is left for the live diagnosis
                with suppress(TroubleshootError):
                    self._walk = Walking.of(session)
            return session

        page.do("opening the job", resume, self.open_session)

    def open_walk(self, walking: Walking) -> None:
        """The safety questions, then the tree's first step."""
        self._walk = walking
        self.open_session(walking.session)

    def open_session(self, session: Session, replace: bool = False) -> None:
        """First questions where some are left, else the working screen. The table is worked out meanwhile."""
        from troubleshoot.tui.asking import AskingPage

        self._job = session
        if self._table is None:
            self._table = asyncio.create_task(asyncio.to_thread(lambda: session.table))
        state = session.state
        if state.told is None or not state.cleared or state.stopped:
            page: Page = AskingPage(session, self.start_work, self.show_stopped)
        else:
            page = self._walk_page() or self._work_page(session, self._table)
        self._show(page, replace)

    def _work_page(self, session: Session, table: asyncio.Task[Any]) -> Page:
        """The working screen; it says where a walk cannot be gone on with."""
        from troubleshoot.tui.work import WorkPage

        page = WorkPage(session, table)
        if session.state.led and not page.said:
            page.said = "Its tree is no longer as it was: the live diagnosis goes on with what is known."
        return page

    def _walk_page(self, said: str = "") -> Page | None:
        """The page of the walk, or of its live diagnosis; None where no tree is walked."""
        if self._walk is None or self._table is None or self._walk.session is not self._job:
            return None
        from troubleshoot.tui.walk import LivePage, WalkPage

        if self._walk.is_live:
            return LivePage(self._walk, self._table)
        page = WalkPage(self._walk)
        page.said = said
        return page

    def show_walk(self, said: str = "") -> None:
        """The walk where it stands now, in place of what is shown."""
        if page := self._walk_page(said):
            self.switch_screen(page)

    def _show(self, page: Page, replace: bool) -> None:
        if replace or len(self.screen_stack) > 2:  # whatever chose the job is done with
            self.switch_screen(page)
        else:
            self.push_screen(page)

    def start_work(self) -> None:
        """The first questions are answered."""

        if self._job and self._table:
            self.switch_screen(self._walk_page() or self._work_page(self._job, self._table))

    def show_stopped(self, advice: str) -> None:
        """Stopped: the advice, on the working screen."""
        from troubleshoot.tui.work import WorkPage

        if self._job and self._table:
            page = WorkPage(self._job, self._table)
            page.advice = advice
            self.switch_screen(page)

    def close_job(self) -> None:
        """Lets go of the job and shows the first screen."""
        if self._job:
            self._job.close()
        self._job = self._table = self._walk = None
        while not isinstance(self.screen, HomePage) and len(self.screen_stack) > 2:
            self.pop_screen()

    def on_unmount(self) -> None:
        """Lets go of the log."""
        if self._job:
            self._job.close()


def run(folder: Path | None = None, ascii: bool = False) -> None:  # noqa: A002 - as the option is called
    """Shows the UI until the person leaves. `folder` is where jobs are kept, the usual place where it is None.

    Without the mouse, so that the terminal's own selection and copying work.
    """
    TroubleshootApp(folder, ascii).run(mouse=False)
