"""Key states, in shop words: which there are, in which order one passes through them, what is live in each.

`prime` is the first seconds of key-on, told apart only where a controller primes the pump. `remote` is the key
on and the engine turned by a remote starter button: not cranking, so an accessory feed stays live in it.
"""

from __future__ import annotations

KEYS = ("off", "accessory", "prime", "on", "cranking", "running", "remote")

SAY_KEY = {
    "off": "key off",
    "accessory": "key at accessory",
    "prime": "key just turned on, within the first two seconds",
    "on": "key on, engine not turning",
    "cranking": "key held at start, engine cranking",
    "running": "engine running",
    "remote": "key on, engine turned by a remote starter button until oil pressure shows",
}

BEFORE = {
    "accessory": "off", "prime": "accessory", "on": "prime", "cranking": "on", "running": "cranking", "remote": "on",
}  # fmt: skip
"""The key state that each is reached from; one that a circuit has no use for is passed over."""

IGNITION = frozenset({"prime", "on", "cranking", "running", "remote"})
"""Where 15 is live (15e: also while the starter turns)."""

ACCESSORY = frozenset({"accessory", "prime", "on", "running", "remote"})
START = frozenset({"cranking"})
TURNED = frozenset({"cranking", "running", "remote"})
"""Where the engine turns: a controller sees pulses."""

PRESSURE = frozenset({"running", "remote"})
"""Where there is oil pressure."""
