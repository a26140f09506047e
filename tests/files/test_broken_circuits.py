"""The shipped circuit file with one thing broken in it: refused, at the right line, with what would be right.

Each row is an edit of the text, and what must be told: code, the line as the edited text has it (found by a
piece of that line), the field, and a word of the message or the hint.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from troubleshoot.errors import FileProblems, Problem
from troubleshoot.files.circuit_file import load_circuit, parse_circuit

SHIPPED = Path(__file__).parents[2] / "trees" / "pump-on-ignition-feed" / "circuit.yaml"
TEXT = SHIPPED.read_text(encoding="utf-8")

COIL_GROUND = "name: coil_ground, from: relay.85, to: coil_bolt.stud"
SENDER = "gauge_sender: {kind: load, say: fuel gauge and sender, place: at the tank, resistance: 120 ohm ± 60 %}"
TITLE = "title: Hand-wired fuel pump on an ignition feed, constant feed on 87"
SHORT = "  - {name: dead_short, from: %s, to: %s, gauge: 14 AWG, length: 1 m}\n"
SECOND = "  spare: {kind: battery, charge: 50 %, internal_resistance: 7 mohm, charging_resistance: 0.1 ohm}\n"


def sender(resistance: str) -> tuple[str, str]:
    return SENDER, SENDER.replace("120 ohm ± 60 %", resistance)


def problems_in(folder: Path, text: str | bytes) -> list[Problem]:
    path = folder / "circuit.yaml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(FileProblems) as caught:
        load_circuit(path)
    assert str(caught.value)
    return caught.value.problems


# id: (old text, new text, code, a piece of the line that is told, end of the field told, a word that is told)
BROKEN: dict[str, tuple[str, str, str, str, str, str]] = {
    # parts and terminals
    "part that is not there": (
        COIL_GROUND, COIL_GROUND.replace("relay.85", "realy.85"), "unknown-part", "realy", "from", "relay"),
    "terminal that is not there": (
        COIL_GROUND, COIL_GROUND.replace("relay.85", "relay.88"), "unknown-terminal", "relay.88", "from",
        "87a"),
    "part without its terminal": (
        COIL_GROUND, COIL_GROUND.replace("relay.85", "relay"), "unknown-terminal", "coil_ground", "from",
        "part.terminal"),
    "starter on metal that is not there": (
        "kind: starter\n    case: engine", "kind: starter\n    case: engin", "unknown-part", "case: engin\n",
        "case", "engine"),
    "bolt on metal that is not there": (
        "to: frame, joint: 2", "to: floor, joint: 2", "unknown-part", "to: floor", "to", "frame"),
    "unplugging what is not there": (
        "unplug: ignition_module", "unplug: coil_pack", "unknown-part", "unplug: coil_pack", "unplug",
        "ignition_module"),
    "part that floats": (
        "\nwires:\n", "\n  spare: {kind: load, resistance: 6 ohm}\n\nwires:\n", "floating-part", "spare:",
        "spare", "spare.in"),
    "two batteries": (
        "  engine: {kind: metal", SECOND + "  engine: {kind: metal", "one-battery", "parts:", "parts",
        "battery and spare"),
    "part with a space in its name": (
        "  radio: {kind", "  car radio: {kind", "bad-name", "car radio:", "car radio", "letters"),
    "part with a dot in its name": (
        "  radio: {kind", "  car.radio: {kind", "bad-name", "car.radio:", "car.radio", "letters"),
    "kind misspelt": (
        "kind: pump\n", "kind: pmup\n", "unknown-kind", "pmup", "pump.kind", "'pump'"),
    "kind missing": (
        "    kind: relay\n", "", "missing-kind", "  relay:", "relay.kind", "kind"),
    "kind of another part": (
        "kind: ignition_switch", "kind: relay", "missing-field", "  ignition:", "ignition.contacts", "contacts"),
    # wires
    "name used for two wires": (
        "name: coil_ground,", "name: coil_feed,", "duplicate-name", "from: relay.85", "name", "coil_feed"),
    "wire named as a part": (
        "name: pump_ground,", "name: pump,", "duplicate-name", "from: pump.minus", "name", "pump"),
    "wire without a name": (
        "name: charge_wire, ", "", "no-name", "from: alternator", "", "name"),
    "wire to itself": (
        COIL_GROUND, COIL_GROUND.replace("coil_bolt.stud", "relay.85"), "loop", "to: relay.85", "to",
        "two different"),
    "wire without a beginning": (
        "from: alternator.B+, ", "", "missing-field", "charge_wire", "from", "from"),
    "wire without a length": (
        ", length: 0.8 m", "", "missing-field", "charge_wire", "length", "length"),
    "wire alone joins the posts": (
        "\nwires:\n", "\nwires:\n" + SHORT % ("battery.pos", "battery.neg"), "source-loop", "wires:", "wires",
        "dead short"),
    "wire and a cable join the posts": (
        "\nwires:\n", "\nwires:\n" + SHORT % ("starter.30", "engine.metal"), "source-loop", "wires:", "wires",
        "dead short"),
    "wire and a ground bolt join the posts": (
        "\nwires:\n", "\nwires:\n" + SHORT % ("starter.30", "coil_bolt.stud"), "source-loop", "wires:",
        "wires", "dead short"),
    "unknown field of a wire": (
        "colour: pink", "color: pink", "unknown-field", "color: pink", "color", "colour"),
    "wires that are a word": (
        "wires:\n", "wires: none\nx:\n", "wrong-type", "wires: none", "wires", "a list"),
    # the file's own fields
    "format of another program": ("format: 2", "format: 99", "newer-format", "format: 99", "format", "newer version"),
    "format in words": ("format: 2", "format: two", "unknown-value", "format: two", "format", "2"),
    "format missing": ("format: 2\n", "", "missing-field", "title:", "format", "format"),
    "field for key states": (
        "start_prevented:\n", "key_states: [prime]\nstart_prevented:\n", "unknown-field", "key_states",
        "key_states", "start_prevented"),
    "key state of a pump": (
        "    back_emf: 4 V", "    back_emf: 4 V\n    live_in: [prime]", "unknown-field", "live_in",
        "pump.live_in", "back_emf"),
    "title that is a number": (
        "title: Hand-wired fuel pump on an ignition feed, constant feed on 87", "title: 87", "wrong-type",
        "title: 87", "title", "quotes"),
    "missing way to prevent the start": (
        "  unplug: ignition_module\n", "", "missing-field", "start_prevented", "unplug", "unplug"),
    # values
    "resistance without a unit": (
        *sender("120"), "missing-unit", "gauge_sender:", "resistance", "ohm"),
    "length without a unit": (
        "length: 0.8 m", "length: 0.8", "missing-unit", "charge_wire", "length", " m"),
    "rating without a unit": (
        "rating: 15 A", "rating: 15", "missing-unit", "rating: 15", "rating", " A"),
    "gauge without a unit": (
        "gauge: 16 AWG, length: 0.3 m", "gauge: 16, length: 0.3 m", "missing-unit", "ignition_out", "gauge",
        "AWG"),
    "length in ohms": (
        "length: 0.8 m", "length: 0.8 ohm", "wrong-unit", "charge_wire", "length", "length"),
    "rating in volts": ("rating: 15 A", "rating: 15 V", "wrong-unit", "rating: 15 V", "rating", "current"),
    "unit that is none": (*sender("120 omh"), "unknown-unit", "gauge_sender:", "resistance", "ohm"),
    "two numbers": (*sender("12 0 ohm"), "not-a-number", "gauge_sender:", "resistance", "no spaces"),
    "word for a number": (*sender("plenty"), "not-a-number", "gauge_sender:", "resistance", "number"),
    "comma for thousands": (
        *sender("'1,200 ohm'"), "doubtful-comma", "gauge_sender:", "resistance", "1200"),
    "not a number": (*sender("nan ohm"), "not-a-number", "gauge_sender:", "resistance", "number"),
    "negative resistance": (*sender("-8 ohm"), "negative", "gauge_sender:", "resistance", "negative"),
    "negative length": ("length: 0.8 m", "length: -0.8 m", "negative", "charge_wire", "length", "negative"),
    "negative tolerance": (*sender("120 ohm ± -6 %"), "negative", "gauge_sender:", "resistance", "negative"),
    "two tolerances": (
        *sender("120 ohm ± 6 % ± 2 ohm"), "not-a-number", "gauge_sender:", "resistance", "tolerance"),
    "tolerance in words": (
        *sender("120 ohm ± some"), "not-a-number", "gauge_sender:", "resistance", "number"),
    "tolerance in another unit": (
        *sender("120 ohm ± 6 V"), "wrong-unit", "gauge_sender:", "resistance", "ohm"),
    "range that runs backwards": (
        *sender("150..100 ohm"), "range-backwards", "gauge_sender:", "resistance", "high to low"),
    "gauge of no copper": (
        "gauge: 16 AWG, length: 0.3 m", "gauge: 0 mm², length: 0.3 m", "wrong-gauge", "ignition_out", "gauge",
        "copper"),
    "gauge that is none": (
        "gauge: 16 AWG, length: 0.3 m", "gauge: 99 AWG, length: 0.3 m", "wrong-gauge", "ignition_out",
        "gauge", "4/0 to 40"),
    "contacts that there are not": (
        "contacts: changeover", "contacts: both", "unknown-value", "contacts: both", "contacts", "two makes"),
    "blades of the older format": (
        "contacts: changeover", "contacts: changeover\n    blades: 5", "unknown-field", "blades: 5", "blades",
        "contacts"),
    "missing value of a part": (
        "    coil_resistance: 85 ohm ± 10 %\n", "", "missing-field", "  relay:", "coil_resistance",
        "coil_resistance"),
    # YAML slips
    "no space after the colon": (
        "    rating: 15 A", "    rating:15 A", "missing-space", "rating:15", "", "field: value"),
    "tab": ("    rating: 15 A", "\trating: 15 A", "tab", "rating: 15 A", "", "spaces"),
    "indented too little": (
        "    rating: 15 A", "   rating: 15 A", "bad-indent", "rating: 15 A", "", "column"),
    "bracket not closed": (
        "say: engine block}", "say: engine block", "unclosed-bracket", "engine block", "", "}"),
    "quote not closed": (
        "say: ignition main fuse", 'say: "ignition main fuse', "unclosed-quote", '"ignition main', "",
        "quote"),
    "field twice": (
        "    rating: 15 A", "    rating: 15 A\n    rating: 20 A", "duplicate-key", "rating: 20 A", "",
        "twice"),
    "part twice": (
        "  coil_bolt: {kind", "  pump_bolt: {kind", "duplicate-key", "relay ground bolt", "", "pump_bolt"),
    "alias": ("rating: 15 A", "rating: *main", "alias", "*main", "", "write the value out"),
    "anchor": ("rating: 15 A", "rating: &main 15 A", "anchor", "&main", "", "quotes"),
    "tag": ("rating: 15 A", "rating: !fuse 15 A", "tag", "!fuse", "", "delete"),
    "second document": ("\nwires:\n", "\n---\nwires:\n", "two-documents", "---", "", "one of them"),
    "control character": (
        "say: ignition main fuse", 'say: "ignition\\x07"', "control-character", "x07", "", "U+0007"),
}  # fmt: skip


def check_told(problem: Problem, text: str, code: str, on_line: str, field: str, word: str) -> None:
    assert problem.code == code
    assert problem.file.endswith("circuit.yaml")
    assert problem.line == text[: text.index(on_line)].count("\n") + 1
    assert problem.where.endswith(field)
    assert word in f"{problem.message} {problem.hint}"
    assert f"circuit.yaml:{problem.line}:" in str(problem)


@pytest.mark.parametrize(("old", "new", "code", "on_line", "field", "word"), BROKEN.values(), ids=BROKEN.keys())
def test_a_broken_circuit_is_refused_where_it_is_broken(
    tmp_path: Path, old: str, new: str, code: str, on_line: str, field: str, word: str
) -> None:
    assert TEXT.count(old) >= 1
    text = TEXT.replace(old, new, 1)
    told = problems_in(tmp_path, text)
    check_told(told[0], text, code, on_line, field, word)


@pytest.mark.parametrize(("old", "new"), [row[:2] for row in BROKEN.values()], ids=BROKEN.keys())
def test_what_is_told_of_a_broken_circuit_is_whole_and_says_its_hint_once(tmp_path: Path, old: str, new: str) -> None:
    for problem in problems_in(tmp_path, TEXT.replace(old, new, 1)):
        assert "…" not in problem.message
        assert not problem.hint or problem.hint not in problem.message
        assert problem.message.count("(") == problem.message.count(")")


def test_a_wire_on_87a_of_a_relay_with_four_blades_is_refused(tmp_path: Path) -> None:
    text = TEXT.replace("contacts: changeover", "contacts: make").replace("to: relay.87,", "to: relay.87a,")
    (told,) = problems_in(tmp_path, text)
    check_told(told, text, "unknown-terminal", "relay.87a", "to", "30, 85, 86, 87")


def test_a_wire_is_counted_in_the_same_way_whatever_is_wrong_with_it(tmp_path: Path) -> None:
    old = "name: starter_cable, from: battery.pos"
    (field,) = problems_in(tmp_path, TEXT.replace(old, f"{old}, shade: red"))
    (end,) = problems_in(tmp_path, TEXT.replace(old, old.replace("battery", "batery")))
    assert field.where.rpartition(".")[0] == end.where.rpartition(".")[0]


def test_all_problems_of_one_file_are_told_at_once(tmp_path: Path) -> None:
    text = TEXT.replace("colour: pink", "color: pink").replace("rating: 15 A", "rating: 15 V")
    text = text.replace("kind: pump\n", "kind: pmup\n")
    told = problems_in(tmp_path, text)
    assert [problem.code for problem in told] == ["wrong-unit", "unknown-kind", "unknown-field"]
    assert [problem.line for problem in told] == sorted(problem.line for problem in told)


# ---- whole files

FIRST_SIGN = TEXT[: TEXT.index("±")].count("\n") + 1


@pytest.mark.parametrize(
    ("content", "code", "line"),
    [
        pytest.param("", "empty-file", 0, id="empty"),
        pytest.param("# only a comment\n", "empty-file", 0, id="comment only"),
        pytest.param("a relay and a pump\n", "not-a-mapping", 1, id="a sentence"),
        pytest.param("- relay\n- pump\n", "not-a-mapping", 1, id="a list"),
        pytest.param(b"PK\x03\x04\x00\x00\x08\x00", "binary-file", 0, id="binary"),
        pytest.param(TEXT.encode("utf-16"), "wrong-encoding", 0, id="UTF-16"),
        pytest.param(TEXT.encode("latin-1", "replace"), "wrong-encoding", FIRST_SIGN, id="Latin-1"),
        pytest.param(TEXT[: TEXT.index("wires:")], "missing-field", 4, id="no wires"),
        pytest.param("format: 2\ntitle: x\n", "missing-field", 1, id="no parts"),
    ],
)
def test_a_file_that_is_no_circuit_is_refused(tmp_path: Path, content: str | bytes, code: str, line: int) -> None:
    told = problems_in(tmp_path, content)[0]
    assert told.code == code
    assert told.line == line
    assert told.file.endswith("circuit.yaml")
    assert told.message


def test_with_no_wires_every_part_but_the_battery_floats(tmp_path: Path) -> None:
    told = problems_in(tmp_path, TEXT[: TEXT.index("wires:")] + "wires: []\n")
    assert {problem.code for problem in told} == {"floating-part"}
    assert "no wire leads to pump" in {problem.message for problem in told}


def test_a_circuit_with_no_battery_is_refused(tmp_path: Path) -> None:
    start, end = TEXT.index("  battery:\n"), TEXT.index("  engine: {kind: metal")
    told = problems_in(tmp_path, TEXT[:start] + TEXT[end:])
    assert told[0].code == "one-battery"
    assert "none" in told[0].message


def test_a_file_that_is_not_there_is_told_by_its_name(tmp_path: Path) -> None:
    with pytest.raises(FileProblems) as caught:
        load_circuit(tmp_path)
    assert caught.value.problems[0].code == "missing-file"
    assert "circuit.yaml" in str(caught.value)


def test_the_shipped_file_is_read(tmp_path: Path) -> None:
    (tmp_path / "circuit.yaml").write_text(TEXT, encoding="utf-8")
    assert load_circuit(tmp_path) == load_circuit(SHIPPED)


# ---- values that are well written and mean nothing: refused at their line, whatever the code

SENSELESS = {
    "load of no resistance": (*sender("0 ohm"), "resistance"),
    "coil of no resistance": ("coil_resistance: 85 ohm ± 10 %", "coil_resistance: 0 ohm", "coil_resistance"),
    "joint of no resistance": ("joint: 1 mohm ± 60 %", "joint: 0 mohm", "joint"),
    "wire of no length": ("length: 0.8 m", "length: 0 m", "length"),
    "fuse for no current": ("rating: 15 A", "rating: 0 A", "rating"),
    "fuse for a negative current": ("rating: 15 A", "rating: -15 A", "rating"),
    "charge above full": ("charge: 88 % ± 12 %", "charge: 150 %", "charge"),
    "charge below empty": ("charge: 88 % ± 12 %", "charge: -5 %", "charge"),
    "pull-in below nothing": ("pull_in: 6.8 V ± 12 %", "pull_in: -6.8 V", "pull_in"),
    "pull-in at nothing": ("pull_in: 6.8 V ± 12 %", "pull_in: 0 V", "pull_in"),
    "release below nothing": ("release: 2.5 V ± 40 %", "release: -2.5 V", "release"),
    "release above pull-in": ("release: 2.5 V ± 40 %", "release: 9 V", "release"),
    "back EMF below nothing": ("back_emf: 4 V", "back_emf: -4 V", "back_emf"),
    "starting volts of nothing": ("start_voltage: 3 V ± 40 %", "start_voltage: 0 V", "start_voltage"),
    "alternator the wrong way round": ("voltage: 14.2 V ± 0.4 V", "voltage: -14.2 V", "voltage"),
    "tolerance beyond the value": (*sender("120 ohm ± 500 %"), "resistance"),
    "tolerance of another size": ("joint: 1 mohm ± 60 %", "joint: 1 mohm ± 60 ohm", "joint"),
    "tolerance that reaches nothing": (*sender("120 ohm ± 100 %"), "resistance"),
    "range from nothing": (*sender("0..100 ohm"), "resistance"),
    "volts that may be nothing": ("start_voltage: 3 V ± 40 %", "start_voltage: 3 V ± 4 V", "start_voltage"),
    "fuse holder of no resistance": ("holder_contact: 2 mohm ± 60 %", "holder_contact: 0 ohm", "holder_contact"),
    "alternator of no volts": ("voltage: 14.2 V ± 0.4 V", "voltage: 0 V", "voltage"),
    "release at pull-in": ("release: 2.5 V ± 40 %", "release: 6.8 V", "release"),
    "battery unplugged to prevent the start": (
        "unplug: ignition_module",
        "unplug: battery",
        "unplug",
    ),
    "pump unplugged to prevent the start": ("unplug: ignition_module", "unplug: pump", "unplug"),
    "title of nothing": (TITLE, "title: ''", "title"),
    "title of spaces": (TITLE, "title: '  '", "title"),
    "part that names itself otherwise": (
        "radio: {kind: load,",
        "radio: {kind: load, name: lamp,",
        "radio",
    ),
}


@pytest.mark.parametrize(("old", "new", "field"), SENSELESS.values(), ids=SENSELESS.keys())
def test_a_value_that_means_nothing_is_refused(tmp_path: Path, old: str, new: str, field: str) -> None:
    assert TEXT.count(old) == 1
    text = TEXT.replace(old, new)
    told = problems_in(tmp_path, text)[0]
    assert told.line == text[: text.index(new)].count("\n") + 1
    assert field in told.where
    assert told.message
    assert told.hint
    assert told.hint not in told.message


@pytest.mark.parametrize(
    ("old", "new"),
    [
        pytest.param(*sender("10..100 ohm"), id="a wide range"),
        pytest.param(*sender("120 ohm ± 90 %"), id="a wide tolerance"),
        pytest.param("back_emf: 4 V", "back_emf: 0 V", id="a motor without back EMF"),
        pytest.param("charge: 88 % ± 12 %", "charge: 0 %", id="an empty battery"),
        pytest.param("charge: 88 % ± 12 %", "charge: 100 % ± 5 %", id="a full battery"),
        pytest.param("unplug: ignition_module", "unplug: link", id="a fuse taken out to prevent the start"),
    ],
)
def test_a_value_at_the_edge_of_sense_is_read(old: str, new: str) -> None:
    assert TEXT.count(old) == 1
    assert parse_circuit(TEXT.replace(old, new)).parts.keys() == load_circuit(SHIPPED).parts.keys()


# ---- wires

CHARGE_WIRE = "name: charge_wire, from: alternator.B+, to: starter.30"


@pytest.mark.parametrize(("given", "meant"), [("start", "from"), ("end", "to")])
def test_the_ends_of_a_wire_have_one_name_each(tmp_path: Path, given: str, meant: str) -> None:
    text = TEXT.replace(CHARGE_WIRE, CHARGE_WIRE.replace(f"{meant}:", f"{given}:"))
    told = {problem.code: problem for problem in problems_in(tmp_path, text)}
    assert told["unknown-field"].where == f"wires.#4 (charge_wire).{given}"
    assert meant in told["unknown-field"].hint
    assert told["missing-field"].where == f"wires.#4 (charge_wire).{meant}"


@pytest.mark.parametrize(
    ("old", "new", "field", "holds"),
    [
        (COIL_GROUND, COIL_GROUND.replace("coil_bolt.stud", "relay.86"), "to", "coil_feed"),
        ("from: gauge_sender.out, to: pump_bolt.stud", "from: gauge_sender.out, to: pump.minus", "to", "pump_ground"),
    ],
)
def test_two_wires_in_one_socket_contact_are_refused(
    tmp_path: Path, old: str, new: str, field: str, holds: str
) -> None:
    assert TEXT.count(old) == 1
    text = TEXT.replace(old, new)
    (told,) = problems_in(tmp_path, text)
    assert told.code == "crowded-contact"
    assert told.line == text[: text.index(new)].count("\n") + 1
    assert told.where.endswith(f").{field}")
    assert holds in told.message
    assert "stud or bolt" in told.hint


def test_wires_may_share_a_stud() -> None:
    at = [end for wire in load_circuit(SHIPPED).wires for end in (wire.start, wire.end)]
    assert at.count("battery.pos") == 3


def test_a_wire_is_told_by_its_number_and_its_name(tmp_path: Path) -> None:
    text = TEXT.replace("from: relay.85", "from: relay.99").replace("length: 0.8 m", "length: 0.8")
    (field,) = problems_in(tmp_path, text)  # fields are told before how they fit together
    (end,) = problems_in(tmp_path, TEXT.replace("from: relay.85", "from: relay.99"))
    assert (field.where, end.where) == ("wires.#4 (charge_wire).length", "wires.#13 (coil_ground).from")


def test_a_long_word_of_the_file_is_cut_and_our_own_sentence_is_not(tmp_path: Path) -> None:
    for old, new in (("from: relay.85", f"from: {'x' * 300}.85"), ("unplug: ignition", f"unplug: {'x' * 300}")):
        (told,) = problems_in(tmp_path, TEXT.replace(old, new))
        assert "x" * 39 + "…" in told.message
        assert "x" * 41 not in told.message
        assert told.hint.endswith(("coil_bolt", "gauge_sender"))


def test_reading_a_circuit_does_not_load_pint() -> None:
    code = (
        "import sys\nfrom troubleshoot.files.circuit_file import load_circuit\n"
        f"load_circuit({str(SHIPPED)!r})\nprint('pint' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
