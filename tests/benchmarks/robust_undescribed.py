"""What is said of cars with something that the circuit file lacks, and of cars with nothing wrong.

    python tests/benchmarks/robust_undescribed.py [--quick] [--seed N] [--misses]

The car is sampled from a changed circuit file (a hidden switch, a second relay, a diode, a splice to another load, the
other relay layout, a resistor wire), the reasoner has the unchanged one. What is only at work when it fails, fails.

Many such cars read exactly as a fault of the file does: an open hidden switch in the coil feed is an open in that wire.
Whether one does is worked out from the answers to all allowed checks (`reads_as`). Then nobody could know better from
readings: naming that fault, or the stretch in which the thing sits, is the right place, and counts as such. So does,
for the other layout, any fault that says "put the wires of this socket where the stamped numbers are". Flagged: "not
described" leads at the end, or has so much that the verdict names it beside. A wrong part: another fault of the file
at more than 0.97. `undescribed_flagged` counts the right place at more than 0.97 as flagged, since the verdict
says there that anything added reads the same; `undescribed_not_described_said` does not. The last line is JSON.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from robust_intermittent import Ended, reasoner_for, run_session, show
from sampled import answer, interval

from troubleshoot.car import Car
from troubleshoot.circuit import wire_up
from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.network import Network
from troubleshoot.diagnose.pairs import parts_of
from troubleshoot.diagnose.reason import SURE, Reasoner
from troubleshoot.diagnose.undescribed import BESIDE, misfits
from troubleshoot.expect.cells import NOT_DESCRIBED, NOTHING_WRONG
from troubleshoot.expect.seen import answer_chances, complaints_of
from troubleshoot.files.circuit_file import parse_circuit
from troubleshoot.places import circuit_path

CARS = 1
"""Cars of each of the twelve ways, in each circuit."""

HEALTHY = 7, 35
"""Healthy cars of each circuit, with `--quick` and without."""

HEALTHY_COMPLAINTS = ("unsure", "cranks-no-start", "dead", "weak", "comes-and-goes", "dies-hot", "dead-while-cranking")
"""What a sound circuit is brought for: no fuel, a clogged filter, no spark, or a wrong guess."""

CIRCUITS = ("pump-on-ignition-feed", "pump-feed-on-30", "pump-inertia-in-ground")
FITS_SIGMAS, MISFITS = 4.0, 0.005
"""Sigmas up to which an answer fits a cell, and the share of all answers that may lie beyond."""

LIKELY = 0.1
"""Chance of an observation from which it fits."""


@dataclass(frozen=True)
class Made:
    """A changed circuit's text; the fault of the car, by name ("" for none) and with what severity; the wires and parts
    of the file in which the thing sits; and the relay whose socket differs from the file."""

    text: str
    fault: str = ""
    severity: float | None = None
    sits: tuple[str, ...] = ()
    differs: str = ""


def _wire(text: str, name: str) -> re.Match[str]:
    found = re.search(rf"  - \{{name: {name}, from: (\S+), to: (\S+), (.*)\}}\n", text)
    assert found, name
    return found


def _metal(text: str) -> str:
    """The metal that the relay's ground goes to."""
    found = re.search(r"coil_bolt: .*to: (\w+)", text)
    assert found
    return found[1]


def _spliced(text: str, wire: str, into: str, out: str, part: str) -> str:
    """A part put into the middle of a wire."""
    at = _wire(text, wire)
    first = f"  - {{name: {wire}_near, from: {at[1]}, to: {into}, gauge: 2.5 mm², length: 0.5 m}}\n"
    second = f"  - {{name: {wire}, from: {out}, to: {at[2]}, {at[3]}}}\n"
    return _with_part(text.replace(at[0], first + second), part)


def _with_part(text: str, part: str) -> str:
    return text.replace("parts:\n", f"parts:\n  {part}\n", 1)


def _with_wire(text: str, name: str, start: str, end: str) -> str:
    line = f"  - {{name: {name}, from: {start}, to: {end}, gauge: 1.5 mm², length: 0.5 m}}\n"
    return text.rstrip("\n") + "\n" + line


