"""What this person can do, and so which checks may be asked of them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.circuit import Circuit
from troubleshoot.circuit.cost import takes_two
from troubleshoot.circuit.network import Network
from troubleshoot.errors import Problem, TypedWrong
from troubleshoot.words.limits import Limits, read_limits


class Can(BaseModel):
    """Abilities and tools. The defaults are one person with a usual meter and long leads."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    helper: bool = Field(default=False, description="somebody is there to turn the key")
    fetch: bool = Field(default=False, description="somebody can be fetched to turn the key")
    meter: bool = Field(default=True, description="a multimeter, not only a lamp")
    long_leads: bool = Field(default=True, description="leads long enough from the battery to the load")
    min_max: bool = Field(default=True, description="the meter has a MIN/MAX key")
    ohms: bool = Field(default=True, description="the meter reads ohms, and the battery may come off")
    clamp: bool = Field(default=False, description="a DC clamp meter")
    low_impedance: bool = Field(default=False, description="the meter has a low-impedance volts range")
    lamp: bool = Field(default=False, description="a headlamp bulb on leads")
    fused_leads: bool = Field(default=False, description="fused leads that reach the load")
    extension: bool = Field(default=False, description="extension leads between the relay and its socket")
    zeroed: bool = Field(default=False, description="the leads' own ohms are taken off every ohms reading")
    spare_relay: bool = Field(default=False, description="a known good relay of the same kind, to try in its place")
    spare_fuse: bool = Field(default=False, description="new fuses of the same ratings, to try in place")
    cant_reach: tuple[str, ...] = Field(default=(), description="Parts or places that cannot be got at.")
    cant_remove: tuple[str, ...] = Field(default=(), description="Parts that do not come out: soldered, riveted.")

    @classmethod
    def asked(cls) -> dict[str, str]:
        """What may be asked with yes or no, by field, in words."""
        fields = cls.model_fields.items()
        return {name: field.description or name for name, field in fields if field.annotation is bool}

    @classmethod
    def read(cls, data: dict[str, Any]) -> Can:
        """From what a front end was told. Raises TypedWrong naming the field."""
        try:
            return cls.model_validate(data)
        except ValidationError as error:
            first = error.errors()[0]
            where = ".".join(str(piece) for piece in ("can", *first["loc"]))
            known = ", ".join(cls.model_fields)
            raise TypedWrong(Problem("bad-ability", str(first["msg"]).lower(), f"fields are: {known}", where)) from None

    def allowed(self, network: Network, checks: Sequence[Check]) -> list[Check]:
        """Those of the checks that this person can do."""
        return [check for check in checks if self.allows(network, check)]

    def allows(self, network: Network, check: Check) -> bool:
        """Whether this person can do the check."""
        circuit = network.circuit
        if check.kind == "reading" and not self.meter and not check.wire:
            return False
        if check.pulled & set(self.cant_remove):
            return False
        if check.swaps and circuit.parts[check.swaps].spare not in self._spares:
            return False
        if check.is_ohms and not self.ohms:
            return False
        if check.is_held and not self.min_max:
            return False
        tools = {name.partition("@")[0] for name in check.setup.fitted}
        if check.wire:
            tools.add("clamp")
        if check.function == "low_volts":
            tools.add("low_volts")
        if not tools <= self._tools:
            return False
        if takes_two(circuit, check) and not (self.helper or self.fetch or self.long_leads):
            return False
        far = check.place != "engine bay" and check.black.startswith(f"{circuit.battery}.")
        if far and not self.long_leads:
            return False
        nodes = [node for node in (check.red, check.black) if node]
        touched = {network.point_at[node].part for node in nodes} | {network.point_at[node].place for node in nodes}
        touched |= {check.place, check.wire} - {""}
        touched |= (
            check.setup.removed
            | check.setup.operated
            | check.setup.reseated
            | ({check.about.partition(":")[2]} if check.about else set())
        )
        return not touched & set(self.cant_reach)

    def with_limits(self, limits: dict[str, Any]) -> Can:
        """The same person, less (or more) what they have said: fields as `learned_from` gives them."""
        if not limits:
            return self
        lists = {
            name: tuple(dict.fromkeys([*getattr(self, name), *limits.get(name, ())]))
            for name in ("cant_reach", "cant_remove")
        }
        return self.model_copy(update={**limits, **lists})

    @property
    def must_fetch(self) -> bool:
        """Whether what takes two is done by somebody who is not there yet."""
        return self.fetch and not self.helper and not self.long_leads

    @property
    def _spares(self) -> set[str]:
        """The kinds of part of which a known good one is there."""
        return {kind for kind, has in (("relay", self.spare_relay), ("fuse", self.spare_fuse)) if has}

    @property
    def _tools(self) -> set[str]:
        """What beside the meter is there, by the word that fittings and functions use."""
        lent = {"clamp": self.clamp, "low_volts": self.low_impedance, "lamp": self.lamp}
        lent |= {"leads": self.fused_leads, "ground": self.fused_leads, "extension": self.extension}
        return {tool for tool, has in lent.items() if has}


