"""Slips of the hand in every shipped circuit file, from a seed: what becomes of each, judged from outside.

A mutant is refused, each of its problems with file, line, code, message and hint; or it loads, can be wired up, and is
what the mutated file says. The judge reads the mutated text as YAML and compares by rules of its own: what refers to
a part finds it, a unit is of the dimension the field had, a doubled line has changed nothing but words, and a file
that says something else gives a circuit that shows it.

    python tests/files/mutants.py --count 2000 --seed 1
"""

from __future__ import annotations

import argparse
import json
import random
import re
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from jsonschema import Draft202012Validator

from troubleshoot.circuit.circuit import Circuit
from troubleshoot.circuit.network import wire_up
from troubleshoot.errors import FileProblems, Problem
from troubleshoot.files.circuit_file import holds, load_circuit, parse_circuit
from troubleshoot.files.schema import circuit_schema
from troubleshoot.files.yaml_text import Document, parse_yaml

SHIPPED = sorted((Path(__file__).parents[2] / "trees").glob("*/circuit.yaml"))
OUTCOMES = ("refused", "same circuit", "other words", "other circuit", "WRONG")
WORDS = ("title", "feeds", "applies", "scenario", "by", "say", "place", "colour")
"""Fields that are only said, and change no reading."""

DIMENSION = {
    "V": "voltage", "mV": "voltage", "kV": "voltage",
    "A": "current", "mA": "current",
    "ohm": "resistance", "mohm": "resistance", "kohm": "resistance", "Ω": "resistance",
    "m": "length", "cm": "length", "mm": "length",
    "AWG": "size", "mm²": "size", "mm2": "size", "cm2": "size",
    "%": "share", "°C": "temperature", "W": "power", "s": "time", "min": "time", "": "none", "K": "none", "hp": "none",
}  # fmt: skip
_NUMBER = r"[-+]?[0-9]+(?:[.,][0-9]+)?"
_MEASURE = re.compile(
    rf"(?P<value>(?:{_NUMBER} ?\.\. ?)?{_NUMBER} ?)(?P<unit>[^\d\s±]+)"
    rf"(?:(?P<sign> ?(?:±|\+/?-) ?{_NUMBER} ?)(?P<band>[^\d\s±]+))?"
)


@dataclass(frozen=True)
class Mutant:
    """A shipped file with one slip in it. `must` is what has to come of it, where the slip alone says so."""

    origin: Path
    kind: str
    about: str
    content: bytes
    must: str = ""


@dataclass(frozen=True)
class Verdict:
    """What came of a mutant: one of OUTCOMES, with what was told or what it holds, or what is wrong with that."""

    outcome: str
    told: str


# ---- slips


def drop_a_line(text: str, rng: random.Random) -> tuple[str, str, str]:
    lines = text.splitlines(keepends=True)
    at = rng.randrange(len(lines))
    must = "same circuit" if _says_nothing(lines[at]) else ""
    return "".join(lines[:at] + lines[at + 1 :]), f"line {at + 1} dropped: {lines[at].strip()}", must


def double_a_line(text: str, rng: random.Random) -> tuple[str, str, str]:
    lines = text.splitlines(keepends=True)
    at = rng.randrange(len(lines))
    must = "same circuit" if _says_nothing(lines[at]) else ""
    return "".join(lines[: at + 1] + lines[at:]), f"line {at + 1} doubled: {lines[at].strip()}", must


def change_a_unit(text: str, rng: random.Random) -> tuple[str, str, str]:
    document = parse_yaml(text)
    path, value = rng.choice([(path, value) for path, value in _leaves(document.data) if _is_measure(path, value)])
    found = _MEASURE.fullmatch(value)
    assert found
    which = rng.choice([group for group in ("unit", "band") if found[group]])
    new = rng.choice([unit for unit in DIMENSION if unit != found[which]])
    changed = value[: found.start(which)] + new + value[found.end(which) :]
    wanted = {DIMENSION[found["unit"]]}
    if which == "band" and wanted != {"temperature"}:
        wanted.add("share")
    must = "" if DIMENSION[new] in wanted else "refused"
    return _with(text, document, path, value, changed), f"{_dotted(path)}: {value} -> {changed}", must


