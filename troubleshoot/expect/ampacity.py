"""How many amperes a copper wire carries without harm to its insulation, by its size."""

from __future__ import annotations

import numpy as np

from troubleshoot.units import Gauge, awg_area_m2

CARRIES_A = {
    22: (5.0, 7.0), 20: (7.5, 11.0), 18: (10.0, 16.0), 16: (13.0, 22.0), 14: (17.0, 32.0), 12: (23.0, 41.0),
    10: (33.0, 55.0), 8: (46.0, 73.0), 6: (60.0, 101.0), 4: (80.0, 135.0), 2: (100.0, 181.0),
}  # fmt: skip
"""AWG: amperes in a bundle or sleeve, and alone in free air. See SOURCE; bundles of 10 AWG and thicker from memory."""

SOURCE = (
    "amperes by wire size, bundled and in free air, from the radio-amateur and chassis-wiring columns at "
    "oocities.org/dtmcbride/home_garden/wire.html; bundles of 10 AWG and thicker from memory"
)


def carries_a(gauge: Gauge) -> tuple[float, float]:
    """Amperes in a bundle and in free air, log-log by area between the table's sizes, and the end values outside."""
    sizes = sorted(CARRIES_A, reverse=True)
    x = np.log([awg_area_m2(size) for size in sizes])
    bundled, free = (np.log([CARRIES_A[size][column] for size in sizes]) for column in (0, 1))
    at = np.log(gauge.area_m2)
    return float(np.exp(np.interp(at, x, bundled))), float(np.exp(np.interp(at, x, free)))
