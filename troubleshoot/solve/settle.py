"""Relays, fuses and what bends settle: the linear circuit is solved, the devices look, until nothing moves.

History matters: every key state starts from what the one before left (decision 3 of the design). All
cases are settled together; C is their number.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

from troubleshoot.solve.linear import Bools, Circuits, Floats, Incidence, Ints, Solved

ROUNDS = 16
"""Rounds after which devices that still move are said to chatter; a chain of events is at most eight long."""

Signs = npt.NDArray[np.int8]


@dataclass(frozen=True)
class Relays:
    """R relays. `contacts` joins each relay to its contacts: (relay, branch, makes or rests); `leads` (R,) move before
    the others. Per case: (C, R)."""

    coil: Ints
    contacts: tuple[tuple[int, int, bool], ...]
    leads: Bools
    pull_in_a: Floats
    release_a: Floats
    turns: Floats
    welded: Bools
    stuck: Bools


@dataclass(frozen=True)
class Fuses:
    """F fuses: branch indices (F,), which close again when cold (F,), amperes at which each blows (C, F)."""

    branch: Ints
    resets: Bools
    blow_a: Floats


@dataclass(frozen=True)
class Bends:
    """B branches of two lines: branch indices and directions (B,); per case (C, B) the second line, the volts at
    which it begins and ends, and what stays on the first. `turn` (B,) who moves first: -1 diodes, 0 motors along with
    relays, 1 filaments, which take longer to get hot than a relay or motor to answer. None: all at once."""

    branch: Ints
    two_way: Bools
    run_siemens: Floats
    emf_v: Floats
    start_v: Floats
    keep_v: Floats
    seized: Bools
    turn: Ints | None = None


@dataclass
class State:
    """What the devices are doing: pulled in (C, R), blown (C, F), bent (C, B): 0 on the first line, 1 on the second,
    -1 on the second with the other sign."""

    pulled: Bools
    blown: Bools
    bent: Signs

    def copy(self) -> State:
        return State(self.pulled.copy(), self.blown.copy(), self.bent.copy())

    def rows(self, which: Ints) -> State:
        """The same for some of the cases."""
        return State(self.pulled[which], self.blown[which], self.bent[which])

    def put(self, which: Ints, other: State) -> None:
        """Takes the other's rows for these cases."""
        self.pulled[which], self.blown[which], self.bent[which] = other.pulled, other.blown, other.bent

    def bits(self) -> Signs:
        """All of it side by side, (C, R + F + B)."""
        return np.concatenate([self.pulled.astype(np.int8), self.blown.astype(np.int8), self.bent], axis=1)


