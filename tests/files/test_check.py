"""A Document into a pydantic model; every problem told by code, line, place and in shop words.

The models are toys made for these tests, of the shapes a circuit has: named parts told apart by `kind`, a
list of wires with a field named `from`, groups within groups.
"""

from __future__ import annotations

import enum
from typing import Annotated, Any, Literal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    RootModel,
    field_validator,
    model_validator,
)
from pydantic_core import PydanticCustomError

from troubleshoot.errors import FileProblems, Problem
from troubleshoot.files.check import build, nearest
from troubleshoot.files.tell import place
from troubleshoot.files.yaml_text import Document, parse_yaml
from troubleshoot.units import Metres


class Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


def to_ohm(value: object) -> float:
    if isinstance(value, str) and value.endswith(" ohm"):
        return float(value.removesuffix(" ohm"))
    raise PydanticCustomError("missing-unit", "'{text}' has no unit", {"text": str(value), "hint": "write '80 ohm'"})


Ohm = Annotated[float, BeforeValidator(to_ohm)]


class Colour(enum.Enum):
    RED = "red"
    BLACK = "black"


class Fuse(Strict):
    kind: Literal["fuse"]
    rating_a: float = Field(gt=0, le=100)
    fuse: str = ""  # a field named like the kind, so that `loc` alone is ambiguous
    blows: bool = True


class Relay(Strict):
    kind: Literal["relay"]
    coil: Ohm
    terminals: dict[str, str] = {}

    @model_validator(mode="after")
    def coil_is_wound(self) -> Relay:
        if self.coil == 0:
            raise ValueError("a coil of 0 ohm is a short")
        return self


class Wire(Strict):
    start: str = Field(alias="from", min_length=2)
    to: str = Field(pattern=r"^\w+\.\w+$")
    colour: Colour | None = None
    strands: int = Field(default=1, ge=1)
    branch: Wire | None = None

    @field_validator("to")
    @classmethod
    def not_ground_by_name(cls, value: str) -> str:
        assert value != "earth.1", "say ground, not earth"
        return value


class Circuit(Strict):
    name: str
    parts: dict[str, Annotated[Fuse | Relay, Field(discriminator="kind")]] = {}
    wires: list[Wire] = Field(default=[], max_length=4)
    key: Literal["off", "on", "cranking"] = "off"
    span: tuple[int, int] = (0, 1)
    either: Fuse | Relay | None = None
    share: float = Field(default=0.5, ge=0, lt=1)


def problems_of(text: str, model: type[BaseModel] = Circuit) -> list[Problem]:
    with pytest.raises(FileProblems) as caught:
        build(model, parse_yaml(text, "circuit.yaml"))
    return caught.value.problems


def test_a_good_file_becomes_the_model() -> None:
    text = "name: pump\nparts:\n  K1: {kind: relay, coil: 80 ohm, terminals: {30: 'x'}}\n"
    text += "wires:\n- {from: K1.30, to: F1.1}\n"
    circuit = build(Circuit, parse_yaml(text))
    assert circuit.parts["K1"] == Relay(kind="relay", coil="80 ohm", terminals={"30": "x"})
    assert circuit.wires[0].start == "K1.30"


