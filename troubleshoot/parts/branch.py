"""The electrical vocabulary that every part is translated into.

A part is drawn as terminals and branches, plus devices: things whose branches change with what flows
through them (relay, fuse, motor). A fault is a list of changes to branches and devices. Nothing here
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
    `keys` (None: always) and while everything in `needs` is fitted; otherwise it leaks. A branch with
    `fitted=False` is there only as part of a fault (a short, a wrong terminal) and is absent without it.
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


@dataclass(frozen=True)
class RelayDevice:
    """Contacts that follow the ampere-turns of a coil.

    Pulls in at `pull_in_a` and holds down to `release_a`, both coil currents for all of the turns; the
    drive is coil current × the share of turns left. `pull_in_spread` is the sigma of ln(pull_in_a).
    """

    name: str
    coil: str
    make: tuple[str, ...]
    rest: tuple[str, ...]
    pull_in_a: float
    release_a: float
    pull_in_spread: float


@dataclass(frozen=True)
class FuseDevice:
    """A branch that opens for good once its current exceeds `blow_a`."""

    name: str
    branch: str
    blow_a: float
    blow_spread: float


@dataclass(frozen=True)
class MotorDevice:
    """A motor: I = (V - emf_v)/run_ohm while it turns (V > emf_v), I = V/still_ohm while it stands.

    It begins to turn once it has `start_v` across it. `start_spread` is the sigma of ln(start_v).
    """

    name: str
    branch: str
    run_ohm: float
    emf_v: float
    still_ohm: float
    start_v: float
    start_spread: float


Device = RelayDevice | FuseDevice | MotorDevice


@dataclass(frozen=True)
class Change:
    """What a fault does to one branch or device.

    `what` for a branch: `series` adds ohms, `open` leaves the leakage, `connect` joins a branch that is
    otherwise absent, `scale` multiplies its ohms, `emf` sets its source. For a device: `turns`,
    `pull_in`, `run_ohm` multiply; `blown`, `welded`, `stuck`, `seized` switch. `value` None means "the
    severity of the case".
    """

    target: str
    what: Literal[
        "series", "open", "connect", "scale", "emf", "turns", "pull_in", "run_ohm", "blown", "welded",
        "stuck", "seized",
    ]  # fmt: skip
    value: float | None = None


@dataclass(frozen=True)
class Severity:
    """The range a fault's severity may take, log-uniform, with `open_share` of the cases fully open."""

    unit: str
    low: float
    high: float
    open_share: float = 0.0


@dataclass(frozen=True)
class Fault:
    """A part in a bad mode. `part:mode` names it; `prior` is a key of the guesses file."""

    part: str
    mode: str
    say: str
    repair: str
    prior: str
    changes: tuple[Change, ...] = ()
    severity: Severity | None = None

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
class Anatomy:
    """All that a part brings into the circuit."""

    terminals: tuple[Terminal, ...] = ()
    branches: tuple[Branch, ...] = ()
    devices: tuple[Device, ...] = ()
    faults: tuple[Fault, ...] = field(default=())
