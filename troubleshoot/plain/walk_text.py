"""`tree walk` in plain lines: the steps of a tree, asked and answered as in `find`, and the live diagnosis between."""

from __future__ import annotations

import re
from collections.abc import Callable

from troubleshoot.errors import TroubleshootError
from troubleshoot.plain.dialogue import PAGE, Dialogue, Ended
from troubleshoot.session.cards import Question
from troubleshoot.session.state import expects
from troubleshoot.session.walking import Walking
from troubleshoot.tree.tree import Branch, Step, Verdict
from troubleshoot.tree.walk import WHICH_IS_IT, numbered, say_scope, say_verdict
from troubleshoot.units import quote
from troubleshoot.words.answers import Command, Skip, Stop, read_answer

HELP = """\
a number     the reading: 12.4  12,4 V  -12.4  450mV  OL  about 12  2..8 (wanders)
a word       for what you see or hear, one of those offered
back         take the last answer back
can't        you can't do this one, and why: the live diagnosis goes on from there
way          the way so far            tree   back from the live diagnosis to the tree
live         leave the tree for the live diagnosis, with what is known
which        at a verdict of several: go on to the steps that tell which it is
quit         leave                     stop REASON   something is unsafe"""
_CANNOT = re.compile(r"(?:i )?can'?t(?:\s+do\s+(?:this|it)(?:\s+one)?)?\b(?!\s+tell)[\s:,.;!-]*(.*)", re.IGNORECASE)
_OWN_WORDS = ("way", "live", "tree", "which")


class _Back(Exception):  # noqa: N818 - not an error
    """Back from the live diagnosis to the tree."""


