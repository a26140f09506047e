"""The questions that end in a circuit file, as data: which come next follows from the answers so far.

Left of `builder_wiring`, which makes the circuit of the answers. Both front ends show these and pass on what is typed.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

Kind = Literal["one", "many", "words", "amps", "fuse", "wire", "seconds"]
Told = Mapping[str, str]

UNKNOWN = "unknown"
NONE = "none"
SAME = "same"


@dataclass(frozen=True)
class Choice:
    """One answer to choose: `value` for the program, `say` for the eye."""

    value: str
    say: str


@dataclass(frozen=True)
class Question:
    """One question. `kind` says what may be typed; `default` is what Enter alone means, "" where it means nothing."""

    id: str
    kind: Kind
    text: str
    choices: tuple[Choice, ...] = ()
    note: str = ""
    default: str = ""


DONT_KNOW = Choice(UNKNOWN, "don't know")
LOADS = {
    "fuel_pump": "a fuel pump", "pump": "another pump", "fan": "a radiator fan", "horn": "a horn", "lamp": "a lamp",
}  # fmt: skip
COIL, CONTACT = ("86", "85"), ("30", "87")
SOURCES = {
    "battery": "constant feed: live with the key off",
    "15": "ignition switch 15: live with the key on, also while cranking",
    "acc": "ignition switch, accessory: dead while cranking",
    "50": "ignition switch 50: live only while cranking",
    "15+50": "15 and 50 of the ignition switch, joined",
}
ENDS = {
    "ground": "ground", "load": "the load's feed wire", "load_minus": "the load's ground wire",
    "controller": "the controller's output", "switch_ground": "a switch that gives it ground",
    "switch_feed": "a switch that gives it a feed", "oil": "the common terminal P of an oil-pressure switch",
    NONE: "nothing: no wire on it",
}  # fmt: skip
WIRE_NOTE = "As far as you know, like: red/white 14 AWG 1.2 m. Enter for don't know."
FUSE_NOTE = "Its rating, and how far it is from where its feed begins, like: 15 A 0.5 m. Or: none, ? for don't know."


def is_on(told: Told, value: str) -> bool:
    """Whether some blade goes there."""
    return any(told.get(f"at.{number}") == value for number in numbers(told))


def numbers(told: Told) -> tuple[str, ...]:
    """The stamped numbers of the relay's blades, those of the contact first."""
    if told.get("switching") != "relay":
        return ()
    middle = {"5a": ("87a",), "5b": ("87b",)}.get(told.get("blades", ""), ())
    return (*CONTACT, *COIL, *middle)


def has_key(told: Told) -> bool:
    """Whether there is an ignition switch; in a vehicle there is one where nobody knows."""
    said = told.get("key", "no")
    return said == "yes" or (said == UNKNOWN and told.get("home") == "vehicle")


def has_engine(told: Told) -> bool:
    """Whether there is a starter."""
    return has_key(told) and told.get("engine") in ("yes", UNKNOWN)


def has_switch(told: Told) -> bool:
    """Whether a switch that one operates is in the circuit."""
    blades = is_on(told, "switch_ground") or is_on(told, "switch_feed")
    return blades or told.get("switching") == "switch" or told.get("when") in ("switch", "switch_key")


def load_word(told: Told) -> str:
    """What to call the load."""
    return LOADS.get(told.get("load", ""), "a load").partition(" ")[2]


def questions(told: Told) -> Iterator[Question]:
    """All that is asked as far as the answers go, in order. Some only follow from an answer before them."""
    yield from _about_the_load(told)
    yield from _about_the_vehicle(told)
    yield _one("switching", "What switches it?", {"relay": "a relay", "switch": "a switch alone, no relay"})
    if told.get("switching") == "relay":
        yield from _about_the_relay(told)
    elif told.get("switching") == "switch":
        yield from _about_the_switch(told)
    yield from _about_the_way_back(told)
    yield from _about_cut_offs(told)
    yield from _about_use(told)


def _one(name: str, text: str, choices: Mapping[str, str], note: str = "", unknown: bool = False) -> Question:
    listed = tuple(Choice(value, say) for value, say in choices.items())
    return Question(name, "one", text, (*listed, DONT_KNOW) if unknown else listed, note)


def _yes_no(name: str, text: str, note: str = "") -> Question:
    return _one(name, text, {"yes": "yes", "no": "no"}, note, unknown=True)


