"""What is known of a tree, kept beside it: its figures, and the hashes of the circuit, the tree and the program that
they hold for. One whose hashes are not today's is stale, and says so.
"""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

from troubleshoot import places
from troubleshoot.errors import Problem, TypedWrong
from troubleshoot.files.tell import shown_path
from troubleshoot.tree.tree import Tree

ENDING = ".proof.json"
ROOMS = ("units", "parts", "circuit", "files", "solve", "car", "words")
MODULES = ("apart", "branch_words", "closer", "findings", "margins", "prove", "sampled", "tree", "tree_doubts",
           "tree_file", "ways")  # fmt: skip
"""The rooms of the package, and the modules of this one, on which a proof hangs."""

WHAT = {"circuit": "the circuit file", "tree": "the tree", "program": "the program", "guesses": "the guesses file"}


@dataclass(frozen=True)
class Certificate:
    """`hashes` by what they are of (`circuit`, `tree`, `program`, `guesses`), `proved` the figures of the proof, and
    `compiled` those of the compiler: among them `cost_s` and `bound_s`, seconds by its decision table, the least that
    any tree can cost by it."""

    hashes: Mapping[str, str]
    proved: Mapping[str, Any] = field(default_factory=dict)
    compiled: Mapping[str, Any] = field(default_factory=dict)

    @property
    def bound_s(self) -> float | None:
        """Seconds that no tree of this circuit can be under in the mean; None where nobody has worked it out."""
        bound = self.compiled.get("bound_s")
        return float(bound) if isinstance(bound, int | float) else None


def certificate_file(tree: Path) -> Path:
    """Where the certificate of a tree's file is: `tree.yaml` has `tree.proof.json` beside it."""
    return tree.with_name(tree.stem + ENDING)


def hashes_of(tree: Path, circuit: Path, guesses: Path) -> dict[str, str]:
    """Today's hashes."""
    files = {"circuit": circuit, "tree": tree, "guesses": guesses}
    return {**{name: _hash(path.read_bytes()) for name, path in files.items()}, "program": program_hash()}


@lru_cache(maxsize=1)
def program_hash() -> str:
    """Hash of the source that a proof hangs on, whatever version it calls itself."""
    digest = hashlib.sha256()
    rooms = [path for room in ROOMS for path in sorted((places.PACKAGE / room).glob("*.py"))]
    for path in [*rooms, *(places.PACKAGE / "tree" / f"{name}.py" for name in MODULES)]:
        digest.update(path.name.encode() + hashlib.sha256(path.read_bytes()).digest())
    return digest.hexdigest()


def read_certificate(tree: Path) -> Certificate | None:
    """The certificate beside a tree; None where there is none. Raises TypedWrong where it cannot be read."""
    path = certificate_file(tree)
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return None
    except (OSError, ValueError):
        raise _unreadable(path) from None
    kinds = ("hashes", "proved", "compiled")
    if not isinstance(data, dict) or not all(isinstance(data.get(kind, {}), dict) for kind in kinds):
        raise _unreadable(path)
    return Certificate(*({str(name): value for name, value in data.get(kind, {}).items()} for kind in kinds))


def _unreadable(path: Path) -> TypedWrong:
    what = f"{shown_path(path)} is no certificate of a tree"
    return TypedWrong(Problem("bad-certificate", what, "delete it, and prove the tree anew: troubleshoot tree prove"))


def write_certificate(tree: Path, certificate: Certificate) -> Path:
    """Writes it beside the tree, whole or not at all."""
    path = certificate_file(tree)
    text = json.dumps({kind: dict(what) for kind, what in vars(certificate).items()}, indent=1, ensure_ascii=False)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=path.name, suffix=".tmp")
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        file.write(text + "\n")
    os.chmod(name, 0o644)
    os.replace(name, path)
    return path


def bound_for(tree: Path, today: Mapping[str, str], same: Path | None = None) -> float | None:
    """Seconds that no tree of this circuit can be under in the mean: from a tree's own certificate, else from that of
    the tree `same`, made for the same people and complaint; None where nobody has worked it out for today's circuit and
    guesses."""
    for path in [tree, *([same] if same else [])]:
        kept = read_certificate(path)
        if kept and kept.bound_s is not None and all(kept.hashes.get(n) == today[n] for n in ("circuit", "guesses")):
            return kept.bound_s
    return None


def proved(tree: Path, today: Mapping[str, str], figures: Mapping[str, Any]) -> Certificate:
    """The certificate of a tree with these figures of its proof; what the compiler said of this very tree stays."""
    kept = read_certificate(tree)
    same = kept is not None and all(kept.hashes.get(name) == today[name] for name in ("circuit", "guesses", "tree"))
    return Certificate(today, figures, kept.compiled if kept and same else {})


def stale(certificate: Certificate, today: Mapping[str, str]) -> str:
    """In words what has changed since it was made; "" where nothing has."""
    changed = [WHAT[name] for name, value in today.items() if certificate.hashes.get(name) != value]
    if not changed:
        return ""
    listed = " and ".join([", ".join(changed[:-1]), changed[-1]] if changed[1:] else changed)
    verb = "have" if changed[1:] else "has"
    return f"its proof is out of date: {listed} {verb} changed since; prove it anew: troubleshoot tree prove"


def notice_of(tree: Tree, guesses: Path) -> str:
    """What is to be said of a tree's certificate by who uses the tree: that it is out of date, or cannot be read; ""
    where all is well, and where there is none."""
    if tree.file is None:
        return ""
    try:
        kept = read_certificate(tree.file)
    except TypedWrong as error:
        return str(error)
    return stale(kept, hashes_of(tree.file, tree.file.with_name(tree.circuit), guesses)) if kept else ""


def _hash(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()
