"""Everything that a key does, defined once: keys, footer, help, typed words and the palette come from here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

from textual.binding import Binding, BindingType
from textual.command import DiscoveryHit, Hit, Hits, Provider


@dataclass(frozen=True)
class Deed:
    """One thing that can be done: its key, the word that does the same when typed, and what it is.

    `short` stands in the footer; "" keeps it out of there. `action` is the name of the screen's action method.
    """

    key: str
    word: str
    short: str
    say: str
    action: str

    @property
    def key_name(self) -> str:
        """The key as it is printed on the keyboard."""
        named = {"escape": "Esc", "pageup": "PgUp", "pagedown": "PgDn"}
        return named.get(self.key, self.key.replace("ctrl+", "Ctrl-").replace("f", "F", 1))


KEYS = Deed("f1", "?", "keys", "all keys and words, and what can be typed", "look('keys')")
WHY = Deed("f2", "why", "why", "why this check, and what each answer would mean", "look('why')")
SUSPECTS = Deed("f3", "suspects", "suspects", "who is in question now, with probability", "look('suspects')")
READINGS = Deed(
    "f4", "readings", "readings", "what was read so far, beside what a healthy circuit shows", "look('readings')"
)
CIRCUIT = Deed(
    "f5", "circuit", "circuit", "the circuit as a line, with volts and what is in question", "look('circuit')"
)
UNDO = Deed("f6", "undo", "undo", "take the last answer back", "undo")
SKIP = Deed("f7", "skip", "skip", "not this check; asks for the reason", "skip")
UNSAFE = Deed("f8", "stop", "UNSAFE", "something is unsafe: stops the job and says what to do", "unsafe")
VERDICT = Deed("f9", "verdict", "verdict", "what it looks like now, and what to repair", "look('verdict')")
WAY = Deed("f4", "way", "way", "the way so far through the tree", "look('way')")
LIVE = Deed("f9", "live", "live", "leave the tree: the live diagnosis goes on with what is known", "live")
WHICH = Deed("f3", "which", "", "at a verdict of several: go on to the steps that tell which it is", "which")
CANNOT = Deed("f7", "skip", "can't", "you can't do this one: the live diagnosis goes on from here", "skip")
TAKE_BACK = Deed("f6", "back", "back", "take the last answer back", "undo")
LEAVE = Deed("f10", "quit", "leave", "leave; the job is kept and can be gone on with", "leave")
BACK = Deed("escape", "", "", "back: close what was opened, give up a question", "back")
UP = Deed("pageup", "", "", "scroll up", "page(-1)")
DOWN = Deed("pagedown", "", "", "scroll down", "page(1)")
PALETTE = Deed("ctrl+p", "", "", "choose any of these by name", "app.command_palette")

WORKING = (UNSAFE, WHY, SUSPECTS, READINGS, CIRCUIT, UNDO, SKIP, VERDICT, KEYS, LEAVE, BACK, UP, DOWN, PALETTE)
"""Of the working screen, the most wanted first: that is how the footer fills up."""

WALKING = (UNSAFE, TAKE_BACK, CANNOT, WAY, LIVE, WHICH, KEYS, LEAVE, BACK, UP, DOWN, PALETTE)
"""Of a walk through a tree."""

CHOOSING = (KEYS, LEAVE, BACK, UP, DOWN, PALETTE)
"""Of a screen with choices only."""

ASKING = (UNSAFE, KEYS, LEAVE, BACK, UP, DOWN, PALETTE)
"""Of the first questions."""


def bindings(deeds: Sequence[Deed]) -> list[BindingType]:
    """For a screen's BINDINGS. With priority, so that no focused field can swallow them."""
    return [
        Binding(d.key, d.action, d.short or d.say, show=False, tooltip=d.say, id=f"deed-{d.key}", priority=True)
        for d in deeds
    ]


def footer(deeds: Sequence[Deed], width: int) -> str:
    """As many as fit, in order; F1 tells the rest and is always there."""
    shown = [d for d in deeds if d.short and d is not KEYS]
    text, last = "", f"{KEYS.key_name} {KEYS.short}"
    for deed in shown:
        piece = f"{deed.key_name} {deed.short}  "
        if len(text) + len(piece) + len(last) > width:
            break
        text += piece
    return text + last


def deed_of_word(deeds: Sequence[Deed], typed: str) -> Deed | None:
    """The deed whose word was typed, or the name of its key where there is no such key; and nothing else with it."""
    word = typed.strip().casefold()
    return next((deed for deed in deeds if word and word in (deed.word, deed.key_name.casefold())), None)


class DeedCommands(Provider):
    """The command palette, from the same definitions."""

    def _deeds(self) -> Sequence[Deed]:
        return [deed for deed in getattr(self.screen, "DEEDS", ()) if deed is not PALETTE]

    async def discover(self) -> Hits:
        """All of them, before anything is typed."""
        for deed in self._deeds():
            yield DiscoveryHit(f"{deed.key_name} {deed.say}", partial(self.screen.run_action, deed.action))

    async def search(self, query: str) -> Hits:
        """Those that fit what was typed."""
        matcher = self.matcher(query)
        for deed in self._deeds():
            told = f"{deed.key_name} {deed.say}"
            if (score := matcher.match(told)) > 0:
                yield Hit(score, matcher.highlight(told), partial(self.screen.run_action, deed.action))
