"""What is said of cars with something that the circuit file lacks.

    python tests/benchmarks/robust_undescribed.py [--quick] [--seed N] [--misses]

The car is sampled from a changed circuit file (a hidden switch, a second relay, a diode, a splice to another load, the
other relay layout, a resistor wire), the reasoner has the unchanged one. What is only at work when it fails, fails.

Many such cars read exactly as a fault of the file does: an open hidden switch in the coil feed is an open in that wire.
Whether one does is worked out from the answers to all allowed checks (`reads_as`). Then nobody could know better from
readings, and the right place is that fault or the stretch in which the thing sits; for the other layout, any fault that
says "put the wires of this socket where the stamped numbers are".

Flagged: "not described" leads at the end, or the verdict names it beside, with what does not fit; or the right place is
named at more than 0.97 and the verdict's own words say there to look for what no drawing has (`say_hidden`, or the
stamped numbers). The right place without these words is not flagged. `undescribed_not_described_said` counts the first
kind alone, `undescribed_differing_flagged` both kinds among the cars that read as no fault of the file. A wrong part:
another fault of the file at more than 0.97. How often a plain fault of the file gets "not described" is
`described_flagged`. The last line is JSON.
"""

from __future__ import annotations

import multiprocessing
import os
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from robust_intermittent import Ended, reasoner_for, run_session, show
from sampled import WORKERS, answer, cars, interval

from troubleshoot.car import Car
from troubleshoot.circuit import wire_up
from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.network import Network
from troubleshoot.diagnose.pair_cells import parts_of
from troubleshoot.diagnose.reason import SURE, Reasoner
from troubleshoot.diagnose.undescribed import is_told
from troubleshoot.expect.seen import answer_chances
from troubleshoot.files.circuit_file import parse_circuit
from troubleshoot.places import circuit_path
from troubleshoot.session.beyond import say_hidden

CARS = 2
"""Cars of each of the twelve ways, in each circuit."""

PLAIN = 6, 20
"""Cars with a plain fault of the file, in each circuit, with `--quick` and without."""

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
    """Flagged; right place, told to look for more there or not; wrong part; or not sure."""
    lead = ended.lead.faults[0]
    if is_told(ended.belief, lead):
        return "flagged"

    def is_right(part: str) -> bool:
        at_socket = made.differs != "" and reasoner.fault(part).shows == made.differs
        return part in alike or at_socket or part.partition(":")[0].partition(".at.")[0] in made.sits

    if any(all(map(is_right, parts_of(name))) for name in ended.lead.faults):
        if ended.lead.probability <= SURE:
            return "not sure, right place"
        told = say_hidden(ended.belief, lead) or (made.differs and reasoner.fault(lead).shows == made.differs)
        return "right place, told" if told else "right place"
    return "wrong part" if ended.lead.probability > SURE else "not sure"


@dataclass(frozen=True)
class Told:
    """How one session ended: what kind of thing the file lacks, whether a fault of it reads so, the verdict, the
    story."""

    kind: str
    differs: bool
    verdict: str
    story: str


def _play(job: tuple[str, str, int, int]) -> Told:
    """One session on a car of a circuit, with something of a kind that the file lacks."""
    circuit, kind, way, seed = job
    rng = np.random.default_rng([seed, 9])
    reasoner, text = reasoner_for(circuit), circuit_path(circuit).read_text(encoding="utf-8")
    make = KINDS[kind][way]
    made = make(text, rng)
    car = MadeCar(made, int(rng.integers(2**31)))
    alike, ended = reads_as(reasoner, car), run_session(reasoner, car, car.complaint())
    verdict = verdict_on(reasoner, made, ended, alike)
    head = f"{circuit}: {make.__name__}, reads as {', '.join(alike) or 'no fault of the file'}: {verdict}"
    lead = f"said {', '.join(ended.lead.faults)} ({ended.lead.probability:.3f})"
    return Told(kind, not alike, verdict, "\n    ".join([head, lead, *ended.story]))


def _play_plain(job: tuple[str, int, int]) -> list[bool]:
    """Of so many cars with a plain fault of the file: whether "not described" is told."""
    circuit, count, seed = job
    reasoner = reasoner_for(circuit)
    known = set(reasoner.table.names)
    some = [car for _, car in cars(reasoner.table.network, known, 1, 1, seed) if car.fault]
    rng = np.random.default_rng([seed, 11])
    found = []
    for at in rng.choice(len(some), count, replace=False):
        ended = run_session(reasoner, some[at], some[at].complaint())
        found.append(is_told(ended.belief, ended.lead.faults[0]))
    return found


def figures(quick: bool, seed: int) -> dict[str, object]:
    """Sessions on cars with something that the file lacks, and with a plain fault."""
    circuits = CIRCUITS[: 1 if quick else 3]
    ways = [(kind, way) for kind, makes in KINDS.items() for way in range(len(makes))]
    jobs = [(circuit, kind, way, 1000 * seed + 100 * n + 10 * c + way)
            for c, circuit in enumerate(circuits)
            for n in range(1 if quick else CARS) for kind, way in ways]  # fmt: skip
    with multiprocessing.get_context("fork").Pool(WORKERS) as pool:
        told = pool.map(_play, jobs, chunksize=1 if quick else len(ways))
        shares = [(circuit, PLAIN[not quick], seed) for circuit in circuits]
        plain = [told for share in pool.map(_play_plain, shares, chunksize=1) for told in share]
    for kind in KINDS:
        mine = [one.verdict for one in told if one.kind == kind]
        print(f"{kind:24} " + ", ".join(f"{mine.count(verdict)} {verdict}" for verdict in dict.fromkeys(mine)))
    every, differing = [one.verdict for one in told], [one.verdict for one in told if one.differs]
    said, wrong = every.count("flagged"), every.count("wrong part")
    flagged, apart = (sum(v in ("flagged", "right place, told") for v in some) for some in (every, differing))
    print(f"{len(differing)} of {len(every)} read as no fault of the file: {apart} of these flagged")
    return {
        "undescribed_sessions": len(every),
        "undescribed_flagged": round(flagged / len(every), 4),
        "undescribed_interval": interval(flagged, len(every)),
        "undescribed_not_described_said": round(said / len(every), 4),
        "undescribed_differing": len(differing),
        "undescribed_differing_flagged": round(apart / max(1, len(differing)), 4),
        "undescribed_differing_said": round(differing.count("flagged") / max(1, len(differing)), 4),
        "undescribed_wrong_part": round(wrong / len(every), 4),
        "undescribed_wrong_interval": interval(wrong, len(every)),
        "described_sessions": len(plain),
        "described_flagged": round(sum(plain) / len(plain), 4),
        "undescribed_misses": [one.story for one in told if one.verdict not in ("flagged", "right place, told")],
    }


if __name__ == "__main__":
    show(figures, __doc__)
