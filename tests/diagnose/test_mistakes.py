"""Mistakes people make: each is named, the reading is doubted and asked for again, and the fault is found all the same.

What a mistake shows is read off a sampled car by another check than the one asked for, not by the code under test.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from troubleshoot.car.car import Car
from troubleshoot.circuit.checks import Check, reading
from troubleshoot.circuit.cost import Stand
from troubleshoot.circuit.setups import Setup
from troubleshoot.diagnose.belief import Belief
from troubleshoot.diagnose.doubt import doubted, to_repeat
from troubleshoot.diagnose.evidence import Known
from troubleshoot.diagnose.left_wrong import ON_AC, ON_OHMS, SEES_NOTHING, left_wrong
from troubleshoot.diagnose.reason import Reasoner
from troubleshoot.diagnose.slips import slips
from troubleshoot.expect.table import Table
from troubleshoot.files.guesses_file import load_guesses
from troubleshoot.parts.branch import Fault
from troubleshoot.places import circuit_path
from troubleshoot.session.doubts import CAUSES, STOP_AND_LOOK, say_doubts, say_why_again
from troubleshoot.session.kept import table_of

GOOD = (
    "relay.86 to battery.neg volts on",
    "relay.85 to battery.neg volts on",
    "relay.30 to battery.neg volts on",
    "relay.87 to battery.neg volts on",
    "pump.plus to pump.minus volts on",
    "pump.minus to pump_ground.at.pump_bolt.stud volts on",
    "pump.minus to battery.neg volts on",
    "pump.plus to battery.neg volts on",
    "relay.86 to relay.85 volts on",
)
NAMED = {
    "leads swapped", "neighbouring terminal", "other key state", "other plug state", "black lead on nothing",
    "meter a thousand times off", "prime window missed", "motor still spinning", ON_AC, ON_OHMS, SEES_NOTHING,
}  # fmt: skip
ReadOff = Callable[[Car, Check], Known]


@pytest.fixture(scope="module")
def prime_table() -> Table:
    """A circuit whose controller primes for seconds."""
    name = "pump-controller-grounds"
    return table_of(circuit_path(name).read_text(encoding="utf-8"), name, "")


@pytest.fixture(scope="module")
def car(reasoner: Reasoner, fault_named: Callable[[str], Fault]) -> Car:
    return Car(reasoner.table.network, fault_named("pump_ground:bad"), 0.8, 31)


@pytest.fixture(scope="module")
def good(car: Car, check_of: Callable[[str], Check], read_off: ReadOff) -> list[Known]:
    return [read_off(car, check_of(name)) for name in GOOD]


def wrongly(good: list[Known], at: int, value: float) -> list[Known]:
    return [replace(known, value=value) if i == at else known for i, known in enumerate(good)]


def doubted_ids(belief: Belief) -> list[str]:
    return [belief.readings[i].check.id for i in doubted(belief)]


def test_every_mistake_has_a_name_and_each_name_its_words(table: Table, prime_table: Table) -> None:
    found = {ON_AC, ON_OHMS, SEES_NOTHING, "misread"}
    for one in (table, prime_table):
        cells = np.arange(3)
        by_setup = {(c.setup, c.function, c.red.partition(".")[0]): c for c in one.readings}
        found |= {slip.name for check in by_setup.values() for slip in slips(one, check, cells)}
    assert found >= NAMED
    assert set(CAUSES) == found


@pytest.mark.parametrize(
    ("at", "name", "instead"),
    [
        (4, "leads swapped", {"red": "pump.minus", "black": "pump.plus"}),
        (2, "neighbouring terminal", {"red": "relay.85"}),
        (0, "other key state", {"setup": Setup("off")}),
        (2, "other plug state", {"setup": Setup("on", frozenset({"relay"}))}),
    ],
)
def test_another_reading_than_the_one_asked_for_is_doubted_by_its_name(
    reasoner: Reasoner, car: Car, good: list[Known], read_off: ReadOff, at: int, name: str, instead: dict[str, object]
) -> None:
    shown = read_off(car, replace(good[at].check, **instead)).value  # type: ignore[arg-type]
    belief = reasoner.weigh(wrongly(good, at, shown))
    assert doubted_ids(belief) == [GOOD[at]]
    assert belief.slip[at] == name
    assert reasoner.ranked_groups(belief)[0].faults[0] == "pump_ground:bad"


def test_milli_taken_for_volts_is_doubted_by_its_name(reasoner: Reasoner, good: list[Known]) -> None:
    belief = reasoner.weigh(wrongly(good, 4, good[4].value / 1000))
    assert doubted_ids(belief) == [GOOD[4]]
    assert belief.slip[4] == "meter a thousand times off"


def test_a_mistake_made_again_in_the_same_way_is_still_seen_among_many_readings() -> None:
    """Of many readings only some are tried as wrong: these two, though while either is taken for right nothing fits.

    Read off a sampled car with 2.2 ohms in the pump's wire; volts that were typed as millivolts, twice.
    """
    name = "pump-feed-on-30"
    table = table_of(circuit_path(name).read_text(encoding="utf-8"), name, "")
    check_of = {check.id: check for check in table.checks}
    said = [Known(check_of[check_id], value, sigma=abs(value) * 0.003 + 0.002) for check_id, value in TWICE_WRONG]
    said.insert(2, replace(said[1], check=said[1].check.repeated()))
    reasoner = Reasoner(table, load_guesses(), table.checks)
    belief = reasoner.weigh(said)
    assert set(doubted_ids(belief)) == {said[1].check.id, said[2].check.id}
    assert reasoner.ranked_groups(belief)[0].faults[0] == "pump_wire:bad"


TWICE_WRONG = (
    ("relay.85 to battery.neg volts on", 0.023),
    ("relay.87 to battery.neg volts on", 0.01239),
    ("relay.87 to relay.30 volts on", -0.055),
    ("feed_wire.at.battery.pos to main_fuse.in volts on", 0.015),
    ("relay.87 to battery.neg volts accessory", 0.010),
    ("relay.30 to main_fuse.out volts on", -0.026),
    ("coil_ground.at.coil_bolt.stud to battery.neg volts on", 0.019),
    ("pump.plus to pump.minus volts on", 3.431),
    ("pump.minus to pump_ground.at.pump_bolt.stud volts on", 0.011),
    ("relay.87 to pump.plus volts on", 9.21),
)


def test_a_missed_prime_is_doubted_by_its_name(prime_table: Table) -> None:
    network = prime_table.network
    healthy = Car(network, None, None, 5)
    from_car = [c for c in prime_table.readings if c.setup.key == "prime" and c.function == "volts_max"]
    asked = [next(c for c in from_car if c.red == red) for red in ("relay.86", "relay.30", "relay.87")]
    others = [reading(network, "relay.30", "battery.neg", "volts", Setup("on")),
              reading(network, "relay.86", "battery.neg", "volts", Setup("on"))]  # fmt: skip
    said = [_read(healthy, check) for check in (*asked, *others)]
    late = replace(asked[-1], function="volts", setup=Setup("on"))
    said[2] = replace(said[2], value=_read(healthy, late).value)
    heard = next(c for c in prime_table.checks if c.about.startswith("runs:") and c.setup.key == "prime")
    reasoner = Reasoner(prime_table, load_guesses(), prime_table.checks)
    belief = reasoner.weigh([*said, Known(heard, choice=0)])
    assert belief.slip[2] == "prime window missed"


def _read(car: Car, check: Check) -> Known:
    return Known(check, float(car.answer(check).split()[0]), 0.003)


def test_a_doubted_reading_is_asked_for_again_before_anything_else_and_stays_in_the_books(
    reasoner: Reasoner, good: list[Known]
) -> None:
    said = wrongly(good, 4, -good[4].value)
    choice, belief = reasoner.next_choice(said, Stand())
    assert choice
    assert choice.check == good[4].check.repeated()
    again = [*said, replace(good[4], check=choice.check)]
    after = reasoner.weigh(again)
    assert doubted_ids(after) == [GOOD[4]]
    assert len(after.readings) == len(again)
    assert to_repeat(after, frozenset(known.check.id for known in again)) is None
    skipped = frozenset({choice.check.id})
    other, _ = reasoner.next_choice(said, Stand(), skipped)
    assert other is None or other.check.id not in skipped
    assert belief.p_wrong[4] > 0.9


def test_a_repeat_that_shows_the_same_speaks_for_the_reading_and_one_that_differs_against_it(
    reasoner: Reasoner, good: list[Known]
) -> None:
    """Three readings against one; the one repeated the same way may have been wrong the same way twice."""
    said = wrongly(good[:6], 4, 2.0)
    again = good[4].check.repeated()
    alone = reasoner.weigh(said).p_wrong[4]
    same = reasoner.weigh([*said, replace(said[4], check=again)]).p_wrong[4]
    differs = reasoner.weigh([*said, replace(good[4], check=again)]).p_wrong[4]
    assert same < alone < differs
    assert differs > 0.9


# ---- a meter left wrong


@pytest.fixture(scope="module")
def dead_meter(good: list[Known]) -> list[Known]:
    """Two good readings, then three of nothing."""
    return [*good[:2], *(replace(known, value=0.001) for known in good[2:5])]


def test_readings_of_nothing_in_a_row_make_the_meter_suspect_and_one_good_repeat_clears_the_car(
    reasoner: Reasoner, car: Car, good: list[Known], dead_meter: list[Known]
) -> None:
    belief = reasoner.weigh(dead_meter)
    assert belief.meter[SEES_NOTHING] + belief.meter[ON_AC] > 0.2
    asked = to_repeat(belief, frozenset())
    assert asked == dead_meter[-1].check.repeated()
    after = reasoner.weigh([*dead_meter, replace(good[4], check=asked)])
    assert doubted_ids(after) == list(GOOD[2:5])
    assert sum(after.meter.values()) < 0.1
    whole = reasoner.weigh([*dead_meter, replace(good[4], check=asked), *good[5:]])
    assert whole.p_fault["pump_ground:bad"] > 0.9
    # one repeat put all three right: the others are made again only where they tell enough
    assert to_repeat(after, frozenset({asked.id})) is None


def test_no_verdict_rests_on_readings_of_nothing_in_a_row(reasoner: Reasoner, dead_meter: list[Known]) -> None:
    """What a dead meter would show is not taken for a dead circuit without the meter being tried."""
    nothing = [replace(known, value=0.001) for known in dead_meter]
    asked = to_repeat(reasoner.weigh(nothing), frozenset())
    assert asked is not None
    assert asked.again


def test_a_repeat_is_no_second_reading_for_a_verdict(reasoner: Reasoner, check_of: Callable[[str], Check]) -> None:
    """An open coil by ohms, read twice: what was wrong the first time may be wrong the same way again."""
    ohms = Known(check_of("relay.86.blade to relay.85.blade ohms off -battery -pump -relay"), 17.9, 1.0)
    fed = Known(check_of("relay.86 to battery.neg volts on"), 12.4, 0.003)
    once = reasoner.weigh([fed, ohms])
    twice = reasoner.weigh([fed, ohms, replace(ohms, check=ohms.check.repeated())])
    for belief in (once, twice):
        assert reasoner.ranked_groups(belief)[0].faults[0] == "relay:coil-open"
        found = reasoner.shaky(belief, None)
        assert found
        assert ohms.check.id in {check.first_id for check in found.carriers}


def test_ac_and_ohms_end_when_the_dial_is_turned_and_a_dead_meter_does_not(
    good: list[Known], check_of: Callable[[str], Check]
) -> None:
    open_line = Known(check_of("relay.86.blade to relay.85.blade ohms off -battery -pump -relay"), 17.9, 1.0)
    zeros = [replace(known, value=0.0) for known in good[:2]]
    runs = left_wrong([*zeros, open_line, replace(good[2], value=0.0)])
    longest = {name: max((r.at for r in runs if r.name == name and r.at[0] == 0), key=len)
               for name in (ON_AC, ON_OHMS, SEES_NOTHING)}  # fmt: skip
    assert longest == {ON_AC: (0, 1), ON_OHMS: (0, 1), SEES_NOTHING: (0, 1, 2, 3)}


def test_a_reading_with_volts_in_it_is_no_dead_meter(good: list[Known]) -> None:
    assert all(run.name == ON_OHMS for run in left_wrong([good[0]]))


# ---- in words


def test_what_is_doubted_is_said_with_the_cause_and_what_the_rest_makes_of_it(
    reasoner: Reasoner, good: list[Known]
) -> None:
    said = wrongly(good, 4, -good[4].value)
    before, after = reasoner.weigh(said[:4]), reasoner.weigh(said)
    told = say_doubts(before, after, said[4], lambda known: f"{known.value:.1f} V")
    assert len(told) == 1
    assert "red and black may have been exchanged" in told[0]
    assert "which makes it about 9." in told[0]
    assert 9.0 < good[4].value < 10.0
    again = replace(good[4], check=good[4].check.repeated())
    settled = say_doubts(after, reasoner.weigh([*said, again]), again, lambda known: f"{known.value:.1f} V")
    assert "counts as wrong: made again it reads" in settled[0]


def test_where_the_red_lead_may_be_in_the_amps_jack_it_says_stop_first(
    reasoner: Reasoner, good: list[Known], dead_meter: list[Known]
) -> None:
    asked = dead_meter[-1].check.repeated()
    assert say_why_again(reasoner.weigh(dead_meter), asked).startswith(STOP_AND_LOOK)
    right = replace(good[4], check=asked)
    after = reasoner.weigh([*dead_meter, right])
    told = say_doubts(reasoner.weigh(dead_meter), after, right, lambda known: f"{known.value:.1f} V")
    assert told[0] == STOP_AND_LOOK
