"""What a person would see, hear or feel for every suspect: chances of each answer, and of each complaint."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from troubleshoot.circuit.checks import Check, place_of
from troubleshoot.circuit.circuit import Circuit
from troubleshoot.circuit.complaints import COMPLAINTS
from troubleshoot.circuit.network import Network
from troubleshoot.circuit.setups import Setup, off_setup, working_setup
from troubleshoot.expect.cells import NOTHING_WRONG
from troubleshoot.expect.prediction import Behaviour
from troubleshoot.expect.table import Table
from troubleshoot.parts import Relay
from troubleshoot.parts.branch import Fault
from troubleshoot.solve.linear import Bools, Floats, Ints

HOT_W = 4.0
"""Watts in a part's joints from which it is felt as hot after a minute (invented); a coil's own 2 W is less."""

WEAK_SHARE = 0.75
"""Share of the healthy motor current under which a pump is heard as weak (invented)."""

SEEN_SHARE = 0.04
"""Share of the healthy current under which nobody would say that it works (a filament still dark; invented)."""

BRIGHT_V = 8.5
DARK_V = 2.0
"""Volts from which a 12 V bulb is called bright, and under which dark (invented)."""

FLOOR = 0.03
"""Chance of a complaint that the fault does not explain: people mix up and mishear (invented)."""


def answer_chances(table: Table, check: Check, wrong_look: float, cells: Ints | None = None) -> Floats:
    """Chance of each of the check's answers for every cell, or for these, (cells, answers), rows summing to 1."""
    sharp = table.remembered(check.first_id, lambda: _sharp_chances(table, check))
    sharp = sharp if cells is None else sharp[cells]
    return np.asarray(sharp * (1 - wrong_look) + wrong_look / sharp.shape[1])


def _sharp_chances(table: Table, check: Check) -> Floats:
    kind, _, name = check.about.partition(":")
    if kind == "hot":
        return _hot(table, check.setup, name)
    if kind == "swap":
        return _swap(table, check.setup, name, len(check.answers))
    behaviour = table.behaviour(check.setup if kind != "whole" else Setup("off"))
    how = {
        "click": _click,
        "runs": _runs,
        "flows": _flows,
        "whole": _whole,
        "lamp": _lamp,
        "numbers": _numbers,
        "wiggle": _wiggle,
    }[kind]
    return how(table, behaviour, name)


def _click(table: Table, behaviour: Behaviour, name: str) -> Floats:
    pulled = behaviour.pulled[name].astype(float)
    welded = table.bench.devices.relays.welded[:, [d.name for d in table.network.relays].index(name)]
    # the armature of a welded relay may be held in: it may click or not
    clicks = np.where(welded, 0.5 * pulled, pulled)
    return _with_buzz(np.stack([clicks, 1 - clicks, np.zeros_like(clicks)], axis=1), behaviour.chatters)


def _with_buzz(chances: Floats, chatters: Bools) -> Floats:
    return np.where(chatters[:, None], np.array([0.1, 0.0, 0.9]), chances)


def strength(table: Table, behaviour: Behaviour, name: str) -> Floats:
    """A load's current as a share of the healthy one when it should work, 0 where it does not, (C,)."""
    branch = table.network.circuit.loads[name].branch
    healthy_a = abs(table.behaviour(table.working).amps[branch][0])
    share = np.abs(behaviour.amps[branch]) / healthy_a
    return np.where(behaviour.bent[branch] != 0, share, 0.0)


def _runs(table: Table, behaviour: Behaviour, name: str) -> Floats:
    share = strength(table, behaviour, name)
    weak = 1 / (1 + np.exp((share - WEAK_SHARE) / 0.06))
    runs = np.where(share > SEEN_SHARE, 1.0, 0.0)
    chances = np.stack([runs * (1 - weak), runs * weak, 1 - runs], axis=1)
    return np.where(behaviour.chatters[:, None], np.array([0.2, 0.6, 0.2]), chances)


