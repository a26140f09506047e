"""What people say that they cannot do: understood, or given back as not understood; never guessed."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from troubleshoot.words.limits import Limits, read_limits

PARTS = {"pump": "fuel pump", "relay": "pump relay", "coil_fuse": "coil fuse", "main_fuse": "pump fuse",
         "ignition": "ignition switch", "battery": "battery"}  # fmt: skip
PLACES = ("at the tank", "under the dash")


def read(text: str) -> Limits:
    return read_limits(text, PARTS, PLACES)


@pytest.mark.parametrize(
    ("text", "can"),
    [
        ("no ohms", {"ohms": False}), ("my meter doesn't do ohms, it has no ohms range", {"ohms": False}),
        ("the battery must stay on, it can't come off", {"ohms": False}), ("leads too short", {"long_leads": False}),
        ("no long leads", {"long_leads": False}), ("don't have MIN/MAX", {"min_max": False}),
        ("there is no hold key", {"min_max": False}), ("only a lamp", {"meter": False, "lamp": True}),
        ("I have no meter", {"meter": False}), ("nobody here", {"helper": False, "fetch": False}),
        ("I'm alone", {"helper": False, "fetch": False}), ("can fetch somebody", {"fetch": True}),
        ("no clamp", {"clamp": False}), ("without a lamp", {"lamp": False}),
        ("no spare relay", {"spare_relay": False}), ("I have a spare relay here", {"spare_relay": True}),
        ("a spare fuse", {"spare_fuse": True}), ("no new fuses", {"spare_fuse": False}),
        ("there are no spares", {"spare_relay": False, "spare_fuse": False}),
    ],
)  # fmt: skip
def test_what_is_not_at_hand_is_understood(text: str, can: dict[str, bool]) -> None:
    assert read(text).can == can


@pytest.mark.parametrize(
    ("text", "reach", "fixed"),
    [
        ("can't reach the pump", ["pump"], []), ("can’t get at the fuel pump", ["pump"], []),
        ("cannot reach the pump fuse", ["main_fuse"], []), ("no access to the ignition switch", ["ignition"], []),
        ("can't get to anything under the dash", ["under the dash"], []),
        ("can't get at the tank", ["at the tank"], []), ("relay is soldered in", [], ["relay"]),
        ("the pump relay won't come out", [], ["relay"]), ("can't pull the relay", [], ["relay"]),
        ("coil fuse is buried and the relay is riveted", ["coil_fuse"], ["relay"]),
    ],
)  # fmt: skip
def test_what_is_out_of_reach_or_stays_in_is_understood_by_name(text: str, reach: list[str], fixed: list[str]) -> None:
    found = read(text)
    assert (found.cant_reach, found.cant_remove) == (reach, fixed)
    assert not found.unread


def test_without_a_name_it_is_said_of_what_is_asked() -> None:
    assert read("can't reach it").reach_here
    assert read("won't come out").fixed_here
    assert not read("can't reach it").cant_reach


@pytest.mark.parametrize("text", ["it rains", "later", "the dog ate it", "42", "customer says no"])
def test_other_reasons_teach_nothing(text: str) -> None:
    found = read(text)
    assert not found
    assert found.unread


def test_several_things_in_one_line() -> None:
    found = read("no ohms, leads too short and can't reach the pump; it rains")
    assert found.can == {"ohms": False, "long_leads": False}
    assert found.cant_reach == ["pump"]
    assert found.unread == ["it rains"]


@given(st.text(max_size=80))
def test_no_words_raise_and_only_known_names_come_out(text: str) -> None:
    found = read(text)
    assert set(found.cant_reach) <= {*PARTS, *PLACES}
    assert set(found.cant_remove) <= set(PARTS)