def change_a_name(text: str, rng: random.Random) -> tuple[str, str, str]:
    lines = text.splitlines(keepends=True)
    names = [
        (at, found)
        for at, line in enumerate(lines)
        for found in re.finditer(r"[A-Za-z_][A-Za-z0-9_]*", line.split("#")[0])
    ]
    at, found = rng.choice(names)
    word = found[0]
    other = rng.choice([*_misspelt(word, rng), rng.choice(names)[1][0]])
    line = lines[at][: found.start()] + other + lines[at][found.end() :]
    changed = "".join([*lines[:at], line, *lines[at + 1 :]])
    return changed, f"line {at + 1}: {word} -> {other}", "refused" if _dangles(changed) else ""


def swap_two_terminals(text: str, rng: random.Random) -> tuple[str, str, str]:
    document = parse_yaml(text)
    ends = [("wires", index, end) for index in range(len(document.data["wires"])) for end in ("from", "to")]
    (_, at, end), (_, other_at, other_end) = first, second = rng.sample(ends, 2)
    a, b = document.data["wires"][at][end], document.data["wires"][other_at][other_end]
    changed = _with(text, document, first, a, b)
    return _with(changed, document, second, b, a), f"{_dotted(first)} {a} <-> {_dotted(second)} {b}", ""


def _cut_short(text: str, rng: random.Random) -> tuple[bytes, str, str]:
    content = text.encode()
    at = rng.randrange(len(content))
    return content[:at], f"cut after {at} of {len(content)} bytes", ""


SLIPS: dict[str, Callable[[str, random.Random], tuple[str | bytes, str, str]]] = {
    "drop a line": drop_a_line,
    "double a line": double_a_line,
    "change a unit": change_a_unit,
    "change a name": change_a_name,
    "swap two terminals": swap_two_terminals,
    "cut it short": _cut_short,
}


