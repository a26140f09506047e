"""A tree walked: answers to branches, cautions where they are due, verdicts in words."""

from __future__ import annotations

from pathlib import Path

import pytest

from troubleshoot.tree.tree import Step, Tree
from troubleshoot.tree.tree_file import parse_tree, read_tree
from troubleshoot.tree.walk import (
    branch_of,
    cautions_of,
    longest_way,
    numbered,
    say_scope,
    say_verdict,
    suspects_behind,
)
from troubleshoot.words import say
from troubleshoot.words.answers import OverLimit, Seen, Value, Wander

SMALL = Path(__file__).with_name("small_tree.yaml")


@pytest.fixture(scope="module")
def small() -> Tree:
    return read_tree(SMALL)


def to(step: Step, answer: Value | OverLimit | Wander | Seen) -> str:
    branch = branch_of(step, answer)
    return branch.to if branch else ""


def test_an_answer_takes_its_branch(small: Tree) -> None:
    step = small.steps["output"]
    assert to(step, Value(11.0, 0.1, False, "11.0")) == "ground"
    assert to(step, Value(-12.0, 0.1, False, "-12.0")) == "coil"
    assert to(small.steps["coil"], Seen("buzzes", "buzzes")) == "coil_feed"


def test_a_reading_that_wanders_within_one_branch_takes_it_and_else_none(small: Tree) -> None:
    step = small.steps["output"]
    assert to(step, Wander(2.0, 8.0, "2 to 8")) == "drop"
    assert to(step, Wander(0.2, 8.0, "0.2 to 8")) == ""


def test_over_the_limit_takes_the_branch_that_says_so(small: Tree) -> None:
    text = """\
first: a
steps:
  a:
    check: relay.86.blade to relay.85.blade ohms off -battery -pump -relay
    under 200 ohm: v
    200 ohm or more: w
    OL: x
verdicts:
  v: {suspects: [circuit:nothing-wrong]}
  w: {suspects: [relay:weak-coil]}
  x: {suspects: [relay:coil-open]}
"""
    assert to(parse_tree(text, "", small.network).steps["a"], OverLimit("OL")) == "x"
    two = text.replace("200 ohm or more: w\n    OL: x", "200 ohm or more: x").replace(
        "  w: {suspects: [relay:weak-coil]}\n", ""
    )
    assert to(parse_tree(two, "", small.network).steps["a"], OverLimit("OL")) == "x"


def test_what_lies_behind_a_step_is_what_its_verdicts_name(small: Tree) -> None:
    assert suspects_behind(small, "drop") == {
        "relay:contacts-stuck-open", "relay:contacts-burnt", "relay.30:bad", "main_fuse:blown", "feed_wire:bad",
    }  # fmt: skip
    everything = {name for verdict in small.verdicts.values() for name in verdict.suspects}
    assert suspects_behind(small, small.first) == everything


def test_every_step_and_verdict_has_one_number_from_1(small: Tree) -> None:
    numbers = numbered(small)
    assert sorted(numbers.values()) == list(range(1, 12))
    assert numbers[small.first] == 1
    assert longest_way(small) == 3


def test_that_the_starter_may_turn_is_said_where_the_key_first_goes_on_and_not_behind(small: Tree) -> None:
    warned = [name for name, step in small.steps.items() if say.STARTER_MAY_TURN in cautions_of(small, step)]
    assert warned == ["output"]
    later = SMALL.read_text().replace("relay.30 to battery.neg volts on", "relay.30 to battery.neg volts off", 1)
    tree = parse_tree(later, "", small.network)
    warned = [name for name, step in tree.steps.items() if say.STARTER_MAY_TURN in cautions_of(tree, step)]
    assert warned == ["ground", "drop", "coil"]


def test_a_verdict_says_its_suspects_what_to_repair_and_what_proves_it(small: Tree) -> None:
    found = say_verdict(small, small.verdicts["contacts"])
    assert found.say.startswith("One of these: the contacts of the pump relay do not close; the contacts of")
    assert found.repairs == ("a new relay, and look at the blades of its socket",)
    assert found.prove[0].startswith("Key on")
    assert "Red lead in the volts jack, never in the amps jack." in found.cautions
    own = say_verdict(small, small.verdicts["feed"])
    assert own.repairs == tuple(
        f.repair for f in small.network.faults if f.name in ("main_fuse:blown", "feed_wire:bad")
    )
    assert "something that the circuit's file does not tell" in say_verdict(small, small.verdicts["control"]).say


def test_what_a_tree_is_for_is_said(small: Tree) -> None:
    assert say_scope(small) == [
        "5 steps, at most 3 on one way.", "For when the fuel pump does not work at all.", "Made for: alone, no ohms.",
    ]  # fmt: skip