def _joined(text: str, wire: str) -> str:
    """A stud in the middle of a wire, at which something else may be joined on: `added.stud`."""
    return _spliced(text, wire, "added.stud", "added.stud", "added: {kind: splice, say: added joint}")


RELAY = (
    "second: {kind: relay, contacts: make, rating: 30 A, coil_resistance: 90 ohm ± 10 %, pull_in: 7 V ± 10 %, "
    "release: 2 V ± 30 %, contact_resistance: 5 mohm ± 60 %, socket_contact: 3 mohm ± 60 %}"
)
SWITCH = "hidden: {kind: switch, style: %s, contact_resistance: 20 mohm ± 60 %%, plug_contact: 4 mohm ± 60 %%}"
DIODE = "hidden: {kind: diode, contact: 3 mohm ± 60 %}"


def switch_off(text: str, rng: np.random.Generator) -> Made:
    """A hidden switch in the coil feed, off."""
    return Made(_spliced(text, "coil_feed", "hidden.in", "hidden.out", SWITCH % "toggle"), sits=("coil_feed",))


def switch_worn(text: str, rng: np.random.Generator) -> Made:
    """A hidden switch in the coil feed, closed, its contact worn: 60 ohm to 10 kohm."""
    severity = float(np.exp(rng.uniform(np.log(80), np.log(1e4))))
    made = _spliced(text, "coil_feed", "hidden.in", "hidden.out", SWITCH % "security")
    return Made(made, "hidden:open", severity, ("coil_feed",))


def relay_on_accessory(text: str, rng: np.random.Generator) -> Made:
    """A second relay in the pump's wire, its coil on the accessory feed: it drops out while cranking."""
    made = _spliced(text, "pump_wire", "second.30", "second.87", RELAY)
    made = _with_wire(_with_wire(made, "second_feed", "ignition.acc", "second.86"), "second_ground", "second.85",
                      f"{_metal(text)}.metal")  # fmt: skip
    return Made(made, sits=("pump_wire",))


def relay_open(text: str, rng: np.random.Generator) -> Made:
    """A second relay in the pump's wire whose coil is open."""
    made = relay_on_accessory(text, rng)
    return Made(made.text.replace("from: ignition.acc, to: second.86", "from: ignition.15, to: second.86"),
                "second:coil-open", None, ("pump_wire",))  # fmt: skip


def diode_open(text: str, rng: np.random.Generator) -> Made:
    """A diode in the coil feed, open."""
    return Made(_spliced(text, "coil_feed", "hidden.anode", "hidden.cathode", DIODE), "hidden:open", None,
                ("coil_feed",))  # fmt: skip


def diode_from_battery(text: str, rng: np.random.Generator) -> Made:
    """A diode from the unswitched feed into the coil feed: the relay stays in with the key off."""
    made = _with_part(_joined(text, "coil_feed"), DIODE)
    return Made(_with_wire(_with_wire(made, "a", "link.out", "hidden.anode"), "b", "hidden.cathode", "added.stud"),
                sits=("coil_feed",))  # fmt: skip


def load_too_much(text: str, rng: np.random.Generator) -> Made:
    """Another load spliced to the pump's wire: too much for the fuse."""
    ohm = rng.uniform(0.35, 0.6)
    made = _with_part(
        _joined(text, "pump_wire"), f"extra: {{kind: load, case: {_metal(text)}, resistance: {ohm:.2f} ohm}}"
    )
    return Made(_with_wire(made, "a", "added.stud", "extra.in"), sits=("pump_wire",))


def load_feeds_back(text: str, rng: np.random.Generator) -> Made:
    """A lamp from the unswitched feed spliced to the coil feed: it feeds the coil with the key off."""
    ohm = rng.uniform(8, 25)
    made = _with_part(_joined(text, "coil_feed"), f"extra: {{kind: load, resistance: {ohm:.1f} ohm}}")
    return Made(_with_wire(_with_wire(made, "a", "link.out", "extra.in"), "b", "extra.out", "added.stud"),
                sits=("coil_feed",))  # fmt: skip


