"""How the job stands, in ready words: readings beside healthy ranges, the circuit's line with what is known of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from troubleshoot.circuit.checks import Check
from troubleshoot.draw import Path, Row
from troubleshoot.draw.circuit_line import Status
from troubleshoot.expect.table import Table

IN_QUESTION = 0.03
"""Probability from which a stretch is drawn as in question (invented)."""

OUT_OF_QUESTION = 0.003
"""Probability under which a stretch that was likelier at first is drawn as out of question (invented)."""

FELL = 3.0
"""How many times less likely it must have become for that (invented)."""


@dataclass(frozen=True)
class ReadLine:
    """One thing read, seen or skipped, beside what a healthy circuit shows ("" for what is no reading)."""

    short: str
    told: str
    healthy: str = ""
    is_doubted: bool = False

    @property
    def say(self) -> str:
        """In one line."""
        return f"{self.short}: {self.told}" + (f" (healthy {self.healthy})" if self.healthy else "")


def healthy_range(table: Table, check: Check, leads_ohm: float = 0.0) -> tuple[float, float] | None:
    """What a healthy circuit shows, two sigma either way, in V, A or ohm (less the leads', where the person takes
    `leads_ohm` off); None for an observation."""
    if check.kind != "reading":
        return None
    predicted = table.predict(check)
    low, high = (float(predicted.mean[0] + side * 2 * predicted.sigma[0]) for side in (-1, 1))
    if check.is_ohms:
        return tuple(max(0.0, float(np.exp(end) - 0.5) - leads_ohm) for end in (low, high))  # type: ignore[return-value]
    return low, high


def stand_path(
    path: Path,
    reference: str,
    reads: Sequence[tuple[Check, str]],
    before: Mapping[str, float],
    now: Mapping[str, float],
) -> Path:
    """The path with readings against battery negative on its points, drops and standing on what lies between.

    `before` and `now` are fault probabilities without and with the readings, by name; empty before the first one.
    """
    rows = []
    for i, row in enumerate(path.rows):
        if row.node:
            told = [
                f"{text} {c.setup.key}"
                for c, text in reads
                if (c.red, c.black) == (row.node, f"{reference}.neg") and not c.is_ohms and not c.setup.removed
            ]
            rows.append(row.stand(", ".join(told[-2:])))
            continue
        rows.append(_stand_between(row, {path.rows[i - 1].node, path.rows[i + 1].node}, reads, before, now))
    return Path(path.title, tuple(rows))


def _stand_between(
    row: Row, ends: set[str], reads: Sequence[tuple[Check, str]], before: Mapping[str, float], now: Mapping[str, float]
) -> Row:
    drops = [f"{text} across" for c, text in reads if {c.red, c.black} == ends]
    faults = row.part.faults if row.part else ()
    p_before, p_now = (sum(p.get(name, 0.0) for name in faults) for p in (before, now))
    status: Status = ""
    if now and p_now >= IN_QUESTION:
        status = "doubt"
        drops.append(f"in question {p_now:.0%}")
    elif now and p_now < OUT_OF_QUESTION and p_before > FELL * p_now:
        status = "good"
        drops.append("not it")
    return row.stand(", ".join(drops), status)
