"""What numbers mean and how parts behave, against standards and makers' data: terminals, relay, battery, fuse, meter.

The source stands beside each check. "(memory)": credited from memory. "(second-hand)": quoted from a note that quotes
the standard or the maker. "typical maker data": several makers' sheets agree on it, no single source. Wires are in
test_published_wires.py, worked examples in test_published_examples.py, the fault table in test_signature_table.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import TypeVar
from xml.etree import ElementTree

import numpy as np
import pytest
from published import SHORT, small

from troubleshoot.circuit import Circuit, Network, Setup, wire_up
from troubleshoot.circuit.checks import clamp, reading
from troubleshoot.draw import ASCII, LAYOUTS, Layout, draw_face
from troubleshoot.draw.relay_svg import draw_face_svg
from troubleshoot.expect.cells import NOTHING_WRONG, Cell, no_shift
from troubleshoot.expect.table import Table
from troubleshoot.files.circuit_file import load_circuit, parse_circuit
from troubleshoot.parts import Alternator, Fuse, Part, Relay
from troubleshoot.parts.battery import open_circuit_v
from troubleshoot.parts.fuse import BLOW_FACTOR, opens_within
from troubleshoot.places import trees
from troubleshoot.solve import meter
from troubleshoot.solve.cases import Bench, Case

Kind = TypeVar("Kind", bound=Part)

MODEL = Path(__file__).with_name("signature_model.yaml")
SHIPPED = "pump-on-ignition-feed"
SHIPPED_NAMES = sorted(path.parent.name for path in trees().glob("*/circuit.yaml"))


@cache
def shipped(name: str) -> Circuit:
    return load_circuit(trees() / name)


@cache
def model(contacts: str = "changeover", more: str = "") -> Network:
    """The signature table's model with a relay of another kind."""
    text = MODEL.read_text(encoding="utf-8").replace("contacts: changeover", f"contacts: {contacts}{more}")
    return wire_up(parse_circuit(text))


# ---- terminals: DIN 72552, as tabulated at en.wikipedia.org/wiki/DIN_72552

LIVE = {
    "30": "off accessory on cranking running remote",  # direct from battery positive
    "15": "on cranking running remote",  # through the ignition switch; live while cranking, as DIN's 15e
    "50": "cranking remote",  # starter control; a remote button on the starter feeds the same wire from its far end
    "acc": "accessory on running remote",  # no number in DIN 72552: common practice, no source
}


@pytest.mark.parametrize(("terminal", "keys"), LIVE.items(), ids=[f"DIN 72552: {t}" for t in LIVE])
def test_a_terminal_of_the_ignition_switch_is_live_in_its_key_states_only(terminal: str, keys: str) -> None:
    circuit = shipped(SHIPPED)
    bench = Bench(wire_up(circuit), [Case()])
    node = bench.node_at[f"ignition.{terminal}"]
    volts = {key: float(bench.solved(Setup(key)).volts[0, node]) for key in circuit.keys}
    assert {key for key, volt in volts.items() if volt > 9} == set(keys.split())
    assert all(volt < 0.6 for key, volt in volts.items() if key not in keys.split())


def test_31_is_the_battery_negative_that_all_volts_are_told_against() -> None:
    # DIN 72552: 31 is the return to battery negative, or earth; the program calls it the post `neg`
    for name in SHIPPED_NAMES:
        network = wire_up(shipped(name))
        assert network.nodes[0] == f"{network.circuit.battery}.neg"


CONTACTS = [
    # DIN 72552 and a relay maker's explainer page: 30 common, 87 make, 87a rest, 87b second make
    pytest.param("changeover", "87", (False, True), id="DIN 72552: 87 closes"),
    pytest.param("changeover", "87a", (True, False), id="DIN 72552: 87a opens"),
    pytest.param("two makes", "87", (False, True), id="DIN 72552: 87 of two makes"),
    pytest.param("two makes", "87b", (False, True), id="DIN 72552: 87b is a second make"),
]


