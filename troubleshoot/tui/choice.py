"""A screen with numbered options: a number, the beginning of the words, or the arrows and Enter choose one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from troubleshoot.tui.page import Page
from troubleshoot.tui.sheet import Sheet


@dataclass(frozen=True)
class Option:
    """One thing to choose: `value` for the program, `say` for the eye, `detail` under it."""

    value: str
    say: str
    detail: str = ""


def find_option(options: Sequence[Option], typed: str, marked: int) -> int | None:
    """Which option is meant: digits are a number, words a beginning that only one has.

    Nothing typed means the marked one (-1: none).
    """
    words = " ".join(typed.casefold().split())
    if not words:
        return marked if 0 <= marked < len(options) else None
    if words.isdecimal():
        number = int(words) if len(words) < 5 else 0
        return number - 1 if 0 < number <= len(options) else None
    found = [i for i, option in enumerate(options) if option.say.casefold().startswith(words)]
    return found[0] if len(found) == 1 else None


class ChoicePage(Page):
    """One question with options. Subclasses give `ask`, `options` and `chose`; `typed` takes words that fit none."""

    def __init__(self) -> None:
        super().__init__()
        self.marked = 0

    def ask(self) -> str:
        """The question."""
        raise NotImplementedError

    def options(self) -> list[Option]:
        """What can be chosen now."""
        raise NotImplementedError

    def chose(self, option: Option) -> None:
        """Goes on with what was chosen."""
        raise NotImplementedError

    def paint(self, sheet: Sheet) -> None:
        """The question, then the options."""
        sheet.head(self.ask())
        sheet.gap()
        sheet.choices([(option.say, option.detail) for option in self.options()], self.marked)

    def prompt(self) -> str:
        """Says what is wanted."""
        return "number, or Enter"

    async def given(self, text: str) -> None:
        """Chooses, or says what can be typed."""
        options = self.options()
        found = find_option(options, text, self.marked)
        if found is None:
            self.typed(text)
            return
        self.chose(options[found])

    def typed(self, text: str) -> None:
        """Words that fit no option."""
        del text
        self.fail(f"Type a number from 1 to {len(self.options())}, or Enter for the marked one.")

    def moved(self, step: int) -> None:
        """The mark goes up or down, round at the ends."""
        count = len(self.options())
        if count:
            self.marked = (self.marked + step) % count
            self.repaint()
            self.call_after_refresh(self._show_marked)

    def _show_marked(self) -> None:
        """Keeps the marked option in sight."""
        text = self.query_one("#text").render()
        lines = str(text).split("\n")
        sign = f"{self.look.mark} {self.marked + 1:>2} "
        at = next((i for i, line in enumerate(lines) if line.startswith(sign)), 0)
        body = self.query_one("#body")
        if not body.scroll_offset.y <= at < body.scroll_offset.y + body.size.height - 1:
            body.scroll_to(y=max(0, at - body.size.height // 2), animate=False)
