"""One wrong reading in each session: is the fault found all the same, and is the right reading doubted?

A person who makes one mistake sits between the sampled car and the reasoner. What a mistake shows is made here from
the car itself (another check asked of it) or from the text, and by nothing of the likelihood's code. Kinds that stay
(a meter set wrong, a lead in the wrong jack, a blown fuse in the leads) go on until a reading is asked for again. Kinds
"transposed" and "copied" have no name in the program. A wrong reading counts where it is `FAR` from the right one,
and as one that mattered where no severity of the true fault could have shown it.

    python tests/benchmarks/robust.py [--quick] [--seed N] [--misses] [--only robust_reading]
"""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from sampled import CIRCUIT, WORKERS, Run, answer, cars, interval, run_session

from troubleshoot.car import Car
from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.circuit import Circuit
from troubleshoot.diagnose.belief import Belief
from troubleshoot.diagnose.evidence import Known
from troubleshoot.diagnose.reason import Reasoner
from troubleshoot.expect.table import Table, build_table
from troubleshoot.files.circuit_file import load_circuit
from troubleshoot.files.guesses_file import load_guesses
from troubleshoot.places import trees
from troubleshoot.session.ability import Can
from troubleshoot.session.prior import prior_after
from troubleshoot.session.state import Told as Heard
from troubleshoot.session.state import expects
from troubleshoot.words.answers import OverLimit, Value, read_answer

FAR = 0.25
"""How far off a reading must be to be wrong: volts, or the logarithm of ohms (invented)."""

REPEATS, STAYS = 0.2, 0.05
"""Share of repeats in which the same mistake is made again, though the program asks to set about it anew; and of those
in which a meter stays set wrong, though it asks to try it on the battery first (invented)."""

APART = 4.0
"""Sigmas from every severity of the true fault at which a reading cannot be its own (invented)."""

SESSIONS_QUICK, SESSIONS_FULL = 14, 320

Mistake = Callable[["Person", Check], str]


def _ghost(person: Person, width: float = 0.06) -> str:
    """What a display shows with nothing behind it."""
    return f"{width * person.rng.standard_normal():.3f} V"


def _swapped(person: Person, check: Check) -> str:
    return person.car.answer(replace(check, red=check.black, black=check.red)) if not check.is_held else ""


def _neighbour(person: Person, check: Check) -> str:
    """Red on another terminal of the same part, on the side of the plug that it should have been on."""
    network = person.car.network
    part, blade = network.point_at[check.red].part, check.red.endswith(".blade")
    near = [p.node for p in network.points
            if p.part == part and p.node.endswith(".blade") == blade and p.node not in (check.red, check.black)
            and ".at." not in p.node]  # fmt: skip
    return person.car.answer(replace(check, red=person.one_of(near))) if near else ""


def _other_key(person: Person, check: Check) -> str:
    keys = [key for key in person.car.network.circuit.keys if key in ("off", "accessory", "on") and
            key != check.setup.key]  # fmt: skip
    if check.is_ohms or not keys:
        return ""
    plain = replace(check, function="volts") if check.is_held else check
    return person.car.answer(replace(plain, setup=replace(check.setup, key=person.one_of(keys))))


def _other_plug(person: Person, check: Check) -> str:
    """The relay or the load left in, or out, against what was asked."""
    circuit = person.car.network.circuit
    plugs = sorted({*circuit.relays, *circuit.loads})
    if check.is_ohms or check.is_held or check.setup.key in ("cranking", "remote"):
        return ""
    removed = check.setup.removed ^ {person.one_of(sorted(check.setup.removed & set(plugs)) or plugs)}
    return person.car.answer(replace(check, setup=replace(check.setup, removed=removed)))


def _thousandfold(person: Person, check: Check) -> str:
    """mV taken for V or V for mV, as a number is typed."""
    text = person.car.answer(check)
    number, _, unit = text.partition(" ")
    return f"{number} {'V' if unit == 'mV' else 'mV'}" if unit in ("V", "mV") else ""


def _too_late(person: Person, check: Check) -> str:
    """Read after the prime."""
    if check.setup.key != "prime":
        return ""
    return person.car.answer(replace(check, function="volts", setup=replace(check.setup, key="on")))