def _about_the_load(told: Told) -> Iterator[Question]:
    yield Question("title", "words", "What do you want to call this circuit?", note="Enter for: my circuit.",
                   default="my circuit")  # fmt: skip
    yield _one("load", "What is to work?", LOADS)
    it = load_word(told)
    yield _one(
        "count", f"How many, side by side on the same feed ({it})?", {"1": "one", "2": "two", "3": "three", "4": "four"}
    )
    unit = "How many watts are printed on it" if told.get("load") == "lamp" else "How many amperes does it take"
    yield Question("takes", "amps", f"{unit} ({it}; one of them)?", note="A number with A or W; ? for don't know.")


def _about_the_vehicle(told: Told) -> Iterator[Question]:
    yield _one("home", "Where is it?", {"vehicle": "in a vehicle", "bench": "on a bench, with a battery",
                                        "supply": "on a bench, with a supply that limits its current"})  # fmt: skip
    if told.get("home") == "supply":
        yield Question("limit", "amps", "At how many amperes is the supply's limit set?", note="? for don't know.")
    yield _yes_no("key", "Is there a key (an ignition switch) in it?")
    if not has_key(told):
        return
    yield Question("fuse.key", "fuse", "Which fuse or link is before the ignition switch?", note=FUSE_NOTE)
    if told.get("home") == "vehicle":
        yield _yes_no("engine", "Does the key turn an engine by a starter?")
    if has_engine(told):
        yield _one("prevent", "While one cranks for a reading the engine must not start. How do you prevent it?",
                   {"module": "unplug the ignition module or the ignition coils (no spark)",
                    "fuse": "pull the fuse that feeds ignition or injection alone"},
                   "Pulling an ignition fuse can kill the relay's coil feed too: then it is not this one.",
                   unknown=True)  # fmt: skip


def _about_the_relay(told: Told) -> Iterator[Question]:
    yield _one("blades", "How many blades has the relay? Look at the numbers stamped beside them.",
               {"4": "4: 30, 85, 86, 87", "5a": "5, the middle one is 87a", "5b": "5, the middle one is a second 87"},
               unknown=True)  # fmt: skip
    for number in numbers(told):
        yield from _about_a_blade(told, number)
    yield Question("rating", "amps", "How many amperes is its contact rated for?", note="As printed; ? for don't know.")
    yield _one("coil", "What is inside across its coil? (A small diagram may be printed on the case.)",
               {"none": "nothing", "resistor": "a resistor", "diode": "a diode"}, unknown=True)  # fmt: skip
    if told.get("coil") == "diode":
        yield _one("diode", "At which terminal does that diode have its band (the end that wants the feed)?",
                   {"86": "86", "85": "85"}, unknown=True)  # fmt: skip


def _about_a_blade(told: Told, number: str) -> Iterator[Question]:
    called = "the second 87 (87b)" if number == "87b" else number
    sources = SOURCES if has_key(told) else {"battery": SOURCES["battery"]}
    note = "By the number stamped on the relay, not by its place; as it is wired, even where that looks wrong."
    yield _one(f"at.{number}", f"Where does the wire on {called} go?", {**sources, **ENDS}, note, unknown=True)
    goes = told.get(f"at.{number}", "")
    if goes == "15+50":
        yield _yes_no(f"diodes.{number}", "Is there a diode in each of the two feeds?")
    if goes == "switch_feed":
        yield from _from_what(told, number, "that switch")
    if goes in SOURCES or goes in ("switch_feed", "oil"):
        yield _fuse(told, number, f"Which fuse is between that feed and {called}?")
    if goes == "ground":
        yield _ground(told, number, f"Where is the wire on {called} grounded?")
    if goes == "switch_ground":
        yield _ground(told, number, "Where is that switch grounded?")
    if goes not in ("", NONE, UNKNOWN):
        yield Question(f"wire.{number}", "wire", f"Colour, size and length of the wire on {called}?", note=WIRE_NOTE,
                       default=UNKNOWN)  # fmt: skip


def _from_what(told: Told, place: str, called: str) -> Iterator[Question]:
    sources = [s for s in ("battery", "15", "acc") if s == "battery" or has_key(told)]
    yield _one(f"from.{place}", f"What feeds {called}?", {s: SOURCES[s] for s in sources}, unknown=True)


def fused_before(told: Told, place: str) -> list[str]:
    """The places asked before this one that have a fuse of their own."""
    found = []
    for other in ("switch", *numbers(told), "plus"):
        if other == place:
            break
        if told.get(f"fuse.{other}", NONE) not in (NONE, SAME) and f"at.{other}" in told:
            found.append(other)
    return found


def _fuse(told: Told, place: str, text: str) -> Question:
    before = fused_before(told, place)
    same = f" Or: same, for the fuse of {before[0]}." if before else ""
    return Question(f"fuse.{place}", "fuse", text, note=FUSE_NOTE + same)


