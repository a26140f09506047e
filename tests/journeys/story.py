"""Plays a whole case in plain lines: a sampled car with a hidden fault answers what the dialogue asks.

python tests/journeys/story.py ignition_out:accessory-feed
python tests/journeys/story.py pump_ground:bad=0.8 --seed 4
python tests/journeys/story.py random --seed 9
python tests/journeys/story.py relay:contacts-stuck-open --has spare_relay
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from troubleshoot import Session
from troubleshoot.car import Car
from troubleshoot.circuit.complaints import complaints_of
from troubleshoot.circuit.look_checks import WORKS_NOW
from troubleshoot.expect.cells import severity_range
from troubleshoot.plain.dialogue import Dialogue
from troubleshoot.session.ability import Can
from troubleshoot.solve.cases import OPEN


def find_car(session: Session, words: str, seed: int) -> Car:
    """The car that the words ask for: PART:MODE, PART:MODE=SEVERITY (ohms, or `open`), or `random`."""
    network = session.table.network
    name, _, amount = words.partition("=")
    if name == "random":
        rng = np.random.default_rng(seed)
        ranges = severity_range(network)
        while True:
            fault = network.faults[int(rng.integers(len(network.faults)))]
            low, high = ranges.get(fault, (1.0, 1.0))
            severity = float(np.exp(rng.uniform(np.log(low), np.log(high)))) if fault.severity else None
            car = Car(network, fault, severity, seed)
            if car.matters():
                return car
    fault = next(fault for fault in network.faults if fault.name == name)
    severity = None if fault.severity is None else OPEN if amount in ("", "open") else float(amount)
    return Car(network, fault, severity, seed)


def play(
    circuit: str, words: str, seed: int, folder: Path, show: bool = True, has: Sequence[str] = (), cant: str = ""
) -> tuple[Session, Car, list[str]]:  # fmt: skip
    """Plays the case to its verdict, with some abilities more and what one can't; the session, the car, every line."""
    session = Session.start(circuit, folder=folder)
    car = find_car(session, words, seed)
    now = car
    said: list[str] = []

    def tell(line: str) -> None:
        said.append(line)
        if show:
            print(line)

    def ask(prompt: str) -> str:
        nonlocal now
        if prompt == "> ":
            check = session.next_check().check  # type: ignore[union-attr]
            text = now.answer(check)
            if text == WORKS_NOW:  # what works stays in
                now = now.with_new(check.swaps)
        elif prompt.startswith("numbers"):
            offered = [n for n in Can.asked() if n not in ("helper", "fetch") and not getattr(Can(), n)]
            text = " ".join(str(offered.index(name) + 1) for name in has)
        elif prompt.startswith("can't"):
            text = cant
        elif prompt.startswith("verdict"):
            text = ""
        elif prompt.startswith("complaint"):
            text = str(list(complaints_of(session.circuit)).index(car.complaint()) + 1)
        elif "ever work" in prompt:
            text = "unknown"
        elif "right now" in prompt:
            text = "yes"
        else:
            text = "" if "touched" in prompt else "no"
        tell(f"{prompt}{text}")
        return text

    Dialogue(session, ask, tell).run()
    return session, car, said


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("fault", help="PART:MODE[=SEVERITY] or random")
    parser.add_argument("--circuit", default="pump-on-ignition-feed")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--has", nargs="*", default=[], help="abilities more: spare_relay, lamp ...")
    parser.add_argument("--cant", default="", help="what cannot be done, in words")
    parser.add_argument("--folder", type=Path, help="keep the session's log there")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        _, car, _ = play(
            given.circuit, given.fault, given.seed, given.folder or Path(folder), has=given.has, cant=given.cant
        )
        print(f"\n(hidden in this car: {car.fault.name if car.fault else 'nothing'}, severity {car.severity})")


if __name__ == "__main__":
    main()
