"""Lines of an ngspice netlist: resistances that follow the key, switches with hysteresis, latches.

Left of netlist.py. Shares nothing with the solver; knows only names, ohms and times. Node and element
names are made up here (`n12`, `s7`), since ngspice takes neither dots nor capitals seriously.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

LEAK_OHM = 1e8
"""What stays of anything open: 1e-8 S a joint (invented)."""

SEGMENT_S = 0.3
"""How long each key state lasts: many times every lag below."""

EDGE_S = 1e-6
RELAY_LAG_OHM_F = (1e3, 1e-6)
"""Coils and motors answer after about 1 ms."""

FUSE_LAG_OHM_F = (1e3, 20e-6)
"""At its limit a fuse melts after about 50 ms, at three times its limit after 2 ms, and so on down with the
square: start-up currents do not blow it, and of two in series the one further over its limit goes first.
Only if the two are at least 1.5 to 1 apart: nearer ones may melt in the same step of ngspice's time."""

RUNS_DOWN_V = 0.01
"""A motor's friction (invented): cut off, it floats at its back-EMF, and that alone does not turn it."""

OPTIONS = ".options method=gear maxord=1 reltol=1e-6 abstol=1e-12 vntol=1e-9 gmin=1e-15 trtol=1e6 itl4=60 itl1=300"
"""Backward Euler, since a trapezoid rings when a step is longer than a lag; no gmin to hold up open nodes."""


@dataclass(frozen=True)
class Segment:
    """A stretch of time with the key in one place; `dead`: the sources at nought, so that all falls back."""

    key: str
    out: frozenset[str] = frozenset()
    dead: bool = False


@dataclass
class Deck:
    """Collects the lines of one netlist. `reference` is the node that becomes ngspice's 0."""

    reference: str
    timeline: tuple[Segment, ...]
    lines: list[str] = field(default_factory=list)
    spice_name: dict[str, str] = field(default_factory=dict)
    _waves: dict[tuple[bool, ...], str] = field(default_factory=dict)
    _count: int = 0

    def __post_init__(self) -> None:
        self.spice_name[self.reference] = "0"
        self.lines.append("vone one 0 1")

    def node(self, name: str) -> str:
        """The ngspice name of a node of the circuit."""
        return self.spice_name.setdefault(name, f"n{len(self.spice_name)}")

    def fresh(self, letter: str) -> str:
        """A new element or inner node."""
        self._count += 1
        return f"{letter}{self._count}"

    def end_of(self, index: int) -> float:
        """Seconds at which a segment ends, just before the next edge."""
        return (index + 1) * SEGMENT_S

    # ---- what holds in which segment

    def when(self, live: frozenset[str] | None, needs: str) -> tuple[bool, ...]:
        """In which segments something conducts that wants the key in `live` and the part `needs` fitted."""
        return tuple((live is None or s.key in live) and needs not in s.out for s in self.timeline)

    def steps(self, values: list[float]) -> str:
        """A source that has these values, one a segment."""
        corners = [f"0 {values[0]:.17g}"]
        for index in range(1, len(values)):
            at = self.end_of(index - 1)
            corners.append(f"{at:.9g} {values[index - 1]:.17g} {at + EDGE_S:.9g} {values[index]:.17g}")
        return f"pwl({' '.join(corners)})"

    def wave(self, holds: tuple[bool, ...]) -> str:
        """The node of a 0 or 1 V source that tells a switch when something holds."""
        if holds not in self._waves:
            node = self.fresh("w")
            self.lines.append(f"v{node} {node} 0 {self.steps([float(h) for h in holds])}")
            self._waves[holds] = node
        return self._waves[holds]

    # ---- elements; a and b are names made by node() or fresh()

    def resistor(self, a: str, b: str, ohm: float) -> None:
        self.lines.append(f"{self.fresh('r')} {a} {b} {ohm:.17g}")

    def switch(self, a: str, b: str, control: str, on_ohm: float, off_ohm: float, up: float = 0.5,
               down: float = 0.5) -> None:  # fmt: skip
        """On above `up` volts at `control`, off below `down`, between them as it was; off to begin with."""
        name = self.fresh("s")
        self.lines += [
            f"{name} {a} {b} {control} 0 m{name}",
            f".model m{name} sw(vt={(up + down) / 2:.17g} vh={(up - down) / 2:.17g} "
            f"ron={on_ohm:.17g} roff={off_ohm:.17g})",
        ]

    def follow(self, a: str, b: str, ohm: float, holds: tuple[bool, ...]) -> None:
        """A resistance in the segments where `holds`, else the leakage; for ever open if it is infinite."""
        if math.isinf(ohm) or not any(holds):
            self.resistor(a, b, LEAK_OHM)
        elif all(holds):
            self.resistor(a, b, ohm)
        else:
            self.switch(a, b, self.wave(holds), ohm, LEAK_OHM)

    def source(self, a: str, b: str, ohm: float, emf_v: float, holds: tuple[bool, ...]) -> None:
        """The same with a source in it, positive at a, that is gone while the branch leaks or all is dead."""
        inner = self.fresh("x")
        self.follow(a, inner, ohm, holds)
        volts = [emf_v if hold and not s.dead else 0.0 for hold, s in zip(holds, self.timeline, strict=True)]
        self.lines.append(f"{self.fresh('v')} {inner} {b} {self.steps(volts)}")

    def ammeter(self, a: str) -> tuple[str, str]:
        """A 0 V source from a to a new node; returns its name and that node."""
        meter, beyond = self.fresh("v"), self.fresh("x")
        self.lines.append(f"{meter} {a} {beyond} 0")
        return meter, beyond

    def lagged(self, expression: str, lag: tuple[float, float]) -> str:
        """A node that follows an expression behind a resistor and a capacitor."""
        at_once, late = self.fresh("x"), self.fresh("x")
        ohm, farad = lag
        self.lines += [
            f"{self.fresh('b')} {at_once} 0 v={expression}",
            f"{self.fresh('r')} {at_once} {late} {ohm:g}",
            f"{self.fresh('c')} {late} 0 {farad:g}",
        ]
        return late

    def latch(self, control: str, up: float, down: float, out: str = "") -> str:
        """A node at 1 V once `control` has passed `up`, until it falls below `down`."""
        out = out or self.fresh("q")
        self.switch("one", out, control, 1.0, 1e12, up, down)
        self.resistor(out, "0", 1e3)
        return out

    def text(self, title: str, save: list[str]) -> str:
        """The whole netlist. The last line of the analysis keeps only the nodes in `save`."""
        stop = self.end_of(len(self.timeline) - 1)
        kept = " ".join(f"v({name})" for name in save if name != "0")
        return "\n".join([f"* {title}", *self.lines, OPTIONS, f".save {kept}", f".tran 20m {stop:g} 0 20m", ".end", ""])


