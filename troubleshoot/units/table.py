"""The closed list of units and prefixes: what may follow a number, and what it is worth in SI.

Letter case decides between milli and mega and between seconds and siemens, nowhere else.
Powers of ten are kept here; what is not a power of ten comes from `conversion` (pint).
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from troubleshoot.units.conversion import si_factor

PREFIXES = {"u": -6, "μ": -6, "m": -3, "k": 3, "K": 3, "M": 6, "n": -9, "c": -2}
PREFIX_WORDS = {"micro": -6, "milli": -3, "kilo": 3, "mega": 6, "meg": 6, "kil": 3}


@dataclass(frozen=True)
class Unit:
    """One unit: its spellings (exact), its words (any case), prefixes allowed, and its size in SI."""

    dimension: str
    symbols: tuple[str, ...]
    words: tuple[str, ...] = ()
    prefixes: str = ""
    power: int = 0
    pint_name: str = ""


@dataclass(frozen=True)
class Scale:
    """A unit as typed: what it measures and how many powers of ten, times a pint factor, to SI."""

    dimension: str
    power: int
    prefix_power: int
    pint_name: str = ""

    @property
    def factor(self) -> Decimal:
        """Return the exact multiplier to SI."""
        ten = Decimal(1).scaleb(self.power + self.prefix_power)
        return ten * si_factor(self.pint_name) if self.pint_name else ten


UNITS = (
    Unit("voltage", ("V", "v"), ("volt", "volts", "vdc"), "uμmkKM"),
    Unit("current", ("A", "a"), ("amp", "amps", "ampere", "amperes"), "uμmkK"),
    Unit("resistance", ("Ω",), ("ω", "ohm", "ohms"), "uμmkKM"),
    Unit("length", ("m",), ("metre", "metres", "meter", "meters"), "mck"),
    Unit("area", ("mm2", "mm^2"), power=-6),
    Unit("area", ("cm2", "cm^2"), power=-4),
    Unit("area", ("m2", "m^2")),
    Unit("time", ("s",), ("sec", "second", "seconds"), "umμ"),
    Unit("time", ("min",), ("minute", "minutes"), pint_name="minute"),
    Unit("time", ("h",), ("hour", "hours"), pint_name="hour"),
    Unit("temperature", ("°C", "C", "°c", "c"), ("degc", "celsius")),
    Unit("fraction", ("%",), ("percent",), power=-2),
    Unit("power", ("W", "w"), ("watt", "watts"), "mkK"),
    Unit("charge", ("Ah", "AH", "ah"), prefixes="m", pint_name="ampere_hour"),
    Unit("conductance", ("S",), ("siemens",), "nuμmkK"),
)
EXAMPLES = {
    "voltage": "12.6 V",
    "current": "6.2 A",
    "resistance": "90 ohm",
    "length": "2.5 m",
    "area": "2.5 mm2 or 14 AWG",
    "time": "40 s",
    "temperature": "20 °C",
    "fraction": "30 %",
    "power": "60 W",
    "charge": "50 Ah",
    "conductance": "10 nS",
}
_BY_SYMBOL = {symbol: unit for unit in UNITS for symbol in unit.symbols}
_BY_WORD = {word: unit for unit in UNITS for word in unit.words}


def find_unit(text: str) -> Scale | None:
    """Return what a unit as typed stands for, or None when it is not in the list."""
    joined = text.replace(" ", "")
    if unit := _named(joined):
        return Scale(unit.dimension, unit.power, 0, unit.pint_name)
    unit = _named(joined[1:])
    if unit and joined[0] in unit.prefixes:
        return Scale(unit.dimension, unit.power, PREFIXES[joined[0]], unit.pint_name)
    for word, power in PREFIX_WORDS.items():
        unit = _BY_WORD.get(joined.casefold().removeprefix(word))
        if unit and unit.prefixes and joined.casefold().startswith(word):
            return Scale(unit.dimension, unit.power, power, unit.pint_name)
    return None


def _named(name: str) -> Unit | None:
    return _BY_SYMBOL.get(name) or _BY_WORD.get(name.casefold())
