"""What a person would see, hear or feel for every suspect: chances of each answer, and of each complaint."""

from __future__ import annotations

import numpy as np

from troubleshoot.circuit.checks import Check, Setup
from troubleshoot.expect.cells import NOTHING_WRONG
from troubleshoot.expect.table import Behaviour, Table
from troubleshoot.solve.linear import Bools, Floats

HOT_W = 4.0
"""Watts in a part's joints from which it is felt as hot after a minute (invented); a coil's own 2 W is less."""

WEAK_SHARE = 0.75
"""Share of the healthy motor current under which a pump is heard as weak (invented)."""

COMPLAINTS = {
    "cranks-no-start": "the engine cranks but does not start",
    "dead-while-cranking": "the pump stops just while cranking",
    "runs-key-off": "the pump runs with the key off",
    "runs-on": "the pump runs on after the key is turned off",
    "weak": "the pump runs but weakly",
    "blows-fuse": "it blows its fuse",
    "comes-and-goes": "it comes and goes",
    "dies-hot": "it dies when hot",
    "chatters": "the relay chatters or buzzes",
    "unsure": "not sure",
}

FLOOR = 0.03
"""Chance of a complaint that the fault does not explain: people mix up and mishear (invented)."""


def answer_chances(table: Table, check: Check, wrong_look: float) -> Floats:
    """Chance of each of the check's answers for every cell, (C, answers), rows summing to 1."""
    sharp = table.remembered(check.first_id, lambda: _sharp_chances(table, check))
    return np.asarray(sharp * (1 - wrong_look) + wrong_look / sharp.shape[1])


def _sharp_chances(table: Table, check: Check) -> Floats:
    kind, _, name = check.about.partition(":")
    behaviour = table.behaviour(check.setup if kind != "whole" else Setup("off"))
    return {"click": _click, "runs": _runs, "whole": _whole, "hot": _hot}[kind](table, behaviour, name)


def _click(table: Table, behaviour: Behaviour, name: str) -> Floats:
    pulled = behaviour.pulled[name].astype(float)
    welded = table.bench.devices.relays.welded[:, [d.name for d in table.network.relays].index(name)]
    # the armature of a welded relay may be held in: it may click or not
    clicks = np.where(welded, 0.5 * pulled, pulled)
    return _with_buzz(np.stack([clicks, 1 - clicks, np.zeros_like(clicks)], axis=1), behaviour.chatters)


def _with_buzz(chances: Floats, chatters: Bools) -> Floats:
    return np.where(chatters[:, None], np.array([0.1, 0.0, 0.9]), chances)


def strength(table: Table, behaviour: Behaviour, name: str) -> Floats:
    """Motor current as a share of the healthy one with the key on, 0 where it does not turn, (C,)."""
    turning = behaviour.turning[name]
    index = [d.name for d in table.network.motors].index(name)
    motors = table.bench.devices.motors
    amps = (behaviour.motor_v[name] - motors.emf_v[:, index]) * motors.run_siemens[:, index]
    healthy = table.behaviour(Setup("on")).motor_v[name][0]
    healthy_a = (healthy - motors.emf_v[0, index]) * motors.run_siemens[0, index]
    return np.where(turning, np.maximum(amps / healthy_a, 0), 0.0)


def _runs(table: Table, behaviour: Behaviour, name: str) -> Floats:
    share = strength(table, behaviour, name)
    weak = 1 / (1 + np.exp((share - WEAK_SHARE) / 0.06))
    runs = np.where(share > 0, 1.0, 0.0)
    chances = np.stack([runs * (1 - weak), runs * weak, 1 - runs], axis=1)
    return np.where(behaviour.chatters[:, None], np.array([0.2, 0.6, 0.2]), chances)


def _whole(table: Table, behaviour: Behaviour, name: str) -> Floats:
    blown = behaviour.blown[name].astype(float)
    return np.stack([1 - blown, blown], axis=1)


def _hot(table: Table, behaviour: Behaviour, name: str) -> Floats:
    watts = behaviour.heat_w.get(name, np.zeros(len(table.cells)))
    hot = 1 / (1 + (np.maximum(watts, 1e-9) / HOT_W) ** -3)
    return np.stack([hot, 1 - hot], axis=1)


TELLS = {"dead-while-cranking": "on", "weak": "on", "runs-key-off": "off", "runs-on": "off"}
"""The key state in which a complaint has said already whether the motor runs: not asked again."""


def told_already(check: Check, complaint: str) -> bool:
    """Whether the complaint has answered this observation."""
    return check.about.startswith("runs:") and TELLS.get(complaint) == check.setup.key


def complaint_chances(table: Table, complaint: str) -> Floats:
    """Chance of each cell's car being brought with this complaint, relative, (C,)."""
    if complaint not in COMPLAINTS:
        raise KeyError(complaint)
    if complaint == "unsure":
        return np.ones(len(table.cells))
    off, on, crank = (table.behaviour(s) for s in (Setup("off"), Setup("on"), table.crank))
    pump = table.network.motors[0].name
    at_on, at_crank, at_off = (strength(table, b, pump) for b in (on, crank, off))
    runs, dead = at_on > 0, at_crank == 0
    weak = (at_on > 0) & ((at_on < 0.85) | (at_crank < 0.5)) & ~dead
    blown = np.any(list(on.blown.values()), axis=0)
    chatters = on.chatters | crank.chatters
    kinds = np.array([cell.fault.prior for cell in table.cells])
    loose = np.isin(kinds, ["stretch-bad", "ground-joint", "contacts-burnt", "switch-contact"])
    warm = np.isin(kinds, ["weak-coil", "coil-shorted-turns", "pump-worn", "coil-open", "pump-open"])
    fits = {
        "cranks-no-start": np.maximum(dead * np.where(runs, 0.5, 1.0), weak * 0.6),
        "dead-while-cranking": (runs & dead) * 1.0,
        "runs-key-off": (at_off > 0) * 1.0,
        "runs-on": (at_off > 0) * 1.0,
        "weak": weak * 1.0 + (runs & ~weak) * 0.1,
        "blows-fuse": blown * 1.0,
        "comes-and-goes": np.where(loose, 1.0, 0.3),
        "dies-hot": np.where(warm, 1.0, 0.3),
        "chatters": chatters * 1.0,
    }[complaint]
    elsewhere = 0.3 if complaint in ("cranks-no-start", "weak", "comes-and-goes", "dies-hot") else 0.05
    healthy = np.array([cell.fault is NOTHING_WRONG for cell in table.cells])
    return np.asarray(np.maximum(np.where(healthy, np.maximum(fits, elsewhere), fits), FLOOR))
