"""A float in SI back to the words of the trade: `450 mV`, `12.45 V`, `0.80 Ω`, `12 kΩ`, `OL`, `3 min`."""

from __future__ import annotations

import math
from decimal import Decimal

OVER_LIMIT_OHM = 40e6  # where a common meter shows OL (common practice, no source)
_NO_LIMIT = math.inf
# dimension -> (used below this SI magnitude, size of the unit in SI, its symbol)
_STEPS: dict[str, tuple[tuple[float, float, str], ...]] = {
    "voltage": ((1.0, 1e-3, "mV"), (_NO_LIMIT, 1.0, "V")),
    "current": ((1e-3, 1e-6, "µA"), (1.0, 1e-3, "mA"), (_NO_LIMIT, 1.0, "A")),
    "resistance": ((0.1, 1e-3, "mΩ"), (1e3, 1.0, "Ω"), (1e6, 1e3, "kΩ"), (_NO_LIMIT, 1e6, "MΩ")),
    "length": ((0.01, 1e-3, "mm"), (1.0, 1e-2, "cm"), (_NO_LIMIT, 1.0, "m")),
    "area": ((_NO_LIMIT, 1e-6, "mm²"),),
    "time": ((1.0, 1e-3, "ms"), (120.0, 1.0, "s"), (7200.0, 60.0, "min"), (_NO_LIMIT, 3600.0, "h")),
    "temperature": ((_NO_LIMIT, 1.0, "°C"),),
    "fraction": ((_NO_LIMIT, 1e-2, "%"),),
    "power": ((1e3, 1.0, "W"), (_NO_LIMIT, 1e3, "kW")),
    "charge": ((_NO_LIMIT, 3600.0, "Ah"),),
    "conductance": ((1e-6, 1e-9, "nS"), (1e-3, 1e-6, "µS"), (1.0, 1e-3, "mS"), (_NO_LIMIT, 1.0, "S")),
}
_EXACT = {
    "voltage": ("V", 0),
    "current": ("A", 0),
    "resistance": ("ohm", 0),
    "length": ("m", 0),
    "time": ("s", 0),
    "temperature": ("°C", 0),
    "fraction": ("%", 2),
    "power": ("W", 0),
    "conductance": ("S", 0),
}
_NOTHING = {"voltage": 5e-5, "current": 5e-8, "resistance": 5e-5}  # smaller is shown as 0
_LONGEST = 12  # places from which a number is written with its power of ten
_ASCII = str.maketrans({"Ω": "ohm", "µ": "u", "²": "2", "°": "", "±": "+-"})


def show(value: float, dimension: str, digits: int = 3, ascii: bool = False) -> str:  # noqa: A002
    """Return `value` (SI) as a person on the job would write it.

    Volts from 1 up, and ohms from 0.1 to 10, have digits − 1 decimals, as on a meter; all else has `digits`
    significant digits without trailing zeros. Resistances over 40 Mohm are `OL`. With `ascii`,
    no character outside ASCII. Raises ValueError for nan, and for infinity other than of a resistance.
    """
    if dimension == "resistance" and value > OVER_LIMIT_OHM:
        return "OL"
    if not math.isfinite(value):
        raise ValueError(f"no {dimension} to show: {value}")
    if abs(value) < _NOTHING.get(dimension, 0.0) or value == 0.0:
        number, symbol = "0", _EXACT.get(dimension, (_STEPS[dimension][-1][2],))[0].replace("ohm", "Ω")
    else:
        number, symbol = _scaled(value, dimension, digits)
    text = f"{number} {symbol}"
    return text.translate(_ASCII) if ascii else text


def show_measure(value: float, half_band: float, dimension: str, ascii: bool = False) -> str:  # noqa: A002
    """Return `6 mΩ ± 2 mΩ`, or just `6 mΩ` where the half band is 0."""
    text = show(value, dimension, ascii=ascii)
    if half_band == 0.0:
        return text
    return f"{text} {'+-' if ascii else '±'} {show(half_band, dimension, ascii=ascii)}"


def write_quantity(value: float, dimension: str) -> str:
    """Return `value` exactly, as a circuit file would have it; `parse_quantity` gives the same float back."""
    symbol, power = _EXACT[dimension]
    number = Decimal(repr(float(value))).scaleb(power)
    return f"{number:f} {symbol}" if abs(number.adjusted()) < _LONGEST else f"{number} {symbol}"


def _scaled(value: float, dimension: str, digits: int) -> tuple[str, str]:
    rounded = abs(float(f"{value:.{digits - 1}e}"))
    size, symbol = next((size, symbol) for limit, size, symbol in _STEPS[dimension] if rounded < limit)
    if symbol == "V" or (symbol == "Ω" and rounded < 10.0):
        return f"{value / size:.{digits - 1}f}", symbol
    significant = float(f"{value / size:.{digits - 1}e}")
    return f"{Decimal(repr(significant)).normalize():f}", symbol
