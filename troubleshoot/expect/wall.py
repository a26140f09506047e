"""The expected table as a person would pin it to the wall: terminals down, key states across."""

from __future__ import annotations

from dataclasses import dataclass, replace

from troubleshoot.circuit.checks import own_points, reading
from troubleshoot.circuit.circuit import Circuit
from troubleshoot.circuit.network import Network, wire_up
from troubleshoot.circuit.setups import Setup, off_setup, partly_operated, working_setup
from troubleshoot.errors import Problem, TypedWrong
from troubleshoot.expect.cells import NOTHING_WRONG, Cell, no_shift, severity_range
from troubleshoot.expect.seen import WEAK_SHARE, strength
from troubleshoot.expect.table import Table
from troubleshoot.parts.branch import Fault
from troubleshoot.solve.cases import OPEN
from troubleshoot.units import parse_quantity


@dataclass(frozen=True)
class Square:
    """Volts against battery negative at one point in one key state; `faulty` with the chosen fault."""

    low_v: float
    high_v: float
    faulty_v: float | None
    floats: bool
    chatters: bool


@dataclass(frozen=True)
class Wall:
    """Rows by point, a Square for each key state."""

    title: str
    fault: str
    keys: tuple[str, ...]
    rows: tuple[tuple[str, str, tuple[Square, ...]], ...]
    does: tuple[tuple[str, tuple[str, ...]], ...]


def make_wall(circuit: Circuit, fault_text: str = "") -> Wall:
    """Works the table out. `fault_text` is PART:MODE or PART:MODE=SEVERITY; TypedWrong when unknown."""
    network = wire_up(circuit)
    zero = no_shift(network)
    cells = [Cell(NOTHING_WRONG, None, 0.0, 0.5, *zero)]
    said = ""
    if fault_text:
        fault, severity = _chosen(network, fault_text)
        cells.append(Cell(fault, severity, 0.0, 0.5, *zero))
        said = fault.say + _say_severity(fault, severity)
    setups = wall_setups(circuit)
    table = Table(network, cells)
    rows = []
    neg = f"{circuit.battery}.neg"
    for point in own_points(network):
        if ".at." in point.node or point.node == neg:
            continue
        squares = []
        for setup in setups:
            predicted = table.predict(reading(network, point.node, neg, "volts", setup))
            mean, sigma = predicted.mean, predicted.sigma
            squares.append(Square(
                float(mean[0] - 2 * sigma[0]), float(mean[0] + 2 * sigma[0]),
                float(mean[1]) if fault_text else None,
                bool(predicted.floats[-1]), bool(table.behaviour(setup).chatters[-1]),
            ))  # fmt: skip
        rows.append((point.node, point.say, tuple(squares)))
    return Wall(circuit.title, said, tuple(s.key + s.tail for s in setups), tuple(rows), _does(table, setups))


def wall_setups(circuit: Circuit) -> list[Setup]:
    """The columns: every key state of the circuit, and behind the key state in which the load works the same with
    its switch operated (before it each of several alone, and what comes after it, and the key off with it)."""
    working = working_setup(circuit)
    plain = [Setup(key) for key in circuit.keys]
    if not working.operated:
        return plain
    later = [k for k in circuit.keys if k in ("cranking", "running", "remote")]
    left_on = off_setup(circuit)
    return [*(s for s in plain if s.key not in later), *partly_operated(circuit), working,
            *(replace(working, key=key) for key in later), *([left_on] if left_on else [])]  # fmt: skip


def _does(table: Table, setups: list[Setup]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """What relay, motor and fuses do in each key state, for the last cell (the fault if one is chosen)."""
    net = table.network
    lines: list[tuple[str, tuple[str, ...]]] = []
    seen = [table.behaviour(setup) for setup in setups]
    for d in net.relays:
        words = ("chatters" if b.chatters[-1] else "in" if b.pulled[d.name][-1] else "out" for b in seen)
        if d.name not in net.standing_in:
            lines.append((net.circuit.named_parts[d.name].spoken, tuple(words)))
    for name, how in net.circuit.loads.items():
        shares = (strength(table, b, name)[-1] for b in seen)
        told = (how.answers[2 if share == 0 else 0 if share >= WEAK_SHARE else 1] for share in shares)
        lines.append((net.circuit.named_parts[name].spoken, tuple(told)))
    for f in net.fuses:
        if any(b.blown[f.name][-1] for b in seen):
            lines.append((net.circuit.named_parts[f.name].spoken,
                          tuple("blown" if b.blown[f.name][-1] else "whole" for b in seen)))  # fmt: skip
    return tuple(lines)


def _chosen(network: Network, text: str) -> tuple[Fault, float | None]:
    name, _, amount = text.partition("=")
    faults = {fault.name: fault for fault in network.faults}
    if name not in faults:
        raise TypedWrong(Problem("unknown-fault", f"there is no fault {name!r} in this circuit",
                                 f"one of: {', '.join(sorted(faults))}"))  # fmt: skip
    fault = faults[name]
    if fault.severity is None:
        if amount:
            raise TypedWrong(Problem("no-severity", f"{name} has no severity", f"write just {name}"))
        return fault, None
    if amount.strip().lower() in ("", "open"):
        if fault.severity.open_share:
            return fault, OPEN
        low, high = severity_range(network).get(fault, (fault.severity.low, fault.severity.high))
        return fault, (low * high) ** 0.5
    if fault.severity.unit in ("ohm", "V"):
        value = parse_quantity(amount, "resistance" if fault.severity.unit == "ohm" else "voltage")
    else:
        try:
            value = float(amount)
        except ValueError:
            value = 0.0
    if not 0 < value < float("inf"):
        raise TypedWrong(Problem("not-a-number", f"{amount!r} is no severity", f"{fault.severity.unit}, above 0"))
    return fault, value


def _say_severity(fault: Fault, severity: float | None) -> str:
    if severity is None:
        return ""
    if severity == OPEN:
        return " (open)"
    return f" ({severity:.3g} {fault.severity.unit if fault.severity else ''})"
