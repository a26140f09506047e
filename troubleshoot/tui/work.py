"""The working screen: what to do now, one entry for every kind of answer, and everything else one key away."""

from __future__ import annotations

import asyncio
from asyncio import Task
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any, ClassVar

from troubleshoot.errors import TroubleshootError
from troubleshoot.session.cards import CheckCard, Outcome, Question, VerdictCard
from troubleshoot.session.reasons import Why
from troubleshoot.session.session import Session
from troubleshoot.session.state import expects
from troubleshoot.session.typed import key_words
from troubleshoot.tui import check_text as write
from troubleshoot.tui.deeds import WORKING, Deed, bindings
from troubleshoot.tui.page import Page
from troubleshoot.tui.panes import Standing, standing_of, write_pane, write_typed
from troubleshoot.tui.sheet import Sheet
from troubleshoot.words.answers import Command, Refused, Skip, Stop, read_answer
from troubleshoot.words.say import say_repaired


class WorkPage(Page):
    """A job from the first check to the verdict."""

    DEEDS: ClassVar[Sequence[Deed]] = WORKING
    BINDINGS = bindings(WORKING)

    def __init__(self, session: Session, ready: Task[Any]) -> None:
        super().__init__()
        self.session = session
        self.ready = ready
        self.standing: Standing | None = None
        self.question: Question | None = None
        self.outcome: tuple[Outcome, str] | None = None
        self.advice = ""
        self.said = "The last line of the log was torn and has been dropped; nothing acknowledged is lost."
        self.said = self.said if session.torn else ""
        self.skipping = False
        self._kept = ""  # what was typed when the entry was needed for something else

    def on_mount(self) -> None:
        super().on_mount()
        self.run_worker(self._prepare(), exclusive=True)

    async def _prepare(self) -> None:
        """Waits for the table, which may still be in the making, then shows the first check."""
        self.busy, self._busy_s = "working out every suspect's readings, Esc leaves:", 0.0
        self.repaint()
        await asyncio.shield(self.ready)
        self.busy = ""
        self._refetch()

    # ---- what is shown

    def title_line(self) -> str:
        name = self.session.state.name or self.session.circuit.title
        if self.advice:
            return f"STOPPED: {name}"
        if self._pane and not self.is_wide:
            return f"Esc: back to the check - {name}"
        if self.standing and isinstance(self.standing.card, VerdictCard):
            return f"Verdict: {name}"
        # counted by what is shown: the session may be a step ahead, in its thread
        return f"Check {len(self.standing.readings) + 1}: {name}" if self.standing else name

    def paint(self, sheet: Sheet) -> None:
        if self.advice:
            write.write_stopped(sheet, self.advice)
        elif self.question:
            write.write_question(sheet, self.question)
        elif self.standing is None:
            self._paint_waiting(sheet)
        elif self.skipping:
            sheet.head("Why not this check?")
            sheet.say("Say why in a few words, then Enter; Enter alone gives no reason. Esc: back to the check.")
        else:
            self._paint_now(sheet, self.standing.card)

    def _paint_waiting(self, sheet: Sheet) -> None:
        sheet.head("Working out what a meter would show")
        sheet.gap()
        sheet.say("For every suspect and every setup of this circuit. The first check comes in a few seconds.")

    def _paint_now(self, sheet: Sheet, card: CheckCard | VerdictCard) -> None:
        if self.said:
            sheet.say(self.said, "bold")
        if isinstance(card, CheckCard):
            write.write_check(sheet, card, self.session.state.layout)
        else:
            write.write_verdict(sheet, card)
            sheet.gap()
            mended = "Once it is mended, type repaired to prove it. " if card.names_a_part else ""
            sheet.say(f"Enter alone finishes the job. {mended}A reading of your own (86 cranking 0.2) or undo goes on "
                      "with it.")  # fmt: skip
        if self.outcome:
            write.write_outcome(sheet, *self.outcome)

    def paint_pane(self, sheet: Sheet) -> None:
        self._paint_pane(sheet, self._pane)

    def paint_aside(self, sheet: Sheet) -> bool:
        self._paint_pane(sheet, self._pane or "suspects")
        if not self._pane and self.standing:
            sheet.gap()
            write.write_readings(sheet, self.standing.readings)
        return True

    def _paint_pane(self, sheet: Sheet, pane: str) -> None:
        if pane == "keys":
            self.paint_keys(sheet)
        elif self.standing is None:
            sheet.say("Not known yet: still working out the readings.")
        else:
            write_pane(sheet, pane, self.standing)

    def paint_keys(self, sheet: Sheet) -> None:
        super().paint_keys(sheet)
        write_typed(sheet, self.session.state.notes)

    def prompt(self) -> str:
        if self.advice:
            return "go on, or Enter to leave"
        if self.question:
            return "number or value"
        if self.skipping:
            return "why not"
        card = self.standing.card if self.standing else None
        if not isinstance(card, CheckCard):
            return ""
        if card.check.kind == "observation":
            return "number or word"
        return "ohms" if card.check.is_ohms else "millivolts (or V)" if card.check.function == "millivolts" else "volts"

    # ---- what is typed

    async def given(self, text: str) -> None:
        if self.advice:
            await self._given_when_stopped(text)
        elif self.standing is None:
            self.fail("The first check is not there yet; your words are kept.")
        elif self.skipping:
            self._skip(text)
        elif text.strip().casefold().startswith("note "):
            self._note(text.strip()[5:])
        elif self.question and self._confirms(text):
            which = int(text.strip()) - 1
            self._answer(lambda: self.session.confirm(which))
        else:
            self.question = None
            self._read(text)

    def _confirms(self, text: str) -> bool:
        given = text.strip()
        return bool(self.question) and given.isascii() and given.isdecimal() and 0 < int(given[:4]) <= len(
            self.question.candidates if self.question else ()
        )  # fmt: skip

    def _read(self, text: str) -> None:
        """An answer to the check, one of one's own, or one of the other forms."""
        card = self.standing.card if self.standing else None
        if isinstance(card, VerdictCard) and not text.strip():
            self.do("writing it down", self.session.conclude, lambda _: self.ours.close_job())
            return
        check = card.check if isinstance(card, CheckCard) else None
        answer = read_answer(text, expects(check) if check else "voltage", check.answers if check else ())
        if isinstance(answer, Stop):
            self._stop(answer.why)
        elif isinstance(answer, Command) and answer.name in ("why not", "carries"):
            self._ask_why(answer)
        elif isinstance(answer, Command) and answer.name == "repaired":
            self._repaired()
        elif isinstance(answer, Command):
            self.fail(f"Type {answer.name!r} alone, or press its key (F1).")
        elif isinstance(answer, Skip):
            self._skip(answer.why)
        elif check is None or self._is_own_reading(text):
            self._answer(lambda: self.session.record_text(text))
        elif isinstance(answer, Refused):
            self.fail(f"{answer.message} ({answer.hint})")
        else:
            self._answer(lambda: self.session.record(check, text))

    def _repaired(self) -> None:
        """Goes on after a repair, to prove it and to find what the fault has hidden."""
        if not self.standing or not isinstance(self.standing.card, VerdictCard):
            self.fail("There is no verdict yet to repair by.")
            return
        self._change("going on after the repair", lambda: say_repaired(self.session.repaired()))

    def _ask_why(self, asked: Command) -> None:
        """What a verdict hangs on, or what would have to be true for another suspect: in a pane of its own."""

        def took(told: Why) -> None:
            if self.standing:
                self.standing, self._pane = replace(self.standing, told=told), "told"

        carries = asked.name == "carries"
        self.do("thinking back", lambda: self.session.carries() if carries else self.session.why_not(asked.about), took)

    def _is_own_reading(self, text: str) -> bool:
        return any(word in key_words(self.session.circuit) for word in text.casefold().split()[1:])

    def _answer(self, record: Callable[[], Outcome | Question]) -> None:
        """Records in a thread; on disk before the screen says so."""
        gauge = self.ours.settings.gauge

        def job() -> tuple[Outcome | Question, Standing | None]:
            outcome = record()
            return outcome, None if isinstance(outcome, Question) else standing_of(self.session, gauge)

        self.do("weighing", job, self._took)

    def _took(self, result: tuple[Outcome | Question, Standing | None]) -> None:
        outcome, standing = result
        self._pane = self.said = ""
        if isinstance(outcome, Question):
            self.question = outcome
            return
        self.question = None
        self.outcome = (outcome, standing.readings[-1].short if standing else "")
        self._stands(standing)

    def _refetch(self, said: str = "") -> None:
        """The standing anew."""
        gauge = self.ours.settings.gauge

        def took(standing: Standing) -> None:
            self.said = said or self.said
            self._stands(standing)

        self.do("choosing the check", lambda: standing_of(self.session, gauge), took)

    def _change(self, words: str, change: Callable[[], str]) -> None:
        """Something other than an answer that moves the job; `change` says what it did."""
        gauge = self.ours.settings.gauge

        def job() -> tuple[str, Standing]:
            said = change()
            return said, standing_of(self.session, gauge)

        def took(result: tuple[str, Standing]) -> None:
            self.said, standing = result
            self.outcome, self.question, self._pane = None, None, ""
            self._stands(standing)

        self.do(words, job, took)

    def _stands(self, standing: Standing | None) -> None:
        """Shows it; what takes long of a verdict is worked out while the verdict is being read."""
        self.standing = standing
        if standing and standing.verdict:
            verdict = standing.verdict
            self.do("thinking back", lambda: verdict.further, lambda _: None)

    # ---- keys

    def action_look(self, pane: str) -> None:
        """Opens a pane, or closes it. Two are worked out only now: not beside the session's own work."""
        if pane in ("why", "verdict") and self.busy and self.standing and self._pane != pane:
            self.fail("Still at work; press it again in a moment.")
            return
        if pane == "verdict" and self.standing and not self.standing.verdict:
            verdict = self.session.verdict()
            _ = verdict.further
            self.standing = replace(self.standing, verdict=verdict)
        super().action_look(pane)

    def action_undo(self) -> None:
        """Takes the last answer back; what is typed stays."""
        if self._is_idle():

            def undo() -> str:
                gone = self.session.undo()
                return f"Taken back: {gone}." if gone else "There is nothing to take back."

            self._change("taking back", undo)

    def action_skip(self) -> None:
        """Asks for the reason; what was typed comes back with Esc."""
        if self._is_idle() and self.standing and isinstance(self.standing.card, CheckCard) and not self.skipping:
            self.skipping, self._kept, self._pane = True, self.entry.value, ""
            self.entry.put("")
            self.repaint(to_top=True)

    def _skip(self, why: str) -> None:
        card = self.standing.card if self.standing else None
        self._stop_skipping("")
        if not isinstance(card, CheckCard):
            self.fail("There is no check to skip.")
            return

        def skip() -> str:
            taught = self.session.skip(card, " ".join(why.split())[:200])
            return f"For the rest of this job: {taught}." if taught else f"Skipped: {card.short}."

        self._change("skipping", skip)

    def _stop_skipping(self, text: str) -> None:
        self.skipping, self._kept = False, ""
        self.entry.put(text)

    def _note(self, text: str) -> None:
        try:
            self.session.note(" ".join(text.split()))
        except TroubleshootError as error:
            self.fail(str(error))
            return
        self.said = "The note is kept (F1 shows the notes)."
        self.repaint(to_top=True)

    def action_unsafe(self) -> None:
        """Stops at once: the advice first, questions later."""
        if self.busy and self.standing is not None:
            self.fail("Key off and step back now. The last answer is being written; press F8 again in a moment.")
            return
        self._stop("said with the key for it")

    def _stop(self, why: str) -> None:
        try:
            self.advice = self.session.stop(why)
        except TroubleshootError as error:
            self.fail(f"Key off and step back. {error}")
            return
        self.entry.put("")
        self._pane, self.question, self.skipping = "", None, False
        self.repaint(to_top=True)

    async def _given_when_stopped(self, text: str) -> None:
        said = text.strip().casefold()
        if said == "go on":
            self.ours.open_session(self.session, replace=True)
        elif not said:
            self.ours.close_job()
        else:
            self._note(text)

    def _is_idle(self) -> bool:
        """Whether the session is free; says so when it is not."""
        if self.advice:
            return False
        if self.busy or self.standing is None:
            self.fail("Still at work; press it again in a moment.")
            return False
        return True

    def action_back(self) -> None:
        if self.skipping:
            self._stop_skipping(self._kept)
            self.repaint(to_top=True)
        elif self.question and not self._pane:
            self.question = None
            self.repaint(to_top=True)
        else:
            super().action_back()

    def go_back(self) -> None:
        """Esc with nothing open leaves only while the table is in the making; the job is not left by a slip."""
        if self.standing is None:
            self.ours.close_job()

    def action_leave(self) -> None:
        """To the first screen; the job is kept."""
        if self.busy and self.standing is not None:
            self.fail("The last answer is being written; press F10 again in a moment.")
            return
        self.ours.close_job()
