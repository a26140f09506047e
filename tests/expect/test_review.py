"""Each finding of a review comes from a shipped circuit with one thing changed, and the shipped ones have no fault."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from troubleshoot.circuit.network import Network, wire_up
from troubleshoot.command_line import main
from troubleshoot.expect.ampacity import CARRIES_A, carries_a
from troubleshoot.expect.finding import SEVERITIES, Finding
from troubleshoot.expect.review import review, review_file
from troubleshoot.files.circuit_file import parse_circuit
from troubleshoot.units import Gauge

TREES = Path(__file__).parents[2] / "trees"
SHIPPED = sorted(path.parent.name for path in TREES.glob("*/circuit.yaml"))
PUMP = "pump-on-ignition-feed"
TOO_WIDE = "± 80 %"


class Edit:
    """The text of a shipped circuit, changed line by line; every change must find what it changes."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.text = (TREES / name / "circuit.yaml").read_text(encoding="utf-8")

    def without(self, name: str) -> Edit:
        """Takes a wire out."""
        lines = [line for line in self.text.splitlines() if f"{{name: {name}," not in line]
        assert len(lines) == len(self.text.splitlines()) - 1, name
        self.text = "\n".join(lines) + "\n"
        return self

    def wire(self, name: str, start: str, end: str, size: str = "14 AWG", length: str = "1 m") -> Edit:
        """Puts a wire in."""
        self.text += f"  - {{name: {name}, from: {start}, to: {end}, gauge: {size}, length: {length}}}\n"
        return self

    def part(self, line: str) -> Edit:
        """Puts a part in."""
        return self.put("\nparts:\n", f"\nparts:\n  {line}\n")

    def put(self, old: str, new: str) -> Edit:
        """Replaces words that occur once."""
        assert self.text.count(old) == 1, (old, self.text.count(old))
        self.text = self.text.replace(old, new)
        return self

    def within(self, part: str, field: str, value: str) -> Edit:
        """Gives a field of a part another value."""
        head, mark, tail = self.text.partition(f"\n  {part}:")
        old = next(line for line in tail.splitlines() if line.strip().startswith(f"{field}:"))
        assert mark
        self.text = head + mark + tail.replace(old, f"{old.partition(field)[0]}{field}: {value}", 1)
        return self

    def network(self) -> Network:
        return wire_up(parse_circuit(self.text, "changed"))

    def found(self) -> list[Finding]:
        return review(self.network())


def pump() -> Edit:
    return Edit(PUMP)


BUTTON = "{kind: switch, style: toggle, contact_resistance: 10 mohm ± 60 %, plug_contact: 4 mohm ± 60 %}"
INERTIA = BUTTON.replace("toggle", "inertia")

