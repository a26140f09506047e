"""Lines of an ngspice netlist: resistances that follow the key, switches with hysteresis, latches.

Left of netlist.py. Shares nothing with the solver; knows only names, ohms and times. Node and element
names are made up here (`n12`, `s7`), since ngspice takes neither dots nor capitals seriously.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

LEAK_OHM = 1e8
"""What stays of anything open: 1e-8 S a joint (invented)."""

NOWHERE_OHM = 1e15
"""A path that is not there at all."""

SEGMENT_S = 0.3
"""How long each key state lasts: many times every lag below."""

STEP_S = 0.02
"""The longest step of ngspice's time."""

EDGE_S = 1e-6
RELAY_LAG_OHM_F = (1e3, 1e-6)
"""Coils and motors answer after about a millisecond (real ones: some 10 ms; what counts is the order)."""

STARTER_LAG_OHM_F = (1e3, 0.2e-6)
"""A starter goes first: what is first fed while cranking gets the volts of cranking."""

FUSE_LAG_OHM_F = (1e3, 20e-6)
"""At its limit a fuse melts after about 50 ms, at forty times its limit after 15 ms (real ones take from minutes to
milliseconds): the start-up currents of motors and lamps do not blow it, and of two in series the one further over
its limit goes first. Only if the two are at least 1.5 to 1 apart: nearer ones may melt together."""

FRESH_S = 0.6 * SEGMENT_S
"""For how long fuses are being put back as they were, in a segment in which all is dead."""

COOL_S = 0.1 * SEGMENT_S
"""How long a circuit breaker takes to close again after the key has been moved."""

OPTIONS = ".options method=gear maxord=1 reltol=1e-6 abstol=1e-10 vntol=1e-9 gmin=1e-15 trtol=1e6 itl4=60 itl1=300"
"""Backward Euler, since a trapezoid rings when a step is longer than a lag; no gmin to hold up open nodes."""

NONE: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Segment:
    """A stretch of time with the key in one place and things out, operated, fitted, pushed home or warm.

    `past`: before one came to the car; what blows then stays so. `dead`: the sources at nought, so that all falls
    back; if `fresh`, fuses blown since the past are whole again.
    """

    key: str
    out: frozenset[str] = NONE
    operated: frozenset[str] = NONE
    fitted: frozenset[str] = NONE
    reseated: frozenset[str] = NONE
    warm: bool = False
    past: bool = False
    dead: bool = False
    fresh: bool = False


Holds = tuple[bool, ...]
"""Whether something is so, one a segment."""


