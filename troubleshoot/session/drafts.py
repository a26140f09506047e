"""Circuits that somebody began to write down: read from their drafts without taking hold of them."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

DRAFTS = "drafts"
"""The folder of drafts, inside of the one for jobs."""


@dataclass(frozen=True)
class Draft:
    """A draft that was not written yet."""

    path: Path
    title: str
    answers: int


def list_drafts(folder: Path) -> list[Draft]:
    """The drafts of a folder of jobs with an answer and no file yet, the one last worked on first."""
    paths = sorted((folder / DRAFTS).glob("*.jsonl"), key=lambda path: -path.stat().st_mtime_ns)
    found = (_read(path) for path in paths)
    return [draft for draft in found if draft]


def _read(path: Path) -> Draft | None:
    try:
        lines = path.read_bytes().split(b"\n")[:-1]  # a torn last line was never acknowledged
        events: list[Any] = [json.loads(line) for line in lines]
        told = replay_draft(events)
        is_written = any(event["event"] == "written" for event in events)
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None
    return None if is_written or not told else Draft(path, told.get("title", ""), len(told))


def replay_draft(events: list[Any]) -> dict[str, str]:
    """The answers that stand after these events, by question."""
    told: dict[str, str] = {}
    for event in events:
        name, value = event.get("question"), event.get("value")
        if event["event"] == "answered" and isinstance(name, str) and isinstance(value, str):
            told[name] = value
        elif event["event"] == "taken-back" and isinstance(name, str):
            told.pop(name, None)
    return told
