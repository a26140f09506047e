"""What all part kinds share: a frozen pydantic model that knows its own anatomy."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field

from troubleshoot.parts.branch import Anatomy
from troubleshoot.units import Measure


def sigma(measure: Measure) -> float:
    """Sigma of ln(x) for a value given with its 95 % band: half of the relative half band."""
    return measure.relative / 2


class Part(BaseModel):
    """A part of the circuit as its file describes it. `name` is its key in the file's `parts`."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)

    name: str = ""
    say: str = Field(default="", description="What to call it in a sentence, without an article.")
    place: str = Field(default="engine bay", description="Where it sits; going elsewhere costs time.")

    @property
    def spoken(self) -> str:
        """Its name in a sentence."""
        return self.say or self.name.replace("_", " ")

    def anatomy(self) -> Anatomy:
        """Terminals, branches, devices and bad modes. Node names are `part.terminal`."""
        raise NotImplementedError
