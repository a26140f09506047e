"""Findings from the volts and amperes of the healthy circuit: drops, contacts, coils, fuses."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from troubleshoot.circuit.setups import Setup, cranking_setup
from troubleshoot.expect.finding import GUESSED, PRACTICE, RECKONED, Finding, Severity, at_part
from troubleshoot.expect.healthy import Healthy, say_setup
from troubleshoot.expect.sides import owner
from troubleshoot.parts import Fuse, IgnitionSwitch, Relay, Starter, Switch
from troubleshoot.parts.branch import Branch
from troubleshoot.parts.copper import at_temperature
from troubleshoot.parts.fuse import BLOW_FACTOR, opens_within
from troubleshoot.units import show

FEED_V = (0.5, 0.5, 1.0)
GROUND_V = (0.1, 0.2, 1.0)
"""Volts lost above which there is a note, a doubt, a fault."""

DROP_SOURCE = (
    "limits: feed 0.5 V and ground 0.1 V with a pump running (web guides, weak); ground over 0.2 V needs attention "
    "(equipment service manual); over 1 V anywhere is a fault (vehicle manuals)"
)

CONTACT_SHARE = 0.75
"""Share of a relay's rating up to which it is used: a 40 A relay is kept to about 30 A (common practice, no source)."""

FUSE_SHARE = 0.8
"""Share of its rating that a fuse is made to carry for long (common practice, no source)."""

SWITCH_A = 2.0
"""Amperes of a load from which its switch is said to carry it (invented)."""

CRANKS_V = 9.6
"""Battery posts while cranking that a shop still accepts (from memory; trade-facts section 5)."""

UNDER_BONNET_C = 85.0


def review_amps(healthy: Healthy) -> Iterator[Finding]:
    """All findings of this kind."""
    for load in healthy.circuit.loads:
        yield from _drops(healthy, load)
        yield from _switches(healthy, load)
    for name in healthy.circuit.relays:
        yield from _coil(healthy, name)
        yield from _contacts(healthy, name)
    yield from _fuses(healthy)


def _drops(healthy: Healthy, load: str) -> Iterator[Finding]:
    """What feed and ground lose on the way with the load working."""
    circuit, setup = healthy.circuit, healthy.working
    if setup.key == "cranking":  # the starter's own current would be told as a bad ground
        setup = Setup("running", operated=setup.operated)
    if healthy.runs(load, setup) != 1 or f"{load}.minus" not in healthy.network.point_at:
        return
    if any(healthy.pulled(name, setup) for name, part in circuit.parts.items() if isinstance(part, Starter)):
        return
    path, where = at_part(circuit, load)
    inside = [f"{load}.{end}" for end in ("plus", "low") if f"{load}.{end}" in healthy.network.point_at]
    fed = max((healthy.volts(node, setup) for node in inside), default=0.0)
    way = healthy.way(load, setup)
    at = way.index(healthy.network.branches[healthy.network.branch_at[circuit.loads[load].branch]])
    for side, drop_v, branches, (note_v, doubt_v, fault_v) in (
        ("feed", healthy.volts(f"{circuit.battery}.pos", setup) - fed, way[:at], FEED_V),
        ("ground", healthy.volts(f"{load}.minus", setup), way[at + 1 :], GROUND_V),
    ):
        if drop_v <= note_v:
            continue
        worst, is_guessed = _worst(healthy, branches, setup)
        severity: Severity = "fault" if drop_v > fault_v and not is_guessed else "doubt" if drop_v > doubt_v else "note"
        weak = "the load works weakly, and " if drop_v > doubt_v else ""
        yield Finding(
            f"{side}-drop", severity, path, where, f"healthy, its {side} side already loses {drop_v:.2f} V at full "
            f"load{worst}", f"{weak}a bad joint hides in what is lost anyway", f"measure it: {side} side, load on; a "
            "thicker or shorter wire where it is so", DROP_SOURCE,
        )  # fmt: skip


