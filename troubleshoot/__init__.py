"""Finds the fault in a relay-fed vehicle circuit from meter readings, one check at a time.

    from troubleshoot import load_circuit, Session

Names are imported when first used, so that `import troubleshoot` stays quick.
"""

from __future__ import annotations

from typing import Any

__all__ = ["Session", "load_circuit"]


def __getattr__(name: str) -> Any:
    if name == "Session":
        from troubleshoot.session.session import Session

        return Session
    if name == "load_circuit":
        from troubleshoot.files.circuit_file import load_circuit

        return load_circuit
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
