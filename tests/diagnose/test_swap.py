"""A known good part put in to try: what each answer says, what it costs, what stays in, and what it does not prove."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from troubleshoot.car.car import Car
from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.cost import Stand, cost_s
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.circuit.look_checks import BLOWS_AGAIN, STILL_WRONG, WORKS_NOW
from troubleshoot.diagnose.evidence import Known, not_yet
from troubleshoot.diagnose.pair_cells import pair
from troubleshoot.diagnose.reason import Reasoner
from troubleshoot.diagnose.sign_off import mended_with
from troubleshoot.errors import TypedWrong
from troubleshoot.expect.seen import answer_chances
from troubleshoot.expect.table import Table
from troubleshoot.parts.branch import Fault
from troubleshoot.session.ability import Can
from troubleshoot.session.cards import CheckCard, Outcome
from troubleshoot.session.session import Session
from troubleshoot.solve.cases import OPEN

CheckOf = Callable[[str], Check]
FaultNamed = Callable[[str], Fault]
SPARES = {"spare_relay": True, "spare_fuse": True}


def chances_of(table: Table, check: Check, name: str) -> np.ndarray:  # type: ignore[type-arg]
    """The chances of the answers for the worst cell of a fault."""
    cells = [c for c, of in enumerate(table.names) if of == name]
    worst = max(cells, key=lambda c: table.cells[c].severity or 0.0)
    return np.asarray(answer_chances(table, check, 0.0)[worst])


# ---- what each answer says


@pytest.mark.parametrize(
    "fault",
    ["relay:coil-open", "relay:contacts-stuck-open", "relay:contacts-burnt", "relay:contacts-welded", "relay:weak-coil",
     "relay:other-layout"],
)  # fmt: skip
def test_a_fault_of_the_relay_itself_answers_as_the_healthy_circuit(
    table: Table, check_of: CheckOf, fault: str
) -> None:
    swap = check_of("swap relay")
    assert chances_of(table, swap, fault) == pytest.approx(answer_chances(table, swap, 0.0)[0], abs=0.02)


@pytest.mark.parametrize(
    "fault", ["pump_wire:bad", "pump:open", "main_fuse:blown", "relay:87a-used-for-87", "relay:30-86-87-85-exchanged"]
)
def test_what_is_not_of_the_relay_stays_wrong(table: Table, check_of: CheckOf, fault: str) -> None:
    assert chances_of(table, check_of("swap relay"), fault)[1] > 0.9


def test_a_fuse_blown_with_no_short_left_works_and_one_blown_by_a_short_blows_again(
    table: Table, check_of: CheckOf
) -> None:
    swap = check_of("swap main_fuse")
    assert swap.answers == (WORKS_NOW, STILL_WRONG, BLOWS_AGAIN)
    assert chances_of(table, swap, "main_fuse:blown")[0] > 0.95
    assert chances_of(table, swap, "pump_wire:shorted")[2] > 0.95
    assert chances_of(table, swap, "coil_fuse:blown")[1] > 0.95, "another fuse"


def test_a_spread_contact_is_cured_by_it_too_and_a_bad_one_seldom(table: Table, check_of: CheckOf) -> None:
    swap = check_of("swap relay")
    assert chances_of(table, swap, "relay.87:spread")[0] > 0.95
    assert 0.02 < chances_of(table, swap, "relay.87:bad")[0] < 0.2


def test_of_two_faults_it_cures_one_only(table: Table, check_of: CheckOf) -> None:
    by_name = {cell.fault.name: cell for cell in table.cells}
    both = [("relay:coil-open", "main_fuse:blown"), ("relay:coil-open", "relay.87:spread")]
    cells = [pair(by_name[one], by_name[other]) for one, other in both]
    beside = table.beside([table.cells[0], *(cell for cell in cells if cell)])
    dead, pushed_home = answer_chances(beside, check_of("swap relay"), 0.0)[1:]
    assert dead[1] > 0.95
    assert pushed_home[0] > 0.95, "the good one has been pushed home"
    assert answer_chances(beside, check_of("swap main_fuse"), 0.0)[1, 1] > 0.95


@pytest.mark.parametrize(
    ("fault", "severity"),
    [("relay:contacts-stuck-open", None), ("relay:contacts-welded", None), ("relay:other-layout", None),
     ("relay.87:bad", OPEN), ("main_fuse:blown", None), ("pump_wire:shorted", 0.05), ("pump:open", None)],
)  # fmt: skip
def test_sampled_cars_answer_so(
    table: Table, check_of: CheckOf, fault_named: FaultNamed, fault: str, severity: float | None
) -> None:
    """The car has its own code for it."""
    for swap in (check_of("swap relay"), check_of("swap main_fuse")):
        likeliest = swap.answers[int(chances_of(table, swap, fault).argmax())]
        for seed in range(3):
            assert Car(table.network, fault_named(fault), severity, seed).answer(swap) == likeliest, swap.id


def test_it_tells_the_relay_from_its_socket_for_who_has_a_spare_only(table: Table, guesses: Guesses) -> None:
    stuck, contact = "relay:contacts-stuck-open", "relay.87:bad"
    for can, apart in ((Can(), False), (Can(spare_relay=True), True)):
        reasoner = Reasoner.shared(table, guesses, can.allowed(table.network, table.checks))
        group = next(group for group in reasoner.groups if stuck in group)
        assert (contact not in group) == apart


def test_a_new_relay_renews_all_that_lies_in_it_and_no_more(table: Table) -> None:
    gone = {name for name, is_gone in zip(table.names, mended_with(table, "relay:coil-open"), strict=True) if is_gone}
    assert {"relay:contacts-burnt", "relay:coil-open", "relay:other-layout"} <= gone
    assert not any(name.startswith("relay.") or "exchanged" in name for name in gone)
    wire = mended_with(table, "relay:30-86-87-85-exchanged")
    assert {name for name, is_gone in zip(table.names, wire, strict=True) if is_gone} == {"relay:30-86-87-85-exchanged"}


# ---- who may, and what it costs


def test_only_who_has_a_spare_is_asked(table: Table) -> None:
    def swapped(**can: object) -> set[str]:
        return {check.swaps for check in Can(**can).allowed(table.network, table.checks) if check.swaps}  # type: ignore[arg-type]

    assert swapped() == set()
    assert swapped(spare_relay=True) == {"relay"}
    assert swapped(spare_fuse=True) == {"main_fuse", "coil_fuse", "link"}
    assert swapped(**SPARES, cant_remove=("relay",)) == {"main_fuse", "coil_fuse", "link"}
    assert swapped(**SPARES, cant_reach=("main_fuse",)) == {"relay", "coil_fuse", "link"}


def test_it_costs_a_spare_and_four_moves(guesses: Guesses, table: Table, check_of: CheckOf) -> None:
    circuit, swap = table.network.circuit, check_of("swap relay")
    stand = Stand(swap.setup, swap.place)
    moves = 4 * guesses.costs.relay_out_or_in.value
    assert cost_s(circuit, guesses.costs, stand, swap) > moves + guesses.costs.spare_relay.value
    dear = guesses.costs.model_copy(update={"spare_relay": guesses.costs.spare_relay.model_copy(update={"value": 600})})
    assert cost_s(circuit, dear, stand, swap) == pytest.approx(
        cost_s(circuit, guesses.costs, stand, swap) + 600 - guesses.costs.spare_relay.value
    )


def test_it_is_never_done_twice(table: Table, check_of: CheckOf) -> None:
    swap = check_of("swap main_fuse")
    assert swap.repeated().id in not_yet(table.checks, [Known(swap, choice=2)])
    assert not swap.can_be_watched


# ---- in a session


@pytest.fixture
def begin(tmp_path: Path, table: Table) -> Callable[..., Session]:
    del table

    def start(**can: object) -> Session:
        return Session.start("pump-on-ignition-feed", complaint="dead", can=SPARES | can, folder=tmp_path)

    return start


def told(session: Session, card: CheckCard | Check, text: str) -> Outcome:
    outcome = session.record(card, text)
    assert isinstance(outcome, Outcome)
    return outcome


def played(session: Session, car: Car) -> list[str]:
    """Plays a job to its end, what works being left in; the ids of the checks."""
    asked = []
    while isinstance(card := session.next_check(), CheckCard):
        text = car.answer(card.check)
        told(session, card, text)
        asked.append(card.check.id)
        car = car.with_new(card.check.swaps) if text == WORKS_NOW else car
    return asked


def test_where_the_good_relay_works_it_stays_in_and_the_sign_off_proves_it(
    begin: Callable[..., Session], fault_named: FaultNamed
) -> None:
    session = begin()
    asked = played(session, Car(session.table.network, fault_named("relay:contacts-stuck-open"), None, 1))
    assert "swap relay" in asked
    after = asked[asked.index("swap relay") + 1 :]
    assert any("battery.neg" in check or "pump.plus" in check for check in after), "a sign-off is read"
    assert not {"runs pump on", "runs pump off", "swap relay"} & set(after), "seen with the good one in"
    assert session.state.repairs[-1].suspects == ("relay:contacts-stuck-open",)
    assert session.verdict().suspects[0].name == "circuit:nothing-wrong"


def test_where_it_does_not_the_old_one_goes_back_and_the_socket_is_named(
    begin: Callable[..., Session], fault_named: FaultNamed
) -> None:
    session = begin()
    asked = played(session, Car(session.table.network, fault_named("relay.87:bad"), OPEN, 1))
    assert "swap relay" in asked
    assert not session.state.repairs
    card = session.verdict()
    assert "relay.87:bad" in {card.suspects[0].name, *(line.name for line in card.look_alikes)}
    assert "relay:contacts-stuck-open" not in {card.suspects[0].name, *(line.name for line in card.look_alikes)}


def test_a_contact_that_was_moved_with_it_is_not_taken_for_the_relay(
    begin: Callable[..., Session], fault_named: FaultNamed, check_of: CheckOf
) -> None:
    """Of a spread contact all is well with the good relay in; with the old one back, pushed home, it still is."""
    session = begin()
    car = Car(session.table.network, fault_named("relay.30:spread"), OPEN, 1)
    for check in ("relay.30 to battery.neg volts on", "relay.87 to battery.neg volts on", "click relay", "swap relay"):
        outcome = told(session, check_of(check), car.answer(check_of(check)))
    assert outcome.understood == WORKS_NOW
    assert "if the fault comes back with it" in " ".join(outcome.then)
    played(session, car)
    assert not session.state.repairs
    assert session.verdict().suspects[0].name.endswith(":spread")


def test_a_new_fuse_that_blows_is_the_last_one(begin: Callable[..., Session], check_of: CheckOf) -> None:
    session = begin()
    outcome = told(session, check_of("swap main_fuse"), "blows again")
    assert "No second fuse" in outcome.then[0]
    assert not session.state.repairs
    assert {"swap main_fuse", "swap main_fuse again"} <= session._now.passed


def test_a_new_fuse_that_holds_asks_why_the_old_one_blew(begin: Callable[..., Session], check_of: CheckOf) -> None:
    session = begin()
    told(session, check_of("whole main_fuse"), "blown")
    outcome = told(session, check_of("swap main_fuse"), "works now")
    assert session.state.repairs[-1].suspects == ("main_fuse:blown",)
    assert any("Shown by" in line for line in outcome.then)


def test_working_proves_nothing_where_nothing_else_speaks_for_the_part(
    begin: Callable[..., Session], check_of: CheckOf
) -> None:
    """The relay's contacts pass all their volts on: what works after the exchange was something else."""
    session = begin()
    told(session, check_of("relay.30 to battery.neg volts on"), "12.3")
    told(session, check_of("click relay"), "clicks")
    outcome = told(session, check_of("swap relay"), "works now")
    assert not session.state.repairs
    assert "Put the old pump relay back" in " ".join(outcome.then)


