"""What the events of a log add up to: replay is the only way to a state."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.circuit import Circuit
from troubleshoot.circuit.cost import Stand, takes_two
from troubleshoot.circuit.setups import Setup
from troubleshoot.diagnose.evidence import Known
from troubleshoot.session.ability import Can
from troubleshoot.session.log import Event
from troubleshoot.words.say import dimension_of


@dataclass(frozen=True)
class Told:
    """What the person said before the first check."""

    complaint: str = "unsure"
    can: Can = field(default_factory=Can)
    worked: str = "unknown"
    touched: str = ""
    present: str = "unknown"


@dataclass(frozen=True)
class Entry:
    """One answered or skipped check, in the order given."""

    check: Check
    text: str
    known: Known | None
    why_skipped: str = ""
    learned: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Repair:
    """Suspects repaired after so many entries, and what the job was brought back for, "unsure" where it works.
    `by_swap`: by the good part of the next entry, which stays in, and whose answer counts as seen after it."""

    suspects: tuple[str, ...]
    complaint: str
    at: int
    by_swap: bool = False

    @property
    def end(self) -> int:
        """How many entries there are once it is done."""
        return self.at + self.by_swap


@dataclass(frozen=True)
class Led:
    """The walk of a tree has come to a step or verdict, once there were so many entries."""

    to: str
    at: int


@dataclass
class State:
    """The job as it stands."""

    cleared: bool = False
    told: Told | None = None
    entries: list[Entry] = field(default_factory=list)
    stopped: str = ""
    name: str = ""
    layout: str = ""
    notes: list[str] = field(default_factory=list)
    concluded: str = ""
    repairs: list[Repair] = field(default_factory=list)
    tree: str = ""
    led: list[Led] = field(default_factory=list)

    @property
    def can(self) -> Can:
        """What the person can do: as told at first, less what reasons for skipping have taught."""
        able = self.told.can if self.told else Can()
        for entry in self.entries:
            able = able.with_limits(entry.learned)
        return able

    @property
    def evidence(self) -> list[Known]:
        """Answers that count: those since the last repair."""
        return self.answers(self.repairs[-1].at if self.repairs else 0)

    def answers(self, start: int = 0, end: int | None = None) -> list[Known]:
        """Answers among some of the entries."""
        return [entry.known for entry in self.entries[start:end] if entry.known]

    @property
    def complaint(self) -> str:
        """What it is here for: as told at first, or after the last repair."""
        return self.repairs[-1].complaint if self.repairs else self.told.complaint if self.told else "unsure"

    @property
    def skipped(self) -> frozenset[str]:
        """Checks that the person did not do."""
        return frozenset(entry.check.id for entry in self.entries if entry.known is None)

    @property
    def stand(self) -> Stand:
        """Where the last answered check left the person."""
        answered = [entry.check for entry in self.entries if entry.known]
        last = answered[-1] if answered else None
        return Stand(last.setup, last.place or "engine bay") if last else Stand()

    def fetches(self, circuit: Circuit) -> bool:
        """Whether somebody must still be fetched for what takes two: that costs its time once."""
        came = any(entry.known and takes_two(circuit, entry.check) for entry in self.entries)
        return self.can.must_fetch and not came


def replay(events: Iterable[Event]) -> State:
    """Events to state. Raises KeyError or ValueError on events that this version does not know."""
    state = State()
    for event in events:
        apply(state, event)
    return state


def apply(state: State, event: Event) -> None:
    """What one event changes."""
    kind = event["event"]
    if kind in ("answered", "skipped", "undone", "told", "repaired"):
        state.concluded = ""
    if kind == "gate_cleared":
        state.cleared, state.stopped = True, ""
    elif kind == "told":
        can = Can.model_validate(event["can"])
        state.told = Told(event["complaint"], can, event["worked"], event["touched"], event["present"])
    elif kind == "answered":
        check = check_from(event["check"])
        if cured := event.get("cured"):
            state.repairs.append(Repair((cured["suspect"],), cured["complaint"], len(state.entries), True))
        state.entries.append(Entry(check, event["text"], Known(check, **event["known"])))
    elif kind == "skipped":
        why = event["why"] or "no reason given"
        state.entries.append(Entry(check_from(event["check"]), "", None, why, event.get("learned", {})))
    elif kind == "repaired":
        state.repairs.append(Repair(tuple(event["suspects"]), event["complaint"], len(state.entries)))
    elif kind == "undone":
        mended = state.repairs.pop() if state.repairs and state.repairs[-1].end == len(state.entries) else None
        if state.entries and (mended is None or mended.by_swap):
            state.entries.pop()
        state.led = [led for led in state.led if led.at <= len(state.entries)]
    elif kind == "led":
        state.tree = event.get("tree", state.tree)
        state.led.append(Led(event["to"], len(state.entries)))
    elif kind == "stopped":
        state.stopped = event["why"]
    elif kind == "noted":
        state.name, state.layout = event.get("name", state.name), event.get("layout", state.layout)
        state.notes += [event["note"]] if "note" in event else []
    elif kind == "concluded":
        state.concluded = event["say"]
    elif kind not in ("started", "resumed"):
        raise ValueError(f"unknown event {kind!r}")


def expects(check: Check) -> str:
    """Which grammar reads the answer."""
    if check.kind == "observation":
        return "observation"
    return dimension_of(check)


def known_to(known: Known) -> dict[str, Any]:
    """An answer's number or choice as plain data, so that a later grammar cannot reread it otherwise."""
    return {"value": known.value, "sigma": known.sigma, "choice": known.choice, "wanders": known.wanders}


def check_to(check: Check) -> dict[str, Any]:
    """A check as plain data."""
    setup = check.setup
    return {
        "id": check.id, "red": check.red, "black": check.black, "function": check.function, "wire": check.wire,
        "about": check.about, "answers": list(check.answers), "key": setup.key,
        "removed": sorted(setup.removed), "operated": sorted(setup.operated), "fitted": sorted(setup.fitted),
        "warm": setup.warm, "reseated": sorted(setup.reseated), "place": check.place, "again": check.again,
        "watched": check.watched,
    }  # fmt: skip


def check_from(data: dict[str, Any]) -> Check:
    """The check back from plain data; what an older log does not say of a setup was not done."""
    removed, operated, fitted, reseated = (
        frozenset(data.get(name, ())) for name in ("removed", "operated", "fitted", "reseated")
    )
    setup = Setup(data["key"], removed, operated, fitted, data.get("warm", False), reseated)
    return Check(
        data["id"], setup, data["red"], data["black"], data["function"], data.get("wire", ""), data["about"],
        tuple(data["answers"]), data["place"], data["again"], data.get("watched", False),
    )  # fmt: skip
