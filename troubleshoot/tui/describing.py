"""The screen that writes a circuit down: the builder's questions, its drawing and what looks wrong, the file."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import ClassVar, Literal

from troubleshoot.draw import draw_path, find_paths
from troubleshoot.draw.circuit_line import list_ways
from troubleshoot.errors import TroubleshootError
from troubleshoot.session.builder import Builder, Made
from troubleshoot.session.session import Session
from troubleshoot.tui.deeds import BACK, DOWN, KEYS, LEAVE, PALETTE, UNDO, UP, Deed, bindings
from troubleshoot.tui.look import ALARM
from troubleshoot.tui.page import Page
from troubleshoot.tui.sheet import Sheet
from troubleshoot.units import clean

DESCRIBING = (UNDO, KEYS, LEAVE, BACK, UP, DOWN, PALETTE)

AT_THE_END = (
    ("It is so: write it", "into a new folder, as circuit.yaml"),
    ("Change an answer", "that question is asked anew"),
    ("Leave", "what was answered is kept"),
)
WRITTEN = (("Begin a job on it", ""), ("Back to the first screen", ""))

Mode = Literal["asking", "looking", "changing", "naming", "written"]


class DescribePage(Page):
    """One draft, from its first open question to its file."""

    DEEDS: ClassVar[Sequence[Deed]] = DESCRIBING
    BINDINGS = bindings(DESCRIBING)

    def __init__(self, builder: Builder) -> None:
        super().__init__()
        self.builder = builder
        self.mode: Mode = "asking"
        self.marked = -1
        self.made: Made | None = None
        self.path: Path | None = None

    def on_mount(self) -> None:
        """A draft may be answered to its end already."""
        super().on_mount()
        self._next()

    # ---- what it shows

    def title_line(self) -> str:
        if self.mode == "asking":
            return f"Write a circuit down: question {len(self.builder.told) + 1}"
        return "Write a circuit down"

    def paint(self, sheet: Sheet) -> None:
        {
            "asking": self._paint_question, "looking": self._paint_circuit, "changing": self._paint_answers,
            "naming": self._paint_naming, "written": self._paint_written,
        }[self.mode](sheet)  # fmt: skip

    def _paint_question(self, sheet: Sheet) -> None:
        question = self.builder.question
        if question is None:
            return
        sheet.head(question.text)
        sheet.gap()
        sheet.choices([(choice.say, "") for choice in question.choices], self.marked)
        if question.note:
            sheet.say(question.note)

    def _paint_circuit(self, sheet: Sheet) -> None:
        sheet.head("Is it drawn as it is wired?")
        sheet.choices(AT_THE_END, self.marked)
        made = self.made
        if made is None:
            return
        for guess in made.guesses:
            sheet.say(f"Not told: {guess}.", own=False)
        sheet.gap()
        sheet.head("What looks wrong, before any meter comes out" if made.findings else "Nothing looks wrong")
        for finding in made.findings:
            style = ALARM if finding.severity in ("danger", "fault") else ""
            sheet.say(f"{finding.severity.upper()}: {finding.where}: {finding.what}.", style, "- ", "  ", own=False)
            sheet.say(f"Why: {finding.why}.", "", "  ", "    ", own=False)
            sheet.say(f"Do: {finding.do}.", "", "  ", "    ", own=False)
        paths = find_paths(made.network)
        for path in paths:
            sheet.gap()
            sheet.head(f"From battery to battery {path.title}")
            sheet.drawing(draw_path(path, min(sheet.width, 78), self.look.strokes))
        sheet.gap()
        for title, _ in list_ways(made.network.circuit):
            if title not in {path.title for path in paths}:
                sheet.say(f"There is no way {title} from battery positive to battery negative.", own=False)
        drawn = {row.say for path in paths for row in path.rows if row.part}
        terminals = made.network.circuit.terminals
        for wire in made.network.circuit.wires:
            if f"the {wire.spoken}" not in drawn:
                ends = f"from {terminals[wire.start].say} to {terminals[wire.end].say}"
                sheet.say(f"Also the {wire.spoken}: {ends}", own=False)

    def _paint_answers(self, sheet: Sheet) -> None:
        sheet.head("Which answer was wrong? (Esc: none)")
        sheet.choices([(question.text, said) for question, said in self.builder.answers], self.marked)

    def _paint_naming(self, sheet: Sheet) -> None:
        sheet.head("Into which folder? It is made; nothing that is there is written over.")
        sheet.say(f"Enter alone: {self.builder.name}", own=False)

    def _paint_written(self, sheet: Sheet) -> None:
        sheet.head("Written")
        sheet.say(str(self.path), own=False)
        sheet.choices(WRITTEN, self.marked)

    def prompt(self) -> str:
        question = self.builder.question
        if self.mode == "naming":
            return "folder"
        if self.mode == "asking" and question and question.kind not in ("one", "many"):
            return "answer"
        return "number"

    def moved(self, step: int) -> None:
        count = self._count()
        if not count:
            super().moved(step)
            return
        self.marked = (max(self.marked, -1 if step > 0 else 0) + step) % count
        self.repaint()

    def _count(self) -> int:
        """How many choices there are to mark."""
        question = self.builder.question
        if self.mode == "asking":
            return len(question.choices) if question and question.kind == "one" else 0
        if self.mode == "changing":
            return len(self.builder.answers)
        return {"looking": len(AT_THE_END), "written": len(WRITTEN)}.get(self.mode, 0)

    # ---- what is typed

    async def given(self, text: str) -> None:
        if not text.strip() and 0 <= self.marked < self._count():
            text = str(self.marked + 1)
        try:
            if self.mode == "asking":
                self.builder.answer(text)
                self._next()
            elif self.mode == "naming":
                self._write(text)
            else:
                self._chose(self._number(text))
        except TroubleshootError as error:
            self.fail(str(error))

    def _number(self, text: str) -> int:
        """Which choice is meant, from 0; -1 for none."""
        words = text.strip()
        number = int(words) if words.isdecimal() and len(words) < 4 else 0
        return number - 1 if 0 < number <= self._count() else -1

    def _chose(self, number: int) -> None:
        if number < 0:
            self.fail(f"Type a number from 1 to {self._count()}.")
        elif self.mode == "changing":
            self.builder.change(self.builder.answers[number][0].id)
            self._next()
        elif self.mode == "looking":
            if number == 2:
                self._left()
            else:
                self._turn("naming" if number == 0 else "changing")
        elif number == 0:
            self._begin()
        else:
            self._left()

    def _next(self) -> None:
        """The next question, or what all the answers come to."""
        if self.builder.question:
            self._turn("asking")
        else:
            self.made = None
            self._turn("looking")
            self.do("drawing it", self.builder.made, self._look_at)

    def _look_at(self, made: Made) -> None:
        self.made = made

    def _turn(self, mode: Mode) -> None:
        self.mode, self.marked = mode, -1
        self.repaint(to_top=True)

    def _write(self, text: str) -> None:
        clean(text)  # refuses what cannot be seen
        self.path = self.builder.write(Path(text.strip() or self.builder.name).expanduser())
        self._turn("written")

    def _begin(self) -> None:
        """A job on what was just written, without asking for it again."""
        path, ours = self.path, self.ours

        def start() -> Session:
            guesses = Path(ours.settings.guesses) if ours.settings.guesses else None
            return Session.start(str(path), folder=ours.folder, guesses=guesses, clock=ours.clock,
                                 accuracy_percent=ours.settings.accuracy_percent)  # fmt: skip

        self.do("reading the circuit", start, lambda session: ours.open_session(session))

    # ---- back, leave

    def action_undo(self) -> None:
        """Takes the last answer back."""
        if self.mode not in ("asking", "looking"):
            self.go_back()
            return
        try:
            taken = self.builder.back()
        except TroubleshootError as error:
            self.fail(str(error))
            return
        if taken is None:
            self.fail("There is nothing to take back.")
        else:
            self._turn("asking")

    def go_back(self) -> None:
        if self.mode in ("changing", "naming"):
            self._turn("looking")
        else:
            self._left()

    def action_leave(self) -> None:
        self._left()

    def _left(self) -> None:
        self.builder.close()
        self.dismiss()

    def on_unmount(self) -> None:
        """Lets go of the draft; it is kept."""
        self.builder.close()