def test_a_fault_that_comes_and_goes_may_just_be_away(tmp_path: Path, table: Table, check_of: CheckOf) -> None:
    """Its contacts were seen not to close, and so the relay leads; but what comes and goes has gone before."""
    del table
    session = Session.start("pump-on-ignition-feed", complaint="comes-and-goes", can=SPARES, folder=tmp_path)
    for check, text in (("relay.87 to battery.neg volts on", "12.5"), ("relay.30 to battery.neg volts on", "0.01"),
                        ("click relay", "clicks")):  # fmt: skip
        told(session, check_of(check), text)
    outcome = told(session, check_of("swap relay"), "works now")
    assert not session.state.repairs
    assert "comes and goes" in " ".join(outcome.then)


def test_a_blown_fuse_beside_another_fault_stays_out_and_the_search_goes_on(
    begin: Callable[..., Session], check_of: CheckOf
) -> None:
    session = begin()
    told(session, check_of("whole main_fuse"), "blown")
    told(session, check_of("main_fuse.in to battery.neg volts off"), "12.6")
    told(session, check_of("main_fuse.out to battery.neg volts off"), "0.0")
    outcome = told(session, check_of("swap main_fuse"), "still wrong")
    assert session.state.repairs[-1].complaint == "dead"
    assert "beside it" in outcome.then[0]
    assert isinstance(session.next_check(), CheckCard)


