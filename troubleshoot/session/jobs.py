"""The jobs in a folder, for a list to choose from: read from their logs without taking hold of them."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from troubleshoot.session.state import replay


@dataclass(frozen=True)
class Job:
    """One log: what it is about and how far it came. `problem` says why it cannot be read."""

    path: Path
    name: str
    title: str
    begun: str
    answers: int
    stands: Literal["open", "finished", "stopped", "damaged"]
    say: str = ""

    @property
    def is_open(self) -> bool:
        """Whether there is something to go on with."""
        return self.stands in ("open", "stopped")


def list_jobs(folder: Path) -> list[Job]:
    """All jobs of a folder but the shipped examples, the one last worked on first."""
    paths = [path for path in folder.glob("*.jsonl") if not path.name.startswith("example-")]
    return [_read(path) for path in sorted(paths, key=lambda path: -path.stat().st_mtime)]


def _read(path: Path) -> Job:
    try:
        lines = path.read_bytes().split(b"\n")[:-1]  # a torn last line was never acknowledged
        events = [json.loads(line) for line in lines if line.strip()]
        state = replay(events)
        first = events[0]
        title, begun = str(first.get("title") or first["circuit"]), str(first["at"])[:16].replace("T", " ")
    except (OSError, ValueError, KeyError, IndexError, TypeError, AttributeError) as error:
        return Job(path, path.stem, "", "", 0, "damaged", f"cannot be read: {error}")
    stands: Literal["open", "finished", "stopped"] = "open"
    if state.stopped:
        stands = "stopped"
    elif state.concluded:
        stands = "finished"
    return Job(
        path, state.name or path.stem, title, begun, len(state.entries), stands, state.stopped or state.concluded
    )