@pytest.mark.parametrize(("contacts", "number", "joined"), CONTACTS)
def test_a_contact_is_joined_to_30_with_the_relay_out_or_in(
    contacts: str, number: str, joined: tuple[bool, bool]
) -> None:
    bench = Bench(model(contacts), [Case()])
    common, other = bench.node_at["relay.30.blade"], bench.node_at[f"relay.{number}.blade"]
    for key, closed in zip(("off", "on"), joined, strict=True):
        reply = bench.solved(Setup(key)).between(common, other)[0]  # volts for an ampere from one to the other
        assert (reply[common] - reply[other] < 0.1) == closed, key


def test_85_and_86_are_the_ends_of_the_coil_and_nothing_else() -> None:
    # DIN 72552: 86 start of winding (feed), 85 end of winding (ground) (memory for which is which)
    network = model()
    on_relay = [
        b for b in network.branches if {b.a, b.b} & {"relay.85.blade", "relay.86.blade"} and b.fitted and not b.joins
    ]
    assert {(b.a, b.b) for b in on_relay if not b.name.endswith(".contact")} == {("relay.86.blade", "relay.85.blade")}
    bench = Bench(network, [Case()])
    assert bench.solved(Setup("on")).currents()[0, network.branch_at["relay.coil"]] == pytest.approx(0.139, abs=0.001)


@pytest.mark.parametrize(
    ("more", "exchanged", "blows"),
    [
        pytest.param("", False, False, id="plain coil"),
        pytest.param("", True, False, id="plain coil, exchanged: no polarity (installation guide)"),
        pytest.param("\n    suppression: resistor", True, False, id="resistor coil, exchanged: no polarity"),
        pytest.param("\n    suppression: diode", False, False, id="diode coil, 86 positive (three notes)"),
        pytest.param("\n    suppression: diode", True, True, id="diode coil, exchanged: near short (course page)"),
        pytest.param('\n    suppression: diode\n    diode_plus: "85"', False, True, id="diode the other way (maker)"),
        pytest.param('\n    suppression: diode\n    diode_plus: "85"', True, False, id="the same, 85 positive"),
    ],
)
def test_only_a_diode_gives_the_coil_a_polarity(more: str, exchanged: bool, blows: bool) -> None:
    network = model("changeover", more)
    fault = next(each for each in network.faults if each.name == "relay:85-86-exchanged")
    bench = Bench(network, [Case(fault) if exchanged else Case()])
    state, _ = bench.settled(Setup("on"))
    relay = [device.name for device in network.relays].index("relay")
    coil_fuse = [device.name for device in network.fuses].index("coil_fuse")
    assert (bool(state.blown[0, coil_fuse]), bool(state.pulled[0, relay])) == (blows, not blows)


# ---- blade places: ISO 7588-1 (memory), and a second layout (weak source, repeated on others)

SIDES = ("86", "85")


def places(layout: Layout) -> dict[str, tuple[int, int]]:
    """Row and column of each number on the drawn face."""
    found = {}
    for row, line in enumerate(draw_face(layout, ("30", "85", "86", "87", "87a"), "", "", ASCII)):
        for number in ("87a", "87", "86", "85", "30"):
            if number in line:
                found[number] = (row, line.index(number))
                line = line.replace(number, " " * len(number))
    return found


@pytest.mark.parametrize("key", LAYOUTS, ids=lambda key: f"ISO 7588 (memory): {key}")
def test_the_numbers_stand_in_a_cross_with_the_fifth_blade_amid(key: str) -> None:
    at = places(LAYOUTS[key])
    layout = LAYOUTS[key]
    rows = {number: row for number, (row, _) in at.items()}
    columns = {number: column for number, (_, column) in at.items()}
    assert rows["87"] < rows["87a"] < rows[layout.below]
    assert rows[layout.left] == rows[layout.right] == rows["87a"]
    assert columns[layout.left] < columns["87a"] < columns[layout.right]
    assert abs(columns["87"] - columns["87a"]) <= 1
    assert layout.below in ("30", "86"), "85 is at a side in both layouts"