CHANGED: dict[str, tuple[str, str, Callable[[], Edit]]] = {
    "no fuse in the feed": ("feed-unfused", "danger", lambda: (
        pump().without("feed_wire").without("fused_feed").wire("feed_wire", "battery.pos", "relay.87")
        .wire("spare", "main_fuse.in", "link.in", "10 AWG", "0.2 m"))),
    "the fuse far from the battery": ("fuse-far", "doubt", lambda: (
        pump().put("main_fuse.in, gauge: 12 AWG, length: 0.5 m", "main_fuse.in, gauge: 12 AWG, length: 1.2 m"))),
    "the fuse very far from the battery": ("feed-unfused", "danger", lambda: (
        pump().put("main_fuse.in, gauge: 12 AWG, length: 0.5 m", "main_fuse.in, gauge: 12 AWG, length: 4 m"))),
    "a fuse over what the wire carries": ("fuse-over-wire", "fault", lambda: (
        pump().within("main_fuse", "rating", "60 A"))),
    "a coil wire missing": ("coil-unwired", "fault", lambda: pump().without("coil_ground")),
    "both coil ends to ground": ("coil-two-grounds", "fault", lambda: (
        pump().without("coil_feed").wire("coil_feed", "coil_bolt.stud", "relay.86"))),
    "both coil ends to the feed": ("coil-two-feeds", "fault", lambda: (
        pump().without("coil_ground").wire("coil_ground", "coil_fuse.out", "relay.85"))),
    "coil feed from nowhere": ("coil-no-feed", "fault", lambda: (
        pump().without("coil_feed").wire("coil_feed", "radio.in", "relay.86").without("radio_feed"))),
    "coil ground to nowhere": ("coil-no-ground", "fault", lambda: (
        pump().without("coil_ground").without("radio_feed").wire("coil_ground", "radio.in", "relay.85"))),
    "coil the wrong way round with a diode inside": ("coil-diode-reversed", "fault", lambda: (
        pump().without("coil_ground").without("coil_feed").wire("coil_feed", "coil_fuse.out", "relay.85")
        .wire("coil_ground", "relay.86", "coil_bolt.stud")
        .put("    contacts: changeover\n", "    contacts: changeover\n    suppression: diode\n"))),
    "coil the other way round without a diode": ("coil-exchanged", "note", lambda: (
        pump().without("coil_ground").without("coil_feed").wire("coil_feed", "coil_fuse.out", "relay.85")
        .wire("coil_ground", "relay.86", "coil_bolt.stud"))),
    "load wire on 87a": ("contact-unwired", "fault", lambda: (
        pump().without("pump_wire").wire("pump_wire", "relay.87a", "pump.plus"))),
    "contact without a feed": ("contact-no-feed", "fault", lambda: (
        pump().without("fused_feed").without("radio_feed").wire("fused_feed", "radio.in", "relay.87"))),
    "both sides of the contact fed": ("contact-two-feeds", "doubt", lambda: (
        pump().without("pump_wire").wire("pump_wire", "relay.30", "main_fuse.out"))),
    "feed on 87, load on 30": ("contact-exchanged", "note", pump),
    "a wire on 87a": ("rest-contact-used", "doubt", lambda: pump().wire("extra", "relay.87a", "radio.in")),
    "diode the wrong way round": ("diode-blocks", "fault", lambda: (
        pump().part("blocker: {kind: diode, contact: 3 mohm ± 60 %}").without("coil_feed")
        .wire("coil_feed", "coil_fuse.out", "blocker.cathode").wire("coil_on", "blocker.anode", "relay.86"))),
    "run and start joined": ("run-start-joined", "danger", lambda: (
        pump().wire("start_feed", "ignition.50", "coil_fuse.in"))),
    "constant feed on the start wire": ("starter-turns", "danger", lambda: (
        pump().wire("wrong", "link.out", "starter.50", "10 AWG"))),
    "pump without a ground": ("does-not-work", "fault", lambda: pump().without("pump_ground")),
    "pump's wires exchanged": ("runs-backwards", "fault", lambda: (
        pump().without("pump_wire").without("pump_ground").wire("pump_wire", "relay.30", "pump.minus")
        .wire("pump_ground", "pump.plus", "pump_bolt.stud"))),
    "coil feed from the accessory output": ("dies-cranking", "fault", lambda: (
        pump().without("ignition_out").wire("ignition_out", "ignition.acc", "coil_fuse.in"))),
    "the run feed of an oil-pressure switch missing": ("dies-running", "fault", lambda: (
        Edit("pump-oil-changeover").without("run_feed"))),
    "load on 87a, feed on 30": ("works-key-off", "fault", lambda: (
        pump().without("pump_wire").without("fused_feed").wire("fused_feed", "main_fuse.out", "relay.30")
        .wire("pump_wire", "relay.87a", "pump.plus"))),
    "live at accessory": ("works-at-accessory", "doubt", lambda: (
        pump().without("ignition_out").wire("ignition_out", "ignition.acc", "coil_fuse.in"))),
    "thermal switch passed by": ("works-unasked", "fault", lambda: passed_by_thermal()),
    "controller passed by": ("works-engine-stopped", "doubt", lambda: (
        Edit("pump-oil-backup").without("command").wire("command", "relay.85", "engine_bolt.stud"))),
    "a long thin feed": ("feed-drop", "fault", lambda: (
        pump().without("pump_wire").wire("pump_wire", "relay.30", "pump.plus", "20 AWG", "9 m"))),
    "a long thin ground": ("ground-drop", "doubt", lambda: (
        pump().without("pump_ground").wire("pump_ground", "pump.minus", "pump_bolt.stud", "16 AWG", "4 m"))),
    "a switch in the load's feed": ("switch-carries-load", "doubt", lambda: Edit("pump-by-switch")),
    "start feed on a coil that wants much": ("pull-in-low-battery", "doubt", lambda: (
        pump().put("scenario: invented\n", "scenario: invented\nworks: {key: cranking}\n").without("ignition_out")
        .wire("ignition_out", "ignition.50", "coil_fuse.in").within("relay", "pull_in", "9.2 V ± 9 %"))),
    "a coil that wants much when hot": ("pull-in-hot", "doubt", lambda: (
        pump().within("relay", "pull_in", "9.6 V ± 10 %"))),
    "a coil that wants too much": ("does-not-pull-in", "fault", lambda: pump().within("relay", "pull_in", "14 V")),
    "coil on a constant feed": ("coil-live-key-off", "fault", lambda: (
        pump().without("ignition_out").wire("ignition_out", "main_fuse.out", "coil_fuse.in"))),
    "a small relay": ("contact-overloaded", "fault", lambda: pump().within("relay", "rating", "5 A")),
    "a relay kept to less than it says": ("contact-overloaded", "doubt", lambda: (
        pump().within("relay", "rating", "7.5 A"))),
    "feed shorted by the rest contact": ("fuse-blows", "fault", lambda: (
        pump().wire("wrong", "relay.87a", "coil_bolt.stud").without("pump_wire").without("fused_feed")
        .wire("fused_feed", "main_fuse.out", "relay.30").wire("pump_wire", "relay.87", "pump.plus"))),
    "a fuse smaller than the load": ("fuse-blows", "fault", lambda: pump().within("main_fuse", "rating", "3 A")),
    "a fuse no larger than the load": ("fuse-too-small", "doubt", lambda: (
        pump().within("main_fuse", "rating", "7.5 A"))),
    "a fuse a little smaller than the load": ("fuse-too-small", "fault", lambda: (
        pump().within("main_fuse", "rating", "5 A"))),
    "no cut-off": ("no-cut-off", "doubt", pump),
    "a cut-off beside the way": ("cut-off-passed-by", "doubt", lambda: (
        Edit("pump-oil-backup").part(f"inertia: {INERTIA}").without("relay_out")
        .wire("relay_out", "relay.87", "inertia.in").wire("on", "inertia.out", "pump_splice.stud"))),
    "a wire behind a switch that nobody operates": ("hangs-on-nothing", "doubt", lambda: (
        pump().part("tag: {kind: splice}").part(f"toggle: {BUTTON}").wire("to_toggle", "coil_fuse.out", "toggle.in")
        .wire("stub", "toggle.out", "tag.stud"))),
    "a pump of which little is known": ("wide-values", "doubt", lambda: (
        pump().within("pump", "resistance", f"1.3 ohm {TOO_WIDE}").without("pump_wire")
        .wire("pump_wire", "relay.30", "pump.plus", "20 AWG", "4 m")
        .put("gauge: 20 AWG, length: 4 m}", "gauge: 20 AWG, length: 4 m, tolerance: 100 %}"))),
    "a wire of which little is known": ("wide-values", "note", lambda: (
        pump().put("length: 0.3 m, colour: brown/black}", "length: 0.3 m, colour: brown/black, tolerance: 90 %}"))),
}  # fmt: skip
"""The finding to expect, how bad it is, and the circuit with what was changed in it."""


