"""Everything that stands one key away from a check: fetched from the session, and written on a sheet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from troubleshoot.draw import Path
from troubleshoot.draw.circuit_line import GaugeUnit
from troubleshoot.session.cards import CheckCard, Line, VerdictCard
from troubleshoot.session.reasons import Why
from troubleshoot.session.session import Session
from troubleshoot.session.standing import ReadLine
from troubleshoot.tui import check_text as write
from troubleshoot.tui.sheet import Sheet

TYPED = (
    ("a number", "12.4   12,4 V   -12.4   450mV   1.2k   OL   about 12   2..8 (it wanders)"),
    ("a word", "for what you see or hear: one of those offered, or its number"),
    ("why not", "why not, and a part: what would have to be true for it to be that after all"),
    ("carries", "which answer what leads now hangs on"),
    ("own", "a reading of your own: 86 cranking 0.2, or 30 to 87 on 0.1"),
    ("skip", "skip, and why"),
    ("stop", "stop, and what is unsafe"),
    ("note", "note, and words to keep with the job"),
)
"""What can be typed at a check, beside the words that do what a key does."""


@dataclass(frozen=True)
class Standing:
    """What the screen shows of the job at one moment. `verdict` and `told` are there once they were asked for."""

    card: CheckCard | VerdictCard
    suspects: list[Line] = field(default_factory=list)
    readings: list[ReadLine] = field(default_factory=list)
    circuit: list[Path] = field(default_factory=list)
    verdict: VerdictCard | None = None
    told: Why | None = None


def standing_of(session: Session, gauge: GaugeUnit) -> Standing:
    """Asks the session for it. Takes tens of milliseconds; not for the screen's own thread."""
    card = session.next_check()
    verdict = card if isinstance(card, VerdictCard) else None
    return Standing(card, session.suspects(), session.read_lines(), session.circuit_lines(gauge), verdict)


def write_pane(sheet: Sheet, pane: str, now: Standing) -> None:
    """One of the panes that a key or a word opens."""
    if pane == "suspects":
        sheet.head("In question now")
        write.write_suspects(sheet, now.suspects)
    elif pane == "readings":
        write.write_readings(sheet, now.readings)
    elif pane == "circuit":
        write.write_circuit(sheet, now.circuit)
    elif pane == "verdict" and now.verdict:
        write.write_verdict(sheet, now.verdict)
    elif pane == "why":
        if isinstance(now.card, CheckCard):
            write.write_why(sheet, now.card)
        else:
            write.write_because(sheet, now.card)
        sheet.gap()
        sheet.say("Type: why not, and a part, for what would have to be true; or: carries, for the answer that it "
                  "hangs on.")  # fmt: skip
    elif pane == "told" and now.told:
        for line in now.told.lines:
            sheet.say(line)
            sheet.gap()


def write_typed(sheet: Sheet, notes: Sequence[str]) -> None:
    """What can be typed, and the notes that were."""
    sheet.gap()
    sheet.head("What can be typed")
    for label, text in TYPED:
        sheet.labelled(label, text)
    if notes:
        sheet.gap()
        sheet.head("Notes")
        for note in notes:
            sheet.say(note, "", "- ", "  ", own=False)
