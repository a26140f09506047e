"""The wired-up circuit: points, stretches, faults; and that the relay's contact has no direction."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from runpy import run_path

import numpy as np
import pytest

from troubleshoot.circuit import Circuit, Network, Setup, wire_up
from troubleshoot.files.circuit_file import load_circuit, parse_circuit
from troubleshoot.solve.cases import OPEN, Bench, Case

SHIPPED = Path(__file__).parents[2] / "trees" / "pump-on-ignition-feed" / "circuit.yaml"


def load(tmp_path: Path, *changes: tuple[str, str]) -> Circuit:
    """The shipped circuit with pieces of its text replaced."""
    text = SHIPPED.read_text(encoding="utf-8")
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    (tmp_path / "circuit.yaml").write_text(text, encoding="utf-8")
    return load_circuit(tmp_path)


@pytest.fixture(scope="module")
def network() -> Network:
    return wire_up(load_circuit(SHIPPED))


def test_every_terminal_that_a_wire_ends_on_can_be_probed(network: Network) -> None:
    ends = {end for wire in network.circuit.wires for end in (wire.start, wire.end)}
    assert ends
    assert ends <= network.point_at.keys()


def test_points_are_told_once_each_and_are_nodes(network: Network) -> None:
    assert len({point.node for point in network.points}) == len(network.points)
    assert len({point.say for point in network.points}) == len(network.points)
    assert all(point.node in network.nodes for point in network.points)
    assert all(point.part in network.circuit.parts for point in network.points)


def test_the_reference_is_the_negative_post(network: Network) -> None:
    assert network.nodes[0] == "battery.neg"
    assert len(set(network.nodes)) == len(network.nodes)


def test_branch_names_are_unique_and_their_ohms_positive(network: Network) -> None:
    assert len(network.branch_at) == len(network.branches)
    assert all(branch.ohm > 0 and np.isfinite(branch.ohm) for branch in network.branches)


def test_stretches_share_out_the_wires_rings_and_contacts_each_once(network: Network) -> None:
    wires = {wire.name for wire in network.circuit.wires}
    wired = {end for wire in network.circuit.wires for end in (wire.start, wire.end)}
    passive = {
        branch.name
        for branch in network.branches
        if branch.name in wires
        or branch.name.endswith(".ring")
        or (branch.name.endswith(".contact") and branch.name.removesuffix(".contact") in wired)
    }
    count = Counter(name for stretch in network.stretches for name in stretch.branches)
    assert set(count) == passive
    assert set(count.values()) == {1}


def test_a_stretch_runs_between_its_two_ends(network: Network) -> None:
    for stretch in network.stretches:
        ends = Counter[str]()
        for name in stretch.branches:
            branch = network.branches[network.branch_at[name]]
            ends.update((branch.a, branch.b))
        assert sorted(node for node, count in ends.items() if count == 1) == sorted((stretch.a, stretch.b))


def test_fault_names_and_sentences_are_unique(network: Network) -> None:
    assert len({fault.name for fault in network.faults}) == len(network.faults)
    assert len({fault.say for fault in network.faults}) == len(network.faults)


def test_every_change_of_a_fault_has_a_target_that_exists(network: Network) -> None:
    targets = network.branch_at.keys() | {device.name for device in network.devices}
    for fault in network.faults:
        assert fault.changes, fault.name
        assert {change.target for change in fault.changes} <= targets, fault.name


def test_every_fault_but_a_wrong_fuse_changes_some_reading(network: Network) -> None:
    """At its worst, in some key state, some node moves by more than 1 mV. A fuse that is too large, or bridged, is
    seen by its print alone until something else goes wrong."""
    cases = [Case()]
    for fault in network.faults:
        severity = None
        if fault.severity:
            severity = OPEN if fault.severity.open_share else fault.severity.high
        cases.append(Case(fault, severity))
    bench = Bench(network, cases)
    moved_v = np.zeros(len(cases))
    for key in network.circuit.keys:
        volts = bench.solved(Setup(key)).volts
        moved_v = np.maximum(moved_v, np.abs(volts - volts[0]).max(axis=1))
    still = {case.fault.name for case, v in zip(cases, moved_v, strict=True) if case.fault and v <= 1e-3}
    assert still == {f"{fuse.name}:{mode}" for fuse in network.fuses for mode in ("too-large", "bridged")}


def test_a_wire_short_is_behind_a_fuse(network: Network) -> None:
    shorted = {fault.part for fault in network.faults if fault.mode == "shorted"}
    assert {"pump_wire", "fused_feed", "coil_feed"} <= shorted
    assert not {"feed_wire", "ignition_feed", "starter_cable", "pump_ground"} & shorted


SWAP = (("to: relay.87,", "to: relay.30,"), ("from: relay.30,", "from: relay.87,"))


def test_the_same_circuit_with_feed_on_30_and_load_on_87_runs_the_pump_too(tmp_path: Path) -> None:
    network = wire_up(load(tmp_path, *SWAP))
    bench = Bench(network, [Case()])
    turning = [key for key in network.circuit.keys if bench.settled(Setup(key))[0].bent[0, 0] == 1]
    assert turning == ["on", "cranking", "running", "remote"]


def test_with_feed_and_load_exchanged_the_pump_gets_the_same_volts(tmp_path: Path, network: Network) -> None:
    volts = []
    for each in (network, wire_up(load(tmp_path, *SWAP))):
        bench = Bench(each, [Case()])
        solved = bench.solved(Setup("on")).volts[0]
        volts.append(solved[bench.node_at["pump.plus"]] - solved[bench.node_at["pump.minus"]])
    assert volts[0] == pytest.approx(volts[1], abs=1e-6)


def test_a_four_blade_relay_has_no_87a_to_use_wrongly(tmp_path: Path) -> None:
    network = wire_up(load(tmp_path, ("contacts: changeover", "contacts: make")))
    assert not any("87a" in node for node in network.nodes)
    assert not any(fault.mode == "87a-used-for-87" for fault in network.faults)


def test_a_circuit_without_a_ground_bolt_has_no_shorts_to_metal_and_still_wires_up(tmp_path: Path) -> None:
    text = SHIPPED.read_text(encoding="utf-8")
    bolts = text[text.index("  pump_bolt: {kind") : text.index("\nwires:\n")]
    network = wire_up(
        load(
            tmp_path,
            (bolts, ""),
            ("from: pump.minus, to: pump_bolt.stud", "from: pump.minus, to: frame.metal"),
            ("from: relay.85, to: coil_bolt.stud", "from: relay.85, to: frame.metal"),
            ("from: gauge_sender.out, to: pump_bolt.stud", "from: gauge_sender.out, to: frame.metal"),
        )
    )
    assert Bench(network, [Case()]).settled(Setup("on"))[0].bent[0, 0] == 1


def test_the_shipped_circuit_leaves_no_doubts() -> None:
    assert list(load_circuit(SHIPPED).doubts()) == []


@pytest.mark.parametrize(
    ("name", "ways"),
    [
        ("twin-pumps", {"left_pump": ("relay",), "right_pump": ("relay",)}),
        ("radiator-fan-two-speed", {"fan": ("low_relay", "high_relay")}),
        ("pump-by-switch", {"pump": ()}),
    ],
)
def test_the_relays_on_a_loads_way_are_found_by_its_wires(name: str, ways: dict[str, tuple[str, ...]]) -> None:
    assert wire_up(load_circuit(SHIPPED.parents[1] / name)).relays_of == ways


def test_a_relay_that_only_shares_a_feed_is_not_on_a_loads_way() -> None:
    written = run_path(str(Path(__file__).parents[1] / "benchmarks" / "generated.py"))["circuit_text"](15)
    network = wire_up(parse_circuit(written, "generated"))
    assert network.relays_of == {"lamp_1": ("relay_1",), "lamp_2": ("relay_2",)}
