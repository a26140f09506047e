"""What is typed at a question of the builder, to the value that is kept; and that value back in words."""

from __future__ import annotations

import re
from collections.abc import Callable

from troubleshoot.errors import Problem, TypedWrong
from troubleshoot.session.builder_parts import RATINGS_A
from troubleshoot.session.builder_questions import NONE, SAME, UNKNOWN, Choice, Question
from troubleshoot.units import Gauge, clean, parse_quantity, quote

LONGEST_TITLE = 60
LARGEST_A, LARGEST_S, LONGEST_M, LARGEST_M2 = 500.0, 60.0, 50.0, 120e-6
FOOT_M = 0.3048
_DONT_KNOW = ("?", "unknown", "don't know", "dont know", "no idea", "dk")
_NONE = ("none", "no", "nothing", "no fuse")
_NUMBER = r"[0-9]+(?:[.,][0-9]+)?"
_GAUGE = re.compile(rf"\b(?:[0-9]/0|{_NUMBER}) ?(?:awg|mm2|mm²|mm\^2)(?![a-z0-9])", re.I)
_LENGTH = re.compile(rf"(?<![\w.,])(?P<number>{_NUMBER}) ?(?P<unit>cm|mm|m|ft|feet|foot)(?![a-z0-9²^])", re.I)
_ARTICLE = re.compile(r"\b(?:an?|the) ")
_COLOUR = re.compile(r"[^\W\d_]+(?:[ /-][^\W\d_]+){0,3}")


def read_value(question: Question, text: str) -> str:
    """The value that is meant. Raises TypedWrong for what is no answer to this question."""
    words = clean(text)
    if not words and question.default:
        return question.default
    if not words:
        raise _wrong(text, "nothing was typed", _hint(question))
    return _READ[question.kind](question, words)


def say_value(question: Question, value: str) -> str:
    """A value in words."""
    if value == UNKNOWN:
        return "don't know"
    if question.kind == "one":
        return next((choice.say for choice in question.choices if choice.value == value), value)
    if question.kind == "many":
        said = [choice.say for choice in question.choices if choice.value in value.split()]
        return ", ".join(said) or "none"
    if value in (NONE, SAME):
        return "none" if value == NONE else "the same fuse"
    if question.kind == "fuse":
        rating, _, far = value.partition("|")
        return f"{rating} A" + (f", {far} from where its feed begins" if far else "")
    if question.kind == "wire":
        return ", ".join(piece for piece in value.split("|") if piece)
    return f"{value} s" if question.kind == "seconds" else value


def fits(question: Question, value: str) -> bool:
    """Whether a kept value is an answer to this question: one changed before it may have taken its choice away."""
    if question.kind == "one":
        return value in {choice.value for choice in question.choices}
    if question.kind == "many":
        return value == NONE or set(value.split()) <= {choice.value for choice in question.choices}
    if value == UNKNOWN:
        return question.kind != "words"
    try:
        typed = value if question.kind in ("words", "amps", "seconds") else value.replace("|", " ").strip()
        if question.kind == "fuse" and "|" in value:
            typed = value.replace("|", " A ").strip()
        return read_value(question, typed) == value
    except TypedWrong:
        return False


def _wrong(text: str, message: str, hint: str) -> TypedWrong:
    return TypedWrong(Problem("no-answer", message, hint, where=f"'{quote(text)}'" if text else ""))


def _hint(question: Question) -> str:
    if question.kind == "one":
        return f"type a number from 1 to {len(question.choices)}, or the beginning of the words"
    if question.kind == "many":
        return f"type one or more numbers from 1 to {len(question.choices)}, or Enter"
    return {
        "words": "type a few words",
        "amps": "type a number with its unit, like 6 A or 55 W, or ? for don't know",
        "fuse": "type its rating like 15 A, perhaps with a length like 0.5 m; or none, or ? for don't know",
        "wire": "type what you know, like red/white 14 AWG 1.2 m, or Enter for don't know",
        "seconds": "type a number, like 2, or ? for don't know",
    }[question.kind]


def pick(choices: tuple[Choice, ...], words: str) -> Choice | None:
    """The choice that a number, its words, their beginning or some of them mean; None where that is none or several."""
    folded = words.casefold()
    if folded.isdecimal() and len(folded) < 3 and 0 < int(folded) <= len(choices):
        return choices[int(folded) - 1]
    if folded in _DONT_KNOW:
        return next((choice for choice in choices if choice.value == UNKNOWN), None)
    folded = _ARTICLE.sub("", folded)
    says = [(choice, _ARTICLE.sub("", choice.say.casefold())) for choice in choices]
    for meant in (str.__eq__, str.startswith, _has_words):
        found = [choice for choice, say in says if meant(say, folded)]
        if found:
            return found[0] if len(found) == 1 else None
    return None


def _has_words(say: str, typed: str) -> bool:
    """Whether all of the typed words begin words of it."""
    words = re.findall(r"[\w']+", say)
    return all(any(word.startswith(each) for word in words) for each in re.findall(r"[\w']+", typed) or ["-"])


