"""What a verdict says beside the part: that the fault comes and goes and how often it showed, what does not fit the
file and what to look for, and what readings of a sound circuit leave open."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from troubleshoot.diagnose.belief import Belief
from troubleshoot.diagnose.comes_and_goes import came_and_went
from troubleshoot.diagnose.evidence import Known
from troubleshoot.diagnose.undescribed import LOOK_FOR, is_told, misfits
from troubleshoot.expect.cells import NOT_DESCRIBED, NOTHING_WRONG
from troubleshoot.words.chances import say_chance

MOST_TOLD = 3
"""Misfits that are told, the last ones."""

MAY_COME = 0.1
"""Probability of faults that come and go from which "nothing wrong" is said to leave them open (invented)."""


def say_beyond(belief: Belief, faults: Sequence[str], say_known: Callable[[Known], str]) -> str:
    """Sentences to put behind a verdict that these faults lead, each with a space before it; "" where there are none.
    `say_known` tells an answer with its check."""
    said = [_say_coming(belief, faults)]
    said.append(say_hidden(belief, faults[0]))
    if is_told(belief, faults[0]):
        said += _say_unlike(belief, faults[0] == NOT_DESCRIBED.name, say_known)
    return "".join(f" {sentence}" for sentence in said if sentence)


def _say_coming(belief: Belief, faults: Sequence[str]) -> str:
    if faults[0] == NOTHING_WRONG.name and belief.p_coming > MAY_COME:
        return (
            f"A fault that comes and goes stays possible ({say_chance(belief.p_coming)}): what is read while it is "
            "away proves nothing about it. Go on when it is there."
        )
    share, could, showed = came_and_went(belief, faults)
    if share <= 0.5:
        return ""
    times = f"{round(showed)} of {round(could)} answers that could have shown it"
    return (
        f"It comes and goes: it showed in {times}; those taken while it was away prove nothing about it. After the "
        "repair, move the same places again and work it as long as it took to come."
    )


HIDES_OHM = 1e3
"""From here a stretch is as good as open, as a switch that is off would make it (invented)."""


def say_hidden(belief: Belief, fault: str) -> str:
    """What to look for in a wire that a verdict names, "" where it names none: something in it, or joined on to it,
    that the file does not know of reads the same."""
    table = belief.table
    part, _, mode = fault.rpartition(":")
    if part not in {wire.name for wire in table.network.circuit.wires} or mode not in ("bad", "shorted"):
        return ""
    cells = [c for c, name in enumerate(table.names) if name == fault]
    p_open = sum(float(belief.p_cell[c]) for c in cells if (table.cells[c].severity or 0.0) >= HIDES_OHM)
    what = "a switch, an alarm, a splice"
    if mode == "shorted":
        what = "a splice to another load that draws too much"
    elif p_open < 0.5 * float(belief.p_cell[cells].sum()):
        what = "a resistor wire, a joint, a plug"
    return (
        f"Follow the wire from end to end before anything is replaced: what somebody has put into it ({what}) is in no "
        "drawing and reads the same."
    )


def _say_unlike(belief: Belief, leads: bool, say_known: Callable[[Known], str]) -> list[str]:
    found = misfits(belief)
    if not found:
        return []
    head = "" if leads else f"Or the file is not like the car ({say_chance(float(belief.p_cell[-1]))}). "
    told = "; ".join(say_known(misfit.known) for misfit in found[-MOST_TOLD:])
    look = "; ".join(LOOK_FOR[key] for key in dict.fromkeys(misfit.looks_like for misfit in found))
    return [f"{head}What does not fit: {told}. Look for {look}."]