def _worst(healthy: Healthy, branches: list[Branch], setup: Setup) -> tuple[str, bool]:
    """Where most of a drop is, in words, and whether that is a wire that nobody measured."""
    amps, at = healthy.amps(setup), healthy.network.branch_at
    branch = max(branches, key=lambda b: b.ohm * abs(amps[at[b.name]]), default=None)
    wire = next((wire for wire in healthy.circuit.wires if branch and wire.name == branch.name), None)
    part = healthy.circuit.named_parts.get(owner(branch)) if branch else None
    if wire:
        is_guessed = wire.tolerance >= GUESSED
        return f", most of it in the {wire.spoken}{' (whose size is a guess)' if is_guessed else ''}", is_guessed
    if part and branch:
        contact = "a contact at the " if branch.name.endswith(".contact") else "the "
        return f", most of it in {contact}{part.spoken}", False
    return "", False


def _switches(healthy: Healthy, load: str) -> Iterator[Finding]:
    """A switch in the load's own current."""
    circuit, setup = healthy.circuit, healthy.working
    if not healthy.runs(load, setup):
        return
    works = circuit.loads[load].branch
    flow = abs(float(healthy.amps(setup)[healthy.network.branch_at[works]]))
    for branch in healthy.way(load, setup):
        part = circuit.named_parts.get(owner(branch))
        is_contact = not branch.name.endswith(".contact")
        by_hand = isinstance(part, IgnitionSwitch) or (isinstance(part, Switch) and part.style != "inertia")
        if part and by_hand and is_contact and flow > SWITCH_A:
            yield Finding(
                "switch-carries-load", "doubt", *at_part(circuit, part.name), f"it carries the {flow:.1f} A of the "
                f"{circuit.named_parts[load].spoken} itself", "a switch is not made to carry a load's current, even "
                "where it can for a while: its contact burns", "fit a relay, so that the switch carries the coil's "
                "current only", PRACTICE,
            )  # fmt: skip


def _coil(healthy: Healthy, name: str) -> Iterator[Finding]:
    """Enough volts to pull in, hot and with a low battery; no current with the key off."""
    circuit = healthy.circuit
    relay = circuit.named_parts[name]
    assert isinstance(relay, Relay)
    path, where = at_part(circuit, name)

    def coil_v(setup: Setup) -> float:
        return abs(healthy.volts(f"{name}.86.blade", setup) - healthy.volts(f"{name}.85.blade", setup))

    wants_v = relay.pull_in.value + relay.pull_in.half_band
    crank = cranking_setup(circuit)
    first = [s for s in healthy.setups if s.key not in ("cranking", "running", "remote")]
    if crank and healthy.volts(f"{circuit.battery}.pos", crank) > 0 and not healthy.pulled(name, Setup("on")):
        share = coil_v(crank) / healthy.volts(f"{circuit.battery}.pos", crank)
        wants_now_v = at_temperature(wants_v, relay.temperature)
        if share > 0.3 and share * CRANKS_V < wants_now_v:
            yield Finding(
                "pull-in-low-battery", "fault" if not healthy.pulled(name, crank) else "doubt", path, where,
                f"its coil is first fed while the engine cranks, and with a battery down to {CRANKS_V:g} V it gets "
                f"{share * CRANKS_V:.1f} V, where it may want {wants_now_v:.1f} V", "with a tired battery it does not "
                "pull in just while it is needed", "feed the coil before cranking (15 of the ignition switch), or find "
                "what lies in series with it", "9.6 V while cranking: shop rule (from memory); pull-in as in the file",
            )  # fmt: skip
    working_v = coil_v(healthy.working)
    hot_v = at_temperature(wants_v, UNDER_BONNET_C)
    if healthy.pulled(name, healthy.working) and working_v < hot_v:
        yield Finding(
            "pull-in-hot", "doubt", path, where, f"its coil gets {working_v:.1f} V and may want {hot_v:.1f} V when hot",
            "pull-in volts rise with the coil's heat (copper, 0.39 % a kelvin): warm it may not come in", "find what "
            "lies in series with the coil, or fit a relay with a lower pull-in", "relay makers' application notes",
        )  # fmt: skip
    if any(coil_v(s) > 0.5 for s in first) and not any(healthy.pulled(name, s) for s in healthy.setups):
        best = max(coil_v(s) for s in healthy.setups)
        yield Finding(
            "does-not-pull-in", "fault", path, where, f"it never pulls in: at best its coil gets {best:.1f} V, and it "
            f"wants about {relay.pull_in.value:.1f} V", "something lies in series with the coil", "look for another "
            "load or a wrong terminal in the coil's feed or ground", RECKONED,
        )  # fmt: skip
    always = circuit.works.key == "off" and not circuit.works.operate
    if healthy.pulled(name, Setup("off")) and not always:
        amps = abs(float(healthy.amps(Setup("off"))[healthy.network.branch_at[f"{name}.coil"]]))
        yield Finding(
            "coil-live-key-off", "fault", path, where, f"it is pulled in with nothing switched on and draws "
            f"{show(amps, 'current')}", "the battery is empty after some days, and the relay never lets go",
            "take the coil's feed from an output that the key switches; look too whether the relay is of the layout "
            "that its socket is wired for (30 and 86 may have changed places)", RECKONED,
        )  # fmt: skip