def passed_by_thermal() -> Edit:
    """The fan's thermal switch grounds the coil; here the coil is grounded past it."""
    edit = Edit("radiator-fan-thermal")
    wire = next(w for w in edit.network().circuit.wires if w.start == "relay.85" or w.end == "relay.85")
    bolt = next(n for n, p in edit.network().circuit.parts.items() if p.kind == "ground_bolt")
    return edit.without(wire.name).wire(wire.name, "relay.85", f"{bolt}.stud")


@pytest.mark.parametrize("about", CHANGED)
def test_what_is_changed_is_found(about: str) -> None:
    code, severity, changed = CHANGED[about]
    found = changed().found()
    assert (code, severity) in {(each.code, each.severity) for each in found}, found


@pytest.mark.parametrize("about", CHANGED)
def test_what_is_found_was_not_there_before_the_change(about: str) -> None:
    code, severity, changed = CHANGED[about]
    edit = changed()
    before = Edit(edit.name)
    if edit.text != before.text:
        assert (code, severity) not in {(each.code, each.severity) for each in before.found()}


@pytest.mark.parametrize("name", SHIPPED)
def test_a_shipped_circuit_has_no_danger_and_no_fault(name: str) -> None:
    _, found = review_file(TREES / name)
    assert [each for each in found if each.severity in ("danger", "fault")] == []


