"""One quantity with its unit, from a circuit file or typed, to a float in SI."""

from __future__ import annotations

from decimal import Decimal

from troubleshoot.units.awg import awg_area_m2, read_awg
from troubleshoot.units.number import may_be_thousands, split_number, to_decimal
from troubleshoot.units.table import EXAMPLES, Scale, find_unit
from troubleshoot.units.typed import clean, quote, wrong

_MAY_BE_NEGATIVE = ("voltage", "current", "temperature", "fraction")
ABSOLUTE_ZERO_C = -273.15
PLUS_MINUS = ("±", "+-", "+/-")


def parse_quantity(text: str, dimension: str) -> float:
    """Return the SI value of `text` ("12,6 V", "90 ohm", "14 AWG"); °C stay °C and % become a fraction.

    `dimension` is a key of `EXAMPLES`. The unit is mandatory and letter case decides between
    milli and mega. Raises TypedWrong with code `missing-unit`, `wrong-unit`, `unknown-unit`, `not-a-number`,
    `doubtful-comma` (`1,234 V`), `negative`, `too-cold`, `not-a-gauge`, `too-long` or `hidden-characters`.
    """
    cleaned = clean(text)
    awg = read_awg(cleaned) if dimension == "area" else None
    if awg is not None:
        return awg_area_m2(awg)
    if any(sign in cleaned for sign in PLUS_MINUS):
        raise wrong("not-a-number", text, "takes one value and no tolerance", f"write it like {EXAMPLES[dimension]}")
    number, unit = split_number(cleaned, exponent_allowed=True)
    if may_be_thousands(number):
        small, large = number.replace(",", "."), number.replace(",", "")
        hint = f"write {small} or {large}"
        raise wrong("doubtful-comma", text, "the comma may be decimal or mark thousands", hint)
    value = float(to_decimal(number) * unit_scale(unit, dimension, text).factor)
    _refuse_impossible(value, dimension, text)
    return value + 0.0  # no minus zero


def unit_scale(unit: str, dimension: str, text: str) -> Scale:
    """Return the scale of a unit as typed, which must be one for `dimension`; raises TypedWrong."""
    example, wanted = f"write it like {EXAMPLES[dimension]}", "wire size" if dimension == "area" else dimension
    if not unit:
        raise wrong("missing-unit", text, f"a {wanted} needs its unit", example)
    scale = find_unit(unit)
    if scale is None:
        raise wrong("unknown-unit", text, f'"{quote(unit)}" is no unit known here', example)
    if scale.dimension != dimension:
        message = f'"{quote(unit)}" is a unit of {scale.dimension}, and a {wanted} is wanted'
        raise wrong("wrong-unit", text, message, example)
    return scale


def last_digit(number: Decimal) -> Decimal:
    """Return the size of the last digit typed: 0.01 for `12.40`, 1 for `12`."""
    exponent = number.as_tuple().exponent
    return Decimal(1).scaleb(int(exponent))


def _refuse_impossible(value: float, dimension: str, text: str) -> None:
    if value < 0 and dimension not in _MAY_BE_NEGATIVE:
        raise wrong("negative", text, f"a {dimension} cannot be negative", f"write {EXAMPLES[dimension]}")
    if dimension == "temperature" and value < ABSOLUTE_ZERO_C:
        raise wrong("too-cold", text, f"colder than {ABSOLUTE_ZERO_C} °C", "write 20 °C")
