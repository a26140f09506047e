"""Whatever one does in whatever order, the state is what replaying the log gives, before and after resuming."""

from __future__ import annotations

import json
import tempfile
from pathlib import Path

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from troubleshoot.circuit.checks import Check
from troubleshoot.session.cards import CheckCard
from troubleshoot.session.session import Session
from troubleshoot.session.state import Entry, replay

ASKED = (
    "relay.86 to battery.neg volts on",
    "relay.30 to battery.neg volts on",
    "relay.85 to battery.neg volts on",
    "click relay",
)
TYPED = {"click relay": ("clicks", "no click")}
VOLTS = ("12.4", "about 12", "0.02", "2 to 8")


class Job(RuleBasedStateMachine):
    """Answers, skips, undoes and resumes one job, beside a plain list of what should count."""

    @initialize()
    def begin(self) -> None:
        self.folder = tempfile.TemporaryDirectory()
        self.session = Session.start("pump-on-ignition-feed", complaint="weak", folder=Path(self.folder.name))
        self.expected: list[Entry] = []

    def check(self, name: str) -> Check:
        return next(check for check in self.session.table.checks if check.id == name)

    @rule(name=st.sampled_from(ASKED), which=st.integers(0, 3))
    def answer(self, name: str, which: int) -> None:
        typed = TYPED.get(name, VOLTS)
        self.session.record(self.check(name), typed[which % len(typed)])
        self.expected.append(self.session.state.entries[-1])

    @rule(name=st.sampled_from(ASKED))
    def skip(self, name: str) -> None:
        self.session.skip(self.check(name), "rain")
        self.expected.append(self.session.state.entries[-1])

    @rule()
    def undo(self) -> None:
        told = self.session.undo()
        assert bool(told) == bool(self.expected)
        if self.expected:
            self.expected.pop()

    @rule()
    def resume(self) -> None:
        before = self.session.next_check()
        self.session.close()
        self.session = Session.resume(self.session.path)
        after = self.session.next_check()
        assert isinstance(after, CheckCard) == isinstance(before, CheckCard)
        assert after == before

    @invariant()
    def the_state_is_what_was_done(self) -> None:
        assert self.session.state.entries == self.expected

    @invariant()
    def the_log_replays_to_the_state(self) -> None:
        lines = self.session.path.read_text(encoding="utf-8").splitlines()
        assert replay(json.loads(line) for line in lines) == self.session.state

    def teardown(self) -> None:
        if hasattr(self, "session"):
            self.session.close()
            self.folder.cleanup()


TestJob = Job.TestCase
TestJob.settings = settings(
    max_examples=6, stateful_step_count=10, deadline=None, suppress_health_check=list(HealthCheck)
)
