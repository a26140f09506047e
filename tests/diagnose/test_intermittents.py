"""Faults that come and go: what is read while one is away proves nothing about it, and what shows it once counts."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from troubleshoot.car.car import Car
from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.cost import Stand
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.diagnose.belief import Belief
from troubleshoot.diagnose.chain import Chain
from troubleshoot.diagnose.comes_and_goes import came_and_went, coming_share, kinds, watched, weigh_goes
from troubleshoot.diagnose.evidence import Known, known_from
from troubleshoot.diagnose.joint import Joint
from troubleshoot.diagnose.reason import Reasoner
from troubleshoot.expect.cells import NOTHING_WRONG
from troubleshoot.expect.seen import places_of, wiggle_chances
from troubleshoot.expect.table import Table
from troubleshoot.parts.branch import Fault
from troubleshoot.session.beyond import say_beyond
from troubleshoot.session.prior import prior_after
from troubleshoot.session.state import Told, check_from, check_to
from troubleshoot.words import say
from troubleshoot.words.answers import Wander
from troubleshoot.words.moving import CAUTION

CheckOf = Callable[[str], Check]
ReadOff = Callable[[Car, Check], Known]
FaultNamed = Callable[[str], Fault]
TRUE = "pump_ground:bad"
ASKED = (
    "pump.plus to battery.neg volts on", "pump.minus to battery.neg volts on", "relay.30 to battery.neg volts on",
    "pump.minus to pump_ground.at.pump_bolt.stud volts on", "relay.86 to battery.neg volts on",
)  # fmt: skip
CAME = Told(complaint="comes-and-goes")


@pytest.fixture
def told(reasoner: Reasoner) -> Reasoner:
    return reasoner.told(CAME.complaint)


def weighed(told: Reasoner, guesses: Guesses, evidence: list[Known]) -> Belief:
    return told.weigh(evidence, prior_after(told.table, guesses, CAME))


@pytest.fixture
def there(reasoner: Reasoner, fault_named: FaultNamed) -> Car:
    return Car(reasoner.table.network, fault_named(TRUE), float("inf"), 5)


@pytest.fixture
def away(reasoner: Reasoner) -> Car:
    return Car(reasoner.table.network, None, None, 5)


def test_good_readings_rule_out_a_joint_that_is_always_bad_but_not_one_that_comes_and_goes(
    reasoner: Reasoner, told: Reasoner, guesses: Guesses, away: Car, check_of: CheckOf, read_off: ReadOff
) -> None:  # fmt: skip
    good = [read_off(away, check_of(name)) for name in ASKED]
    before, after = weighed(told, guesses, []), weighed(told, guesses, good)
    assert after.p_fault[TRUE] > 0.15 * before.p_fault[TRUE]
    unsaid = reasoner.weigh(good)
    assert unsaid.p_fault[TRUE] < 0.05 * reasoner.weigh([]).p_fault[TRUE]
    assert "stays possible" in say_beyond(after, [NOTHING_WRONG.name], str)


def test_one_reading_with_it_there_among_good_ones_finds_the_joint_and_says_how_often_it_showed(
    told: Reasoner, guesses: Guesses, there: Car, away: Car, check_of: CheckOf, read_off: ReadOff
) -> None:  # fmt: skip
    evidence = [read_off(there if i == 3 else away, check_of(name)) for i, name in enumerate(ASKED)]
    evidence.append(read_off(there, check_of("pump.minus to battery.neg volts on").watch()))
    belief = weighed(told, guesses, evidence)
    assert max(belief.p_fault, key=lambda name: belief.p_fault[name]) == TRUE
    share, could, showed = came_and_went(belief, [TRUE])
    assert share > 0.9
    assert showed == pytest.approx(2, abs=0.3)
    assert 2.5 < could < 5.5
    assert f"showed in 2 of {round(could)} answers" in say_beyond(belief, [TRUE], str)
    assert (belief.p_wrong < 0.5).all()


def test_a_range_speaks_for_a_fault_that_comes_and_goes(
    told: Reasoner, guesses: Guesses, check_of: CheckOf
) -> None:  # fmt: skip
    check = check_of("pump.minus to pump_ground.at.pump_bolt.stud volts on").watch()
    belief = weighed(told, guesses, [known_from(check, Wander(0.02, 12.4, "0.02 to 12.4"))])
    assert belief.p_coming > 0.9
    assert max(belief.p_fault, key=lambda name: belief.p_fault[name]) == TRUE


def test_moving_the_right_plug_raises_what_is_there_and_another_does_not(
    told: Reasoner, guesses: Guesses, check_of: CheckOf
) -> None:  # fmt: skip
    before = weighed(told, guesses, [])
    moved = check_of("wiggle pump_bolt on")
    changes, stays = (weighed(told, guesses, [Known(moved, choice=c)]) for c in (0, 1))
    name = "pump_bolt:bad-joint"
    assert changes.p_fault[name] > 2 * before.p_fault[name]
    assert stays.p_fault[name] < 0.75 * before.p_fault[name]
    assert stays.p_fault["coil_feed:bad"] > 0.95 * before.p_fault["coil_feed:bad"]


def test_what_is_always_there_does_not_change_when_moved(table: Table, check_of: CheckOf) -> None:
    chances = wiggle_chances(table, check_of("wiggle pump_bolt on"))
    sound = chances[0]
    assert sound < 0.1
    bolt = [c for c, cell in enumerate(table.cells) if cell.fault.name == "pump_bolt:bad-joint"]
    assert chances[bolt].max() > 0.6
    assert places_of(table.network, table.cells[bolt[0]].fault) == ["pump_bolt"]


def test_nothing_is_moved_while_the_engine_turns_and_the_cautions_say_so(table: Table, network: object) -> None:
    moved = [check for check in table.checks if check.about.startswith("wiggle:")]
    assert moved
    assert all(check.setup.key in ("off", "accessory", "on") for check in moved)
    may_be_watched = [check for check in table.checks if check.can_be_watched]
    assert all(check.setup.key not in ("cranking", "remote", "running") for check in may_be_watched)
    for check in [*moved, *(check.watch() for check in may_be_watched)]:
        assert CAUTION in say.cautions(table.network, check)
    assert not any("starter_cable" in check.about for check in moved)


def test_who_says_that_it_comes_and_goes_is_asked_to_watch(told: Reasoner, guesses: Guesses) -> None:
    choice, _ = told.next_choice([], Stand(), frozenset(), prior_after(told.table, guesses, CAME))
    assert choice is not None
    assert choice.check.watched
    assert "half a minute" in say.say_check(told.table.network, choice.check) or choice.check.kind == "observation"
    assert check_from(check_to(choice.check)).watched


def test_where_nobody_says_so_and_all_fits_it_is_not_reckoned_with(
    reasoner: Reasoner, away: Car, check_of: CheckOf, read_off: ReadOff
) -> None:  # fmt: skip
    assert reasoner.weigh([read_off(away, check_of(name)) for name in ASKED]).p_coming == 0.0


def test_a_load_brought_for_what_does_not_show_may_have_a_fault_that_is_away(
    reasoner: Reasoner, guesses: Guesses, away: Car, check_of: CheckOf, read_off: ReadOff
) -> None:  # fmt: skip
    names = (*ASKED, "runs pump on", "flows pump", "relay.86 to battery.neg volts accessory",
             "pump.plus to pump.minus volts on", "coil_fuse.in to coil_fuse.out millivolts on")  # fmt: skip
    good = [read_off(away, check_of(name)) for name in names]

    def after(complaint: str) -> Belief:
        return reasoner.told(complaint).weigh(good, prior_after(reasoner.table, guesses, Told(complaint=complaint)))

    assert after("dead").p_fault[NOTHING_WRONG.name] > 0.5
    assert after("dead").p_coming > 0.1
    assert after("unsure").p_coming == 0.0


HOT = Told(complaint="dies-hot")
WARM_RUN, WARM_PUMP = "runs pump on warm", "pump.plus to pump.minus volts on warm"


@pytest.fixture
def told_hot(reasoner: Reasoner) -> Reasoner:
    return reasoner.told(HOT.complaint)


@pytest.fixture
def dead_pump(reasoner: Reasoner, fault_named: FaultNamed) -> Car:
    return Car(reasoner.table.network, fault_named("pump:open"), None, 5)


def test_what_heat_opens_is_no_fault_that_is_always_there(table: Table) -> None:
    said = coming_share(table, HOT.complaint)
    assert said[table.names.index("pump:open")] > 0.4
    assert said[table.names.index("relay:coil-open")] > 0.4


def test_readings_taken_cold_leave_a_fault_of_heat_possible_and_a_warm_one_settles_it(
    told_hot: Reasoner, guesses: Guesses, away: Car, dead_pump: Car, check_of: CheckOf, read_off: ReadOff
) -> None:  # fmt: skip
    prior = prior_after(told_hot.table, guesses, HOT)
    evidence = [read_off(away, check_of(name)) for name in (*ASKED, "runs pump on")]
    cold = told_hot.weigh(evidence, prior)
    assert cold.p_fault["pump:open"] > 0.25 * told_hot.weigh([], prior).p_fault["pump:open"]
    well = told_hot.weigh([*evidence, read_off(away, check_of(WARM_RUN))], prior)
    assert well.p_fault["pump:open"] < 0.25 * cold.p_fault["pump:open"]
    evidence += [read_off(dead_pump, check_of(name)) for name in (WARM_RUN, "click relay warm", WARM_PUMP)]
    assert told_hot.weigh(evidence, prior).p_fault["pump:open"] > 0.9


def test_who_says_that_it_dies_hot_is_soon_asked_to_warm_it_up(
    told_hot: Reasoner, guesses: Guesses, away: Car, read_off: ReadOff
) -> None:  # fmt: skip
    evidence: list[Known] = []
    prior, stand = prior_after(told_hot.table, guesses, HOT), Stand()
    while len(evidence) < 12 and not stand.setup.warm:
        choice, _ = told_hot.next_choice(evidence, stand, frozenset(), prior)
        assert choice is not None
        evidence.append(read_off(away, choice.check))
        stand = Stand(choice.check.setup, choice.check.place)
    assert stand.setup.warm


def test_a_sound_car_brought_for_something_is_not_read_off_to_the_end(
    reasoner: Reasoner, guesses: Guesses, away: Car, read_off: ReadOff
) -> None:  # fmt: skip
    told, prior = reasoner.told("dead"), prior_after(reasoner.table, guesses, Told(complaint="dead"))
    evidence: list[Known] = []
    stand, watching = Stand(), 0
    while (choice := told.next_choice(evidence, stand, frozenset(), prior)[0]) is not None:
        evidence.append(read_off(away, choice.check))
        stand = Stand(choice.check.setup, choice.check.place)
        watching += choice.check.watched
    assert watching
    assert len(evidence) < 16


def test_a_fault_of_heat_does_not_mind_what_is_moved(table: Table, check_of: CheckOf) -> None:
    chances = wiggle_chances(table, check_of("wiggle relay on"))
    heat = kinds(table)[1]
    assert heat.any()
    assert chances[heat].max() < 0.15
    assert chances[[c for c, name in enumerate(table.names) if name == "relay:contacts-stuck-open"]].max() > 0.6


def test_what_may_be_away_is_tried_more_than_once(check_of: CheckOf) -> None:
    """A thing done ten times over, again, and twice more; what is moved, moved once more."""
    for name, tries in (("click relay", 4), ("wiggle relay on", 2), (ASKED[0], 2)):
        done: set[str] = set()
        while left := watched([check_of(name)], done):
            assert len({check.id for check in left} - done) == len(left)
            done.add(left[0].id)
        assert len(done) == tries, name


def test_a_change_too_small_to_tell_of_is_not_missed(
    told: Reasoner, guesses: Guesses, away: Car, check_of: CheckOf, read_off: ReadOff
) -> None:  # fmt: skip
    """The millivolts across the coil's fuse fall where its wire opens: nobody gives that as a range."""
    check = check_of("coil_fuse.in to coil_fuse.out millivolts on")
    once, watching = (weighed(told, guesses, [read_off(away, one)]) for one in (check, check.watch()))
    assert watching.p_fault["coil_feed:bad"] == pytest.approx(once.p_fault["coil_feed:bad"], rel=0.05)


