"""The table that a person pins to the wall: healthy values as solved, the fault beside them, bad asks refused."""

from __future__ import annotations

import pytest

from troubleshoot.circuit.network import Network
from troubleshoot.circuit.setups import Setup
from troubleshoot.errors import TypedWrong
from troubleshoot.expect.wall import Wall, make_wall
from troubleshoot.plain.wall_text import wall_data, wall_lines
from troubleshoot.solve.cases import Bench, Case


@pytest.fixture(scope="module")
def healthy(network: Network) -> Wall:
    return make_wall(network.circuit)


@pytest.fixture(scope="module")
def open_coil(network: Network) -> Wall:
    return make_wall(network.circuit, "relay:coil-open")


def test_the_middle_of_every_healthy_range_is_what_the_solver_says(network: Network, healthy: Wall) -> None:
    bench = Bench(network, [Case()])
    for key in network.circuit.keys:
        volts = bench.solved(Setup(key)).volts[0]
        for node, _, squares in healthy.rows:
            square = squares[healthy.keys.index(key)]
            if not square.floats:
                # the solver's value has no meter in the circuit; 10 Mohm are nothing where nothing floats
                middle = (square.low_v + square.high_v) / 2
                assert middle == pytest.approx(volts[bench.node_at[node]], abs=2e-3 + 0.002 * abs(middle)), (node, key)


def test_a_healthy_car_reads_what_any_mechanic_would_expect(healthy: Wall) -> None:
    rows = {node: dict(zip(healthy.keys, squares, strict=True)) for node, _, squares in healthy.rows}
    assert rows["relay.86"]["on"].low_v > 11.5
    assert rows["relay.86"]["accessory"].high_v < 0.1
    assert rows["relay.86"]["cranking"].low_v > 8
    assert rows["relay.86"]["cranking"].high_v < rows["relay.86"]["on"].low_v
    assert rows["relay.87"]["off"].low_v > 11.5
    assert rows["pump.plus"]["off"].high_v < 0.1
    assert rows["pump.plus"]["running"].low_v > 13
    assert rows["ignition.50"]["on"].high_v < 0.5 < 8 < rows["ignition.50"]["cranking"].low_v


def test_what_the_devices_do_stands_under_the_table(healthy: Wall, open_coil: Wall) -> None:
    assert dict(healthy.does)["pump relay"] == ("out", "out", "in", "in", "in", "in")
    assert dict(healthy.does)["fuel pump"] == ("no", "no", "runs", "runs", "runs", "runs")
    assert set(dict(open_coil.does)["pump relay"]) == {"out"}


def test_the_fault_stands_beside_and_moves_only_what_it_moves(network: Network, healthy: Wall, open_coil: Wall) -> None:
    assert open_coil.fault
    assert all(square.faulty_v is None for _, _, squares in healthy.rows for square in squares)
    on = {node: squares[open_coil.keys.index("on")] for node, _, squares in open_coil.rows}
    assert on["pump.plus"].faulty_v == pytest.approx(0, abs=0.05)
    assert on["relay.86"].faulty_v is not None
    assert on["relay.86"].low_v <= on["relay.86"].faulty_v <= on["relay.86"].high_v + 0.1
    assert on["relay.85"].faulty_v == pytest.approx(0, abs=0.01)  # no coil current; what is left is the frame's drop


def test_a_severity_may_be_given_and_shows(network: Network) -> None:
    wall = make_wall(network.circuit, "pump_ground:bad=0.8 ohm")
    on = {node: squares[wall.keys.index("on")] for node, _, squares in wall.rows}
    minus = on["pump.minus"].faulty_v
    assert minus is not None
    assert 2 < minus < 4.5  # 0.8 ohm at the 4 A that are left
    assert "0.8 ohm" in wall.fault


@pytest.mark.parametrize(
    ("asked", "code"),
    [
        ("relay:sulks", "unknown-fault"),
        ("", ""),
        ("\x1b[2Jrelay", "unknown-fault"),
        ("relay:coil-open=3 ohm", "no-severity"),
        ("relay:weak-coil=lots", "not-a-number"),
        ("relay:weak-coil=-1", "not-a-number"),
    ],
)
def test_a_fault_that_is_not_there_is_refused_with_what_there_is(network: Network, asked: str, code: str) -> None:
    if not code:
        assert make_wall(network.circuit, asked).fault == ""
        return
    with pytest.raises(TypedWrong) as raised:
        make_wall(network.circuit, asked)
    assert raised.value.problem.code == code
    if code == "unknown-fault":
        assert "relay:coil-open" in str(raised.value)


@pytest.mark.parametrize("amount", ["nan", "inf", "-3 ohm", "0 ohm", "12 V", "lots"])
def test_a_severity_that_is_none_is_refused(network: Network, amount: str) -> None:
    for name in ("fused_feed:shorted", "relay:weak-coil"):
        with pytest.raises(TypedWrong):
            make_wall(network.circuit, f"{name}={amount}")


def test_the_text_and_the_data_say_the_same_rows(open_coil: Wall) -> None:
    lines, data = wall_lines(open_coil), wall_data(open_coil)
    assert len(data["rows"]) == len(open_coil.rows)
    for row in data["rows"]:
        assert any(line.startswith(row["point"]) for line in lines)
    starred = [line for line in lines if line.startswith("pump.plus") and "]*" in line]
    assert starred, "a value out of its range must be marked by a sign, not by colour"
