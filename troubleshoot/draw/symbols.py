"""Which symbol stands for which kind of part; a kind that is not listed is a plain box with its name.

The shapes are the drawing library's own, those of general circuit diagrams. Right of nothing, left of `svg`.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Symbol:
    """`shape` is the name of an element in schemdraw.elements, `options` its settings.

    `says` is written beside it after the part's name. `heavy`: it uses up the volts, as a load or a coil does.
    `moves`: a contact or what works it, so its symbols are tied together.
    """

    shape: str
    says: str = ""
    heavy: bool = False
    moves: bool = False
    options: tuple[tuple[str, bool], ...] = ()
    letter: str = ""


BOX = Symbol("RBox", heavy=True)
CLOSED = (("nc", True),)
BOXED = frozenset({"controller"})
"""Kinds drawn as a box across the page with their pins on its edges."""

SYMBOLS = {
    ("battery", ""): Symbol("Battery"),
    ("supply", ""): Symbol("Battery"),
    ("fuse", ""): Symbol("Fuse"),
    ("fuse", "breaker"): Symbol("Breaker", options=(("dots", False),)),
    ("ground_bolt", ""): Symbol("Dot"),
    ("relay", "coil"): Symbol("Inductor", "coil", heavy=True, moves=True),
    ("relay", "make"): Symbol("Switch", "contacts", moves=True),
    ("relay", "make-87b"): Symbol("Switch", "second contacts", moves=True),
    ("relay", "rest"): Symbol("Switch", "rest contact", moves=True, options=CLOSED),
    ("ignition_switch", ""): Symbol("Switch", moves=True),
    ("pump", ""): Symbol("Source", heavy=True, letter="M"),
    ("fan", ""): Symbol("Source", heavy=True, letter="M"),
    ("fan", "dropper"): Symbol("RBox", "low-speed resistor", heavy=True),
    ("lamp", ""): Symbol("Lamp2", heavy=True),
    ("horn", ""): Symbol("Source", heavy=True, letter="H"),
    ("load", ""): BOX,
    ("diode", ""): Symbol("Diode"),
    ("switch", ""): Symbol("Switch"),
    ("switch", "button"): Symbol("Button"),
    ("switch", "inertia"): Symbol("Switch", options=CLOSED),
    ("switch", "security"): Symbol("Switch", options=CLOSED),
    ("oil_switch", "contact-I"): Symbol("Switch", "run contact", moves=True),
    ("oil_switch", "contact-S"): Symbol("Switch", "start contact", moves=True, options=CLOSED),
    ("starter", "motor"): Symbol("Source", "motor", heavy=True, letter="M"),
    ("starter", "solenoid"): Symbol("Inductor", "solenoid", heavy=True),
    ("alternator", ""): Symbol("Source", heavy=True, letter="G"),
    ("controller", "driver"): Symbol("Switch", "output"),
    ("controller", "supply"): Symbol("RBox", "supply", heavy=True),
}
"""By kind of part and what its inside is called or which style the part has; "" for all others of that kind."""


def symbol_of(kind: str, inside: str, style: str = "") -> Symbol:
    """The symbol for an inside of a part."""
    named = SYMBOLS.get((kind, inside)) or SYMBOLS.get((kind, style))
    return named or SYMBOLS.get((kind, "")) or BOX
