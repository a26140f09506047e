"""American wire gauge: the number as typed, and its cross-section."""

from __future__ import annotations

import math
import re

from troubleshoot.units.typed import wrong

_AWG = re.compile(r"(?:AWG ?#?(?P<after>[0-9/]+)|#?(?P<before>[0-9/]+) ?AWG)", re.IGNORECASE)
_MENTIONS_AWG = re.compile(r"\bAWG|AWG\b|[0-9]AWG", re.IGNORECASE)


def awg_area_m2(number: int) -> float:
    """Return the cross-section in m² of solid wire of an AWG number (0 is 1/0, -1 is 2/0, -2 is 3/0).

    d = 0.127 mm × 92^((36 − n) / 39), area = π d² / 4. Source: ASTM B258.
    """
    diameter_m = 0.127e-3 * 92.0 ** ((36 - number) / 39)
    return float(math.pi * diameter_m**2 / 4)


def read_awg(text: str) -> int | None:
    """Return the AWG number in cleaned text, None if it has no AWG; raises TypedWrong `not-a-gauge`."""
    if not _MENTIONS_AWG.search(text):
        return None
    found = _AWG.fullmatch(text)
    size = (found["after"] or found["before"]) if found else ""
    if re.fullmatch(r"[1-4]/0", size):
        return 1 - int(size[0])
    if re.fullmatch(r"0{1,4}", size):
        return 1 - len(size)
    if re.fullmatch(r"[1-9]|[1-3][0-9]|40", size):
        return int(size)
    raise wrong("not-a-gauge", text, "is no AWG size", "write 14 AWG; sizes go from 4/0 to 40")
