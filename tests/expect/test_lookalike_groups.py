"""Which suspects no allowed check can tell apart, where the wiring itself says so."""

from __future__ import annotations

import numpy as np
import pytest

from troubleshoot.circuit.guesses import Guesses
from troubleshoot.diagnose.reason import Reasoner
from troubleshoot.expect.lookalike import normal_tail


def group_with(reasoner: Reasoner, name: str) -> frozenset[str]:
    return next(group for group in reasoner.groups if name in group)


def test_every_suspect_is_in_exactly_one_group(reasoner: Reasoner) -> None:
    members = [name for group in reasoner.groups for name in group]
    assert sorted(members) == sorted({*reasoner.table.names, "circuit:not-described"})


def test_the_socket_contacts_of_30_and_87_look_like_the_relays_own_contacts(reasoner: Reasoner) -> None:
    """Mated, no probe gets between them; pulled, the contact in question is open anyway."""
    assert {"relay.30:bad", "relay.87:bad", "relay:contacts-burnt"} <= group_with(reasoner, "relay:contacts-burnt")


def test_the_two_contacts_of_the_pump_plug_look_alike(reasoner: Reasoner) -> None:
    assert group_with(reasoner, "pump.plus:bad") >= {"pump.plus:bad", "pump.minus:bad"}


def test_the_two_coil_contacts_look_alike(reasoner: Reasoner) -> None:
    assert group_with(reasoner, "relay.85:bad") >= {"relay.85:bad", "relay.86:bad"}


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("main_fuse:blown", "coil_fuse:blown"),
        ("relay:coil-open", "relay:contacts-stuck-open"),
        ("relay:coil-open", "coil_ground:bad"),
        ("pump:open", "pump_ground:bad"),
        ("pump:open", "pump:seized"),
        ("pump_ground:bad", "pump_bolt:bad-joint"),
        ("pump_wire:bad", "fused_feed:bad"),
        ("ignition_out:accessory-feed", "ignition_out:start-feed"),
        ("ignition_out:accessory-feed", "circuit:nothing-wrong"),
        ("battery:flat", "circuit:nothing-wrong"),
        ("relay:contacts-welded", "circuit:nothing-wrong"),
        ("relay:coil-open", "relay.85:bad"),
    ],
)
def test_what_any_mechanic_tells_apart_is_apart(reasoner: Reasoner, one: str, other: str) -> None:
    assert group_with(reasoner, one) != group_with(reasoner, other)


def test_without_ohms_an_open_coil_and_its_open_contacts_may_not_be_told_apart(
    reasoner: Reasoner, guesses: Guesses
) -> None:
    """Volts with the relay in show the same: 12 V on one side, 0 on the other, no click."""
    fewer = Reasoner(reasoner.table, guesses, [check for check in reasoner.checks if not check.is_ohms])
    assert {"relay:coil-open", "relay.85:bad", "relay.86:bad"} <= group_with(fewer, "relay:coil-open")
    assert len(fewer.groups) < len(reasoner.groups)


def test_the_tail_of_the_normal_is_right_to_six_digits() -> None:
    """Against the values printed in any table of the normal distribution (from memory)."""
    assert normal_tail(np.array([0.0, 1.0, 1.96, 3.0])) == pytest.approx([0.5, 0.158655, 0.024998, 0.0013499], abs=1e-6)