def mutants(count: int, seed: int, files: list[Path] = SHIPPED) -> Iterator[Mutant]:
    """`count` mutants, the files and the kinds of slip in turn; each from its own number and the seed alone."""
    for number in range(count):
        origin = files[number % len(files)]
        kind = list(SLIPS)[number // len(files) % len(SLIPS)]
        rng = random.Random(f"{seed}:{number}")
        text = text_of(origin)
        changed: str | bytes = text
        while changed == text:
            changed, about, must = SLIPS[kind](text, rng)
        yield Mutant(origin, kind, about, changed.encode() if isinstance(changed, str) else changed, must)


# ---- judging


def judge(mutant: Mutant, folder: Path) -> Verdict:
    """What becomes of a mutant that is read from a file in `folder`."""
    path = folder / "circuit.yaml"
    path.write_bytes(mutant.content)
    try:
        circuit = load_circuit(path)
        network = wire_up(circuit)
    except FileProblems as error:
        wrong = [*_told_badly(error.problems, mutant), *_not(mutant.must, "refused")]
        return Verdict("WRONG", "; ".join(wrong)) if wrong else Verdict("refused", str(error.problems[0]))
    except Exception as error:  # that there is none is what is tried here
        return Verdict("WRONG", f"{type(error).__name__}: {error}")
    outcome = _compared(circuit, original(mutant.origin))
    unwired = [wire.name for wire in circuit.wires if wire.name not in network.branch_at]
    wrong = [*_not(mutant.must, outcome), *_not_as_written(mutant, circuit, outcome)]
    wrong += [f"not wired up: {unwired}"] if unwired else []
    return Verdict("WRONG", "; ".join(wrong)) if wrong else Verdict(outcome, holds(circuit))


@cache
def text_of(path: Path) -> str:
    """A shipped file, read once, so that it may be edited while this runs."""
    return path.read_text(encoding="utf-8")


@cache
def original(path: Path) -> Circuit:
    return parse_circuit(text_of(path))


def _compared(circuit: Circuit, other: Circuit) -> str:
    if circuit == other:
        return "same circuit"
    return "other words" if _bones(circuit.model_dump()) == _bones(other.model_dump()) else "other circuit"


def _bones(value: Any) -> Any:
    """A dumped circuit without the fields that are only said."""
    if isinstance(value, dict):
        return {name: _bones(each) for name, each in value.items() if name not in WORDS}
    return [_bones(each) for each in value] if isinstance(value, (list, tuple)) else value


def _not(must: str, outcome: str) -> list[str]:
    return [f"must be {must}, and is {outcome}"] if must not in ("", outcome) else []


def _told_badly(problems: list[Problem], mutant: Mutant) -> Iterator[str]:
    last_line = mutant.content.count(b"\n") + 1
    if not problems:
        yield "refused without a word"
    for problem in problems:
        for field in ("code", "message", "hint"):
            if not getattr(problem, field):
                yield f"no {field} in: {problem}"
        if not problem.file.endswith("circuit.yaml"):
            yield f"no file in: {problem}"
        if not 1 <= problem.line <= last_line and problem.code != "empty-file":
            yield f"no line in: {problem}"
        if not str(problem).isprintable() or re.search(r"Error|None|pydantic|object at|Traceback", str(problem)):
            yield f"not in plain words: {problem}"


def _not_as_written(mutant: Mutant, circuit: Circuit, outcome: str) -> Iterator[str]:
    """In what a loaded circuit is not what the mutated file says, read as YAML and judged by rules of our own."""
    text = mutant.content.decode()
    data, before = parse_yaml(text).data, parse_yaml(text_of(mutant.origin)).data
    wires = [(wire.get("name"), wire.get("from"), wire.get("to")) for wire in data["wires"]]
    if wires != [(wire.name, wire.start, wire.end) for wire in circuit.wires]:
        yield "other wires than written"
    if {name: part["kind"] for name, part in data["parts"].items()} != {n: p.kind for n, p in circuit.parts.items()}:
        yield "other parts than written"
    if _dangles(text):
        yield f"refers to nothing: {_dangles(text)}"
    if mutant.kind == "double a line" and outcome == "other circuit":
        yield "a doubled line changed the circuit"
    if data == before and outcome != "same circuit":
        yield "another circuit from the same data"
    if data != before and outcome == "same circuit" and not _says_the_same(before, data, circuit):
        yield "something else is written, and the circuit does not show it"
    yield from (f"the schema refuses it: {error.message}" for error in _validator().iter_errors(data))


@cache
def _validator() -> Draft202012Validator:
    return Draft202012Validator(circuit_schema())


def _dangles(text: str) -> set[str]:
    """Parts that are referred to and are not there; none where the text cannot be read as a circuit at all."""
    try:
        data = parse_yaml(text).data
        parts = data["parts"]
        used = {str(wire[end]).partition(".")[0] for wire in data["wires"] for end in ("from", "to")}
        used |= {part[field] for part in parts.values() for field in ("case", "to") if part.get(field)}
        used |= {data["start_prevented"]["unplug"]} if "start_prevented" in data else set()
        return used - set(parts)
    except (FileProblems, LookupError, TypeError, AttributeError):
        return set()


def _says_the_same(before: Any, data: Any, circuit: Circuit) -> bool:
    """Whether `data` lacks only fields with the value that they have anyway, or has a unit spelt otherwise (`v`)."""
    left_out = [path for path, _ in _leaves(before) if _at(data, path) is None]
    kept = all(_same_value(path, _at(before, path), value) for path, value in _leaves(data))
    return kept and all(_usual(circuit, path) for path in left_out)


def _same_value(path: tuple[str | int, ...], old: Any, new: Any) -> bool:
    return old == new or (_is_measure(path, old) and _is_measure(path, new) and _spelt(old) == _spelt(new))


def _spelt(measure: str) -> str:
    """With its units in one spelling; milli and mega become one here, but the circuits have been compared already."""
    return measure.casefold().replace("ω", "ohm").replace("²", "2")


def _usual(model: Any, path: tuple[str | int, ...]) -> bool:
    """Whether the field at `path` of a loaded circuit is one that may be left out."""
    *group, field = path
    for step in group:
        model = model[step] if isinstance(model, (dict, tuple)) else getattr(model, str(step))
        if not isinstance(model, (dict, tuple)) and not hasattr(type(model), "model_fields"):
            return True
    return field in type(model).model_fields and not type(model).model_fields[str(field)].is_required()


def _leaves(data: Any, path: tuple[str | int, ...] = ()) -> Iterator[tuple[tuple[str | int, ...], Any]]:
    if isinstance(data, (dict, list)):
        for name, value in data.items() if isinstance(data, dict) else enumerate(data):
            yield from _leaves(value, (*path, name))
    else:
        yield path, data


def _at(data: Any, path: tuple[str | int, ...]) -> Any:
    try:
        for step in path:
            data = data[step]
    except (LookupError, TypeError):
        return None
    return data


def _is_measure(path: tuple[str | int, ...], value: object) -> bool:
    return isinstance(value, str) and path[-1] not in (*WORDS, "name") and bool(_MEASURE.fullmatch(value))


def _with(text: str, document: Document, path: tuple[str | int, ...], old: str, new: str) -> str:
    """The text with the field at `path` changed, on its own line."""
    lines = text.splitlines(keepends=True)
    at = document.line_of(path) - 1
    pattern = rf"\b{re.escape(str(path[-1]))}[\"']?: *[\"']?{re.escape(old)}"
    lines[at], count = re.subn(pattern, lambda found: found[0].removesuffix(old) + new, lines[at], count=1)
    assert count == 1, f"{path} is not on line {at + 1}"
    return "".join(lines)


def _misspelt(word: str, rng: random.Random) -> list[str]:
    at = rng.randrange(len(word))
    return [
        word[:at] + word[at + 1 :],
        word[:at] + word[at] + word[at:],
        word[:at] + rng.choice("abcdefghijklmnopqrstuvwxyz_0123456789") + word[at + 1 :],
        word[:at] + word[at : at + 2][::-1] + word[at + 2 :],
        word[:at] + word[at].swapcase() + word[at + 1 :],
    ]


def _says_nothing(line: str) -> bool:
    return not line.strip() or line.lstrip().startswith("#")


def _dotted(path: tuple[str | int, ...]) -> str:
    return ".".join(map(str, path))


# ---- as a script


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--show", action="store_true", help="also each mutant, and what came of it")
    arguments = parser.parse_args()
    counts: dict[str, Counter[str]] = {kind: Counter() for kind in SLIPS}
    with tempfile.TemporaryDirectory() as folder:
        for mutant in mutants(arguments.count, arguments.seed):
            verdict = judge(mutant, Path(folder))
            counts[mutant.kind][verdict.outcome] += 1
            if arguments.show or verdict.outcome == "WRONG":
                print(f"{mutant.origin.parent.name}: {mutant.about}\n    {verdict.outcome}: {verdict.told}")
    print(f"{'':20}" + "".join(f"{outcome:>15}" for outcome in OUTCOMES))
    for kind, count in counts.items():
        print(f"{kind:20}" + "".join(f"{count[outcome]:>15}" for outcome in OUTCOMES))
    total = sum(counts.values(), Counter())
    by_kind = {kind: {outcome: count[outcome] for outcome in OUTCOMES} for kind, count in counts.items()}
    numbers = {"mutants": total.total(), "files": len(SHIPPED), "seed": arguments.seed}
    print(json.dumps(numbers | {outcome: total[outcome] for outcome in OUTCOMES} | {"by_kind": by_kind}))
    return 1 if total["WRONG"] else 0


if __name__ == "__main__":
    sys.exit(main())
