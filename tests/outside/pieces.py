"""Each part kind as lines of a netlist: what it is made of, and what is wrong inside it.

Left of netlist.py; reads a part's fields and nothing else of the package.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import Any

from bends import RUNS_DOWN_V, diode, filament, limited, motor
from deck import LEAK_OHM, NOWHERE_OHM, STARTER_LAG_OHM_F, Deck, breaker_state, fuse_state, relay_state
from trouble import Trouble
from wiring import COPPER_PER_K, contact_ohm, sockets, tabs

ENGINE_TURNS = {"cranking", "running", "remote"}
OIL_PRESSURE = {"running", "remote"}
LIVE_FROM_30 = {
    "acc": {"accessory", "prime", "on", "running", "remote"},
    "15": {"prime", "on", "cranking", "running", "remote"},
    "50": {"cranking"},
}
"""DIN 72552: 15 live with the key on and (15e) while cranking, 50 while cranking; acc dead while cranking."""

BLOWS_AT = 1.6
"""Settled current over rating that blows a fuse: the ISO 8820-3 point of 160 %, second-hand."""

COIL_WARMER_K = 65.0
"""A coil goes from 20 °C to 85 °C in long work (relay makers rate coils at both)."""

SOLENOID_PULLS_A, SOLENOID_HOLDS_A = 5.0, 1.5
REMOTE_BUTTON_OHM = 0.02
"""A starter's solenoid, and the button that joins 50 to the main stud (invented)."""

GIVES_UP = 0.8
"""Supply at which a controller gives up, over that from which it works (invented)."""

SOUNDS_DOWN_TO = 0.7
"""Volts at which a horn falls silent, over those at which it begins (invented)."""


def contacts(deck: Deck, name: str, part: Any, trouble: Trouble) -> None:
    """Each contact between a holder and what is plugged into it; open while the part is out."""
    for terminal in (*sockets(part), *tabs(part)):
        spot = f"{name}.{terminal}"
        outer, inner = (f"{spot}.wire", spot) if terminal in tabs(part) else (spot, f"{spot}.blade")
        good = contact_ohm(part)
        ohms = [
            float("inf") if name in s.out else good
            if trouble.loose and name in s.reseated else good + trouble.added.get(spot, 0.0)
            for s in deck.timeline
        ]  # fmt: skip
        deck.vary(deck.node(outer), deck.node(inner), ohms)


def _blades(deck: Deck, name: str, part: Any) -> dict[str, str]:
    return {terminal: deck.node(f"{name}.{terminal}.blade") for terminal in sockets(part)}


def _battery(deck: Deck, name: str, part: Any, trouble: Trouble) -> None:
    wrong = trouble.inside(name)
    table = [(0.0, 11.89), (0.25, 12.06), (0.5, 12.24), (0.75, 12.45), (1.0, 12.65)]
    charge, emf_v = part.charge.value, table[-1][1]
    for (low, low_v), (high, high_v) in pairwise(table):
        if low <= charge <= high:
            emf_v = low_v + (high_v - low_v) * (charge - low) / (high - low)
    worse = 1.0
    if wrong == "flat":
        emf_v, worse = trouble.severity, 1.5
    elif wrong == "weak":
        worse = trouble.severity
    posts = deck.node(f"{name}.pos"), deck.node(f"{name}.neg")
    runs = deck.keyed({"running"})
    inner = part.internal_resistance.value * worse
    deck.source(*posts, inner, emf_v, tuple(not r for r in runs))
    deck.source(*posts, part.charging_resistance.value, emf_v, runs)


def _supply(deck: Deck, name: str, part: Any, trouble: Trouble) -> None:
    posts = deck.node(f"{name}.pos"), deck.node(f"{name}.neg")
    limited(deck, *posts, part.voltage.value, part.internal_resistance.value, part.limit)


def _starter(deck: Deck, name: str, part: Any, trouble: Trouble) -> None:
    case, main, trigger = (deck.node(n) for n in (f"{part.case}.metal", f"{name}.30", f"{name}.50"))
    meter, beyond = deck.ammeter(trigger)
    deck.resistor(beyond, case, part.solenoid_resistance.value)
    state = relay_state(deck, meter, SOLENOID_PULLS_A, SOLENOID_HOLDS_A, lag=STARTER_LAG_OHM_F)
    deck.switch(main, case, state, part.resistance.value, LEAK_OHM)
    deck.follow(main, trigger, REMOTE_BUTTON_OHM, deck.keyed({"remote"}))


