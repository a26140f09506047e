"""The circuit as links between spots: a wire, or what is inside of a part between two of its terminals.

A spot is a place where wires end (`part.terminal`). Left of `plan`, which finds each link its place.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass
from functools import cached_property

from troubleshoot.circuit import Circuit
from troubleshoot.draw.symbols import BOXED
from troubleshoot.parts import Wire
from troubleshoot.parts.branch import Branch

REMOTE = frozenset({"remote"})
"""Key states of a remote starter button: a tool, no part of the circuit."""


@dataclass(frozen=True)
class Link:
    """Either a `wire` from spot `a` to spot `b`, or the inside of `part` between them; `inside` names what of it.

    `a` of an inside is where its branch begins: the anode of a diode, the plus of a battery.
    """

    a: str
    b: str
    wire: Wire | None = None
    part: str = ""
    inside: str = ""

    @property
    def name(self) -> str:
        """The wire's name, or part and inside."""
        return self.wire.name if self.wire else f"{self.part}.{self.inside}"


@dataclass(frozen=True)
class Links:
    """All links of a circuit. `boxed` parts have something inside that is no link between two terminals.

    `bare` are the terminals of a part that no wire goes to, where the part is drawn without them.
    """

    links: tuple[Link, ...]
    boxed: frozenset[str]
    bare: dict[str, tuple[str, ...]]

    @cached_property
    def meeting(self) -> Counter[str]:
        """How many links meet at each spot."""
        return Counter(end for link in self.links for end in (link.a, link.b))


def find_links(circuit: Circuit) -> Links:
    """Each wire once and each inside of a part once; what lies in parallel inside of a part is one inside."""
    wires = [Link(wire.start, wire.end, wire) for wire in circuit.wires]
    wired = {end for link in wires for end in (link.a, link.b)}
    insides, boxed = [], set[str]()
    for name, part in circuit.named_parts.items():
        found: dict[frozenset[str], Link] = {}
        for branch in part.anatomy().branches:
            if not branch.fitted or branch.a == branch.b or branch.keys == REMOTE:
                continue
            if circuit.parts[name].kind in BOXED or not {branch.a, branch.b} <= circuit.terminals.keys():
                boxed.add(name)
            found.setdefault(frozenset((branch.a, branch.b)), _inside(name, branch))
        insides += list(found.values())
    ways = Counter(end for link in insides for end in (link.a, link.b))
    empty = {s for s, t in circuit.terminals.items() if s not in wired and ways[s] <= 1 and t.name != "metal"}
    kept, bare = [], defaultdict[str, list[str]](list)
    for spot, terminal in circuit.terminals.items():
        if spot.partition(".")[0] in boxed and spot not in wired:
            bare[spot.partition(".")[0]].append(terminal.name)
    for link in (link for link in insides if link.part not in boxed):
        hangs = [end for end in (link.a, link.b) if end in empty]
        others = [o for o in insides if o.part == link.part and o != link and not {o.a, o.b} & empty]
        if hangs and others:
            bare[link.part] += [end.partition(".")[2] for end in hangs]
        else:
            kept.append(link)
    return Links((*kept, *wires), frozenset(boxed), {part: tuple(names) for part, names in bare.items()})


def _inside(part: str, branch: Branch) -> Link:
    return Link(branch.a, branch.b, None, part, branch.name.removeprefix(f"{part}."))
