"""The pieces of a drawing's plan: items on runs, runs between bars, ties; and what the plan asks of its writer.

Right of `links`, left of `columns`, `heights` and `plan`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal, Protocol

from troubleshoot.draw.links import Link


@dataclass(frozen=True)
class Item:
    """One piece of a run, `height` pixels of it: a wire, a part, a point to touch, or what is told of a bar."""

    kind: Literal["wire", "part", "point", "bar"]
    height: float
    link: Link | None = None
    spot: str = ""
    forward: bool = True


@dataclass
class Run:
    """Links in a row from the bar `top` to the bar `bottom`, in one column; `at` is each item's upper edge."""

    top: str
    bottom: str
    spots: tuple[str, ...]
    links: tuple[Link, ...]
    column: int = 0
    items: list[Item] = field(default_factory=list)
    at: list[float] = field(default_factory=list)


@dataclass
class Bar:
    """What is joined at one spot, from column `first` to column `last`, at `y` pixels from the top."""

    name: str
    rank: float
    first: int = 0
    last: int = 0
    y: float = 0.0
    height: float = 0.0


@dataclass(frozen=True)
class Tie:
    """What moves together: the symbols of one part in several columns, at one height."""

    part: str
    columns: tuple[int, ...]
    y: float


@dataclass(frozen=True)
class Plan:
    """The page: columns wide, `height` pixels high."""

    runs: tuple[Run, ...]
    bars: dict[str, Bar]
    ties: tuple[Tie, ...]
    columns: int
    height: float

    def lowered(self, by: float) -> Plan:
        """The same plan with that many pixels free above it."""
        runs = tuple(replace(run, at=[y + by for y in run.at]) for run in self.runs)
        bars = {name: replace(bar, y=bar.y + by) for name, bar in self.bars.items()}
        ties = tuple(replace(tie, y=tie.y + by) for tie in self.ties)
        return Plan(runs, bars, ties, self.columns, self.height + by)


class Furnishing(Protocol):
    """What the plan has to know of what will be written and drawn."""

    def heavy(self, link: Link) -> bool:
        """Whether it uses up the volts, as a load or a coil does."""

    def moves(self, link: Link) -> bool:
        """Whether it is a contact or works one: such symbols of one part are tied together."""

    def furnish(self, run: Run, tells_top: bool, tells_bottom: bool) -> list[Item]:
        """The items of a run from top to bottom; whether it tells of its top bar, of its bottom bar."""

    def box_height(self, name: str) -> float:
        """Pixels that a boxed part's bar is high."""


def crosses(run: Run, bar: Bar, bars: Mapping[str, Bar]) -> bool:
    """Whether the bar passes through the run's column on its way, without holding it."""
    between = bars[run.top].rank < bar.rank < bars[run.bottom].rank
    return between and bar.first <= run.column <= bar.last