def test_where_nothing_more_can_be_told_a_spare_at_hand_is_tried_before_the_verdict(
    begin: Callable[..., Session], fault_named: FaultNamed, check_of: CheckOf
) -> None:
    """With a lamp and one's ears only, the relay is one of very many: it is tried where it is likely enough."""
    looks = {"meter": False, "ohms": False, "min_max": False, "lamp": True}
    car = Car(begin().table.network, fault_named("relay:contacts-stuck-open"), None, 1)
    for spare in (False, True):
        session = begin(**looks, spare_relay=spare)
        told(session, check_of("click relay"), "clicks")
        assert ("swap relay" in played(session, car)) == spare
    assert "no more than that is proved" in session.verdict().say
    assert session.verdict().repair == ()


def test_a_spare_is_not_tried_where_another_part_is_sure(
    begin: Callable[..., Session], fault_named: FaultNamed
) -> None:
    for fault in ("pump:open", "pump_bolt:bad-joint"):
        car = Car(begin().table.network, fault_named(fault), OPEN if "bolt" in fault else None, 2)
        assert not {"swap relay", "swap main_fuse", "swap link", "swap coil_fuse"} & set(played(begin(), car))


def test_it_is_taken_back_in_one_and_found_again_in_the_log(begin: Callable[..., Session], check_of: CheckOf) -> None:
    session = begin()
    told(session, check_of("whole main_fuse"), "blown")
    before = session.suspects()
    told(session, check_of("swap main_fuse"), "works now")
    after, path = session.suspects(), session.path
    session.close()
    again = Session.resume(path)
    assert again.suspects() == after
    assert "exchanged for a good one" in again.undo()
    assert again.suspects() == before
    assert not again.state.repairs
    again.close()


