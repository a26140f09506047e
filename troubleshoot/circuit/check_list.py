"""All checks of a circuit, and the setups that they are made in.

What one may not do is left out: no ohms with the power on, no ammeter, no probe pushed into the front of a socket, no
pierced wire.
"""

from __future__ import annotations

from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.look_checks import look_checks
from troubleshoot.circuit.network import Network
from troubleshoot.circuit.reading_checks import reading_checks
from troubleshoot.circuit.setups import Setup, live_setups


def list_setups(network: Network) -> list[Setup]:
    """Every setup in which some check may be made, the plain key states first."""
    plain = [Setup(key) for key in network.circuit.keys]
    mine = [check.setup for check in list_checks(network)]
    return list(dict.fromkeys([*plain, *live_setups(network.circuit), *mine]))


def list_checks(network: Network) -> list[Check]:
    """All checks of a circuit, each once."""
    return list({check.id: check for check in reading_checks(network) + look_checks(network)}.values())
