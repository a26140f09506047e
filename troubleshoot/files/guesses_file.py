"""The guesses file on disk to a Guesses model; the shipped one lies beside this module."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from troubleshoot.circuit.guesses import Guesses
from troubleshoot.files.check import build
from troubleshoot.files.yaml_text import read_yaml

SHIPPED = Path(__file__).with_name("guesses.yaml")


@cache
def load_guesses(path: Path = SHIPPED) -> Guesses:
    """Reads priors and costs. Raises FileProblems."""
    return build(Guesses, read_yaml(path))
