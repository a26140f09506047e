"""What may be typed for a quantity, as a regular expression: for editors, which check while one types.

Built from the table of units, beside the reader, which alone decides. What matches has a unit that the reader
takes; numbers may still be out of range. Full-width and other odd forms that the reader takes are not matched.
Only what JSON Schema asks of every regular expression is used (specification 2020-12, core, section 6.4).
"""

from __future__ import annotations

from troubleshoot.units.table import PREFIX_WORDS, UNITS, Unit

_DIGITS = r"(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)"
_EXPONENT = r"(?:[eE][-+]?[0-9][0-9]?)?"
_ALSO = {"\u03a9": "[\u03a9\u2126\u03c9]", "\u03bc": "\u03bc\u00b5", "2": "[2²]", "^2": "\\^2"}  # reads the same
_AWG_SIZE = "(?:[1-4]/0|0{1,4}|[1-9]|[1-3][0-9]|40)"


def quantity_pattern(dimension: str, may_be_negative: bool, has_tolerance: bool) -> str:
    """Return the pattern of `12.6 V`, and with `has_tolerance` also of `6 mohm ± 30 %` and `5..8 mohm`."""
    sign, unit = "[-+]?" if may_be_negative else "[+]?", _unit(dimension)
    one = f"{sign}{_DIGITS}{_EXPONENT} *{unit}"
    if not has_tolerance:
        return f"^{one}$"
    band = unit if dimension == "temperature" else f"(?:%|{unit})"
    tolerance = rf" *(?:±|\+/?-) *[+]?{_DIGITS}{_EXPONENT} *{band}"
    span = rf"{sign}{_DIGITS} *(?:{unit})? *\.\. *{sign}{_DIGITS} *{unit}"
    return f"^(?:{one}(?:{tolerance})?|{span})$"


def gauge_pattern() -> str:
    """Return the pattern of a wire size: `14 AWG`, `AWG 2/0`, `2.5 mm²`."""
    awg = _any_case("awg")
    return f"^(?:{awg} ?#?{_AWG_SIZE}|#?{_AWG_SIZE} ?{awg}|[+]?{_DIGITS}{_EXPONENT} *{_unit('area')})$"


def _unit(dimension: str) -> str:
    spellings = [spelling for unit in UNITS if unit.dimension == dimension for spelling in _spellings(unit)]
    return f"(?:{'|'.join(spellings)})"


def _spellings(unit: Unit) -> list[str]:
    words = [_any_case(word) for word in unit.words]
    names = "|".join([*map(_symbol, unit.symbols), *words])
    if not unit.prefixes:
        return [names]
    letters = "".join(_ALSO.get(prefix, prefix) for prefix in unit.prefixes)
    whole_words = [f"(?:{'|'.join(map(_any_case, PREFIX_WORDS))}) *(?:{'|'.join(words)})"] if words else []
    return [f"(?:[{letters}] *)?(?:{names})", *whole_words]


def _symbol(symbol: str) -> str:
    if symbol.endswith("2"):
        raised = "^2" if symbol.endswith("^2") else "2"
        return symbol.removesuffix(raised) + _ALSO[raised]
    return _ALSO.get(symbol, symbol)


def _any_case(word: str) -> str:
    return "".join(_ALSO.get(letter.upper(), f"[{letter}{letter.upper()}]") for letter in word)
