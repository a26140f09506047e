"""What all part kinds share: a frozen pydantic model that knows its own anatomy."""

from __future__ import annotations

from typing import Self

from pydantic import BaseModel, ConfigDict, Field, PrivateAttr

from troubleshoot.parts.branch import Anatomy, Terminal
from troubleshoot.units import Measure


def sigma(measure: Measure) -> float:
    """Sigma of ln(x) for a value given with its 95 % band: half of the relative half band."""
    return measure.relative / 2


def two_pins(plug: str, contact: Measure) -> tuple[Terminal, Terminal]:
    """The feed pin and the ground pin of a load's plug."""
    ohm = (contact.value, sigma(contact))
    return (
        Terminal("plus", "socket", f"feed pin of the {plug}", *ohm),
        Terminal("minus", "socket", f"ground pin of the {plug}", *ohm),
    )


class Part(BaseModel):
    """A part of the circuit as its file describes it. `name` is its key in the file's `parts`, no field."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    _name: str = PrivateAttr(default="")
    say: str = Field(default="", description="What to call it in a sentence, without an article.")
    place: str = Field(default="engine bay", description="Where it sits; going elsewhere costs time.")

    @property
    def name(self) -> str:
        """Its key in the file's `parts`; "" until it is told."""
        return self._name

    def named(self, name: str) -> Self:
        """The same part, told its name."""
        copy = self.model_copy()
        copy._name = name
        return copy

    @property
    def spoken(self) -> str:
        """Its name in a sentence."""
        return self.say or self.name.replace("_", " ")

    @property
    def spare(self) -> str:
        """The kind of thing that one takes a known good one of and plugs in its place, "" where it does not plug in."""
        return ""

    def anatomy(self) -> Anatomy:
        """Terminals, branches, devices and bad modes. Node names are `part.terminal`."""
        raise NotImplementedError
