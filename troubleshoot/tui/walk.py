"""Walking a decision tree on the screen: choosing one, its steps, its verdict, and the live diagnosis between."""

from __future__ import annotations

from asyncio import Task
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, ClassVar

from troubleshoot import places
from troubleshoot.errors import Problem, TroubleshootError, TypedWrong
from troubleshoot.session.cards import Question
from troubleshoot.session.state import expects
from troubleshoot.session.walking import Walking
from troubleshoot.tree.tree import Branch, Step
from troubleshoot.tree.tree_file import CIRCUIT, FILE
from troubleshoot.tree.walk import WHICH_IS_IT, numbered, say_scope, say_verdict
from troubleshoot.tui import check_text as write
from troubleshoot.tui.choice import ChoicePage, Option
from troubleshoot.tui.deeds import LIVE, WALKING, WHICH, Deed, bindings
from troubleshoot.tui.look import STRONG
from troubleshoot.tui.page import Page
from troubleshoot.tui.panes import Standing
from troubleshoot.tui.sheet import Sheet
from troubleshoot.tui.work import WorkPage
from troubleshoot.units import quote
from troubleshoot.words.answers import Command, Skip, Stop, read_answer


class TreesPage(ChoicePage):
    """The shipped trees; a path typed is that of one's own."""

    def title_line(self) -> str:
        return "Walk a decision tree: which?"

    def ask(self) -> str:
        return "Which tree is it? Type its number, or the path of a tree.yaml of your own. (Esc: back)"

    def options(self) -> list[Option]:
        paths = sorted(path for path in places.trees().glob("*/*.yaml") if path.name != CIRCUIT)
        return [Option(str(path), path.parent.name + ("" if path.name == FILE else f", {path.stem}")) for path in paths]

    def prompt(self) -> str:
        return "number or path"

    def chose(self, option: Option) -> None:
        self._begin(Path(option.value))

    def typed(self, text: str) -> None:
        self._begin(Path(text.strip()).expanduser())

    def _begin(self, path: Path) -> None:
        def start() -> Walking:
            try:
                return Walking.start(path, self.ours.folder, self.ours.clock)
            except (OSError, ValueError) as error:  # what is typed may be no path at all
                reason = getattr(error, "strerror", "") or str(error)
                told = Problem("no-tree", f"that is no tree's file: {reason}", where=quote(str(path)))
                raise TypedWrong(told) from None

        self.do("reading the tree", start, self._began)

    def _began(self, walking: Walking) -> None:
        walking.tell()
        self.ours.open_walk(walking)

    def go_back(self) -> None:
        self.dismiss()


