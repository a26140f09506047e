"""What a person can do: it limits the checks, costs what it costs, and a reason for skipping teaches it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from job import card_of, events_of

from troubleshoot.car.car import Car
from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.cost import Stand, cost_s, takes_two
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.errors import TypedWrong
from troubleshoot.expect.table import Table
from troubleshoot.parts.branch import Fault
from troubleshoot.session.ability import Can, learned_from
from troubleshoot.session.cards import CheckCard
from troubleshoot.session.session import Session

CRANKING = "relay.86 to battery.neg volts cranking -ignition_module"


def asked_to_the_end(session: Session, car: Car) -> list[Check]:
    asked = []
    while isinstance(card := session.next_check(), CheckCard):
        asked.append(card.check)
        session.record(card, car.answer(card.check))
    return asked


@pytest.fixture
def job(tmp_path: Path, table: Table) -> Callable[..., Session]:
    del table

    def begin(**can: object) -> Session:
        return Session.start("pump-on-ignition-feed", complaint="unsure", can=can, folder=tmp_path)

    return begin


# ---- what may be asked


def test_with_a_lamp_alone_nothing_is_read_and_the_job_still_ends(
    job: Callable[..., Session], fault_named: Callable[[str], Fault]
) -> None:
    session = job(meter=False, lamp=True, ohms=False, min_max=False)
    asked = asked_to_the_end(session, Car(session.table.network, fault_named("main_fuse:blown"), None, 3))
    assert asked
    assert {check.kind for check in asked} == {"observation"}
    assert any(line.name == "main_fuse:blown" for line in session.verdict().suspects)


def test_alone_with_short_leads_nothing_takes_two(table: Table) -> None:
    circuit = table.network.circuit
    alone = Can(long_leads=False)
    assert any(takes_two(circuit, check) for check in table.checks)
    assert not any(takes_two(circuit, check) for check in alone.allowed(table.network, table.checks))
    for more in ({"helper": True}, {"fetch": True}):
        some = Can(long_leads=False, **more).allowed(table.network, table.checks)
        assert any(takes_two(circuit, check) for check in some)


def test_a_relay_that_is_soldered_in_is_never_pulled(table: Table) -> None:
    able = Can(cant_remove=("relay",))
    left = able.allowed(table.network, table.checks)
    assert left
    assert not any("relay" in check.setup.removed | check.setup.reseated for check in left)
    assert any(check.red == "relay.86" for check in left), "it can still be read at"


def test_an_ability_of_another_name_is_refused(job: Callable[..., Session]) -> None:
    with pytest.raises(TypedWrong):
        job(cant_fly=True)


# ---- what it costs


def test_somebody_fetched_costs_once(
    table: Table, guesses: Guesses, check_of: Callable[[str], Check], job: Callable[..., Session]
) -> None:
    circuit, check = table.network.circuit, check_of(CRANKING)
    here = cost_s(circuit, guesses.costs, Stand(), check)
    fetched = cost_s(circuit, guesses.costs, replace(Stand(), fetches=True), check)
    assert fetched == pytest.approx(here + guesses.costs.fetch_helper.value)
    session = job(fetch=True, long_leads=False)
    assert session.stand.fetches
    session.record(check_of("relay.86 to battery.neg volts on"), "12.4")
    assert session.stand.fetches, "a reading with the key on takes one"
    session.record(check, "10.8")
    assert not session.stand.fetches
    session.undo()
    assert session.stand.fetches


@pytest.mark.parametrize("can", [{"helper": True}, {"long_leads": True}, {"fetch": True, "helper": True}])
def test_nobody_is_fetched_who_is_there_or_not_wanted(job: Callable[..., Session], can: dict[str, bool]) -> None:
    assert not job(**can).stand.fetches


# ---- a reason for skipping teaches


def test_what_cannot_be_reached_is_not_asked_again_and_undo_unlearns_it(session: Session) -> None:
    card = card_of(session)
    before = session.state.can
    said = session.skip(card, "can't reach the pump relay")
    assert "pump relay" in said
    assert session.state.can.cant_reach == ("relay",)
    for _ in range(3):
        other = card_of(session)
        assert "relay" not in {other.check.red.partition(".")[0], other.check.black.partition(".")[0]}
        session.skip(other, "it rains")
    for _ in range(4):
        session.undo()
    assert session.state.can == before
    assert card_of(session).check == card.check


def test_it_is_still_known_after_the_job_was_left(session: Session) -> None:
    session.skip(card_of(session), "no ohms and the leads are too short")
    events, path = events_of(session), session.path
    assert events[-1]["learned"] == {"ohms": False, "long_leads": False}
    session.close()
    again = Session.resume(path)
    assert not again.state.can.ohms
    assert not again.state.can.long_leads
    again.close()


def test_a_reason_that_is_no_limit_skips_this_check_only(session: Session) -> None:
    before = session.state.can
    assert session.skip(card_of(session), "the phone rings") == ""
    assert session.state.can == before


def test_it_means_the_part_that_the_check_touches(table: Table, check_of: Callable[[str], Check]) -> None:
    learned = learned_from(table.network, check_of("relay.86 to battery.neg volts on"), "can't reach it")
    assert learned == {"cant_reach": ["relay"]}
    out = check_of("relay.86 to battery.pos volts off -relay")
    assert learned_from(table.network, out, "it won't come out") == {"cant_remove": ["relay"]}