@dataclass(frozen=True)
class Devices:
    """All devices of a network, with the leakage that an open branch keeps, (branches,) or case by case (C, ...)."""

    relays: Relays
    fuses: Fuses
    bends: Bends
    open_siemens: Floats

    def rows(self, which: Ints | slice) -> Devices:
        """The devices of some of the cases."""
        r, f, b = self.relays, self.fuses, self.bends
        return Devices(
            Relays(r.coil, r.contacts, r.leads, r.pull_in_a[which], r.release_a[which], r.turns[which],
                   r.welded[which], r.stuck[which]),
            Fuses(f.branch, f.resets, f.blow_a[which]),
            Bends(b.branch, b.two_way, b.run_siemens[which], b.emf_v[which], b.start_v[which], b.keep_v[which],
                  b.seized[which], b.turn),
            self.open_siemens if self.open_siemens.ndim == 1 else self.open_siemens[which],
        )  # fmt: skip

    def at_rest(self, cases: int) -> State:
        """Nothing pulled in, nothing blown, nothing bent."""
        return State(
            np.zeros((cases, self.relays.coil.size), dtype=bool),
            np.zeros((cases, self.fuses.branch.size), dtype=bool),
            np.zeros((cases, self.bends.branch.size), dtype=np.int8),
        )

    def cold(self, state: State) -> State:
        """The state with breakers closed again."""
        state = state.copy()
        state.blown &= ~self.fuses.resets
        return state

    @cached_property
    def touched(self) -> Ints:
        """The branches that devices change."""
        contacts = [branch for _, branch, _ in self.relays.contacts]
        return np.unique(np.concatenate([np.array(contacts, dtype=np.int64), self.fuses.branch, self.bends.branch]))

    def impose(self, circuits: Circuits, state: State, base: Circuits | None = None) -> Circuits:
        """The circuits with every device in the given state, said by how they differ from `base`'s one circuit, or from
        that of the first."""
        touched = self.touched
        siemens, emf_v = circuits.at(touched)
        relays = self.relays
        closed = (state.pulled & ~relays.stuck) | relays.welded
        lifted = closed | state.pulled
        for r, branch, makes in relays.contacts:
            self._open(siemens, branch, ~closed[:, r] if makes else lifted[:, r])
        for f, branch in enumerate(self.fuses.branch):
            self._open(siemens, int(branch), state.blown[:, f])
        bends = self.bends
        here = np.searchsorted(touched, bends.branch)
        bent = (state.bent != 0) & (siemens[:, here] > 0)
        siemens[:, here] = np.where(bent, bends.run_siemens, siemens[:, here])
        emf_v[:, here] = np.where(bent, bends.emf_v * state.bent, emf_v[:, here])
        return circuits.with_branches(touched, siemens, emf_v, base)

    def _open(self, siemens: Floats, branch: int, which: Bools) -> None:
        """Opens a branch in some of the cases; `siemens` (C, touched)."""
        at = np.searchsorted(self.touched, branch)
        leaks = np.minimum(siemens[:, at], self.open_siemens[..., branch])
        siemens[:, at] = np.where(which, leaks, siemens[:, at])

    def look(self, solved: Solved, state: State, at: Ints | slice = slice(None)) -> State:
        """The state that the devices would take on seeing these volts and currents; `at` says which of the solutions is
        each case's."""
        after = state.copy()
        relays = self.relays
        if relays.coil.size:
            drive = np.abs(solved.amps(relays.coil))[at] * relays.turns
            after.pulled = np.where(state.pulled, drive > relays.release_a, drive >= relays.pull_in_a)
            led = ((after.pulled != state.pulled) & relays.leads).any(axis=1, keepdims=True)
            after.pulled = np.where(led & ~relays.leads, state.pulled, after.pulled)
        if self.fuses.branch.size:
            # of fuses in series the one furthest over its limit goes first, and spares the others
            over = np.abs(solved.amps(self.fuses.branch))[at] / self.fuses.blow_a
            after.blown = state.blown | ((over > 1) & (over == over.max(axis=1, keepdims=True)))
        bends = self.bends
        if bends.branch.size:
            volts = solved.across(bends.branch)[at]
            sign = np.where(bends.two_way & (volts < 0), -1, 1).astype(np.int8)
            # cut off, a motor in the model floats at its own back-EMF: it turns only on what it is fed above that
            keeps = (state.bent == sign) & (sign * volts > bends.keep_v)
            # and one of its two signs is left by way of rest: a hot filament cut off floats at the wrong sign
            begins = (state.bent == 0) & (sign * volts > bends.start_v) & (sign * volts > bends.keep_v)
            # a test lamp that is not fitted does not glow
            able = ~bends.seized & (solved.circuits.at(bends.branch)[0] > 0)[at]
            after.bent = np.where((keeps | begins) & able, sign, 0).astype(np.int8)
        if bends.turn is not None:
            self._in_turn(bends.turn, state, after)
        return after

    def _in_turn(self, turn: Ints, state: State, after: State) -> None:
        """Takes back the moves of what waits until others have moved; a filament that is cut off is cold at once."""
        moves = after.bent != state.bent
        first = (moves & (turn < 0)).any(axis=1, keepdims=True)
        after.pulled = np.where(first, state.pulled, after.pulled)
        second = (after.pulled != state.pulled).any(axis=1, keepdims=True) | (moves & (turn == 0)).any(
            axis=1, keepdims=True
        )
        waits = (first & (turn >= 0)) | (second & (turn > 0))
        waits &= (turn < 1) | (after.bent != 0)
        after.bent = np.where(waits, state.bent, after.bent)