def _alternator(deck: Deck, name: str, part: Any, trouble: Trouble) -> None:
    ends = deck.node(f"{name}.B+"), deck.node(f"{part.case}.metal")
    deck.source(*ends, part.resistance.value, part.voltage.value, deck.keyed({"running"}))


def _fuse(deck: Deck, name: str, part: Any, trouble: Trouble) -> None:
    a, b, wrong = deck.node(f"{name}.in"), deck.node(f"{name}.out"), trouble.inside(name)
    if wrong in ("blown", "worn"):
        deck.resistor(a, b, LEAK_OHM)
        return
    larger = {"too-large": 4.0, "bridged": 1000.0}.get(wrong, 1.0)
    meter, beyond = deck.ammeter(a)
    state = breaker_state if part.style == "breaker" else fuse_state
    deck.switch(beyond, b, state(deck, meter, BLOWS_AT * part.rating * larger), LEAK_OHM, part.resistance.value)


def _relay(deck: Deck, name: str, part: Any, trouble: Trouble) -> None:
    wrong, by = trouble.inside(name), trouble.severity
    blade = _blades(deck, name, part)
    share = by if wrong == "coil-shorted-turns" else 1.0
    meter, beyond = deck.ammeter(blade["86"])
    at_20 = float("inf") if wrong == "coil-open" else part.coil_resistance.value * share
    kelvin = [part.temperature - 20 + (COIL_WARMER_K if s.warm else 0.0) for s in deck.timeline]
    deck.vary(beyond, blade["85"], [at_20 * (1 + COPPER_PER_K * k) for k in kelvin])
    if part.suppression == "resistor":
        deck.resistor(blade["86"], blade["85"], part.suppression_resistance.value)
    elif part.suppression == "diode":
        minus = "85" if part.diode_plus == "86" else "86"
        diode(deck, blade[minus], blade[part.diode_plus])
    pull_in_a = part.pull_in.value / part.coil_resistance.value * (by if wrong == "weak-coil" else 1.0)
    state = relay_state(deck, meter, pull_in_a, part.release.value / part.coil_resistance.value, share)
    contact = part.contact_resistance.value
    for number in [n for n in ("87", "87b") if n in blade]:
        if wrong == "contacts-stuck-open":
            deck.resistor(blade["30"], blade[number], LEAK_OHM)
        elif wrong == "contacts-welded":
            deck.resistor(blade["30"], blade[number], contact)
        elif wrong == "changeover-fitted" and number == "87b":
            deck.resistor(blade["30"], blade[number], LEAK_OHM)
            deck.switch(blade["30"], blade[number], state, LEAK_OHM, contact)
        else:
            burnt = contact + (by if wrong == "contacts-burnt" and number == "87" else 0.0)
            deck.switch(blade["30"], blade[number], state, burnt, LEAK_OHM)
    if "87a" in blade:
        if wrong == "contacts-welded":  # the arm hangs on 87 and never comes back to 87a
            deck.resistor(blade["30"], blade["87a"], LEAK_OHM)
        else:
            deck.switch(blade["30"], blade["87a"], state, LEAK_OHM, contact)


def _ignition_switch(deck: Deck, name: str, part: Any, trouble: Trouble) -> None:
    for output, keys in LIVE_FROM_30.items():
        worse = trouble.severity if trouble.inside(name) == f"contact-{output}" else 0.0
        ends = deck.node(f"{name}.30"), deck.node(f"{name}.{output}")
        deck.follow(*ends, part.contact_resistance.value + worse, deck.keyed(keys))


def _switch(deck: Deck, name: str, part: Any, trouble: Trouble) -> None:
    worse = trouble.severity if trouble.inside(name) in ("tripped", "open", "worn") else 0.0
    by_hand = part.style in ("toggle", "button", "thermal")
    blade = _blades(deck, name, part)
    shut = deck.when(lambda s: name in s.operated or not by_hand)
    deck.follow(blade["in"], blade["out"], part.contact_resistance.value + worse, shut)


