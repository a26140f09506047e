"""Whole jobs over `find --json`: a sampled car answers each `check`, and the verdict must name its fault.

Run with -s to read the talks. The last two go through the real process, one of which is killed midway.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from troubleshoot.car.car import Car
from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.network import Network
from troubleshoot.parts.branch import Fault
from troubleshoot.plain.json_lines import JsonLines
from troubleshoot.session.session import Session

SHIPPED = "pump-on-ignition-feed"
MOST_ANSWERS = 8
STORIES = [
    ("ignition_out:accessory-feed", None, 811, "unknown"),
    ("ignition_out:accessory-feed", None, 812, "no"),
    ("pump_ground:bad", 0.8, 821, "yes"),
    ("pump_ground:bad", 0.8, 822, "unknown"),
    ("relay:coil-open", None, 831, "yes"),
    ("relay:coil-open", None, 832, "unknown"),
]


class Driver:
    """A program at the other end of the lines, with a car behind it; keeps the talk in words."""

    def __init__(self, car: Car, check_of: Callable[[str], Check], worked: str = "unknown") -> None:
        self.car = car
        self.check_of = check_of
        self.worked = worked
        self.seen: list[dict[str, Any]] = []
        self.story: list[str] = []
        self.answered = 0

    def lines(self) -> Iterator[str]:
        """The lines of one whole job, each made from what has come out so far; ends when nothing new comes."""
        at = 0
        while at < len(self.seen):
            at += 1
            yield from map(json.dumps, self.answer(self.seen[at - 1]))

    def answer(self, data: dict[str, Any]) -> list[dict[str, Any]]:
        """What to send back for one object."""
        kind = data["type"]
        if kind == "gate":
            complaint = self.car.complaint()
            fault = self.car.fault.name if self.car.fault else "sound"
            self.story.append(f"{fault}, complaint {complaint}, worked before: {self.worked}")
            return [{"gate": "clear"}, {"complaint": complaint, "worked": self.worked}]
        if kind == "check":
            typed = self.car.answer(self.check_of(data["id"].removesuffix(" again")))
            self.answered += 1
            self.story += [f"{self.answered}. {data['say']}", f"   healthy {data['healthy']}  ->  {typed}"]
            return [{"observed" if data["kind"] == "observation" else "value": typed}]
        if kind == "outcome":
            told = [word for word in ("ruled_out", "raised", "doubted") if data[word]]
            self.story += [f"   {word}: {'; '.join(data[word])}" for word in told]
        elif kind != "hello":
            self.story += [
                f"{kind}: {data.get('say') or data}",
                *(f"   prove: {line}" for line in data.get("prove", ())),
            ]
        return []


class Mender(Driver):
    """The same, who mends the car at the first verdict and says so."""

    def answer(self, data: dict[str, Any]) -> list[dict[str, Any]]:
        """As the other; after the verdict, `repaired`."""
        replies = super().answer(data)
        if data["type"] == "verdict" and self.car.fault:
            self.car = self.car.repaired(0)
            leading = data["suspects"][0]
            return [{"repaired": f"{leading['part']}:{leading['mode']}"}]
        return replies


def names(suspects: list[dict[str, Any]]) -> set[str]:
    return {f"{each['part']}:{each['mode']}" for each in suspects}


@pytest.mark.parametrize(("name", "severity", "seed", "worked"), STORIES)
def test_a_car_with_this_fault_is_found_out_in_a_few_answers(
    tmp_path: Path, fault_named: Callable[[str], Fault], check_of: Callable[[str], Check],
    name: str, severity: float | None, seed: int, worked: str,
) -> None:  # fmt: skip
    session = Session.start(SHIPPED, folder=tmp_path)
    person = Driver(Car(session.table.network, fault_named(name), severity, seed), check_of, worked)
    assert person.car.matters()
    JsonLines(session, person.seen.append).run(person.lines())
    session.close()
    print("\n".join(["", *person.story]))
    verdict = person.seen[-1]
    story = "\n".join(person.story)
    assert verdict["type"] == "verdict", story
    assert verdict["sure"], story
    first_group = names(verdict["suspects"][:1]) | names(verdict["look_alikes"])
    assert name in first_group, story
    assert 2 <= person.answered <= MOST_ANSWERS, story
    assert verdict["repair"], story
    assert verdict["prove"], story
    assert "problem" not in {data["type"] for data in person.seen}


def test_a_pump_that_dies_while_cranking_is_not_judged_before_its_feed_was_read(
    tmp_path: Path, fault_named: Callable[[str], Fault], check_of: Callable[[str], Check]
) -> None:
    """An electrician would not move a wire before seeing 86 live at accessory, or dead while cranking."""
    session = Session.start(SHIPPED, folder=tmp_path)
    car = Car(session.table.network, fault_named("ignition_out:accessory-feed"), None, 812)
    person = Driver(car, check_of, "no")
    JsonLines(session, person.seen.append).run(person.lines())
    session.close()
    asked = [data for data in person.seen if data["type"] == "check"]
    telling = [data for data in asked if data["setup"]["key"] in ("accessory", "cranking")]
    assert telling, "\n".join(person.story)


@pytest.mark.parametrize(("name", "severity", "seed"), [("pump_ground:bad", 0.8, 821), ("main_fuse:blown", None, 841)])
def test_a_repair_is_proved_over_the_lines(
    tmp_path: Path, fault_named: Callable[[str], Fault], check_of: Callable[[str], Check],
    name: str, severity: float | None, seed: int,
) -> None:  # fmt: skip
    """The verdict is answered with `repaired`, the car is mended, and the talk ends in a verdict that it holds."""
    session = Session.start(SHIPPED, folder=tmp_path)
    person = Mender(Car(session.table.network, fault_named(name), severity, seed), check_of)
    JsonLines(session, person.seen.append).run(person.lines())
    session.close()
    story = "\n".join(person.story)
    verdicts = [data for data in person.seen if data["type"] == "verdict"]
    assert len(verdicts) == 2, story
    assert names(verdicts[1]["suspects"][:1]) == {"circuit:nothing-wrong"}, story
    assert "The repair holds" in verdicts[1]["say"], story
    assert verdicts[1]["repair"] == [], story


# ---- the real process


class Process:
    """`python -m troubleshoot find ... --json` with pipes."""

    def __init__(self, *words: str) -> None:
        environment = {**os.environ, "PYTHONUTF8": "1"}
        self.child = subprocess.Popen(
            [sys.executable, "-m", "troubleshoot", "find", *words, "--json"], env=environment,
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, encoding="utf-8",
        )  # fmt: skip

    def get(self) -> dict[str, Any]:
        assert self.child.stdout
        line = self.child.stdout.readline()
        assert line, self.child.stderr.read() if self.child.stderr else ""
        data: dict[str, Any] = json.loads(line)
        return data

    def send(self, data: dict[str, Any]) -> None:
        assert self.child.stdin
        self.child.stdin.write(json.dumps(data) + "\n")
        self.child.stdin.flush()

    def end(self) -> int:
        for pipe in (self.child.stdin, self.child.stdout, self.child.stderr):
            if pipe:
                pipe.close()
        return self.child.wait(timeout=20)


def talk_on(process: Process, person: Driver, most: int) -> dict[str, Any]:
    """Answers until the verdict or until `most` checks are answered; gives the last object read."""
    while True:
        data = process.get()
        person.seen.append(data)
        if data["type"] == "verdict" or (data["type"] == "check" and person.answered >= most):
            return data
        for reply in person.answer(data):
            process.send(reply)


def test_the_real_process_stops_when_told_and_ends_well(tmp_path: Path) -> None:
    process = Process(SHIPPED, "--folder", str(tmp_path / "jobs"))
    assert process.get()["protocol"] == 1
    assert process.get()["type"] == "gate"
    process.send({"stop": "fuel smell"})
    assert process.get()["type"] == "stopped"
    assert process.end() == 0


def test_a_process_killed_midway_goes_on_where_it_was_to_its_verdict(
    tmp_path: Path, network: Network, fault_named: Callable[[str], Fault], check_of: Callable[[str], Check]
) -> None:
    person = Driver(Car(network, fault_named("main_fuse:blown"), None, 841), check_of)
    process = Process(SHIPPED, "--folder", str(tmp_path / "jobs"))
    waiting = talk_on(process, person, 1)
    process.child.kill()
    process.end()
    again = Process("--resume", person.seen[0]["session"])
    assert again.get()["type"] == "hello"
    check = again.get()
    assert check == waiting, "it goes on with the check that was open"
    for reply in person.answer(check):
        again.send(reply)
    verdict = talk_on(again, person, MOST_ANSWERS)
    assert "main_fuse:blown" in names(verdict["suspects"][:1]) | names(verdict["look_alikes"]), person.story
    assert again.end() == 0
