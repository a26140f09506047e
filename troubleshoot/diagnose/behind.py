"""The cause behind the cause: why a fuse has blown or contacts have burnt, and what shows it before a new part goes in.

Every other fault of the circuit that sends more through the part than it is made for is asked how well it explains,
beside the one that was named, what was read. What no model has (an old fuse, a chafe that touches only at times) is
told beside them. All proofs are done with the power off, or with a lamp in place of the fuse.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from troubleshoot.circuit.checks import reading
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.circuit.setups import dead_setup, live_setups
from troubleshoot.diagnose.belief import prior_of
from troubleshoot.diagnose.evidence import Known
from troubleshoot.diagnose.pair_cells import pair
from troubleshoot.diagnose.pairs import fits_beside
from troubleshoot.expect.moves import LEAKS_OHM
from troubleshoot.expect.table import Table
from troubleshoot.parts import Fuse
from troubleshoot.parts.branch import Change, Fault
from troubleshoot.parts.fuse import BLOW_FACTOR
from troubleshoot.solve.linear import Floats
from troubleshoot.words import say

CARRIES = 1.1
"""Share of its rating that a fuse carries for a hundred hours (ISO 8820-3, from memory)."""

HOLDS = 1e6
"""Times its rating at which a fuse blows that is to show what would flow."""

BURNS = 2.0
"""Times the healthy current at which contacts are sure to suffer (invented)."""

LEAST = 0.02
"""Probability under which a cause is not told."""

MOST = 5

TELLS = 3.0
"""Sigmas between a cause and none from which an ohms reading shows it."""


@dataclass(frozen=True)
class Cause:
    """Why the named part failed: `fault` is its name, "" for what no circuit file has; `proof` says what shows it."""

    fault: str
    say: str
    probability: float
    proof: str


UNSEEN_FUSE = (
    ("it was just old: fuses tire of years of starting currents", 0.4,
     "nothing below or above shows anything, and the new fuse of the same rating holds"),
    ("a wire behind it touches metal only now and then", 0.4,
     "with the power off and the loads unplugged, ohms from the dead side of the fuse to ground, while somebody moves "
     "every wire behind it: the reading must not dip"),
    ("a fuse of too small a rating was in", 0.2, "read the number on the blown one"),
)  # fmt: skip
"""Causes of a blown fuse that no circuit file has, their shares (invented), and what shows each."""

UNSEEN_CONTACT = (
    ("the contacts have simply done their years", 0.6, "the load takes its healthy current (clamp)"),
    ("a loose fit made them hot", 0.4,
     "with the power off, pull the relay: a contact of the socket that is browned, melted or holds a blade loosely"),
)  # fmt: skip
"""The same of burnt or welded contacts (invented)."""


def has_cause_behind(fault: Fault) -> bool:
    """Whether a fault is not a verdict by itself."""
    return (fault.prior == "fuse-blown" and fault.mode == "blown") or fault.prior in (
        "contacts-burnt",
        "contacts-welded",
    )


def causes(table: Table, guesses: Guesses, evidence: Sequence[Known], name: str) -> tuple[Cause, ...]:
    """Why a named fault came about, likeliest first; none where the fault needs no cause behind it."""
    fault = table.faults.get(name)
    if fault is None or not has_cause_behind(fault):
        return ()
    plain = prior_of(table, guesses)[:-1]
    names = np.array(table.names)
    brings = plain * _brings(table, fault)
    brings *= fits_beside(table, guesses, evidence, name, among=set(names[brings > 0]))[:-1]
    found = {other: float(brings[names == other].sum()) for other in dict.fromkeys(names[brings > 0])}
    alone = float(plain[names == name].sum())
    total = alone + sum(found.values())
    told = [
        Cause(n, table.faults[n].say, p / total, _proof(table, fault, n))
        for n, p in found.items() if p / total > LEAST
    ]  # fmt: skip
    unseen = UNSEEN_FUSE if fault.mode == "blown" else UNSEEN_CONTACT
    told += [Cause("", so, share * alone / total, proof) for so, share, proof in unseen]
    return tuple(sorted(told, key=lambda cause: -cause.probability)[:MOST])


def _brings(table: Table, fault: Fault) -> Floats:
    """Chance of each cell's fault bringing this one about, (C,)."""
    part = table.network.circuit.parts[fault.part]
    if isinstance(part, Fuse):
        most = _amps(table, f"{fault.part}.element", Change(fault.part, "blow", HOLDS)) / part.rating
        low, high, healthy = CARRIES, BLOW_FACTOR, most[0]
    else:
        most = _amps(table, next(d.make[0] for d in table.network.relays if d.name == fault.part))
        low, high, healthy = CARRIES * most[0], BURNS * most[0], most[0]
    chance = np.clip((most - low) / (high - low), 0.0, 1.0)
    chance[(most <= CARRIES * healthy) | np.array([cell.fault.part == fault.part for cell in table.cells])] = 0.0
    return np.asarray(chance)


