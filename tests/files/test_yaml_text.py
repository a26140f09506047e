"""YAML text into plain data with lines; every broken text is one clear problem with the line to look at.

The texts are invented. The rules for what is text and what a number are those of the YAML 1.2 core schema
(specification 1.2.2, section 10.3.2).
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from troubleshoot.errors import FileProblems, Problem
from troubleshoot.files.file_text import LARGEST_BYTES
from troubleshoot.files.tell import UNSAFE
from troubleshoot.files.yaml_text import Document, parse_yaml, read_yaml

CIRCUIT = """\
name: fuel pump
# a comment
parts:
  fp_relay:
    kind: relay
    coil: 80 ohm
  pump: {kind: pump, current: 6}
wires:
  - from: fp_relay.87
    to: pump.1
  -
    from: pump.2
"""


def problems_of(text: str) -> list[Problem]:
    with pytest.raises(FileProblems) as caught:
        parse_yaml(text, "circuit.yaml")
    return caught.value.problems


def problem_of_file(path: Path) -> Problem:
    with pytest.raises(FileProblems) as caught:
        read_yaml(path)
    (problem,) = caught.value.problems
    return problem


# --- what is read ---------------------------------------------------------------------------------------


def test_words_for_key_states_and_times_stay_text() -> None:
    text = "on: off\nyes: no\nclock: 12:30\nday: 2024-01-02\ncount: 1_000\nvolts: 12,6\n"
    expected = {
        "on": "off",
        "yes": "no",
        "clock": "12:30",
        "day": "2024-01-02",
        "count": "1_000",
        "volts": "12,6",
    }
    assert parse_yaml(text).data == expected


def test_numbers_truth_and_nothing_are_read_by_the_core_rules() -> None:
    text = "a: 012\nb: 0x1F\nc: 0o17\nd: 1e3\ne: -.5\nf: true\ng: ~\nh:\ni: '7'\nj: |\n  8\n"
    data = parse_yaml(text).data
    assert data == {
        "a": 12,
        "b": 31,
        "c": 15,
        "d": 1000.0,
        "e": -0.5,
        "f": True,
        "g": None,
        "h": None,
        "i": "7",
        "j": "8\n",
    }
    assert [type(value) for value in data.values()] == [int, int, int, float, float, bool] + [type(None)] * 2 + [
        str
    ] * 2


def test_terminal_numbers_as_field_names_are_text() -> None:
    assert parse_yaml("30: battery\n87a: nothing\nnull: x\n").data == {
        "30": "battery",
        "87a": "nothing",
        "null": "x",
    }


def test_a_yaml_1_1_header_does_not_turn_on_into_true() -> None:
    assert parse_yaml("%YAML 1.1\n---\nkey: on\n").data == {"key": "on"}


def test_byte_order_mark_and_all_line_ends_are_fine(tmp_path: Path) -> None:
    path = tmp_path / "circuit.yaml"
    path.write_bytes(b"\xef\xbb\xbfa: 1\r\nb:\r\n  c: \xc3\xa9\r\nd: 2\re: 3")
    document = read_yaml(path)
    assert document.data == {"a": 1, "b": {"c": "é"}, "d": 2, "e": 3}
    assert [document.line_of(path) for path in [("a",), ("b", "c"), ("d",), ("e",)]] == [1, 3, 4, 5]


def test_every_field_and_item_has_its_line() -> None:
    document = parse_yaml(CIRCUIT)
    lines = {
        (): 1,
        ("parts",): 3,
        ("parts", "fp_relay", "coil"): 6,
        ("parts", "pump", "current"): 7,
        ("wires", 0): 9,
        ("wires", 0, "to"): 10,
        ("wires", 1, "from"): 12,
    }
    assert {path: document.line_of(path) for path in lines} == lines


def test_segments_that_are_not_there_are_skipped_on_the_way_to_a_line() -> None:
    document = parse_yaml(CIRCUIT)
    assert document.line_of(("parts", "fp_relay", "relay", "coil")) == 6
    assert document.line_of(("function-after[check(), Circuit]", "parts", "pump", "pump", "fuse")) == 7
    assert document.line_of(("nowhere", 3)) == 1
    assert parse_yaml("x:\n  30: 1\n").line_of(("x", 30)) == 2


def test_the_data_hold_nothing_of_the_yaml_reader() -> None:
    seen = [parse_yaml(CIRCUIT).data]
    for value in seen:
        assert type(value) in (dict, list, str, int, float, bool, type(None))
        seen.extend(value.values() if isinstance(value, dict) else value if isinstance(value, list) else [])
    assert len(seen) == 15  # the text counted by hand: every group, list and value


def test_importing_the_room_does_not_import_the_yaml_reader() -> None:
    code = (
        "import sys, troubleshoot.files, troubleshoot.files.check, troubleshoot.files.yaml_text;"
        "sys.exit(any(name.startswith('ruamel') for name in sys.modules))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False, cwd=Path(__file__).parents[2]).returncode == 0


# --- what is refused ------------------------------------------------------------------------------------

BROKEN = [
    ("", "empty-file", 0, "nothing in this file"),
    ("# only a comment\n", "empty-file", 0, "nothing in this file"),
    ("---\n", "empty-file", 0, "nothing in this file"),
    ("- a\n- b\n", "not-a-mapping", 1, "group of fields"),
    ("just words\n", "not-a-mapping", 1, "group of fields"),
    ("a:1\nb:2\n", "not-a-mapping", 1, "space after the colon"),
    ("a: 1\nb:2\nc: 3\n", "missing-space", 2, "no space after the colon in 'b:2'"),
    ("a:\n- 1\n-2\n", "missing-space", 3, "no space after the '-'"),
    ("a: 1\nfoo\nb: 2\n", "missing-colon", 2, "no 'field: value'"),
    ("a:\n\tb: 1\n", "tab", 2, "spaces only"),
    ("a: 1\n\tb: 2\n", "tab", 2, "tab in this line"),
    ("a:\n  b: 1\n \tc: 1\n", "tab", 3, "tab in this line"),
    ('a: "x\nb: 1\n', "unclosed-quote", 1, "not closed"),
    ('z: 1\na: "x\nb: "red"\nc: 1\n', "unclosed-quote", 2, "not closed"),
    ('a: "x\nb: "y"\n', "unclosed-quote", 1, "not closed"),
    ("a: 'x\n'b': 2\n", "unclosed-quote", 1, "not closed"),
    ("a: 'don't'\n", "text-after-quote", 1, "after the closing quote"),
    ("a: b: c\n", "needs-quotes", 1, "second ': '"),
    ("a: @x\n", "needs-quotes", 1, "single quotes"),
    ("a: |x\n", "needs-quotes", 1, "next line"),
    ('a: "C:\\q"\n', "bad-escape", 1, "backslash"),
    ("a: 1\n  b: 2\n", "bad-indent", 2, "has a value already"),
    ("a:\n  b: 1\n c: 2\n", "bad-indent", 3, "same column"),
    ("a:\n  - 1\n - 2\n", "bad-indent", 3, "same column"),
    ("a: x\n  - b\n", "bad-indent", 2, "runs on from the text above"),
    ("a: - b\n", "bad-indent", 1, "own line"),
    ("z: 1\na: [1, 2\nb: 3\n", "unclosed-bracket", 2, "not closed"),
    ("a: {\n", "unclosed-bracket", 1, "not closed"),
    ("a: {b: 1}}\n", "stray-bracket", 1, "no opening one"),
    ("a: 1\nb: 2\na: 3\n", "duplicate-key", 3, "'a' is there twice, on lines 1 and 3"),
    ("30: 1\n'30': 2\n", "duplicate-key", 2, "on lines 1 and 2"),
    ("a: {b: 1, b: 2}\n", "duplicate-key", 1, "on line 1"),
    ("a: &x 1\n", "anchor", 1, "anchors (&x) are not read"),
    ("a: *x\n", "alias", 1, "aliases (*x) are not read"),
    ("a: *\n", "alias", 1, "cannot begin with *"),
    ("a: !!python/object:os.system x\n", "tag", 1, "tags (!!python/object:os.system)"),
    ("a: 1\nb: !mine {c: 1}\n", "tag", 2, "tags (!mine)"),
    ("a: 1\n---\nb: 1\n", "two-documents", 2, "second document"),
    ("a: 1\n...\n---\n", "two-documents", 3, "second document"),
    ("? [a]\n: b\n", "bad-key", 1, "one word"),
    ("{{ a }}: 1\n", "bad-key", 1, "one word"),
    ("a: \x1b[31mred\n", "control-character", 1, "U+001B"),
    ('a: 1\nb: "\\e]0;title\\a"\n', "control-character", 2, "U+001B"),
    ("a: 1\n\u202ekey: 1\n", "control-character", 2, "U+202E"),
    ('a: "\\r"\n', "control-character", 1, "U+000D"),
    ('a: "\\ud800"\n', "control-character", 1, "U+D800"),
    ("a: .nan\n", "bad-number", 1, "not a number that can be measured"),
    ("a: 1\nb: 1e999\n", "bad-number", 2, "not a number that can be measured"),
    ("a: " + "9" * 5000 + "\n", "bad-number", 1, "…"),
    ("a: " + "[" * 100_000, "too-deep", 1, "30 levels"),
    ("a: [" + "[]," * 60_000 + "]", "too-big", 1, "more than 50000 values"),
    ("%FOO\na: 1\n", "not-yaml", 2, "cannot be read as YAML"),
]


@pytest.mark.parametrize(("text", "code", "line", "piece"), BROKEN)
def test_a_broken_text_is_one_problem_with_its_line(text: str, code: str, line: int, piece: str) -> None:
    (problem,) = problems_of(text)
    assert (problem.code, problem.line) == (code, line)
    assert piece in f"{problem.message} | {problem.hint}"
    assert problem.file == "circuit.yaml"
    assert not UNSAFE.search(str(problem))


def test_all_that_can_be_told_from_one_text_is_told_at_once() -> None:
    text = "a: &x 1\nb: *x\na: 2\nc: !!str 3\nd: \x07\ne: [\n"
    assert [(each.line, each.code) for each in problems_of(text)] == [
        (1, "anchor"),
        (2, "alias"),
        (3, "duplicate-key"),
        (4, "tag"),
        (5, "control-character"),
        (6, "unclosed-bracket"),
    ]


def test_twenty_problems_are_shown_and_the_rest_counted() -> None:
    problems = problems_of("a: 1\n" * 28)
    assert len(problems) == 21
    assert (problems[-1].code, problems[-1].message) == ("more", "and 7 more problems from here on")
    assert problems_of("a: 1\n" * 22)[-1].message == "and 1 more problem from here on"


def test_a_nest_of_aliases_is_refused_before_it_grows() -> None:
    levels = ["a0: &a0 [x, x]"] + [f"a{n}: &a{n} [*a{n - 1}, *a{n - 1}]" for n in range(1, 40)]
    assert {each.code for each in problems_of("\n".join(levels))} == {"anchor", "alias", "more"}


def test_what_is_echoed_is_cut() -> None:
    (problem,) = problems_of("x" * 500 + ": 1\n" + "x" * 500 + ": 2\n")
    assert f"'{'x' * 59}…'" in problem.message


# --- files ----------------------------------------------------------------------------------------------


def test_a_file_that_is_not_there_is_said(tmp_path: Path) -> None:
    assert problem_of_file(tmp_path / "none.yaml").code == "missing-file"
    assert problem_of_file(Path(__file__) / "circuit.yaml").code == "missing-file"


def test_a_folder_is_not_a_file(tmp_path: Path) -> None:
    problem = problem_of_file(tmp_path)
    assert problem.code == "directory"
    assert "folder" in problem.message


def test_a_pipe_does_not_keep_us_waiting(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    assert problem_of_file(tmp_path / "pipe").code == "not-a-file"


def test_a_file_that_cannot_be_read_says_why(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "loop").symlink_to(tmp_path / "loop")
    assert "symbolic links" in problem_of_file(tmp_path / "loop").message
    assert problem_of_file(Path("a\0b")).code == "unreadable-file"
    assert problem_of_file(Path("x" * 5000)).code == "unreadable-file"

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    path = tmp_path / "circuit.yaml"
    path.write_text("a: 1")
    monkeypatch.setattr(Path, "open", refuse)
    assert "may not read" in problem_of_file(path).message


@pytest.mark.parametrize(
    ("data", "code", "line"),
    [
        (b"\x7fELF\x00\x01\x02", "binary-file", 0),
        ("a: 1".encode("utf-16"), "wrong-encoding", 0),
        ("a: 1\r\nb: über\n".encode("latin-1"), "wrong-encoding", 2),
        (b"a: 1\n" + b"#" * LARGEST_BYTES, "too-big", 0),
    ],
)
def test_what_is_no_text_is_refused_and_not_echoed(tmp_path: Path, data: bytes, code: str, line: int) -> None:
    path = tmp_path / "circuit.yaml"
    path.write_bytes(data)
    problem = problem_of_file(path)
    assert (problem.code, problem.line) == (code, line)
    assert str(problem).isprintable()
    assert len(str(problem)) < 200


def test_a_file_of_exactly_the_largest_size_is_read(tmp_path: Path) -> None:
    path = tmp_path / "circuit.yaml"
    path.write_bytes(b"a: 1\n#".ljust(LARGEST_BYTES, b"x"))
    assert read_yaml(path).data == {"a": 1}


def test_a_file_name_cannot_send_escapes_to_the_terminal(tmp_path: Path) -> None:
    assert "\x1b" not in str(problem_of_file(tmp_path / "\x1b[31m.yaml"))


# --- anything at all ------------------------------------------------------------------------------------

WORDS = ["a", "b: ", "- ", "&a ", "*a", "!t ", "? ", "<<: ", "1", ".5e3", "é", "~", "@", '"\\U00110000"']
MARKS = [
    "[",
    "]",
    "{",
    "}",
    ":",
    ",",
    "|",
    ">",
    "#",
    "%",
    "'",
    '"',
    "\\",
    "\t",
    "\x1b",
    "\u2028",
    "\r",
    "\ufeff",
]
LINE_ENDS = ["\n", "\n  ", "---\n", "...\n"]
YAML_PIECES = st.sampled_from([*WORDS, *MARKS, *LINE_ENDS])


def told(read: Callable[[], Document]) -> list[Problem]:
    """The problems of a text, none when it is read; any other exception is the test's failure."""
    try:
        document = read()
    except FileProblems as error:
        return error.problems or [Problem("empty", "no problem in FileProblems", line=-1)]
    assert isinstance(document.data, dict)
    assert document.lines[()] >= 1
    return []