def settle(
    net: Incidence,
    devices: Devices,
    circuits: Circuits,
    state: State,
    circuit: Ints | None = None,
    solve: type[Solved] = Solved,
) -> tuple[State, Bools]:
    """Follows the devices from `state` until none moves. Returns the settled state and who chatters, (C,).

    Where many cases differ in the devices' thresholds only, `circuit` (C,) says which of `circuits` is each
    case's. `solve` solves them.

    A fuse blows only in a state that the relays and bends would rest in, so that a start-up current does
    not blow it; a chattering case keeps its last state. While others buzz a filament gets hot, and so what chatters
    is followed once more with filaments hot at once.
    """
    circuit = np.arange(circuits.count) if circuit is None else circuit
    settled, chatters = _follow(net, devices, circuits, state, circuit, solve)
    turn, rows = devices.bends.turn, np.flatnonzero(chatters)
    if rows.size and turn is not None and (turn > 0).any():
        here = devices.rows(rows)
        hot = replace(here, bends=replace(here.bends, turn=np.where(turn > 0, -1, turn)))
        again, buzzes = _follow(net, hot, circuits, state.rows(rows), circuit[rows], solve)
        rests = np.flatnonzero(~buzzes)
        settled.put(rows[rests], again.rows(rests))
        chatters[rows[rests]] = False
    return settled, chatters


def _follow(
    net: Incidence, devices: Devices, circuits: Circuits, state: State, circuit: Ints, solve: type[Solved]
) -> tuple[State, Bools]:
    """From state to state until none moves, or it is known to go on for ever."""
    chatters = np.zeros(circuit.size, dtype=bool)
    moving = np.arange(circuit.size)
    shared = circuit.size > circuits.count
    state = devices.cold(state)
    base: Circuits | None = None
    history: list[State] = []  # of the cases that still move: how they were before each round
    for done in range(1, ROUNDS + 1):
        here = devices.rows(moving)
        before = state.rows(moving)
        history.append(before)
        first, at = _alike(circuit[moving], before) if shared else (np.arange(moving.size), slice(None))
        healthy = moving[0] == 0 and first[0] == 0
        base = here.rows(first).impose(
            circuits.rows(circuit[moving[first]]), before.rows(first), None if healthy else base
        )
        after = here.look(solve(net, base), before, at)
        moved = (after.pulled != before.pulled).any(axis=1) | (after.bent != before.bent).any(axis=1)
        after.blown = np.where(moved[:, None], before.blown, after.blown)
        moved |= (after.blown != before.blown).any(axis=1)
        state.put(moving, after)
        for back in range(done - 1):
            # where it has been before, it goes round and round: how it would be after all rounds is known by now
            again = np.flatnonzero(moved & (after.bits() == history[back].bits()).all(axis=1))
            state.put(moving[again], history[back + (ROUNDS - back) % (done - back)].rows(again))
            chatters[moving[again]] = True
            moved[again] = False
        history = [past.rows(np.flatnonzero(moved)) for past in history]
        moving = moving[moved]
        if not moving.size:
            break
    chatters[moving] = True
    return state, chatters


def _alike(circuit: Ints, state: State) -> tuple[Ints, Ints]:
    """The first of each kind of case with one circuit in one state; and of which kind each case is, (C,)."""
    rows = np.column_stack([circuit.astype(np.int32).view(np.int8).reshape(circuit.size, 4), state.bits()])
    kinds = np.ascontiguousarray(rows).view(np.dtype((np.void, rows.shape[1]))).ravel()
    _, first, at = np.unique(kinds, return_index=True, return_inverse=True)
    order = np.argsort(first)
    rank = np.empty_like(order)
    rank[order] = np.arange(order.size)
    return first[order], rank[at.ravel()]
