"""How a branch is written: "12.0 V or more", "under 0.5 V", "0.5 V to 12.0 V", "OL", or an answer of the look."""

from __future__ import annotations

import math
import re
from decimal import Decimal

from troubleshoot.circuit.checks import Check
from troubleshoot.tree.tree import Branch
from troubleshoot.units import parse_quantity
from troubleshoot.units.typed import wrong
from troubleshoot.words.say import dimension_of

_MORE = re.compile(r"(.+?) or more", re.IGNORECASE)
_UNDER = re.compile(r"under (.+)", re.IGNORECASE)
_BETWEEN = re.compile(r"(.+?) to (.+)", re.IGNORECASE)
_BARE = re.compile(r"[-+]?[0-9]+(?:[.,][0-9]+)?")
_UNIT = re.compile(r"[0-9] ?([^0-9 ]+)$")
_UNITS = {
    "voltage": ((Decimal("0.1"), Decimal("0.001"), "mV"), (None, Decimal(1), "V")),
    "current": ((Decimal(1), Decimal("0.001"), "mA"), (None, Decimal(1), "A")),
    "resistance": ((Decimal(1000), Decimal(1), "ohm"), (Decimal(1_000_000), Decimal(1000), "kohm"),
                   (None, Decimal(1_000_000), "Mohm")),
}  # fmt: skip
"""In which unit a limit is written: below a size the first, then the next."""


def read_branch(words: str, to: str, check: Check) -> Branch:
    """A branch of a check from its words. Raises TypedWrong, which says what would be right."""
    words = " ".join(words.split())
    if check.kind == "observation":
        return Branch(words, to, answer=_read_answer(words, check))
    low, high = -math.inf, math.inf
    if words.casefold() == "ol":
        if not check.is_ohms:
            hint = "a range of the meter that is too low; leave it out"
            raise wrong("over-limit", words, f"on {dimension_of(check)} this is no answer", hint)
        return Branch(words, to, over_limit=True)
    if found := _MORE.fullmatch(words):
        low = _read_limit(found[1], check)
    elif found := _UNDER.fullmatch(words):
        high = _read_limit(found[1], check)
    elif found := _BETWEEN.fullmatch(words):
        low, high = _read_limit(_with_unit(found[1], found[2]), check), _read_limit(found[2], check)
        if low >= high:
            raise wrong("backwards", words, "begins where it ends, or above", "write the lower value first")
    else:
        raise wrong("not-a-branch", words, "is no branch of a reading", _forms(check))
    return Branch(words, to, low, high)


def number_branch(check: Check, to: str, low: float = -math.inf, high: float = math.inf) -> Branch:
    """The branch from `low` up to, not including, `high` (SI), in words; the limits are then what the words say.

    ValueError where neither side has a limit.
    """
    dimension = dimension_of(check)
    first, last = (write_limit(value, dimension) if math.isfinite(value) else "" for value in (low, high))
    if not first and not last:
        raise ValueError("a branch needs a limit")
    return read_branch(f"{first} to {last}" if first and last else f"{first} or more" if first else f"under {last}",
                       to, check)  # fmt: skip


def write_limit(value: float, dimension: str) -> str:
    """A limit in round words: "12.0 V", "0.5 V", "50 mV", "200 ohm", "5 kohm", "0.5 A"; no digit is lost."""
    number = Decimal(repr(float(value)))
    size, symbol = next(
        (size, symbol)
        for below, size, symbol in _UNITS[dimension]
        if below is None or (0 < abs(number) < below) or (number == 0 and size == 1)
    )
    scaled = (number / size).normalize()
    places = 1 if symbol in ("V", "A") and number else 0
    exponent = scaled.as_tuple().exponent
    digits = max(places, -exponent if isinstance(exponent, int) else 0)
    return f"{scaled:.{digits}f} {symbol}"


def _read_answer(words: str, check: Check) -> str:
    """The answer of a look as it is offered, whatever its case."""
    found = [answer for answer in check.answers if answer.casefold() == words.casefold()]
    if not found:
        raise wrong("unknown-answer", words, "is none of the answers to this check", _forms(check))
    return found[0]


def _read_limit(text: str, check: Check) -> float:
    return parse_quantity(text, dimension_of(check))


def _with_unit(first: str, last: str) -> str:
    """The first value of a range, with the unit of the last where it has none of its own: "0.5 to 12 V"."""
    unit = _UNIT.search(last)
    return f"{first} {unit[1]}" if unit and _BARE.fullmatch(first.strip()) else first


def _forms(check: Check) -> str:
    """What branches of this check may look like."""
    if check.kind == "observation":
        return f"its answers: {', '.join(check.answers)}"
    few, many = {"voltage": ("0.5 V", "12.0 V"), "current": ("0.5 A", "6.0 A"), "resistance": ("5 ohm", "200 ohm")}[
        dimension_of(check)
    ]
    return f"write '{many} or more', 'under {few}' or '{few} to {many}'" + (", or 'OL'" if check.is_ohms else "")
