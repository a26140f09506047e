"""What this person can do, and so which checks may be asked of them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.network import Network
from troubleshoot.errors import Problem, TypedWrong


class Can(BaseModel):
    """Abilities and tools. The defaults are one person with a usual meter and long leads."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    helper: bool = Field(default=False, description="somebody is there to turn the key")
    long_leads: bool = Field(default=True, description="leads long enough from the battery to the load")
    min_max: bool = Field(default=True, description="the meter has a MIN/MAX key")
    ohms: bool = Field(default=True, description="the meter reads ohms, and the battery may come off")
    clamp: bool = Field(default=False, description="a DC clamp meter")
    low_impedance: bool = Field(default=False, description="the meter has a low-impedance volts range")
    lamp: bool = Field(default=False, description="a headlamp bulb on leads")
    fused_leads: bool = Field(default=False, description="fused leads that reach the load")
    extension: bool = Field(default=False, description="extension leads between the relay and its socket")
    zeroed: bool = Field(default=False, description="the leads' own ohms are taken off every ohms reading")
    cant_reach: tuple[str, ...] = Field(default=(), description="Parts or places that cannot be got at.")

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
        live_crank = check.setup.key in ("cranking", "remote") and check.function == "volts"
        if live_crank and not (self.helper or self.long_leads):
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

    @property
    def _tools(self) -> set[str]:
        """What beside the meter is there, by the word that fittings and functions use."""
        lent = {"clamp": self.clamp, "low_volts": self.low_impedance, "lamp": self.lamp}
        lent |= {"leads": self.fused_leads, "ground": self.fused_leads, "extension": self.extension}
        return {tool for tool, has in lent.items() if has}
