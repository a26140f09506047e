"""The proof of a tree: what it says of trees that are good, or bad in one way; its figures, its certificate."""

from __future__ import annotations

import json
import math
import shutil
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from troubleshoot.car import Car
from troubleshoot.circuit.check_list import list_checks
from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.cost import Stand, cost_s
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.circuit.network import Network, wire_up
from troubleshoot.command_line import main
from troubleshoot.errors import TypedWrong
from troubleshoot.files.circuit_file import load_circuit
from troubleshoot.files.guesses_file import SHIPPED as SHIPPED_GUESSES
from troubleshoot.files.guesses_file import load_guesses
from troubleshoot.places import circuit_path
from troubleshoot.session.proving import doable
from troubleshoot.solve.cases import OPEN
from troubleshoot.tree import certificate
from troubleshoot.tree.apart import Asked
from troubleshoot.tree.margins import error_at
from troubleshoot.tree.proof_text import proof_lines
from troubleshoot.tree.prove import Proof, prove
from troubleshoot.tree.sampled import Sample, Sampled, draw_sample
from troubleshoot.tree.tree import NOTHING_WRONG, Claims, Tree
from troubleshoot.tree.tree_file import parse_tree
from troubleshoot.tree.ways import walk

SHIPPED = circuit_path("pump-on-ignition-feed")

# feed first: is there battery voltage where the relay's contact gives it out?
SMALL = """
first: output
steps:
  output:
    check: relay.30 to battery.neg volts on
    11.5 V or more: pump
    0.5 V to 11.5 V: contacts
    under 0.5 V: click
  pump:
    check: pump.plus.blade to pump.minus.blade ohms off -battery -pump -relay
    OL: pump_open
    50 ohm or more: pump_open
    under 50 ohm: rest
  click:
    check: click relay
    clicks: contacts
    no click: coil
    buzzes: coil
verdicts:
  contacts: {suspects: [relay:contacts-burnt, relay:contacts-stuck-open]}
  pump_open: {suspects: [pump:open]}
  coil: {suspects: [relay:coil-open]}
  rest: {suspects: [circuit:nothing-wrong]}
"""
NAMED = ("relay:contacts-burnt", "relay:contacts-stuck-open", "pump:open", "relay:coil-open")


@pytest.fixture(scope="module")
def net() -> Network:
    return wire_up(load_circuit(SHIPPED))


@pytest.fixture(scope="module")
def guesses() -> Guesses:
    return load_guesses()


@pytest.fixture(scope="module")
def few(net: Network) -> Network:
    """The circuit with the faults of the small tree, no others."""
    return replace(net, faults=tuple(fault for fault in net.faults if fault.name in NAMED))


@pytest.fixture(scope="module")
def sample(few: Network, guesses: Guesses) -> Sample:
    return draw_sample(few, guesses, cars=12, seed=3)


@pytest.fixture(scope="module")
def small(few: Network) -> Tree:
    return parse_tree(SMALL, "small.yaml", few)


def text_with(*changes: tuple[str, str]) -> str:
    text = SMALL
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    return text


APART = (
    (
        "  contacts: {suspects: [relay:contacts-burnt, relay:contacts-stuck-open]}\n",
        "  contacts: {suspects: [relay:contacts-burnt, relay:contacts-stuck-open], tell_apart: across}\n"
        "  burnt: {suspects: [relay:contacts-burnt]}\n  stuck: {suspects: [relay:contacts-stuck-open]}\n",
    ),
    (
        "verdicts:\n",
        "  across:\n    check: relay.87 to relay.30 volts on\n    11.0 V or more: stuck\n    under 11.0 V: burnt\n"
        "verdicts:\n",
    ),
)
"""What makes the small tree tell apart what its verdict 'contacts' names."""


def proof_of(text: str, few: Network, sample: Sample, guesses: Guesses, looked: int = 0) -> Proof:
    return prove(parse_tree(text, "small.yaml", few), sample, guesses, looked=looked)


