"""A sheet of text for a given width: headings, wrapped words with a hanging indent, labelled lines, choices, bars.

All words are wrapped here and made safe by the look, so that what a terminal shows is what was meant.
"""

from __future__ import annotations

from collections.abc import Sequence

from textual.content import Content

from troubleshoot.tui.look import HEAD, STRONG, Look, hang, lines_of

WIDEST = 96
"""Columns beyond which lines of words are hard to read."""


ROOMY = 44
"""Columns from which labels stand in a column of their own."""


class Sheet:
    """Collects lines; `content` gives them as one piece."""

    def __init__(self, look: Look, width: int) -> None:
        self.look = look
        self.width = max(16, width)
        self._lines: list[Content] = []

    @property
    def content(self) -> Content:
        """All of it."""
        return lines_of(self._lines)

    @property
    def roomy(self) -> bool:
        """Whether there is room for labels in a column and for empty lines."""
        return self.width >= ROOMY

    def gap(self) -> None:
        """An empty line where there is room for one."""
        if self.roomy and self._lines and self._lines[-1].plain:
            self._lines.append(Content(""))

    def add(self, words: Sheet, beside: Sheet | None = None) -> None:
        """The lines of another sheet; with a second one set to the right of it."""
        left, right = words._lines, beside._lines if beside else []
        for i in range(max(len(left), len(right))):
            line = left[i] if i < len(left) else Content("")
            if i < len(right):
                line = line.pad_right(max(0, self.width - len(line.plain) - (beside.width if beside else 0))) + right[i]
            self._lines.append(line)

    def head(self, text: str, style: str = HEAD) -> None:
        """A heading."""
        self.say(text, style)

    def say(self, text: str, style: str = "", first: str = "", rest: str = "", own: bool = True) -> None:
        """Words wrapped. `own`: they are the program's, so values in them take the decimal mark that is wanted."""
        shown = self.look.number(text) if own else self.look.safe(text)
        for paragraph in shown.split("\n"):
            for line in hang(paragraph, min(self.width, WIDEST), first, rest or " " * len(first)):
                self._lines.append(Content.styled(line, style) if style else Content(line))

    def labelled(self, label: str, text: str, style: str = "", label_style: str = STRONG) -> None:
        """A label in a column of its own and words beside it; above them where there is no room."""
        column = 10 if self.roomy else len(label) + 1
        wrapped = hang(self.look.number(text), min(self.width, WIDEST) - column)
        for number, line in enumerate(wrapped):
            if number == 0:
                pad = " " * (column - len(label))
                self._lines.append(Content.assemble((label, label_style), pad, (line, style)))
            else:
                self._lines.append(Content.assemble(" " * (column if self.roomy else 2), (line, style)))

    def lead(self, label: str, mark: str, text: str, style: str) -> None:
        """Where a lead goes: the label and the stamped number in `style`, which is loud, the words strong."""
        shown = f" {label} "
        column = 10 if self.roomy else len(shown) + 1
        for i, line in enumerate(hang(self.look.safe(text), min(self.width, WIDEST) - column)):
            head = [(shown, style), " " * (column - len(shown))] if i == 0 else [" " * column]
            before, found, after = line.partition(f" {mark} ") if mark and i == 0 else (line, "", "")
            words = [(before, STRONG), (found, style), (after, STRONG)]
            self._lines.append(Content.assemble(*head, *(word for word in words if word[0])))

    def choices(self, options: Sequence[tuple[str, str]], marked: int, chosen: Sequence[bool] | None = None) -> None:
        """Numbered options with what each means; a sign before the one that Enter takes, boxes where many can be on."""
        for i, (text, detail) in enumerate(options):
            sign = self.look.mark if i == marked else " "
            box = "" if chosen is None else "[x] " if chosen[i] else "[ ] "
            first = f"{sign} {i + 1:>2} {box}"
            self.say(text, STRONG if i == marked else "", first, " " * len(first), own=False)
            if detail:
                indent = " " * len(first) if self.roomy else "     "
                self.say(detail, "", indent, indent, own=False)

    def bar(self, share: float, text: str) -> None:
        """A probability as number and bar, then the words."""
        bar = self.look.bar(share, 10 if self.roomy else 5)
        first = self.look.number(f"{share:6.1%} ") + bar + " "
        if self.roomy:
            self.say(text, "", first, " " * len(first))
        else:
            self._lines.append(Content(first))
            self.say(text, "", "  ", "  ")

    def drawing(self, lines: Sequence[str]) -> None:
        """Lines that are drawn already."""
        self._lines += [Content(self.look.safe(line)) for line in lines]
