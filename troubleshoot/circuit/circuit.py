"""The circuit as its file describes it: parts, wires, key states. Knows nothing of files or solving."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property
from typing import Annotated, Literal, NamedTuple

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

from troubleshoot.parts import AnyPart, Battery, Fuse, GroundBolt, Load, Metal, Part, Wire
from troubleshoot.parts.branch import Terminal
from troubleshoot.units import PositiveOhmsMeasure, quote

KEYS = ("off", "accessory", "on", "cranking", "running")
"""Key states in the order in which the key passes through them."""

SAY_KEY = {
    "off": "key off",
    "accessory": "key at accessory",
    "on": "key on, engine not turning",
    "cranking": "key held at start, engine cranking",
    "running": "engine running",
}


Filled = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1)]


class StartPrevented(BaseModel):
    """How the engine is kept from starting while one cranks for a reading: it is part of the circuit."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    by: Filled = Field(description="What to do, in words.")
    unplug: str = Field(description="The load or fuse that this takes out of the circuit.")


class Doubt(NamedTuple):
    """Something wrong in a circuit that no single field shows; `path` leads to it in the file."""

    path: tuple[str | int, ...]
    code: str
    message: str
    hint: str


class Circuit(BaseModel):
    """The wiring as built."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    format: Literal[1]
    title: Filled
    feeds: Filled = Field(description="What the relay feeds, as one would call it.")
    applies: str = Field(default="", description="When this circuit is the right one to choose.")
    scenario: str = Field(default="", description="Where the values come from; 'invented' for demo data.")
    joint: PositiveOhmsMeasure = Field(description="A ring or clamp on a stud, where the wire does not say its own.")
    start_prevented: StartPrevented
    parts: dict[str, AnyPart]
    wires: tuple[Wire, ...]

    @cached_property
    def named_parts(self) -> dict[str, Part]:
        """The parts, each told the name that it has in the file."""
        return {name: part.named(name) for name, part in self.parts.items()}

    @cached_property
    def battery(self) -> str:
        """The name of the battery part; its `neg` post is the reference."""
        return next(name for name, part in self.parts.items() if isinstance(part, Battery))

    @cached_property
    def terminals(self) -> dict[str, Terminal]:
        """Every place where a wire may end, by `part.terminal`."""
        return {
            f"{name}.{terminal.name}": terminal
            for name, part in self.named_parts.items()
            for terminal in part.anatomy().terminals
        }

    def doubts(self) -> Iterator[Doubt]:
        """All that does not fit together. The circuit may be wired up once this is empty."""
        yield from self._doubtful_parts()
        yield from self._doubtful_wires()
        yield from self._doubtful_whole()

    def _doubtful_parts(self) -> Iterator[Doubt]:
        batteries = [name for name, part in self.parts.items() if isinstance(part, Battery)]
        if len(batteries) != 1:
            told = " and ".join(batteries) or "none"
            yield Doubt(("parts",), "one-battery", f"a circuit has one battery, found {told}",
                        "leave exactly one part of kind battery")  # fmt: skip
        metals = [name for name, part in self.parts.items() if isinstance(part, Metal)]
        for name, part in self.parts.items():
            if not name.replace("_", "").isalnum():
                yield Doubt(("parts", name), "bad-name", f"the name '{quote(name)}' is not usable",
                            "letters, digits and _ only")  # fmt: skip
            for field in ("case", "to"):
                metal = getattr(part, field, "")
                if metal and metal not in metals:
                    yield Doubt(("parts", name, field), "unknown-part", f"there is no metal part '{quote(metal)}'",
                                f"one of: {', '.join(metals) or 'add a part of kind metal'}")  # fmt: skip
        yield from self._doubtful_unplug()

    def _doubtful_unplug(self) -> Iterator[Doubt]:
        """What is unplugged to prevent the start is no part that one looks for the fault in."""
        name, path = self.start_prevented.unplug, ("start_prevented", "unplug")
        may = [each for each, part in self.parts.items() if isinstance(part, (Load, Fuse))]
        hint = f"a load or a fuse: {', '.join(may) or 'add the one that you unplug to the parts'}"
        if name not in self.parts:
            yield Doubt(path, "unknown-part", f"there is no part '{quote(name)}'", hint)
        elif name not in may:
            kind = self.parts[name].kind.replace("_", " ")
            yield Doubt(path, "wrong-part", f"a {kind} is not unplugged to prevent the start", hint)

    def _doubtful_wires(self) -> Iterator[Doubt]:
        seen: set[str] = set()
        holds: dict[str, str] = {}  # which wire is in each contact of a plug or socket
        for index, wire in enumerate(self.wires):
            if not wire.name:
                yield Doubt(("wires", index), "no-name", "this wire has no name", "name: what it is for")
            if wire.name in seen or wire.name in self.parts:
                yield Doubt(("wires", index, "name"), "duplicate-name",
                            f"the name '{quote(wire.name)}' is used twice",
                            "give each part and wire its own")  # fmt: skip
            seen.add(wire.name)
            for field, end in (("from", wire.start), ("to", wire.end)):
                yield from self._doubtful_end(("wires", index, field), end)
                if end in holds and wire.start != wire.end:
                    yield Doubt(("wires", index, field), "crowded-contact",
                                f"{end} already holds '{quote(holds[end])}', and a socket contact takes one wire",
                                "splice them at a stud or bolt, and run one wire from there")  # fmt: skip
                if end in self.terminals and self.terminals[end].kind == "socket":
                    holds.setdefault(end, wire.name)
            if wire.start == wire.end:
                yield Doubt(("wires", index, "to"), "loop", f"this wire runs from {wire.start} to itself",
                            "name two different terminals")  # fmt: skip

    def _doubtful_end(self, path: tuple[str | int, ...], end: str) -> Iterator[Doubt]:
        if end in self.terminals:
            return
        name, _, terminal = end.partition(".")
        if name not in self.parts:
            yield Doubt(path, "unknown-part", f"there is no part '{quote(name)}'", f"one of: {', '.join(self.parts)}")
        else:
            known = [t.name for t in self.named_parts[name].anatomy().terminals]
            yield Doubt(path, "unknown-terminal", f"{name} has no terminal '{quote(terminal)}'",
                        f"write part.terminal with one of: {', '.join(known)}")  # fmt: skip

    def _doubtful_whole(self) -> Iterator[Doubt]:
        """Floating parts, and a battery joined post to post by nothing but wire."""
        if any(True for _ in self._doubtful_parts()) or any(True for _ in self._doubtful_wires()):
            return
        reference = f"{self.battery}.neg"
        ends = [(wire.start, wire.end) for wire in self.wires]
        bonds = [(branch.a, branch.b) for part in self.named_parts.values() for branch in part.anatomy().branches]
        bolts = [(f"{n}.stud", f"{p.to}.metal") for n, p in self.parts.items() if isinstance(p, GroundBolt)]
        near_ground = _reached(reference, ends + bolts)
        if f"{self.battery}.pos" in near_ground:
            yield Doubt(("wires",), "source-loop",
                        f"wires alone join {self.battery}.pos to {self.battery}.neg: a dead short",
                        "a load or a switch belongs between the two posts")  # fmt: skip
        joined = _reached(reference, ends + bonds)
        for name, part in self.named_parts.items():
            spots = [f"{name}.{terminal.name}" for terminal in part.anatomy().terminals]
            if not any(spot in joined for spot in spots):
                yield Doubt(("parts", name), "floating-part", f"no wire leads to {name}",
                            f"wire one of {', '.join(spots)}, or leave the part out")  # fmt: skip


def _reached(start: str, ends: list[tuple[str, str]]) -> set[str]:
    """All nodes joined to `start` by the given pairs."""
    reached = {start}
    grew = True
    while grew:
        grew = False
        for a, b in ends:
            if (a in reached) != (b in reached):
                reached |= {a, b}
                grew = True
    return reached
