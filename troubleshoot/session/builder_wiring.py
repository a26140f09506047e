"""Answers to the text of a circuit file: what is told is built, also where it is wrong."""

from __future__ import annotations

from dataclasses import dataclass

from troubleshoot.session.builder_parts import (
    CONTROLLER,
    GUESS,
    IGNITION,
    OIL,
    TOLD,
    TURNS,
    VEHICLE,
    Copper,
    copper,
    fuse_fields,
    load_fields,
    quoted,
    relay_fields,
)
from troubleshoot.session.builder_questions import (
    COIL,
    CONTACT,
    NONE,
    PLACES,
    SOURCES,
    UNKNOWN,
    Told,
    has_engine,
    has_key,
    has_switch,
    load_word,
    numbers,
)
from troubleshoot.session.builder_ways import GROUNDS, Ways

COIL_A = 0.2


@dataclass(frozen=True)
class Written:
    """The text of a circuit file, and in words what was taken for what nobody told."""

    text: str
    guesses: tuple[str, ...]


def write_circuit(told: Told) -> Written:
    """The circuit of a whole set of answers."""
    wiring = Wiring(told)
    wiring.build()
    return Written(wiring.text(), tuple(wiring.lines.guesses))


class Wiring(Ways):
    """One circuit in the making."""

    # ---- the whole

    def build(self) -> None:
        """Every part and wire."""
        self._sources()
        self._used = {goes: sum(self.told.get(f"at.{n}") == goes for n in numbers(self.told))
                      for goes in ("load", "load_minus", "controller", "oil")}  # fmt: skip
        self.cut_offs()
        if self.told.get("switching") == "relay":
            self.lines.part("relay", *relay_fields(self.told))
            for number in numbers(self.told):
                self._blade(number)
        else:
            self._switch_alone()
        self._way_back()
        self._loads()
        self._left_over()

    def _sources(self) -> None:
        lines, told = self.lines, self.told
        heavy = "0.3 mohm ± 90 %"
        if told.get("home") == "supply":
            said = told.get("limit", UNKNOWN)
            limit = "10 A" if said == UNKNOWN else f"{said.split()[0]} A"
            fields = f"voltage: 13 V ± 0.5 V, limit: {limit}, internal_resistance: 20 mohm ± 60 %"
            comment = f"limit {GUESS if said == UNKNOWN else TOLD}"
            lines.part("battery", f"kind: supply, say: bench supply, {fields}", comment)
        else:
            lines.part("battery", VEHICLE["battery"], "invented")
        if told.get("home") == "vehicle":
            for name in ("engine", "body"):
                lines.part(name, VEHICLE[name])
            thick = "16 mm²" if not has_engine(told) else "25 mm²"
            lines.wire("engine_ground", "engine.metal", "battery.neg", Copper(thick, "0.6 m", "", 70, GUESS), heavy)
            lines.wire("body_strap", "body.metal", "engine.metal", Copper("10 mm²", "0.4 m", "", 70, GUESS), heavy)
        if has_key(told):
            self._key()
        if has_engine(told):
            self._engine(heavy)

    def _key(self) -> None:
        lines, told = self.lines, self.told
        lines.part("ignition", IGNITION, "invented")
        feed = self.fused("key", "battery.pos", "ignition fuse", 20.0, usual_a=30.0)
        lines.wire("ignition_switch_wire", feed, "ignition.30", Copper("10 AWG", "1.5 m", "", 70, GUESS))
        if told.get("home") == "vehicle":
            lines.part("radio", "kind: load, say: radio and accessories, place: under the dash, case: body, "
                       "resistance: 8 ohm ± 60 %", "invented: what else hangs on the accessory output")  # fmt: skip
            lines.wire("radio_wire", "ignition.acc", "radio.in", Copper("16 AWG", "0.6 m", "", 70, GUESS))

    def _engine(self, heavy: str) -> None:
        lines, how = self.lines, self.told.get("prevent", UNKNOWN)
        for name, fields in TURNS.items():
            lines.part(name, fields, "invented")
        lines.part("module", "kind: load, say: ignition module or coils, case: engine, resistance: 6 ohm ± 40 %",
                   "invented")  # fmt: skip
        cable, thin = Copper("25 mm²", "1.2 m", "", 70, GUESS), Copper("14 AWG", "1.6 m", "", 70, GUESS)
        lines.wire("starter_cable", "battery.pos", "starter.30", cable, heavy)
        lines.wire("charge_wire", "alternator.B+", "starter.30", Copper("10 mm²", "0.8 m", "", 70, GUESS), heavy)
        lines.wire("starter_trigger_wire", "ignition.50", "starter.50", Copper("10 AWG", "1.8 m", "", 70, GUESS))
        if how == "fuse":
            lines.part("engine_fuse", *fuse_fields("ignition module fuse", 15.0, False))
            lines.wire("engine_fuse_wire", "ignition.15", "engine_fuse.in", thin)
            lines.wire("module_wire", "engine_fuse.out", "module.in", thin)
        else:
            lines.wire("module_wire", "ignition.15", "module.in", thin)
        if how == UNKNOWN:
            self.guess("how the engine is kept from starting: find that out before anybody cranks it")

    # ---- blades

    def _blade(self, number: str) -> None:
        told, goes, blade = self.told, self.told.get(f"at.{number}", NONE), f"relay.{number}"
        in_coil = number in COIL
        amps = COIL_A if in_coil else self.amps
        made = self.made(number, amps, "1.5 m" if in_coil else "2.5 m")
        if goes in SOURCES:
            feed = self.fused(number, self.origin(goes, number), f"fuse of {number}", amps)
            self.chain(f"feed_of_{number}_wire", feed, "coil_feed" if in_coil else "", blade, made)
        elif goes == "switch_feed":
            feed = self.fused(number, self.origin(told[f"from.{number}"], number), f"fuse of {number}", amps)
            switch = self.hand_switch()
            self.lines.wire(f"feed_of_{switch}_wire", feed, f"{switch}.in", Copper(made.gauge, "1 m", "", 100, GUESS))
            self.chain(f"feed_of_{number}_wire", f"{switch}.out", "coil_feed" if in_coil else "", blade, made)
        elif goes == "switch_ground":
            switch = self.hand_switch()
            self.chain(f"switch_wire_of_{number}_wire", blade, "coil_ground" if in_coil else "", f"{switch}.in", made)
            end = self.ground(number, f"ground bolt of {number}")
            self.lines.wire(
                f"ground_of_{switch}_wire", f"{switch}.out", end, Copper(made.gauge, "0.5 m", "", 100, GUESS)
            )
        elif goes == "ground":
            end = self.ground(number, f"ground bolt of {number}")
            self.chain(f"ground_of_{number}_wire", blade, "coil_ground" if in_coil else "", end, made)
        elif goes == "load":
            self.chain("load_wire", blade, "load_feed", self._load_end("plus"), made)
        elif goes == "load_minus":
            self.chain("load_return_wire", self._load_end("minus"), "load_ground", blade, made)
        elif goes == "controller":
            self._controller(blade, made)
        elif goes == "oil":
            self._oil(number, blade, made)

    def _load_end(self, end: str) -> str:
        """The load's terminal, or the splice where several meet."""
        uses = self._used["load" if end == "plus" else "load_minus"]
        uses += end == "plus" and "backup" in self.told.get("cut_offs", "").split()
        if self.count == 1 and uses <= 1:
            return f"load.{end}"
        say = f"splice of the {'feed' if end == 'plus' else 'ground'} wires"
        return f"{self.lines.part(f'splice_{end}', f'kind: splice, say: {say}')}.stud"

    def _shared(self, goes: str, terminal: str) -> str:
        """A contact that holds one wire, or the splice in front of it where several blades go there."""
        if self._used[goes] < 2:
            return terminal
        name, new = f"splice_{goes}", f"splice_{goes}" not in self.lines.parts
        self.lines.part(name, f"kind: splice, say: splice at the {goes}")
        if new:
            self.lines.wire(f"{goes}_wire", f"{name}.stud", terminal, Copper("18 AWG", "0.3 m", "", 100, GUESS))
        return f"{name}.stud"

    def _controller(self, blade: str, made: Copper) -> None:
        told, lines = self.told, self.lines
        drives = told.get("drives", UNKNOWN)
        if drives == UNKNOWN:
            others = [told.get(f"at.{number}") for number in COIL]
            drives = "feed" if any(other in GROUNDS for other in others) else "ground"
            self.guess(f"what the controller gives: taken as a {drives}" if drives == "feed" else
                        "what the controller gives: taken as ground")  # fmt: skip
        said = told.get("prime", UNKNOWN)
        if said == UNKNOWN:
            self.guess("how long the controller runs it at key-on: taken as 2 s (vehicle manuals, several)")
        if "controller" not in lines.parts:
            lines.part(
                "controller", CONTROLLER.format(prime="2" if said == UNKNOWN else said, drives=drives), "invented"
            )
            lines.part("fuse_controller", *fuse_fields("controller fuse", 10.0, False))
            thin = Copper("16 AWG", "1 m", "", 100, GUESS)
            lines.wire("controller_fuse_wire", "ignition.15" if has_key(told) else "battery.pos", "fuse_controller.in",
                       Copper("16 AWG", "0.4 m", "", 100, GUESS))  # fmt: skip
            lines.wire("controller_feed_wire", "fuse_controller.out", "controller.feed", thin)
            told["ground.controller"] = "engine"
            end = self.ground("controller", "controller ground bolt")
            lines.wire("controller_ground_wire", "controller.ground", end, thin)
        place = "coil_ground" if drives == "ground" else "coil_feed"
        end = self._shared("controller", "controller.out")
        self.chain("command_wire", blade, place if blade[-2:] in COIL else "", end, made)

    def _oil(self, number: str, blade: str, made: Copper) -> None:
        if "oil" not in self.lines.parts:
            self.lines.part("oil", OIL.format(style="changeover"), "invented")
            run = self.fused(
                number, "ignition.15" if has_key(self.told) else "battery.pos", f"fuse of {number}", COIL_A
            )
            thin = Copper("18 AWG", "1.5 m", "", 100, GUESS)
            self.lines.wire("oil_run_wire", run, "oil.I", thin)
            if has_key(self.told):
                self.lines.part("fuse_start", *fuse_fields("start feed fuse", 5.0, False))
                self.lines.wire(
                    "start_fuse_wire", "ignition.50", "fuse_start.in", Copper("18 AWG", "0.3 m", "", 100, GUESS)
                )
                self.lines.wire("oil_start_wire", "fuse_start.out", "oil.S", thin)
        self.chain(f"feed_of_{number}_wire", self._shared("oil", "oil.P"), "coil_feed", blade, made)

    # ---- load, switch alone

    def _switch_alone(self) -> None:
        told = self.told
        made = self.made("switch", self.amps, "2.5 m")
        feed = self.fused("switch", self.origin(told.get("from.switch", "battery"), "switch"), "fuse", self.amps)
        if told.get("side") == "ground":
            self.chain("load_wire", feed, "load_feed", self._load_end("plus"), made)
            self.inline["load_ground"].append(self.hand_switch())
            return
        switch = self.hand_switch()
        self.lines.wire("feed_of_switch_wire", feed, f"{switch}.in", Copper(made.gauge, "1 m", "", 100, GUESS))
        self.chain("load_wire", f"{switch}.out", "load_feed", self._load_end("plus"), made)

    def _way_back(self) -> None:
        told, amps = self.told, self.amps
        if told.get("plus") in SOURCES:
            feed = self.fused("plus", self.origin(told["plus"], "plus"), f"{load_word(told)} fuse", amps)
            made = self.made("plus", amps, "2.5 m")
            self.chain("load_wire", feed, "load_feed", self._load_end("plus"), made)
        if told.get("minus") == "ground":
            end = self.ground("load", f"{load_word(told)} ground bolt")
            made = self.made("minus", amps, "0.5 m")
            self.chain("load_ground_wire", self._load_end("minus"), "load_ground", end, made)
        if "backup" in told.get("cut_offs", "").split():
            self.lines.part("oil_backup", OIL.format(style="backup"), "invented")
            fuses = [f"fuse_{n}" for n in CONTACT if f"fuse_{n}" in self.lines.parts]
            made = copper(UNKNOWN, amps, "1 m")
            self.lines.wire("oil_feed_wire", f"{fuses[0]}.out" if fuses else "battery.pos", "oil_backup.I", made)
            self.lines.wire("oil_out_wire", "oil_backup.P", self._load_end("plus"), made)

    def _loads(self) -> None:
        for name in self.loads:
            self.lines.part(name, *load_fields(self.told, name))
        ends = {"plus": "feed", "minus": "ground"}
        made = copper(UNKNOWN, self.amps / self.count, "0.5 m")
        for end, say in ends.items():
            if f"splice_{end}" in self.lines.parts:
                for name in self.loads:
                    self.lines.wire(f"{name}_{say}_wire", f"splice_{end}.stud", f"{name}.{end}", made)

    def _left_over(self) -> None:
        """What was to be in line somewhere where nothing leads."""
        for place, names in self.inline.items():
            for name in names:
                del self.lines.parts[name]
                self.switches = [switch for switch in self.switches if switch != name]
                self.guess(f"the {name.replace('_', ' ')} is left out: there is no wire that is {PLACES[place]}")

    # ---- the text

    def _works(self) -> tuple[str, list[str]]:
        """The key state in which the load should work, and the switches operated for it."""
        told, when = self.told, self.told.get("when", UNKNOWN)
        prime = "controller" in self.lines.parts and told.get("prime") not in ("0",)
        if when == UNKNOWN:
            when = "controller" if prime else ("switch_key" if has_key(told) else "switch") if has_switch(told) else \
                "key" if has_key(told) else "always"  # fmt: skip
            self.guess("when it should work: taken from how it is wired")
        operate = self.switches if when in ("switch", "switch_key") else []
        if when == "controller":
            return ("prime" if prime and has_key(told) else "cranking" if has_engine(told) else "off"), operate
        if when == "cranking":
            return "cranking", operate
        return ("on" if when in ("key", "switch_key") else "off"), operate

    def text(self) -> str:
        """The file."""
        told, lines = self.told, self.lines
        key, operate = self._works()
        on = f", operate: [{', '.join(operate)}]" if operate else ""
        head = [
            "# Written down from somebody's answers. A comment behind a line says what was told and what is a guess;",
            "# every guess is invented, with a band wide enough to say so. Mend what you measure or look up.",
            *(f"# Not told: {guess}." for guess in lines.guesses),
            "format: 2", f"title: {quoted(told['title'])}", f"feeds: {load_word(told)}",
            "scenario: as its owner described it; values that were not told are invented",
            "joint: 1 mohm ± 90 %", f'works: {{key: "{key}"{on}}}',
        ]  # fmt: skip
        if has_engine(told):
            how = {"module": "unplug the ignition module or the ignition coils (no spark)",
                   "fuse": "pull the fuse that feeds the ignition alone"}.get(told.get("prevent", ""),
                   "find out how the engine is kept from starting before anybody cranks it")  # fmt: skip
            unplug = "engine_fuse" if told.get("prevent") == "fuse" else "module"
            head.append(f"start_prevented: {{by: {quoted(how)}, unplug: {unplug}}}")
        return "\n".join([*head, "", "parts:", *lines.parts.values(), "", "wires:", *lines.wires.values(), ""])
