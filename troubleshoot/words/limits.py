"""What a person says that they cannot do: "can't reach the pump", "relay is soldered in", "no ohms", "I'm alone".

Also what is at hand, where that is all that is said: "a clamp", "with a lamp". The grammar of a reason for skipping a
check, of the question before the first one, and of `can:` in a tree's file. Nothing is guessed: a clause that fits no
rule is given back as not understood.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

_NO = r"(?:no|not|without|can'?t|cannot|don'?t have|have no|lack\w*|missing|won'?t)"
_WITH = r"^(?:(?:i )?(?:have|got|with) )?(?:an? |the )?"
_SWITCHES: tuple[tuple[str, dict[str, bool]], ...] = (
    (rf"{_NO}\b.*\b(?:ohms?|ohmmeter|resistance)\b", {"ohms": False}),
    (r"battery\b.*\b(?:must|may|can'?t|cannot|has to)\b.*\b(?:stay|off|disconnected|come)", {"ohms": False}),
    (rf"{_NO}\b.*\blong (?:leads?|wires?)\b|\bleads?\b.*\bshort\b|\bshort leads?\b", {"long_leads": False}),
    (rf"{_NO}\b.*\b(?:min|max|min/max|hold|peak)\b", {"min_max": False}),
    (r"\b(?:lamp|bulb|test ?light) only\b|\bonly (?:a|the|my) (?:\w+ )?(?:lamp|bulb|test ?light)\b", {
        "meter": False, "lamp": True}),
    (rf"{_NO}\b (?:a |any )?(?:multi)?meter\b(?! key)", {"meter": False}),
    (r"\b(?:can|could) (?:fetch|get|call) (?:some(?:body|one)|a (?:helper|mate|friend))\b", {"fetch": True}),
    (r"\b(?:i'?m|i am|work\w*|on my|all) (?:alone|by myself|own)\b|^alone$|\bby myself\b", {
        "helper": False, "fetch": False}),
    (rf"\b(?:nobody|no one|{_NO} (?:helper|mate|one else))\b", {"helper": False, "fetch": False}),
    (rf"{_NO}\b.*\bclamp\b", {"clamp": False}),
    (rf"{_NO}\b.*\b(?:lamp|bulb)\b", {"lamp": False}),
    (rf"{_NO}\b.*\bfused leads?\b", {"fused_leads": False}),
    (rf"{_NO}\b.*\bextension\b", {"extension": False}),
    (rf"{_NO}\b.*\bspares?\b(?! fuse| relay)", {"spare_relay": False, "spare_fuse": False}),
    (rf"{_NO}\b.*\bspare relay", {"spare_relay": False}),
    (rf"{_NO}\b.*\b(?:spare|new) fuse", {"spare_fuse": False}),
    (r"\bspare relay", {"spare_relay": True}),
    (r"\bspare fuse", {"spare_fuse": True}),
    (rf"{_NO}\b.*\blow[- ]impedance\b|{_NO}\b.*\blow[- ]z\b", {"low_impedance": False}),
    (rf"{_WITH}(?:\w+ )?(?:lamp|bulb|test ?light)$", {"lamp": True}),
    (rf"{_WITH}(?:dc )?clamp(?: meter)?$", {"clamp": True}),
    (rf"{_WITH}fused leads?$", {"fused_leads": True}),
    (rf"{_WITH}extension leads?$", {"extension": True}),
    (rf"{_WITH}low[- ]impedance(?: volts)?(?: range)?$", {"low_impedance": True}),
    (rf"{_WITH}(?:helper|mate|friend|somebody|someone)(?: with me| is here)?$", {"helper": True}),
)  # fmt: skip
_FIXED = re.compile(
    r"\b(?:solder\w*|rivet\w*|glued|potted|seized in|stuck in|(?:can'?t|cannot|won'?t|will not|not) "
    r"(?:be )?(?:pull\w*|come out|remov\w*|take\w* (?:it |that )?out|unplug\w*)|"
    r"(?:can'?t|cannot) (?:pull|remove|unplug|take out)|does ?n[o']t come out)\b"
)
_HIDDEN = re.compile(
    r"\b(?:(?:can'?t|cannot|can not|couldn'?t|unable to) (?:\w+ )?(?:reach|get|find|see|touch|access|probe)|"
    r"no (?:way|access)|not (?:reachable|accessible)|inaccessible|out of reach|buried|hidden|behind)\b"
)
_CLAUSES = re.compile(r"\s*(?:[,;.]|\band\b|\bbut\b)\s*")


@dataclass
class Limits:
    """What was understood: `can` the abilities by field, what is out of reach, what does not come out.

    `reach_here` and `fixed_here`: said without a name, so of what the check is about. `unread`: clauses that fit no
    rule.
    """

    can: dict[str, bool] = field(default_factory=dict)
    cant_reach: list[str] = field(default_factory=list)
    cant_remove: list[str] = field(default_factory=list)
    reach_here: bool = False
    fixed_here: bool = False
    unread: list[str] = field(default_factory=list)

    def __bool__(self) -> bool:
        return bool(self.can or self.cant_reach or self.cant_remove or self.reach_here or self.fixed_here)


def read_limits(text: str, parts: Mapping[str, str], places: Sequence[str]) -> Limits:
    """Reads a person's words. `parts`: spoken name by part; `places`: "at the tank", "under the dash"."""
    found = Limits()
    for clause in _CLAUSES.split(text.casefold().replace("’", "'")):
        if clause and not _read(clause, found, parts, places):
            found.unread.append(clause)
    return found


def _read(clause: str, found: Limits, parts: Mapping[str, str], places: Sequence[str]) -> bool:
    """One clause into what was understood; False when it fits nothing."""
    for pattern, means in _SWITCHES:
        if re.search(pattern, clause):
            found.can.update(means)
            return True
    names = parts_named(clause, parts)
    if _FIXED.search(clause):
        found.cant_remove += names
        found.fixed_here |= not names
        return True
    if _HIDDEN.search(clause):
        names += [place for place in places if place.split()[-1] in re.findall(r"\w+", clause)] if not names else []
        found.cant_reach += names
        found.reach_here |= not names
        return True
    return False


def parts_named(clause: str, parts: Mapping[str, str]) -> list[str]:
    """The parts whose names stand in a clause: the longest names first, then a last word that only one has."""
    left = re.findall(r"[a-z0-9]+", clause)
    found: list[str] = []
    called = [(re.findall(r"[a-z0-9]+", spoken.casefold()), name) for name, spoken in parts.items()]
    called += [(name.casefold().split("_"), name) for name in parts]
    for words, name in sorted(called, key=lambda item: -len(item[0])):
        at = _place_of(words, left)
        if at >= 0 and name not in found:
            found.append(name)
            left[at : at + len(words)] = ["" for _ in words]
    lasts = [spoken.casefold().split()[-1] for spoken in parts.values()]
    for name, last in zip(parts, lasts, strict=True):
        if last in left and lasts.count(last) == 1 and name not in found:
            found.append(name)
    return found


def _place_of(called: list[str], words: list[str]) -> int:
    """Where a run of words begins, -1 where it is not."""
    starts = range(len(words) - len(called) + 1)
    return next((i for i in starts if words[i : i + len(called)] == called), -1)
