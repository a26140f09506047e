"""A tree's file: read, written back, and what is said of it when something is wrong."""

from __future__ import annotations

import pickle
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from troubleshoot.circuit.check_list import list_checks
from troubleshoot.circuit.network import Network, wire_up
from troubleshoot.errors import FileProblems, Problem, TypedWrong
from troubleshoot.expect import cells
from troubleshoot.files.circuit_file import load_circuit
from troubleshoot.tree.branch_words import number_branch, read_branch, write_limit
from troubleshoot.tree.tree import NOT_DESCRIBED, NOTHING_WRONG, Branch, Claims, Step, Tree, Verdict
from troubleshoot.tree.tree_file import parse_tree, read_tree, tree_text, with_claims
from troubleshoot.units import parse_quantity

SMALL = Path(__file__).with_name("small_tree.yaml")
TEXT = SMALL.read_text()
GROUNDS = Path(__file__).parents[2] / "trees" / "pump-controller-grounds"


@pytest.fixture(scope="module")
def small() -> Tree:
    return read_tree(SMALL)


def test_a_tree_is_read_with_what_its_branches_take(small: Tree) -> None:
    step = small.steps["output"]
    assert step.check.red == "relay.30"
    assert step.note == "wipe the contact first"
    assert [(step.of_value(volts) or step.branches[0]).to for volts in (12.3, 11.0, 10.99, 0.5, 0.49, -3.0)] == [
        "ground", "ground", "drop", "drop", "coil", "coil",
    ]  # fmt: skip
    assert small.steps["coil"].of_answer("no click") == Branch("no click", "coil_feed", answer="no click")
    assert small.claims == Claims(0.5, 12.5, 4)
    assert small.can == ("alone", "no ohms")
    assert small.verdicts["contacts"].prove == ("relay.30 to battery.neg volts on", "runs pump on")


def test_a_written_tree_reads_back_as_the_same(small: Tree) -> None:
    again = parse_tree(tree_text(small), "again", small.network)
    assert replace(again, name=small.name, file=small.file) == small


def test_what_tells_the_suspects_of_a_verdict_apart_is_read_and_written(small: Tree) -> None:
    verdicts = {**small.verdicts, "pump": replace(small.verdicts["pump"], tell_apart="which_pump")}
    ends = {name: Verdict(name, (f"pump:{name}",)) for name in ("open", "seized")}
    branches = (Branch("1.0 A or more", "seized", 1.0), Branch("under 1.0 A", "open", high=1.0))
    step = Step("which_pump", small.checks["pump_wire amps on"], branches)
    tree = replace(small, steps={**small.steps, "which_pump": step}, verdicts={**verdicts, **ends})
    again = parse_tree(tree_text(tree), "again.yaml", small.network)
    assert again.verdicts == tree.verdicts
    assert again.steps == tree.steps
    assert [name for name in again.reached() if name in ("pump", "which_pump")] == ["pump", "which_pump"]


def test_a_written_tree_says_each_check_and_each_suspect_beside_it(small: Tree) -> None:
    text = " ".join(tree_text(small).replace("#", " ").split())
    assert "Red on terminal 30 of the pump relay (orange wire, back-probed), black on battery negative post." in text
    assert "the contacts of the pump relay do not close - relay:contacts-stuck-open" in text


NAMES = st.text(st.characters(codec="utf-8", categories=("L", "N", "P", "S", "Zs")), min_size=1, max_size=12)
WORDS = NAMES.map(lambda name: name.strip()).filter(bool)


@st.composite
def trees(draw: st.DrawFn, network: Network) -> Tree:
    """Any tree there may be for a circuit, in depth: steps of any checks and any limits, names of any characters."""
    checks = [check for check in list_checks(network) if not check.after]
    names = iter(draw(st.lists(WORDS.filter(lambda name: name not in ("check", "note")), unique=True, min_size=40,
                               max_size=40)))  # fmt: skip
    faults = [NOTHING_WRONG, NOT_DESCRIBED, *dict.fromkeys(fault.name for fault in network.faults)]
    steps, verdicts = dict[str, Step](), dict[str, Verdict]()

    def grow(depth: int) -> str:
        name = next(names)
        if depth == 0 or draw(st.booleans()):
            suspects = draw(st.lists(st.sampled_from(faults), unique=True, min_size=1, max_size=3))
            prove = draw(st.lists(st.sampled_from(checks), max_size=2))
            verdicts[name] = Verdict(name, tuple(suspects), draw(st.just("") | WORDS), tuple(c.id for c in prove))
            return name
        check = draw(st.sampled_from(checks))
        if check.kind == "observation":
            branches = [read_branch(answer, grow(depth - 1), check) for answer in check.answers]
        else:
            limits = draw(st.lists(st.integers(1, 3000), unique=True, min_size=1, max_size=2))
            ends = [-float("inf"), *(limit / 20 for limit in sorted(limits)), float("inf")]
            branches = [number_branch(check, grow(depth - 1), low, high) for low, high in pairwise(ends)]
        steps[name] = Step(name, check, tuple(branches), draw(st.just("") | WORDS))
        return name

    first = grow(2)
    claims = Claims(draw(st.floats(0, 1)), draw(st.floats(0.001, 1e6)), draw(st.integers(0, 99)))
    return Tree(network, first, steps, verdicts, after=draw(st.sampled_from(["", "dead"])), can=("no ohms",),
                claims=claims)  # fmt: skip