def _flows(table: Table, behaviour: Behaviour, name: str) -> Floats:
    """Whether it delivers: it turns the right way, and not feebly."""
    forward = behaviour.bent[table.network.circuit.loads[name].branch] == 1
    weak = 1 / (1 + np.exp((strength(table, behaviour, name) - WEAK_SHARE / 2) / 0.06))
    yes = forward * (1 - weak)
    return np.stack([yes, 1 - yes], axis=1)


def _lamp(table: Table, behaviour: Behaviour, name: str) -> Floats:
    """Bright, dim or dark, by the volts across the bulb."""
    branch = f"{name}.filament"
    device = next(d for d in table.network.bends if d.branch == branch)
    amps = np.abs(behaviour.amps[branch])
    volts = np.where(behaviour.bent[branch] != 0, device.emf_v + amps * device.run_ohm, 0.0)
    bright = 1 / (1 + np.exp((BRIGHT_V - volts) / 0.7))
    dark = 1 / (1 + np.exp((volts - DARK_V) / 0.4))
    return np.stack([bright, 1 - bright - dark, dark], axis=1)


def _numbers(table: Table, behaviour: Behaviour, name: str) -> Floats:
    """Whether blades, socket and wires match, by number and colour."""
    del behaviour
    wrong = np.array([cell.fault.shows == name for cell in table.cells]) * 1.0
    return np.stack([1 - wrong, wrong], axis=1)


HEAT = ("coil-open", "load-open", "fuse-blown")
"""Kinds that heat brings and rest takes away: a winding that opens, a breaker that closes again."""


def by_heat(table: Table) -> Bools:
    """Which cells' faults come and go by heat, (C,)."""
    breaks = {d.name for d in table.network.fuses if d.resets}
    return np.array([c.fault.prior in HEAT and (c.fault.prior != "fuse-blown" or c.fault.part in breaks)
                     for c in table.cells], dtype=bool)  # fmt: skip


STEADY_MOVES = 0.03
"""Chance that a load is heard to change while something is moved, where no fault comes and goes (invented)."""

MOVES, MOVES_BESIDE, MOVES_ELSEWHERE = 0.85, 0.25, 0.1
"""The same for a fault that comes and goes: moved itself; one of a part whose wires are moved, or the other way round;
something else is moved, or heat brings it, whatever is moved (invented)."""


def _wiggle(table: Table, behaviour: Behaviour, name: str) -> Floats:
    """Of what is there all the time nothing changes while one moves it."""
    return np.tile([STEADY_MOVES, 1 - STEADY_MOVES], (len(table.cells), 1))


def wiggle_chances(table: Table, check: Check) -> Floats:
    """Chance that the load changes while a part or wire is moved, for each cell's fault that comes and goes, (C,)."""
    return table.remembered(f"{check.first_id} moved", lambda: _wiggle_chances(table, check))


def _wiggle_chances(table: Table, check: Check) -> Floats:
    place, network = check.about.partition(":")[2], table.network
    behaviour = table.behaviour(check.setup)
    loads = [strength(table, behaviour, name) for name in network.circuit.loads]
    acts = np.any([np.abs(share - share[0]) > 0.1 for share in loads], axis=0)
    ends = {w.name: {end.partition(".")[0] for end in (w.start, w.end)} for w in network.circuit.wires}
    beside = {wire for wire, pair in ends.items() if place in pair} | ends.get(place, set())
    chances = np.full(len(table.cells), MOVES_ELSEWHERE)
    at: dict[str, float] = {}
    for c, cell in enumerate(table.cells):
        if cell.fault.name not in at:
            spots = places_of(network, cell.fault)
            at[cell.fault.name] = float(np.mean(
                [MOVES if s == place else MOVES_BESIDE if s in beside else MOVES_ELSEWHERE for s in spots]
            ))  # fmt: skip
        chances[c] = at[cell.fault.name]
    chances[by_heat(table)] = MOVES_ELSEWHERE
    return np.where(acts, chances, STEADY_MOVES)