def relay_state(deck: Deck, meter: str, pull_in_a: float, release_a: float, turns: float) -> str:
    """A node at 1 V while a relay is pulled in by the current through `meter` and the share of turns left."""
    drive = deck.lagged(f"abs(i({meter}))*{turns / pull_in_a:.17g}", RELAY_LAG_OHM_F)
    return deck.latch(drive, 1.0, release_a / pull_in_a)


def fuse_state(deck: Deck, meter: str, blow_a: float) -> str:
    """A node at 1 V once a fuse has molten. Above its limit it warms with the square of the current, and so
    melts the sooner the further it is over; the voltage at which it would be whole again is never reached."""
    share = f"abs(i({meter}))/{blow_a:.17g}"
    warmth = deck.lagged(f"{share} > 1 ? ({share})*({share}) : 0", FUSE_LAG_OHM_F)
    return deck.latch(warmth, 0.9, -1.0)


def motor_state(deck: Deck, plus: str, minus: str, start_v: float, emf_v: float) -> str:
    """A node at 1 V while a motor turns. It goes on while it is fed more than its back-EMF and its friction,
    and begins above `start_v` if it could go on with that."""
    out = deck.fresh("q")
    across = f"v({plus})" if minus == "0" else f"v({plus},{minus})"
    goes_on_v = emf_v + RUNS_DOWN_V
    begins_v = max(start_v, goes_on_v)
    wants = deck.lagged(f"{across} > (v({out}) > 0.5 ? {goes_on_v:.17g} : {begins_v:.17g}) ? 1 : 0", RELAY_LAG_OHM_F)
    return deck.latch(wants, 0.8, 0.2, out)
