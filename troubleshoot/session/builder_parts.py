"""The lines of a circuit file for parts and wires that somebody described; what was not told is a wide guess.

Every value here that nobody told is invented, of ordinary size, and its comment in the file says so.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, field

from troubleshoot.expect.ampacity import CARRIES_A
from troubleshoot.session.builder_questions import UNKNOWN, Told, load_word

RATINGS_A = (5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0, 40.0)
"""Blade fuses as sold."""

USUAL_A = {"fuel_pump": 6.0, "pump": 6.0, "fan": 16.0, "horn": 5.0, "lamp": 4.2}
"""What one usually takes (pumps: web guides, weak; the rest from memory)."""

RUNS_V = 12.0
GUESS = "not told: a wide guess (invented)"
TOLD = "as told"


@dataclass
class Lines:
    """Parts and wires as they come, by name, and in words what was taken for what nobody told."""

    parts: dict[str, str] = field(default_factory=dict)
    wires: dict[str, str] = field(default_factory=dict)
    guesses: list[str] = field(default_factory=list)

    def part(self, name: str, fields: str, comment: str = "") -> str:
        """Adds a part once; returns its name."""
        self.parts.setdefault(name, f"  {name}: {{{fields}}}{f'  # {comment}' if comment else ''}")
        return name

    def wire(self, name: str, start: str, end: str, made: Copper, joint: str = "") -> None:
        """Adds a wire; a name that is taken gets a number."""
        count, own = 1, name
        while own in self.wires:
            count += 1
            own = f"{name.removesuffix('_wire')}_{count}_wire"
        more = f", tolerance: {made.tolerance} %" if made.tolerance else ""
        more += f", colour: {quoted(made.colour)}" if made.colour else ""
        more += f", joint: {joint}" if joint else ""
        told = f"  # {made.comment}" if made.comment else ""
        self.wires[own] = (
            f"  - {{name: {own}, from: {start}, to: {end}, gauge: {made.gauge}, length: {made.length}{more}}}{told}"
        )


@dataclass(frozen=True)
class Copper:
    """Size, length, colour and tolerance in percent of a wire (0: the usual one)."""

    gauge: str
    length: str
    colour: str = ""
    tolerance: int = 0
    comment: str = ""


def quoted(words: str) -> str:
    """Words as they may stand in the file."""
    plain = re.fullmatch(r"[a-z]+(/[a-z]+)*", words) and words not in ("true", "false", "null")
    return words if plain else json.dumps(words, ensure_ascii=False)


def copper(said: str, amps: float, length: str) -> Copper:
    """A wire as told, "colour | gauge | length" with "" for what was not; else one that carries `amps`."""
    colour, gauge, told = said.split("|") if said.count("|") == 2 else ("", "", "")
    thinnest = 18 if amps < 1 else 14
    fits = [n for n in sorted(CARRIES_A, reverse=True) if n <= thinnest and CARRIES_A[n][0] >= 1.25 * amps]
    missing = [word for word, value in (("size", gauge), ("length", told)) if not value]
    tolerance = 100 if "size" in missing else 70 if missing else 0
    comment = f"{' and '.join(missing)} {GUESS}" if missing else TOLD
    return Copper(gauge or f"{fits[0] if fits else 2} AWG", told or length, colour, tolerance, comment)


def load_amps(told: Told) -> float:
    """Amperes of one load, as told or as usual."""
    said = told.get("takes", UNKNOWN)
    if said == UNKNOWN:
        return USUAL_A[told["load"]]
    number, unit = said.split()
    return float(number) / (RUNS_V if unit == "W" else 1.0)


def load_fields(told: Told, name: str) -> tuple[str, str]:
    """Fields and comment of one load."""
    amps, is_told = load_amps(told), told.get("takes", UNKNOWN) != UNKNOWN
    band = "15 %" if is_told else "60 %"
    comment = f"current {TOLD}, the rest a guess (invented)" if is_told else f"what it takes was {GUESS}"
    kind = "pump" if told["load"] == "fuel_pump" else told["load"]
    spoken = load_word(told) if name == "load" else f"{load_word(told)} {name.removeprefix('load_')}"
    place = ", place: at the tank" if told["load"] == "fuel_pump" and told["home"] == "vehicle" else ""
    head = f"kind: {kind}, say: {spoken}{place}"
    plug = "plug_contact: 4 mohm ± 90 %"
    if kind == "lamp":
        return f"{head}, watts: {amps * RUNS_V:g} W, {plug}", comment
    if kind == "horn":
        ohm = RUNS_V / amps
        return (f"{head}, resistance: {ohm / 3:.3g} ohm ± 60 %, sounding_resistance: {ohm:.3g} ohm ± {band}, "
                f"sound_voltage: 6 V ± 40 %, {plug}"), comment  # fmt: skip
    ohm = (RUNS_V - 4.0) / amps
    return (f"{head}, back_emf: 4 V, resistance: {ohm:.3g} ohm ± {band}, winding_resistance: {ohm / 2:.3g} ohm ± 60 %, "
            f"start_voltage: 3 V ± 60 %, {plug}"), comment  # fmt: skip


def fuse_fields(say: str, rating_a: float, is_told: bool) -> tuple[str, str]:
    """Fields and comment of a fuse; its ohms by rating (one maker's 10 A is 7.7 mohm, from memory)."""
    style = "large blade" if rating_a > 40 else "blade"
    fields = (f"kind: fuse, say: {say}, style: {style}, rating: {rating_a:g} A, resistance: {77 / rating_a:.3g} mohm "
              "± 40 %, holder_contact: 2 mohm ± 90 %")  # fmt: skip
    return fields, f"rating {TOLD}" if is_told else f"rating {GUESS}"


def usual_rating(amps: float) -> float:
    """The smallest fuse as sold that carries `amps` for long."""
    return next((rating for rating in RATINGS_A if rating >= 1.5 * amps), RATINGS_A[-1])


def relay_fields(told: Told) -> tuple[str, str]:
    """Fields and comment of the relay."""
    contacts = {"5a": "changeover", "5b": "two makes"}.get(told.get("blades", ""), "make")
    said = told.get("rating", UNKNOWN)
    rating = "40" if said == UNKNOWN else said.split()[0]
    coil = told.get("coil", NONE_INSIDE)
    inside = "" if coil in (NONE_INSIDE, UNKNOWN) else f", suppression: {coil}"
    if coil == "diode":
        inside += f', diode_plus: "{told["diode"] if told.get("diode") in ("85", "86") else "86"}"'
    fields = (f"kind: relay, say: relay, contacts: {contacts}, rating: {rating} A, coil_resistance: 85 ohm ± 25 %, "
              "pull_in: 6.8 V ± 18 %, release: 2.5 V ± 60 %, contact_resistance: 4 mohm ± 90 %, socket_contact: 3 mohm "
              f"± 90 %{inside}")  # fmt: skip
    return fields, f"rating {TOLD if said != UNKNOWN else GUESS}; the rest as of a usual 12 V relay (invented)"


NONE_INSIDE = "none"

VEHICLE = {
    "battery": "kind: battery, charge: 85 % ± 15 %, internal_resistance: 7 mohm ± 60 %, "
               "charging_resistance: 100 mohm ± 60 %",
    "engine": "kind: metal, say: engine block",
    "body": "kind: metal, say: body",
}  # fmt: skip
TURNS = {
    "starter": "kind: starter, case: engine, resistance: 50 mohm ± 40 %, solenoid_resistance: 1.2 ohm ± 40 %",
    "alternator": "kind: alternator, case: engine, voltage: 14.2 V ± 0.4 V, resistance: 5 mohm ± 60 %",
}
IGNITION = "kind: ignition_switch, say: ignition switch, place: under the dash, contact_resistance: 10 mohm ± 90 %"
CONTROLLER = (
    "kind: controller, say: engine controller, prime: {prime} s, drives: {drives}, supply_resistance: 40 ohm ± 60 %, "
    "driver_resistance: 0.2 ohm ± 60 %, wakes_at: 6 V ± 20 %, plug_contact: 4 mohm ± 90 %"
)
SWITCH = "kind: switch, say: {say}, style: {style}, contact_resistance: 10 mohm ± 90 %, plug_contact: 4 mohm ± 90 %"
OIL = "kind: oil_switch, say: oil-pressure switch, style: {style}, contact_resistance: 10 mohm ± 90 %, " \
      "plug_contact: 4 mohm ± 90 %"  # fmt: skip
BOLT = "kind: ground_bolt, say: {say}, to: {to}, joint: 2 mohm ± 90 %"
DIODE = "kind: diode, say: {say}, contact: 3 mohm ± 90 %"
