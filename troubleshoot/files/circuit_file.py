"""A circuit.yaml on disk to a Circuit that can be wired up, or all its problems at once."""

from __future__ import annotations

from pathlib import Path

from troubleshoot.circuit.circuit import Circuit
from troubleshoot.errors import Problem
from troubleshoot.files.check import build
from troubleshoot.files.tell import gathered, place
from troubleshoot.files.yaml_text import Document, parse_yaml, read_yaml


def load_circuit(path: Path | str) -> Circuit:
    """Reads a circuit file, or the `circuit.yaml` of a folder.

    Raises FileProblems with every problem found: first of the text, then of the fields, then of how
    the parts fit together.
    """
    path = Path(path)
    if path.is_dir():
        path = path / "circuit.yaml"
    return _checked(read_yaml(path))


def parse_circuit(text: str, file: str = "") -> Circuit:
    """The same from text; `file` is only told in problems."""
    return _checked(parse_yaml(text, file))


def _checked(document: Document) -> Circuit:
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
