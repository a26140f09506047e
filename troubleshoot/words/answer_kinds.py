"""The kinds of answer that typed words can turn out to be; what `answers.read_answer` returns."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Value:
    """A steady reading: `value` and the size of its last digit, `resolution`, both in V or ohm."""

    value: float
    resolution: float
    about: bool
    text: str


@dataclass(frozen=True)
class OverLimit:
    """The meter showed OL."""

    text: str


@dataclass(frozen=True)
class Wander:
    """A reading that would not settle, between `low` and `high`, in V or ohm."""

    low: float
    high: float
    text: str


@dataclass(frozen=True)
class Seen:
    """An observation: `choice` is one of the choices offered, word for word."""

    choice: str
    text: str


@dataclass(frozen=True)
class Skip:
    """The check is not done, for a reason that may be empty."""

    why: str


@dataclass(frozen=True)
class Stop:
    """Something is unsafe; the job stops here."""

    why: str


@dataclass(frozen=True)
class Command:
    """A wish other than answering: one of `COMMANDS`; `about` is what it names, for those that name something."""

    name: str
    about: str = ""


@dataclass(frozen=True)
class Doubtful:
    """Words that may have meant something else: the question to ask and what to choose from."""

    question: str
    candidates: tuple[Value | OverLimit, ...]
    text: str


@dataclass(frozen=True)
class Refused:
    """Words that could not be understood, with a hint at what would be. Safe to print."""

    message: str
    hint: str


Answer = Value | OverLimit | Wander | Seen | Skip | Stop | Command | Doubtful | Refused
COMMANDS = ("why", "why not", "carries", "repaired", "undo", "?", "verdict", "suspects", "readings", "quit")
