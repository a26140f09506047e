"""What is asked before the first check, as data: the safety gate, the first questions, what one can do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from troubleshoot.circuit.circuit import Circuit
from troubleshoot.circuit.complaints import complaints_of
from troubleshoot.draw import LAYOUTS
from troubleshoot.parts import Controller, Fuse, GroundBolt, IgnitionSwitch, OilSwitch, Relay, Switch
from troubleshoot.session.ability import Can
from troubleshoot.tui.choice import Option
from troubleshoot.words import say

Kind = Literal["gate", "one", "many", "words"]


@dataclass(frozen=True)
class Asked:
    """One question: `gate` stops the job on a yes, `one` and `many` choose among options, `words` takes free text.

    `marked` is the option that Enter alone takes; -1 where an answer must be given on purpose.
    """

    id: str
    kind: Kind
    text: str
    options: tuple[Option, ...] = ()
    note: str = ""
    at_first: tuple[str, ...] = ()
    marked: int = -1


YES_NO = (Option("no", "no"), Option("yes", "yes"))
KNOWN = (Option("yes", "yes"), Option("no", "no"), Option("unknown", "don't know"))

ABILITIES = tuple(Option(name, say) for name, say in Can.asked().items())
NO_LAYOUT = "none"


def gate_questions() -> list[Asked]:
    """The safety gate."""
    note = say.GENERAL_CAUTION
    return [Asked(f"gate{i}", "gate", text, YES_NO, "" if i else note) for i, text in enumerate(say.SAFETY_QUESTIONS)]


def first_questions(circuit: Circuit) -> list[Asked]:
    """Complaint, history, abilities, what is out of reach, the relay's face."""
    can = Can()
    complaints = tuple(Option(key, say) for key, say in complaints_of(circuit).items())
    return [
        Asked("name", "words", "What do you call this job?", note="The vehicle, the customer; Enter to leave it out."),
        Asked("complaint", "one", "What is the complaint?", complaints),
        Asked("worked", "one", "Did it ever work as it is wired now?", KNOWN, marked=2),
        Asked("touched", "words", "What was touched last, or is not original?", note="Enter for nothing or unknown."),
        Asked("present", "one", "Is the fault there right now?", KNOWN,
              "Readings taken while the fault is away say little about it: try to bring it back first (warm it up, "
              "load it, move the wires).", marked=2),
        Asked("can", "many", "What can you do? A number switches it, Enter goes on.", ABILITIES,
              at_first=tuple(o.value for o in ABILITIES if getattr(can, o.value))),
        Asked("cant_reach", "many", "What can you not get at, or not take out? A number switches it, Enter goes on.",
              (*_reach(circuit), *_fixed(circuit))),
        *_layout(circuit),
    ]  # fmt: skip


def _reach(circuit: Circuit) -> tuple[Option, ...]:
    """Places other than the engine bay, then the parts that are probed."""
    probed = (Controller, Fuse, GroundBolt, IgnitionSwitch, OilSwitch, Relay, Switch)
    parts = {n: p for n, p in circuit.named_parts.items() if isinstance(p, probed) or n in circuit.loads}
    places = dict.fromkeys(p.place for p in parts.values() if p.place != "engine bay")
    return (*(Option(place, f"anything {place}") for place in places),
            *(Option(n, f"{p.spoken} ({p.place})") for n, p in parts.items()))  # fmt: skip


STAYS_IN = "stays in: "
"""Before a part's name where the option is that it does not come out."""


def _fixed(circuit: Circuit) -> tuple[Option, ...]:
    """The relays, which may be soldered or riveted in."""
    return tuple(
        Option(f"{STAYS_IN}{name}", f"{circuit.named_parts[name].spoken}: does not come out (soldered, riveted)")
        for name in circuit.relays
    )


def _layout(circuit: Circuit) -> list[Asked]:
    """How the relay's blades are laid out, so that its face may be drawn; nobody has to know."""
    if not any(isinstance(part, Relay) for part in circuit.parts.values()):
        return []
    return [Asked(
        "layout", "one", "Look at the relay's blades, 87 at the top. Where are the others?",
        (Option(NO_LAYOUT, "I can't see it, or it is another", "Then no face is drawn. Numbers, not places, decide."),
         *(Option(key, layout.say) for key, layout in LAYOUTS.items())),
        "Two layouts are in use, and 30 and 86 change places between them.", marked=0,
    )]  # fmt: skip


def told_of(answers: dict[str, Sequence[str]]) -> dict[str, object]:
    """The answers as the arguments of `Session.tell`."""
    on = set(answers["can"])
    can: dict[str, object] = {option.value: option.value in on for option in ABILITIES}
    can["cant_reach"] = [one for one in answers["cant_reach"] if not one.startswith(STAYS_IN)]
    can["cant_remove"] = [one.removeprefix(STAYS_IN) for one in answers["cant_reach"] if one.startswith(STAYS_IN)]
    return {"complaint": answers["complaint"][0], "can": can, "worked": answers["worked"][0],
            "touched": answers["touched"][0], "present": answers["present"][0]}  # fmt: skip
