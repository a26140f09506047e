"""Priors, costs and chances of a mistake: what is guessed, each value with its source. One editable file."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field


class Guess(BaseModel):
    """A value and where it comes from; "invented" is an honest source."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    value: float = Field(ge=0)
    source: str = Field(min_length=1)


class Costs(BaseModel):
    """Seconds that each act takes."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    answer: Guess
    reading: Guess
    ohms: Guess
    held: Guess
    look: Guess
    inspect: Guess
    turn_key: Guess
    crank: Guess
    go_elsewhere: Guess
    relay_out_or_in: Guess
    unplug_or_plug: Guess
    fuse_out_or_in: Guess
    battery_off_or_on: Guess
    long_leads: Guess
    wait_for_heat: Guess
    fit_test_load: Guess
    wait_for_warmth: Guess
    clamp: Guess
    operate: Guess
    fetch_helper: Guess = Guess(value=300, source="invented: find somebody, explain, walk back")
    spare_relay: Guess = Guess(value=20, source="invented: fetch a good one, compare numbers and drawing")
    spare_fuse: Guess = Guess(value=10, source="invented: take a new one, read its number")


class Mistakes(BaseModel):
    """Chances that one answer is wrong."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    wrong_reading: Guess
    wrong_look: Guess


class Guesses(BaseModel):
    """The whole file."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    format: int = Field(ge=1, le=1)
    priors: dict[str, Guess]
    costs: Costs
    wrong_repairs: dict[str, Guess] = Field(default_factory=dict)
    mistakes: Mistakes

    def prior(self, key: str) -> float:
        """The weight of a kind of fault; KeyError when the file lacks it."""
        return self.priors[key].value
