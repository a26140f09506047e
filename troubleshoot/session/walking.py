"""A tree walked in a job: where it stands, answers that lead on, and the live diagnosis where the tree cannot.

The log is that of any job, with an event more for each step that the walk comes to; so a walk can be gone on with as a
walk, or as a plain job with the same answers.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from troubleshoot.errors import Problem, TroubleshootError, TypedWrong
from troubleshoot.session.ability import told_limits
from troubleshoot.session.cards import CheckCard, Question
from troubleshoot.session.session import Session, local_now
from troubleshoot.session.state import Entry, expects
from troubleshoot.session.steps import steps_of
from troubleshoot.tree.tree import Branch, Step, Tree, Verdict
from troubleshoot.tree.tree_file import read_tree
from troubleshoot.tree.walk import branch_of, cautions_of, suspects_behind
from troubleshoot.units import quote
from troubleshoot.words import say
from troubleshoot.words.answers import (
    Command,
    Doubtful,
    OverLimit,
    Refused,
    Seen,
    Skip,
    Stop,
    Value,
    Wander,
    read_answer,
)

TAKEN_ON = 0.95
"""Probability of what lies behind one branch from which the tree is taken up again there (invented)."""

LIVE = ""
"""Where a walk has come to that has been handed over to the live diagnosis."""


@dataclass(frozen=True)
class Passed:
    """A step of the way so far: the check in short, what was answered, and where that led."""

    short: str
    said: str
    to: str


class Walking:
    """A tree and the job that it is walked in."""

    def __init__(self, session: Session, tree: Tree) -> None:
        self.session = session
        self.tree = tree
        self._doubt: Doubtful | None = None

    @classmethod
    def start(cls, path: Path, folder: Path | None = None, clock: Callable[[], datetime] = local_now) -> Walking:
        """Begins a job on the circuit of a tree. Raises FileProblems, LogFailed."""
        tree = read_tree(path)
        assert tree.file is not None  # it has just been read from there
        session = Session.start(tree.file.parent / tree.circuit, folder=folder, clock=clock)
        session.lead(tree.first, str(tree.file.absolute()))
        return cls(session, tree)

    @classmethod
    def resume(cls, log: Path, clock: Callable[[], datetime] = local_now) -> Walking:
        """Goes on with a walk where its log ends. Raises what `Session.resume` does, and TypedWrong where the log is of
        no walk, or the tree no longer has the step."""
        session = Session.resume(log, clock)
        try:
            return cls.of(session)
        except TroubleshootError:
            session.close()
            raise

    @classmethod
    def of(cls, session: Session) -> Walking:
        """The walk in a job that is open. Raises TypedWrong where there is none, or the tree no longer has the step,
        and FileProblems where the tree cannot be read."""
        hint, path = "go on with: troubleshoot find --resume", str(session.path)
        if not session.state.led:
            raise TypedWrong(Problem("not-a-walk", "no tree was walked in this job", hint, "", path))
        walking = cls(session, read_tree(Path(session.state.tree)))
        if walking.at not in (*walking.tree.steps, *walking.tree.verdicts):
            told = f"the tree has no step {quote(walking.at)!r} any more"
            raise TypedWrong(Problem("tree-changed", told, hint, "", path))
        return walking

    # ---- where it stands

    @property
    def at(self) -> str:
        """The step or verdict that the tree has come to."""
        return next((led.to for led in reversed(self.session.state.led) if led.to != LIVE), self.tree.first)

    @property
    def here(self) -> Step | Verdict:
        """The same, itself."""
        return self.tree.steps[self.at] if self.at in self.tree.steps else self.tree.verdicts[self.at]

    @property
    def step(self) -> Step:
        """The step that is asked now. Raises TypedWrong at a verdict."""
        here = self.here
        if isinstance(here, Step):
            return here
        raise TypedWrong(Problem("no-step", "the tree has come to its verdict", "back, or live"))

    def card(self) -> CheckCard:
        """The step's check, with all that is said of it."""
        network, check = self.tree.network, self.step.check
        return CheckCard(
            check, say.say_check(network, check), say.say_short(network, check), why=self.step.note,
            cautions=tuple(cautions_of(self.tree, self.step)), healthy=None, cost_s=0.0,
            steps=steps_of(network, check, self.session.state.stand.setup),
        )  # fmt: skip

    @property
    def is_live(self) -> bool:
        """Whether the live diagnosis goes on from here: asked for, or the step's check was not or cannot be done."""
        led, here = self.session.state.led, self.here
        if led and led[-1].to == LIVE:
            return True
        return isinstance(here, Step) and bool(self._tried or not self._can)

    @property
    def _can(self) -> bool:
        here = self.here
        return isinstance(here, Step) and self.session.state.can.allows(self.tree.network, here.check)

    @property
    def _tried(self) -> list[Entry]:
        """Answers, or skips, of the step's check since the walk came to it."""
        state, here = self.session.state, self.here
        since = state.led[-1].at if state.led else 0
        return [e for e in state.entries[since:] if isinstance(here, Step) and e.check.first_id == here.check.id]

    @property
    def why_live(self) -> str:
        """Why the live diagnosis goes on, in words."""
        if self._tried and self._tried[-1].known:
            return "The tree has no branch for such a reading: the live diagnosis goes on with it."
        if self._tried:
            return "The tree ends where a check is not done: the live diagnosis goes on with what is known."
        if self.session.state.led and self.session.state.led[-1].to == LIVE:
            return "The live diagnosis goes on with what is known."
        return "The tree asks next for what you cannot do: the live diagnosis goes on with what is known."

    def way(self) -> list[Passed]:
        """The steps of the tree so far, each with what was answered."""
        state, passed = self.session.state, list[Passed]()
        for before, led in zip(state.led, state.led[1:], strict=False):
            stepped_back = led.to in self.tree.verdicts and self.tree.verdicts[led.to].tell_apart == before.to
            if before.to in self.tree.steps and led.at > 0 and led.to != LIVE and not stepped_back:
                check = self.tree.steps[before.to].check
                said = [e.text for e in state.entries[: led.at] if e.known and e.check.first_id == check.id]
                passed.append(Passed(say.say_short(self.tree.network, check), said[-1] if said else "", led.to))
        return passed

    # ---- going on

    def tell(self) -> None:
        """What the tree takes as told: the complaint that it starts after, and what its person can do."""
        can = dict[str, object]()
        for words in self.tree.can:
            can |= told_limits(self.session.circuit, words)[0]
        self.session.tell(self.tree.after or "unsure", can)

    def record(self, text: str) -> Branch | Question | None:
        """Takes what was typed for the step's check: the branch that it takes, None where the tree has none for it, or
        a question where the words may mean something else (answer it with `confirm`). Raises TypedWrong, with a hint,
        for what cannot be understood; nothing is lost then."""
        step = self.step
        answer = read_answer(text, expects(step.check), step.check.answers)
        if isinstance(answer, Doubtful):
            self._doubt = answer
            said = ("OL" if isinstance(c, OverLimit) else say.say_value(step.check, c.value) for c in answer.candidates)
            return Question(answer.question, tuple(said))
        if isinstance(answer, Refused):
            raise TypedWrong(Problem("not-understood", answer.message, answer.hint))
        if isinstance(answer, Skip | Stop | Command):
            raise TypedWrong(Problem("not-an-answer", "these words are not an answer to the check"))
        return self._take(answer, text)

    def confirm(self, which: int) -> Branch | None:
        """Takes candidate `which` of the question that `record` asked back."""
        if self._doubt is None or not 0 <= which < len(self._doubt.candidates):
            raise TypedWrong(Problem("nothing-asked", "there is no such question to confirm"))
        meant = self._doubt.candidates[which]
        return self._take(meant, "OL" if isinstance(meant, OverLimit) else say.say_value(self.step.check, meant.value))

    def _take(self, answer: Value | OverLimit | Wander | Seen, text: str) -> Branch | None:
        step, self._doubt = self.step, None
        self.session.keep(step.check, answer, text)
        branch = branch_of(step, answer)
        if branch:
            self.session.lead(branch.to)
            self._lead_on()
        return branch

    def cannot(self, why: str) -> str:
        """The step's check is not done. Returns what the reason taught, in words; "" for nothing."""
        return self.session.skip(self.step.check, why)

    def go_live(self) -> None:
        """Hands over to the live diagnosis."""
        self.session.lead(LIVE)

    @property
    def tells_apart(self) -> str:
        """The step that tells the suspects of the verdict apart that the walk has come to; "" where there is none."""
        here = self.here
        return here.tell_apart if isinstance(here, Verdict) else ""

    def tell_apart(self) -> None:
        """Goes on from a verdict with what tells its suspects apart. Raises TypedWrong where nothing does."""
        if not self.tells_apart:
            where = "this verdict" if isinstance(self.here, Verdict) else "a verdict here: it has come to none yet"
            raise TypedWrong(Problem("nothing-further", f"the tree has no steps behind {where}"))
        self.session.lead(self.tells_apart)
        self._lead_on()

    def ask_again(self) -> None:
        """Comes back to the tree, at the step where it was left."""
        self.session.lead(self.at)
        self._lead_on()

    def back(self) -> str:
        """Takes the last answer, or what was not done, back, or goes back to the verdict whose suspects are being told
        apart, where that was asked for since. Returns what, "" where there is nothing."""
        state = self.session.state
        since = [led.to for led in state.led if led.at == len(state.entries)]
        for verdict, step in zip(since[-2::-1], since[:0:-1], strict=True):
            if verdict in self.tree.verdicts and self.tree.verdicts[verdict].tell_apart == step and verdict != self.at:
                self.session.lead(verdict)
                return "which of them it is"
        return self.session.undo()

    def taken_up(self) -> str:
        """Where the live diagnosis has found out which branch of the step is right: the walk goes on there. Returns the
        step or verdict, "" where it is not known yet, or where the person chose to leave the tree."""
        here, chances = self.here, self.session.p_fault
        if not isinstance(here, Step) or self.session.state.led[-1].to == LIVE:
            return ""
        for branch in here.branches:
            if sum(chances.get(name, 0.0) for name in suspects_behind(self.tree, branch.to)) >= TAKEN_ON:
                self.session.lead(branch.to)
                self._lead_on()
                return self.at
        return ""

    def _lead_on(self) -> None:
        """Past steps whose check has been answered on another way already."""
        while isinstance(here := self.here, Step):
            known = [e for e in self.session.state.entries if e.known and e.check.first_id == here.check.id]
            answer = read_answer(known[-1].text, expects(here.check), here.check.answers) if known else None
            branch = branch_of(here, answer) if isinstance(answer, Value | OverLimit | Wander | Seen) else None
            if branch is None or isinstance(answer, Doubtful):
                return
            self.session.lead(branch.to)