def places_of(network: Network, fault: Fault) -> list[str]:
    """What one would move to make a fault come and go: the part or wire of each branch that it may be in."""
    stretch = next((s for s in network.stretches if (s.name, "bad") == (fault.part, fault.mode)), None)
    branches = stretch.branches if stretch else [change.target for change in fault.changes]
    return [place_of(name) for name in branches] or [fault.part.partition(".")[0]]


def _whole(table: Table, behaviour: Behaviour, name: str) -> Floats:
    blown = behaviour.blown[name].astype(float)
    return np.stack([1 - blown, blown], axis=1)


def _hot(table: Table, setup: Setup, name: str) -> Floats:
    watts = heat_w(table, setup, name)
    hot = 1 / (1 + (np.maximum(watts, 1e-9) / HOT_W) ** -3)
    return np.stack([hot, 1 - hot], axis=1)


def heat_w(table: Table, setup: Setup, part: str) -> Floats:
    """Watts turned to heat in a part in a setup, but for those that do its work, (C,)."""
    net, solved = table.network, table.solved(setup)
    works = {how.branch for how in net.circuit.loads.values()}
    own = [i for i, b in enumerate(net.branches) if b.name.partition(".")[0] == part and b.name not in works]
    branches = np.array(own, dtype=np.int64)
    siemens, _ = solved.circuits.at(branches)
    return np.asarray((np.square(solved.amps(branches)) / np.maximum(siemens, 1e-12)).sum(axis=1))


def starter_turns(table: Table, setup: Setup) -> Bools:
    """In which cells a starter turns that nobody asked for: with the key on, not at start, (C,)."""
    found = np.zeros(len(table.cells), dtype=bool)
    if setup.key in ("accessory", "prime", "on"):
        for name, part in table.network.circuit.parts.items():
            if part.kind == "starter":
                found |= table.behaviour(setup).pulled[name]
    return found


SCRAPES = 0.1
"""Chance that a bad contact of a socket or holder works, for a while, once a part has been pulled out of it and another
pushed home (invented; a spread contact, which does so always, is a fault of its own)."""


def _swap(table: Table, setup: Setup, part: str, answers: int) -> Floats:
    """Whether all is as it should be with a known good one in place of a part, and for a fuse whether that blows."""
    net = table.network
    # a relay's socket has contacts that pushing home sets right
    setup = replace(setup, reseated=frozenset({part} if isinstance(net.circuit.parts[part], Relay) else ()))
    right, blows = _all_right(table, setup, part)
    own = [c for c, cell in enumerate(table.cells) if any(net.lies_in(part, change) for change in cell.fault.changes)]
    if own:
        renewed = [replace(table.cells[c], fault=net.renewed(table.cells[c].fault, part)) for c in own]
        new = _all_right(table.beside([table.cells[0], *renewed]), setup, part)
        right[own], blows[own] = (found[1:] for found in new)
    right += SCRAPES * _in_contacts(table, part) * (right[0] - right)
    works = right * (1 - blows)
    return np.stack([works, 1 - works - blows, blows], axis=1)[:, :answers]


def _all_right(table: Table, setup: Setup, fuse: str) -> tuple[Floats, Floats]:
    """Chance of each cell that all loads work in a setup, and rest with the key off as they should; and 1 where a fuse
    is blown then, (C,) each."""
    loads, at_work, at_rest = table.network.circuit.loads, table.behaviour(setup), table.behaviour(Setup("off"))
    works: Floats = np.min([_runs(table, at_work, name)[:, 0] for name in loads], axis=0)
    moves = np.array([strength(table, at_rest, name) > SEEN_SHARE for name in loads])
    rests: Bools = (moves == moves[:, :1]).all(axis=0)
    blown: Floats = np.asarray(at_work.blown.get(fuse, np.zeros(works.size)), dtype=np.float64)
    return np.where(rests, works, 0.0), blown