@given(st.data())
def test_any_tree_reads_back_as_the_same(small: Tree, data: st.DataObject) -> None:
    tree = data.draw(trees(small.network))
    again = parse_tree(tree_text(tree), "", small.network)
    assert again == replace(tree, steps=again.steps, verdicts=again.verdicts)
    squeezed = {name: replace(step, note=step.note) for name, step in again.steps.items()}
    assert squeezed == tree.steps
    assert again.verdicts == tree.verdicts


@given(st.integers(-400, 4000), st.sampled_from(["voltage", "current"]))
def test_a_limit_in_words_loses_no_digit(hundredths: int, dimension: str) -> None:
    assert parse_quantity(write_limit(hundredths / 100, dimension), dimension) == hundredths / 100


@pytest.mark.parametrize(
    ("value", "dimension", "words"),
    [
        (12.0, "voltage", "12.0 V"), (0.5, "voltage", "0.5 V"), (0.05, "voltage", "50 mV"), (0.0, "voltage", "0 V"),
        (200.0, "resistance", "200 ohm"), (5000.0, "resistance", "5 kohm"), (1e6, "resistance", "1 Mohm"),
        (0.5, "current", "500 mA"), (6.0, "current", "6.0 A"),
    ],
)  # fmt: skip
def test_limits_are_written_as_a_person_would(value: float, dimension: str, words: str) -> None:
    assert write_limit(value, dimension) == words


def test_over_the_limit_of_the_meter_is_more_than_any_number_unless_there_is_a_branch_for_it(small: Tree) -> None:
    check = next(check for check in list_checks(small.network) if check.is_ohms)
    more, under, over = (read_branch(words, "x", check) for words in ("200 ohm or more", "under 200 ohm", "OL"))
    assert Step("s", check, (under, more)).of_over_limit() == more
    assert Step("s", check, (under, more, over)).of_over_limit() == over


def test_a_range_may_name_its_unit_once(small: Tree) -> None:
    assert read_branch("0.5 to 12,0 V", "x", small.steps["output"].check) == Branch("0.5 to 12,0 V", "x", 0.5, 12.0)


def test_other_claims_leave_comments_and_all_else_as_they_are() -> None:
    changed = with_claims(TEXT, Claims(0.75, 3.25, 9))
    assert changed == TEXT.replace(
        "{right: 0.5, minutes: 12.5, readings: 4}", "{right: 0.75, minutes: 3.25, readings: 9}"
    )
    assert "# across the contacts" in changed
    bare = TEXT.replace("claims: {right: 0.5, minutes: 12.5, readings: 4}\n", "")
    assert parse_tree(with_claims(bare, Claims(0.75)), "", read_tree(SMALL).network).claims == Claims(0.75)


def test_what_is_no_fault_of_the_circuit_is_named_as_everywhere() -> None:
    assert (cells.NOTHING_WRONG.name, cells.NOT_DESCRIBED.name) == (NOTHING_WRONG, NOT_DESCRIBED)


# ---- twenty and more broken files