def test_there_are_two_layouts_each_with_its_mirror_image() -> None:
    # ISO 7588-1 (memory): 30 across from 87, 86 and 85 at the sides; left and right change places looking into the
    # socket. In the other layout 30 and 86 change places (weak source, repeated on others)
    of = {(layout.left, layout.right, layout.below) for layout in LAYOUTS.values()}
    first = {("86", "85", "30"), ("85", "86", "30")}
    change = {"30": "86", "86": "30", "85": "85"}
    assert of == first | {(change[left], change[right], change[below]) for left, right, below in first}


@pytest.mark.parametrize("key", LAYOUTS, ids=lambda key: f"ISO 7588 (memory): {key}")
def test_the_drawn_blades_of_87_and_87a_lie_across_and_the_others_stand(key: str) -> None:
    # ISO 7588-1 (memory): 30, 85 and 86 parallel to each other, 87 and 87a at right angles to them
    root = ElementTree.fromstring(draw_face_svg(LAYOUTS[key], ("30", "85", "86", "87", "87a")))
    boxes = [corners(element) for element in root.iter() if "#555" in element.attrib.values()
             or "#555" in element.get("style", "")]  # fmt: skip
    assert len(boxes) == 5
    across = sorted((top, left) for left, top, wide, tall in boxes if wide > tall)
    stand = [(top, left) for left, top, wide, tall in boxes if wide < tall]
    assert (len(across), len(stand)) == (2, 3)
    assert across[0][0] < min(top for top, _ in stand), "87 is the uppermost"


def corners(element: ElementTree.Element) -> tuple[float, float, float, float]:
    """Left, top, width and height of a drawn box."""
    numbers = [float(n) for n in element.get("d", element.get("points", "")).replace("M", " ").replace("L", " ")
               .replace("Z", " ").replace("z", " ").replace(",", " ").split()]  # fmt: skip
    x, y = numbers[0::2], numbers[1::2]
    return min(x), min(y), max(x) - min(x), max(y) - min(y)


# ---- relays: typical maker data, no single source


def parts_of(kind: type[Kind]) -> list[tuple[str, Kind]]:
    """All parts of a kind in the shipped circuits, with the circuit's name."""
    return [
        (name, part) for name in SHIPPED_NAMES for part in shipped(name).parts.values() if isinstance(part, kind)
    ]  # fmt: skip


def test_shipped_relays_are_as_makers_print_them() -> None:
    relays = parts_of(Relay)
    assert len(relays) >= 10
    for name, relay in relays:
        assert 50 <= relay.coil_resistance.value <= 120, name  # service tests 50-120, 70-100 ohm; sheets 75 to 90
        assert 6.0 <= relay.pull_in.value <= 8.4, name  # must operate at 6.9 V to 8.4 V at most; typical is lower
        assert 0.5 <= relay.release.value <= 4.0, name  # must release at 0.5 to 1.2 V; really 1.5-4 V (memory)
        assert 0.002 <= relay.contact_resistance.value <= 0.050, name  # typ 3, at most 50 mohm


# ---- fuses

COLD_MOHM = {5: 17.9, 7.5: 10.9, 10: 7.7, 15: 4.8, 20: 3.4, 25: 2.5, 30: 2.0}
"""One maker's blade fuses (memory); the 10 A one confirmed by a web page: 1 mV across it is about 130 mA."""


def test_shipped_blade_fuses_have_the_cold_resistance_of_the_table() -> None:
    fuses = [fuse for _, fuse in parts_of(Fuse) if fuse.style == "blade" and fuse.rating in COLD_MOHM]
    assert len(fuses) > 10
    for fuse in fuses:
        assert fuse.resistance.value * 1e3 == pytest.approx(COLD_MOHM[fuse.rating], rel=0.15)


