"""A quantity that is not known exactly: a value and the half-width of its 95 % band."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from troubleshoot.units.quantity import PLUS_MINUS, parse_quantity
from troubleshoot.units.typed import clean, wrong

_PLUS_MINUS = re.compile(f" ?(?:{'|'.join(map(re.escape, PLUS_MINUS))}) ?")
_RANGE = re.compile(r"(?P<low>[^.]*(?:\.[0-9]+)?[^.]*?) ?\.\. ?(?P<high>[^.]*(?:\.[0-9]+)?[^.]*)")
_ENDS_IN_UNIT = re.compile(r"[^0-9.,]$")


@dataclass(frozen=True)
class Measure:
    """`value` ± `half_band`, both in SI; the band is where about 95 % of cases lie (2 sigma)."""

    value: float
    half_band: float

    @property
    def relative(self) -> float:
        """Return half_band / |value|: 0.3 for `6 mohm ± 30 %`; infinite for an uncertain zero."""
        if self.half_band == 0.0:
            return 0.0
        return self.half_band / abs(self.value) if self.value else math.inf


def parse_measure(text: str, dimension: str) -> Measure:
    """Read `6 mohm`, `6 mohm ± 30 %`, `6 mohm +- 2 mohm` or `5..8 mohm`; raises TypedWrong.

    A percentage is taken of the value, except for fractions, where it means percentage points
    (`50 % ± 10 %` is 40 to 60 %), and temperatures, where it is refused. In a range the
    value is the middle.
    """
    cleaned = clean(text)
    pieces = _PLUS_MINUS.split(cleaned)
    if len(pieces) == 2:
        value = parse_quantity(pieces[0], dimension)
        return Measure(value, _half_band(pieces[1], value, dimension, text))
    if len(pieces) > 2:
        raise wrong("not-a-number", text, "has more than one tolerance", "write 6 mohm ± 30 %")
    if ".." in cleaned:
        return _range(cleaned, dimension)
    return Measure(parse_quantity(cleaned, dimension), 0.0)


def _half_band(tolerance: str, value: float, dimension: str, text: str) -> float:
    is_share = tolerance.endswith("%") and dimension != "fraction"
    if is_share and dimension == "temperature":
        raise wrong("wrong-unit", text, "a share of a temperature means nothing", "write 20 °C ± 10 °C")
    band = parse_quantity(tolerance, "fraction" if is_share else dimension)
    if band < 0:
        raise wrong("negative", text, "a tolerance cannot be negative", "write 6 mohm ± 30 %")
    return band * abs(value) if is_share else band


def _range(cleaned: str, dimension: str) -> Measure:
    found = _RANGE.fullmatch(cleaned)
    if not found or "..." in cleaned:
        raise wrong("not-a-number", cleaned, "is no range", "write 5..8 mohm")
    low_text, high_text = found["low"].rstrip(), found["high"]
    if not _ENDS_IN_UNIT.search(low_text):  # the unit after the upper end counts for both
        low_text += re.sub(r"^[-+0-9.,]*", "", high_text)
    low, high = parse_quantity(low_text, dimension), parse_quantity(high_text, dimension)
    if low > high:
        raise wrong("range-backwards", cleaned, "the range runs from high to low", "write 5..8 mohm")
    return Measure((low + high) / 2, (high - low) / 2)
