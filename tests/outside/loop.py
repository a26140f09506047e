"""The hysteresis loop: a supply swept up and down past a relay that switches a lamp on the same supply.

    emf -- 0.4 ohm -- A -- 30 ohm -- coil -- ground,   A -- contact -- lamp -- ground

Once pulled in, the lamp takes the supply at A down, so that the relay releases later than its coil alone
would say. Where it pulls in and releases is asked of ngspice, of the solver, and of a hand calculation.
"""

from __future__ import annotations

import numpy as np
from deck import OPTIONS, Deck, Segment, relay_state
from spice_run import run

from troubleshoot.solve.linear import Circuits, Incidence
from troubleshoot.solve.settle import Bends, Devices, Fuses, Relays, State, settle

INNER_OHM, SERIES_OHM, COIL_OHM, CONTACT_OHM, LAMP_OHM = 0.4, 30.0, 85.0, 0.004, 3.0
PULL_IN_A, RELEASE_A = 6.8 / 85, 2.5 / 85
OPEN_SIEMENS = 1e-8
TOP_V = 16.0
SWEEP_S = 20.0

Loop = tuple[float, float]
"""EMF at which the relay pulls in on the way up, and at which it releases on the way down."""


def loop_by_hand() -> Loop:
    """Ohm's law, with the lamp off and on: E = I·(R_inner·(R_branch/R_lamp + 1) + R_branch)."""
    branch = SERIES_OHM + COIL_OHM
    lit = LAMP_OHM + CONTACT_OHM
    return PULL_IN_A * (INNER_OHM + branch), RELEASE_A * (INNER_OHM * (branch / lit + 1) + branch)


def loop_in_ngspice() -> Loop:
    """A slow ramp up and down in one transient; the relay is a switch with hysteresis."""
    deck = Deck("0", (Segment("on"),))
    deck.lines.append(f"vemf e 0 pwl(0 0 {SWEEP_S} {TOP_V} {2 * SWEEP_S} 0)")
    deck.resistor("e", "a", INNER_OHM)
    deck.resistor("a", "c", SERIES_OHM)
    meter, beyond = deck.ammeter("c")
    deck.resistor(beyond, "0", COIL_OHM)
    state = relay_state(deck, meter, PULL_IN_A, RELEASE_A)
    deck.switch("a", "l", state, CONTACT_OHM, 1 / OPEN_SIEMENS)
    deck.resistor("l", "0", LAMP_OHM)
    tail = [OPTIONS, f".save v(e) v({state})", f".tran 1m {2 * SWEEP_S} 0 1m", ".end", ""]
    found = run("\n".join(["* hysteresis loop", *deck.lines, *tail]))
    flips = np.flatnonzero(np.diff((found[f"v({state})"] > 0.5).astype(int)))
    up, down = (float(found["v(e)"][flip + 1]) for flip in flips)
    return up, down


def loop_in_solver() -> Loop:
    """Where `settle` leaves the state it is given: halved 40 times between two EMFs that bracket it."""
    return _edge(False), _edge(True)


def _edge(pulled: bool) -> float:
    stays, leaves = (TOP_V, 0.0) if pulled else (0.0, TOP_V)
    for _ in range(40):
        middle = (stays + leaves) / 2
        if _settled(middle, pulled) == pulled:
            stays = middle
        else:
            leaves = middle
    return leaves


def _settled(emf_v: float, pulled: bool) -> bool:
    """Whether the relay is in at this EMF, having been `pulled` before."""
    net = Incidence(4, np.array([1, 1, 2, 1, 3]), np.array([0, 2, 0, 3, 0]))
    siemens = 1 / np.array([[INNER_OHM, SERIES_OHM, COIL_OHM, CONTACT_OHM, LAMP_OHM]])
    no, nothing = np.zeros((1, 1), dtype=bool), np.zeros((1, 0))
    nobody, none = np.zeros(0, dtype=bool), np.zeros(0, dtype=np.int64)
    relays = Relays(np.array([2]), ((0, 3, True),), no[0], np.array([[PULL_IN_A]]), np.array([[RELEASE_A]]),
                    np.ones((1, 1)), no, no)  # fmt: skip
    devices = Devices(relays, Fuses(none, nobody, nothing),
                      Bends(none, nobody, nothing, nothing, nothing, nothing, nothing > 0),
                      np.full(5, OPEN_SIEMENS))  # fmt: skip
    state = State(np.array([[pulled]]), nothing > 0, nothing.astype(np.int8))
    after, chatters = settle(net, devices, Circuits.of(siemens, np.array([[emf_v, 0.0, 0.0, 0.0, 0.0]])), state)
    if chatters[0]:
        raise RuntimeError(f"chatters at {emf_v} V")
    return bool(after.pulled[0, 0])
