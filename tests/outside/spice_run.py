"""Runs ngspice on a netlist's text and reads the volts back, in full double precision.

The binary raw file is read, never the printed table, and never the exit code: ngspice gives 0 for much
that failed, so what is asked for must be found in the file.
"""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from pathlib import Path

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

MOVING_V = 1e-3
"""A node that moves by more than this in the last part of a key state has not come to rest."""


def is_here() -> bool:
    """Whether there is an ngspice on this machine."""
    return shutil.which("ngspice") is not None


def run(text: str, limit_s: float = 300.0) -> dict[str, Floats]:
    """Every saved vector over time, by ngspice's name (`time`, `v(n3)`); raises RuntimeError without any."""
    with tempfile.TemporaryDirectory() as folder:
        deck, raw = Path(folder, "deck.cir"), Path(folder, "deck.raw")
        deck.write_text(text, encoding="ascii", errors="replace")
        told = subprocess.run(
            ["ngspice", "-b", "-r", str(raw), str(deck)], capture_output=True, timeout=limit_s, check=False
        )
        if not raw.exists():
            raise RuntimeError(f"ngspice left no raw file:\n{told.stderr.decode(errors='replace')[-2000:]}")
        return read_raw(raw.read_bytes())


def read_raw(content: bytes) -> dict[str, Floats]:
    """Parses the first plot of a binary raw file."""
    head, _, body = content.partition(b"Binary:\n")
    lines = head.decode("ascii", errors="replace").splitlines()
    facts = dict(line.split(": ", 1) for line in lines if ": " in line)
    variables, points = int(facts["No. Variables"]), int(facts["No. Points"])
    points = points or len(body) // (8 * variables)  # a run that broke off has not written how many
    first = next(i for i, line in enumerate(lines) if line.startswith("Variables:")) + 1
    names = [line.split()[1].lower() for line in lines[first : first + variables]]
    values = np.frombuffer(body[: variables * points * 8], dtype="<f8").reshape(-1, variables)
    return {name: values[:, column] for column, name in enumerate(names)}


def settled(vectors: dict[str, Floats], at_s: float, rest_s: float, names: list[str]) -> list[float] | None:
    """The named nodes at a time; None if one moved in the `rest_s` before, or the run broke off earlier."""
    time = vectors["time"]
    if time[-1] < at_s - 1e-9:
        return None
    last = int(np.searchsorted(time, at_s + 1e-12, side="right"))
    first = int(np.searchsorted(time, at_s - rest_s))
    held = [np.zeros(1) if name == "0" else vectors[f"v({name})"][first:last] for name in names]
    if max(float(np.ptp(v)) for v in held) > MOVING_V:
        return None
    return [float(v[-1]) for v in held]