BROKEN: dict[str, tuple[str, str, str, str, str]] = {
    # what is wrong: (text in the small tree, what stands there instead, line's text, code, words of the message)
    "no first step": ("first: output\n", "", "circuit:", "missing-field", "field 'first' is missing (add it"),
    "first leads nowhere": ("first: output", "first: outputs", "first:", "leads-nowhere", "did you mean 'output'?"),
    "a field nobody knows": (
        "after: dead", "afterwards: dead", "afterwards", "unknown-field", "did you mean 'after'?",
    ),
    "a complaint nobody knows": ("after: dead", "after: deaf", "after:", "unknown-complaint", "did you mean 'dead'?"),
    "a limit not understood": (
        "[alone, no ohms]", "[alone, no hands]", "can:", "unknown-limit", "in words like: alone",
    ),
    "a claim out of range": ("right: 0.5", "right: 1.5", "claims:", "out-of-range", "1 or less"),
    "a check that is misspelt": (
        "check: relay.87 to battery.neg volts on", "check: relay.87 to battery.neg volt on", "check: relay.87",
        "unknown-check", "did you mean 'relay.87 to battery.neg volts on' or",
    ),
    "a point that is not there": (
        "check: relay.87 to battery.neg volts on", "check: relay.88 to battery.neg volts on", "check: relay.88",
        "unknown-point", "did you mean 'relay.87'?",
    ),
    "ohms on a live circuit": (
        "check: relay.86 to battery.neg volts on", "check: relay.86 to relay.85 ohms on", "check: relay.86",
        "unsafe-check", "never ohms on a live circuit (key off and battery negative off; did you mean 'relay.86",
    ),
    "an ammeter in line": (
        "check: relay.86 to battery.neg volts on", "check: relay.30 to relay.87 amps on", "check: relay.30",
        "unsafe-check", "a DC clamp round a wire",
    ),
    "a step without a check": ("    check: click relay\n", "", "coil:", "missing-field", "field 'check' is missing"),
    "a branch not understood": (
        "under 11.0 V: wires", "below 11.0 V: wires", "below", "not-a-branch", "write '12.0 V or more', 'under 0.5 V'",
    ),
    "a branch in another unit": (
        "under 11.0 V: wires", "under 11 ohm: wires", "under 11 ohm", "wrong-unit", "voltage",
    ),
    "a branch without a unit": ("under 11.0 V: wires", "under 11: wires", "under 11:", "missing-unit", "12.6 V"),
    "a range turned round": ("0.5 V to 11.0 V", "11.0 V to 0.5 V", "11.0 V to", "backwards", "lower value first"),
    "over the limit on volts": ("under 11.0 V: wires", "OL: wires", "OL:", "over-limit", "leave it out"),
    "a gap between branches": (
        "0.5 V to 11.0 V", "1.0 V to 11.0 V", "1.0 V to", "gap", "no branch takes what is from 0.5 V up to 1.0 V",
    ),
    "a gap below": (
        "under 0.5 V: coil", "0.2 V to 0.5 V: coil", "0.2 V to", "gap", "no branch takes what is under 0.2 V",
    ),
    "a gap above": (
        "11.0 V or more: pump", "11.0 V to 13 V: pump", "11.0 V to 13 V", "gap", "add a branch '13.0 V or more'",
    ),
    "branches that overlap": (
        "0.5 V to 11.0 V", "0.5 V to 11.5 V", "11.0 V or more: ground", "overlap", "both take 11",
    ),
    "an answer without a branch": ("    buzzes: coil_feed\n", "", "  coil:", "no-branch", "no branch for: buzzes"),
    "an answer nobody gives": ("    buzzes:", "    hums:", "hums", "unknown-answer", "clicks, no click, buzzes"),
    "a branch that leads nowhere": ("clicks: contacts", "clicks: contact", "clicks:", "leads-nowhere", "did you mean"),
    "a branch with nothing behind": (
        "clicks: contacts", "clicks:", "clicks:", "empty-field", "nothing is written here",
    ),
    "a loop": (
        "under 11.0 V: control", "under 11.0 V: coil", "under 11.0 V: coil", "loop", "coil to coil_feed to coil",
    ),
    **{
        what: ("[pump:open, pump:seized]", f"[pump:open, pump:seized]\n    tell_apart: {to}", "tell_apart", code, words)
        for what, to, code, words in (
            ("a verdict told apart by nothing", "coils", "leads-nowhere", "did you mean 'coil'?"),
            ("a verdict told apart by a verdict", "feed", "no-step", "is a verdict, and a step tells suspects apart"),
            ("a verdict that leads round and round", "output", "loop", "output to ground to pump to output"),
        )
    },
    "a verdict nobody reaches": (
        "under 11.0 V: feed", "under 11.0 V: contacts", "  feed:", "not-reached", "nothing leads to",
    ),
    "a name for two": (
        "  pump:\n    suspects", "  drop:\n    suspects", "  drop:", "name-twice", "a step and a verdict",
    ),
    "a fault that is misspelt": (
        "[pump:open, pump:seized]", "[pump:open, pump:seised]", "suspects: [pump:open", "unknown-fault",
        "did you mean 'pump:seized'?",
    ),
    "a fault named twice": (
        "[pump:open, pump:seized]", "[pump:open, pump:open]", "suspects: [pump:o", "named-twice", "delete",
    ),
    "a verdict without suspects": ("[pump:open, pump:seized]", "[]", "suspects: []", "wrong-length", "at least 1"),
    "a proof that is no check": (
        "- runs pump on", "- runs pump while on", "- runs pump while", "unknown-check", "runs pump",
    ),
    "a step twice": ("  feed:\n", "  wires:\n", "  wires:", "duplicate-key", "is there twice, on lines"),
    "a tab": ("    suspects: [pump:open", "\tsuspects: [pump:open", "\tsuspects", "tab", ""),
    "a control character": ("repair: a", "repair: \x1b[31ma", "repair:", "control-character", "delete it"),
    "no circuit": ("circuit: ../", "circuit: ./", "circuit:", "no-circuit", "write where it is"),
}  # fmt: skip


