"""`find` in plain lines: asks, reads a line, says what it did. Works in any terminal, or by pipe."""

from __future__ import annotations

from collections.abc import Callable
from textwrap import wrap
from typing import Any, NoReturn

from troubleshoot.circuit.complaints import complaints_of
from troubleshoot.errors import TroubleshootError, TypedWrong
from troubleshoot.session.ability import Can, say_limits, told_limits
from troubleshoot.session.cards import CheckCard, Outcome, Question, VerdictCard
from troubleshoot.session.session import Session
from troubleshoot.session.state import expects
from troubleshoot.session.typed import LOOKS
from troubleshoot.units import clean
from troubleshoot.words import say
from troubleshoot.words.answers import Command, Skip, Stop, read_answer

HELP = """\
a number     the reading: 12.4  12,4 V  -12.4  450mV  OL  about 12  2..8 (wanders)
a word       for what you see or hear, one of those offered
RED KEY N    a reading of your own: 86 cranking 0.2, or 30 to 87 on 0.1, or with
             something out: pump plus on pump unplugged 12.4
LOOK PART    something you saw or heard by yourself: lamp pump bright, click relay
             no click
why          why this check, and what each answer would mean
why not PART what would have to be true for a part or wire to be it after all
carries      which answer what leads now hangs on
skip REASON  not this one; "can't reach the pump", "no ohms" hold for the whole job
repaired     after a verdict: it is done; goes on to prove the repair
undo         take the last answer back
suspects     who is in question now          readings   what was read so far
verdict      what it looks like now          quit       leave; --resume goes on
stop REASON  something is unsafe"""

PAGE = 78
"""Columns that are read with ease; a terminal may have fewer."""


class Ended(Exception):  # noqa: N818 - not an error
    """The person left, or the job stopped."""


