"""Writing a circuit down by answering questions: the one object that plain text and the screens both drive.

Every answer is on disk in a draft before it is acknowledged, so that a draft can be gone on with. Nothing here knows
how it is shown.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from pathlib import Path

from troubleshoot.circuit.network import Network, wire_up
from troubleshoot.errors import FileProblems, Problem, TypedWrong
from troubleshoot.expect.finding import Finding
from troubleshoot.expect.review import review
from troubleshoot.files.circuit_file import load_circuit, parse_circuit
from troubleshoot.files.tell import shown_path
from troubleshoot.session.builder_answers import fits, read_value, say_value
from troubleshoot.session.builder_questions import Question, questions
from troubleshoot.session.builder_wiring import write_circuit
from troubleshoot.session.drafts import DRAFTS, replay_draft
from troubleshoot.session.log import Event, Log, LogFailed


@dataclass(frozen=True)
class Made:
    """What a whole set of answers comes to: the file's text, what was guessed, the circuit, and what is said of it."""

    text: str
    guesses: tuple[str, ...]
    network: Network
    findings: tuple[Finding, ...]


def local_now() -> datetime:
    """The clock that drafts are named by."""
    return datetime.now().astimezone()


class Builder:
    """Answers in, a circuit file out."""

    def __init__(self, log: Log, events: list[Event]) -> None:
        self._log = log
        self.torn = log.torn
        self._events = events
        self._told = replay_draft(events)

    @classmethod
    def start(cls, folder: Path, clock: Callable[[], datetime] = local_now) -> Builder:
        """A new draft in a folder of jobs. Raises LogFailed."""
        now = clock()
        event: Event = {"event": "began", "draft": 1, "at": now.isoformat(timespec="seconds")}
        path = folder / DRAFTS
        try:
            path.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise LogFailed(Problem("log-failed", error.strerror or str(error), "", "", str(path))) from None
        for number in range(1, 1000):
            name = f"{now:%Y%m%d-%H%M%S}" + (f"-{number}" if number > 1 else "")
            if not (path / f"{name}.jsonl").exists():
                break
        log = Log(path / f"{name}.jsonl", create=True)
        log.append(event)
        return cls(log, [event])

    @classmethod
    def resume(cls, path: Path) -> Builder:
        """Goes on with a draft. Raises LogFailed."""
        log = Log(path, create=False)
        try:
            events = log.read()
            if not events or events[0].get("draft") != 1:
                told = Problem("no-draft", "this file is no draft of a circuit", "begin anew: troubleshoot describe")
                raise LogFailed(told)
            return cls(log, events)
        except (LogFailed, OSError):
            log.close()
            raise

    @property
    def path(self) -> Path:
        """The draft."""
        return self._log.path

    def close(self) -> None:
        """Lets go of the draft; it is kept."""
        self._log.close()

    # ---- questions and answers

    @property
    def asked(self) -> list[Question]:
        """All questions that follow from the answers so far, answered or not."""
        told: dict[str, str] = {}
        found = []
        for _ in range(100):  # each answer may bring further questions
            found = list(questions(told))
            more = {q.id: self._told[q.id] for q in found if q.id not in told and self._is_told(q)}
            if not more:
                break
            told |= more
        return found

    @property
    def told(self) -> dict[str, str]:
        """The answers that count: those of questions that still follow from the others."""
        return {q.id: self._told[q.id] for q in self.asked if self._is_told(q)}

    @property
    def question(self) -> Question | None:
        """The next question; None when all is answered."""
        return next((q for q in self.asked if not self._is_told(q)), None)

    @property
    def answers(self) -> list[tuple[Question, str]]:
        """What was asked and answered, in the order of asking, answers in words."""
        return [(q, say_value(q, self._told[q.id])) for q in self.asked if self._is_told(q)]

    def answer(self, text: str) -> str:
        """Takes what was typed at the question; returns it in words. Raises TypedWrong, LogFailed."""
        question = self.question
        if question is None:
            raise TypedWrong(Problem("all-answered", "all is answered already"))
        value = read_value(question, text)
        self._put({"event": "answered", "question": question.id, "value": value})
        return say_value(question, value)

    def back(self) -> Question | None:
        """Takes the last answer back; the question that is asked anew, None where there is nothing."""
        answered = [q for q in self.asked if self._is_told(q)]
        waiting = self.question
        if waiting:  # after a change the question now may stand amid answered ones
            before = self.asked[: self.asked.index(waiting)]
            answered = [q for q in before if self._is_told(q)]
        return self.change(answered[-1].id) if answered else None

    def change(self, name: str) -> Question:
        """Takes one answer back, so that its question comes next. Raises TypedWrong, LogFailed."""
        found = next((q for q in self.asked if q.id == name and self._is_told(q)), None)
        if found is None:
            raise TypedWrong(Problem("no-such-answer", "there is no such answer to change"))
        self._put({"event": "taken-back", "question": name})
        return found

    def _is_told(self, question: Question) -> bool:
        return question.id in self._told and fits(question, self._told[question.id])

    def _put(self, event: Event) -> None:
        self._log.append(event)
        self._events.append(event)
        self._told = replay_draft(self._events)

    # ---- the circuit

    def made(self) -> Made:
        """What the answers come to. Raises TypedWrong while a question is open."""
        if self.question:
            raise TypedWrong(Problem("not-all-answered", f"not answered yet: {self.question.text}"))
        return _make(tuple(sorted(self.told.items())))

    @property
    def name(self) -> str:
        """A folder's name, from the title."""
        plain = "".join(c if c.isascii() and c.isalnum() else "-" for c in self._told.get("title", "").lower())
        return "-".join(piece for piece in plain.split("-") if piece) or "my-circuit"

    def write(self, folder: Path) -> Path:
        """Writes `circuit.yaml` into a folder (made if need be), never over one that is there. Raises TypedWrong."""
        made, path = self.made(), folder / "circuit.yaml"
        try:
            folder.mkdir(parents=True, exist_ok=True)
            with path.open("x", encoding="utf-8") as file:
                file.write(made.text)
        except FileExistsError:
            told = Problem("file-there", f"{shown_path(path)} is there already", "name another folder")
            raise TypedWrong(told) from None
        except (OSError, ValueError) as error:
            reason = (getattr(error, "strerror", "") or "its name is no file name").lower()
            told = Problem("not-written", f"{shown_path(path)}: {reason}", "name a folder that is open to you")
            raise TypedWrong(told) from None
        load_circuit(path)
        self._put({"event": "written", "path": str(path)})
        return path


@lru_cache(maxsize=4)
def _make(told: tuple[tuple[str, str], ...]) -> Made:
    written = write_circuit(dict(told))
    try:
        network = wire_up(parse_circuit(written.text, "the circuit written down"))
    except FileProblems as error:
        if {problem.code for problem in error.problems} != {"floating-part"}:
            raise
        alone = ", ".join(problem.where.rpartition(".")[2].replace("_", " ") for problem in error.problems)
        message = f"as told, no wire joins this to the battery: {alone}"
        raise TypedWrong(Problem("not-joined", message, "change where its wires go")) from None
    return Made(written.text, written.guesses, network, tuple(review(network)))