def problems_of(text: str, folder: Path) -> list[Problem]:
    file = folder / "tree.yaml"
    file.write_text(text)
    with pytest.raises(FileProblems) as caught:
        read_tree(file)
    return caught.value.problems


@pytest.mark.parametrize("what", BROKEN)
def test_a_broken_file_is_told_with_its_line_and_what_would_be_right(what: str, tmp_path: Path) -> None:
    old, new, line, code, words = BROKEN[what]
    assert TEXT.count(old) >= 1
    text = TEXT.replace(old, new, 1).replace("../../trees", str(GROUNDS.parent))
    problems = problems_of(text, tmp_path)
    told = [problem for problem in problems if problem.code == code]
    assert told, problems
    assert words in str(told[0])
    assert told[0].file.endswith("tree.yaml")
    assert told[0].hint
    assert line in text.split("\n")[told[0].line - 1]


def test_all_that_is_wrong_is_told_in_one_go(tmp_path: Path) -> None:
    text = TEXT.replace("../../trees", str(GROUNDS.parent)).replace("after: dead", "after: deaf")
    text = text.replace("relay.87 to battery.neg volts on", "relay.88 to battery.neg volts on")
    text = text.replace("pump:seized", "pump:seised").replace("no click: coil_feed", "no click: coil")
    text = text.replace("0.5 V to 11.0 V", "1.0 V to 11.0 V")
    codes = [problem.code for problem in problems_of(text, tmp_path)]
    assert codes == ["unknown-complaint", "gap", "unknown-point", "loop", "unknown-fault"]


def test_a_ground_given_by_hand_wants_the_readings_that_allow_it_on_every_way(tmp_path: Path) -> None:
    network = wire_up(load_circuit(GROUNDS))
    spot, other = "relay.85 to battery.neg volts on", "relay.86 to battery.neg volts on"
    out = next(check.id for check in list_checks(network) if check.id.startswith(f"{spot} -"))
    text = f"""\
first: a
steps:
  a: {{check: {spot}, 10.5 V to 15.0 V: b, under 10.5 V: v, 15.0 V or more: v}}
  b: {{check: {other}, 10.5 V to 15.0 V: c, under 10.5 V: v, 15.0 V or more: v}}
  c: {{check: {out}, 2.0 V or more: v, -0.5 V to 2.0 V: d, under -0.5 V: v}}
  d: {{check: click relay on with ground@relay, clicks: v, no click: v, buzzes: v}}
verdicts:
  v: {{suspects: [circuit:not-described]}}
"""
    assert parse_tree(text, "", network).steps["d"].check.after
    for broken in (
        text.replace("under 10.5 V: v, 15.0 V or more: v}\n  c", "under 10.5 V: d, 15.0 V or more: v}\n  c"),
        text.replace("-0.5 V to 2.0 V: d, under -0.5 V: v", "-0.5 V to 2.0 V: v, under -0.5 V: d"),
        text.replace("first: a", "first: b").replace(f"  a: {{check: {spot}", f"  z: {{check: {spot}"),
    ):
        with pytest.raises(FileProblems) as caught:
            parse_tree(broken, "", network)
        unsafe = [problem for problem in caught.value.problems if problem.code == "unsafe-order"]
        assert {problem.line for problem in unsafe} == {6}
        assert "this is safe only after" in str(unsafe[0])


def test_a_misspelt_answer_is_told_once_and_the_others_are_not_called_doubled(tmp_path: Path) -> None:
    text = TEXT.replace("../../trees", str(GROUNDS.parent)).replace("no click:", "no clik:", 1)
    assert [problem.code for problem in problems_of(text, tmp_path)] == ["unknown-answer"]


def test_what_is_wrong_in_a_file_comes_whole_from_another_process() -> None:
    one = Problem("code", "message", "hint", "where", "file", 3)
    for error in (FileProblems([one]), TypedWrong(one)):
        came = pickle.loads(pickle.dumps(error))
        assert type(came) is type(error)
        assert vars(came) == vars(error)
        assert str(came) == str(error)