def test_it_is_told_of_ones_own_accord_in_ones_own_words(begin: Callable[..., Session]) -> None:
    session = begin()
    assert isinstance(session.record_text("swap pump relay still wrong"), Outcome)
    assert session.state.entries[-1].check.id == "swap relay"
    with pytest.raises(TypedWrong):
        session.record_text("swap pump still wrong")


@pytest.mark.parametrize("words", ["no change", "same", "no", "2", "still wrong"])
def test_no_change_is_still_wrong(begin: Callable[..., Session], check_of: CheckOf, words: str) -> None:
    session = begin()
    assert told(session, check_of("swap relay"), words).understood == STILL_WRONG


def test_no_spare_is_learned_from_a_reason_for_skipping(begin: Callable[..., Session], check_of: CheckOf) -> None:
    session = begin()
    assert session.skip(check_of("swap relay"), "no spare relay") == "no spare relay"
    assert not session.state.can.spare_relay
    assert session.state.can.spare_fuse
    assert not any(check.swaps == "relay" for check in session.reasoner.checks)


def test_a_check_repeated_or_watched_swaps_the_same(check_of: CheckOf) -> None:
    swap = check_of("swap relay")
    assert swap.repeated().swaps == "relay"
    assert replace(swap, about="runs:pump").swaps == ""
