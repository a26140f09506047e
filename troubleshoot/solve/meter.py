"""How a digital multimeter turns a true value into what it shows: the figures that belief reckons with.

Typical maker data, no single source (trade-facts section 7): 10 Mohm, ±(0.5 % + 2 counts) of 6000 counts,
so a gain known to 0.25 % (one sigma) and a last digit that grows with the range.
"""

from __future__ import annotations

import numpy as np

from troubleshoot.solve.linear import Floats

METER_OHM = 10e6
ACCURACY_PERCENT = 0.5
"""Accuracy of a usual digital meter, % of reading: taken as two sigma of its gain."""


def gain_sigma(accuracy_percent: float) -> float:
    """Sigma of a meter's gain, relative, from the accuracy that its maker states."""
    return accuracy_percent / 200


LOW_OHM = 3e3
"""A low-impedance volts input, order of size (typical maker data, no single source; from memory)."""

CLAMP_SIGMA_A = 0.08
CLAMP_SHARE = 0.02
"""A DC clamp: 2 % and what is left after zeroing (typical maker data, no single source; from memory)."""

LEAD_OHM = 0.2
LEAD_SIGMA_OHM = 0.08
OVER_LIMIT_OHM = 40e6
OHMS_OFFSET = 0.5
"""Ohms are compared as ln(shown + 0.5): relative above an ohm, absolute below, where the leads matter."""

FLOATING_OHM = 3e5
"""Source resistance from which a reading is called floating (invented): a range, never a value."""


def digit_v(volts: Floats | float, function: str) -> Floats:
    """Size of the last digit shown: 0.1 mV up to 0.6 V on the millivolt range, 1 mV to 6 V, 10 mV above."""
    size = np.abs(volts)
    if function == "millivolts":
        return np.where(size < 0.6, 1e-4, np.where(size < 6, 1e-3, 1e-2))
    return np.where(size < 6, 1e-3, 1e-2)


def noise_v(volts: Floats, function: str) -> Floats:
    """Sigma of what is neither gain nor circuit: digits, probe contact, a battery that sags (invented)."""
    digits = 1.2 * digit_v(volts, function)
    if function == "millivolts":
        return np.hypot(digits, 0.0001)
    wander = 0.15 if function in ("volts_min", "volts_max") else 0.03
    return np.hypot(digits, np.hypot(wander * np.minimum(1, np.abs(volts) / 3), 0.001))


def noise_a(amps: Floats) -> Floats:
    """Sigma of a clamp's reading."""
    return np.hypot(CLAMP_SIGMA_A, CLAMP_SHARE * amps)


def ohms_scale(ohm: Floats | float) -> Floats:
    """The scale on which ohms are compared: ln(ohm + 0.5)."""
    return np.log(np.asarray(ohm) + OHMS_OFFSET)
