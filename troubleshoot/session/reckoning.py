"""What a job's state comes to: the circuit and its predictions, who is in question now, and the check to do next.

All of it is worked out from the state when it is asked for, and kept until `forget` says that the state has changed.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property

import numpy as np

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.circuit import Circuit
from troubleshoot.circuit.cost import Stand
from troubleshoot.circuit.network import Network, wire_up
from troubleshoot.diagnose.belief import Belief
from troubleshoot.diagnose.choose import Choice
from troubleshoot.diagnose.comes_and_goes import chances_told
from troubleshoot.diagnose.evidence import Known, not_yet
from troubleshoot.diagnose.pair_cells import parts_of
from troubleshoot.diagnose.reason import Reasoner
from troubleshoot.diagnose.sign_off import next_after_repair, prior_after_repair
from troubleshoot.diagnose.spare import worth_trying
from troubleshoot.draw import Path, find_paths
from troubleshoot.draw.circuit_line import GaugeUnit
from troubleshoot.errors import Problem, TypedWrong
from troubleshoot.expect.cells import NOT_DESCRIBED, NOTHING_WRONG
from troubleshoot.expect.seen import told_already
from troubleshoot.expect.table import Table
from troubleshoot.session.ability import Can
from troubleshoot.session.kept import circuit_of, guesses_of, reasoner_of, table_of
from troubleshoot.session.log import Event
from troubleshoot.session.prior import prior_after
from troubleshoot.session.reasons import Standpoint
from troubleshoot.session.state import State
from troubleshoot.session.swaps import cured_by, tried_already
from troubleshoot.solve import meter
from troubleshoot.solve.linear import Floats
from troubleshoot.units import quote
from troubleshoot.words import say


class Reckoning:
    """One job's reckoning. `state` is the session's own, which changes as events come in."""

    def __init__(self, started: Event, state: State) -> None:
        self.state = state
        self.circuit_name: str = started["circuit"]
        self._circuit_text: str = started["circuit_text"]
        self._guesses_path: str = started["guesses"]
        self._accuracy_percent: float = started["accuracy_percent"]
        self.guesses = guesses_of(self._guesses_path)
        self._able: tuple[tuple[Can, str], Reasoner] | None = None
        self._paths: dict[GaugeUnit, list[Path]] = {}

    def forget(self, prior: bool = False) -> None:
        """The answers have changed; with `prior`, also what was told or repaired."""
        self.__dict__.pop("_next", None)
        if prior:
            self.__dict__.pop("prior", None)

    # ---- what it reckons with

    @cached_property
    def circuit(self) -> Circuit:
        """The circuit as it was when the job began; read without waiting for the table."""
        return circuit_of(self._circuit_text, self.circuit_name)

    @cached_property
    def network(self) -> Network:
        """The same wired up, for words about it; read without waiting for the table."""
        return wire_up(self.circuit)

    @cached_property
    def table(self) -> Table:
        """Predictions; two seconds of work the first time."""
        return table_of(self._circuit_text, self.circuit_name, self._guesses_path, self._accuracy_percent)

    def paths(self, gauge: GaugeUnit) -> list[Path]:
        """The circuit through load and coil, as lines to draw."""
        if gauge not in self._paths:
            self._paths[gauge] = find_paths(self.table.network, gauge)
        return self._paths[gauge]

    @property
    def reasoner(self) -> Reasoner:
        """Groups and choice for what this person can do, on a job brought with this complaint."""
        able = self.state.can, self.state.complaint
        if self._able is None or self._able[0] != able:
            allowed = able[0].allowed(self.table.network, self.table.checks)
            self._able = able, reasoner_of(self.table, self.guesses, allowed).told(able[1])
        return self._able[1]

    @property
    def stand(self) -> Stand:
        """Where the person is, and whether a second one must be fetched yet."""
        return replace(self.state.stand, fetches=self.state.fetches(self.circuit))

    @cached_property
    def prior(self) -> Floats | None:
        """Priors after the first answers and after what has been repaired, (C + 1,); None before them."""
        prior = prior_after(self.table, self.guesses, self.state.told) if self.state.told else None
        start, done = 0, list[str]()
        for repair in self.state.repairs:
            before = self.state.answers(start, repair.at)
            prior = prior_after_repair(self.table, self.guesses, before, repair.suspects, prior, done)
            done += repair.suspects
            prior[:-1] *= chances_told(self.table, repair.complaint)
            prior, start = prior / prior.sum(), repair.at
        return prior

    @property
    def passed(self) -> frozenset[str]:
        """Checks that are not to be asked now: skipped, told by the complaint already, or waiting for readings."""
        complaint = self.state.complaint
        told = frozenset(check.id for check in self.table.checks if told_already(self.circuit, check, complaint))
        tried = tried_already(self.circuit, self.state)
        return self.state.skipped | told | tried | not_yet(self.reasoner.checks, self.state.evidence)

    @property
    def leads_ohm(self) -> float:
        """What the person takes off an ohms reading."""
        return meter.LEAD_OHM if self.state.can.zeroed else 0.0

    # ---- what comes out

    def weigh(self, evidence: list[Known]) -> Belief:
        """The belief after some answers."""
        return self.reasoner.weigh(evidence, self.prior)

    @cached_property
    def _next(self) -> tuple[Choice | None, Belief]:
        evidence, prior = self.state.evidence, self.prior
        if self.state.repairs and prior is not None:
            return next_after_repair(self.reasoner, evidence, self.stand, self.passed, prior)
        choice, belief = self.reasoner.next_choice(evidence, self.stand, self.passed, prior)
        return choice or worth_trying(self.reasoner, belief, self.stand, self.passed), belief

    @property
    def choice(self) -> Choice | None:
        """The check to do next; None when it is time for the verdict."""
        return self._next[0]

    @property
    def belief(self) -> Belief:
        """The belief that it was chosen on."""
        return self._next[1]

    def cured(self, known: Known) -> dict[str, str]:
        """What the good part that was put in has cured, as the log has it; empty where none was, or nothing."""
        if not known.check.swaps:
            return {}
        evidence = [*self.state.evidence, known]
        choice, belief = self.reasoner.next_choice(evidence, self.stand, self.passed, self.prior)
        return cured_by(belief, known, self.state.complaint, choice is not None)

    def standpoint(self) -> Standpoint:
        """Where the job stands, for questions about the reasoning."""
        return Standpoint(self.reasoner, self.belief, self.prior, self.stand, self.passed, self.say_value)

    def repairable(self, name: str) -> str:
        """The suspect of this name, or the likeliest fault of the part of this name. Raises TypedWrong."""
        chances = dict.fromkeys(self.table.names, 0.0)
        for suspect, p in self.belief.p_fault.items():
            for one in {suspect, *parts_of(suspect)}:
                chances[one] = chances.get(one, 0.0) + p
        broken = chances.keys() - {NOTHING_WRONG.name, NOT_DESCRIBED.name}
        found = [one for one in broken if name in (one, one.rpartition(":")[0])]
        if not found:
            raise TypedWrong(Problem("nothing-repaired", f"{quote(name)} names no part that can be repaired",
                                     "as in the verdict: a part, or part:mode", "suspects"))  # fmt: skip
        return max(found, key=lambda one: (chances[one], one))

    # ---- in words

    def say_fault(self, name: str) -> str:
        """A fault's name as a sentence part."""
        return self.reasoner.fault(name).say

    def say_known(self, known: Known) -> str:
        """An answer as it was understood."""
        if known.choice >= 0:
            return known.check.answers[known.choice]
        ends = [known.value - known.sigma, known.value + known.sigma] if known.wanders else [known.value]
        shown = [float(np.exp(end) - 0.5) if known.check.is_ohms else end for end in ends]
        return " to ".join(self.say_value(known.check, value) for value in shown)

    def say_value(self, check: Check, value: float) -> str:
        """A value, in V or ohm, as this person's meter would show it."""
        return say.say_value(check, max(0.0, value - self.leads_ohm) if check.is_ohms else value)
