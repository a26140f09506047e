"""What is known so far: readings and observations, each as the check and what was answered."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from troubleshoot.circuit.checks import Check
from troubleshoot.solve import meter
from troubleshoot.words.answers import Answer, OverLimit, Seen, Value, Wander


@dataclass(frozen=True)
class Known:
    """One answered check. `value` is on the prediction's scale (volts, or ln(ohm + 0.5)).

    `sigma` is what the answer itself adds: rounding, "about", a range. For an observation `choice` is the
    index of the answer. `wanders` says that the reading would not stand still.
    """

    check: Check
    value: float = 0.0
    sigma: float = 0.0
    choice: int = -1
    wanders: bool = False


def not_yet(checks: Iterable[Check], evidence: Iterable[Known]) -> frozenset[str]:
    """Ids of the checks that want readings first which have not been taken, or which did not turn out so; and of a good
    part put in a second time, which no doubt is worth: a fuse that has blown twice has told all that it can."""
    answered = list(evidence)
    volts = {known.check.first_id: known.value for known in answered if known.choice < 0}
    waiting = [c.id for c in checks if any(not w.low <= volts.get(w.check, -99.0) <= w.high for w in c.after)]
    return frozenset([*waiting, *(known.check.repeated().id for known in answered if known.check.swaps)])


OVER_LIMIT_LN = float(meter.ohms_scale(6e7))
OVER_LIMIT_SIGMA = 1.0
ABOUT_V = 0.3
ABOUT_SHARE = 0.05
"""How far off "about 12" may be: 0.3 V and 5 % (invented)."""


def known_from(check: Check, answer: Answer, leads_ohm: float = 0.0) -> Known:
    """Turns a typed answer into evidence. ValueError when the answer does not fit the check.

    `leads_ohm` is what the person has taken off an ohms reading for the leads: predictions have them in.
    """
    more = leads_ohm if check.is_ohms else 0.0
    if isinstance(answer, Seen):
        return Known(check, choice=check.answers.index(answer.choice))
    if isinstance(answer, OverLimit):
        if not check.is_ohms:
            raise ValueError("OL is no voltage")
        return Known(check, OVER_LIMIT_LN, OVER_LIMIT_SIGMA)
    if isinstance(answer, Wander):
        low, high = _scaled(check, answer.low + more), _scaled(check, answer.high + more)
        # a steady cause lies anywhere in the range
        return Known(check, (low + high) / 2, abs(high - low) / 2, wanders=True)
    if isinstance(answer, Value):
        shown = answer.value + more
        value = _scaled(check, shown)
        rounding = abs(_scaled(check, shown + answer.resolution) - value) / np.sqrt(12)
        about = 0.0
        if answer.about:
            about = ABOUT_SHARE if check.is_ohms else ABOUT_V + ABOUT_SHARE * abs(answer.value)
        return Known(check, value, float(np.hypot(rounding, about)))
    raise ValueError(f"{type(answer).__name__} is no answer to a check")


def _scaled(check: Check, value: float) -> float:
    return float(meter.ohms_scale(max(value, 0.0))) if check.is_ohms else value