def told(proof: Proof, code: str) -> list[str]:
    return [f"{each.place}: {each.message}" for each in proof.findings if each.code == code]


def test_what_tells_the_suspects_of_a_verdict_apart_counts_for_the_last_verdict_not_for_the_time_to_the_first(
    few: Network, sample: Sample, guesses: Guesses
) -> None:
    plain, apart = proof_of(SMALL, few, sample, guesses), proof_of(text_with(*APART), few, sample, guesses)
    assert apart.minutes == pytest.approx(plain.minutes)
    assert apart.readings == pytest.approx(plain.readings)
    assert apart.worst_readings == plain.worst_readings
    assert apart.all_minutes > plain.all_minutes == pytest.approx(plain.minutes)
    assert not [each for each in apart.findings if each.fails]
    ends = {w.verdict for w in apart.ways}
    assert {"burnt", "stuck"} < ends
    assert "contacts" not in ends
    assert {w.verdict for w in apart.ways if w.sampled.fault == "relay:contacts-stuck-open"} == {"stuck"}
    further = [w for w in apart.ways if w.verdict in ("burnt", "stuck")]
    assert all(len(w.visits) == w.decided + 1 and w.all_seconds > w.seconds for w in further)


def test_a_car_that_is_told_apart_wrongly_is_a_miss_at_the_reading_that_misled(
    few: Network, sample: Sample, guesses: Guesses
) -> None:
    wrong = (
        ("11.0 V or more: stuck", "11.0 V or more: burnt"),
        ("under 11.0 V: burnt", "under 11.0 V: stuck"),
    )
    proof = proof_of(text_with(*APART, *wrong), few, sample, guesses)
    assert proof.right < proof_of(SMALL, few, sample, guesses).right
    assert any(each.startswith("steps.across.") for each in told(proof, "missed"))


# ---- the cars


def test_every_fault_has_its_cars_at_severities_on_no_grid_and_open(sample: Sample) -> None:
    count = Counter(each.fault for each in sample.cars)
    assert count == {"relay:contacts-stuck-open": 12, "pump:open": 12, "relay:coil-open": 12,
                     "relay:contacts-burnt": 60, NOTHING_WRONG: 60}  # fmt: skip
    burnt = [each.severity for each in sample.cars if each.fault == "relay:contacts-burnt"]
    finite = [severity for severity in burnt if severity is not None and severity < OPEN]
    assert len(set(finite)) == len(finite)
    # log-uniform: about as many in each half of the scale
    middle = math.sqrt(min(finite) * max(finite))
    assert 0.3 < np.mean([severity < middle for severity in finite]) < 0.7


def test_a_fault_weighs_what_the_guesses_say(sample: Sample, guesses: Guesses) -> None:
    weight: Counter[str] = Counter()
    for each in sample.cars:
        weight[each.fault] += each.weight  # type: ignore[assignment]
    assert sum(weight.values()) == pytest.approx(1)
    ratio = weight["pump:open"] / weight["relay:coil-open"]
    assert ratio == pytest.approx(guesses.prior("load-open") / guesses.prior("coil-open"))


def test_only_cars_that_are_brought_for_the_complaint_are_walked(few: Network, guesses: Guesses) -> None:
    dead = draw_sample(few, guesses, cars=2, seed=3, after="dead")
    assert "pump:open" in dead.faults
    assert NOTHING_WRONG not in dead.faults
    assert sum(each.weight for each in dead.cars) == pytest.approx(1)


def test_what_does_nothing_is_told_and_not_walked(net: Network, guesses: Guesses) -> None:
    some = replace(net, faults=tuple(f for f in net.faults if f.name in ("main_fuse:bridged", "main_fuse:blown")))
    sample = draw_sample(some, guesses, cars=2)
    assert sample.idle == ("main_fuse:bridged",)
    assert set(sample.faults) == {NOTHING_WRONG, "main_fuse:blown"}


# ---- figures


