"""The schema for editors: kept current, true to the shipped circuits, and wary of what the reader refuses.

Checked with the `jsonschema` library, an implementation of JSON Schema that knows nothing of pydantic.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from troubleshoot.command_line import main
from troubleshoot.errors import FileProblems
from troubleshoot.files.circuit_file import parse_circuit
from troubleshoot.files.schema import circuit_schema, schema_text
from troubleshoot.files.yaml_text import parse_yaml, read_yaml

TREES = Path(__file__).parents[2] / "trees"
STORED = TREES / "circuit.schema.json"
SHIPPED = sorted(TREES.glob("*/circuit.yaml"))
ONE = TREES / "pump-on-ignition-feed" / "circuit.yaml"
SCHEMA = circuit_schema()
VALIDATOR = Draft202012Validator(SCHEMA)


def errors_of(text: str) -> list[str]:
    return [f"{error.json_path}: {error.message}" for error in VALIDATOR.iter_errors(parse_yaml(text).data)]


def test_the_stored_schema_is_that_of_the_models() -> None:
    assert STORED.read_text(encoding="utf-8") == schema_text(), "troubleshoot schema > trees/circuit.schema.json"


def test_the_schema_is_one() -> None:
    Draft202012Validator.check_schema(SCHEMA)


def test_the_verb_prints_it(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["schema"]) == 0
    assert json.loads(capsys.readouterr().out) == SCHEMA


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.parent.name)
def test_a_shipped_circuit_fits_and_names_the_schema_on_its_first_line(path: Path) -> None:
    assert [error.message for error in VALIDATOR.iter_errors(read_yaml(path).data)] == []
    first, _, _ = path.read_text(encoding="utf-8").partition("\n")
    named = re.fullmatch(r"# yaml-language-server: \$schema=(\S+)", first)
    assert named
    assert (path.parent / named[1]).resolve() == STORED.resolve()


BROKEN = {
    "kind misspelt": ("kind: pump\n", "kind: pmup\n"),
    "kind missing": ("    kind: pump\n", ""),
    "field misspelt": ("colour: pink", "color: pink"),
    "field of another kind": ("    back_emf: 4 V", "    back_emf: 4 V\n    coil_resistance: 85 ohm"),
    "field missing": ("    rating: 15 A\n", ""),
    "no unit": ("rating: 15 A", "rating: 15"),
    "no unit in text": ("rating: 15 A", "rating: '15'"),
    "unit of something else": ("rating: 15 A", "rating: 15 V"),
    "unit that is none": ("rating: 15 A", "rating: 15 Amperes each"),
    "tolerance of something else": ("joint: 1 mohm ± 60 %", "joint: 1 mohm ± 60 V"),
    "wire size that is none": ("gauge: 16 AWG, length: 0.3 m", "gauge: 16, length: 0.3 m"),
    "contacts that there are not": ("contacts: changeover", "contacts: both"),
    "wire without an end": ("from: relay.85, ", ""),
    "old format": ("format: 2", "format: 1"),
    "no title": ("title: ", "titel: "),
    "negative ohms": ("joint: 1 mohm ± 60 %", "joint: -1 mohm ± 60 %"),
}


@pytest.mark.parametrize(("old", "new"), BROKEN.values(), ids=BROKEN.keys())
def test_a_broken_circuit_does_not_fit(old: str, new: str) -> None:
    text = ONE.read_text(encoding="utf-8")
    assert old in text
    assert errors_of(text.replace(old, new, 1))


def fields() -> Iterator[tuple[str, str, dict[str, Any]]]:
    groups = {name: each for name, each in SCHEMA["$defs"].items() if "properties" in each} | {"Circuit": SCHEMA}
    for group, schema in groups.items():
        for name, field in schema["properties"].items():
            yield group, name, field


def test_a_field_for_a_quantity_says_what_may_be_typed() -> None:
    quantities = [(group, name, field) for group, name, field in fields() if "$ref" in field]
    asked = {group: name for group, name, field in quantities if "pattern" in SCHEMA["$defs"][field["$ref"][8:]]}
    assert {"Battery", "Fuse", "Relay", "Wire", "Circuit"} <= asked.keys()
    for _, _, field in quantities:
        kind = SCHEMA["$defs"][field["$ref"].removeprefix("#/$defs/")]
        if "pattern" in kind:
            assert field["description"]
            assert (
                kind["patternErrorMessage"].endswith(kind["examples"][0]) or "wire size" in kind["patternErrorMessage"]
            )
            assert all(re.search(kind["pattern"], example) for example in kind["examples"])


def test_examples_of_the_schema_are_read_where_they_stand() -> None:
    text = ONE.read_text(encoding="utf-8")
    for example in SCHEMA["$defs"]["resistance_over_0_with_tolerance"]["examples"]:
        parse_circuit(text.replace("joint: 1 mohm ± 60 %", f"joint: {example}", 1))
    with pytest.raises(FileProblems):
        parse_circuit(text.replace("joint: 1 mohm ± 60 %", "joint: 90", 1))


def test_a_value_that_a_field_has_anyway_could_be_typed_there() -> None:
    usual = [(field, field["default"]) for _, _, field in fields() if field.get("default") is not None]
    assert any("°C" in str(default) for _, default in usual)
    for field, default in usual:
        assert VALIDATOR.evolve(schema=field | {"$defs": SCHEMA["$defs"]}).is_valid(default)


def test_every_kind_of_part_is_offered_with_its_own_fields() -> None:
    kinds = SCHEMA["properties"]["parts"]["additionalProperties"]["discriminator"]["mapping"]
    assert {"battery", "fuse", "relay", "pump", "ground_bolt"} <= kinds.keys()
    for kind, where in kinds.items():
        schema = SCHEMA["$defs"][where.removeprefix("#/$defs/")]
        assert schema["properties"]["kind"] == {"const": kind, "type": "string"}
        assert "kind" in schema["required"]
        assert schema["additionalProperties"] is False
