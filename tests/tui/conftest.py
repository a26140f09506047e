"""For the tests of the UI: the table worked out once, no colours or settings from outside."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from driving import make_app

from troubleshoot.car.car import Car
from troubleshoot.circuit.network import Network
from troubleshoot.expect.table import Table
from troubleshoot.tui.app import TroubleshootApp

CarWith = Callable[..., Car]


@pytest.fixture(autouse=True)
def _quiet_outside(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))


@pytest.fixture
def app(tmp_path: Path, table: Table) -> TroubleshootApp:
    """An app on an empty folder; the table is there already."""
    del table
    return make_app(tmp_path)


@pytest.fixture
def car_with(network: Network) -> CarWith:
    """A sampled car with a fault by name."""

    def make(name: str, ohm: float | None = None, seed: int = 3) -> Car:
        fault = next(fault for fault in network.faults if fault.name == name)
        return Car(network, fault, ohm, seed)

    return make