def test_a_good_tree_is_right_and_holds(small: Tree, sample: Sample, guesses: Guesses) -> None:
    proof = prove(small, sample, guesses, looked=0)
    wrong = [way for way in proof.ways if way.verdict not in small.verdicts]
    assert not wrong
    assert proof.right > 0.85
    assert proof.holds
    assert proof.worst_readings == 2


def test_time_is_that_of_the_costs_of_each_check_from_where_one_stands(
    small: Tree, sample: Sample, guesses: Guesses
) -> None:
    way = next(way for way in walk(small, sample.cars, guesses.costs) if way.sampled.fault == "relay:coil-open")
    circuit, output, click = small.network.circuit, small.steps["output"].check, small.steps["click"].check
    by_hand = cost_s(circuit, guesses.costs, Stand(), output)
    by_hand += cost_s(circuit, guesses.costs, Stand(output.setup, output.place), click)
    assert [visit.step for visit in way.visits] == ["output", "click"]
    assert way.seconds == pytest.approx(by_hand)


def test_the_same_sample_gives_the_same_proof_again(small: Tree, sample: Sample, guesses: Guesses) -> None:
    first, second = (prove(small, sample, guesses, looked=0) for _ in range(2))
    assert first.figures() == second.figures()
    assert first.findings == second.findings


def test_another_seed_draws_other_cars(few: Network, guesses: Guesses, small: Tree) -> None:
    first, second = (prove(small, draw_sample(few, guesses, 2, seed=s), guesses, looked=0) for s in (1, 2))
    assert first.margins != second.margins


def test_claims_that_the_cars_do_not_bear_out_fail(small: Tree, sample: Sample, guesses: Guesses) -> None:
    proof = prove(replace(small, claims=Claims(1.0, 0.1, 1)), sample, guesses, looked=0)
    assert not proof.holds
    assert len(proof.falls_short) == 3


# ---- what is wrong


def test_a_miss_is_told_with_the_reading_that_misled(few: Network, sample: Sample, guesses: Guesses) -> None:
    proof = proof_of(text_with(("no click: coil", "no click: contacts")), few, sample, guesses)
    found = told(proof, "missed")
    mine = [words for words in found if "relay:coil-open" in words]
    assert len(mine) == 1
    assert mine[0].startswith("steps.click.no click: 12 of 12 cars with relay:coil-open came to 'contacts', misled by")


def test_a_fault_that_no_verdict_names_is_told_where_it_ends(few: Network, sample: Sample, guesses: Guesses) -> None:
    proof = proof_of(text_with(("[relay:coil-open]", "[pump:open]")), few, sample, guesses)
    assert "verdicts.coil: 12 of 12 cars with relay:coil-open came to 'coil'; no verdict names that fault" in told(
        proof, "missed"
    )


def test_the_check_that_would_find_a_missed_fault_is_named(few: Network, sample: Sample, guesses: Guesses) -> None:
    text = text_with(("[relay:coil-open]", "[relay:contacts-stuck-open]"), ("clicks: contacts", "clicks: coil"))
    proof = proof_of(text, few, sample, guesses, looked=24)
    lost = next(each for each in proof.findings if each.code == "not-found" and "relay:coil-open" in each.message)
    assert lost.place == "verdicts.coil"
    assert "'click relay'" in lost.hint


def test_a_verdict_that_holds_what_a_check_tells_apart_is_told(few: Network, sample: Sample, guesses: Guesses) -> None:
    text = text_with(("[relay:coil-open]", "[relay:coil-open, relay:contacts-stuck-open]"),
                     ("clicks: contacts", "clicks: coil"))  # fmt: skip
    found = told(proof_of(text, few, sample, guesses, looked=24), "holds-more")
    assert len(found) == 1
    assert found[0].startswith("verdicts.coil: ")
    assert "'click relay' tells" in found[0]


