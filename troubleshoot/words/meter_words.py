"""The grammar of a typed meter reading: `12,4 V`, `about 12`, `450mV`, `1.2k`, `OL`, `2 to 8`.

`answers.read_answer` sends cleaned text here. On a 12 V vehicle some readings cannot be: those,
and slips that are common (a point left out, M for m, two dots for one), are asked back.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal

from troubleshoot.units.number import may_be_thousands, split_number, to_decimal
from troubleshoot.units.quantity import last_digit, unit_scale
from troubleshoot.units.show import show
from troubleshoot.units.table import Scale
from troubleshoot.units.typed import quote, wrong
from troubleshoot.words.answer_kinds import Answer, Doubtful, OverLimit, Value, Wander

HIGHEST_LIKELY_V = 20  # a 12 V vehicle with its charger gone wild stays under it (invented)
_HIGHEST_POSSIBLE_V = 60  # two batteries in series to jump-start, a 24 V or 48 V vehicle (invented)
_HIGHEST_SLIP_V = 99_999  # five digits are all that a display has
_ABOUT = re.compile(
    r"(?:about|around|approx(?:\.|imately)?|roughly|circa|ca\.?|nearly|almost|[~≈]) ?(.+)", re.IGNORECASE
)
_ABOUT_AFTER = re.compile(r"(.*?)(?:(?<=[0-9.])[ -]?ish| or so)", re.IGNORECASE)
_WANDERS = re.compile(
    r"(?:it )?(?:wander|var|jump|drift|swing|float|bounce)[a-z]* (?:from |between )?|(?:from|between) ",
    re.IGNORECASE,
)
_END = r"([+-]?(?:[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+))"
_RANGE = re.compile(rf"{_END} ?([^\W\d_]*?) ?(\.\.(?!\.)|-|to|and) ?{_END} ?([^0-9]*)", re.IGNORECASE)
_OVER_WITH_UNIT = re.compile(r"(.*?)(?:[km]? ?(?:ohms?|ω))?")
_OVER = (
    *("ol", "0l", "overlimit", "overload", "overrange", "openline", "opencircuit", "open"),
    *("inf", "infinity", "infinite", "∞"),
)
_BASE_UNIT = {"voltage": "V", "resistance": "ohm", "current": "A"}
HIGHEST_LIKELY_A = 60  # a relay-fed load with a short before its fuse blows (invented)


@dataclass(frozen=True)
class _Typed:
    """One number as typed, its unit, and both together as a Value's parts."""

    number: str
    unit: str
    scale: Scale
    expects: str
    about: bool
    text: str

    @property
    def si(self) -> Decimal:
        return to_decimal(self.number) * self.scale.factor

    def value(self, number: Decimal | None = None, factor: Decimal | None = None) -> Value:
        """Return the Value as typed, or with another number or factor to SI."""
        number = to_decimal(self.number) if number is None else number
        factor = self.scale.factor if factor is None else factor
        resolution = float(last_digit(number) * factor)
        return Value(float(number * factor) + 0.0, resolution, self.about, self.text)


def read_meter(cleaned: str, expects: str) -> Answer:
    """Understand cleaned text as a reading of "voltage" or "resistance"; raises TypedWrong."""
    text = quote(cleaned)
    if _is_over_limit(cleaned):
        if expects == "resistance":
            return OverLimit(text)
        what = "amps" if expects == "current" else "volts"
        hint = f"choose a higher DC {what} range and read again"
        raise wrong("over-limit", cleaned, f"on {what} this means that the range is too low", hint)
    rest, about = _strip_about(cleaned)
    worded = _WANDERS.match(rest)
    after_word = rest[worded.end() :] if worded else rest
    if found := _RANGE.fullmatch(after_word):
        return _wander(found, expects, text, has_word=worded is not None)
    if worded:
        raise wrong("not-a-range", cleaned, "names no lowest and highest value", "type it like: 2 to 8")
    return _one_value(rest, expects, about, text)


def _is_over_limit(cleaned: str) -> bool:
    without_unit = _OVER_WITH_UNIT.fullmatch(cleaned.casefold())
    return without_unit is not None and re.sub(r"[ .]", "", without_unit[1]) in _OVER


def _strip_about(cleaned: str) -> tuple[str, bool]:
    if before := _ABOUT.fullmatch(cleaned):
        return before[1], True
    if after := _ABOUT_AFTER.fullmatch(cleaned):
        return after[1], True
    return cleaned, False


def _one_value(rest: str, expects: str, about: bool, text: str) -> Value | Doubtful:
    rest = re.sub(r"(?<=[^\W\d_])\.$", "", rest)  # a sentence ends in a full stop: "12.4 V."
    if expects == "resistance" and not about and rest in ("1", "1.", "1 ."):
        one = Value(1.0, 1.0, False, text)
        question = "Does the meter read 1 ohm, or is it an older one that shows 1 for over limit (OL)?"
        return Doubtful(question, (one, OverLimit(text)), text)
    typed = _typed(rest, expects, about, text)
    return {"voltage": _doubt_volts, "resistance": _doubt_ohms, "current": _doubt_amps}[expects](typed)


def _typed(rest: str, expects: str, about: bool, text: str, unit_if_none: str = "") -> _Typed:
    number, unit = split_number(rest)
    unit = unit or unit_if_none
    if re.fullmatch(r"[uμmk]? ?v ?(?:ac|~)", unit.casefold()):
        raise wrong("wrong-unit", rest, "AC volts mean nothing here", "set the meter to DC volts and read again")
    if expects == "resistance" and unit in ("k", "K", "M", "m"):
        unit += "ohm"
    scale = unit_scale(unit or _BASE_UNIT[expects], expects, rest)
    if expects == "resistance" and to_decimal(number) < 0:
        hint = "a live circuit does that: switch off, disconnect the battery, read again"
        raise wrong("negative", rest, "ohms below zero are no resistance", hint)
    return _Typed(number, unit, scale, expects, about, text)