def _in_contacts(table: Table, part: str) -> Floats:
    """Share of each cell's one resistance that is in the contacts of a part's socket or holder, (C,)."""
    share = dict[str, float]()
    for stretch in table.network.stretches:
        own = sum(part in table.network.branches[table.network.branch_at[name]].needs for name in stretch.branches)
        share[stretch.branches[0]] = own / len(stretch.branches)
    one = [cell.fault.changes[0] if len(cell.fault.changes) == 1 else None for cell in table.cells]
    return np.array([share.get(c.target, 0.0) if c and c.what == "series" and not c.reseats else 0.0 for c in one])


TELLS = {"dead-while-cranking": "works", "weak": "works", "runs-key-off": "off", "runs-on": "off"}
"""Where a complaint has said already whether the load works: not asked again."""


def told_already(circuit: Circuit, check: Check, complaint: str) -> bool:
    """Whether the complaint has answered this observation."""
    if not check.about.startswith("runs:") or complaint not in TELLS:
        return False
    return check.setup == (working_setup(circuit) if TELLS[complaint] == "works" else Setup("off"))


SAID = 0.3
"""How likely who has a fault that comes and goes tells of it as if it were always there, against one that is
(invented)."""


def coming_chances(table: Table, complaint: str, heat: Bools) -> Floats:
    """The same for each cell's fault where it comes and goes, (C,); `heat`: by heat, not by movement."""
    if complaint == "comes-and-goes":
        return np.where(heat, 0.6, 1.0)
    if complaint == "dies-hot":
        return np.where(heat, 1.0, 0.15)
    return SAID * complaint_chances(table, complaint)


def complaint_chances(table: Table, complaint: str) -> Floats:
    """Chance of each cell's car being brought with this complaint, relative, (C,)."""
    if complaint not in COMPLAINTS:
        raise KeyError(complaint)
    if complaint == "unsure":
        return np.ones(len(table.cells))
    off, on = table.behaviour(Setup("off")), table.behaviour(table.working)
    crank = table.behaviour(table.crank) if table.crank else on
    loads = list(table.network.circuit.loads)
    at_on, at_crank = (np.min([strength(table, b, name) for name in loads], axis=0) for b in (on, crank))
    at_off = np.max([strength(table, off, name) for name in loads], axis=0)
    left_on = off_setup(table.network.circuit)
    after = table.behaviour(left_on) if left_on else off
    at_after = np.maximum(at_off, np.max([strength(table, after, name) for name in loads], axis=0))
    backwards = np.any([on.bent[how.branch] < 0 for how in table.network.circuit.loads.values()], axis=0)
    runs, dead = at_on > 0, at_crank == 0
    weak = ((at_on > 0) & ((at_on < 0.85) | (at_crank < 0.5)) & ~dead) | backwards
    blown = np.any([*on.blown.values(), *crank.blown.values()], axis=0) if on.blown else np.zeros(at_on.size, bool)
    chatters = on.chatters | crank.chatters
    kinds = np.array([cell.fault.prior for cell in table.cells])
    loose = np.isin(kinds, ["stretch-bad", "ground-joint", "contacts-burnt", "switch-contact", "spread-contact"])
    warm = np.isin(kinds, ["weak-coil", "coil-shorted-turns", "load-worn"])
    fits = {
        "cranks-no-start": np.maximum(dead * np.where(runs, 0.5, 1.0), weak * 0.6),
        "dead": np.maximum((at_on == 0) * 1.0, backwards * 0.3),
        "dead-while-cranking": (runs & dead) * 1.0,
        "runs-key-off": (at_off > 0) * 1.0,
        "runs-on": (at_after > 0) * 1.0,
        "weak": weak * 1.0 + (runs & ~weak) * 0.1,
        "blows-fuse": blown * 1.0,
        "comes-and-goes": np.where(loose, 0.2, 0.1),
        "dies-hot": np.where(warm, 1.0, 0.15),
        "chatters": chatters * 1.0,
    }[complaint]
    elsewhere = 0.3 if complaint in ("cranks-no-start", "dead", "weak", "comes-and-goes", "dies-hot") else 0.05
    healthy = np.array([cell.fault is NOTHING_WRONG for cell in table.cells])
    return np.asarray(np.maximum(np.where(healthy, np.maximum(fits, elsewhere), fits), FLOOR))