def _contacts(healthy: Healthy, name: str) -> Iterator[Finding]:
    """The contact's current against its rating."""
    relay = healthy.circuit.named_parts[name]
    assert isinstance(relay, Relay)
    device = next(d for d in healthy.network.relays if d.name == name)
    rest_a = relay.rest_rating or CONTACT_SHARE * relay.rating
    said = "rest contact 87a" if relay.rest_rating else "rest contact 87a (three quarters of the other, as usual)"
    for branches, rating, what in ((device.make, relay.rating, "contact"), (device.rest, rest_a, said)):
        columns = [healthy.network.branch_at[branch] for branch in branches]
        if not columns:
            continue
        flow = max(float(np.abs(healthy.amps(s, healthy.lasting)[columns]).sum()) for s in healthy.setups)
        if flow > CONTACT_SHARE * rating:
            severity: Severity = "fault" if flow > rating else "doubt"
            yield Finding(
                "contact-overloaded", severity, *at_part(healthy.circuit, name), f"its {what} is rated {rating:g} A "
                f"and carries {flow:.1f} A", "near its rating a contact burns or welds, the sooner in heat: a 40 A "
                "relay is kept to about 30 A", "fit a relay of a larger rating, or share the load between two",
                PRACTICE,
            )  # fmt: skip


def _fuses(healthy: Healthy) -> Iterator[Finding]:
    """Fuses that healthy currents open, or nearly."""
    circuit = healthy.circuit
    for name, part in circuit.named_parts.items():
        if not isinstance(part, Fuse):
            continue
        column = healthy.network.branch_at[f"{name}.element"]
        flows = {s: abs(float(healthy.amps(s, healthy.lasting)[column])) for s in healthy.setups}
        setup = max(flows, key=lambda s: flows[s])
        share = flows[setup] / part.rating
        path, where = at_part(circuit, name)
        at = say_setup(circuit, setup)
        opened = any(bool(healthy.table.behaviour(s).blown[name][0]) for s in healthy.setups)
        if share > BLOW_FACTOR and opened:  # another one may open before it and spare it
            first = next(s for s in healthy.setups if flows[s] > BLOW_FACTOR * part.rating)
            is_short = share > 6
            yield Finding(
                "fuse-blows", "fault", path, where, f"it opens with {say_setup(circuit, first)}: {flows[first]:.0f} A "
                f"through {part.rating:g} A, with every part healthy", "the wiring itself shorts the feed" if is_short
                else "what it feeds takes more than the fuse carries", "find where the feed meets ground before "
                "another fuse goes in" if is_short else "compare what the load takes with what fuse and wire can "
                "carry; never just a larger fuse", "opening times by ISO 8820-3 (partly from memory)",
            )  # fmt: skip
        elif FUSE_SHARE < share <= BLOW_FACTOR and setup.key != "cranking":
            yield Finding(
                "fuse-too-small", "fault" if share > 1.1 else "doubt", path, where, f"it carries {flows[setup]:.1f} A "
                f"and is rated {part.rating:g} A, with {at}", _opens(part, share), "a fuse of the next size only if "
                "every wire behind it carries that; else look why the load takes so much", "a fuse is used to about "
                "four fifths (common practice, no source); opening times by ISO 8820-3 (partly from memory)",
            )  # fmt: skip


def _opens(part: Fuse, share: float) -> str:
    window = opens_within(part.style, share)
    if window is None or math.isinf(window[0]):
        return "so near its rating it warms its holder and may open on a hot day"
    least, most = (show(t, "time", digits=2) if math.isfinite(t) else "" for t in window)
    return f"at {share:.0%} of its rating it opens after {least} " + (f"to {most}" if most else "or more, or never")