def layout_exchanged(text: str, rng: np.random.Generator) -> Made:
    """Wired for the other layout: 30 and 86 have changed places."""
    swap = {"relay.30,": "relay.86,", "relay.86,": "relay.30,"}
    return Made(re.sub(r"relay\.(30|86),", lambda m: swap[m[0]], text), differs="relay")


def layout_turned(text: str, rng: np.random.Generator) -> Made:
    """Wired for a layout turned by one blade: 85, 86 and 87 have changed places in a ring."""
    turn = {"relay.85,": "relay.86,", "relay.86,": "relay.87,", "relay.87,": "relay.85,"}
    return Made(re.sub(r"relay\.(85|86|87),", lambda m: turn[m[0]], text), differs="relay")


def resistor_wire(text: str, rng: np.random.Generator) -> Made:
    """A resistor wire in the pump's feed."""
    ohm = rng.uniform(0.8, 3)
    made = _spliced(text, "pump_wire", "extra.in", "extra.out", f"extra: {{kind: load, resistance: {ohm:.1f} ohm}}")
    return Made(made, sits=("pump_wire",))


def resistor_bypassed(text: str, rng: np.random.Generator) -> Made:
    """A resistor wire in the pump's feed that a wire from the starter's terminal passes by while cranking."""
    made = resistor_wire(text, rng)
    made_text = _with_part(made.text, DIODE)
    return Made(_with_wire(_with_wire(made_text, "a", "starter.50", "hidden.anode"), "b", "hidden.cathode",
                           "extra.out"), sits=("pump_wire",))  # fmt: skip


KINDS: dict[str, tuple[Callable[[str, np.random.Generator], Made], ...]] = {
    "hidden switch": (switch_off, switch_worn),
    "second relay": (relay_on_accessory, relay_open),
    "diode": (diode_open, diode_from_battery),
    "splice to another load": (load_too_much, load_feeds_back),
    "other relay layout": (layout_exchanged, layout_turned),
    "resistor wire": (resistor_wire, resistor_bypassed),
}


class MadeCar(Car):
    """A car of a changed circuit. Who compares the socket with the file sees where it differs."""

    def __init__(self, made: Made, seed: int) -> None:
        network = _network(made.text)
        fault = next((f for f in network.faults if f.name == made.fault), None)
        assert fault or not made.fault, made.fault
        super().__init__(network, fault, made.severity, seed)
        self._differs = made.differs

    def answer(self, check: Check) -> str:
        """As the car gives it."""
        return check.answers[1] if check.about == f"numbers:{self._differs}" else super().answer(check)


@cache
def _network(text: str) -> Network:
    return wire_up(parse_circuit(text))


def reads_as(reasoner: Reasoner, car: Car) -> frozenset[str]:
    """Faults of the file of which one cell fits all that every allowed check would show."""
    table = reasoner.table
    bad = np.zeros(len(table.cells))
    for check, text in zip(reasoner.checks, car.survey(reasoner.checks), strict=True):
        known = answer(check, text)
        if known.choice >= 0:
            bad += answer_chances(table, check, 0.0)[:, known.choice] < LIKELY
            continue
        predicted = table.predict(check)
        off = np.abs(known.value - predicted.mean) / np.hypot(predicted.sigma, known.sigma)
        bad += (off > FITS_SIGMAS) & ~(predicted.floats & (abs(known.value) < 0.3))
    fits = np.flatnonzero(bad <= MISFITS * len(reasoner.checks))
    return frozenset(table.names[c] for c in fits)


def verdict_on(reasoner: Reasoner, made: Made, ended: Ended, alike: frozenset[str]) -> str:
    """Flagged, right place, wrong part or not sure."""
    if ended.lead.faults[0] == NOT_DESCRIBED.name or (ended.belief.p_cell[-1] > BESIDE and misfits(ended.belief)):
        return "flagged"

    def is_right(part: str) -> bool:
        at_socket = made.differs != "" and reasoner.fault(part).shows == made.differs
        return part in alike or at_socket or part.partition(":")[0].partition(".at.")[0] in made.sits

    if any(all(map(is_right, parts_of(name))) for name in ended.lead.faults):
        return "right place" if ended.lead.probability > SURE else "not sure, right place"
    return "wrong part" if ended.lead.probability > SURE else "not sure"