def _on_ohms(person: Person, check: Check) -> str:
    """A meter on ohms across a live circuit shows any number, or OL, which is no voltage and asked back."""
    return f"{np.exp(person.rng.uniform(np.log(0.1), np.log(20))):.2f}" if not check.is_ohms else ""


def _sees_nothing(person: Person, check: Check) -> str:
    """The leads are not connected to the meter's volts and ohms input, or lead nowhere."""
    return "OL" if check.is_ohms else _ghost(person, 0.004)


def _transposed(person: Person, check: Check) -> str:
    """Two neighbouring digits the other way round."""
    text = person.car.answer(check)
    spots = [k for k in range(len(text) - 1) if text[k : k + 2].isdigit() and text[k] != text[k + 1]]
    spots += [k for k in range(len(text) - 2) if text[k].isdigit() and text[k + 1] == "." and text[k + 2].isdigit()]
    if not spots:
        return ""
    k = spots[int(person.rng.integers(len(spots)))]
    last = k + 1 if text[k + 1].isdigit() else k + 2
    return text[:k] + text[last] + text[k + 1 : last] + text[k] + text[last + 1 :]


def _copied(person: Person, check: Check) -> str:
    """The reading before this one, once more."""
    before = [text for c, text in person.said if c.kind == "reading" and c.is_ohms == check.is_ohms]
    return before[-1] if before else ""


MISTAKES: dict[str, Mistake] = {
    "leads swapped": _swapped,
    "neighbouring terminal": _neighbour,
    "other key state": _other_key,
    "other plug state": _other_plug,
    "black lead on nothing": lambda person, check: "OL" if check.is_ohms else _ghost(person),
    "meter a thousand times off": _thousandfold,
    "prime window missed": _too_late,
    "meter on AC": lambda person, check: "" if check.is_ohms else _ghost(person, 0.01),
    "meter on ohms": _on_ohms,
    "red lead in the amps jack": _sees_nothing,
    "blown fuse in the meter or its leads": _sees_nothing,
    "motor still spinning": lambda person, check: _spinning(person, check),
    "transposed": _transposed,
    "copied": _copied,
}
STAY = ("meter on AC", "meter on ohms", "red lead in the amps jack", "blown fuse in the meter or its leads")
TURNED_BACK = ("meter on AC", "meter on ohms")
"""Kinds that end as well when the meter's dial is turned for ohms."""
UNNAMED = ("transposed", "copied")


def _spinning(person: Person, check: Check) -> str:
    """A motor that runs down, read between its terminals with the power gone."""
    network = person.car.network
    ends = {network.point_at[node].part for node in (check.red, check.black)}
    if check.is_ohms or check.setup.key != "off" or not ends & set(network.circuit.loads):
        return ""
    if not any(network.circuit.parts[n].kind in ("pump", "fan") for n in ends & set(network.circuit.loads)):
        return ""
    return f"{person.rng.uniform(0.4, 4):.3f} V"


@dataclass
class Person:
    """Reads a car and makes one mistake, of `kind`, at the first reading that allows it from the `first` on.

    `said`: every check with what was typed; `wrong`: at which of them it was typed wrong.
    """

    car: Car
    kind: str
    first: int
    rng: np.random.Generator
    said: list[tuple[Check, str]] = field(default_factory=list)
    wrong: list[int] = field(default_factory=list)
    is_over: bool = False

    @property
    def network(self) -> object:
        return self.car.network

    @property
    def severity(self) -> float | None:
        return self.car.severity

    def complaint(self) -> str:
        """What the owner says."""
        return self.car.complaint()

    def one_of(self, names: Sequence[str]) -> str:
        return names[int(self.rng.integers(len(names)))]

    def answer(self, check: Check) -> str:
        """What is typed for a check."""
        right = self.car.answer(check)
        text = right
        if self.kind and check.kind == "reading" and not check.wire and self._errs(check):
            text = self._mistaken(check, right)
        if text != right:
            self.wrong.append(len(self.said))
        self.said.append((check, text))
        return text

    def _errs(self, check: Check) -> bool:
        """Whether the mistake is made, or goes on, here."""
        if not self.wrong:
            begins = sum(c.kind == "reading" for c, _ in self.said) >= self.first
            return begins and not (check.again and self.kind in STAY)
        if self.is_over:
            return False
        if check.again:
            stays = self.kind in STAY
            if not stays and check.first_id not in {self.said[at][0].first_id for at in self.wrong}:
                return False
            self.is_over = self.rng.random() > (STAYS if stays else REPEATS)
            return not self.is_over
        self.is_over = self.kind in TURNED_BACK and check.is_ohms
        return self.kind in STAY and not self.is_over

    def _mistaken(self, check: Check, right: str) -> str:
        """The wrong text, or the right one where the mistake makes none that is far off and would be taken."""
        if check.again and self.kind not in STAY:
            return next(text for c, text in self.said if c.id == check.first_id)
        text = MISTAKES[self.kind](self, check)
        if not text or not isinstance(read_answer(text, expects(check), check.answers), Value | OverLimit):
            return right
        off = abs(answer(check, text).value - answer(check, right).value)
        return text if off > FAR or self.wrong else right