def limits_said(circuit: Circuit, text: str) -> Limits:
    """What a person's words say that they cannot do, with this circuit's names."""
    parts = circuit.named_parts
    places = [place for place in dict.fromkeys(part.place for part in parts.values()) if place != "engine bay"]
    return read_limits(text, {name: part.spoken for name, part in parts.items()}, places)


def learned_from(network: Network, check: Check, why: str) -> dict[str, Any]:
    """What the reason for skipping a check says of all checks: fields of `Can` to change. Empty where it says nothing.

    "can't reach it" is said of the part that the check touches, where it is one beside the battery.
    """
    said = limits_said(network.circuit, why)
    battery = network.circuit.battery
    touched = {network.point_at[node].part for node in (check.red, check.black) if node} | check.setup.operated
    touched |= {check.about.partition(":")[2]} & set(network.circuit.parts)
    out = check.pulled - {battery}
    reach = [*said.cant_reach, *(_only(touched - {battery}) if said.reach_here else ())]
    fixed = [*said.cant_remove, *(_only(out) if said.fixed_here else ())]
    more = {"cant_reach": reach, "cant_remove": fixed}
    return {**said.can, **{name: names for name, names in more.items() if names}}


def told_limits(circuit: Circuit, text: str) -> tuple[dict[str, Any], list[str]]:
    """What is said before the first check: fields of `Can` to change, and what was not understood, clause by clause."""
    said = limits_said(circuit, text)
    unread = [*said.unread, *(["which part?"] if said.reach_here or said.fixed_here else [])]
    more = {"cant_reach": said.cant_reach, "cant_remove": said.cant_remove}
    return {**said.can, **{name: names for name, names in more.items() if names}}, unread


def _only(names: frozenset[str] | set[str]) -> list[str]:
    return sorted(names) if len(names) == 1 else []


SAY_LIMIT = {
    "ohms": "no ohms", "long_leads": "no long leads", "min_max": "no MIN/MAX key", "meter": "no meter, a lamp only",
    "helper": "nobody to turn the key", "clamp": "no clamp", "lamp": "no test lamp", "fused_leads": "no fused leads",
    "extension": "no extension leads", "low_impedance": "no low-impedance range", "zeroed": "leads not taken off",
    "spare_relay": "no spare relay", "spare_fuse": "no spare fuse",
}  # fmt: skip


SAY_AT_HAND = {
    "spare_relay": "a good relay to try", "spare_fuse": "new fuses to try", "lamp": "a test lamp", "clamp": "a clamp",
    "fused_leads": "fused leads", "extension": "extension leads", "low_impedance": "a low-impedance range",
    "helper": "somebody to turn the key",
}  # fmt: skip


def say_limits(circuit: Circuit, limits: dict[str, Any]) -> str:
    """What was learned, in words: "no ohms; nothing is asked at the fuel pump". "" for nothing."""
    parts = circuit.named_parts

    def spoken(name: str) -> str:
        return f"the {parts[name].spoken}" if name in parts else f"what is {name}"

    told = [SAY_LIMIT[name] for name, value in limits.items() if value is False and name in SAY_LIMIT]
    told += ["somebody can be fetched"] if limits.get("fetch") else []
    told += [words for name, words in SAY_AT_HAND.items() if limits.get(name)]
    told += [f"nothing is asked at {spoken(name)}" for name in limits.get("cant_reach", ())]
    told += [f"{spoken(name)} stays in" for name in limits.get("cant_remove", ())]
    return "; ".join(told)