class WalkDialogue(Dialogue):
    """A tree walked line by line; `ask`, `tell` and `columns` are as in any dialogue."""

    resume_with = "troubleshoot tree walk --resume"

    def __init__(
        self, walking: Walking, ask: Callable[[str], str], tell: Callable[[str], None], columns: int = PAGE
    ) -> None:  # fmt: skip
        super().__init__(walking.session, self._heard, tell, columns)
        self._typed = ask
        self.walking = walking
        self._numbers = numbered(walking.tree)
        self._was_live = False

    def _first_questions(self) -> None:
        tree = self.walking.tree
        self._say(f"{tree.network.circuit.title}. {' '.join(say_scope(tree))}")
        self._say("At any step: back, can't (and why), way, live, stop, ? for help.")
        self.walking.tell()

    def _step(self) -> bool:
        """One step of the tree, or one check of the live diagnosis; False when it is over."""
        here = self.walking.here
        if not self.walking.is_live:
            self._was_live = False
            return self._one_step(here) if isinstance(here, Step) else self._verdict(here)
        if not self._was_live:
            self._say(self.walking.why_live)
            self._was_live = True
        entries = len(self.session.state.entries)
        try:
            going = super()._step()
        except _Back:
            self.walking.ask_again()
            return True
        more = going and self.walking.is_live and len(self.session.state.entries) > entries
        if more and (name := self.walking.taken_up()):
            self._say(f"What has been found leads back into the tree, to {self._numbers[name]}.")
        return going

    # ---- a step of the tree

    def _one_step(self, step: Step) -> bool:
        card = self.walking.card()
        self._tell("")
        self._say(f"Step {self._numbers[step.name]}. {card.say}")
        if step.note:
            self._say(f"Note: {quote(step.note, 200)}", "  ")
        for caution in card.cautions:
            self._say(f"Caution: {caution}", "  ")
        if step.check.answers:
            self._say("Answer: " + ", ".join(f"{i} {a}" for i, a in enumerate(step.check.answers, 1)), "  ")
        for branch in () if step.check.answers else step.branches:
            self._say(f"{branch.words}: go to {self._numbers[branch.to]}", "  ")
        while not self._took_step(step, self._ask("> ")):
            pass
        return True

    def _took_step(self, step: Step, given: str) -> bool:
        """One line typed at a step; True when it leads on, or back."""
        if cannot := _CANNOT.fullmatch(given.strip().replace("’", "'")):
            given = f"skip {cannot[1]}"
        answer = read_answer(given, expects(step.check), step.check.answers)
        try:
            if self._own_word(given):
                return self.walking.is_live
            if isinstance(answer, Stop):
                self._stop(answer.why)
            if isinstance(answer, Skip):
                if taught := self.walking.cannot(answer.why):
                    self._say(f"For the rest of this job: {taught}.", "  ")
                return True
            if isinstance(answer, Command):
                return self._walk_command(answer.name)
            return self._led(self.walking.record(given))
        except TroubleshootError as error:
            self._say(str(error))
            return False

    def _led(self, taken: Branch | Question | None) -> bool:
        """Tells where an answer leads; asks back what is doubtful. False when nothing was taken."""
        while isinstance(taken, Question):
            given, choice = self._asked_back(taken)
            if not given:
                return False
            taken = self.walking.record(given) if choice is None else self.walking.confirm(choice)
        if taken:
            self._tell(f"  {taken.words}: go to {self._numbers[taken.to]}.")
        return True

    def _walk_command(self, name: str) -> bool:
        """A wish other than answering; True when it leads away from the step."""
        if name == "quit":
            raise Ended
        if name == "undo":
            gone = self.walking.back()
            self._say(f"Taken back: {gone}." if gone else "There is nothing to take back.")
            return bool(gone)
        if name in ("readings", "why"):
            self._way()
        else:
            self._tell(HELP)
        return False

    def _own_word(self, given: str) -> bool:
        """Whether it was a word that only a walk knows; it has been done then. Raises TypedWrong where it cannot be."""
        word = given.strip().casefold().rstrip(" .!?")
        if word not in _OWN_WORDS:
            return False
        if word == "way":
            self._way()
        elif word == "live":
            self.walking.go_live()
        elif word == "which":
            self.walking.tell_apart()
        else:
            self.walking.ask_again()
        return True

    def _way(self) -> None:
        for passed in self.walking.way():
            self._say(f"{passed.short}: {quote(passed.said)}, so to {self._numbers[passed.to]}", "  ")
        self._say(f"Now at {self._numbers[self.walking.at]}.", "  ")

    # ---- between, and at the end

    def _heard(self, prompt: str) -> str:
        """A line typed; while the live diagnosis goes on, the words that only a walk knows are done here."""
        while True:
            given = self._typed(prompt)
            word = given.strip().casefold().rstrip(" .!?")
            if not self._was_live or word not in ("way", "tree"):
                return given
            if word == "tree":
                raise _Back
            self._way()

    def _verdict(self, verdict: Verdict) -> bool:
        """Shows the tree's verdict; True when the job goes on."""
        found = say_verdict(self.walking.tree, verdict)
        self._tell("")
        self._say(f"Verdict {self._numbers[verdict.name]}. {found.say}")
        for words in found.repairs:
            self._say(f"Repair: {words}.", "  ")
        if found.prove:
            self._say("These must be right after the repair:", "  ")
            for words in found.prove:
                self._say(words, "    ")
            for words in found.cautions:
                self._say(f"Caution: {words}", "    ")
        if on := self.walking.tells_apart:
            self._say(f"{WHICH_IS_IT} Type which: the tree tells, from {self._numbers[on]}.", "  ")
        self._say("Enter finishes. Or: back, way, live (goes on with the live diagnosis).")
        while given := self._ask("verdict> ").strip():
            try:
                is_own = self._own_word(given)
            except TroubleshootError as error:
                self._say(str(error))
                continue
            if is_own:
                if self.walking.is_live or self.walking.here != verdict:
                    return True
                continue
            answer = read_answer(given, "voltage")
            if isinstance(answer, Stop):
                self._stop(answer.why)
            if not isinstance(answer, Command):
                self._say("Enter finishes; back takes the last answer back; live goes on.")
            elif self._walk_command(answer.name):
                return True
        self.session.conclude(found.say)
        return False
