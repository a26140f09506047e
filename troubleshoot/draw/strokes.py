"""The characters that drawings are made of: line drawing, or plain ASCII for a terminal that has no more."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Strokes:
    """One set of characters, each one cell wide."""

    across: str
    down: str
    corners: str
    point: str
    good: str
    doubt: str
    more: str


LINES = Strokes(across="─", down="│", corners="┌┐└┘", point="●", good="║", doubt="?", more="…")
ASCII = Strokes(across="-", down="|", corners="++++", point="o", good="=", doubt="?", more="~")