def test_a_millivolt_across_a_ten_ampere_fuse_is_130_milliamperes() -> None:
    # a web page; so 6 A are about 46 mV on its tabs, as the program's millivolt reading shows them
    network = small(
        12.0,
        {"fuse": "kind: fuse, rating: 10 A, resistance: 7.7 mohm, holder_contact: 1 mohm",
         "pump": "kind: pump, back_emf: 0 V, resistance: 2 ohm, winding_resistance: 2 ohm, start_voltage: 1 V, "
                 "plug_contact: 0.001 mohm"},
        {"feed": ("supply.pos", "fuse.in", SHORT), "pump_wire": ("fuse.out", "pump.plus", SHORT),
         "ground": ("pump.minus", "supply.neg", SHORT)},
    )  # fmt: skip
    table = Table(network, [Cell(NOTHING_WRONG, None, 0.0, 1.0, *no_shift(network))])
    volts, amps = (float(table.predict(check).mean[0]) for check in (
        reading(network, "fuse.in", "fuse.out", "millivolts", Setup("off")), clamp(network, "feed", Setup("off"))
    ))  # fmt: skip
    assert amps == pytest.approx(6, rel=0.01)
    assert amps / (volts * 1e3) == pytest.approx(0.130, abs=0.001)


WINDOWS = [
    ("blade", 1.35, 0.75, 600, "ISO 8820-3 type C, 135 % (memory)"),
    ("blade", 1.60, 0.25, 50, "ISO 8820-3 type C, 160 % (second-hand)"),
    ("blade", 2.00, 0.15, 5, "ISO 8820-3 type C, 200 % (second-hand, two notes)"),
    ("blade", 3.50, 0.04, 0.5, "ISO 8820-3 type C, 350 % (memory)"),
    ("blade", 6.00, 0.02, 0.1, "ISO 8820-3 type C, 600 % (memory)"),
    ("large blade", 1.35, 60, 1800, "type E, 135 % (maker data, second-hand)"),
    ("large blade", 2.00, 2, 50, "type E, 200 % (maker data, second-hand)"),
    ("large blade", 3.50, 0.2, 7, "type E, 350 % (maker data, second-hand)"),
    ("large blade", 6.00, 0.04, 1, "type E, 600 % (maker data, second-hand)"),
]


@pytest.mark.parametrize(
    ("style", "share", "least_s", "most_s"), [row[:4] for row in WINDOWS], ids=[row[4] for row in WINDOWS]
)
def test_a_fuse_opens_within_the_standards_window(style: str, share: float, least_s: float, most_s: float) -> None:
    assert opens_within(style, share) == pytest.approx((least_s, most_s), rel=1e-9)


@pytest.mark.parametrize(("style", "share"), [("blade", 1.10), ("large blade", 1.00)])
def test_a_fuse_may_carry_so_much_for_good(style: str, share: float) -> None:
    # ISO 8820-3: type C 110 % for at least 100 h (memory); type E 100 % for at least 100 h (maker data, second-hand)
    assert opens_within(style, share) == (math.inf, math.inf)


@pytest.mark.parametrize("style", ["blade", "large blade"])
def test_the_more_current_the_sooner_a_fuse_opens(style: str) -> None:
    windows = [opens_within(style, float(share)) for share in np.linspace(1.0, 8.0, 141)]
    ends = [window for window in windows if window]
    assert len(ends) == len(windows)
    assert all(least <= most for least, most in ends)
    assert all(b[0] <= a[0] and b[1] <= a[1] for a, b in pairwise(ends))


def test_links_and_breakers_have_no_table() -> None:
    assert opens_within("link", 2.0) is None
    assert opens_within("breaker", 2.0) is None


def test_the_model_blows_a_fuse_where_the_standard_has_it_open_within_a_minute() -> None:
    window = opens_within("blade", BLOW_FACTOR)
    assert window
    assert window[1] <= 60
    assert 1.35 < BLOW_FACTOR < 2.0


# ---- battery and alternator


