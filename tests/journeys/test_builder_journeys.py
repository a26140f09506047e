"""Twenty hand-wired circuits told to the builder by typing, ten right and ten wired wrong: what it builds and says.

What is said of each is kept in descriptions_said.txt, read by a person line by line; `python
tests/journeys/test_builder_journeys.py --store` writes it anew.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from ruamel.yaml import YAML

from troubleshoot.circuit.network import Network, wire_up
from troubleshoot.circuit.setups import Setup
from troubleshoot.expect.cells import NOTHING_WRONG, Cell, no_shift
from troubleshoot.expect.finding import Finding
from troubleshoot.expect.review import review
from troubleshoot.expect.table import Table
from troubleshoot.files.circuit_file import load_circuit
from troubleshoot.plain.builder_text import BuilderDialogue, said_lines
from troubleshoot.session.builder import Builder

HERE = Path(__file__).parent
SAID = HERE / "descriptions_said.txt"
DESCRIPTIONS: list[dict[str, Any]] = YAML(typ="safe").load(HERE / "descriptions.yaml")
NAMES = [description["name"] for description in DESCRIPTIONS]


@dataclass(frozen=True)
class Told:
    """What came of one description: the record of the talk, the file's circuit, what was said at the end."""

    record: str
    network: Network
    findings: list[Finding]
    said: list[str]


@cache
def told(name: str) -> Told:
    """Types a description into the plain front, question by question, and writes the file."""
    description = next(each for each in DESCRIPTIONS if each["name"] == name)
    folder = Path(tempfile.mkdtemp())
    builder = Builder.start(folder)
    typed = _typed(description["typed"], builder)
    lines: list[str] = []

    def ask(prompt: str) -> str:
        line = next(typed)
        lines.append(f"{prompt}{line}")
        return line

    path = BuilderDialogue(builder, ask, lines.append, folder / "circuit").run()
    builder.close()
    assert path == folder / "circuit" / "circuit.yaml"
    network = wire_up(load_circuit(path))
    return Told("\n".join(lines), network, review(network), said_lines(builder.made()))


def _typed(script: str, builder: Builder) -> Iterator[str]:
    """The lines of a script; each names the question that it answers, which must be the one asked."""
    for line in script.splitlines():
        question, _, words = line.partition(" =")
        assert builder.question, f"nothing is asked any more: {line}"
        assert builder.question.id == question, f"asked: {builder.question.id}, typed: {line}"
        yield words.strip()
    assert builder.question is None, f"not told: {builder.question.id}"
    yield "write"


def said(name: str) -> str:
    """The part of the stored text about one description."""
    description = next(each for each in DESCRIPTIONS if each["name"] == name)
    head = f"== {name} ({description['wired']}): {description['about']}"
    return "\n".join([head, *told(name).said, ""])


def test_there_are_ten_right_and_ten_wrong_ones() -> None:
    wired = [description["wired"] for description in DESCRIPTIONS]
    assert sorted(wired) == ["right"] * 10 + ["wrong"] * 10
    assert len(set(NAMES)) == 20


@pytest.mark.parametrize("description", DESCRIPTIONS, ids=NAMES)
def test_the_circuit_does_what_was_described(description: dict[str, Any]) -> None:
    network = told(description["name"]).network
    table = Table(network, [Cell(NOTHING_WRONG, None, 0.0, 1.0, *no_shift(network))])
    for state, works in description["does"].items():
        key, _, operated = state.partition(" +")
        setup = Setup(key, operated=frozenset(operated.split()))
        bent = [table.behaviour(setup).bent[how.branch][0] for how in network.circuit.loads.values()]
        assert all(each == (1 if works == "yes" else 0) for each in bent), (state, works, bent)


@pytest.mark.parametrize("description", DESCRIPTIONS, ids=NAMES)
def test_the_wrong_ones_get_their_finding_and_the_right_ones_no_danger_or_fault(description: dict[str, Any]) -> None:
    findings = told(description["name"]).findings
    assert set(description["finds"]) <= {each.code for each in findings}
    bad = [each for each in findings if each.severity in ("danger", "fault")]
    assert bool(bad) == (description["wired"] == "wrong"), bad


@pytest.mark.parametrize("name", NAMES)
def test_it_is_drawn_before_it_is_written(name: str) -> None:
    record = told(name).record
    circuit = told(name).network.circuit
    drawn, _, end = record.partition("Is it drawn as it is wired?")
    assert "> write" in end
    for load in circuit.named_parts:
        if load in circuit.loads:
            assert f"hrough the {circuit.named_parts[load].spoken}" in " ".join(drawn.split()) or "no way" in drawn
    assert "battery positive post" in drawn or "bench supply positive post" in drawn


@pytest.mark.parametrize("name", NAMES)
def test_what_is_said_is_what_a_person_has_read(name: str) -> None:
    assert said(name) in SAID.read_text(encoding="utf-8")


def test_nothing_else_is_in_the_stored_text() -> None:
    assert SAID.read_text(encoding="utf-8") == "\n".join(said(name) for name in NAMES)


if __name__ == "__main__" and "--store" in sys.argv:
    SAID.write_text("\n".join(said(name) for name in NAMES), encoding="utf-8")
