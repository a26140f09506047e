"""A closer look at a tree: what would tell the faults apart that share a verdict, and find those that it misses."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from troubleshoot.circuit.check_list import list_checks
from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.cost import Stand, cost_s
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.solve.linear import Ints
from troubleshoot.tree.apart import Asked, groups_apart
from troubleshoot.tree.findings import Finding
from troubleshoot.tree.sampled import Sampled, again
from troubleshoot.tree.tree import Tree
from troubleshoot.tree.ways import Way, is_right

LOOKED = 24
"""Cars of each fault at most with which it is asked what would tell it from those that share its verdict."""

MISSED_SHARE = 0.5
"""A fault of which this share of the cars comes to a verdict that does not name it is one that a tree cannot find."""

FEWEST = 10
"""Cars of a fault that must have come to a verdict for it to be looked at there."""


def worth_asking(tree: Tree, guesses: Guesses, allowed: Collection[str] | None) -> list[Check]:
    """What might tell more, the quickest first: all that may be asked at any time, but for good parts put in."""
    circuit, costs = tree.network.circuit, guesses.costs
    some = [
        c for c in list_checks(tree.network) if (allowed is None or c.id in allowed) and not c.after and not c.swaps
    ]
    return sorted(some, key=lambda check: cost_s(circuit, costs, Stand(), check))


@dataclass(frozen=True)
class Closer:
    """Asks the cars all that one could ask, where a verdict has those of several faults."""

    tree: Tree
    ways: Sequence[Way]
    checks: Sequence[Check]
    looked: int

    def found(self) -> Iterator[Finding]:
        """Verdicts that hold what a check tells apart, and faults not found with the check that would find them."""
        lost = self._lost()
        came: list[tuple[str, Sampled]] = []
        for verdict, ways in self._ends().items():
            some = list(self._some(ways))
            came += [(verdict, each) for each in some] if len({each.fault for each in some}) > 1 else []
        cars = again(self.tree.network, [each for _, each in came])
        asked = Asked(cars, self.checks)
        for verdict in dict.fromkeys(verdict for verdict, _ in came):
            mine = [i for i, (end, _) in enumerate(came) if end == verdict]
            places = {fault: np.array([i for i in mine if cars[i].fault == fault])
                      for fault in dict.fromkeys(cars[i].fault for i in mine)}  # fmt: skip
            yield from self._wide(verdict, asked, places)
            yield from self._not_found(verdict, asked, places, [f for f, v in lost.items() if v == verdict])

    def _ends(self) -> dict[str, list[Way]]:
        """The ways to each verdict."""
        ends: dict[str, list[Way]] = {}
        for way in self.ways:
            if way.verdict:
                ends.setdefault(way.verdict, []).append(way)
        return ends

    def _lost(self) -> dict[str, str]:
        """Faults that the tree cannot find, and the verdict that most of their cars come to instead."""
        by_fault: dict[str, list[Way]] = {}
        for way in self.ways:
            by_fault.setdefault(way.sampled.fault, []).append(way)
        found = {}
        for fault, ways in by_fault.items():
            wrong = [way for way in ways if not is_right(self.tree, way)]
            if len(wrong) >= MISSED_SHARE * len(ways):
                found[fault] = Counter(way.verdict for way in wrong).most_common(1)[0][0]
        return found

    def _some(self, ways: Sequence[Way]) -> Iterator[Sampled]:
        """So many cars of each fault that comes to a verdict, evenly out of those that came."""
        by_fault: dict[str, list[Sampled]] = {}
        for way in ways:
            by_fault.setdefault(way.sampled.fault, []).append(way.sampled)
        for came in by_fault.values():
            count = min(self.looked, len(came))
            yield from (came[i * len(came) // count] for i in range(count))

    def _wide(self, verdict: str, asked: Asked, places: Mapping[str, Ints]) -> Iterator[Finding]:
        """A verdict whose suspects some check tells apart."""
        named = {f: at for f, at in places.items() if f in self.tree.verdicts[verdict].suspects and at.size >= FEWEST}
        groups, told = groups_apart(asked, named)
        for group in groups[1:]:
            pair = next(((pair, check) for pair, check in told.items()
                         if len({*pair} & set(groups[0])) == 1 and len({*pair} & set(group)) == 1), None)  # fmt: skip
            if pair:
                what = f"{', '.join(group)} and {', '.join(groups[0])} end here together"
                yield Finding("holds-more", f"verdicts.{verdict}", f"{what}; '{pair[1].id}' tells "
                              f"{' from '.join(pair[0])}", "ask that before")  # fmt: skip

    def _not_found(
        self, verdict: str, asked: Asked, places: Mapping[str, Ints], lost: Sequence[str]
    ) -> Iterator[Finding]:  # fmt: skip
        """Faults that end here and should not, with the check that would find them."""
        others = [at for fault, at in places.items() if fault in self.tree.verdicts[verdict].suspects]
        for fault in lost:
            what = f"{fault} ends here and is not found"
            if not others or fault not in places or not places[fault].size:
                yield Finding("not-found", f"verdicts.{verdict}", what, "name it here")
                continue
            check, error = asked.nearest(places[fault], np.concatenate(others))
            hint = f"'{check.id}' would find it: wrong in {error:.0%} of the cars" if error < 0.4 else "name it here"
            yield Finding("not-found", f"verdicts.{verdict}", what, hint)
