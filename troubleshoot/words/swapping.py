"""Sentences for a known good part put in to try: what to do, what to mind, what comes after each outcome. Common
practice, no source."""

from __future__ import annotations

from troubleshoot.circuit.circuit import Circuit

CAUTION = "What it feeds may start at once: hands, hair and leads clear."

FUEL_CAUTION = (
    "A pump that starts builds pressure at once: only with every fuel line closed and dry, and where no fuel smells; "
    "else stop here."
)

FUSE_CAUTION = (
    "The same rating, never a larger one, and nothing else in its place. Face away as the key goes on. Should it blow, "
    "no second one: where a wire touches metal it sparks each time."
)


def say_exchange(circuit: Circuit, name: str) -> str:
    """The old part out, a known good one in."""
    part = circuit.named_parts[name]
    if part.spare == "fuse":
        return f"Key off: put a new fuse of the same rating in place of the {part.spoken}, once."
    return (
        f"Key off: pull the {part.spoken} and push a known good one home in its place; its numbers and the drawing on "
        "its case are the same, or it is not tried."
    )


def say_tried(circuit: Circuit) -> str:
    """What to look at then."""
    loads = " and ".join(f"the {circuit.named_parts[load].spoken}" for load in circuit.loads)
    if len(circuit.loads) == 1:
        return f"Does {loads} now work as it should, and rest when it should?"
    return f"Do {loads} now work as they should, and rest when they should?"


def say_cured(circuit: Circuit, name: str, fault: str, works: bool) -> tuple[str, ...]:
    """That the old part was bad, and stays out; `fault`, its likeliest one, in words."""
    part = circuit.named_parts[name]
    stays = f"the {'new' if part.spare == 'fuse' else 'good'} one stays in"
    if not works:
        return (f"The old {part.spoken} was bad by all that was read ({fault}): {stays}. Something else is wrong "
                "beside it, which comes next.",)  # fmt: skip
    if part.spare == "fuse":
        return (f"That was it, for now: {stays}. But a fuse seldom blows for nothing: find out why.",)
    return (
        f"That was it: the old {part.spoken} (likeliest: {fault}); {stays}, and what follows proves it.",
        f"It is no proof of the old one by itself: pulling and pushing moves the contacts of the socket too. To be "
        f"sure, put the old one back once: if the fault comes back with it, it was the {part.spoken}; if not, look at "
        "the socket for a spread or green contact.",
    )  # fmt: skip


def say_unproved(circuit: Circuit, name: str, p: float) -> str:
    """That it works with the good part in, where what was read since does not prove the repair; `p`: that nothing else
    is wrong."""
    return (
        f"With another {circuit.named_parts[name].spoken} in it works, and no more than that is proved: it is "
        f"{p:.0%} sure that nothing else is wrong. Should it come back, the contacts that were moved come first."
    )


def say_not_cured(circuit: Circuit, name: str, outcome: int) -> tuple[str, ...]:
    """What to do with the good part where the old one is not what was wrong; `outcome`: 0 works now, 1 still wrong, 2
    blown again."""
    part = circuit.named_parts[name]
    if outcome == 2:
        return ("No second fuse now: something behind it takes too much. Leave the blown one in its place; what "
                "follows is done with that.",)  # fmt: skip
    back = f"Put the old {part.spoken} back before the next check: one change at a time"
    if outcome == 1:
        return (f"{back}. (A good one left in does no harm, unless two things are wrong.)",)
    return (
        f"That alone does not say that it was the {part.spoken}: its contacts were moved too, it may have worked "
        f"before, or a fault that comes and goes has left. {back}; if the fault comes back with it, it was that.",
    )  # fmt: skip
