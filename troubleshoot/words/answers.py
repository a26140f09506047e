"""The grammar of what a person types back to a check: one line in, one kind of answer out.

Nothing typed raises an error and nothing is guessed: what could mean two things is `Doubtful`,
what means nothing here is `Refused`. Numbers are read by `meter_words`, the rest here.
"""

from __future__ import annotations

import re

from troubleshoot.errors import TypedWrong
from troubleshoot.units.typed import clean, quote
from troubleshoot.words.answer_kinds import (
    COMMANDS,
    Answer,
    Command,
    Doubtful,
    OverLimit,
    Refused,
    Seen,
    Skip,
    Stop,
    Value,
    Wander,
)
from troubleshoot.words.meter_words import read_meter

__all__ = [
    "COMMANDS",
    "EXPECTS",
    "Answer",
    "Command",
    "Doubtful",
    "OverLimit",
    "Refused",
    "Seen",
    "Skip",
    "Stop",
    "Value",
    "Wander",
    "read_answer",
]

EXPECTS = ("voltage", "resistance", "current", "observation")
LONGEST_REASON = 200
_STOP = re.compile(r"(?:stop|unsafe)\b[\s:,.;!-]*(.*)", re.IGNORECASE)
_SKIP = re.compile(r"skip\b[\s:,.;!-]*(.*)", re.IGNORECASE)
_DANGER = re.compile(r"\b(?:fire|smok\w*|burn\w*|fuel|gas|petrol|sparks?)\b", re.IGNORECASE)
_WHY_NOT = re.compile(r"why\s+(?:not|isn't it|is it not)\b[\s:,]*(.+?)[\s?.!]*", re.IGNORECASE)
_SAME_COMMAND = {
    "help": "?", "back": "undo", "q": "quit", "exit": "quit", "what carries it": "carries",
    "what carries this": "carries", "what does it hang on": "carries",
}  # fmt: skip
# Any of a row means the choice in the same row, where exactly one of the row is offered.
_SYNONYMS = (
    ("yes", "y", "yep", "yeah", "yup"),
    ("no", "n", "nope", "nah"),
    ("works now", "works", "it works", "yes", "y", "fixed"),
    ("still wrong", "no change", "same", "no", "n", "still dead"),
    ("not sure", "unsure", "don't know", "dont know", "dunno", "can't tell", "cant tell", "cannot tell"),
)


def read_answer(text: str, expects: str, choices: tuple[str, ...] = ()) -> Answer:
    """Understand one line typed back to a check that `expects` "voltage", "resistance", "current" or "observation".

    Volts and ohms come back as floats in V and ohm; a bare number is in V or ohm. `choices`
    are those of an observation. No `text` whatever raises an error; an unknown `expects` raises ValueError.
    """
    if expects not in EXPECTS:
        raise ValueError(f"expects must be one of {EXPECTS}, not {expects!r}")
    said = quote(text, LONGEST_REASON)
    if stop := _STOP.fullmatch(said):  # before all else, however long or garbled the line is
        return Stop(stop[1])
    try:
        cleaned = clean(text) if not _SKIP.fullmatch(said) else said
    except TypedWrong as error:
        return _refusal(text, error)
    if command := _command(cleaned):
        return command
    if skip := _SKIP.fullmatch(cleaned):
        return Skip(skip[1])
    if not cleaned:
        return Refused("nothing was typed", _hint(expects, choices))
    try:
        answer = _observation(cleaned, choices) if expects == "observation" else read_meter(cleaned, expects)
    except TypedWrong as error:
        return _refusal(text, error)
    return answer


def _command(cleaned: str) -> Command | None:
    if cleaned and set(cleaned) == {"?"}:
        return Command("?")
    if why_not := _WHY_NOT.fullmatch(cleaned):
        return Command("why not", why_not[1])
    word = cleaned.casefold().rstrip(" ?!.")
    name = _SAME_COMMAND.get(word, word)
    return Command(name) if name in COMMANDS else None


def _observation(cleaned: str, choices: tuple[str, ...]) -> Seen | Refused:
    typed = _plain(cleaned)
    meanings = (
        {choice for choice in choices if _plain(choice) == typed},
        _synonyms(typed, choices),
        _numbered(typed, choices) | {choice for choice in choices if _plain(choice).startswith(typed)},
    )
    # The surest way of matching that finds anything decides; what fits two choices is not guessed.
    meant: set[str] = next((found for found in meanings if found), set()) if typed else set()
    if len(meant) == 1:
        return Seen(meant.pop(), quote(cleaned))
    fits = "could be more than one of the answers" if meant else "is none of the answers"
    return Refused(f'"{quote(cleaned)}" {fits}', _hint("observation", choices) + _danger_hint(cleaned))


def _synonyms(typed: str, choices: tuple[str, ...]) -> set[str]:
    return {choice for row in _SYNONYMS if typed in row for choice in choices if _plain(choice) in row}


def _numbered(typed: str, choices: tuple[str, ...]) -> set[str]:
    number = typed.removeprefix("#")
    if not re.fullmatch(r"[1-9][0-9]?", number) or int(number) > len(choices):
        return set()
    return {choices[int(number) - 1]}


def _plain(words: str) -> str:
    return " ".join(words.casefold().replace("’", "'").split()).rstrip(" .!,)")


def _refusal(text: str, error: TypedWrong) -> Refused:
    problem = error.problem
    return Refused(str(problem).removesuffix(f" ({problem.hint})"), problem.hint + _danger_hint(text))


def _danger_hint(text: str) -> str:
    """Somebody who types about smoke instead of a number is told how to stop."""
    return "; if it is unsafe, type: stop, and what is wrong" if _DANGER.search(quote(text)) else ""


def _hint(expects: str, choices: tuple[str, ...]) -> str:
    if expects == "voltage":
        return "type what the meter shows, like 12.4, 450 mV or 2 to 8; or skip and why"
    if expects == "current":
        return "type what the clamp shows, like 6.5 or 450 mA; or skip and why"
    if expects == "resistance":
        return "type what the meter shows, like 0.8, 1.2k or OL; or skip and why"
    numbered = ", ".join(f"{number} {quote(choice)}" for number, choice in enumerate(choices, 1))
    return f"type one of: {numbered}; or skip and why" if numbered else "type skip and why"
