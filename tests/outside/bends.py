"""What turns, glows, conducts one way or limits its current, as lines of an ngspice netlist.

Left of pieces.py, right of deck.py; shares nothing with the solver.
"""

from __future__ import annotations

from deck import LEAK_OHM, NOWHERE_OHM, RELAY_LAG_OHM_F, Deck

RUNS_DOWN_V = 0.01
"""A motor's friction (invented): cut off, it floats at its back-EMF, and that alone does not turn it."""

FILAMENT_LAG_OHM_F = (1e3, 5e-6)
"""A filament takes its time to get hot, more than a relay or motor to answer (real ones: some 50 ms)."""

COOLS_SLOWER = 6.0
HOT_FROM = 0.7
"""Hot, it stays so for some time, so that one fed by a buzzing contact gets hot all the same."""


def across(a: str, b: str) -> str:
    """The volts from a to b, in an expression."""
    return f"v({a})" if b == "0" else f"(-v({b}))" if a == "0" else f"v({a},{b})"


def motor_state(deck: Deck, plus: str, minus: str, start_v: float, keep_v: float) -> str:
    """A node at 1 V while a motor turns forward. It goes on while it is fed more than `keep_v`, and begins above
    `start_v` if it could go on with that."""
    out = deck.fresh("q")
    begins_v = max(start_v, keep_v)
    wants = deck.lagged(
        f"{across(plus, minus)} > (v({out}) > 0.5 ? {keep_v:.17g} : {begins_v:.17g}) ? 1 : 0", RELAY_LAG_OHM_F
    )
    return deck.latch(wants, 0.8, 0.2, out)


def motor(deck: Deck, plus: str, minus: str, still_ohm: float, run_ohm: float, emf_v: float, start_v: float,
          keep_v: float) -> None:  # fmt: skip
    """Still a resistance; turning one with a back-EMF that opposes what drives it, either way round."""
    ways = [(plus, minus), (minus, plus)]
    turns = [motor_state(deck, a, b, start_v, keep_v) for a, b in ways]
    either = deck.reckoned(f"v({turns[0]})+v({turns[1]})")
    deck.switch(plus, minus, either, NOWHERE_OHM, still_ohm)
    for (a, b), state in zip(ways, turns, strict=True):
        back = deck.fresh("x")
        deck.switch(a, back, state, run_ohm, NOWHERE_OHM)
        deck.lines.append(f"{deck.fresh('v')} {back} {b} {emf_v:.17g}")


DIODE_V, DIODE_OHM = 0.7, 0.03
"""Two lines of a silicon diode: nothing up to 0.7 V, then 30 mohm (textbook; invented)."""

DIODE_CURVE = "d(is=1e-9 n=1.28 rs=0.02)"
"""A curve with 0.7 V at 1.5 A (silicon power diode; fitted to the two lines, from memory)."""

LAMP_V = 13.2
LAMP_EXPONENT = 0.55
LAMP_F = "100p"
LAMP_COLD = 1 / 12
"""A lamp's current about its rating goes as V^0.55; cold it has a twelfth of its hot ohms (from memory). The
farads are so few that they are gone in a millisecond; without them ngspice jumps to and fro between the two ends."""


def diode(deck: Deck, anode: str, cathode: str) -> None:
    """Leaks up to its forward volts and backwards."""
    if deck.curved:
        name = deck.fresh("d")
        deck.lines += [f"{name} {anode} {cathode} m{name}", f".model m{name} {DIODE_CURVE}"]
        deck.resistor(anode, cathode, LEAK_OHM)
        return
    v = across(anode, cathode)
    forward = f"({v}-{DIODE_V})/{DIODE_OHM}"
    deck.lines.append(f"{deck.fresh('b')} {anode} {cathode} i={v} > {DIODE_V} ? {forward} : {v}/{LEAK_OHM:g}")


def filament(deck: Deck, a: str, b: str, watts: float, lit: str = "one") -> None:
    """Its current lies on a cold line through nought, and from where they cross on the tangent to I = I0·(V/V0)^0.55
    at the rating; it stays on the cold line until it has had time to get hot. It is there while the node `lit` is at
    1 V."""
    v, amps = across(a, b), watts / LAMP_V
    cold = f"{v}/{LAMP_COLD * LAMP_V / amps:.17g}"
    knee_v = LAMP_V * LAMP_COLD * (1 - LAMP_EXPONENT) / (1 - LAMP_COLD * LAMP_EXPONENT)
    lines = [f"{amps:.17g}*({sign}*{1 - LAMP_EXPONENT:.17g}+{LAMP_EXPONENT / LAMP_V:.17g}*{v})" for sign in (1, -1)]
    if deck.curved:
        knee_v = LAMP_V * LAMP_COLD ** (1 / (1 - LAMP_EXPONENT))
        over = f"(max(abs({v}),{knee_v:.17g})/{LAMP_V})"
        lines = [f"{sign * amps:.17g}*pow({over},{LAMP_EXPONENT})" for sign in (1, -1)]
    hot = f"({v} > {knee_v:.17g} ? {lines[0]} : ({v} < -{knee_v:.17g} ? {lines[1]} : {cold}))"
    store, (ohm, farad) = deck.fresh("x"), FILAMENT_LAG_OHM_F
    glows = f"v({store})"
    warms = f"(1-{glows})/{ohm:g}"
    deck.lines += [
        f"{deck.fresh('b')} 0 {store} i=abs({v}) > {knee_v:.17g} ? {warms} : -{glows}/{COOLS_SLOWER * ohm:g}",
        f"{deck.fresh('c')} {store} 0 {farad:g}",
    ]
    share = f"v({deck.reckoned(f'min({glows}/{HOT_FROM},1)')})"
    heat = f"({share}*{share}*{share}*{share})"
    i = f"v({lit})*({cold}*(1-{heat})+{hot}*{heat})+{v}/{NOWHERE_OHM:g}"
    deck.lines += [f"{deck.fresh('b')} {a} {b} i={i}", f"{deck.fresh('c')} {a} {b} {LAMP_F}"]


FOLDED_OHM = 200.0
"""Slope of a bench supply that limits its current (invented)."""


def limited(deck: Deck, pos: str, neg: str, emf_v: float, inner_ohm: float, limit_a: float) -> None:
    """A bench supply: volts behind an inner resistance up to the limit, then nearly constant current."""
    live = deck.wave(deck.when(lambda s: not s.dead))
    v = across(pos, neg)
    full = f"({emf_v:.17g}*v({live})-{v})/{inner_ohm:.17g}"
    knee_v = emf_v - limit_a * inner_ohm
    folded = f"{limit_a:.17g}+({knee_v:.17g}*v({live})-{v})/{FOLDED_OHM}"
    deck.lines.append(f"{deck.fresh('b')} {neg} {pos} i=min({full},{folded})")