def _doubt_volts(typed: _Typed) -> Value | Doubtful:
    if typed.scale.prefix_power > 0:  # nobody reads kilovolts here; M may be a slip for m
        milli, one = Decimal("0.001"), Decimal(1)
        factors = (milli, one) if typed.unit[:1] == "M" else (one, milli)
        return _ask(typed, [typed.value(factor=factor) for factor in factors])
    likely = [reading for reading in _comma_readings(typed) if abs(reading.value) <= HIGHEST_LIKELY_V]
    if len(likely) == 1:
        return likely[0]
    return _ask(typed, likely or _slips(typed))


def _doubt_amps(typed: _Typed) -> Value | Doubtful:
    readings = [r for r in _comma_readings(typed) if abs(r.value) <= HIGHEST_LIKELY_A]
    if len(readings) == 1:
        return readings[0]
    slipped = [] if typed.unit else [typed.value(factor=Decimal("0.001"))]
    return _ask(typed, readings or [*slipped, typed.value()])


def _slips(typed: _Typed) -> list[Value]:
    """Return what too many volts may have been: a point left out, mV, or really so many."""
    if abs(typed.si) > _HIGHEST_SLIP_V:
        return []
    slipped = to_decimal(typed.number)
    while abs(slipped * typed.scale.factor) > HIGHEST_LIKELY_V:
        slipped = slipped.scaleb(-1)
    in_millivolts = [] if typed.unit else [typed.value(factor=Decimal("0.001"))]
    return [typed.value(slipped), *in_millivolts, typed.value()]


def _doubt_ohms(typed: _Typed) -> Value | Doubtful:
    readings = _comma_readings(typed)
    if typed.scale.prefix_power == -3:  # no handheld meter shows milliohms, and M is easily typed m
        readings = [typed.value(factor=Decimal(10**6)), typed.value()]
    return readings[0] if len(readings) == 1 else _ask(typed, readings)


def _comma_readings(typed: _Typed) -> list[Value]:
    """Return the value as typed and, for `1,234`, also with the comma as a thousands mark."""
    readings = [typed.value()]
    if may_be_thousands(typed.number):
        readings.append(typed.value(Decimal(typed.number.replace(",", ""))))
    return readings


def _ask(typed: _Typed, readings: list[Value]) -> Doubtful:
    cause = "can be read in more than one way"
    if typed.expects == "voltage":
        readings = [reading for reading in readings if abs(reading.value) <= _HIGHEST_POSSIBLE_V]
        cause = "is doubtful on a 12 V vehicle"
    if not readings:
        raise wrong("impossible", typed.text, "cannot be on a 12 V vehicle", "read the display and its unit again")
    words = ", ".join(_say(reading.value, typed.expects) for reading in readings)
    either = "Which is it" if len(readings) > 1 else "Is it"
    return Doubtful(f'"{typed.text}" {cause}. {either}: {words}?', tuple(readings), typed.text)


def _say(value: float, expects: str) -> str:
    return show(value, expects, digits=4 if expects == "resistance" else 3)


def _wander(found: re.Match[str], expects: str, text: str, has_word: bool) -> Wander | Doubtful:
    low_number, low_unit, joint, high_number, high_unit = found.groups()
    joint = joint.casefold()
    is_plain_word = joint in ("to", "and")
    if joint == "and" and not has_word:
        raise wrong("not-a-number", text, "has more than one number", "type one value, or: 2 to 8")
    if joint == "-" and (low_number[0] in "+-" or high_number[0] in "+-"):
        raise wrong("not-a-range", text, "has signs that can be read two ways", "type it like: -2 to 8")
    if low_unit and not high_unit:
        raise wrong("missing-unit", text, "has a unit after the first value only", "type it like: 2 V to 8 V")
    high = _typed(f"{high_number} {high_unit}".strip(), expects, False, text)
    low = _typed(f"{low_number} {low_unit or high_unit}".strip(), expects, False, text)
    too_high = expects == "voltage" and max(abs(low.si), abs(high.si)) > HIGHEST_LIKELY_V
    is_backwards = low.si > high.si and not is_plain_word
    if is_backwards or too_high or low.si == high.si:
        return _two_dots_for_one(low, high, is_plain_word)
    if any(may_be_thousands(end.number) for end in (low, high)) or _prefix_is_doubtful(low, high):
        raise wrong("doubtful-range", text, "can be read in more than one way", "type both ends like 2.5 to 8")
    first, second = sorted((float(low.si) + 0.0, float(high.si) + 0.0))
    return Wander(first, second, text)


def _prefix_is_doubtful(low: _Typed, high: _Typed) -> bool:
    powers = {low.scale.prefix_power, high.scale.prefix_power}
    return max(powers) > 0 if low.expects == "voltage" else min(powers) < 0


def _two_dots_for_one(low: _Typed, high: _Typed, is_plain_word: bool) -> Doubtful:
    """Ask whether `12..4` was meant as 12.4; it is never a range from 12 down to 4."""
    are_digits = low.number.lstrip("-").isdigit() and high.number.isdigit()
    slip = Decimal(f"{low.number}.{high.number}") if are_digits and not is_plain_word else None
    if slip is None or (low.expects == "voltage" and abs(slip * high.scale.factor) > HIGHEST_LIKELY_V):
        raise wrong("not-a-range", low.text, "is no range that can be", "type it from low to high, like: 2 to 8")
    meant = high.value(slip)
    question = f'Is "{low.text}" meant as {_say(meant.value, low.expects)}?'
    return Doubtful(question, (meant,), low.text)
