"""No check that a person may be asked breaks the cautions, whatever they can do: all shipped circuits × abilities.

The rules are written here anew, from the sources beside each, without the code that makes or says the checks.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from troubleshoot.circuit.check_list import list_checks
from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.network import Network, wire_up
from troubleshoot.circuit.setups import Setup
from troubleshoot.files.circuit_file import load_circuit
from troubleshoot.parts import Controller, Fuse, Relay, Switch
from troubleshoot.places import trees
from troubleshoot.session.ability import Can
from troubleshoot.words.say import cautions, say_check

CIRCUITS = sorted(path.parent.name for path in trees().glob("*/circuit.yaml"))
TURNING = ("cranking", "remote")


@cache
def wired(name: str) -> tuple[Network, tuple[Check, ...]]:
    network = wire_up(load_circuit(trees() / name / "circuit.yaml"))
    return network, tuple(list_checks(network))


def abilities(network: Network) -> st.SearchStrategy[Can]:
    """Any person: every yes or no, and any few parts and places out of reach or fixed."""
    parts = list(network.circuit.parts)
    places = sorted({part.place for part in network.circuit.parts.values()})
    some = st.lists(st.sampled_from(parts + places), max_size=3).map(tuple)
    fixed = st.lists(st.sampled_from(parts), max_size=2).map(tuple)
    flags = st.fixed_dictionaries({name: st.booleans() for name in Can.asked()})
    return st.builds(lambda f, reach, stay: Can(**f, cant_reach=reach, cant_remove=stay), flags, some, fixed)


# ---- the cautions, one function each; each gives what is wrong, "" for nothing


def ohms_only_dead(network: Network, check: Check, said: str) -> str:
    """US Army TM 10-3930-659-20, TM 5-3805-255-14: never an ohmmeter on a live circuit, battery off first."""
    dead = check.setup.key == "off" and network.circuit.battery in check.setup.removed and not check.setup.fitted
    return "" if check.function != "ohms" or (dead and "negative off" in said) else "ohms on what may be live"


def no_ammeter_in_line(network: Network, check: Check, said: str) -> str:
    """Common practice, no source: no ammeter across the supply; here currents are read with a clamp alone."""
    del network, said
    return (
        "" if check.function != "amps" or (check.wire and not check.red and not check.black) else "an ammeter in line"
    )


def start_prevented(network: Network, check: Check, said: str) -> str:
    """TM 10-3930-671-24: the start is prevented when cranking for tests; park, brake, chocks are common practice."""
    if check.setup.key not in TURNING:
        return ""
    prevented = network.circuit.start_prevented
    if not prevented or not {prevented.unplug} - {""} <= check.setup.removed:
        return "cranks with the start not prevented"
    return "" if "eutral or park" in said else "cranks and does not say how to be safe"


def short_cranking(network: Network, check: Check, said: str) -> str:
    """TM 10-3930-671-24: at most 30 s of cranking, then two minutes to cool."""
    del network, said
    long = check.about.startswith("hot:") or check.setup.warm
    return "a minute or more of cranking" if check.setup.key in TURNING and long else ""


def engine_not_running(network: Network, check: Check, said: str) -> str:
    """Hands and leads by a running engine (common practice, no source)."""
    del network, said
    return "the engine runs" if check.setup.key == "running" else ""


def no_hot_bulb_at_the_tank(network: Network, check: Check, said: str) -> str:
    """Maker or service data: no spark, flame or hot bulb near fuel vapour."""
    lamp = any(name.startswith("lamp@") for name in check.setup.fitted)
    if lamp and "away from tank" not in said:
        return "a hot bulb, and not where it may be"
    at_tank = check.place == "at the tank"
    return "fuel vapour is not named" if at_tank and "vapour" not in said else ""


def no_lamp_on_control_units(network: Network, check: Check, said: str) -> str:
    """Maker or service data: no filament test lamp on control units."""
    del said
    lit = {name.partition("@")[2] for name in check.setup.fitted if name.startswith("lamp@")}
    for wire in network.circuit.wires:
        ends = {end.partition(".")[0] for end in (wire.start, wire.end)}
        if ends & lit and any(isinstance(network.circuit.parts[end], Controller) for end in ends):
            return "a filament lamp on a control unit's wire"
    return ""


def cut_off_stays(network: Network, check: Check, said: str) -> str:
    """Maker or service data: cut-offs are not bypassed for the road; leads that feed a load past one are fused, short
    and for the test alone."""
    past = any(name.startswith("leads@") for name in check.setup.fitted)
    del network
    return (
        "leads past a cut-off, without their limits" if past and not ("Fused" in said and "ten seconds" in said) else ""
    )


def ground_by_hand_last(network: Network, check: Check, said: str) -> str:
    """Common practice, no source: only where three readings allow it, never on a coil that a controller feeds."""
    for name in check.setup.fitted:
        tool, _, relay = name.partition("@")
        if tool != "ground":
            continue
        drives = [part.drives for part in network.circuit.parts.values() if isinstance(part, Controller)]
        if "ground" not in drives or len(check.after) < 3 or "not for laymen" not in said:
            return f"a ground by hand at {relay} with nothing read before"
    return ""


def no_probe_in_a_mated_contact(network: Network, check: Check, said: str) -> str:
    """Common practice, no source: nothing is pushed into the front of a contact."""
    del network, said
    blades = [node.partition(".")[0] for node in (check.red, check.black) if node.endswith(".blade")]
    return "" if set(blades) <= check.setup.removed else "a probe in a mated contact"


def plugs_with_the_key_off(network: Network, check: Check, said: str) -> str:
    """Common practice, no source: mate and unmate with the power off."""
    circuit = network.circuit
    plugs = {n for n, p in circuit.parts.items() if isinstance(p, Relay | Fuse | Switch)} | set(circuit.loads)
    tried = {check.about.partition(":")[2]} if check.about.startswith("swap:") else set()
    moved = (check.setup.removed | check.setup.reseated | tried) & plugs
    return "" if not moved or "key off" in said.casefold() or "negative off" in said else "plugs moved, the key not off"


def red_lead_in_the_volts_jack(network: Network, check: Check, said: str) -> str:
    """Common practice, no source: the amps jack shorts whatever is probed."""
    del network
    volts = check.kind == "reading" and check.function not in ("ohms", "amps")
    return "the jack is not named" if volts and "never in the amps jack" not in said else ""


def never_just_a_new_fuse(network: Network, check: Check, said: str) -> str:
    """Maker or service data: a fuse is replaced by one of the same rating only, and the cause is sought before a second
    one; with a fuel pump in play no smell and no leak of fuel first (common practice, no source)."""
    if not check.about.startswith("swap:"):
        return ""
    fuse = isinstance(network.circuit.parts[check.about.partition(":")[2]], Fuse)
    if fuse and not ("same rating, never a larger" in said and "no second one" in said):
        return "a new fuse without its limits"
    pumps = any(network.circuit.parts[name].kind == "pump" for name in network.circuit.loads)
    return "the pump may start, and fuel is not named" if pumps and "no fuel smells" not in said else ""


RULES = (ohms_only_dead, no_ammeter_in_line, start_prevented, short_cranking, engine_not_running,
         no_hot_bulb_at_the_tank, no_lamp_on_control_units, cut_off_stays, ground_by_hand_last,
         no_probe_in_a_mated_contact, plugs_with_the_key_off, red_lead_in_the_volts_jack,
         never_just_a_new_fuse)  # fmt: skip


@cache
def broken(name: str) -> dict[str, list[str]]:
    """What is wrong with each check of a circuit that breaks a rule."""
    network, checks = wired(name)
    found = {}
    for check in checks:
        said = " ".join([say_check(network, check), *cautions(network, check)])
        wrong = [problem for rule in RULES if (problem := rule(network, check, said))]
        if wrong:
            found[check.id] = wrong
    return found


@pytest.mark.parametrize("name", CIRCUITS)
def test_no_check_of_a_shipped_circuit_breaks_a_caution(name: str) -> None:
    assert broken(name) == {}


@pytest.mark.parametrize("name", CIRCUITS)
@settings(max_examples=60)
@given(data=st.data())
def test_no_person_is_asked_for_more_than_they_can_do_and_nothing_unsafe(name: str, data: st.DataObject) -> None:
    network, checks = wired(name)
    can = data.draw(abilities(network))
    unsafe = broken(name)
    for check in can.allowed(network, checks):
        assert check.id not in unsafe
        touched = {network.point_at[node].part for node in (check.red, check.black) if node}
        assert not touched & set(can.cant_reach)
        assert not check.setup.removed & {*can.cant_reach, *can.cant_remove}
        assert check.place not in can.cant_reach
        assert can.ohms or check.function != "ohms"
        assert can.meter or check.kind == "observation" or check.wire
        assert can.min_max or check.function not in ("volts_min", "volts_max")
        assert not check.swaps or check.swaps not in can.cant_remove
        assert can.spare_relay or not isinstance(network.circuit.parts.get(check.swaps), Relay)
        assert can.spare_fuse or not isinstance(network.circuit.parts.get(check.swaps), Fuse)
        assert can.clamp or check.function != "amps"
        assert can.lamp or not any(fitting.startswith("lamp@") for fitting in check.setup.fitted)


def test_the_rules_can_fail() -> None:
    """Each is broken by a check that is made wrong on purpose."""
    network, checks = wired("pump-controller-grounds")
    by = {check.function: check for check in checks if check.kind == "reading"}
    at_tank = next(check for check in checks if check.place == "at the tank" and check.function == "volts")
    lamp = next(check for check in checks if any(f.startswith("lamp@") for f in check.setup.fitted))
    ground = next(check for check in checks if any(f.startswith("ground@") for f in check.setup.fitted))
    leads = next(check for check in checks if any(f.startswith("leads@") for f in check.setup.fitted))
    blade = next(check for check in checks if check.red.endswith(".blade"))
    controller = next(n for n, p in network.circuit.parts.items() if isinstance(p, Controller))
    wrong = {
        ohms_only_dead: replace(by["ohms"], setup=Setup("on")),
        no_ammeter_in_line: replace(by["volts"], function="amps"),
        start_prevented: replace(by["volts"], setup=Setup("cranking")),
        short_cranking: replace(lamp, about="hot:pump", setup=Setup("cranking")),
        engine_not_running: replace(by["volts"], setup=Setup("running")),
        no_hot_bulb_at_the_tank: at_tank,
        no_lamp_on_control_units: replace(lamp, setup=replace(lamp.setup, fitted=frozenset({f"lamp@{controller}"}))),
        cut_off_stays: leads,
        ground_by_hand_last: replace(ground, after=()),
        no_probe_in_a_mated_contact: replace(blade, setup=Setup("on")),
        plugs_with_the_key_off: blade,
        red_lead_in_the_volts_jack: by["volts"],
        never_just_a_new_fuse: next(check for check in checks if check.about.startswith("swap:")),
    }
    assert set(wrong) == set(RULES)
    for rule, check in wrong.items():
        assert rule(network, check, ""), rule.__name__
