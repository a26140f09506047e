"""The number in front of a unit, read strictly: `12.4`, `12,4`, `.5`, `-3`; anything doubtful is refused.

Works on text that `typed.clean` has passed. The result is a Decimal, so that `12.40`
keeps its last digit and `450 mV` becomes the float nearest to 0.45.
"""

from __future__ import annotations

import re
from decimal import Decimal

from troubleshoot.units.typed import wrong

_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)")
_EXPONENT = re.compile(r"[eE][+-]?[0-9]{1,2}(?![0-9.,])")
_MAYBE_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")


def split_number(text: str, exponent_allowed: bool = False) -> tuple[str, str]:
    """Split cleaned text in its number, as typed, and what follows; raises TypedWrong `not-a-number`.

    A comma is a decimal comma. Two separators in one number (`1,234.5`, `12.600,5`) are refused.
    """
    found = _NUMBER.match(text)
    if not found:
        raise wrong("not-a-number", text, "does not begin with a number", "write it like 12.4")
    end = found.end()
    if exponent_allowed and (power := _EXPONENT.match(text, end)):
        end = power.end()
    rest = text[end:].strip()
    if text[end : end + 1] in (".", ","):
        hint = "write no thousands separators, and one decimal point or comma"
        raise wrong("not-a-number", text, "has more than one point or comma in its number", hint)
    if rest[:1] and rest[0] in "0123456789+-.,":
        raise wrong("not-a-number", text, "has more than one number", "write one value, with no spaces in it")
    return text[:end], rest


def to_decimal(number: str) -> Decimal:
    """Convert a number from `split_number`; its exponent is that of the last digit typed."""
    return Decimal(number.replace(",", "."))


def may_be_thousands(number: str) -> bool:
    """True for `1,234`: a decimal comma by our rule, but some write thousands so."""
    return _MAYBE_THOUSANDS.fullmatch(number) is not None
