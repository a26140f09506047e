"""The circuit as its file describes it: parts, wires, key states. Knows nothing of files or solving."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property
from typing import Annotated, Literal, NamedTuple

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

from troubleshoot.parts import (
    AnyPart,
    Battery,
    Controller,
    Fuse,
    GroundBolt,
    IgnitionSwitch,
    Load,
    Metal,
    Part,
    Relay,
    Starter,
    Supply,
    Switch,
    Wire,
)
from troubleshoot.parts.branch import Terminal, Works
from troubleshoot.parts.keys import KEYS, SAY_KEY
from troubleshoot.units import PositiveOhmsMeasure, quote

__all__ = ["KEYS", "SAY_KEY", "Circuit", "Doubt", "StartPrevented", "Working"]

Filled = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1)]


class StartPrevented(BaseModel):
    """How the engine is kept from starting while one cranks for a reading: it is part of the circuit."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    by: Filled = Field(description="What to do, in words.")
    unplug: str = Field(description="The load or fuse that this takes out of the circuit.")


class Working(BaseModel):
    """When the load should work: the key state, and the switches that one operates for it."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    key: Literal["off", "accessory", "prime", "on", "cranking"] = Field(
        default="on", description="The first key state in which it should work."
    )
    operate: tuple[str, ...] = Field(default=(), description="Switches pressed, switched on or made hot.")


class Doubt(NamedTuple):
    """Something wrong in a circuit that no single field shows; `path` leads to it in the file."""

    path: tuple[str | int, ...]
    code: str
    message: str
    hint: str


class Circuit(BaseModel):
    """The wiring as built."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    format: Literal[2] = Field(description="The version of this form of writing.")
    title: Filled = Field(description="What one would call this circuit.")
    feeds: Filled = Field(description="What the relay feeds, as one would call it.")
    applies: str = Field(default="", description="When this circuit is the right one to choose.")
    scenario: str = Field(default="", description="Where the values come from; 'invented' for demo data.")
    joint: PositiveOhmsMeasure = Field(description="A ring or clamp on a stud, where the wire does not say its own.")
    start_prevented: StartPrevented | None = Field(default=None, description="Wanted where there is a starter.")
    works: Working = Field(default_factory=Working, description="When the load should work.")
    parts: dict[str, AnyPart] = Field(description="By a name of letters, digits and _.")
    wires: tuple[Wire, ...] = Field(description="Each from one terminal to another.")

    @cached_property
    def named_parts(self) -> dict[str, Part]:
        """The parts, each told the name that it has in the file."""
        return {name: part.named(name) for name, part in self.parts.items()}

    @cached_property
    def battery(self) -> str:
        """The name of the battery part; its `neg` post is the reference."""
        return next(name for name, part in self.parts.items() if isinstance(part, Battery | Supply))

    @cached_property
    def loads(self) -> dict[str, Works]:
        """What one wants to work, by part, and how one tells that it does."""
        works = {name: part.anatomy().works for name, part in self.named_parts.items()}
        return {name: how for name, how in works.items() if how}

    @cached_property
    def relays(self) -> tuple[str, ...]:
        """The names of the relays."""
        return tuple(name for name, part in self.parts.items() if isinstance(part, Relay))

    @cached_property
    def keys(self) -> tuple[str, ...]:
        """The key states that this circuit has, in the order of KEYS."""
        kinds = {type(part) for part in self.parts.values()}
        primes = any(isinstance(part, Controller) and part.prime for part in self.parts.values())
        has = {"off"} | ({"accessory", "on"} if IgnitionSwitch in kinds else set())
        has |= {"prime"} if primes and IgnitionSwitch in kinds else set()
        has |= {"cranking", "running", "remote"} if {IgnitionSwitch, Starter} <= kinds else set()
        return tuple(key for key in KEYS if key in has)

    @cached_property
    def unplugged_to_crank(self) -> frozenset[str]:
        """What is taken out so that the engine does not start."""
        return frozenset({self.start_prevented.unplug}) if self.start_prevented else frozenset()

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
        batteries = [name for name, part in self.parts.items() if isinstance(part, Battery | Supply)]
        if len(batteries) != 1:
            told = " and ".join(batteries) or "none"
            yield Doubt(("parts",), "one-battery", f"a circuit has one battery, found {told}",
                        "leave exactly one part of kind battery (or supply)")  # fmt: skip
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
        yield from self._doubtful_working()

    def _doubtful_working(self) -> Iterator[Doubt]:
        """There is a load, the key can be brought where it should work, and what is operated can be."""
        if not self.loads:
            yield Doubt(("parts",), "no-load", "there is nothing here that should work",
                        "add a part of kind pump, fan, horn or lamp")  # fmt: skip
        if self.works.key not in self.keys:
            lacks = {"prime": "no controller that primes", "cranking": "no starter with an ignition_switch"}
            why = lacks.get(self.works.key, "no ignition_switch")
            has = ", ".join(key for key in self.keys if key not in ("running", "remote"))
            yield Doubt(("works", "key"), "no-key-state", f"this circuit has {why}, so never '{self.works.key}'",
                        f"one of: {has}")  # fmt: skip
        may = [name for name, part in self.parts.items() if isinstance(part, Switch) and part.is_operated]
        hint = f"one of: {', '.join(may) or 'add a switch of style toggle, button or thermal'}"
        for index, name in enumerate(self.works.operate):
            if name in self.works.operate[:index]:
                yield Doubt(
                    ("works", "operate", index), "duplicate-name", f"'{quote(name)}' is named twice", "once is enough"
                )
            if name not in may:
                told = f"'{quote(name)}' is no switch that one operates"
                yield Doubt(("works", "operate", index), "unknown-part", told, hint)

    def _doubtful_unplug(self) -> Iterator[Doubt]:
        """What is unplugged to prevent the start is no part that one looks for the fault in."""
        path: tuple[str | int, ...] = ("start_prevented", "unplug")
        if self.start_prevented is None:
            if "cranking" in self.keys:
                told = "there is a starter, and no word on how the start is prevented while one cranks for a reading"
                yield Doubt(("parts",), "no-start-prevented", told, "add start_prevented: with by: and unplug:")
            return
        name = self.start_prevented.unplug
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