def _oil_switch(deck: Deck, name: str, part: Any, trouble: Trouble) -> None:
    blade, wrong = _blades(deck, name, part), trouble.inside(name)
    pressed = deck.keyed(OIL_PRESSURE)
    for terminal, shut, mode in (("I", pressed, "run-contact"), ("S", tuple(not p for p in pressed), "start-contact")):
        if terminal in blade:
            worse = trouble.severity if wrong == mode else 0.0
            if terminal == "S" and wrong == "stuck-closed":  # its one tongue hangs on I
                worse = float("inf")
            deck.follow(blade["P"], blade[terminal], part.contact_resistance.value + worse, shut)


def _controller(deck: Deck, name: str, part: Any, trouble: Trouble) -> None:
    """Awake from so many volts on its own supply; then its output follows the engine, its monitor pin the key."""
    blade = _blades(deck, name, part)
    meter, beyond = deck.ammeter(blade["feed"])
    deck.resistor(beyond, blade["ground"], part.supply_resistance.value)
    wakes_a = part.wakes_at.value / part.supply_resistance.value
    awake = relay_state(deck, meter, wakes_a, GIVES_UP * wakes_a)
    commands = deck.keyed(ENGINE_TURNS | ({"prime"} if part.prime else set()))
    drives = deck.reckoned(f"v({awake})*v({deck.wave(commands)})")
    if trouble.inside(name) == "no-command":
        deck.resistor(blade["out"], blade[part.drives], LEAK_OHM)
    else:
        deck.switch(blade["out"], blade[part.drives], drives, part.driver_resistance.value, LEAK_OHM)
    if part.monitor_resistance:
        keyed = deck.keyed(LIVE_FROM_30["15"])
        listens, inner = deck.reckoned(f"v({awake})*v({deck.wave(keyed)})"), deck.fresh("x")
        deck.switch(blade["monitor"], inner, listens, part.monitor_resistance.value, LEAK_OHM)
        volts = deck.live_volts(part.monitor_voltage, keyed)
        deck.lines.append(f"{deck.fresh('v')} {inner} {blade['ground']} {volts}")


def _diode(deck: Deck, name: str, part: Any, trouble: Trouble) -> None:
    ends = deck.node(f"{name}.anode"), deck.node(f"{name}.cathode")
    if trouble.inside(name) == "open":
        deck.resistor(*ends, LEAK_OHM)
    else:
        diode(deck, *ends)


def _motor(deck: Deck, name: str, part: Any, trouble: Trouble) -> None:
    blade, wrong = _blades(deck, name, part), trouble.inside(name)
    ends = blade["plus"], blade["minus"]
    if part.diode:
        diode(deck, *ends[::-1])
    if wrong == "open":
        deck.resistor(*ends, LEAK_OHM)
    elif wrong == "seized":
        deck.resistor(*ends, part.winding_resistance.value)
    else:
        brush = trouble.severity if wrong == "worn" else 0.0
        motor(deck, *ends, part.winding_resistance.value + brush, part.resistance.value + brush, part.back_emf,
              part.start_voltage.value, part.back_emf + RUNS_DOWN_V)  # fmt: skip


def _fan(deck: Deck, name: str, part: Any, trouble: Trouble) -> None:
    _motor(deck, name, part, trouble)
    if part.low_resistance:
        worse = trouble.severity if trouble.inside(name) == "dropper-open" else 0.0
        ends = deck.node(f"{name}.low.blade"), deck.node(f"{name}.plus.blade")
        deck.vary(*ends, [part.low_resistance.value + worse] * len(deck.timeline))


def _horn(deck: Deck, name: str, part: Any, trouble: Trouble) -> None:
    blade, wrong = _blades(deck, name, part), trouble.inside(name)
    ends, start_v = (blade["plus"], blade["minus"]), part.sound_voltage.value
    if wrong == "open":
        deck.resistor(*ends, LEAK_OHM)
    elif wrong == "stuck":
        deck.resistor(*ends, part.resistance.value)
    else:
        points = trouble.severity if wrong == "worn" else 0.0
        motor(deck, *ends, part.resistance.value + points, part.sounding_resistance.value + points, 0.0, start_v,
              SOUNDS_DOWN_TO * start_v)  # fmt: skip