WRONG = [
    ("key: on\n", "missing-field", 1, "name", "field 'name' is missing"),
    ("name: a\nnam: b\n", "unknown-field", 2, "nam", "did you mean 'name'?"),
    ("name: a\nzzzzz: b\n", "unknown-field", 2, "zzzzz", "fields here: name, parts, wires"),
    ("name: 30\n", "wrong-type", 1, "name", "must be text, not the number 30 | put it in quotes: '30'"),
    ("name:\n", "empty-field", 1, "name", "nothing is written here"),
    ("name: a\nkey: oN\n", "unknown-value", 2, "key", "did you mean 'on'? it may be: off, on, cranking"),
    ("name: a\nparts: x\n", "wrong-type", 2, "parts", "a group of fields, not text 'x'"),
    (
        "name: a\nparts:\n  F1:\n    kind: fuze\n",
        "unknown-kind",
        4,
        "parts.F1.kind",
        "unknown kind 'fuze' | did you",
    ),
    ("name: a\nparts:\n  F1:\n    kind:\n", "empty-field", 4, "parts.F1.kind", "written here | it may be: fuse, relay"),
    ("name: a\nparts:\n  F1: {kind: [x]}\n", "unknown-kind", 3, "parts.F1.kind", "unknown kind a list"),
    ("name: a\nparts:\n  F1: {kind: lamp}\n", "unknown-kind", 3, "parts.F1.kind", "there are: fuse, relay"),
    ("name: a\nparts:\n  F1: {}\n", "missing-kind", 3, "parts.F1.kind", "it may be: fuse, relay"),
    ("name: a\nparts:\n  F1: 15\n", "wrong-type", 3, "parts.F1", "a group of fields, not the number 15"),
    (
        "name: a\nparts:\n  F1:\n    kind: fuse\n",
        "missing-field",
        3,
        "parts.F1.rating_a",
        "'rating_a' is missing",
    ),
    # The part has a field called `fuse`, and pydantic's loc is (parts, F1, fuse, rating_a).
    (
        "name: a\nparts:\n  F1:\n    kind: fuse\n    fuse: x\n",
        "missing-field",
        3,
        "parts.F1.rating_a",
        "'rating_a' is missing",
    ),
    (
        "name: a\nparts:\n  F1:\n    kind: fuse\n    rating_a: 5\n    fuse: 3\n",
        "wrong-type",
        6,
        "parts.F1.fuse",
        "must be text",
    ),
    (
        "name: a\nparts:\n  F1:\n    kind: fuse\n    rating_a: 5\n    rating: 3\n",
        "unknown-field",
        6,
        "parts.F1.rating",
        "did you mean 'rating_a'? fields here: kind, rating_a, fuse, blows",
    ),
    (
        "name: a\nparts:\n  F1: {kind: fuse, rating_a: -5}\n",
        "out-of-range",
        3,
        "parts.F1.rating_a",
        "more than 0, not the number -5",
    ),
    (
        "name: a\nparts:\n  F1: {kind: fuse, rating_a: 500}\n",
        "out-of-range",
        3,
        "parts.F1.rating_a",
        "100 or less",
    ),
    (
        "name: a\nparts:\n  F1: {kind: fuse, rating_a: big}\n",
        "wrong-type",
        3,
        "parts.F1.rating_a",
        "must be a number",
    ),
    (
        "name: a\nparts:\n  F1: {kind: fuse, rating_a: 1, blows: maybe}\n",
        "wrong-type",
        3,
        "parts.F1.blows",
        "must be true or false, not text 'maybe'",
    ),
    (
        "name: a\nparts:\n  K1:\n    kind: relay\n    coil: 80\n",
        "missing-unit",
        5,
        "parts.K1.coil",
        "'80' has no unit | write '80 ohm'",
    ),
    (
        "name: a\nparts:\n  K1:\n    kind: relay\n    coil: 0 ohm\n",
        "wrong-value",
        3,
        "parts.K1",
        "a coil of 0 ohm is a short",
    ),
    (
        "name: a\nparts:\n  K1:\n    kind: relay\n    coil: 1 ohm\n    terminals:\n      30: 1\n",
        "wrong-type",
        7,
        "parts.K1.terminals.30",
        "must be text",
    ),
    ("name: a\nwires: {from: a}\n", "wrong-type", 2, "wires", "must be a list, not a group | put each item"),
    (
        "name: a\nwires:\n- from: a.1\n  to: b.1\n- to: b.1\n",
        "missing-field",
        5,
        "wires.#2.from",
        "'from' is missing",
    ),
    (
        "name: a\nwires:\n- from: a.1\n  to: b1\n",
        "wrong-form",
        4,
        "wires.#1.to",
        "text 'b1' has not the form",
    ),
    ("name: a\nwires:\n- from: a\n  to: b.1\n", "wrong-length", 3, "wires.#1.from", "at least 2 characters"),
    (
        "name: a\nwires:\n- from: a.1\n  to: earth.1\n",
        "wrong-value",
        4,
        "wires.#1.to",
        "say ground, not earth",
    ),
    (
        "name: a\nwires:\n- from: a.1\n  to: b.1\n  colour: rde\n",
        "unknown-value",
        5,
        "wires.#1.colour",
        "did you mean 'red'? it may be: red, black",
    ),
    (
        "name: a\nwires:\n- from: a.1\n  to: b.1\n  strands: 1.5\n",
        "wrong-type",
        5,
        "wires.#1.strands",
        "a whole number, not the number 1.5",
    ),
    (
        "name: a\nwires:\n- from: a.1\n  to: b.1\n  branch:\n    from: c.1\n    too: d.1\n    to: d.1\n",
        "unknown-field",
        7,
        "wires.#1.branch.too",
        "did you mean 'to'?",
    ),
    ("name: a\nwires: [" + "{from: a.1, to: b.1}, " * 5 + "]\n", "wrong-length", 2, "wires", "at most 4"),
    ("name: a\nspan: [1]\n", "missing-field", 2, "span.#2", "item 2 is missing"),
    ("name: a\nspan:\n- 1\n- x\n", "wrong-type", 4, "span.#2", "whole number, not text 'x'"),
    ("name: a\nshare: 1\n", "out-of-range", 2, "share", "less than 1, not the number 1"),
    ("name: a\nshare: -1\n", "out-of-range", 2, "share", "0 or more"),
]


