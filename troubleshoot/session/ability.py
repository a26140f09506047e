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

    helper: bool = Field(default=False, description="A second person turns the key.")
    long_leads: bool = Field(default=True, description="Leads that reach from the battery to the tank.")
    min_max: bool = Field(default=True, description="The meter has a MIN/MAX key.")
    ohms: bool = Field(default=True, description="The meter reads ohms and one may take the battery off.")
    cant_reach: tuple[str, ...] = Field(default=(), description="Parts or places that cannot be got at.")

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
        if check.function in ("volts_min", "volts_max") and not self.min_max:
            return False
        live_crank = check.setup.key == "cranking" and check.function == "volts"
        if live_crank and not (self.helper or self.long_leads):
            return False
        far = check.place != "engine bay" and check.black.startswith(f"{circuit.battery}.")
        if far and not self.long_leads:
            return False
        nodes = [node for node in (check.red, check.black) if node]
        touched = {network.point_at[node].part for node in nodes} | {network.point_at[node].place for node in nodes}
        touched |= {check.place} | check.setup.removed | ({check.about.partition(":")[2]} if check.about else set())
        return not touched & set(self.cant_reach)