class Dialogue:
    """One session talked through line by line. `ask` gives a line or raises EOFError; `tell` shows one, of up to
    `columns`, as far as words allow."""

    resume_with = "troubleshoot find --resume"

    def __init__(
        self, session: Session, ask: Callable[[str], str], tell: Callable[[str], None], columns: int = PAGE
    ) -> None:  # fmt: skip
        self.session = session
        self._ask = ask
        self._tell = tell
        self._columns = columns

    def run(self) -> None:
        """From the gate to the verdict, or until the person leaves."""
        try:
            if self.session.torn:
                self._say("The last line of the log was torn and has been dropped; nothing acknowledged is lost.")
            if self.session.state.stopped:
                self._say(f"This job was stopped: {self.session.state.stopped}.")
            if not self.session.state.cleared or self.session.state.stopped:
                self._gate()
            if self.session.state.told is None:
                self._first_questions()
            while self._step():
                pass
        except (Ended, EOFError, KeyboardInterrupt):
            self._tell(f"Kept in {self.session.path}; go on with: {self.resume_with}")

    # ---- before the first check

    def _gate(self) -> None:
        self._say(say.GENERAL_CAUTION)
        for question in say.SAFETY_QUESTIONS:
            if self._yes_no(question):
                self._stop(question)
        self.session.clear_gate()

    def _yes_no(self, question: str) -> bool:
        while True:
            given = self._line(f"{question} [yes/no] ").lower()
            if given in ("y", "yes", "n", "no"):
                return given[0] == "y"
            self._say("Please answer yes or no.")

    def _first_questions(self) -> None:
        self._say("What is the complaint?")
        offered = complaints_of(self.session.circuit)
        names = list(offered)
        for number, name in enumerate(names, 1):
            self._say(f"{number:2} {offered[name]}", "  ")
        while True:
            given = self._line("complaint> ").lower()
            chosen = names[int(given) - 1] if given.isdecimal() and 0 < int(given) <= len(names) else given
            if chosen in offered:
                break
            self._say(f"Please give a number from 1 to {len(names)}.")
        worked = self._one_of("Did it ever work as it is wired now?", ("yes", "no", "unknown"))
        touched = self._line("What was touched last (enter for nothing or unknown)? ")
        present = self._one_of("Is the fault there right now?", ("yes", "no", "unknown"))
        if present == "no":
            self._say("Readings taken while the fault is away say little about it: try to bring it back first "
                      "(warm it up, load it, move the wires).")  # fmt: skip
        helper = self._one_of("Is somebody with you to turn the key (fetch: can be fetched)?", ("yes", "no", "fetch"))
        can = {"helper": helper == "yes", "fetch": helper == "fetch", **dict.fromkeys(self._tools(), True)}
        self.session.tell(chosen, {**can, **self._limits()}, worked, touched, present)

    def _tools(self) -> list[str]:
        """What is at hand beside what most have."""
        asked = Can.asked().items()
        offered = {name: say for name, say in asked if name not in ("helper", "fetch") and not getattr(Can(), name)}
        self._say("What else is at hand?")
        for number, words in enumerate(offered.values(), 1):
            self._say(f"{number:2} {words}", "  ")
        names = list(offered)
        while True:
            given = self._line("numbers, or enter for none> ").replace(",", " ").split()
            if all(word.isdecimal() and 0 < int(word) <= len(names) for word in given):
                return [names[int(word) - 1] for word in given]
            self._say(f"Please give numbers from 1 to {len(names)}, with spaces between, or just enter.")

    def _limits(self) -> dict[str, Any]:
        """What cannot be done or got at, in the person's own words."""
        self._say("What can you not do or get at? In your words, or just enter; like: no ohms, leads too short, no "
                  "MIN/MAX, only a lamp, can't reach the pump, relay is soldered in.")  # fmt: skip
        while True:
            limits, unread = told_limits(self.session.circuit, self._line("can't> "))
            if not unread:
                if limits:
                    self._say(f"Understood: {say_limits(self.session.circuit, limits)}.")
                return limits
            self._say(f"Not understood: {'; '.join(unread)}. Say it again in other words, all of it, or just enter.")

    def _one_of(self, question: str, words: tuple[str, ...]) -> str:
        while True:
            given = self._line(f"{question} [{'/'.join(words)}] ").lower()
            found = [word for word in words if given and word.startswith(given)]
            if len(found) == 1:
                return found[0]
            if not given and "unknown" in words:
                return "unknown"
            self._say(f"Please answer {' or '.join(words)}.")

    # ---- one check

    def _step(self) -> bool:
        """Asks one check and takes its answer; False when it is over."""
        card = self.session.next_check()
        if isinstance(card, VerdictCard):
            self._show_verdict(card)
            return self._after(card)
        self._tell("")
        number = len(self.session.state.entries) + 1
        self._say(f"Check {number}. {card.say}")
        for caution in card.cautions:
            self._say(f"Caution: {caution}", "  ")
        if card.check.answers:
            self._say("Answer: " + ", ".join(f"{i} {a}" for i, a in enumerate(card.check.answers, 1)), "  ")
        elif card.say_healthy:
            self._say(f"Healthy: {card.say_healthy}.", "  ")
        while not self._answer(card):
            pass
        return True

    def _after(self, card: VerdictCard) -> bool:
        """What is asked or told after the verdict; True when the job goes on, False when it is taken as it stands."""
        mended = "When it is repaired: repaired. " if card.names_a_part else ""
        self._say(f"Enter finishes. {mended}Or: why not PART, carries, undo, a reading of your own (86 cranking 0.2).")
        while given := self._ask("verdict> ").strip():
            answer = read_answer(given, "voltage")
            try:
                if isinstance(answer, Stop):
                    self._stop(answer.why)
                if isinstance(answer, Command):
                    if self._command(answer.name, answer.about, card):
                        return True
                elif isinstance(answer, Skip):
                    self._say("There is no check to skip.")
                elif self._took(self.session.record_text(given)):
                    return True
            except TroubleshootError as error:
                self._say(str(error))
        self.session.conclude()
        return False

    def _answer(self, card: CheckCard) -> bool:
        """One line typed at a check; True when the check is done with."""
        given = self._ask("> ")
        answer = read_answer(given, expects(card.check), card.check.answers)
        try:
            if isinstance(answer, Stop):
                self._stop(answer.why)
            if isinstance(answer, Skip):
                taught = self.session.skip(card, answer.why)
                self._say(f"For the rest of this job: {taught}." if taught else "Skipped, this once.", "  ")
                return True
            if isinstance(answer, Command):
                return self._command(answer.name, answer.about, card)
            known_key = any(word in given.lower().split()[1:] for word in ("off", "accessory", "on", "cranking"))
            words = given.lower().split()
            own = known_key or (len(words) > 2 and words[0] in LOOKS)
            outcome = self.session.record_text(given) if own else self.session.record(card, given)
            return self._took(outcome)
        except TroubleshootError as error:
            self._say(str(error))
            return False

    def _asked_back(self, question: Question) -> tuple[str, int | None]:
        """What is said to a question back, and which of its candidates that picks, from 0; None for other words."""
        offered = ", ".join(f"{i} {words}" for i, words in enumerate(question.candidates, 1))
        given = self._line(f"{question.question} [{offered}, or type it anew] ")
        choice = int(given) - 1 if given.isdecimal() and len(given) < 3 else -1
        return given, choice if 0 <= choice < len(question.candidates) else None

    def _took(self, outcome: Outcome | Question) -> bool:
        """Tells what an answer did; asks back what is doubtful. False when nothing was taken."""
        while isinstance(outcome, Question):
            given, choice = self._asked_back(outcome)
            if not given:
                return False
            if choice is not None:
                outcome = self.session.confirm(choice)
            else:
                outcome = self.session.record(self.session.asked_back, given)
        self._say(f"Noted: {outcome.understood}{f' ({outcome.compared})' if outcome.compared else ''}.", "  ")
        if outcome.fell:
            self._say("Ruled out, nearly: " + "; ".join(outcome.fell) + ".", "  ")
        if outcome.rose:
            self._say("More likely now: " + "; ".join(outcome.rose) + ".", "  ")
        for line in (*outcome.silent, *outcome.doubted, *outcome.then):
            self._say(line, "  ")
        return True

    def _command(self, name: str, about: str, card: CheckCard | VerdictCard) -> bool:
        if name == "quit":
            raise Ended
        if name == "undo":
            gone = self.session.undo()
            self._say(f"Taken back: {gone}." if gone else "There is nothing to take back.")
            return bool(gone)
        if name == "why":
            self._show_why(card)
        elif name in ("why not", "carries"):
            for text in (self.session.carries() if name == "carries" else self.session.why_not(about)).lines:
                self._say(text, "  ")
        elif name == "repaired":
            return self._repaired(card)
        elif name == "suspects":
            for line in self.session.suspects():
                self._say(f"{line.probability:6.1%}  {line.say}", "  ")
        elif name == "readings":
            for text in self.session.readings() or ["nothing yet"]:
                self._say(text, "  ")
        elif name == "verdict":
            self._show_verdict(self.session.verdict())
        else:
            self._tell(HELP)
        return False

    def _repaired(self, card: CheckCard | VerdictCard) -> bool:
        """Goes on after a repair; True when there was a verdict to repair by."""
        if not isinstance(card, VerdictCard):
            self._say("There is no verdict yet to repair by.")
            return False
        self._say(say.say_repaired(self.session.repaired()))
        return True

    def _show_why(self, card: CheckCard | VerdictCard) -> None:
        if isinstance(card, VerdictCard):
            for text in card.because:
                self._say(text, "  ")
            return
        self._say(card.why)
        for outcome, faults in card.meanings:
            self._say(f"{outcome}: {'; '.join(faults)}", "  ")

    def _show_verdict(self, card: VerdictCard) -> None:
        self._tell("")
        self._say(f"Verdict: {card.say}")
        if not card.sure:
            for line in card.suspects[:5]:
                self._say(f"{line.probability:6.1%}  {line.say}", "  ")
        for text in card.because:
            self._say(text, "  ")
        for text in card.repair:
            self._say(f"Repair: {text}.", "  ")
        if card.behind:
            self._say("Find out why it failed before a new one goes in:", "  ")
            for cause in card.behind:
                self._say(f"{cause.probability:.0%} {cause.say}. Shown by: {cause.proof}", "    ")
        if card.prove:
            self._say("These readings must be right after the repair:", "  ")
            for text in card.prove:
                self._say(text, "    ")

    # ---- lines

    def _line(self, prompt: str) -> str:
        """A clean line; asks again for what cannot be read. `stop` and `quit` work at every prompt."""
        while True:
            typed = self._ask(prompt)
            meant = read_answer(typed, "voltage")
            if isinstance(meant, Stop):
                self._stop(meant.why)
            if isinstance(meant, Command) and meant.name == "quit":
                raise Ended
            try:
                return clean(typed).strip()
            except TypedWrong as error:
                self._say(str(error))

    def _stop(self, why: str) -> NoReturn:
        self._say(self.session.stop(why))
        raise Ended

    def _say(self, text: str, indent: str = "") -> None:
        for line in wrap(text, self._columns, initial_indent=indent, subsequent_indent=indent + "  ") or [""]:
            self._tell(line)
