"""What a load may be brought for: the complaints, and those that make sense for a circuit."""

from __future__ import annotations

from troubleshoot.circuit.circuit import Circuit

COMPLAINTS = {
    "cranks-no-start": "the engine cranks but does not start",
    "dead": "it does not work at all",
    "dead-while-cranking": "it stops just while cranking",
    "runs-key-off": "it works when it should be off",
    "runs-on": "it works on after it is turned off",
    "weak": "it works, but weakly",
    "blows-fuse": "it blows its fuse",
    "comes-and-goes": "it comes and goes",
    "dies-hot": "it dies when hot",
    "chatters": "the relay chatters or buzzes",
    "unsure": "not sure",
}
"""What a load may be brought for; see `complaints_of` for those of a circuit."""

UNSURE = "unsure"
"""The complaint that says nothing."""

CRANKING_ONLY = ("cranks-no-start", "dead-while-cranking")


def complaints_of(circuit: Circuit) -> dict[str, str]:
    """The complaints that make sense for a circuit, with the words to choose by."""
    names = [circuit.named_parts[name].spoken for name in circuit.loads]
    it = f"the {names[0]}" if len(names) == 1 else "it"
    cranks = "cranking" in circuit.keys
    return {
        key: say.replace("it ", f"{it} ", 1) if key not in ("blows-fuse", "unsure") else say
        for key, say in COMPLAINTS.items()
        if (cranks or key not in CRANKING_ONLY) and (circuit.relays or key != "chatters")
    }