def figures(quick: bool, seed: int) -> dict[str, object]:
    """Sessions on cars with something that the file lacks, and on cars with nothing wrong."""
    rng = np.random.default_rng([seed, 9])
    said: dict[str, list[str]] = {kind: [] for kind in KINDS}
    could, misses = [], []
    for circuit in CIRCUITS[: 1 if quick else 3]:
        reasoner, text = reasoner_for(circuit), circuit_path(circuit).read_text(encoding="utf-8")
        for kind, makes in KINDS.items():
            for make in [*makes] * (1 if quick else CARS):
                made = make(text, rng)
                car = MadeCar(made, int(rng.integers(2**31)))
                alike, ended = reads_as(reasoner, car), run_session(reasoner, car, car.complaint())
                verdict = verdict_on(reasoner, made, ended, alike)
                said[kind].append(verdict)
                could += [] if alike else [verdict]
                if verdict in ("wrong part", "not sure"):
                    head = (
                        f"{circuit}: {make.__name__}, reads as {', '.join(alike) or 'no fault of the file'}: {verdict}"
                    )
                    lead = f"said {', '.join(ended.lead.faults)} ({ended.lead.probability:.3f})"
                    misses.append("\n    ".join([head, lead, *ended.story]))
    every = [verdict for mine in said.values() for verdict in mine]
    for kind, mine in said.items():
        print(f"{kind:24} " + ", ".join(f"{mine.count(verdict)} {verdict}" for verdict in dict.fromkeys(mine)))
    flagged, wrong = every.count("flagged"), every.count("wrong part")
    placed = every.count("right place")
    print(f"{len(could)} of {len(every)} read as no fault of the file: {could.count('flagged')} of these flagged")
    return {
        "undescribed_sessions": len(every),
        "undescribed_flagged": round((flagged + placed) / len(every), 4),
        "undescribed_interval": interval(flagged + placed, len(every)),
        "undescribed_not_described_said": round(flagged / len(every), 4),
        "undescribed_right_place": round(placed / len(every), 4),
        "undescribed_differing": len(could),
        "undescribed_differing_flagged": round(could.count("flagged") / max(1, len(could)), 4),
        "undescribed_wrong_part": round(wrong / len(every), 4),
        "undescribed_wrong_interval": interval(wrong, len(every)),
        "undescribed_misses": misses,
        **_healthy_figures(quick, seed),
    }


def _healthy_figures(quick: bool, seed: int) -> dict[str, object]:
    """Sessions on cars with nothing wrong: the load is brought for what lies elsewhere."""
    rng = np.random.default_rng([seed, 10])
    false, settled, count, misses = 0, 0, 0, []
    for circuit in CIRCUITS[: 1 if quick else 3]:
        reasoner = reasoner_for(circuit)
        offered = [key for key in HEALTHY_COMPLAINTS if key in complaints_of(reasoner.table.network.circuit)]
        for number in range(HEALTHY[not quick]):
            car = Car(reasoner.table.network, None, None, int(rng.integers(2**31)))
            ended = run_session(reasoner, car, offered[number % len(offered)])
            named = ended.lead.faults[0] not in (NOTHING_WRONG.name, NOT_DESCRIBED.name)
            count, settled = count + 1, settled + (ended.lead.faults[0] == NOTHING_WRONG.name)
            if named and ended.lead.probability > SURE:
                false += 1
                misses.append("\n    ".join([f"{circuit}: healthy, said {', '.join(ended.lead.faults)}", *ended.story]))
    print(f"{count} healthy cars: {false} with a part named, {settled} with nothing wrong leading")
    return {
        "healthy_sessions": count,
        "false_fault": round(false / count, 4),
        "false_fault_interval": interval(false, count),
        "healthy_led": round(settled / count, 4),
        "false_fault_misses": misses,
    }


if __name__ == "__main__":
    show(figures, __doc__)
