"""Relays, fuses and motors settle: the linear circuit is solved, the devices look, until nothing moves.

History matters: every key state starts from what the one before left (decision 3 of the design). All
cases are settled together; C is their number.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from troubleshoot.solve.linear import Bools, Floats, Incidence, Ints, Solved

ROUNDS = 12
"""Rounds after which devices that still move are said to chatter; a chain of events is at most five long."""

ROUGH = 1e-3
"""Relative error that does not matter while devices are still moving: their thresholds are known to 5 %."""

RUNS_DOWN_V = 0.01
"""Volts above its back-EMF that a motor needs to keep turning; less is the leakage of an open feed."""


@dataclass(frozen=True)
class Relays:
    """R relays. `make` and `rest` are branch indices, -1 where there is none. Per case: (C, R)."""

    coil: Ints
    make: Ints
    rest: Ints
    pull_in_a: Floats
    release_a: Floats
    turns: Floats
    welded: Bools
    stuck: Bools


@dataclass(frozen=True)
class Fuses:
    """F fuses: branch indices (F,), amperes at which each blows (C, F)."""

    branch: Ints
    blow_a: Floats


@dataclass(frozen=True)
class Motors:
    """M motors: branch indices (M,); per case (C, M) the running line, starting volts, seized or not."""

    branch: Ints
    run_siemens: Floats
    emf_v: Floats
    start_v: Floats
    seized: Bools


@dataclass
class State:
    """What the devices are doing: pulled in (C, R), blown (C, F), turning (C, M)."""

    pulled: Bools
    blown: Bools
    turning: Bools

    def copy(self) -> State:
        return State(self.pulled.copy(), self.blown.copy(), self.turning.copy())

    def rows(self, which: Ints) -> State:
        """The same for some of the cases."""
        return State(self.pulled[which], self.blown[which], self.turning[which])


@dataclass(frozen=True)
class Devices:
    """All devices of a network, with the leakage that an open branch keeps (branches,)."""

    relays: Relays
    fuses: Fuses
    motors: Motors
    open_siemens: Floats

    def at_rest(self, cases: int) -> State:
        """Nothing pulled in, nothing blown, nothing turning."""
        return State(
            np.zeros((cases, self.relays.coil.size), dtype=bool),
            np.zeros((cases, self.fuses.branch.size), dtype=bool),
            np.zeros((cases, self.motors.branch.size), dtype=bool),
        )

    def impose(self, siemens: Floats, emf_v: Floats, state: State) -> tuple[Floats, Floats]:
        """The (C, branches) arrays with every device in the given state."""
        siemens, emf_v = siemens.copy(), emf_v.copy()
        relays = self.relays
        closed = (state.pulled & ~relays.stuck) | relays.welded
        for r in range(relays.coil.size):
            self._open(siemens, int(relays.make[r]), ~closed[:, r])
            self._open(siemens, int(relays.rest[r]), closed[:, r] | state.pulled[:, r])
        for f, branch in enumerate(self.fuses.branch):
            self._open(siemens, int(branch), state.blown[:, f])
        motors = self.motors
        for m, branch in enumerate(motors.branch):
            turning = state.turning[:, m] & (siemens[:, branch] > 0)
            still = siemens[:, branch]
            run = motors.run_siemens[:, m]
            siemens[:, branch] = np.where(turning, run, still)
            emf_v[:, branch] = np.where(turning, motors.emf_v[:, m], emf_v[:, branch])
        return siemens, emf_v

    def _open(self, siemens: Floats, branch: int, which: Bools) -> None:
        if branch >= 0:
            siemens[which, branch] = self.open_siemens[branch]

    def look(self, solved: Solved, state: State) -> State:
        """The state that the devices would take on seeing these volts and currents."""
        after = state.copy()
        amps = np.abs(solved.currents())
        relays = self.relays
        if relays.coil.size:
            drive = amps[:, relays.coil] * relays.turns
            after.pulled = np.where(state.pulled, drive > relays.release_a, drive >= relays.pull_in_a)
        if self.fuses.branch.size:
            # of fuses in series the one furthest over its limit goes first, and spares the others
            over = amps[:, self.fuses.branch] / self.fuses.blow_a
            after.blown = state.blown | ((over > 1) & (over == over.max(axis=1, keepdims=True)))
        motors = self.motors
        if motors.branch.size:
            volts = solved.net.across(solved.volts)[:, motors.branch]
            # cut off, a motor in the model floats at its own back-EMF: it turns only on what it is fed above that
            drives = volts > motors.emf_v + RUNS_DOWN_V
            turning = drives & (state.turning | (volts > motors.start_v))
            after.turning = turning & ~motors.seized
        return after


def settle(net: Incidence, devices: Devices, siemens: Floats, emf_v: Floats, state: State) -> tuple[State, Bools]:
    """Follows the devices from `state` until none moves. Returns the settled state and who chatters, (C,).

    A fuse blows only in a state that the relays and motors would rest in, so that a start-up current does
    not blow it; a chattering case keeps its last state.
    """
    cases = siemens.shape[0]
    chatters = np.zeros(cases, dtype=bool)
    moving = np.arange(cases)
    state = state.copy()
    for _ in range(ROUNDS):
        here = _rows(devices, moving)
        before = state.rows(moving)
        solved = Solved(net, *here.impose(siemens[moving], emf_v[moving], before), lost=ROUGH)
        after = here.look(solved, before)
        moved = (after.pulled != before.pulled).any(axis=1) | (after.turning != before.turning).any(axis=1)
        after.blown = np.where(moved[:, None], before.blown, after.blown)
        moved |= (after.blown != before.blown).any(axis=1)
        state.pulled[moving], state.turning[moving] = after.pulled, after.turning
        state.blown[moving] = after.blown
        moving = moving[moved]
        if not moving.size:
            break
    chatters[moving] = True
    return state, chatters


def _rows(devices: Devices, which: Ints) -> Devices:
    """The devices of some of the cases."""
    r, f, m = devices.relays, devices.fuses, devices.motors
    return Devices(
        Relays(r.coil, r.make, r.rest, r.pull_in_a[which], r.release_a[which], r.turns[which],
               r.welded[which], r.stuck[which]),
        Fuses(f.branch, f.blow_a[which]),
        Motors(m.branch, m.run_siemens[which], m.emf_v[which], m.start_v[which], m.seized[which]),
        devices.open_siemens,
    )  # fmt: skip
