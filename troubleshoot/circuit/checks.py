"""What one could do at the vehicle: a reading between two points, a current in a wire, an observation.

All those of a circuit are made by `reading_checks.py` and `look_checks.py` and listed by `check_list.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from troubleshoot.circuit.network import Network
from troubleshoot.circuit.setups import Setup
from troubleshoot.circuit.stretches import Point

Function = Literal["volts", "volts_min", "volts_max", "low_volts", "millivolts", "amps", "ohms"]
"""`low_volts`: the meter's low-impedance input. `amps`: a DC clamp round a wire, never an ammeter in line."""

HELD: tuple[Function, ...] = ("volts_min", "volts_max")

STEADY_KEYS = ("off", "accessory", "on")
"""Key states that last, the engine at rest."""

AGAIN = " again"
WATCHED = " watched"
SWAP = "swap:"
"""How `Check.about` begins where a known good part is put in."""

MOMENTS = ("prime", "cranking", "remote")
"""Key states of seconds: nothing gets warm in them, and a starter turns 30 s at most (TM 10-3930-671-24)."""


@dataclass(frozen=True)
class Wanted:
    """A reading that must have been taken, with a value from `low` to `high` volts, before a check is allowed."""

    check: str
    low: float
    high: float


@dataclass(frozen=True)
class Check:
    """A reading (`red`, `black`, `function`; with a clamp the `wire`) or an observation (`about`, `answers`).

    For an observation `about` is `click:RELAY`, `numbers:RELAY`, `runs:LOAD`, `flows:LOAD`, `whole:FUSE`,
    `hot:PART`, `lamp:FITTING`, `wiggle:PART OR WIRE` or `swap:PART`. `again`: made anew because the
    verdict hangs on it; its id is that of the first with " again" behind. `watched`: for half a minute, while plugs
    and wires are moved (a range if it changes; of ohms the most), or ten times over (the worst of them counts).
    `after`: readings that must allow it first.
    """

    id: str
    setup: Setup
    red: str = ""
    black: str = ""
    function: Function = "volts"
    wire: str = ""
    about: str = ""
    answers: tuple[str, ...] = ()
    place: str = ""
    again: bool = False
    watched: bool = False
    after: tuple[Wanted, ...] = ()

    @property
    def kind(self) -> Literal["reading", "observation"]:
        return "observation" if self.about else "reading"

    @property
    def first_id(self) -> str:
        """The id of the check that this one repeats, or its own."""
        return self.id.removesuffix(AGAIN).removesuffix(WATCHED)

    def repeated(self) -> Check:
        """The same check, to be made anew."""
        return replace(self, id=self.id.removesuffix(AGAIN) + AGAIN, again=True)

    @property
    def can_be_watched(self) -> bool:
        """Whether it may be read for half a minute while things are moved, or listened for ten times: the engine at
        rest."""
        if self.kind == "observation":
            return self.about.startswith(("click:", "runs:")) and self.setup.key in (*STEADY_KEYS, "prime")
        return not self.is_held and self.setup.key in STEADY_KEYS

    def watch(self) -> Check:
        """The same reading, watched."""
        return replace(self, id=self.first_id + WATCHED, watched=True, again=False)

    @property
    def swaps(self) -> str:
        """The part in whose place a known good one is put, "" for none."""
        return self.about.removeprefix(SWAP) if self.about.startswith(SWAP) else ""

    @property
    def pulled(self) -> frozenset[str]:
        """What must come out for it, to stay out or to be pushed home again."""
        return self.setup.removed | self.setup.reseated | ({self.swaps} if self.swaps else frozenset())

    @property
    def is_ohms(self) -> bool:
        return self.function == "ohms"

    @property
    def is_held(self) -> bool:
        """Whether the meter holds the lowest or highest value over a change of the key."""
        return self.function in HELD


OTHER_KINDS = ("starter", "alternator", "load")
"""Kinds of part that are only looked through; the terminals of all others are worth probing."""


def own_points(network: Network) -> list[Point]:
    """The points worth probing with everything plugged in."""
    parts = network.circuit.parts
    return [p for p in network.points if parts[p.part].kind not in OTHER_KINDS and not p.node.endswith(".blade")]


def reading(network: Network, red: str, black: str, function: Function, setup: Setup) -> Check:
    """The check that reads `function` between two nodes; its id is what a log and a person can say."""
    name = f"{red} to {black} {function} {setup.key}{setup.tail}"
    far = [p.place for p in (network.point_at[red], network.point_at[black])]
    return Check(name, setup, red, black, function, place=max(far, key=lambda place: place != "engine bay"))


def clamp(network: Network, wire: str, setup: Setup) -> Check:
    """The check that reads the current in a wire, positive from its `from` to its `to`, with a DC clamp."""
    ends = next((w.start, w.end) for w in network.circuit.wires if w.name == wire)
    place = network.circuit.parts[ends[0].partition(".")[0]].place
    return Check(f"{wire} amps {setup.key}{setup.tail}", setup, function="amps", wire=wire, place=place)


def place_of(branch: str) -> str:
    """The part or wire that a branch belongs to; a ring belongs to the stud that it is on."""
    owner, at, stud = branch.partition(".at.")
    return (stud if at else owner).partition(".")[0]