@dataclass(frozen=True)
class Told:
    """A session with a mistake beside the same car's session without one."""

    kind: str
    circuit: str
    clean: Run
    run: Run
    mattered: bool
    named: bool
    slip: str
    wrong: tuple[str, ...]

    @property
    def found(self) -> bool:
        return self.run.true in self.run.leaders


def _could_be(table: Table, true: str, known: Known) -> bool:
    """Whether some severity of the true fault could have shown it."""
    cells = np.flatnonzero(np.array(table.names) == true)
    told = table.predict_in(known.check, cells)
    return bool((np.abs(known.value - told.mean) < APART * np.hypot(told.sigma, known.sigma)).any() or
                (told.floats & (abs(known.value) < FAR)).any())  # fmt: skip


def _doubted(belief: Belief) -> tuple[str, str]:
    """Check and slip of the reading that is most likely wrong, "" where none is more likely than not."""
    readings = [known for known in belief.evidence if known.choice < 0]
    if not readings or belief.p_wrong.max() <= 0.5:
        return "", ""
    at = int(belief.p_wrong.argmax())
    return readings[at].check.id, belief.slip[at]


def play(reasoner: Reasoner, circuit: str, true: str, car: Callable[[], Car], kind: str, seed: int) -> Told | None:
    """Both sessions; None where this car's session allows no such mistake."""
    rng = np.random.default_rng([seed, 5])
    clean = run_session(reasoner, true, car())
    count = sum(" -> " in line for line in clean.story)
    for first in (int(rng.integers(max(count, 1))), 0):
        person = Person(car(), kind, first, np.random.default_rng([seed, 6]))
        run = run_session(reasoner, true, person)  # type: ignore[arg-type]
        if person.wrong:
            break
    else:
        return None
    evidence = [answer(check, text) for check, text in person.said]
    complaint = car().complaint()
    prior = prior_after(reasoner.table, reasoner.guesses, Heard(complaint=complaint))
    doubted, slip = _doubted(reasoner.told(complaint).weigh(evidence, prior))
    wrong = [evidence[at] for at in person.wrong]
    mattered = not all(_could_be(reasoner.table, true, known) for known in wrong)
    ids = tuple(known.check.id for known in wrong)
    return Told(kind, circuit, clean, run, mattered, doubted in ids, slip, ids)


def _fits(circuit: Circuit, kind: str) -> bool:
    return kind != "prime window missed" or "prime" in circuit.keys


@dataclass(frozen=True)
class Share:
    """One circuit's share of the sessions; `first`: the kind of mistake that it begins with."""

    path: Path
    sessions: int
    seed: int
    first: int


def play_share(share: Share) -> list[Told]:
    """Sessions with every kind of mistake in turn, on cars with faults spread over the circuit."""
    guesses = load_guesses()
    table = build_table(load_circuit(share.path), guesses)
    reasoner = Reasoner(table, guesses, Can().allowed(table.network, table.checks))
    kinds = [kind for kind in MISTAKES if _fits(table.network.circuit, kind)]
    found: list[Told] = []
    rng = np.random.default_rng([share.seed, 7])
    at = share.first
    for true, car in _shuffled(table, share, rng):
        if len(found) >= share.sessions:
            break

        def again(car: Car = car, seed: int = int(rng.integers(2**31))) -> Car:
            return Car(car.network, car.fault, car.severity, seed)

        if car.fault and not again().matters():
            continue
        for _ in kinds:
            kind, at = kinds[at % len(kinds)], at + 1
            if told := play(reasoner, share.path.parent.name, true, again, kind, int(rng.integers(2**31))):
                found.append(told)
                break
    return found