def _amps(table: Table, branch: str, *held: Change) -> Floats:
    """Largest current through a branch in any live setup for each cell, (C,), with some changes made to all."""
    cells = [replace(cell, fault=replace(cell.fault, changes=(*cell.fault.changes, *held))) for cell in table.cells]
    beside, at = table.beside(cells), np.array([table.network.branch_at[branch]])
    setups = live_setups(table.network.circuit)
    return np.asarray(np.max([np.abs(beside.bench.solved(setup).amps(at)[:, 0]) for setup in setups], axis=0))


# ---- what shows it


def _proof(table: Table, fault: Fault, other: str) -> str:
    """What shows a cause before a new part goes in."""
    circuit = table.network.circuit
    name = other.partition(":")[0]
    lamp = next((f.say for f in table.network.fittings if f.name == f"lamp@{fault.part}"), "")
    if ohms := _ohms_proof(table, fault, other):
        return ohms
    if name not in circuit.loads:
        return f"{lamp}: bright while it is there" if lamp else "look at it with the power off"
    spoken = circuit.named_parts[name].spoken
    if lamp and _stands_on_lamp(table, fault, other):
        return (
            f"{lamp}: a sound {spoken} turns on it, if slowly, and this one does not; with the power off, one that can "
            "be reached turns freely by hand"
        )
    if lamp:
        return f"{lamp}: bright, and dark once the {spoken} is unplugged"
    healthy_a = abs(table.behaviour(table.working).amps[circuit.loads[name].branch][0])
    return f"a clamp round a wire of the {spoken} while it works: about {healthy_a:.2g} A where it is sound, more if so"


def _stands_on_lamp(table: Table, fault: Fault, other: str) -> bool:
    """Whether a load that turns on the lamp in place of the fuse when it is sound does not with this fault."""
    lamp = next((check for check in table.checks if check.about == f"lamp:lamp@{fault.part}"), None)
    if lamp is None:
        return False
    cell = next(cell for cell in table.cells if cell.fault.name == other)
    branch = table.network.circuit.loads[cell.fault.part].branch
    bent = table.beside([table.cells[0], cell]).behaviour(lamp.setup).bent.get(branch, np.zeros(2, dtype=np.int8))
    return bool(bent[0] != 0 and bent[1] == 0)


def _ohms_proof(table: Table, fault: Fault, other: str) -> str:
    """The reading in ohms, power off, that tells this cause best from none, and what it shows; "" where none does."""
    network = table.network
    circuit = network.circuit
    dead = [check for check in table.readings if check.is_ohms and circuit.battery in check.setup.removed]
    if isinstance(circuit.parts[fault.part], Fuse) and dead:
        frame = next((check.black for check in dead if check.black.endswith(".metal")), f"{circuit.battery}.neg")
        dead.insert(0, reading(network, f"{fault.part}.out", frame, "ohms", dead_setup(circuit)))
    alone = next(cell for cell in table.cells if cell.fault.name == fault.name)
    heaviest = max((c for c in table.cells if c.fault.name == other), key=lambda cell: cell.weight)
    both = pair(alone, heaviest)
    if both is None:
        return ""
    few, best, told = table.beside([alone, both]), TELLS, ""
    for check in dead:
        seen = few.predict(check)
        apart = abs(seen.mean[1] - seen.mean[0]) / np.hypot(*seen.sigma)
        if apart > best:
            none, so = (_ohm(float(np.exp(mean) - 0.5)) for mean in seen.mean)
            best, told = apart, f"{say.say_check(network, check)} It reads about {so} if so, {none} if not."
    return told


def _ohm(ohm: float) -> str:
    """Ohms in words; where only leakage is left, that is as good as open."""
    return "OL" if ohm > LEAKS_OHM else say.say_ohm(ohm)
