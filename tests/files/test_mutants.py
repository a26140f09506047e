"""A mistyped or half-finished circuit file never ends in a traceback, or in a wrong circuit quietly built.

What the judge in `mutants` looks at is tried on broken readers too: a check that cannot fail would say nothing.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import mutants
import pytest
from mutants import SHIPPED, SLIPS, Mutant, judge, original, text_of

from troubleshoot.circuit.circuit import Circuit
from troubleshoot.errors import FileProblems, Problem
from troubleshoot.files.circuit_file import holds, parse_circuit

QUICK = 150
ALL = 2000
ONE = next(path for path in SHIPPED if path.parent.name == "pump-on-ignition-feed")
TEXT = text_of(ONE)


def judged(count: int, folder: Path) -> Counter[str]:
    counts: Counter[str] = Counter()
    wrong = []
    for mutant in mutants.mutants(count, seed=1):
        verdict = judge(mutant, folder)
        counts[verdict.outcome] += 1
        if verdict.outcome == "WRONG":
            wrong.append(f"{mutant.origin.parent.name}: {mutant.about}\n    {verdict.told}")
    assert not wrong, "\n".join(wrong)
    return counts


def test_some_mutants_are_refused_in_words_or_are_what_they_say(tmp_path: Path) -> None:
    counts = judged(QUICK, tmp_path)
    assert counts["refused"] > QUICK / 3
    assert counts["other circuit"] > QUICK / 20


@pytest.mark.slow
def test_two_thousand_mutants_are_refused_in_words_or_are_what_they_say(tmp_path: Path) -> None:
    counts = judged(ALL, tmp_path)
    assert counts.total() == ALL
    assert all(counts[outcome] for outcome in ("refused", "same circuit", "other words", "other circuit"))


def test_mutants_come_from_the_seed_alone_and_from_every_file_and_slip() -> None:
    count = len(SHIPPED) * len(SLIPS)
    first, again, other = (list(mutants.mutants(count, seed)) for seed in (1, 1, 2))
    assert first == again
    assert first != other
    assert {(mutant.origin, mutant.kind) for mutant in first} == {(path, kind) for path in SHIPPED for kind in SLIPS}
    assert all(mutant.content != text_of(mutant.origin).encode() for mutant in first)


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.parent.name)
def test_a_shipped_file_itself_is_the_same_circuit(path: Path, tmp_path: Path) -> None:
    verdict = judge(Mutant(path, "drop a line", "nothing", text_of(path).encode()), tmp_path)
    assert verdict.outcome == "same circuit"
    assert f"{len(original(path).parts)} parts" in verdict.told
    assert f"{len(original(path).wires)} wire" in verdict.told


def test_what_a_circuit_holds_is_told_on_one_line() -> None:
    told = holds(original(ONE))
    assert told.startswith("16 parts (")
    assert told.endswith("18 wires, none at relay.87a")
    for piece in ("3 × fuse", "2 × ground bolt", "relay", "pump", "2 × metal"):
        assert piece in told


def test_a_terminal_that_lost_its_wire_is_told() -> None:
    lines = TEXT.splitlines(keepends=True)
    circuit = parse_circuit("".join(line for line in lines if "name: coil_ground," not in line))
    assert holds(circuit).endswith("17 wires, none at relay.85, relay.87a, coil_bolt.stud")


# ---- the judge


def slip(old: str, new: str, kind: str = "change a name", must: str = "") -> Mutant:
    assert old in TEXT
    return Mutant(ONE, kind, f"{old} -> {new}", TEXT.replace(old, new, 1).encode(), must)


@pytest.mark.parametrize(
    ("mutant", "outcome"),
    [
        (slip("to: relay.87,", "to: relay.88,"), "refused"),
        (slip("rating: 15 A", "rating: 15 V", must="refused"), "refused"),
        (slip("say: fuel pump", "say: pump in the tank"), "other words"),
        (slip("rating: 15 A", "rating: 20 A"), "other circuit"),
        (slip("voltage: 14.2 V", "voltage: 14.2 v"), "same circuit"),
        (slip("# heavy cables", "# thick cables", must="same circuit"), "same circuit"),
    ],
    ids=lambda given: given.about if isinstance(given, Mutant) else given,
)
def test_the_judge_tells_what_became_of_a_slip(mutant: Mutant, outcome: str, tmp_path: Path) -> None:
    assert judge(mutant, tmp_path).outcome == outcome


@pytest.mark.parametrize(
    ("mutant", "told"),
    [
        (slip("rating: 15 A", "rating: 20 A", must="refused"), "must be refused"),
        (slip("rating: 15 A", "rating: 20 A", must="same circuit"), "must be same circuit"),
        (slip("rating: 15 A", "rating: 15 V", must="same circuit"), "must be same circuit"),
        (slip("rating: 15 A", "rating: 20 A", kind="double a line"), "a doubled line changed the circuit"),
    ],
    ids=lambda given: given.about if isinstance(given, Mutant) else given,
)
def test_the_judge_sees_an_outcome_that_the_slip_forbids(mutant: Mutant, told: str, tmp_path: Path) -> None:
    verdict = judge(mutant, tmp_path)
    assert verdict.outcome == "WRONG"
    assert told in verdict.told


def lenient(_: Path) -> Circuit:
    """A reader that takes every file for the shipped one."""
    return original(ONE)


def rude(_: Path) -> Circuit:
    raise KeyError("relay")


def mute(_: Path) -> Circuit:
    raise FileProblems([])


def vague(path: Path) -> Circuit:
    raise FileProblems([Problem("wrong", "something is wrong", file=str(path), line=1)])


def technical(path: Path) -> Circuit:
    raise FileProblems([Problem("wrong", "NoneType has no kind", "look again", file=str(path), line=1)])


@pytest.mark.parametrize(
    ("reader", "old", "new", "told"),
    [
        (lenient, "to: relay.87,", "to: relya.87,", "other wires than written"),
        (lenient, "to: relay.87,", "to: relya.87,", "refers to nothing"),
        (lenient, "kind: pump\n", "kind: fuse\n", "other parts than written"),
        (lenient, "rating: 15 A", "rating: 20 A", "the circuit does not show it"),
        (lenient, "rating: 15 A", "rating: 15 V", "the schema refuses it"),
        (rude, "rating: 15 A", "rating: 20 A", "KeyError"),
        (mute, "rating: 15 A", "rating: 20 A", "without a word"),
        (vague, "rating: 15 A", "rating: 20 A", "no hint"),
        (technical, "rating: 15 A", "rating: 20 A", "not in plain words"),
    ],
)
def test_the_judge_sees_through_a_bad_reader(
    reader: object, old: str, new: str, told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    original(ONE)
    monkeypatch.setattr(mutants, "load_circuit", reader)
    verdict = judge(slip(old, new), tmp_path)
    assert verdict.outcome == "WRONG"
    assert told in verdict.told
