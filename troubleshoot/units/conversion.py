"""Conversion factors that are not powers of ten, from pint; the only file that knows pint.

Pint never sees what people type. It is imported when a minute, an hour or an ampere hour
is first met (about 0.4 s), with definitions of our own (about 10 ms; its default registry
takes 0.3 s). A start that reads volts, ohms, amperes, seconds and metres never pays for it.
"""

from __future__ import annotations

from decimal import Decimal
from functools import cache
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pint

_DEFINITIONS = """
second = [time] = s
minute = 60 * second = min
hour = 60 * minute = h
ampere = [current] = A
ampere_hour = ampere * hour = Ah
"""


@cache
def si_factor(name: str) -> Decimal:
    """Return the exact number of SI root units in one `name` ("minute", "hour", "ampere_hour")."""
    factor, _ = _registry().get_root_units(name)
    return Decimal(str(factor))


@cache
def _registry() -> pint.UnitRegistry[Any]:
    import pint

    return pint.UnitRegistry(_DEFINITIONS.splitlines(), non_int_type=Decimal)
