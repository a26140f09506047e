"""Worked-out tables on disk, so that the second job on a circuit begins at once.

A file's name is a hash of all that its content hangs on (the circuit's and the guesses' text, the meter's accuracy,
the program's own source), so that nothing stale is ever found. Files are numpy's npz of plain arrays: reading one runs
nothing. One that is damaged counts as not there; where nothing can be written, nothing is kept.
"""

from __future__ import annotations

import hashlib
import json
import os
import struct
import tempfile
import zipfile
import zlib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from troubleshoot import places
from troubleshoot.expect.stored import Arrays

MOST_BYTES = 500_000_000
"""Of all files together; beyond, those used longest ago go."""

ROOMS = ("units", "parts", "circuit", "files", "solve", "expect")
"""The rooms of the package on which a table hangs."""

DAMAGED = (
    OSError, ValueError, KeyError, EOFError, TypeError, IndexError, RuntimeError, MemoryError, zipfile.BadZipFile,
    zlib.error, struct.error,
)  # fmt: skip
"""What reading a file that is not there, half-written or tampered with may raise."""


def key_of(*texts: str) -> str:
    """The name under which something is kept that hangs on these texts and on the program."""
    digest = hashlib.sha256(PROGRAM.encode())
    for text in texts:
        digest.update(hashlib.sha256(text.encode()).digest())
    return digest.hexdigest()[:40]


def _program_hash() -> str:
    """Hash of the source on which a table hangs, whatever version it calls itself, and of numpy's version."""
    digest = hashlib.sha256(f"numpy {np.__version__}".encode())
    for room in ROOMS:
        for path in sorted((places.PACKAGE / room).glob("*.py")):
            digest.update(path.name.encode() + hashlib.sha256(path.read_bytes()).digest())
    return digest.hexdigest()


PROGRAM = _program_hash()
"""Taken when the program is loaded: what is on disk later may be another program."""


def load(key: str) -> Arrays | None:
    """The arrays kept under a name; None where there are none or they are damaged."""
    path = places.cache() / f"{key}.npz"
    try:
        with np.load(path, allow_pickle=False) as kept:
            arrays = {name: kept[name] for name in kept.files}
        os.utime(path)
    except DAMAGED:
        return None
    return arrays


def store(key: str, arrays: Mapping[str, npt.NDArray[Any]]) -> None:
    """Keeps arrays under a name, whole or not at all; says nothing where that cannot be done."""
    folder = places.cache()
    written = ""
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        with tempfile.NamedTemporaryFile(dir=folder, prefix="new-", suffix=".part", delete=False) as file:
            written = file.name
            np.savez(file, allow_pickle=False, **dict(arrays))
        os.replace(written, folder / f"{key}.npz")
        _make_room(folder)
    except OSError:
        if written:
            Path(written).unlink(missing_ok=True)


def _make_room(folder: Path) -> None:
    """Removes what was used longest ago until the rest is small enough."""
    files = [(path.stat(), path) for path in folder.iterdir() if path.suffix in (".npz", ".part")]
    total = 0
    for stat, path in sorted(files, key=lambda item: -item[0].st_mtime):
        total += stat.st_size
        if total > MOST_BYTES:
            path.unlink(missing_ok=True)


def groups_to(groups: Iterable[frozenset[str]]) -> Arrays:
    """Groups of names as an array of bytes."""
    text = json.dumps([sorted(group) for group in groups])
    return {"groups": np.frombuffer(text.encode(), dtype=np.uint8)}


def groups_from(arrays: Arrays | None, names: set[str]) -> list[frozenset[str]] | None:
    """Back again; None unless they hold just these names, each once."""
    try:
        groups = [frozenset(group) for group in json.loads(arrays["groups"].tobytes())] if arrays else []
    except DAMAGED:
        return None
    flat = [name for group in groups for name in group]
    return groups if len(flat) == len(names) and set(flat) == names else None