def test_look_alikes_that_share_a_verdict_are_not_told(net: Network, guesses: Guesses) -> None:
    """The ground bolt painted, or its joint open: nothing that one can read tells them apart."""
    alike = replace(net, faults=tuple(f for f in net.faults if f.part == "pump_bolt"))
    text = """
first: a
steps:
  a: {check: pump.minus to battery.neg volts on, 0.2 V or more: v, under 0.2 V: w}
verdicts:
  v: {suspects: [pump_bolt:bad-joint, pump_bolt:painted]}
  w: {suspects: [circuit:nothing-wrong]}
"""
    tree = parse_tree(text, "", alike)
    proof = prove(tree, draw_sample(alike, guesses, 12), guesses, doable(tree), looked=24)
    assert told(proof, "holds-more") == []


def test_steps_that_nobody_comes_to_and_that_tell_nothing_are_told(
    few: Network, sample: Sample, guesses: Guesses
) -> None:
    text = text_with(("first: output", "first: again"), ("steps:\n", """steps:
  again:
    check: battery.pos to battery.neg volts off
    5.0 V or more: output
    under 5.0 V: never
  never:
    check: click relay
    clicks: contacts
    no click: coil
    buzzes: coil
"""))  # fmt: skip
    proof = proof_of(text, few, sample, guesses)
    assert told(proof, "proves-nothing")[0].startswith("steps.again: all 156 cars that come here take '5.0 V or more'")
    assert told(proof, "nobody-comes") == ["steps.never: no car comes here"]


def test_the_same_check_twice_on_a_way_is_told(few: Network, sample: Sample, guesses: Guesses) -> None:
    text = text_with(("no click: coil", "no click: twice"), ("  click:\n", """  twice:
    check: click relay
    clicks: contacts
    no click: coil
    buzzes: coil
  click:
"""))  # fmt: skip
    assert told(proof_of(text, few, sample, guesses), "asked-twice")[0].startswith("steps.twice.check: ")


def test_gaps_overlaps_and_loops_of_a_tree_made_in_the_program_fail(
    small: Tree, sample: Sample, guesses: Guesses
) -> None:
    step = small.steps["output"]
    gap = replace(step, branches=step.branches[:-1])
    loop = replace(step, branches=(replace(step.branches[0], to="click"), *step.branches[1:-1],
                                   replace(step.branches[-1], to="output")))  # fmt: skip
    for broken, code in ((gap, "gap"), (loop, "loop")):
        proof = prove(replace(small, steps={**small.steps, "output": broken}), sample, guesses)
        assert not proof.holds
        assert told(proof, code)[0].startswith("steps.output")


def test_a_check_that_nobody_has_the_tool_for_fails(few: Network, sample: Sample, guesses: Guesses) -> None:
    tree = parse_tree(text_with(("first:", "can: [no ohms]\nfirst:")), "", few)
    proof = prove(tree, sample, guesses, doable(tree), looked=0)
    assert told(proof, "cannot")[0].startswith("steps.pump.check: ")
    assert not proof.holds


def test_a_ground_given_by_hand_without_the_readings_before_it_fails(guesses: Guesses) -> None:
    network = wire_up(load_circuit(circuit_path("pump-controller-grounds")))
    by_hand = next(check for check in list_checks(network) if check.after and check.about.startswith("click:"))
    text = f"""
first: a
steps:
  a: {{check: {by_hand.id}, clicks: v, no click: w, buzzes: w}}
verdicts:
  v: {{suspects: [circuit:nothing-wrong]}}
  w: {{suspects: [circuit:not-described]}}
"""
    safe = parse_tree(text.replace(by_hand.id, "click " + by_hand.about.partition(":")[2]), "", network)
    few = replace(network, faults=())
    unsafe = replace(safe, steps={"a": replace(safe.steps["a"], check=by_hand)})
    proof = prove(unsafe, draw_sample(few, guesses, 1), guesses, looked=0)
    found = [each for each in proof.findings if each.code == "unsafe-order"]
    assert {each.place for each in found} == {"steps.a.check"}
    assert any("nobody had read it" in each.message for each in found)
    assert not proof.holds


# ---- margins


