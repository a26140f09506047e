"""Where things are on disk: shipped circuits, and where sessions go. The only module that knows.

In a checkout `trees/` and `sessions/` stand beside the package; an installed package carries `trees/` inside
and keeps sessions in the user's state folder.
"""

from __future__ import annotations

import os
from pathlib import Path

from troubleshoot.errors import Problem, TypedWrong

PACKAGE = Path(__file__).resolve().parent


def checkout() -> Path | None:
    """The checkout that this package runs from, if it does."""
    root = PACKAGE.parent
    return root if (root / "pyproject.toml").is_file() and (root / "trees").is_dir() else None


def trees() -> Path:
    """The folder of shipped circuits."""
    root = checkout()
    return root / "trees" if root else PACKAGE / "trees"


def sessions() -> Path:
    """Where sessions are kept; made when it is not there."""
    root = checkout()
    state = os.environ.get("XDG_STATE_HOME") or str(Path.home() / ".local" / "state")
    folder = root / "sessions" if root else Path(state) / "troubleshoot" / "sessions"
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def cache() -> Path:
    """Where what can be worked out again is kept: the user's cache folder. It need not be there."""
    home = os.environ.get("XDG_CACHE_HOME", "")
    return (Path(home) if Path(home).is_absolute() else Path.home() / ".cache") / "troubleshoot"


def circuit_path(given: str) -> Path:
    """The circuit file that a person named: a path, or the name of a shipped folder. Raises TypedWrong."""
    path = Path(given)
    if path.exists():
        return path / "circuit.yaml" if path.is_dir() else path
    shipped = trees() / given / "circuit.yaml"
    if "/" not in given and shipped.is_file():
        return shipped
    known = ", ".join(sorted(p.parent.name for p in trees().glob("*/circuit.yaml")))
    raise TypedWrong(
        Problem("no-circuit", f"there is no circuit {given!r}", f"a path to a circuit.yaml, or one of: {known}")
    )


def tree_path(given: str) -> Path:
    """The tree's file that a person named: a path, or the name of a shipped circuit. Raises TypedWrong."""
    path = Path(given)
    if path.exists():
        return path / "tree.yaml" if path.is_dir() else path
    shipped = trees() / given / "tree.yaml"
    if "/" not in given and shipped.is_file():
        return shipped
    known = ", ".join(sorted(p.parent.name for p in trees().glob("*/tree.yaml")))
    raise TypedWrong(Problem("no-tree", f"there is no tree {given!r}", f"a path to a tree.yaml, or one of: {known}"))
