"""A circuit.yaml on disk to a Circuit that can be wired up, or all its problems at once."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from troubleshoot.circuit.circuit import Circuit
from troubleshoot.errors import Problem
from troubleshoot.files.check import build
from troubleshoot.files.migrate import CURRENT, migrate, tell
from troubleshoot.files.tell import gathered, place
from troubleshoot.files.yaml_text import Document, parse_yaml, read_yaml


def load_circuit(path: Path | str) -> Circuit:
    """Reads a circuit file, or the `circuit.yaml` of a folder; one of an older format as the same of today's.

    Raises FileProblems with every problem found: first of the text, then of the fields, then of how
    the parts fit together.
    """
    return _checked(read_yaml(circuit_file(path)))


def parse_circuit(text: str, file: str = "") -> Circuit:
    """The same from text; `file` is only told in problems."""
    return _checked(parse_yaml(text, file))


def circuit_file(path: Path | str) -> Path:
    """The file meant by a file's or a folder's name."""
    path = Path(path)
    return path / "circuit.yaml" if path.is_dir() else path


def notices(path: Path | str) -> list[Problem]:
    """What the owner of a file that loads should know of it: that it is of an older format, and how it was read.

    The code is `old-format`. Raises FileProblems as far as the text and its format go.
    """
    document = read_yaml(circuit_file(path))
    renames = migrate(document)[1]
    if not renames:
        return []
    message = f"written for format {renames[0].was}, read as format {CURRENT}"
    hint = "; ".join([*map(tell, renames[1:]), "to have it so on disk: troubleshoot update FILE --out NEW"])
    return [Problem("old-format", message, hint, "format", document.file, document.line_of(("format",)))]


def holds(circuit: Circuit) -> str:
    """What a circuit holds, on one line: "16 parts (battery, 3 × fuse, relay ...), 18 wires, none at relay.87a"."""
    kinds = Counter(part.kind.replace("_", " ") for part in circuit.parts.values())
    told = ", ".join(f"{count} × {kind}" if count > 1 else kind for kind, count in sorted(kinds.items()))
    wires = "1 wire" if len(circuit.wires) == 1 else f"{len(circuit.wires)} wires"
    wired = {end for wire in circuit.wires for end in (wire.start, wire.end)}
    bare = [spot for spot, terminal in circuit.terminals.items() if spot not in wired and terminal.name != "metal"]
    return f"{len(circuit.parts)} parts ({told}), {wires}" + (f", none at {', '.join(bare)}" if bare else "")


def _checked(document: Document) -> Circuit:
    document = migrate(document)[0]
    circuit = build(Circuit, document)
    problems = [
        Problem(
            doubt.code,
            doubt.message,
            doubt.hint,
            place(doubt.path, document.data),
            document.file,
            document.line_of(doubt.path),
        )
        for doubt in circuit.doubts()
    ]
    if problems:
        raise gathered(problems)
    return circuit