@pytest.mark.parametrize(("text", "code", "line", "where", "piece"), WRONG)
def test_one_slip_is_one_problem_at_its_line(text: str, code: str, line: int, where: str, piece: str) -> None:
    (problem,) = problems_of(text)
    assert (problem.code, problem.line, problem.where) == (code, line, where)
    for each in piece.split(" | "):
        assert each in f"{problem.message} | {problem.hint}"
    assert problem.file == "circuit.yaml"
    assert problem.hint


def test_every_slip_in_a_file_is_told_in_one_go_by_line() -> None:
    text = "nam: a\nparts:\n  K1:\n    kind: rely\n  F1:\n    kind: fuse\n    rating_a: x\nwires:\n- from: a.1\n"
    assert [(each.line, each.code) for each in problems_of(text)] == [
        (1, "missing-field"),
        (1, "unknown-field"),
        (4, "unknown-kind"),
        (7, "wrong-type"),
        (9, "missing-field"),
    ]


class Described(Strict):
    """Fields as a circuit has them."""

    feeds: str = Field(description="What it feeds.")
    length: Metres
    layout: Literal["make", "changeover"] = Field(description="Of the contacts.")
    wires: tuple[Wire, ...]
    parts: dict[str, Fuse]
    fuse: Fuse
    note: str


def test_a_missing_field_is_told_with_what_to_write() -> None:
    assert {problem.where: problem.hint for problem in problems_of("{}\n", Described)} == {
        "feeds": "add it, as in 'feeds: ...': what it feeds",
        "length": "add it, as in 'length: 2.5 m'",
        "layout": "add it, as in 'layout: make': of the contacts",
        "wires": "add 'wires:' and its list below",
        "parts": "add 'parts:' and its fields below",
        "fuse": "add 'fuse:' and its fields below",
        "note": "add it, as in 'note: ...'",
    }


def test_the_branches_of_a_plain_union_do_not_show_in_the_place() -> None:
    problems = problems_of("name: a\neither:\n  kind: fuse\n  rating_a: x\n")
    assert ("either.rating_a", 4) in {(each.where, each.line) for each in problems}
    assert {each.where.split(".")[0] for each in problems} == {"either"}
    assert not any("Fuse" in each.where or "Relay" in each.where for each in problems)


def test_the_same_problem_on_one_line_is_told_once() -> None:
    class Numbers(Strict):
        values: list[int]

    assert len(problems_of("values: [x, x, y]\n", Numbers)) == 2


def test_at_most_twenty_problems_are_shown() -> None:
    problems = problems_of("name: a\n" + "".join(f"zz{n}: 1\n" for n in range(25)))
    assert len(problems) == 21
    assert problems[-1].message == "and 5 more problems from here on"


def test_a_model_around_a_plain_value_has_places_too() -> None:
    class Wires(RootModel[dict[str, Wire]]):
        pass

    (problem,) = problems_of("w1:\n  from: a.1\n  to: b.1\n  colr: red\n", Wires)
    assert (problem.where, problem.line) == ("w1.colr", 4)
    assert "did you mean 'colour'?" in problem.hint


def test_a_shorthand_that_is_spread_out_before_checking_points_at_its_own_line() -> None:
    class Short(Strict):
        wire: Annotated[Wire, BeforeValidator(lambda text: {"from": text.split()[0]})]

    (problem,) = problems_of("# first\nwire: a.1 b.1\n", Short)
    assert (problem.line, problem.where) == (2, "wire.to")


def test_an_error_without_words_of_ours_still_has_a_place_and_no_foreign_start() -> None:
    class Odd(Strict):
        when: Annotated[str, Field(pattern="x")] | bytes = b""
        size: Annotated[int, Field(multiple_of=5)] = 5
        group: frozenset[int] = frozenset()

    problems = problems_of("size: 7\ngroup: 3\n", Odd)
    assert [(each.line, each.code) for each in problems] == [(1, "out-of-range"), (2, "wrong-type")]


