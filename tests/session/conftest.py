"""The car behind the session tests."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from troubleshoot.car.car import Car
from troubleshoot.parts.branch import Fault
from troubleshoot.session.session import Session


@pytest.fixture
def car(session: Session, fault_named: Callable[[str], Fault]) -> Car:
    return Car(session.table.network, fault_named("pump_ground:bad"), 0.8, 51)