@dataclass
class Deck:
    """Collects the lines of one netlist. `reference` is the node that becomes ngspice's 0. With `curved`, diodes and
    filaments follow a curve instead of two straight lines."""

    reference: str
    timeline: tuple[Segment, ...]
    curved: bool = False
    lines: list[str] = field(default_factory=list)
    spice_name: dict[str, str] = field(default_factory=dict)
    _waves: dict[str, str] = field(default_factory=dict)
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

    def when(self, so: Callable[[Segment], bool]) -> Holds:
        """In which segments something is so."""
        return tuple(so(segment) for segment in self.timeline)

    def fitted_in(self, needs: str) -> Holds:
        """In which segments a part is not out; always for ""."""
        return self.when(lambda s: needs not in s.out)

    def keyed(self, live: frozenset[str] | set[str]) -> Holds:
        """In which segments the key is in one of these places."""
        return self.when(lambda s: s.key in live)

    def steps(self, values: list[float]) -> str:
        """A source that has these values, one a segment."""
        corners = [f"0 {values[0]:.17g}"]
        for index in range(1, len(values)):
            if values[index] != values[index - 1]:
                at = self.end_of(index - 1)
                corners.append(f"{at:.9g} {values[index - 1]:.17g} {at + EDGE_S:.9g} {values[index]:.17g}")
        return f"pwl({' '.join(corners)})" if len(corners) > 1 else f"{values[0]:.17g}"

    def wave(self, holds: Holds) -> str:
        """The node of a 0 or 1 V source that tells a switch when something holds."""
        return self._wave(self.steps([float(h) for h in holds]))

    def pulses(self, holds: Holds, length_s: float) -> str:
        """The same, but only for the first `length_s` of each such segment."""
        corners = ["0 0"]
        for index, hold in enumerate(holds):
            if hold:
                start = self.end_of(index - 1)
                stop = start + length_s
                corners.append(f"{start + EDGE_S:.9g} 0 {start + 2 * EDGE_S:.9g} 1 {stop:.9g} 1 {stop + EDGE_S:.9g} 0")
        return self._wave(f"pwl({' '.join(corners)})" if len(corners) > 1 else "0")

    def _wave(self, source: str) -> str:
        if source not in self._waves:
            node = self.fresh("w")
            self.lines.append(f"v{node} {node} 0 {source}")
            self._waves[source] = node
        return self._waves[source]

    # ---- elements; a and b are names made by node() or fresh()

    def resistor(self, a: str, b: str, ohm: float) -> None:
        self.lines.append(f"{self.fresh('r')} {a} {b} {ohm:.17g}")

    def switch(self, a: str, b: str, control: str, on_ohm: float, off_ohm: float, up: float = 0.5,
               down: float = 0.5) -> None:  # fmt: skip
        """On above `up` volts at `control`, off below `down`, between them as it was; off to begin with.

        `control` must not jump towards a threshold without passing it: ngspice then cuts its steps for ever.
        """
        name = self.fresh("s")
        self.lines += [
            f"{name} {a} {b} {control} 0 m{name}",
            f".model m{name} sw(vt={(up + down) / 2:.17g} vh={(up - down) / 2:.17g} "
            f"ron={on_ohm:.17g} roff={off_ohm:.17g})",
        ]

    def vary(self, a: str, b: str, ohms: list[float]) -> None:
        """A resistance with these ohms, one a segment; infinite: the leakage."""
        real = [LEAK_OHM if math.isinf(ohm) else ohm for ohm in ohms]
        values = list(dict.fromkeys(real))
        if len(values) == 1:
            self.resistor(a, b, values[0])
        elif len(values) == 2:
            self.switch(a, b, self.wave(tuple(ohm == values[0] for ohm in real)), *values)
        else:
            for value in values:
                self.switch(a, b, self.wave(tuple(ohm == value for ohm in real)), value, NOWHERE_OHM)

    def follow(self, a: str, b: str, ohm: float, holds: Holds) -> None:
        """A resistance in the segments where `holds`, else the leakage; for ever open if it is infinite."""
        self.vary(a, b, [ohm if hold else math.inf for hold in holds])

    def source(self, a: str, b: str, ohm: float, emf_v: float, holds: Holds) -> None:
        """The same with a source in it, positive at a, that is gone while the branch leaks or all is dead."""
        inner = self.fresh("x")
        self.follow(a, inner, ohm, holds)
        self.lines.append(f"{self.fresh('v')} {inner} {b} {self.live_volts(emf_v, holds)}")

    def live_volts(self, emf_v: float, holds: Holds) -> str:
        """A source's value where it holds, nought where it does not and where all is dead."""
        return self.steps([emf_v if h and not s.dead else 0.0 for h, s in zip(holds, self.timeline, strict=True)])

    def ammeter(self, a: str) -> tuple[str, str]:
        """A 0 V source from a to a new node; returns its name and that node."""
        meter, beyond = self.fresh("v"), self.fresh("x")
        self.lines.append(f"{meter} {a} {beyond} 0")
        return meter, beyond

    def reckoned(self, expression: str) -> str:
        """A node that has the volts of an expression at once."""
        at_once = self.fresh("x")
        self.lines.append(f"{self.fresh('b')} {at_once} 0 v={expression}")
        return at_once

    def lagged(self, expression: str, lag: tuple[float, float]) -> str:
        """A node that follows an expression behind a resistor and a capacitor."""
        at_once, late = self.reckoned(expression), self.fresh("x")
        ohm, farad = lag
        self.lines += [
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

    def kept(self, control: str) -> str:
        """A node at about 1 V for ever once `control` has been there: a capacitor that leaks in a thousand seconds."""
        store = self.fresh("q")
        self.switch("one", store, control, 1e3, 1e12)
        self.resistor(store, "0", 1e9)
        self.lines.append(f"{self.fresh('c')} {store} 0 1u")
        return store

    def text(self, title: str, save: list[str]) -> str:
        """The whole netlist. The last line of the analysis keeps only the nodes in `save`."""
        stop = self.end_of(len(self.timeline) - 1)
        kept = " ".join(f"v({name})" for name in save if name != "0")
        return "\n".join(
            [f"* {title}", *self.lines, OPTIONS, f".save {kept}", f".tran {STEP_S:g} {stop:g} 0 {STEP_S:g}", ".end", ""]
        )


# ---- what switches, with a memory


def relay_state(deck: Deck, meter: str, pull_in_a: float, release_a: float, turns: float = 1.0,
                lag: tuple[float, float] = RELAY_LAG_OHM_F) -> str:  # fmt: skip
    """A node at 1 V while a relay is pulled in by the current through `meter` and the share of turns left. It takes as
    long whether the current is much or little above what it needs."""
    out = deck.fresh("q")
    drive = f"abs(i({meter}))*{turns / pull_in_a:.17g}"
    goes = deck.lagged(f"{drive} > (v({out}) > 0.5 ? {release_a / pull_in_a:.17g} : 1) ? 1 : 0", lag)
    return deck.latch(goes, 0.8, 0.2, out)


HOT = 0.9
"""Of the warmth at which a current just above the limit ends."""


def _molten(deck: Deck, meter: str, blow_a: float, whole: str) -> str:
    """A node at 1 V from when a fuse has melted, or a breaker tripped, until `whole` is at 1 V. Above its limit it
    warms, the faster the further it is over."""
    share, out = f"abs(i({meter}))/{blow_a:.17g}", deck.fresh("q")
    warmth = deck.lagged(f"(1-v({whole}))*{share} > 1 ? 1+0.2*ln(max({share},1)) : 0", FUSE_LAG_OHM_F)
    hot = deck.fresh("q")  # a switch, since ngspice shortens its steps to meet a switch's threshold in time
    deck.switch("one", hot, warmth, 1.0, 1e12, HOT, HOT)
    deck.resistor(hot, "0", 1e3)
    goes = deck.lagged(f"(1-v({whole}))*max(v({hot}),v({out})) > 0.5 ? 1 : 0", RELAY_LAG_OHM_F)
    return deck.latch(goes, 0.8, 0.2, out)


def fuse_state(deck: Deck, meter: str, blow_a: float) -> str:
    """A node at 1 V or more once a fuse has molten: for ever if in the past, else until fuses are fresh again."""
    since = _molten(deck, meter, blow_a, deck.pulses(deck.when(lambda s: s.fresh), FRESH_S))
    past = deck.wave(deck.when(lambda s: s.past))
    before = deck.kept(deck.reckoned(f"v({since})*v({past})"))
    return deck.reckoned(f"min(v({since})+v({before}),1)")


def breaker_state(deck: Deck, meter: str, trip_a: float) -> str:
    """A node at 1 V while a circuit breaker is open: it is cold, and so closed, whenever the key has been moved."""
    cools = deck.pulses(deck.when(lambda s: True), COOL_S)
    return deck.reckoned(f"v({_molten(deck, meter, trip_a, cools)})*(1-v({cools}))")
