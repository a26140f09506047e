"""Files of older formats: read as of today's, with the lines of the file as it is; written out anew only when asked.

First on plain data, then on whole circuits: the shipped ones, turned back into format 1 here by hand.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import get_args

import pytest

from troubleshoot.circuit.circuit import Circuit
from troubleshoot.command_line import main
from troubleshoot.errors import FileProblems, Problem
from troubleshoot.files.circuit_file import load_circuit, notices, parse_circuit
from troubleshoot.files.migrate import CURRENT, STEPS, migrate
from troubleshoot.files.update import update, updated
from troubleshoot.files.yaml_text import parse_yaml

OLD = """\
# a relay as format 1 has it
format: 1   # the old one
parts:
  five:
    kind: relay
    blades: 5 # seen from below
    rating: 40 A
  four: {blades: 4, kind: relay}
  fan: {kind: load, blades: 7}
"""


def migrated(text: str) -> dict[str, object]:
    return migrate(parse_yaml(text))[0].data


# ---- plain data


def test_blades_become_contacts() -> None:
    assert migrated(OLD) == {
        "format": 2,
        "parts": {
            "five": {"kind": "relay", "contacts": "changeover", "rating": "40 A"},
            "four": {"kind": "relay", "contacts": "make"},
            "fan": {"kind": "load", "blades": 7},
        },
    }


def test_a_renamed_field_keeps_the_line_it_has_in_the_file() -> None:
    document, _ = migrate(parse_yaml(OLD))
    assert document.line_of(("parts", "five", "contacts")) == 6
    assert document.line_of(("parts", "four", "contacts")) == 8
    assert document.line_of(("format",)) == 2


def test_the_document_that_was_read_is_left_as_it_is() -> None:
    document = parse_yaml(OLD)
    migrate(document)
    assert document == parse_yaml(OLD)


def test_a_document_of_the_current_format_is_not_touched() -> None:
    document = parse_yaml("format: 2\nparts: {r: {kind: relay, blades: 5}}\n")
    assert migrate(document) == (document, [])


@pytest.mark.parametrize(
    "text",
    ["parts: 3", "parts: [a]", "parts: {r: relay}", "parts: {r: {kind: [relay], blades: 5}}", "parts:", "title: x"],
)
def test_what_is_no_circuit_comes_through_for_others_to_refuse(text: str) -> None:
    old, new = parse_yaml(f"format: 1\n{text}\n").data, migrated(f"format: 1\n{text}\n")
    assert new == {**old, "format": 2}


@pytest.mark.parametrize("blades", ["6", "'5'", "true", "[5]", "4.0", ""])
def test_a_number_of_blades_that_there_never_was_is_left_for_the_check_to_refuse(blades: str) -> None:
    text = f"format: 1\nparts: {{r: {{kind: relay, blades: {blades}}}}}\n"
    parts = migrated(text)["parts"]
    assert parts == {"r": {"kind": "relay", "contacts": parse_yaml(f"a: {blades}").data["a"]}}


@pytest.mark.parametrize("number", ["", "'1'", "one", "true", "1.0", "0", "-1", "[1]"])
def test_a_format_that_is_none_is_left_for_the_check_to_refuse(number: str) -> None:
    text = f"title: x\nformat: {number}\nparts: {{r: {{kind: relay, blades: 5}}}}\n"
    assert migrated(text) == parse_yaml(text).data


def test_a_newer_format_is_one_problem() -> None:
    with pytest.raises(FileProblems) as caught:
        migrate(parse_yaml("title: x\nformat: 99\nnew_thing: 3\n", "circuit.yaml"))
    (problem,) = caught.value.problems
    assert (problem.code, problem.file, problem.line) == ("newer-format", "circuit.yaml", 2)
    assert "format 99" in problem.message
    assert str(CURRENT) in problem.message
    assert "newer version" in problem.hint


def test_the_steps_lead_from_the_first_format_to_the_one_that_circuits_have() -> None:
    assert list(STEPS) == list(range(1, CURRENT))
    assert get_args(Circuit.model_fields["format"].annotation) == (CURRENT,)


# ---- texts written anew


def test_all_but_the_renamed_fields_stays_as_it_was_written() -> None:
    text, told = updated(OLD)
    new = OLD.replace("format: 1 ", "format: 2 ")
    assert text == new.replace("blades: 5", "contacts: changeover").replace("blades: 4", "contacts: make")
    assert told == [
        "line 2: 'format: 1' is now 'format: 2'",
        "line 6: parts.five: 'blades: 5' is now 'contacts: changeover'",
        "line 8: parts.four: 'blades: 4' is now 'contacts: make'",
    ]


@pytest.mark.parametrize(
    "relay",
    [
        "{kind: relay, blades: 5}",
        '{"kind":"relay","blades":5}',
        "{'blades': 5, kind: relay}",
        '{"bl\\u0061des": 5, kind: relay}',
        "{blades:\n   5, kind: relay}",
        "{kind: relay, ? blades : 5,}",
        "\n    ? blades\n    : 5 # why\n    kind: relay",
        "\n    kind:   relay\n    blades   :   5",
        "\n    say: 'blades: 5 ± Ω 🔌'\n    blades: 5\n    kind: relay",
    ],
)
def test_however_it_is_written_the_new_text_says_what_the_old_one_is_read_as(relay: str) -> None:
    text = f"format: 1\nparts:\n  r: {relay}\ntitle: x\n"
    new, _ = updated(text)
    assert parse_yaml(new).data == migrated(text)
    assert migrated(text)["parts"]["r"]["contacts"] == "changeover"  # type: ignore[index]
    assert "# why" not in text or "# why" in new


# ---- whole circuits

SHIPPED = sorted((Path(__file__).parents[2] / "trees").glob("*/circuit.yaml"))
BLADES = {"make": "4", "changeover": "5"}


def as_format_1(text: str) -> str:
    text = re.sub(r"(?m)^format: 2$", "format: 1", text)
    return re.sub(r"contacts: (make|changeover)\b", lambda found: f"blades: {BLADES[found[1]]}", text)


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.parent.name)
def test_a_shipped_circuit_turned_back_is_read_and_written_as_it_is(path: Path, tmp_path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    old = tmp_path / "old.yaml"
    old.write_text(as_format_1(text), encoding="utf-8")
    assert load_circuit(old) == load_circuit(path)
    (notice,) = notices(old)
    assert (notice.code, notice.line) == ("old-format", text[: text.index("format: 2")].count("\n") + 1)
    assert "format 1, read as format 2" in notice.message
    assert ("contacts" in notice.hint) == ("blades:" in old.read_text(encoding="utf-8"))
    assert old.read_text(encoding="utf-8") == as_format_1(text)
    update(old, tmp_path / "new.yaml")
    assert (tmp_path / "new.yaml").read_text(encoding="utf-8") == text
    assert notices(tmp_path / "new.yaml") == []


@pytest.fixture
def old(tmp_path: Path) -> Path:
    path = tmp_path / "circuit.yaml"
    named = next(each for each in SHIPPED if each.parent.name == "pump-on-ignition-feed")
    path.write_text(as_format_1(named.read_text(encoding="utf-8")), encoding="utf-8")
    return path


def problem_of(path: Path, out: Path) -> Problem:
    with pytest.raises(FileProblems) as caught:
        update(path, out)
    (problem,) = caught.value.problems
    assert problem.hint
    return problem


def test_problems_of_an_old_file_are_told_at_its_own_lines(old: Path) -> None:
    text = old.read_text(encoding="utf-8").replace("blades: 5", "blades: 6").replace("rating: 15 A", "rating: 15 V")
    with pytest.raises(FileProblems) as caught:
        parse_circuit(text, "circuit.yaml")
    rating, blades = caught.value.problems
    assert (rating.code, rating.line) == ("wrong-unit", text[: text.index("15 V")].count("\n") + 1)
    assert (blades.code, blades.line) == ("unknown-value", text[: text.index("blades: 6")].count("\n") + 1)
    assert "changeover" in blades.hint


def test_nothing_is_overwritten(old: Path, tmp_path: Path) -> None:
    before = old.read_bytes()
    assert problem_of(old, old).code == "file-exists"
    (tmp_path / "link.yaml").symlink_to(tmp_path / "nowhere.yaml")
    assert problem_of(old, tmp_path / "link.yaml").code == "file-exists"
    assert problem_of(old, tmp_path).code == "file-exists"
    assert old.read_bytes() == before
    assert not (tmp_path / "nowhere.yaml").exists()


def test_a_place_that_cannot_be_written_is_said(old: Path, tmp_path: Path) -> None:
    assert problem_of(old, tmp_path / "none" / "new.yaml").code == "unwritable-file"
    assert problem_of(old, Path("a\0b")).code == "unwritable-file"


def test_a_broken_file_is_not_written_anew(old: Path, tmp_path: Path) -> None:
    text = old.read_text(encoding="utf-8")
    old.write_text(text.replace("rating: 15 A", "rating: 15"), encoding="utf-8")
    assert problem_of(old, tmp_path / "new.yaml").code == "missing-unit"
    assert not (tmp_path / "new.yaml").exists()


def test_the_verb_writes_a_new_file_and_says_what_changed(
    old: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    new = tmp_path / "new.yaml"
    assert main(["update", str(tmp_path), "--out", str(new)]) == 0
    told = capsys.readouterr().out
    assert str(new.name) in told
    assert "'blades: 5' is now 'contacts: changeover'" in told
    assert main(["update", str(old), "--out", str(new)]) == 1
    assert "there is such a file already" in capsys.readouterr().err
    assert main(["update", str(new), "--out", str(tmp_path / "third.yaml")]) == 0
    assert "nothing to change" in capsys.readouterr().out
    assert not (tmp_path / "third.yaml").exists()