@pytest.mark.parametrize("name", SHIPPED)
def test_every_finding_says_where_what_why_what_to_do_and_by_whose_word(name: str) -> None:
    _, found = review_file(TREES / name)
    for each in found:
        assert all((each.where, each.what, each.why, each.do, each.source)), each
        assert each.line > 0
    assert [SEVERITIES.index(each.severity) for each in found] == sorted(SEVERITIES.index(e.severity) for e in found)


def test_a_circuit_that_nothing_settles_is_said_to_be_unsolvable() -> None:
    network = pump().without("coil_ground").without("coil_feed").network()
    loose = replace(network, branches=tuple(b for b in network.branches if not b.name.endswith(".leak")))
    assert len(loose.branches) == len(network.branches) - 1
    assert "unsolvable" in {each.code for each in review(loose)}
    assert "unsolvable" not in {each.code for each in review(network)}


def test_a_finding_is_told_with_the_line_of_its_wire_and_in_json(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    edit = pump().wire("start_feed", "ignition.50", "coil_fuse.in")
    file = tmp_path / "circuit.yaml"
    file.write_text(edit.text, encoding="utf-8")
    line = next(i for i, text in enumerate(edit.text.splitlines(), 1) if text.startswith("  ignition:"))
    assert main(["review", str(file)]) == 1
    said = capsys.readouterr().out
    assert "DANGER" in said
    assert f"ignition switch (line {line})" in said
    assert "do not turn the key" in said
    assert main(["review", str(file), "--json"]) == 1
    data = json.loads(capsys.readouterr().out)
    assert (data["findings"][0]["severity"], data["findings"][0]["line"]) == ("danger", line)


def test_a_review_without_danger_or_fault_exits_with_0(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["review", PUMP]) == 0
    assert "doubt" in capsys.readouterr().out


def test_the_lead_of_a_switched_pump_is_said_by_name() -> None:
    """The way of the current is told: that is what one follows at the car."""
    found = CHANGED["load on 87a, feed on 30"][2]().found()
    what = next(each.what for each in found if each.code == "works-key-off")
    assert "87a of the pump relay" in what
    assert "pump fuse" in what


def test_a_rest_contact_is_held_to_less_than_the_make_contact() -> None:
    """Three quarters of its rating where the file does not say (maker or service data: 40 A and 30 A)."""
    on_rest = CHANGED["load on 87a, feed on 30"][2]().within("relay", "rating", "7 A").found()
    what = [each.what for each in on_rest if each.code == "contact-overloaded"]
    assert len(what) == 1
    assert "87a" in what[0]
    assert "rated 5.25 A" in what[0]


def test_a_wire_carries_more_the_thicker_it_is_and_the_tables_values_at_its_sizes() -> None:
    for size, (bundled_a, free_a) in CARRIES_A.items():
        assert carries_a(Gauge.read(f"{size} AWG")) == pytest.approx((bundled_a, free_a))
    carried = [carries_a(Gauge.read(f"{area} mm2")) for area in (0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0)]
    assert carried == sorted(carried)
    assert all(bundled_a < free_a for bundled_a, free_a in carried)