def _lamp(deck: Deck, name: str, part: Any, trouble: Trouble) -> None:
    blade, wrong = _blades(deck, name, part), trouble.inside(name)
    plus, minus = blade["plus"], blade["minus"]
    if wrong == "open":
        deck.resistor(plus, minus, LEAK_OHM)
        return
    if wrong == "contact-burnt":
        inner = deck.fresh("x")
        deck.resistor(plus, inner, trouble.severity)
        plus = inner
    filament(deck, plus, minus, part.watts)


def _load(deck: Deck, name: str, part: Any, trouble: Trouble) -> None:
    other = f"{part.case}.metal" if part.case else f"{name}.out"
    deck.follow(deck.node(f"{name}.in"), deck.node(other), part.resistance.value, deck.fitted_in(name))


def _metal(deck: Deck, name: str, part: Any, trouble: Trouble) -> None:
    deck.node(f"{name}.metal")


def _splice(deck: Deck, name: str, part: Any, trouble: Trouble) -> None:
    deck.node(f"{name}.stud")


def _ground_bolt(deck: Deck, name: str, part: Any, trouble: Trouble) -> None:
    wrong = trouble.inside(name)
    worse = {"bad-joint": trouble.severity, "painted": float("inf")}.get(wrong, 0.0)
    ends = deck.node(f"{name}.stud"), deck.node(f"{part.to}.metal")
    deck.vary(*ends, [part.joint.value + worse] * len(deck.timeline))


PIECES: dict[str, Callable[[Deck, str, Any, Trouble], None]] = {
    "battery": _battery, "supply": _supply, "starter": _starter, "alternator": _alternator, "fuse": _fuse,
    "relay": _relay, "ignition_switch": _ignition_switch, "switch": _switch, "oil_switch": _oil_switch,
    "controller": _controller, "diode": _diode, "pump": _motor, "fan": _fan, "horn": _horn, "lamp": _lamp,
    "load": _load, "metal": _metal, "ground_bolt": _ground_bolt, "splice": _splice,
}  # fmt: skip

# ---- what one fits for a test

TEST_LAMP_W = 55.0
TEST_LEAD_OHM = 0.06
HAND_LEAD_OHM = 0.1
EXTENSION_OHM = 0.015
"""A headlamp bulb, a fused lead of some metres, a lead by which a coil is grounded by hand, a short lead between a
relay and its socket (invented)."""


def fit(deck: Deck, circuit: Any, fitting: str, spot: str) -> None:
    """What a setup calls `lamp@PART`, `leads@LOAD`, `extension@RELAY`, `ground@RELAY`; it is not there at all while
    not fitted. `spot` is the coil terminal that one grounds by hand."""
    tool, _, part = fitting.partition("@")
    here = deck.wave(deck.when(lambda s: fitting in s.fitted))
    pos, neg = deck.node(f"{circuit.battery}.pos"), deck.node(f"{circuit.battery}.neg")
    if tool == "lamp":
        ends = ("in.wire", "out.wire") if circuit.parts[part].kind == "fuse" else ("plus", "minus")
        filament(deck, *(deck.node(f"{part}.{end}") for end in ends), TEST_LAMP_W, here)
    elif tool == "leads":
        deck.switch(pos, deck.node(f"{part}.plus.blade"), here, TEST_LEAD_OHM, NOWHERE_OHM)
        deck.switch(neg, deck.node(f"{part}.minus.blade"), here, TEST_LEAD_OHM, NOWHERE_OHM)
    elif tool == "extension":
        for number in sockets(circuit.parts[part]):
            socket, blade = deck.node(f"{part}.{number}"), deck.node(f"{part}.{number}.blade")
            deck.switch(socket, blade, here, EXTENSION_OHM, NOWHERE_OHM)
    elif tool == "ground":
        deck.switch(deck.node(spot), neg, here, HAND_LEAD_OHM, NOWHERE_OHM)
    else:
        raise KeyError(f"nobody has said here what {fitting} is")
