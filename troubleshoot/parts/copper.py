"""Copper and temperature: what wires, coils and straps have in common."""

from __future__ import annotations

COPPER_OHM_M = 1 / 58e6
"""Annealed copper at 20 °C, ohm·m (IEC 60028 / IACS)."""

COPPER_PER_K = 0.00393
"""Relative change of resistance a kelvin at 20 °C (NBS Handbook 100; trade-facts section 3)."""


def at_temperature(ohm_20: float, celsius: float) -> float:
    """Ohms of copper at a temperature: R20·[1 + 0.00393·(T - 20)]."""
    return ohm_20 * (1 + COPPER_PER_K * (celsius - 20))
