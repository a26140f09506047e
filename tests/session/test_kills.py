"""`kill -9` at random moments: a job resumes with every event that had been acknowledged.

The child is the real JSON dialogue over real pipes and a real file; it is forked so that the table, which takes
seconds, is worked out once.
"""

from __future__ import annotations

import contextlib
import json
import os
import random
import signal
from pathlib import Path
from typing import Any

import pytest

from troubleshoot.car import Car
from troubleshoot.circuit import Network, list_checks
from troubleshoot.circuit.checks import AGAIN
from troubleshoot.diagnose.reason import Reasoner
from troubleshoot.expect.table import Table
from troubleshoot.plain.json_lines import JsonLines
from troubleshoot.session.session import Session

KILLS = 50


def _child(folder: Path, lines_in: int, lines_out: int) -> None:
    """Plays the dialogue over two pipes; never returns."""
    with os.fdopen(lines_in) as source, os.fdopen(lines_out, "w") as sink:

        def tell(data: dict[str, Any]) -> None:
            sink.write(json.dumps(data) + "\n")
            sink.flush()

        JsonLines(Session.start("pump-on-ignition-feed", folder=folder), tell).run(source)
    os._exit(0)


def _play_until_killed(folder: Path, car: Car, network: Network, after_s: float) -> list[str]:
    """Answers what the child asks until it is killed; the answers that it acknowledged."""
    to_child, from_child = os.pipe(), os.pipe()
    child = os.fork()
    if child == 0:
        os.close(to_child[1])
        os.close(from_child[0])
        _child(folder, to_child[0], from_child[1])
    os.close(to_child[0])
    os.close(from_child[1])
    checks = {check.id: check for check in list_checks(network)}
    acknowledged: list[str] = []
    sent = ""
    signal.signal(signal.SIGALRM, lambda *_: os.kill(child, signal.SIGKILL))
    signal.setitimer(signal.ITIMER_REAL, after_s)
    try:
        with os.fdopen(to_child[1], "w") as sink, os.fdopen(from_child[0]) as source:
            for line in source:
                if not line.endswith("\n"):
                    break  # the kill cut the line: nothing is acknowledged by it
                data = json.loads(line)
                if data["type"] == "outcome":
                    acknowledged.append(sent)
                elif data["type"] == "gate":
                    sink.write('{"gate": "clear"}\n{"complaint": "unsure"}\n')
                elif data["type"] == "check":
                    sent = car.answer(checks[data["id"].removesuffix(AGAIN)])
                    sink.write(json.dumps({"value": sent}) + "\n")
                sink.flush()
    except BrokenPipeError:
        pass
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        with contextlib.suppress(ProcessLookupError):
            os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
    return acknowledged


@pytest.mark.slow
def test_every_acknowledged_answer_outlives_fifty_kills(table: Table, reasoner: Reasoner, tmp_path: Path) -> None:
    _ = reasoner.group_of, table.stack  # worked out before the forks
    chance = random.Random(7)
    network = table.network
    fault = next(f for f in network.faults if f.name == "pump_wire:bad")
    seen = []
    for number in range(KILLS):
        folder = tmp_path / str(number)
        folder.mkdir()
        car = Car(network, fault, 0.7, number)
        acknowledged = _play_until_killed(folder, car, network, chance.uniform(0.02, 1.5))
        logs = list(folder.glob("*.jsonl"))
        if not logs:
            assert not acknowledged
            continue
        session = Session.resume(logs[0])
        texts = [entry.text for entry in session.state.entries]
        session.close()
        assert texts[: len(acknowledged)] == acknowledged, f"kill {number}"
        assert len(texts) - len(acknowledged) <= 1, "at most the answer whose acknowledgement was cut off"
        seen.append(len(acknowledged))
    assert len(set(seen)) > 3, "the kills came at different moments"
