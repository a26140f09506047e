"""What lies between a feed or a ground and a terminal, as it was told: fuses, diodes, bolts, switches, cut-offs.

Right of `builder_questions` and `builder_parts`, left of `builder_wiring`. What nobody told is taken as usual.
"""

from __future__ import annotations

from troubleshoot.session.builder_parts import (
    BOLT,
    DIODE,
    GUESS,
    SWITCH,
    TOLD,
    Copper,
    Lines,
    copper,
    fuse_fields,
    load_amps,
    usual_rating,
)
from troubleshoot.session.builder_questions import (
    COIL,
    CONTACT,
    ENDS,
    NONE,
    PLACES,
    SAME,
    SOURCES,
    UNKNOWN,
    Told,
    fused_before,
    has_key,
    load_word,
)

FEEDS = (*SOURCES, "switch_feed", "oil")
GROUNDS = ("ground", "switch_ground")


class Ways:
    """The answers, the lines made so far, and what lies on the way from a feed or to a ground."""

    def __init__(self, told: Told) -> None:
        self.told = dict(told)
        self.lines = Lines()
        self.count = int(told.get("count", "1"))
        self.amps = self.count * load_amps(told)
        self.switches: list[str] = []
        self.settle()
        self.loads = ["load"] if self.count == 1 else [f"load_{n}" for n in range(1, self.count + 1)]

    # ---- what nobody told

    def settle(self) -> None:
        """Where nobody knows where a blade's wire goes, it goes where it usually does."""
        told = self.told
        for one, other in ((CONTACT[0], CONTACT[1]), (CONTACT[1], CONTACT[0]), (COIL[1], COIL[0]), (COIL[0], COIL[1])):
            if told.get(f"at.{one}") != UNKNOWN:
                continue
            beside = told.get(f"at.{other}", UNKNOWN)
            if one in CONTACT:
                is_load = beside in FEEDS or (beside == UNKNOWN and one == "87")
                self.take(one, "load" if is_load else "battery")
            else:
                is_ground = beside in FEEDS or (beside == UNKNOWN and one == "85")
                self.take(one, "ground" if is_ground else "15" if has_key(told) else "battery")
        for middle in ("87a", "87b"):
            if told.get(f"at.{middle}") == UNKNOWN:
                self.take(middle, NONE)
        it = load_word(told)
        for name, usual, say in (
            ("minus", "ground", f"where the {it}'s other wire goes: taken as to ground"),
            ("plus", "battery", f"where the {it}'s feed comes from: taken as {SOURCES['battery']}"),
            ("side", "feed", f"on which side the switch is: taken as between the feed and the {it}"),
        ):
            if told.get(name) == UNKNOWN:
                told[name] = usual
                self.guess(say)
        for name in [name for name in told if name.startswith("from.") and told[name] == UNKNOWN]:
            told[name] = "15" if has_key(told) else "battery"
            self.guess(f"what feeds the switch: taken as {SOURCES[told[name]]}")

    def take(self, number: str, goes: str) -> None:
        self.told[f"at.{number}"] = goes
        say = SOURCES.get(goes) or ENDS[goes]
        self.guess(f"where the wire on {number} goes: taken as {say}; look before you trust it")

    def guess(self, words: str) -> None:
        if words not in self.lines.guesses:
            self.lines.guesses.append(words)

    # ---- fuses, grounds, switches on the way

    def fused(self, place: str, origin: str, say: str, amps: float, usual_a: float = 0.0) -> str:
        """The terminal behind the fuse of a feed, or the feed itself where there is none."""
        said = self.told.get(f"fuse.{place}", UNKNOWN)
        if said == SAME:
            before = [
                f"fuse_{other}" for other in fused_before(self.told, place) if f"fuse_{other}" in self.lines.parts
            ]
            if before:
                return f"{before[0]}.out"
            said = NONE
        if said == NONE:
            return origin
        rating, far = said.split("|") if "|" in said else ("", "")
        name = self.lines.part(f"fuse_{place}", *fuse_fields(
            say, float(rating) if rating else usual_a or usual_rating(amps), bool(rating)))  # fmt: skip
        if not rating:
            self.guess(f"the {say}: taken as one of {usual_a or usual_rating(amps):g} A; look whether there is one")
        wire = copper(self.told.get(f"wire.{place}", UNKNOWN), amps, "0.3 m")
        lead = Copper(wire.gauge, far or "0.3 m", "", max(wire.tolerance, 0 if far else 70),
                      wire.comment if far else f"length {GUESS}")  # fmt: skip
        self.lines.wire(f"lead_to_{place}_fuse_wire", origin, f"{name}.in", lead)
        return f"{name}.out"

    def origin(self, source: str, place: str) -> str:
        """Where a feed begins."""
        if source == "battery":
            return "battery.pos"
        if source != "15+50":
            return f"ignition.{source}"
        join = self.lines.part(f"join_{place}", f"kind: splice, say: splice of run and start feed at {place}", TOLD)
        thin = Copper("16 AWG", "0.3 m", "", 70, GUESS)
        diodes = self.told.get(f"diodes.{place}", UNKNOWN)
        if diodes == UNKNOWN:
            self.guess("whether diodes are in the joined run and start feeds: taken as none")
        for output, say in (("15", "run"), ("50", "start")):
            start = f"ignition.{output}"
            if diodes == "yes":
                diode = self.lines.part(f"{say}_diode_{place}", DIODE.format(say=f"{say} feed diode"), TOLD)
                self.lines.wire(f"{say}_feed_wire", start, f"{diode}.anode", thin)
                start = f"{diode}.cathode"
            self.lines.wire(f"{say}_join_wire", start, f"{join}.stud", thin)
        return f"{join}.stud"

    def ground(self, place: str, say: str) -> str:
        """Where something is grounded."""
        where = self.told.get(f"ground.{place}", UNKNOWN)
        if where == "battery" or self.told.get("home") != "vehicle":
            return "battery.neg"
        if where == UNKNOWN:
            self.guess(f"where the {say} is: taken as a bolt in the body")
        to = "engine" if where == "engine" else "body"
        comment = GUESS if where == UNKNOWN else f"place {TOLD}, its joint a guess (invented)"
        return f"{self.lines.part(f'bolt_{place}', BOLT.format(say=say, to=to), comment)}.stud"

    def switch(self, name: str, say: str, style: str) -> str:
        if style == UNKNOWN:
            style = "toggle"
        if style in ("toggle", "button", "thermal"):
            self.switches.append(name)
        return self.lines.part(name, SWITCH.format(say=say, style=style), "invented")

    def hand_switch(self) -> str:
        """The switch that one operates; a second one gets a number."""
        kind = self.told.get("switch_kind", UNKNOWN)
        count = len(self.switches)
        say = {"button": "button", "thermal": "thermal switch"}.get(kind, "switch")
        return self.switch(
            "switch" if not count else f"switch_{count + 1}", f"{say} {count + 1}" if count else say, kind
        )

    def cut_offs(self) -> None:
        """What is put in line somewhere, by place; each is used up where that place is built."""
        told = self.told
        self.inline: dict[str, list[str]] = {place: [] for place in PLACES}
        for name, say in (("inertia", "inertia switch"), ("security", "security switch")):
            if name in told.get("cut_offs", "").split():
                where = told.get(f"cut.{name}", UNKNOWN)
                if where == UNKNOWN:
                    self.guess(f"where the {say} is: taken as in {PLACES['load_feed']}")
                place = where if where in PLACES else "load_feed"
                self.inline[place].append(self.switch(name, say, name))
        if "switch_place" in told:
            where = told["switch_place"]
            place = where if where in PLACES else "coil_feed" if told.get("switching") == "relay" else "load_feed"
            self.inline[place].append(self.hand_switch())

    def chain(self, name: str, start: str, place: str, end: str, made: Copper) -> None:
        """Wires from one terminal to another, through what is in line at that place."""
        between = self.inline.get(place, [])
        self.inline[place] = []
        for number, switch in enumerate(between):
            self.lines.wire(name if not number else f"{switch}_wire", start, f"{switch}.in", made)
            start = f"{switch}.out"
            made = Copper(made.gauge, made.length, "", 100, f"length {GUESS}")
        self.lines.wire(name if not between else f"{between[-1]}_on_wire", start, end, made)

    def made(self, place: str, amps: float, length: str) -> Copper:
        return copper(self.told.get(f"wire.{place}", UNKNOWN), amps, length)