def test_the_complaint_shares_out_what_comes_and_goes(table: Table) -> None:
    said, unsaid = coming_share(table, "comes-and-goes"), coming_share(table, "dead")
    assert ((said >= 0) & (said < 1)).all()
    assert said[0] == unsaid[0] == 0.0
    joint = table.names.index(TRUE)
    assert said[joint] > 0.4 > 0.1 > unsaid[joint]


def test_the_order_of_answers_does_not_matter(
    told: Reasoner, guesses: Guesses, there: Car, away: Car, check_of: CheckOf, read_off: ReadOff
) -> None:  # fmt: skip
    evidence = [read_off(there if i % 2 else away, check_of(name)) for i, name in enumerate(ASKED)]
    ln_prior = np.log(told.table.weight)
    one, other = (weigh_goes(told.table, guesses, some, ln_prior) for some in (evidence, evidence[::-1]))
    finite = np.isfinite(one.ln_p)
    assert finite.any()
    assert np.allclose(one.ln_p[finite], other.ln_p[finite], atol=1e-9)
    assert np.allclose(one.each[:, finite], other.each[::-1][:, finite], atol=1e-9)


def test_a_chain_of_readings_is_their_joint_gaussian(
    table: Table, away: Car, check_of: CheckOf, read_off: ReadOff
) -> None:  # fmt: skip
    """p(a)·p(b | a)·... against the joint density that `Joint` gets by one inversion."""
    readings = [read_off(away, check_of(name)) for name in ASKED]
    cells = np.array([0, 5, 9])
    chain, total = Chain(cells.size, len(readings), table.unknowns.count), np.zeros(cells.size)
    for known in readings:
        p = table.predict_in(known.check, cells)
        ln_p, parts = chain.ahead(known.value - p.mean, p.slope, np.square(p.noise) + known.sigma**2)
        chain.take(parts, np.ones(cells.size, dtype=bool))
        total += ln_p
    joint = Joint.of(table, readings)
    plain = ~np.any([table.predict(known.check).floats[cells] for known in readings], axis=0)
    assert plain.any()
    assert np.allclose(total[plain], joint.log_density[cells][plain], rtol=1e-6, atol=1e-6)
    _, residual, precision = chain.arranged(range(len(readings)))
    assert np.allclose(precision[plain], joint.precision[cells][plain], rtol=1e-5, atol=1e-6 * np.abs(precision).max())
    assert np.allclose(residual[plain], joint.residual[cells][plain])


def test_watched_readings_keep_their_first_name(check_of: CheckOf) -> None:
    check = check_of(ASKED[0])
    watched = check.watch()
    assert watched.first_id == watched.repeated().first_id == check.id
    assert len({check.id, watched.id, watched.repeated().id, check.repeated().id}) == 4
    assert replace(watched, id=check.id, watched=False) == check
