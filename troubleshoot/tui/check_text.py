"""What the working screen writes: a check, a question asked back, an outcome, the verdict, the panes. Sheets only."""

from __future__ import annotations

from collections.abc import Sequence

from troubleshoot.draw import LAYOUTS, draw_face, draw_numbers, draw_path
from troubleshoot.draw import Path as CircuitPath
from troubleshoot.session.cards import CheckCard, Line, Outcome, Question, VerdictCard
from troubleshoot.session.standing import ReadLine
from troubleshoot.session.steps import OnRelay, Steps
from troubleshoot.tui.look import ALARM, HEAD, LOUD, RED_LEAD, STRONG
from troubleshoot.tui.sheet import Sheet

FACE_WIDTH = 33
"""Columns of a relay's face and the gap before it."""

LEFT_OVER = 45
"""Columns that must be left for the words to set the face beside them."""


def write_check(sheet: Sheet, card: CheckCard, layout: str) -> None:
    """What to do now: how things must stand, then the leads or the look, then what is normal and what to mind."""
    if card.steps.again:
        sheet.say(card.steps.again, STRONG)
    has_face = bool(card.steps.on_relays) and layout in LAYOUTS
    beside = has_face and sheet.width >= LEFT_OVER + FACE_WIDTH
    words = Sheet(sheet.look, sheet.width - FACE_WIDTH if beside else sheet.width)
    _write_setup(words, card.steps)
    if card.cautions and not words.roomy:
        count = len(card.cautions)
        words.say(f"Mind {count} caution{'s' if count > 1 else ''} further down.", ALARM)
    _write_leads(words, card)
    for caution in card.cautions:
        words.labelled("Mind", caution)
    if not beside:
        sheet.add(words)
        for relay in card.steps.on_relays:
            write_relay(sheet, relay, layout)
        return
    faces = Sheet(sheet.look, FACE_WIDTH - 2)
    for relay in card.steps.on_relays:
        write_relay(faces, relay, layout)
    sheet.add(words, faces)


def _write_setup(sheet: Sheet, steps: Steps) -> None:
    came = f", coming from {steps.before}" if steps.before else ""
    sheet.labelled("Key", f"{steps.key.removeprefix('key ')}{came}", STRONG)
    if steps.start_prevented:
        sheet.labelled("No start", steps.start_prevented, STRONG)
    if steps.operated:
        sheet.labelled("Switch", "; ".join(steps.operated), STRONG)
    if steps.fitted:
        sheet.labelled("Test", "; ".join(steps.fitted), STRONG)
    sheet.labelled("Out", "; ".join(steps.out) or "nothing: all plugged in and fitted", STRONG)
    if steps.put_back:
        sheet.labelled("Put back", "; ".join(steps.put_back), STRONG)


def _write_leads(sheet: Sheet, card: CheckCard) -> None:
    steps = card.steps
    sheet.gap()
    if steps.look:
        sheet.labelled("LOOK", steps.look, STRONG, LOUD)
        sheet.gap()
        sheet.choices([(answer, "") for answer in card.check.answers], -1)
        return
    if steps.clamp:
        sheet.labelled("CLAMP", f"round {steps.clamp}", STRONG, LOUD)
    else:
        _write_probes(sheet, steps)
    sheet.gap()
    sheet.labelled("Meter", steps.meter, STRONG)
    if steps.hold:
        sheet.labelled("Hold", steps.hold, STRONG)
    if card.say_healthy:
        sheet.labelled("Healthy", card.say_healthy)
    if card.cautions:
        sheet.gap()


def _write_probes(sheet: Sheet, steps: Steps) -> None:
    sheet.lead("RED", steps.red_mark, steps.red, RED_LEAD)
    sheet.lead("BLACK", steps.black_mark, steps.black, LOUD)


def write_relay(sheet: Sheet, relay: OnRelay, layout: str) -> None:
    """The relay's face for a layout that was confirmed, else only its numbers."""
    sheet.gap()
    if layout in LAYOUTS:
        side = "its blades" if relay.on_part else "the wire side of its socket"
        sheet.say(f"{relay.say}, seen from {side}:", own=False)
        sheet.drawing(draw_face(LAYOUTS[layout], relay.numbers, relay.red, relay.black, sheet.look.strokes))
    else:
        sheet.say(f"On the {relay.say}:", own=False)
        sheet.drawing([draw_numbers(relay.numbers, relay.red, relay.black)])
    sheet.say("Numbers, not places, decide.")


