"""How things stand while one reads: key state, what is out, what is operated, what is fitted for the test."""

from __future__ import annotations

from dataclasses import dataclass, replace

from troubleshoot.circuit.circuit import Circuit
from troubleshoot.parts import Fuse, OilSwitch, Switch
from troubleshoot.parts.keys import BEFORE


@dataclass(frozen=True)
class Setup:
    """The key state and what one has changed. The key always came here through the states before it, from off.

    `removed`: out, unplugged or (the battery) off. `operated`: switches pressed, on or hot. `fitted`: test loads
    and leads, `lamp@pump`. `warm`: after long work. `reseated`: pulled and pushed back in before.
    """

    key: str
    removed: frozenset[str] = frozenset()
    operated: frozenset[str] = frozenset()
    fitted: frozenset[str] = frozenset()
    warm: bool = False
    reseated: frozenset[str] = frozenset()

    @property
    def tail(self) -> str:
        """What makes it differ from the plain key state, as a check's id says it."""
        marks = ((self.removed, "-"), (self.operated, "+"), (self.fitted, "with "), (self.reseated, "reseated "))
        said = "".join(f" {mark}{name}" for names, mark in marks for name in sorted(names))
        return said + (" warm" if self.warm else "")


def setup_before(circuit: Circuit, setup: Setup) -> Setup | None:
    """The setup that one comes from: a switch is operated last at key on (or the last key state before it), and
    what prevents the start is unplugged just for cranking. None for the key off with nothing operated."""
    if setup.operated and setup.key in ("off", "accessory", "prime", "on"):
        return replace(setup, operated=frozenset())
    key = BEFORE.get(setup.key, "")
    while key and key not in circuit.keys:
        key = BEFORE.get(key, "")
    if not key:
        return None
    turned = setup.key in ("cranking", "remote")
    return replace(setup, key=key, removed=setup.removed - (circuit.unplugged_to_crank if turned else frozenset()))


def key_before(circuit: Circuit, setup: Setup) -> str:
    """The key state just before this one, its own where only a switch is operated."""
    before = setup_before(circuit, setup)
    return before.key if before else setup.key


def working_setup(circuit: Circuit, removed: frozenset[str] = frozenset()) -> Setup:
    """The setup in which the load should work."""
    if circuit.works.key == "cranking":
        removed |= circuit.unplugged_to_crank
    return Setup(circuit.works.key, removed, frozenset(circuit.works.operate))


def cranking_setup(circuit: Circuit) -> Setup | None:
    """Cranking for a reading, with the start prevented as the file says; None where nothing cranks."""
    if "cranking" not in circuit.keys:
        return None
    return Setup("cranking", circuit.unplugged_to_crank, frozenset(circuit.works.operate))


def live_setup(circuit: Circuit) -> Setup:
    """Where the load works long enough for a reading: the working setup; cranking where that is a prime of seconds."""
    working = working_setup(circuit)
    return (cranking_setup(circuit) or working) if working.key == "prime" else working


def pressure_setup(circuit: Circuit) -> Setup | None:
    """The engine turned by a remote button until oil pressure shows; None where no part goes by it."""
    if "remote" not in circuit.keys or not any(isinstance(part, OilSwitch) for part in circuit.parts.values()):
        return None
    return Setup("remote", circuit.unplugged_to_crank, frozenset(circuit.works.operate))


def resting_setups(circuit: Circuit) -> list[Setup]:
    """The plain key states in which one reads with nothing operated."""
    return [Setup(key) for key in ("off", "accessory", "on") if key in circuit.keys]


def backup_setup(circuit: Circuit) -> Setup | None:
    """Oil pressure with the relays out: does the backup switch alone feed the load? None where there is no backup."""
    pressure = pressure_setup(circuit)
    if not pressure or not any(isinstance(p, OilSwitch) and p.style == "backup" for p in circuit.parts.values()):
        return None
    return replace(pressure, removed=pressure.removed | frozenset(circuit.relays))


def off_setup(circuit: Circuit) -> Setup | None:
    """The key off with the load's switch operated: must it stop then? None where there is no such switch, or where it
    works with the key off."""
    if not circuit.works.operate or circuit.works.key == "off":
        return None
    return Setup("off", operated=frozenset(circuit.works.operate))


def partly_operated(circuit: Circuit) -> list[Setup]:
    """Where the load wants several switches: each of them alone, as a first stage or where the load has to rest."""
    operate = circuit.works.operate
    return [replace(working_setup(circuit), operated=frozenset({name})) for name in operate] if operate[1:] else []


def live_setups(circuit: Circuit) -> list[Setup]:
    """The setups in which the circuit is to be judged: at rest, working, cranking, with oil pressure."""
    more = (working_setup(circuit), cranking_setup(circuit), pressure_setup(circuit), backup_setup(circuit),
            off_setup(circuit))  # fmt: skip
    some = [setup for setup in more if setup]
    return list(dict.fromkeys([*resting_setups(circuit), *some, *partly_operated(circuit)]))


def cut_offs(circuit: Circuit) -> list[str]:
    """Safety cut-offs that can be unplugged to prove that they stop the load."""
    return [n for n, p in circuit.parts.items() if isinstance(p, Switch) and p.style == "inertia"]


def fuses_out(circuit: Circuit) -> frozenset[str]:
    """The fuses that can be pulled."""
    return frozenset(n for n, p in circuit.parts.items() if isinstance(p, Fuse) and p.pulls_out)


def dead_setup(circuit: Circuit, fuses: bool = False) -> Setup:
    """Power off, relays and loads out: for ohms."""
    out = {circuit.battery, *circuit.relays, *circuit.loads}
    return Setup("off", frozenset(out) | (fuses_out(circuit) if fuses else frozenset()))
