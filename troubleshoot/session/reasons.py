"""Why, in words: what an answer moved, what a verdict hangs on, what would have to be true for another suspect, and
why to stop. The reckoning is `diagnose/overturn.py` and `diagnose/stop.py`; here it becomes sentences."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.cost import Stand
from troubleshoot.diagnose.belief import Belief
from troubleshoot.diagnose.choose import Choice, pick
from troubleshoot.diagnose.comes_and_goes import for_heat
from troubleshoot.diagnose.evidence import Known
from troubleshoot.diagnose.explain import Move
from troubleshoot.diagnose.overturn import WhatIf, carriers, faults_meant, weakest, what_if
from troubleshoot.diagnose.reason import SURE, Reasoner
from troubleshoot.diagnose.stop import stake
from troubleshoot.errors import Problem, TypedWrong
from troubleshoot.solve.linear import Floats
from troubleshoot.units import quote
from troubleshoot.words import say
from troubleshoot.words.chances import say_chance, say_duration

WORTH_SAYING = 0.01
"""Probability from which it is said that the file may not be like the car (invented)."""

TELLS = 1e-4
"""Nats under which a check tells nothing to speak of (invented)."""

MOST_TOLD = 3
"""Answers that are named as carrying a verdict, the heaviest."""


@dataclass(frozen=True)
class Why:
    """An answer to a question about the reasoning: sentences, and the same as plain data."""

    lines: tuple[str, ...]
    data: dict[str, Any]

    def as_data(self) -> dict[str, Any]:
        """The `why` object of the JSON dialogue."""
        return {"type": "why", "say": list(self.lines), **self.data}


@dataclass(frozen=True)
class Standpoint:
    """Where the job stands, as far as a why needs it; `single` and `single_prior` are without pairs of faults."""

    single: Reasoner
    belief: Belief
    single_prior: Floats | None
    stand: Stand
    skipped: frozenset[str]
    say_value: Callable[[Check, float], str]

    @cached_property
    def _grounds(self) -> tuple[Reasoner, Floats | None]:
        """The reasoner that the belief is of, and the prior that goes with its table."""
        single, prior = self.single, self.single_prior
        if self.belief.table is single.table:
            return single, prior
        wider = single.widened(single.weigh(self.belief.evidence, prior), prior)
        return (single.over(self.belief), wider[1]) if wider else (single, prior)

    @property
    def reasoner(self) -> Reasoner:
        """The one that the belief is of."""
        return self._grounds[0]

    @property
    def prior(self) -> Floats | None:
        """What goes with its table."""
        return self._grounds[1]

    # ---- the pieces

    def fault(self, name: str) -> str:
        """A fault as a sentence part."""
        return self.reasoner.fault(name).say

    def known(self, known: Known) -> str:
        """An answer with the check that it was given to: "86 of the pump relay to ... (key on) = 12.4 V"."""
        short = say.say_short(self.belief.table.network, known.check)
        if known.choice >= 0:
            return f"{short} {known.check.answers[known.choice]}"
        value = float(np.exp(known.value) - 0.5) if known.check.is_ohms else known.value
        return f"{short} = {self.say_value(known.check, value)}"

    def _shown(self, check: Check, value: float) -> str:
        return check.answers[int(value)] if check.kind == "observation" else self.say_value(check, value)

    # ---- what carries it

    def carries(self) -> Why:
        """Which answer the verdict hangs on."""
        lead = self.reasoner.ranked_groups(self.belief)[0]
        first = self.fault(lead.faults[0])
        found = carriers(self.reasoner, self.belief, self.prior)
        data: dict[str, Any] = {"carriers": [
            {"check": c.known.check.id, "leader": c.leader, "probability": round(c.probability, 4),
             "left": round(c.before, 4)} for c in found]}  # fmt: skip
        if found:
            some = found[:MOST_TOLD]
            return Why(tuple(self._say_carrier(c.known, c.leader, c.probability, c.before, first) for c in some), data)
        least = weakest(self.reasoner, self.belief, self.prior)
        if least is None:
            return Why(
                ("Nothing has been answered yet: it rests on the complaint, and on how often things fail.",), data
            )
        return Why((
            f"No single answer carries it: take any one away and this still leads: {first}. "
            f"It would miss this one most: {self.known(least[0])}; {say_chance(least[1])} without it.",
        ), data)  # fmt: skip

    def _say_carrier(self, known: Known, leader: str, p: float, left: float, first: str) -> str:
        if self.fault(leader) == first:
            return f"It hangs on this: {self.known(known)}. Without it, {first} would be at {say_chance(left)} only."
        return (
            f"It hangs on this: {self.known(known)}. Without it this would lead: {self.fault(leader)} "
            f"({say_chance(p)}); and {first} would be at {say_chance(left)}."
        )

    # ---- why not another

    def why_not(self, words: str) -> Why:
        """What would have to be true for what `words` name to be it after all. Raises TypedWrong."""
        names = faults_meant(self.belief.table, words)
        if not names:
            raise TypedWrong(Problem("no-such-suspect", f"no suspect is called {quote(words)}",
                                     "name a part or a wire as the checks do, like: why not relay"))  # fmt: skip
        found = what_if(self.reasoner, self.belief, names, self.prior, self.stand, self.skipped)
        data: dict[str, Any] = {
            "suspects": list(found.faults), "probability": round(found.probability, 6), "leads": found.leads,
            "wrong": [{"check": known.check.id, "how": how} for known, how in found.wrong],
            "without": round(found.without, 6), "check": found.teller.check.id if found.teller else "",
        }  # fmt: skip
        return Why(tuple(self._say_what_if(found)), data)

    def _say_what_if(self, found: WhatIf) -> list[str]:
        first = self.fault(self.reasoner.ranked_groups(self.belief)[0].faults[0])
        modes = "; or ".join(self.fault(name) for name in found.faults[:3])
        if found.leads:
            how = "It is what leads" if found.probability >= 0.5 else "It is among the likeliest now"
            return [f"{how}: {modes} ({say_chance(found.probability)})."]
        lines = [f"Now at {say_chance(found.probability)}. If it were that: {modes}."]
        if found.wrong:
            lines.append(self._say_wrong(found))
        elif self.belief.evidence:
            lines.append(f"No answer speaks strongly against it; it only explains them less well than this: {first}.")
        if found.teller:
            check, so, other = found.teller.check, found.teller.if_so, found.teller.if_not
            lines.append(
                f"What would tell: {say.say_short(self.belief.table.network, check)}, about "
                f"{say_duration(found.teller.seconds)}: {self._shown(check, so)} if it were that, "
                f"{self._shown(check, other)} if it is this: {first}."
            )
        else:
            lines.append(f"Nothing that you can still do here tells it from this: {first}.")
        return lines

    def _say_wrong(self, found: WhatIf) -> str:
        told = "; ".join(f"{self.known(known)} ({how}?)" for known, how in found.wrong)
        count = len(found.wrong)
        many = "one answer" if count == 1 else f"{('two', 'three', 'four')[count - 2]} answers"
        aside = "it" if count == 1 else "them"
        only = "only " if found.without < 0.1 else ""
        return (
            f"For that, {many} would have to be wrong: {told}. Without {aside} it would stand at {only}"
            f"{say_chance(found.without)}."
        )

    # ---- why stop, or why not yet

    def stopping(self, ahead: Choice | None) -> str:
        """Why the verdict comes now, with the numbers; or what the next check, `ahead`, is good for."""
        at = stake(self.reasoner.table, self.reasoner.guesses, self.reasoner.group_of, self.belief)
        lead = at.p_lead
        loses = ""
        if at.wrong_s:
            loses = f"; a wrong repair here would lose about {say_duration(at.wrong_s)}, so " \
                    f"{say_duration(at.at_stake_s)} are at stake"  # fmt: skip
        chance = say_chance(lead)
        stands = f"{chance[0].upper()}{chance[1:]} for this, {say_chance(1 - lead)} for all else together{loses}."
        if ahead:
            much = "; no verdict hangs on one answer" if lead >= SURE else ""
            return f"{stands} The next check takes about {say_duration(ahead.seconds)}{much}."
        beyond = float(self.belief.p_cell[-1])
        if (
            beyond > max(WORTH_SAYING, (1 - lead) / 2)
            and self.reasoner.leader(self.belief) != self.reasoner.group_of[-1]
        ):
            return (
                f"{stands} Most of the rest ({say_chance(beyond)}) is that the file is not like the car, which no "
                "check of it can settle."
            )
        left = self._best_left()
        if left is None:
            return f"{stands} No check that is left would tell more."
        check = say.say_short(self.belief.table.network, left.check)
        settles = f"some {at.settles(left):.0%}" if at.settles(left) >= 0.01 else "next to nothing"
        return (
            f"{stands} The best check left ({check}) would take about {say_duration(left.seconds)} and settle "
            f"{settles} of what is open: not worth its time."
        )

    def _best_left(self) -> Choice | None:
        done = {known.check.id for known in self.belief.evidence} | self.skipped
        allowed = [check for check in self.reasoner.checks if check.id not in done and not for_heat(check)]
        if not allowed:
            return None
        return pick(self.belief, self.reasoner.group_of, allowed, self.reasoner.guesses, self.stand, TELLS)


def say_moves(moves: Sequence[Move], say_fault: Callable[[str], str], most: int) -> tuple[str, ...]:
    """What moved, in numbers; those that moved alike are told as one with their count."""
    alike: dict[tuple[str, str], list[Move]] = {}
    for move in moves:
        alike.setdefault((say_chance(move.before), say_chance(move.after)), []).append(move)
    told = []
    for (before, after), same in list(alike.items())[:most]:
        others = f", and {len(same) - 1} more like it, each" if len(same) > 1 else ""
        told.append(f"{say_fault(same[0].fault)}{others} ({before} -> {after})")
    return tuple(told)