def test_what_a_validator_quotes_is_cut_and_cleaned() -> None:
    long = "x" * 500
    (problem,) = problems_of(f"name: a\nparts:\n  K1:\n    kind: relay\n    coil: {long}\n")
    assert problem.code == "missing-unit"
    assert problem.message == f"'{'x' * 59}…' has no unit"
    # A Document made by hand may hold what the reader would have refused.
    document = Document({"name": 1, "\x1b[31m" + long: 2}, "f", {(): 1, ("name",): 1})
    with pytest.raises(FileProblems) as caught:
        build(Circuit, document)
    assert "\x1b" not in str(caught.value)
    assert all(len(line) < 300 for line in str(caught.value).splitlines())


def test_a_validators_own_message_and_hint_stay_whole() -> None:
    sentence, hint = "this is said " * 9 + "in full", "write it " * 12 + "so"

    def refuse(value: object) -> object:
        message = f"'{value}': {sentence}"
        raise PydanticCustomError("odd", "{message}", {"message": message, "hint": hint})

    class Odd(Strict):
        value: Annotated[str, BeforeValidator(refuse)]

    (problem,) = problems_of(f"value: {'x' * 99}\n", Odd)
    assert problem.message == f"'{'x' * 59}…': {sentence}"
    assert problem.hint == hint


def test_a_bare_number_is_refused_where_a_unit_belongs() -> None:
    class Cable(Strict):
        length: Metres

    (problem,) = problems_of("length: 0.8\n", Cable)
    assert (problem.code, problem.line, problem.where) == ("missing-unit", 1, "length")
    assert build(Cable, parse_yaml("length: 0.8 m\n")).length == 0.8


def test_an_empty_text_is_told_as_nothing() -> None:
    class Titled(Strict):
        title: str = Field(min_length=1)

    (problem,) = problems_of("title: ''\n", Titled)
    assert (problem.code, problem.message) == ("empty-field", "nothing is written here")


@pytest.mark.parametrize(
    ("path", "said"),
    [
        (("wires", 1, "from"), "wires.#2 (feed).from"),
        (("wires", 0, "from"), "wires.#1.from"),
        (("wires", 7, "from"), "wires.#8.from"),
        (("wires", 2), "wires.#3"),
        (("gone", "field"), "gone.field"),
        ((), ""),
    ],
)
def test_a_list_item_is_told_by_its_number_and_its_name(path: tuple[str | int, ...], said: str) -> None:
    data = {"wires": [{"from": "a.1"}, {"name": "feed"}, {"name": 7}]}
    assert place(path, data) == said


@pytest.mark.parametrize(
    ("word", "known", "expected"),
    [
        ("rely", ["fuse", "relay"], "relay"),
        ("Coil-Ohm", ["coil_ohm"], "coil_ohm"),
        ("banana", ["fuse", "relay"], ""),
        ("x" * 100_000, ["fuse"], ""),
        ("", [], ""),
    ],
)
def test_the_nearest_word_is_found_or_none(word: str, known: list[str], expected: str) -> None:
    assert nearest(word, known) == expected


NAMES = st.sampled_from(
    ["name", "parts", "wires", "kind", "coil", "from", "to", "fuse", "relay", "key", "either", "K1"]
)
VALUES: Any = st.recursive(
    st.none() | st.booleans() | st.integers() | st.sampled_from(["fuse", "relay", "80 ohm", "on", "", "a.1"]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(NAMES, inner, max_size=4),
    max_leaves=12,
)


def lines_of(value: object, path: tuple[str | int, ...] = ()) -> dict[tuple[str | int, ...], int]:
    """Line 1 for every path in a value."""
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    found = {path: 1}
    for key, each in inner:
        found |= lines_of(each, (*path, key))
    return found


@settings(max_examples=150, deadline=None)
@given(st.dictionaries(NAMES, VALUES, max_size=4))
def test_any_data_become_a_model_or_problems(data: dict[str, Any]) -> None:
    document = Document(data, "f", lines_of(data))
    try:
        assert isinstance(build(Circuit, document), Circuit)
    except FileProblems as error:
        foreign = [each for each in error.problems if "Input" in each.message or "valid" in each.message]
        told = {each.where.split(".")[0] for each in error.problems}
    else:
        foreign, told = [], {"name"}
    assert not foreign
    assert told <= {*data, "name", ""}
