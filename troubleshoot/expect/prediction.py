"""What the table gives away: what each cell (C of them) expects of a reading, and does in a setup. Values only."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from troubleshoot.solve.linear import Bools, Floats, Ints
from troubleshoot.solve.settle import Signs


@dataclass(frozen=True)
class Prediction:
    """What each cell expects of one reading: `mean` (C,), `slope` (C, unknowns) a sigma, `noise` (C,) sigma.

    Volts, or ln(ohm + 0.5) for ohms. `floats` (C,): the reading is a range there, not a value; where nothing leaks
    it is `dry` (C,), with `dry_slope` (C, unknowns) and `dry_noise` (C,).
    """

    mean: Floats
    slope: Floats
    noise: Floats
    floats: Bools
    dry: Floats
    dry_slope: Floats
    dry_noise: Floats

    @cached_property
    def sigma(self) -> Floats:
        """Total spread of the reading, (C,)."""
        return _spread(self.slope, self.noise)

    @cached_property
    def dry_sigma(self) -> Floats:
        """The same of `dry`, (C,)."""
        return _spread(self.dry_slope, self.dry_noise)

    def dry_density(self, value: float, sigma: float) -> Floats:
        """Density of a reading of its own `sigma` where nothing leaks, (C,)."""
        spread = np.hypot(self.dry_sigma, sigma)
        off = (value - self.dry) / spread
        return np.asarray(np.exp(-0.5 * np.square(off)) / (spread * np.sqrt(2 * np.pi)))

    def rows(self, cells: Ints) -> Prediction:
        """The same for some of the cells."""
        return Prediction(self.mean[cells], self.slope[cells], self.noise[cells], self.floats[cells], self.dry[cells],
                          self.dry_slope[cells], self.dry_noise[cells])  # fmt: skip


@dataclass(frozen=True)
class Stack:
    """Predictions of K readings: `mean`, `noise`, `sigma`, `floats`, all (C, K)."""

    mean: Floats
    noise: Floats
    sigma: Floats
    floats: Bools


@dataclass(frozen=True)
class Behaviour:
    """What each cell's circuit does in one setup, (C,) each: by device name, or for bends by branch name; `amps` are
    those through the bends."""

    pulled: dict[str, Bools]
    chatters: Bools
    bent: dict[str, Signs]
    amps: dict[str, Floats]
    blown: dict[str, Bools]


def _spread(slope: Floats, noise: Floats) -> Floats:
    return np.asarray(np.sqrt(np.square(slope).sum(axis=1) + np.square(noise)))
