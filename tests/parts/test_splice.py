"""A splice: one point at which wires meet, each with its own joint."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from troubleshoot.circuit.network import wire_up
from troubleshoot.circuit.setups import working_setup
from troubleshoot.files.circuit_file import load_circuit
from troubleshoot.parts import Splice
from troubleshoot.solve.cases import OPEN, Bench, Case

TWIN = Path(__file__).parents[2] / "trees" / "twin-pumps"


def test_a_splice_has_one_bare_point_and_no_resistance_of_its_own() -> None:
    anatomy = Splice(kind="splice", say="stud").named("s").anatomy()
    assert [(t.name, t.kind, t.contact_ohm) for t in anatomy.terminals] == [("stud", "stud", 0.0)]
    assert not anatomy.branches
    assert not anatomy.devices
    assert not anatomy.faults


def test_each_wire_has_its_own_joint_on_the_splice_and_one_may_be_bad_alone() -> None:
    network = wire_up(load_circuit(TWIN))
    faults = {fault.name: fault for fault in network.faults}
    joint = "left_wire.at.pump_stud.stud"
    assert {f"{w}.at.pump_stud.stud:bad" for w in ("pumps_wire", "left_wire", "right_wire")} <= faults.keys()
    bench = Bench(network, [Case(), Case(faults[f"{joint}:bad"], OPEN)])
    amps = bench.solved(working_setup(network.circuit)).currents()
    left, right = (network.branch_at[f"{pump}.motor"] for pump in ("left_pump", "right_pump"))
    assert amps[0, left] > 5
    assert amps[0, right] > 5
    assert abs(amps[1, left]) < 1e-3
    assert amps[1, right] > 5


def test_the_currents_at_a_splice_sum_to_nothing() -> None:
    network = wire_up(load_circuit(TWIN))
    amps = Bench(network, [Case()]).solved(working_setup(network.circuit)).currents()[0]
    into, left, right = (amps[network.branch_at[name]] for name in ("pumps_wire", "left_wire", "right_wire"))
    assert np.isclose(into, left + right, atol=1e-9)
