"""Chances in words: never 0 % and never 100 %, since neither is ever known."""

from __future__ import annotations


def say_chance(p: float) -> str:
    """A probability as one says it: "35%", "3.2%", "98.6%", "under 0.1%", "over 99.9%"."""
    if p < 0.001:
        return "under 0.1%"
    if p > 0.999:
        return "over 99.9%"
    return f"{p:.0%}" if 0.095 <= p < 0.965 else f"{p:.1%}"


def say_duration(seconds: float) -> str:
    """A time as one says it: "a few seconds", "40 s", "4 min", "2 h"."""
    if seconds < 7.5:
        return "a few seconds"
    if seconds < 90:
        return f"{round(seconds / 5) * 5} s"
    return f"{seconds / 60:.0f} min" if seconds < 5400 else f"{seconds / 3600:.1f} h".replace(".0 h", " h")
