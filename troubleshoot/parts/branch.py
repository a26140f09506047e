"""The electrical vocabulary that every part is translated into.

A part is drawn as terminals and branches, plus devices: things whose branches change with what flows
through them (relay, fuse, what bends). A fault is a list of changes to branches and devices. Nothing here
knows any part kind; the solver room knows only what is in this file, as arrays.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

OPEN_OHM = 1e8
"""Leakage of anything open: 1e-8 S a joint (invented). Most meters call that OL; with much less, volts beside
floating points lose digits (a trial at 1e-12 S lost 1.2 V)."""

OPEN_SPREAD = 0.5
"""Sigma of ln(leakage): 95 of 100 opens leak within a factor of 2.7 of it."""


@dataclass(frozen=True)
class Branch:
    """A resistance, with or without a source in series, between two nodes.

    Current from `a` to `b` is (v_a - v_b - emf_v) / ohm. `spread` is the sigma of ln(ohm) and
    `emf_sigma_v` that of the source: what one does not know about this car. A branch conducts only in
    `keys` (None: always), while everything in `needs` is fitted and while the switch `operate` is operated
    (pressed, on, hot; "": always); otherwise it leaks. A branch with `fitted=False` is there only as part of a
    fault (a short, a wrong terminal) and is absent without it; one with `joins` only while that test load or
    lead is fitted. `heats_k`: how much warmer its copper is once the circuit has worked for a while.
    """

    name: str
    a: str
    b: str
    ohm: float
    spread: float = 0.0
    emf_v: float = 0.0
    emf_sigma_v: float = 0.0
    keys: frozenset[str] | None = None
    needs: frozenset[str] = frozenset()
    copper: bool = False
    fitted: bool = True
    operate: str = ""
    joins: str = ""
    heats_k: float = 0.0


@dataclass(frozen=True)
class RelayDevice:
    """Contacts that follow the ampere-turns of a coil.

    Pulls in at `pull_in_a` and holds down to `release_a`, both coil currents for all of the turns; the
    drive is coil current × the share of turns left. `pull_in_spread` is the sigma of ln(pull_in_a). A
    controller's output (its supply is the coil) and a starter (its solenoid is the coil) are such devices too.
    One that `leads` moves before the others look: what is first fed while cranking gets the volts of cranking.
    """

    name: str
    coil: str
    make: tuple[str, ...]
    rest: tuple[str, ...]
    pull_in_a: float
    release_a: float
    pull_in_spread: float
    leads: bool = False


@dataclass(frozen=True)
class FuseDevice:
    """A branch that opens for good once its current exceeds `blow_a`; one that `resets` closes again when cold."""

    name: str
    branch: str
    blow_a: float
    blow_spread: float
    resets: bool = False


@dataclass(frozen=True)
class BendDevice:
    """A branch of two straight lines: what turns, glows, conducts one way only, or limits its current.

    At rest the branch is what it is; from more than `start_v` across it, I = (V - emf_v)/run_ohm, until the
    volts fall to `keep_v`. `two_way`: the same with the other sign (a motor turns backwards). `start_spread` is
    the sigma of ln(start_v). Motor: emf_v is its back-EMF. Filament: the line of the hot one cuts the axis below
    zero. Diode: at rest it leaks. Limit: a supply that folds back; its volts are told from those
    of its own source.
    """

    name: str
    kind: Literal["motor", "filament", "diode", "limit"]
    branch: str
    run_ohm: float
    emf_v: float
    start_v: float
    keep_v: float
    start_spread: float = 0.0
    two_way: bool = True


Device = RelayDevice | FuseDevice | BendDevice


@dataclass(frozen=True)
class Change:
    """What a fault does to one branch or device.

    `what` for a branch: `series` adds ohms, `open` leaves the leakage, `connect` joins a branch that is
    otherwise absent, `scale` multiplies its ohms, `emf` sets its source. For a device: `turns`,
    `pull_in`, `blow` multiply; `blown`, `welded`, `stuck`, `seized` switch. `value` None means "the
    severity of the case". What `reseats` is gone once the part whose contact it is has been pulled and refitted.
    `spread` is the sigma of ln(value), where the value is known no better.
    """

    target: str
    what: Literal[
        "series", "open", "connect", "scale", "emf", "turns", "pull_in", "blow", "blown", "welded",
        "stuck", "seized",
    ]  # fmt: skip
    value: float | None = None
    reseats: bool = False
    spread: float = 0.0


@dataclass(frozen=True)
class Severity:
    """The range a fault's severity may take, log-uniform, with `open_share` of the cases fully open."""

    unit: str
    low: float
    high: float
    open_share: float = 0.0


@dataclass(frozen=True)
class Fault:
    """A part in a bad mode. `part:mode` names it; `prior` is a key of the guesses file. `shows`: the relay at whose
    blades and socket one sees it by comparing numbers and wires."""

    part: str
    mode: str
    say: str
    repair: str
    prior: str
    changes: tuple[Change, ...] = ()
    severity: Severity | None = None
    shows: str = ""

    @property
    def name(self) -> str:
        return f"{self.part}:{self.mode}"


@dataclass(frozen=True)
class Terminal:
    """A place on a part where a wire ends.

    `socket`: the wire's contact sits in a holder, so the wire side (back-probed) and the blade are two
    points with the contact between them; the blade is out of reach while mated. `tab`: the same, but the
    blade's end can be touched (a blade fuse). Pulling the part out of its holder opens the contact.
    `stud`: bare metal, each wire with its own ring on it.
    """

    name: str
    kind: Literal["socket", "tab", "stud"]
    say: str
    contact_ohm: float = 0.0
    contact_spread: float = 0.0


@dataclass(frozen=True)
class Works:
    """How one tells that a load works: the question, and its answers for well, weakly and not at all.

    `branch` is where its current flows. `turns` asks which way it turns, "" where that does not matter.
    """

    asks: str
    answers: tuple[str, str, str]
    branch: str
    turns: str = ""


@dataclass(frozen=True)
class Anatomy:
    """All that a part brings into the circuit."""

    terminals: tuple[Terminal, ...] = ()
    branches: tuple[Branch, ...] = ()
    devices: tuple[Device, ...] = ()
    faults: tuple[Fault, ...] = field(default=())
    works: Works | None = None