def _ground(told: Told, place: str, text: str) -> Question:
    if told.get("home") != "vehicle":
        return Question(f"ground.{place}", "one", text,
                        (Choice("battery", "battery (or supply) negative"), DONT_KNOW))  # fmt: skip
    return _one(f"ground.{place}", text, {"body": "a bolt in the body or frame", "engine": "a bolt in the engine",
                                          "battery": "the battery's negative post"}, unknown=True)  # fmt: skip


def _about_the_switch(told: Told) -> Iterator[Question]:
    it = load_word(told)
    yield _one("side", "On which side is the switch?", {"feed": f"between the feed and the {it}",
                                                        "ground": f"between the {it} and ground"},
               unknown=True)  # fmt: skip
    yield from _from_what(told, "switch", "it")
    yield _fuse(told, "switch", "Which fuse is in that feed?")
    yield Question("wire.switch", "wire", f"Colour, size and length of the wire to the {it}?", note=WIRE_NOTE,
                   default=UNKNOWN)  # fmt: skip


def _about_the_way_back(told: Told) -> Iterator[Question]:
    it = load_word(told)
    known = all(told.get(f"at.{number}", UNKNOWN) != UNKNOWN for number in CONTACT)
    if told.get("switching") == "relay" and not is_on(told, "load") and known:
        sources = {s: SOURCES[s] for s in ("battery", "15", "acc") if s == "battery" or has_key(told)}
        yield _one("plus", f"Where does the {it}'s feed wire come from, then?", {**sources, NONE: ENDS[NONE]},
                   unknown=True)  # fmt: skip
        if told.get("plus") in SOURCES:
            yield _fuse(told, "plus", "Which fuse is in that feed?")
    if not is_on(told, "load_minus"):
        yield _one("minus", f"Where does the {it}'s other wire go?", {"ground": "ground", NONE: ENDS[NONE]},
                   unknown=True)  # fmt: skip
        if told.get("minus") in ("ground", UNKNOWN):
            yield _ground(told, "load", f"Where is the {it} grounded?")
    yield Question("wire.minus", "wire", f"Colour, size and length of the {it}'s ground wire?", note=WIRE_NOTE,
                   default=UNKNOWN)  # fmt: skip


PLACES = {"load_feed": "the load's feed", "load_ground": "the load's ground", "coil_feed": "the coil's feed",
          "coil_ground": "the coil's ground"}  # fmt: skip


def _place(told: Told, name: str, text: str) -> Question:
    places = PLACES if told.get("switching") == "relay" else {k: v for k, v in PLACES.items() if "load" in k}
    return _one(name, text, places, unknown=True)


def _about_cut_offs(told: Told) -> Iterator[Question]:
    cut_offs = {"inertia": "an inertia switch (opens in a crash)", "security": "a hidden or security switch"}
    if told.get("switching") == "relay" and has_engine(told) and is_on(told, "load"):
        cut_offs["backup"] = "an oil-pressure switch beside the relay, feeding the load itself"
    yield Question("cut_offs", "many", "Which cut-offs are in it?", tuple(Choice(*each) for each in cut_offs.items()),
                   "Numbers, with spaces between. Enter for none or don't know.", default=NONE)  # fmt: skip
    for name, say in (("inertia", "the inertia switch"), ("security", "the security switch")):
        if name in told.get("cut_offs", "").split():
            yield _place(told, f"cut.{name}", f"Where is {say}?")


def _about_use(told: Told) -> Iterator[Question]:
    if is_on(told, "controller"):
        yield _one("drives", "What does the controller's output give?", {"ground": "ground", "feed": "a feed"},
                   unknown=True)  # fmt: skip
        yield Question("prime", "seconds", f"For how many seconds does it run the {load_word(told)} at key-on?",
                       note="0 for not at all; ? for don't know.")  # fmt: skip
    whens = {"switch": "when a switch is operated, key on or off", "always": "all the time"}
    if has_key(told):
        whens = {"key": "whenever the key is on", "switch_key": "when the key is on and a switch is operated", **whens}
    if has_engine(told):
        whens["cranking"] = "while the engine is turned and runs, not with the key just on"
    if is_on(told, "controller"):
        whens["controller"] = "when the controller says so: some seconds at key-on, then with the engine turning"
    yield _one("when", f"When should the {load_word(told)} work?", whens, unknown=True)
    if has_switch(told):
        yield _one("switch_kind", "What kind of switch is it?", {"toggle": "one that stays (toggle, rocker)",
                   "button": "a button: works while pressed", "thermal": "one that closes with heat"},
                   unknown=True)  # fmt: skip
    placed = is_on(told, "switch_ground") or is_on(told, "switch_feed") or told.get("switching") == "switch"
    if has_switch(told) and not placed:
        yield _place(told, "switch_place", "Where is that switch?")
