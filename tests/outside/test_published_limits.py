"""Volt-drop limits as the review of a wiring uses them, against printed ones. The source stands beside each check.

"weak": several web guides, likely copied from each other. "service manual", "vehicle manuals": maker or service data,
which the collected notes quote without a name.
"""

from __future__ import annotations

import pytest
from published import SHORT, small

from troubleshoot.expect.review import review

SUPPLY_V, PUMP_OHM = 12.0, 2.0


def judged(side: str, volts: float) -> str:
    """How bad the review of a pump circuit calls so many volts lost on one side; "" where it says nothing of them."""
    ohm = PUMP_OHM * volts / (SUPPLY_V - volts)
    wire = f"gauge: 1.5 mm², length: {ohm / 13.3e-3} m"
    network = small(
        SUPPLY_V,
        {"fuse": "kind: fuse, rating: 10 A, resistance: 0.001 mohm, holder_contact: 0.001 mohm",
         "pump": f"kind: pump, back_emf: 0 V, resistance: {PUMP_OHM} ohm, winding_resistance: {PUMP_OHM} ohm, "
                 "start_voltage: 1 V, plug_contact: 0.001 mohm"},
        {"to_fuse": ("supply.pos", "fuse.in", SHORT),
         "feed": ("fuse.out", "pump.plus", wire if side == "feed" else SHORT),
         "ground": ("pump.minus", "supply.neg", wire if side == "ground" else SHORT)},
    )  # fmt: skip
    other = {"feed": "ground", "ground": "feed"}[side]
    found = {finding.code: finding.severity for finding in review(network)}
    assert f"{other}-drop" not in found
    return found.get(f"{side}-drop", "")


LIMITS = [
    pytest.param("feed", 0.45, "", id="feed to 0.5 V, pump running (weak)"),
    pytest.param("feed", 0.55, "doubt", id="feed over 0.5 V, pump running (weak; one vehicle manual: suspicious)"),
    pytest.param("feed", 1.10, "fault", id="feed over 1 V (two vehicle manuals)"),
    pytest.param("ground", 0.08, "", id="ground under 0.1 V is good (service manual)"),
    pytest.param("ground", 0.15, "note", id="ground over 0.1 V, pump running (weak)"),
    pytest.param("ground", 0.25, "doubt", id="ground over 0.2 V needs attention (service manual)"),
    pytest.param("ground", 0.308, "doubt", id="starter solenoid ground of 0.308 V is a poor one (service data)"),
    pytest.param("ground", 1.10, "fault", id="ground over 1 V (two vehicle manuals)"),
]


@pytest.mark.parametrize(("side", "volts", "severity"), LIMITS)
def test_the_review_judges_a_drop_by_the_printed_limits(side: str, volts: float, severity: str) -> None:
    assert judged(side, volts) == severity