def write_question(sheet: Sheet, question: Question) -> None:
    """A value that is doubted, with what it may have meant."""
    sheet.head(question.question)
    sheet.gap()
    sheet.choices([(candidate, "") for candidate in question.candidates], -1)
    sheet.gap()
    sheet.say("Type its number, or the value anew.")


def write_outcome(sheet: Sheet, outcome: Outcome, asked: str) -> None:
    """What the last answer did."""
    sheet.gap()
    compared = f" ({outcome.compared})" if outcome.compared else ""
    sheet.say(f"Noted: {outcome.understood}{compared}, for {asked}.", STRONG)
    for line in outcome.doubted:
        sheet.say(line, ALARM, "! ", "  ")
    if outcome.fell:
        sheet.say("Ruled out, nearly: " + "; ".join(outcome.fell) + ".")
    if outcome.rose:
        sheet.say("More likely now: " + "; ".join(outcome.rose) + ".")
    for line in (*outcome.silent, *outcome.then):
        sheet.say(line)


def write_verdict(sheet: Sheet, card: VerdictCard) -> None:
    """What it is, how sure, what to repair, what proves the repair; what lies behind it once that is worked out."""
    sheet.head("Verdict" if card.sure or not card.repair else "What it looks like")
    sheet.gap()
    sheet.say(card.say, STRONG)
    sheet.gap()
    if not card.sure:
        write_suspects(sheet, card.suspects[:5])
        sheet.gap()
    for text in card.repair:
        sheet.labelled("Repair", text)
    if card.has_further and card.behind:
        sheet.gap()
        sheet.head("Find out why it failed before a new one goes in")
        for cause in card.behind:
            sheet.say(f"{cause.probability:.0%} {cause.say}. Shown by: {cause.proof}", "", "- ", "  ")
    if card.prove:
        sheet.gap()
        sheet.head("These readings must be right after the repair")
        for text in card.prove:
            sheet.say(text, "", "- ", "  ")
    if card.has_further and card.because:
        sheet.gap()
        sheet.head("Why now")
        for text in card.because:
            sheet.say(text)


def write_because(sheet: Sheet, card: VerdictCard) -> None:
    """Why the verdict comes now, and what it hangs on."""
    sheet.head("Why this verdict")
    for text in card.because if card.has_further else ():
        sheet.gap()
        sheet.say(text)


def write_stopped(sheet: Sheet, advice: str) -> None:
    """Something is unsafe."""
    sheet.head(" STOP ", RED_LEAD)
    sheet.gap()
    sheet.say(advice, STRONG)
    sheet.gap()
    sheet.say("The job is kept. When it is made safe, type: go on. The safety questions come again then.")
    sheet.say("Enter alone leaves the job.")


def write_why(sheet: Sheet, card: CheckCard) -> None:
    """Why this check, and what each answer would mean."""
    sheet.head("Why this check")
    sheet.say(card.why)
    sheet.gap()
    sheet.head("What each answer would mean")
    for outcome, faults in card.meanings:
        sheet.say(f"{outcome}:", STRONG)
        for fault in faults:
            sheet.say(fault, "", "  - ", "    ")


def write_suspects(sheet: Sheet, lines: Sequence[Line]) -> None:
    """Each suspect with its probability as number and bar."""
    for line in lines:
        sheet.bar(line.probability, line.say)


def write_readings(sheet: Sheet, lines: Sequence[ReadLine]) -> None:
    """What was read beside what was expected."""
    sheet.head("Read so far", HEAD)
    if not lines:
        sheet.say("Nothing yet.")
    for number, line in enumerate(lines, 1):
        sheet.say(line.short, "", f"{number:>2} ", "   ", own=False)
        told = line.told + (f" (healthy: {line.healthy})" if line.healthy else "")
        sheet.say(told, STRONG, "   ", "   ")
        if line.is_doubted:
            sheet.say("does not fit the rest; take it again another way", "", "   ! ", "     ")


def write_circuit(sheet: Sheet, paths: Sequence[CircuitPath]) -> None:
    """The circuit's line with what is known of it."""
    strokes = sheet.look.strokes
    for stroke, meaning in ((strokes.doubt, "in question"), (strokes.good, "not it, by the readings so far"),
                            (strokes.down, "not known yet")):  # fmt: skip
        sheet.say(meaning, "", f"{stroke} ", "  ")
    for path in paths:
        sheet.gap()
        sheet.head(f"From battery to battery {path.title}")
        sheet.drawing(draw_path(path, min(sheet.width, 78), strokes))