@settings(max_examples=200, deadline=None)
@given(st.one_of(st.text(), st.lists(YAML_PIECES, max_size=30).map("".join)))
def test_any_text_is_read_or_its_problems_are_told(text: str) -> None:
    last_line = text.replace("\r\n", "\n").replace("\r", "\n").count("\n") + 1
    for problem in told(lambda: parse_yaml(text, "f")):
        assert 0 <= problem.line <= last_line
        assert not UNSAFE.search(str(problem))


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.binary())
def test_any_bytes_are_read_or_their_problems_are_told(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "circuit.yaml"
    path.write_bytes(data)
    for problem in told(lambda: read_yaml(path)):
        assert 0 <= problem.line <= len(data) + 1
        assert not UNSAFE.search(str(problem))


PLAIN = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**9), 10**9)
    | st.text(st.characters(min_codepoint=32, max_codepoint=126)),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text("abcdef", min_size=1), inner, max_size=3),
    max_leaves=10,
)


@settings(max_examples=60, deadline=None)
@given(st.dictionaries(st.text("abcdef", min_size=1), PLAIN, min_size=1, max_size=4))
def test_what_another_writer_wrote_is_read_back(data: dict[str, object]) -> None:
    """JSON is YAML (specification 1.2.2, section 1.2), so the standard library's writer is the other side."""
    assert parse_yaml(json.dumps(data, indent=1)).data == data
