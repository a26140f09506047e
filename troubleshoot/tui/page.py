"""What every screen is: a head line, a sheet that scrolls, a line that says what is out of sight, one entry, the keys.

The entry is the only thing on a screen that can have the focus, so it cannot lose it. Sheets are painted anew into
widgets that stay; nothing is recomposed. A screen says what it shows by `paint`, and takes words by `given`.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, ClassVar, TypeVar, cast

from textual import events, on, work
from textual.app import ComposeResult
from textual.containers import Horizontal, VerticalScroll
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Static

from troubleshoot.errors import TroubleshootError
from troubleshoot.tui.deeds import CHOOSING, PALETTE, Deed, bindings, deed_of_word, footer
from troubleshoot.tui.entry import Entry
from troubleshoot.tui.look import ALARM, Look
from troubleshoot.tui.sheet import Sheet
from troubleshoot.units import quote

if TYPE_CHECKING:
    from troubleshoot.tui.app import TroubleshootApp

T = TypeVar("T")

WIDE = 110
"""Columns from which a second sheet stands beside the first."""

TICK_S = 0.5


class Scroll(VerticalScroll, can_focus=False):
    """Scrolls without taking the focus; its scrollbar is not drawn, the line below it says what is out of sight."""


class Page(Screen[Any]):
    """One screen. Subclasses give DEEDS and `paint`, `given`, and what else they have."""

    DEEDS: ClassVar[Sequence[Deed]] = CHOOSING
    BINDINGS = bindings(CHOOSING)
    AUTO_FOCUS = "Entry"

    def __init__(self) -> None:
        super().__init__()
        self.trouble = ""
        self.busy = ""
        self._busy_s = 0.0
        self._pane = ""
        self._given = ""

    # ---- what a screen says of itself

    def title_line(self) -> str:
        """What the head line says."""
        return "troubleshoot"

    def paint(self, sheet: Sheet) -> None:
        """Writes the sheet."""
        raise NotImplementedError

    def paint_aside(self, sheet: Sheet) -> bool:
        """Writes what stands beside it where there is room; False when there is nothing."""
        del sheet
        return False

    def prompt(self) -> str:
        """What stands before the entry."""
        return ""

    async def given(self, text: str) -> None:
        """Takes words. The entry is empty already; `fail` puts them back."""
        raise NotImplementedError

    # ---- the widgets

    def compose(self) -> ComposeResult:
        yield Static(id="head", markup=False)
        with Horizontal(id="middle"):
            with Scroll(id="body"):
                yield Static(id="text", markup=False)
            with Scroll(id="side"):
                yield Static(id="aside", markup=False)
        yield Static(id="more", markup=False)
        with Horizontal(id="row"):
            yield Static(id="prompt", markup=False)
            yield Entry()
        yield Static(id="keys", markup=False)

    def on_mount(self) -> None:
        """Begins to watch what is out of sight."""
        for scroll in self.query(Scroll):
            for changing in ("scroll_y", "virtual_size"):
                self.watch(scroll, changing, self._scrolled, init=False)
        self.set_interval(TICK_S, self._tick)
        self.repaint()

    @property
    def ours(self) -> TroubleshootApp:
        """The app, with its type."""
        return cast("TroubleshootApp", self.app)

    @property
    def look(self) -> Look:
        """How to show text now."""
        return self.ours.look

    @property
    def entry(self) -> Entry:
        """The field."""
        return self.query_one(Entry)

    @property
    def is_there(self) -> bool:
        """Whether the widgets are there: not yet before mounting, no longer once the screen is left."""
        return self.is_attached and bool(self.query("#keys"))

    @property
    def is_wide(self) -> bool:
        """Whether a second sheet stands beside the first."""
        return self.app.size.width >= WIDE

    # ---- painting

    def repaint(self, to_top: bool = False) -> None:
        """Shows everything as it is now."""
        if not self.is_there:
            return
        width = self.app.size.width
        side_width = min(72, width // 2 - 2) if self.is_wide else 0
        aside = Sheet(self.look, side_width - 3)
        has_aside = bool(side_width) and self.paint_aside(aside)
        main = Sheet(self.look, width - 2 - (side_width if has_aside else 0) if width >= 60 else width)
        if self.trouble:
            main.say(self.trouble, ALARM, "! ", "  ", own=False)
            main.gap()
        if self._pane and not has_aside:
            self.paint_pane(main)
        else:
            self.paint(main)
        side = self.query_one("#side", Scroll)
        side.display = has_aside
        side.styles.width = side_width or 1
        self.query_one("#aside", Static).update(aside.content)
        self.query_one("#text", Static).update(main.content)
        self._paint_frame(width)
        if to_top:
            for scroll in self.query(Scroll):
                scroll.scroll_home(animate=False)
        self.call_after_refresh(self._tell_more)

    def paint_pane(self, sheet: Sheet) -> None:
        """Writes what was opened with a key over the sheet; of every screen, the keys."""
        self.paint_keys(sheet)

    def paint_keys(self, sheet: Sheet) -> None:
        """All keys and the words that do the same."""
        sheet.head("Keys, and words that do the same")
        for deed in self.DEEDS:
            word = f" (or type: {deed.word})" if deed.word else ""
            sheet.labelled(deed.key_name, f"{deed.say}{word}")
        sheet.labelled("Up Down", "mark another choice, or scroll by a line")
        sheet.labelled("Enter", "takes what is typed, or the marked choice")

    def _paint_frame(self, width: int) -> None:
        if not self.is_there:
            return
        self.query_one("#head", Static).update(self._head(width))
        self._paint_prompt()
        self.query_one("#keys", Static).update(Content(self.look.safe(footer(self.DEEDS, width))))

    def _paint_prompt(self) -> None:
        """What stands before the entry, with a sign when not all that is typed is in sight."""
        prompt = self.look.safe(self.prompt())
        sign = f" {'...' if self.look.ascii else '…'}" if self.entry.is_longer else ""
        self.query_one("#prompt", Static).update(Content.styled(f"{prompt}{sign}> ", "bold"))

    @on(Entry.Changed)
    def see_length(self, message: Entry.Changed) -> None:
        """What is typed may have become too long to be seen whole."""
        message.stop()
        self._paint_prompt()

    def _head(self, width: int) -> Content:
        state = f" {self.busy} {self._busy_s:.0f} s " if self.busy else ""
        title = self.look.shorten(self.title_line(), width - len(state) - 2)
        return Content.styled(f" {title}{' ' * (width - len(title) - len(state) - 1)}{state}", "bold reverse")

    def _scrolled(self) -> None:
        self.call_after_refresh(self._tell_more)

    def _tell_more(self) -> None:
        """The line under the sheet: a rule, with how much is out of sight above and below."""
        if not self.is_there:
            return
        moved, other = self._scrolls()
        above, below = self._hidden(moved)
        told = "".join(
            f" {key} {count} more line{'s' if count > 1 else ''} "
            for key, count in (("PgUp:", above), ("PgDn:", below)) if count > 0
        )  # fmt: skip
        width = self.app.size.width
        if other and sum(self._hidden(other)):
            told += f" {sum(self._hidden(other))} more on the {'left' if other.id == 'body' else 'right'} "
        line = self.look.rule(max(0, width - len(told) - 2))
        self.query_one("#more", Static).update(Content.assemble(line, (told, "bold reverse"), self.look.rule(2)))

    def _scrolls(self) -> tuple[Scroll, Scroll | None]:
        """The sheet that the keys scroll, and the other one; an opened pane comes first, else what is too long."""
        body, side = self.query_one("#body", Scroll), self.query_one("#side", Scroll)
        if not side.display:
            return body, None
        return (side, body) if self._pane or not body.max_scroll_y else (body, side)

    @staticmethod
    def _hidden(scroll: Scroll) -> tuple[int, int]:
        """Lines out of sight above and below."""
        return round(scroll.scroll_offset.y), round(scroll.max_scroll_y - scroll.scroll_offset.y)

    def _tick(self) -> None:
        if self.busy:
            self._busy_s += TICK_S
            self._paint_frame(self.app.size.width)

    def on_resize(self, event: events.Resize) -> None:
        """Another width, other lines."""
        del event
        self.call_after_refresh(self.repaint)

    def on_screen_resume(self) -> None:
        """Settings may have changed meanwhile."""
        self.call_after_refresh(self.repaint)

    # ---- words and keys

    @on(Entry.Given)
    async def take(self, message: Entry.Given) -> None:
        """Enter was pressed: the word of a deed, or words for the screen."""
        message.stop()
        if self.busy:
            self.trouble = (
                f"Still at work on the last answer; {quote(message.text)} was not taken. Type it in a moment."
            )
            if not self.entry.value:
                self.entry.put(message.text)
            self.repaint(to_top=True)
            return
        self.trouble = ""
        deed = deed_of_word([d for d in self.DEEDS if d is not PALETTE], message.text)
        if deed:
            await self.run_action(deed.action)
            return
        self._given = message.text
        await self.given(message.text)
        self._given = ""

    @on(Entry.Moved)
    def move(self, message: Entry.Moved) -> None:
        """An arrow: scrolls; screens with choices move their mark."""
        message.stop()
        self.moved(message.step)

    def moved(self, step: int) -> None:
        """What an arrow does here."""
        self._scrolls()[0].scroll_relative(y=step, animate=False)

    def action_page(self, way: int) -> None:
        """A page up or down, one line kept for the eye."""
        moved = self._scrolls()[0]
        moved.scroll_relative(y=way * max(1, moved.size.height - 1), animate=False)

    def action_look(self, pane: str) -> None:
        """Opens a pane, or closes it when it is open."""
        self._pane = "" if self._pane == pane else pane
        self.repaint(to_top=True)

    def action_back(self) -> None:
        """Closes the pane, else leaves the screen."""
        if self._pane or self.trouble:
            self._pane = self.trouble = ""
            self.repaint(to_top=True)
        else:
            self.go_back()

    def go_back(self) -> None:
        """What Esc does when nothing is open."""

    def action_leave(self) -> None:
        """Leaves the program; the job, if there is one, is kept."""
        self.app.exit()

    # ---- work that takes time

    def do(self, words: str, job: Callable[[], T], then: Callable[[T], None]) -> None:
        """Runs `job` in a thread while the screen goes on; `words` say what is going on. Its errors are told."""
        self.busy, self._busy_s = words, 0.0
        self._do(job, then, self._given)

    @work
    async def _do(self, job: Callable[[], T], then: Callable[[T], None], given: str) -> None:
        self._paint_frame(self.app.size.width)
        try:
            result = await asyncio.to_thread(job)
        except TroubleshootError as error:
            self.busy, self._given = "", given
            self.fail(str(error))
            return
        finally:
            self.busy = ""
        self.trouble = ""
        then(result)
        self.repaint(to_top=True)

    def fail(self, message: str) -> None:
        """Tells what went wrong, above everything else; what was typed comes back, marked, to be typed over."""
        self.trouble = message
        if self._given and not self.entry.value:
            self.entry.put(self._given)
            self.entry.select_all()
        self._given = ""
        self._pane = ""
        self.repaint(to_top=True)
