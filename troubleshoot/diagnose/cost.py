"""What a check costs; it is in the circuit room, for those who may not import this one."""

from __future__ import annotations

from troubleshoot.circuit.cost import Stand, act_s, change_s, cost_s, takes_two

__all__ = ["Stand", "act_s", "change_s", "cost_s", "takes_two"]
