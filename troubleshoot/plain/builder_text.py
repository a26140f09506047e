"""`describe` in plain lines: asks how a circuit is wired, shows it drawn, says what looks wrong, writes the file."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from textwrap import wrap

from troubleshoot.draw import LINES, Strokes
from troubleshoot.errors import TroubleshootError
from troubleshoot.files.tell import shown_path
from troubleshoot.plain.drawing_text import Drawing, drawing_lines
from troubleshoot.plain.review_text import counted, finding_lines
from troubleshoot.session.builder import Builder, Made
from troubleshoot.session.builder_questions import Question
from troubleshoot.units import clean

WIDTH = 78
BEGIN = (
    "Some questions about how the circuit is really wired, right or wrong. Then you see it drawn, with what looks "
    "wrong, and say whether it is so. Nothing is measured yet."
)
HELP = """\
a number     one of the answers, or the beginning of its words
?            don't know: taken as usual, with a wide band
back         take the last answer back
answers      what was answered so far
quit         leave; what was answered is kept: describe --resume"""
AT_THE_END = """\
write [FOLDER]   it is so: write circuit.yaml into a new folder
change NUMBER    that answer was wrong: ask it anew
back             take the last answer back
quit             leave; what was answered is kept: describe --resume"""


class Left(Exception):  # noqa: N818 - not an error
    """The person left."""


class BuilderDialogue:
    """One draft talked through line by line. `ask` gives a line or raises EOFError; `tell` shows one."""

    def __init__(
        self, builder: Builder, ask: Callable[[str], str], tell: Callable[[str], None], out: Path | None = None,
        strokes: Strokes = LINES,
    ) -> None:  # fmt: skip
        self.builder = builder
        self._ask = ask
        self._tell = tell
        self._out = out
        self._strokes = strokes

    def run(self) -> Path | None:
        """From the first open question to the file; its path, None where the person left before."""
        try:
            if self.builder.torn:
                self._say("The last line of the draft was torn and has been dropped; nothing acknowledged is lost.")
            if not self.builder.told:
                self._say(BEGIN)
                self._say("At every question: ? for don't know, back, answers, help, quit.")
            while True:
                while question := self.builder.question:
                    self._put(question)
                if path := self._confirm():
                    return path
        except (Left, EOFError, KeyboardInterrupt):
            self._tell("")
            kept = shown_path(self.builder.path)
            self._say(f"What was answered is kept in {kept}; go on with: troubleshoot describe --resume")
            return None

    # ---- questions

    def _put(self, question: Question) -> None:
        """Asks one question until something is answered or taken back."""
        self._tell("")
        self._say(question.text)
        for number, choice in enumerate(question.choices, 1):
            for line in wrap(choice.say, WIDTH - 6, initial_indent=f"  {number:2}  ", subsequent_indent="      "):
                self._tell(line)
        if question.note:
            self._say(f"({question.note})", "  ")
        while not self._took(self._ask("> ")):
            pass

    def _took(self, typed: str) -> bool:
        """One line; False where it answered nothing."""
        command = typed.strip().casefold()
        try:
            if command == "quit":
                raise Left
            if command == "help":
                self._tell(HELP)
                return False
            if command == "answers":
                self._list()
                return False
            if command == "back":
                return self._back()
            said = self.builder.answer(typed)
        except TroubleshootError as error:
            self._say(str(error))
            return False
        self._say(f"Noted: {said}.", "  ")
        return True

    def _back(self) -> bool:
        taken = self.builder.back()
        self._say(f"Taken back: {taken.text}" if taken else "There is nothing to take back.")
        return taken is not None

    def _list(self) -> None:
        for number, (question, said) in enumerate(self.builder.answers, 1):
            self._say(f"{number:2}  {question.text} {said}", "  ")

    # ---- the end

    def _confirm(self) -> Path | None:
        """Shows what it comes to; the file written, None where an answer is to be changed."""
        try:
            self._show(self.builder.made())
        except TroubleshootError as error:
            self._say(f"This cannot be made into a circuit: {error}")
        self._tell("")
        self._say("Is it drawn as it is wired? write, change NUMBER, answers, back, help or quit")
        while True:
            typed = self._ask("> ").strip()
            command, _, rest = typed.partition(" ")
            command = command.casefold()
            try:
                if command == "quit":
                    raise Left
                if command == "write":
                    return self._write(rest.strip())
                if command == "back" and self._back():
                    return None
                if command == "change" and self._change(rest.strip()):
                    return None
            except TroubleshootError as error:
                self._say(str(error))
                continue
            if command == "answers":
                self._list()
            elif command not in ("back", "change"):
                self._tell(AT_THE_END)

    def _write(self, folder: str) -> Path:
        if folder:
            clean(folder)  # refuses what cannot be seen
        out = Path(folder).expanduser() if folder else self._out or Path(self.builder.name)
        path = self.builder.write(out)
        self._say(f"Written to {shown_path(path)}. Now: troubleshoot find {shown_path(out)}, or expect, draw, review.")
        return path

    def _change(self, number: str) -> bool:
        answers = self.builder.answers
        if not (number.isdecimal() and len(number) < 4 and 0 < int(number) <= len(answers)):
            self._say(f"Say which: change and a number from 1 to {len(answers)}. They are:")
            self._list()
            return False
        self.builder.change(answers[int(number) - 1][0].id)
        return True

    def _show(self, made: Made) -> None:
        self._tell("")
        for line in [*drawing_lines(Drawing(made.network, {}, ""), WIDTH, self._strokes), *said_lines(made)]:
            self._tell(line)

    def _say(self, text: str, indent: str = "") -> None:
        for line in wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent + "  ") or [""]:
            self._tell(line)


def said_lines(made: Made) -> list[str]:
    """What was taken for what nobody told, and what looks wrong."""
    lines = [""]
    if made.guesses:
        lines.append("Not told:")
        for guess in made.guesses:
            lines += wrap(f"- {guess}.", WIDTH, subsequent_indent="  ")
        lines.append("")
    lines += wrap(f"What looks wrong, before any meter comes out: {counted(made.findings)}.", WIDTH)
    for finding in made.findings:
        lines += [finding.severity.upper(), *finding_lines(finding, WIDTH)]
    return lines