def test_the_smallest_margin_is_the_nearest_reading_to_a_limit(small: Tree, sample: Sample, guesses: Guesses) -> None:
    proof = prove(small, sample, guesses, looked=0)
    coil = [visit.answered.value for way in proof.ways for visit in way.visits
            if visit.step == "output" and way.sampled.fault == "relay:coil-open"]  # fmt: skip
    burnt = [visit.answered.value for way in proof.ways for visit in way.visits
             if visit.step == "output" and way.sampled.fault == "pump:open"]  # fmt: skip
    by_limit = {margin.limit: margin for margin in proof.margins if margin.step == "output"}
    assert by_limit[0.5].margin <= 0.5 - max(coil)
    assert by_limit[11.5].margin <= min(burnt) - 11.5
    assert proof.smallest_v == min(margin.margin for margin in by_limit.values())


@pytest.mark.parametrize(
    ("words", "limit", "error"),
    [
        # 0.5 % and two digits of 10 mV; of 1 mV; clamp 2 % and twice 80 mA; ohms 1 % and twice the leads' 80 mohm
        ("relay.30 to battery.neg volts on", 12.0, 0.08),
        ("relay.30 to battery.neg volts on", 0.5, 0.0045),
        ("pump_wire amps on", 5.0, 0.26),
        ("relay.86.blade to relay.85.blade ohms off -battery -pump -relay", 60.0, 0.76),
    ],
)
def test_the_meters_error_is_what_its_maker_states(net: Network, words: str, limit: float, error: float) -> None:
    check = next(check for check in list_checks(net) if check.id == words)
    assert error_at(check, limit) == pytest.approx(error)


# ---- told apart


class Said(Car):
    """A car that answers from a list."""

    def __init__(self, *said: str) -> None:
        self.said = list(said)

    def answer(self, check: Check) -> str:
        del check
        return self.said.pop(0)


def test_what_a_limit_tells_apart_is_confirmed_on_other_cars(net: Network) -> None:
    check = next(check for check in list_checks(net) if check.id == "relay.30 to battery.neg volts on")
    ours, theirs = ["1.0 V"] * 9 + ["9.0 V"], ["8.0 V"] * 10
    cars = [Sampled("f", None, 0.0, Said(words)) for words in ours + theirs]
    asked = Asked(cars, [check])
    one, other = np.arange(10), np.arange(10, 20)
    assert asked.nearest(one, other) == (check, pytest.approx(0.05))
    found = asked.tells(one, other)
    assert found is not None
    assert found[1] == pytest.approx(0.1)  # of the half with the odd one, 1 of 5 and 0 of 5
    alike = Asked([Sampled("f", None, 0.0, Said(words)) for words in ["1.0 V", "9.0 V"] * 10], [check])
    assert alike.tells(one, other) is None


# ---- the certificate and the verb


LAMP_TREE = """
claims: {right: 0.01}
first: feed
steps:
  feed:
    check: lamp.plus to battery.neg volts off +lamp_switch
    11.0 V or more: ground
    under 11.0 V: supply
  ground:
    check: lamp.minus to battery.neg volts off +lamp_switch
    1.0 V or more: bad_ground
    under 1.0 V: bulb
verdicts:
  supply: {suspects: [lamp_fuse:blown, "lamp_feed:bad"]}
  bad_ground: {suspects: ["lamp_bolt:bad-joint"]}
  bulb: {suspects: [lamp:open]}
"""
"""On the smallest circuit, since a proof takes its time."""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    shutil.copy(Path(__file__).parent / "lamp.yaml", tmp_path / "circuit.yaml")
    (tmp_path / "tree.yaml").write_text(LAMP_TREE)
    return tmp_path