def _one(question: Question, words: str) -> str:
    choice = pick(question.choices, words)
    if choice is None:
        raise _wrong(words, "that is none of the answers", _hint(question))
    return choice.value


def _many(question: Question, words: str) -> str:
    if words.casefold() in (*_NONE, *_DONT_KNOW):
        return NONE
    found = [pick(question.choices, word) for word in words.replace(",", " ").split()]
    values = [choice.value for choice in found if choice]
    if len(values) < len(found):
        raise _wrong(words, "not every one of these is an answer", _hint(question))
    return " ".join(dict.fromkeys(values))


def _words(question: Question, words: str) -> str:
    if not any(character.isalnum() for character in words) or len(words) > LONGEST_TITLE:
        raise _wrong(words, f"that is no name of up to {LONGEST_TITLE} characters", _hint(question))
    return words


def _amps(question: Question, words: str) -> str:
    """ "6 A" or "55 W"; a bare number is amperes, for a lamp watts."""
    if words.casefold() in _DONT_KNOW:
        return UNKNOWN
    bare = "W" if "watts" in question.text else "A"
    has_unit = any(character.isalpha() for character in words)
    unit = "W" if words.casefold().rstrip("s").endswith(("w", "watt")) else "A" if has_unit else bare
    value = _quantity(question, words if has_unit else f"{words} {bare}", "power" if unit == "W" else "current")
    if not 0 < value <= (LARGEST_A if unit == "A" else 12 * LARGEST_A):
        raise _wrong(words, "that is no current or power that a load here takes", _hint(question))
    return f"{value:g} {unit}"


def _quantity(question: Question, words: str, dimension: str) -> float:
    try:
        return parse_quantity(words, dimension)
    except TypedWrong as error:
        raise _wrong(words, error.problem.message, _hint(question)) from None


def _fuse(question: Question, words: str) -> str:
    """ "15|0.5 m": rating in amperes and the length of its lead."""
    folded = words.casefold()
    if folded in _DONT_KNOW:
        return UNKNOWN
    if folded in _NONE:
        return NONE
    if folded == SAME and "same" in question.note:
        return SAME
    length, rest = _take_length(question, words)
    rating = _amps(question, rest) if rest else ""
    if not rating.endswith(" A"):
        raise _wrong(words, "there is no rating in amperes in it", _hint(question))
    if rest.isdecimal() and float(rest) not in RATINGS_A:
        raise _wrong(
            words, f"a fuse of {rest} A is seldom sold", f"write {rest} A if it is so, or {_hint(question)[5:]}"
        )
    return f"{rating.removesuffix(' A')}|{length}"


def _take_length(question: Question, words: str) -> tuple[str, str]:
    """A length in metres, "" for none, and the words without it."""
    found = _LENGTH.search(words)
    if not found:
        return "", words
    number, unit = found["number"], found["unit"].casefold()
    in_feet = unit.startswith("f")
    metres = _quantity(question, f"{number} {'m' if in_feet else unit}", "length") * (FOOT_M if in_feet else 1.0)
    if not 0 < metres <= LONGEST_M:
        raise _wrong(words, f"a wire here is up to {LONGEST_M:g} m long", _hint(question))
    rest = " ".join(f"{words[: found.start()]} {words[found.end() :]}".split())
    return f"{metres:.3g} m", rest


def _wire(question: Question, words: str) -> str:
    """ "red/white|14 AWG|1.2 m", each of the three perhaps empty."""
    if words.casefold() in _DONT_KNOW:
        return UNKNOWN
    gauge, rest = "", words
    if found := _GAUGE.search(words):
        gauge = found[0]
        try:
            area_m2 = Gauge.read(gauge).area_m2
        except TypedWrong as error:
            raise _wrong(gauge, error.problem.message, _hint(question)) from None
        if not 0.1e-6 <= area_m2 <= LARGEST_M2:
            raise _wrong(gauge, "that is no size of a wire in a vehicle", _hint(question))
        rest = " ".join(f"{words[: found.start()]} {words[found.end() :]}".split())
    length, rest = _take_length(question, rest)
    colour = rest.strip(" ,;").casefold()
    if colour and not _COLOUR.fullmatch(colour):
        raise _wrong(rest, "that is no colour, size (14 AWG, 2.5 mm2) or length (1.2 m)", _hint(question))
    return f"{colour}|{gauge}|{length}" if colour or gauge or length else UNKNOWN


def _seconds(question: Question, words: str) -> str:
    if words.casefold() in _DONT_KNOW:
        return UNKNOWN
    bare = words if any(character.isalpha() for character in words) else f"{words} s"
    value = _quantity(question, bare, "time")
    if not 0 <= value <= LARGEST_S:
        raise _wrong(words, f"a controller does so for up to {LARGEST_S:g} s", _hint(question))
    return f"{value:g}"


_READ: dict[str, Callable[[Question, str], str]] = {
    "one": _one, "many": _many, "words": _words, "amps": _amps, "fuse": _fuse, "wire": _wire, "seconds": _seconds,
}  # fmt: skip
