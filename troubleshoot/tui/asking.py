"""The screen of the first questions, one at a time, while the table is worked out behind it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import ClassVar, cast

from troubleshoot.errors import TroubleshootError
from troubleshoot.session.session import Session
from troubleshoot.tui.choice import find_option
from troubleshoot.tui.deeds import ASKING, Deed, bindings
from troubleshoot.tui.page import Page
from troubleshoot.tui.questions import NO_LAYOUT, Asked, first_questions, gate_questions, told_of
from troubleshoot.tui.sheet import Sheet


class AskingPage(Page):
    """Asks, writes the answers into the session, then calls `done`."""

    DEEDS: ClassVar[Sequence[Deed]] = ASKING
    BINDINGS = bindings(ASKING)

    def __init__(self, session: Session, done: Callable[[], None], stopped: Callable[[str], None]) -> None:
        super().__init__()
        self.session = session
        self.done = done
        self.stopped = stopped
        state = session.state
        gate = [] if state.cleared and not state.stopped else gate_questions()
        self.questions = gate + ([] if state.told else first_questions(session.circuit))
        self.at = 0
        self.marked = 0
        self.answers: dict[str, tuple[str, ...]] = {}
        self.on_now: set[str] = set()
        if self.questions:
            self._begin_question()

    @property
    def asked(self) -> Asked:
        """The question now."""
        return self.questions[self.at]

    def _begin_question(self) -> None:
        before = self.answers.get(self.asked.id)
        self.marked = self.asked.marked
        self.on_now = set(self.asked.at_first if before is None else before)
        if before and self.asked.kind in ("one", "gate"):
            values = [option.value for option in self.asked.options]
            self.marked = values.index(before[0])

    def title_line(self) -> str:
        kind = "Safety first" if self.asked.kind == "gate" else "Before the first check"
        return f"{kind}: {self.at + 1} of {len(self.questions)}"

    def paint(self, sheet: Sheet) -> None:
        asked = self.asked
        sheet.head(asked.text)
        if asked.note and sheet.roomy:
            sheet.say(asked.note)
        sheet.gap()
        chosen = [o.value in self.on_now for o in asked.options] if asked.kind == "many" else None
        # with boxes, Enter goes on and takes no marked one
        marked = -1 if asked.kind == "many" else self.marked
        sheet.choices([(option.say, option.detail) for option in asked.options], marked, chosen)
        if asked.note and not sheet.roomy:  # the answers first where not all is in sight
            sheet.say(asked.note)

    def prompt(self) -> str:
        kind = self.asked.kind
        if kind == "words":
            return "words, or Enter"
        return "number, or Enter to go on" if kind == "many" else "number, or Enter" if self.marked >= 0 else "number"

    def moved(self, step: int) -> None:
        if self.asked.kind in ("one", "gate"):
            self.marked = max(self.marked, -1 if step > 0 else 0) + step
            self.marked %= len(self.asked.options)
            self.repaint()
        else:
            super().moved(step)

    async def given(self, text: str) -> None:
        asked = self.asked
        if asked.kind == "words":
            self._answered((" ".join(text.split())[:200],))
        elif asked.kind == "many":
            self._switch(text)
        else:
            found = find_option(asked.options, text, self.marked)
            if found is None:
                self.fail(f"Type a number from 1 to {len(asked.options)}, or the beginning of the words.")
                return
            option = asked.options[found]
            if asked.kind == "gate" and option.value == "yes":
                self._stop(asked.text)
                return
            self._answered((option.value,))

    def _switch(self, text: str) -> None:
        """Numbers switch options on and off; nothing typed goes on."""
        if not text.strip():
            self._answered(tuple(o.value for o in self.asked.options if o.value in self.on_now))
            return
        found = [find_option(self.asked.options, word, 0) for word in text.replace(",", " ").split()]
        if None in found:
            self.fail(f"Type one or more numbers from 1 to {len(self.asked.options)}, or Enter to go on.")
            return
        for index in cast("list[int]", found):
            self.on_now ^= {self.asked.options[index].value}
        self.repaint()

    def _answered(self, answer: tuple[str, ...]) -> None:
        self.answers[self.asked.id] = answer
        if self.at + 1 < len(self.questions):
            self.at += 1
            self._begin_question()
            self.repaint(to_top=True)
        else:
            self.do("writing it down", self._write, lambda _: self.done())

    def _write(self) -> None:
        """Everything at once, when all is answered: a question can be gone back to until then."""
        state = self.session.state
        if not state.cleared or state.stopped:
            self.session.clear_gate()
        if state.told is None:
            name, layout = self.answers["name"][0], self.answers.get("layout", (NO_LAYOUT,))[0]
            self.session.note(name=name, layout="" if layout == NO_LAYOUT else layout)
            self.session.tell(**told_of(self.answers))  # type: ignore[arg-type]

    def _stop(self, why: str) -> None:
        try:
            advice = self.session.stop(why)
        except TroubleshootError as error:
            self.fail(str(error))
            return
        self.stopped(advice)

    def action_unsafe(self) -> None:
        """Something is unsafe, whatever was being asked."""
        self._stop(f"unsafe, said at: {self.asked.text}")

    def go_back(self) -> None:
        if self.at == 0:
            self.ours.close_job()
            return
        self.at -= 1
        self.entry.put("")
        self._begin_question()
        self.repaint(to_top=True)

    def action_leave(self) -> None:
        self.ours.close_job()