def test_the_verb_tells_figures_and_exits_with_1_below_the_claims(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["tree", "prove", str(folder), "--cars", "1", "--severities", "2", "--json", "--certify"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["holds"]
    assert 0.01 < data["right"] < 1
    assert data["faults"] < data["cars"] <= 2 * data["faults"]
    kept = certificate.read_certificate(folder / "tree.yaml")
    assert kept is not None
    assert kept.proved["right"] == data["right"]
    tree = folder / "tree.yaml"
    tree.write_text(tree.read_text().replace("right: 0.01", "right: 0.999"))
    assert main(["tree", "prove", str(folder), "--cars", "1", "--severities", "2"]) == 1
    said = capsys.readouterr()
    assert "falls short: right in" in said.out
    assert "the proof does not hold" in said.out
    assert "the tree has changed since" in said.err


@pytest.mark.parametrize("verb", ["show", "page"])
def test_who_uses_a_tree_is_told_that_its_proof_is_out_of_date(
    folder: Path, verb: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(folder)
    tree = folder / "tree.yaml"
    today = certificate.hashes_of(tree, folder / "circuit.yaml", SHIPPED_GUESSES)
    certificate.write_certificate(tree, certificate.Certificate(today, {}))
    assert main(["tree", verb, str(folder)]) == 0
    assert "out of date" not in capsys.readouterr().err
    certificate.write_certificate(tree, certificate.Certificate({**today, "program": "another"}, {}))
    assert main(["tree", verb, str(folder), *(["--force"] if verb == "page" else [])]) == 0
    assert "its proof is out of date: the program has changed since" in capsys.readouterr().err


def test_few_cars_are_refused_in_words(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["tree", "prove", str(folder), "--cars", "0"]) == 1
    assert "--cars 1 or more" in capsys.readouterr().err


def test_a_certificate_is_kept_whole_and_says_what_has_changed(tmp_path: Path) -> None:
    tree, circuit, guesses = (tmp_path / name for name in ("tree.yaml", "circuit.yaml", "guesses.yaml"))
    for path in (tree, circuit, guesses):
        path.write_text(path.name)
    today = certificate.hashes_of(tree, circuit, guesses)
    made = certificate.Certificate(today, {"right": 1.0}, {"cost_s": 200.0, "bound_s": 198.5})
    certificate.write_certificate(tree, made)
    kept = certificate.read_certificate(tree)
    assert kept == made
    assert kept.bound_s == 198.5
    assert certificate.stale(kept, today) == ""
    circuit.write_text("other")
    tree.write_text("another")
    later = certificate.hashes_of(tree, circuit, guesses)
    assert "the circuit file and the tree have changed since" in certificate.stale(kept, later)
    assert certificate.bound_for(tree, later) is None
    assert [path.name for path in tmp_path.glob("*.tmp")] == []


def test_a_bound_is_taken_from_the_compiled_tree_beside_one_written_by_hand(tmp_path: Path) -> None:
    mine, other, circuit = (tmp_path / name for name in ("by-hand.yaml", "tree.yaml", "circuit.yaml"))
    for path in (mine, other, circuit):
        path.write_text(path.name)
    today = certificate.hashes_of(other, circuit, circuit)
    certificate.write_certificate(other, certificate.Certificate(today, {}, {"bound_s": 150}))
    own = certificate.hashes_of(mine, circuit, circuit)
    assert certificate.bound_for(mine, own) is None
    assert certificate.bound_for(mine, own, other) == 150


@pytest.mark.parametrize("text", ["", "[1]", '{"hashes": 3}', '{"proved": []}', "\ufeff{"])
def test_a_broken_certificate_is_one_clear_message(tmp_path: Path, text: str) -> None:
    (tmp_path / "tree.proof.json").write_text(text, encoding="utf-8")
    with pytest.raises(TypedWrong, match=r"is no certificate of a tree"):
        certificate.read_certificate(tmp_path / "tree.yaml")


def test_the_proof_is_told_with_its_place_and_how_many_more_there_are(
    small: Tree, sample: Sample, guesses: Guesses
) -> None:
    proof = prove(small, sample, guesses, looked=0, bound_s=60.0)
    lines = list(proof_lines(proof))
    assert lines[-1] == "the proof holds"
    assert any(f"{proof.minutes:.3f} times" in line for line in lines)