@pytest.mark.parametrize(("charge", "volts"), [(1.0, 12.65), (0.75, 12.45), (0.5, 12.24), (0.25, 12.06), (0.0, 11.89)])
def test_a_rested_battery_reads_as_in_the_bci_type_table(charge: float, volts: float) -> None:
    # the usual BCI-type table for flooded batteries, rested, about 25 °C (a web page)
    assert open_circuit_v(charge) == pytest.approx(volts, abs=1e-9)


OTHER_TABLES = {
    "second BCI-type table, middles of its ranges": (12.64, 12.425, 12.22, 12.03),
    "table in a public question and answer": (12.66, 12.45, 12.30, 12.15),
    "table in an owners' thread": (12.6, 12.4, 12.2, 12.0),
}


@pytest.mark.parametrize("printed", OTHER_TABLES.values(), ids=OTHER_TABLES.keys())
def test_other_battery_tables_differ_by_no_more_than_a_tenth_of_a_volt(printed: Sequence[float]) -> None:
    for charge, volts in zip((1.0, 0.75, 0.5, 0.25), printed, strict=True):
        assert open_circuit_v(charge) == pytest.approx(volts, abs=0.1)


def test_a_full_battery_is_within_the_makers_band() -> None:
    # typical maker data, no single source: 12.69 to 12.75 V is 100 %; other tables allow 0.05 V more
    assert 12.69 - 0.05 <= open_circuit_v(1.0) <= 12.75


@pytest.mark.parametrize(
    ("charge", "gravity"), [(1.0, 1.265), (0.75, 1.225), (0.5, 1.190), (0.25, 1.155), (0.0, 1.120)]
)
def test_a_batterys_volts_follow_its_acid(charge: float, gravity: float) -> None:
    # a cell has its specific gravity + 0.845 V (memory); the gravities are those of the BCI-type table
    assert open_circuit_v(charge) == pytest.approx(6 * (gravity + 0.845), abs=0.11)


def test_shipped_alternators_keep_the_usual_band() -> None:
    # 13.8 to 14.8 V as a band of several service manuals (maker or service data)
    alternators = parts_of(Alternator)
    assert len(alternators) >= 10
    for name, alternator in alternators:
        voltage, band = alternator.voltage.value, alternator.voltage.half_band
        assert 13.8 - 1e-9 <= voltage - band <= voltage + band <= 14.8 + 1e-9, name


# ---- meters: typical maker data, no single source


def test_a_meter_is_as_good_as_makers_say() -> None:
    assert meter.METER_OHM == 10e6  # at least 10 Mohm asked for by one maker's service information
    # ±(0.5 % + 2 counts): 12.60 V on 10 mV steps is ±0.083 V (memory)
    told = 2 * meter.gain_sigma(meter.ACCURACY_PERCENT) * 12.6 + 2 * float(meter.digit_v(12.6, "volts"))
    assert told == pytest.approx(0.083, abs=0.001)
    assert 0 < meter.LEAD_OHM <= 0.5  # leads up to 0.5 ohm, to be subtracted (equipment manual)


# ---- volt-drop limits


def test_the_shipped_circuit_keeps_the_usual_limits_when_healthy() -> None:
    # feed side of a pump to 0.5 V and ground to 0.1 V (several web guides, weak); ground side 0.1 V good, 0.2 V in need
    # of attention (equipment service manual); ignition feed of the relay 0.1 V (vehicle manual), and a switch's own
    # contact 0.3 V (SAE, as a repair manual quotes it)
    bench = Bench(wire_up(shipped(SHIPPED)), [Case()])
    volts = bench.solved(Setup("on")).volts[0]
    at = {point: float(volts[bench.node_at[point]]) for point in
          ("battery.pos", "pump.plus", "pump.minus", "relay.86", "relay.85")}  # fmt: skip
    assert at["battery.pos"] - at["pump.plus"] <= 0.5
    assert at["pump.minus"] <= 0.1
    assert at["battery.pos"] - at["relay.86"] <= 0.4
    assert at["relay.85"] <= 0.1