def _shuffled(table: Table, share: Share, rng: np.random.Generator) -> Iterator[tuple[str, Car]]:
    """Cars of every fault, in an order that mixes the faults."""
    names = set(table.names)
    many = list(cars(table.network, names, 1, 1, share.seed))
    while True:
        for at in rng.permutation(len(many)):
            yield many[at]


def _kind_line(kind: str, told: Sequence[Told]) -> dict[str, object]:
    mattered = [one for one in told if one.mattered]
    return {
        "sessions": len(told),
        "found": round(float(np.mean([one.found for one in told])), 3),
        "found_clean": round(float(np.mean([one.run.true in one.clean.leaders for one in told])), 3),
        "mattered": len(mattered),
        "named": round(float(np.mean([one.named for one in mattered])), 3) if mattered else None,
        "called_so": sum(one.slip == kind and one.named for one in mattered),
        "extra_readings": round(float(np.mean([one.run.answers - one.clean.answers for one in told])), 2),
    }


def _miss(one: Told) -> str:
    """The story of a session that missed, or doubted the wrong reading."""
    what = "not found" if not one.found else "found"
    what += "" if one.named or not one.mattered else ", not named"
    lines = [f"    {'* ' if any(line.startswith(w + ' -> ') for w in one.wrong) else '  '}{line}" for line in
             one.run.story]  # fmt: skip
    return "\n".join([f"{one.circuit}: {one.run.true} at {one.run.severity}, {one.kind}: {what}; said "
                      f"{', '.join(one.run.leaders)} ({one.run.probability:.3f}); clean session said "
                      f"{', '.join(one.clean.leaders)} after {one.clean.answers}", *lines])  # fmt: skip


def circuits(quick: bool) -> list[Path]:
    """The shipped circuits that are played."""
    every = sorted(trees().glob("*/circuit.yaml"))
    return [p for p in every if p.parent.name in (CIRCUIT.parent.name, "pump-controller-grounds")] if quick else every


def figures(quick: bool, seed: int) -> dict[str, object]:
    """The figures by name; prints a table by kind."""
    paths = circuits(quick)
    total = SESSIONS_QUICK if quick else SESSIONS_FULL
    each = -(-total // len(paths))
    shares = [Share(path, each, seed, number * each) for number, path in enumerate(paths)]
    with multiprocessing.get_context("fork").Pool(WORKERS) as pool:
        told = [one for part in pool.map(play_share, shares, chunksize=1) for one in part]
    return summary(told)


def summary(told: Sequence[Told]) -> dict[str, object]:
    """Shares with their intervals, a line for each kind, and the misses' stories."""
    by_kind = {kind: _kind_line(kind, mine) for kind in MISTAKES if (mine := [o for o in told if o.kind == kind])}
    for kind, line in by_kind.items():
        print(f"{kind:40} " + "  ".join(f"{name} {value}" for name, value in line.items()))
    mattered = [one for one in told if one.mattered]
    found, named = sum(one.found for one in told), sum(one.named for one in mattered)
    sure = [one for one in told if one.run.probability > 0.97]
    return {
        "wrong_reading_sessions": len(told),
        "wrong_reading_found": round(found / max(1, len(told)), 4),
        "wrong_reading_found_interval": interval(found, len(told)),
        "wrong_reading_found_clean": round(float(np.mean([o.run.true in o.clean.leaders for o in told])), 4),
        "wrong_reading_right_above_097": round(sum(o.found for o in sure) / max(1, len(sure)), 4),
        "wrong_reading_mattered": len(mattered),
        "wrong_reading_named": round(named / max(1, len(mattered)), 4),
        "wrong_reading_named_interval": interval(named, len(mattered)),
        "wrong_reading_answers": round(float(np.mean([o.run.answers for o in told])), 3),
        "wrong_reading_answers_clean": round(float(np.mean([o.clean.answers for o in told])), 3),
        "wrong_reading_by_kind": by_kind,
        "wrong_reading_misses": [_miss(o) for o in told if not o.found or (o.mattered and not o.named)],
    }