class WalkPage(Page):
    """The steps of a tree, one at a time."""

    DEEDS: ClassVar[Sequence[Deed]] = WALKING
    BINDINGS = bindings(WALKING)

    def __init__(self, walking: Walking) -> None:
        super().__init__()
        self.walking = walking
        self.numbers = numbered(walking.tree)
        self.question: Question | None = None
        self.skipping = False
        self.said = ""
        self._kept = ""

    # ---- what is shown

    def title_line(self) -> str:
        kind = "Step" if isinstance(self.walking.here, Step) else "Verdict"
        return f"{kind} {self.numbers[self.walking.at]}: {self.walking.session.circuit.title}"

    def paint(self, sheet: Sheet) -> None:
        if self.question:
            write.write_question(sheet, self.question)
            return
        if self.skipping:
            sheet.head("Why not this check?")
            sheet.say("Say why in a few words, then Enter; Enter alone gives no reason. Esc: back to the step.")
            return
        if self.said:
            sheet.say(self.said, "bold")
        here = self.walking.here
        if isinstance(here, Step):
            self._paint_step(sheet, here)
        else:
            self._paint_verdict(sheet)

    def _paint_step(self, sheet: Sheet, step: Step) -> None:
        write.write_check(sheet, self.walking.card(), self.walking.session.state.layout)
        if step.note:
            sheet.gap()
            sheet.labelled("Note", quote(step.note, 200))
        sheet.gap()
        for branch in () if step.check.answers else step.branches:
            sheet.say(f"{branch.words}: to {self.numbers[branch.to]}", STRONG, "- ", "  ")

    def _paint_verdict(self, sheet: Sheet) -> None:
        here = self.walking.here
        assert not isinstance(here, Step)
        found = say_verdict(self.walking.tree, here)
        sheet.head("Verdict")
        sheet.gap()
        sheet.say(found.say, STRONG)
        sheet.gap()
        for words in found.repairs:
            sheet.labelled("Repair", words)
        if found.prove:
            sheet.gap()
            sheet.head("These must be right after the repair")
            for words in found.prove:
                sheet.say(words, "", "- ", "  ")
            for words in found.cautions:
                sheet.labelled("Mind", words)
        sheet.gap()
        if on := self.walking.tells_apart:
            sheet.say(f"{WHICH_IS_IT} {WHICH.key_name} (or {WHICH.word}): the tree tells, from {self.numbers[on]}.")
        sheet.say(f"Enter alone finishes the job. {LIVE.key_name} (or live): the live diagnosis goes on with it.")

    def paint_pane(self, sheet: Sheet) -> None:
        self._paint_pane(sheet, self._pane)

    def paint_aside(self, sheet: Sheet) -> bool:
        self._paint_pane(sheet, self._pane or "way")
        return True

    def _paint_pane(self, sheet: Sheet, pane: str) -> None:
        if pane == "keys":
            self.paint_keys(sheet)
            return
        sheet.head("The way so far")
        for passed in self.walking.way():
            sheet.say(f"{passed.short}: {quote(passed.said)}, so to {self.numbers[passed.to]}", "", "- ", "  ")
        sheet.say(f"Now at {self.numbers[self.walking.at]}. {' '.join(say_scope(self.walking.tree))}")

    def prompt(self) -> str:
        if self.question:
            return "number or value"
        if self.skipping:
            return "why not"
        here = self.walking.here
        if not isinstance(here, Step):
            return ""
        return {"observation": "number or word", "resistance": "ohms", "current": "amps"}.get(
            expects(here.check), "volts"
        )

    # ---- what is typed

    async def given(self, text: str) -> None:
        here = self.walking.here
        if self.skipping:
            self._skip(text)
        elif not isinstance(here, Step):
            self._at_verdict(text)
        elif self.question and text.strip().isdecimal() and 0 < int(text.strip()[:4]) <= len(self.question.candidates):
            which = int(text.strip()) - 1
            self._take(lambda: self.walking.confirm(which))
        else:
            self._read(here, text)

    def _read(self, step: Step, text: str) -> None:
        answer = read_answer(text, expects(step.check), step.check.answers)
        if isinstance(answer, Stop):
            self._stop(answer.why)
        elif isinstance(answer, Skip):
            self._skip(answer.why)
        elif isinstance(answer, Command):
            self.fail(f"{answer.name!r} is asked in the live diagnosis: {LIVE.key_name}, or type live.")
        else:
            self._take(lambda: self.walking.record(text))

    def _at_verdict(self, text: str) -> None:
        here = self.walking.here
        assert not isinstance(here, Step)
        if text.strip():
            self.fail(f"Enter alone finishes; undo takes the last answer back; {LIVE.word} goes on.")
            return
        told = say_verdict(self.walking.tree, here).say
        self.do("writing it down", lambda: self.walking.session.conclude(told), lambda _: self.ours.close_job())

    def _take(self, record: Callable[[], Branch | Question | None]) -> None:
        def took(taken: Branch | Question | None) -> None:
            self.question = taken if isinstance(taken, Question) else None
            self._pane = ""
            if not self.question:
                self.said = f"{taken.words}: to {self.numbers[taken.to]}." if isinstance(taken, Branch) else ""
                self._on()

        self.do("writing it down", record, took)

    def _on(self) -> None:
        """Shows the step that has come, or the live diagnosis."""
        if self.walking.is_live:
            self.ours.show_walk()
        else:
            self.repaint(to_top=True)

    # ---- keys

    def action_undo(self) -> None:
        """Takes the last answer back."""

        def took(gone: str) -> None:
            self.said = f"Taken back: {gone}." if gone else "There is nothing to take back."
            self.question, self._pane = None, ""
            self._on()

        if not self.busy:
            self.do("taking back", self.walking.back, took)

    def action_skip(self) -> None:
        """Asks for the reason; what was typed comes back with Esc."""
        if not self.busy and isinstance(self.walking.here, Step) and not self.skipping:
            self.skipping, self._kept, self._pane = True, self.entry.value, ""
            self.entry.put("")
            self.repaint(to_top=True)

    def _skip(self, why: str) -> None:
        self._stop_skipping("")

        def skip() -> str:
            return self.walking.cannot(" ".join(why.split())[:200])

        self.do("handing over", skip, lambda _: self._on())

    def _stop_skipping(self, text: str) -> None:
        self.skipping, self._kept = False, ""
        self.entry.put(text)

    def action_live(self) -> None:
        """Leaves the tree for the live diagnosis."""
        if not self.busy:
            self.do("handing over", self.walking.go_live, lambda _: self._on())

    def action_which(self) -> None:
        """From a verdict of several to the steps that tell which it is."""

        def on(_: None) -> None:
            self.said, self._pane = "", ""
            self._on()

        if not self.busy:
            self.do("going on", self.walking.tell_apart, on)

    def action_unsafe(self) -> None:
        """Stops at once: the advice first, questions later."""
        self._stop("said with the key for it")

    def _stop(self, why: str) -> None:
        try:
            advice = self.walking.session.stop(why)
        except TroubleshootError as error:
            self.fail(f"Key off and step back. {error}")
            return
        self.ours.show_stopped(advice)

    def go_back(self) -> None:
        if self.skipping:
            self._stop_skipping(self._kept)
        self.question = None
        self.repaint(to_top=True)

    def action_leave(self) -> None:
        """To the first screen; the job is kept."""
        self.ours.close_job()


class LivePage(WorkPage):
    """The live diagnosis of a job that walks a tree: goes back into the tree once it knows where, or when told to."""

    def __init__(self, walking: Walking, ready: Task[Any]) -> None:
        super().__init__(walking.session, ready)
        self.walking = walking
        self.said = f"{walking.why_live} Type tree to go back to it."

    async def given(self, text: str) -> None:
        if text.strip().casefold() != "tree":
            await super().given(text)
            return
        self.do("going back", self.walking.ask_again, lambda _: self._back_to_tree(""))

    def _back_to_tree(self, said: str) -> None:
        if self.walking.is_live:
            self.fail(f"{self.walking.why_live}")
        else:
            self.ours.show_walk(said)

    def _stands(self, standing: Standing | None) -> None:
        if standing and not self.walking.is_live:
            self._back_to_tree("")
        elif standing and self.walking.taken_up():
            self._back_to_tree("What has been found leads back into the tree.")
        else:
            super()._stands(standing)
