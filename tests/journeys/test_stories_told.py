"""Ten stories told as a person would, each with its trap, through the plain dialogue, on sampled cars.

What is said in each is kept in stories_said.txt, read by a person line by line, asking at every line whether that is
what a good electrician would have asked next; `python tests/journeys/test_stories_told.py --store` writes it anew.
"""

from __future__ import annotations

import re
import sys
import tempfile
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from ruamel.yaml import YAML

from troubleshoot import Session
from troubleshoot.car import Car
from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.complaints import complaints_of
from troubleshoot.circuit.network import Network, wire_up
from troubleshoot.circuit.setups import Setup
from troubleshoot.files.circuit_file import parse_circuit
from troubleshoot.parts.branch import Fault
from troubleshoot.places import circuit_path
from troubleshoot.plain.dialogue import Dialogue
from troubleshoot.session.ability import Can
from troubleshoot.session.cards import CheckCard, VerdictCard
from troubleshoot.session.typed import find_check
from troubleshoot.solve.cases import OPEN
from troubleshoot.units import show

HERE = Path(__file__).parent
SAID = HERE / "stories_said.txt"
STORIES: list[dict[str, Any]] = YAML(typ="safe").load(HERE / "stories_told.yaml")
NAMES = [story["name"] for story in STORIES]
AT = datetime(2024, 5, 6, 7, 8, tzinfo=UTC)


class Person:
    """Answers every prompt as the story tells: what the car shows, bent where the trap is."""

    def __init__(self, session: Session, story: dict[str, Any]) -> None:
        self.session = session
        self.story = story
        self.told = story["told"]
        self.car = car_of(session.table.network, story)
        self.well = Car(session.table.network, None, None, story.get("car", story.get("hidden"))["seed"])
        self.trap = dict(story.get("trap", {}))
        self.left = int(self.trap.get("times", 99))
        self.asides = {number: list(lines) for number, lines in story.get("says", {}).items()}
        self.touched = False
        self.bent = 0
        self.lines: list[str] = []

    def tell(self, line: str) -> None:
        self.lines.append(line)

    def ask(self, prompt: str) -> str:
        text = self._typed(prompt)
        self.lines.append(f"{prompt}{text}")
        return text

    def _typed(self, prompt: str) -> str:
        if prompt == "> ":
            return self._at_check()
        if prompt.startswith("complaint"):
            return str(list(complaints_of(self.session.circuit)).index(self.told["complaint"]) + 1)
        for words, key in (("ever work", "worked"), ("touched last", "touched"), ("right now", "present")):
            if words in prompt:
                return str(self.told[key])
        if prompt.startswith("numbers"):
            offered = [n for n in Can.asked() if n not in ("helper", "fetch") and not getattr(Can(), n)]
            return " ".join(str(offered.index(tool) + 1) for tool in self.told.get("tools", ()))
        if prompt.startswith("can't"):
            return str(self.told.get("cant", ""))
        return "" if prompt.startswith("verdict") else "no"

    def _at_check(self) -> str:
        number = len(self.session.state.entries) + 1
        asides = self.asides.get(number) or self.asides.get(1) or []
        if asides:
            return self._aside(str(asides.pop(0)))
        card = self.session.next_check()
        assert isinstance(card, CheckCard)
        return self._answer(card.check)

    def _aside(self, words: str) -> str:
        """What is typed of one's own accord; READ is what the car shows there."""
        if not words.endswith("READ"):
            return words
        check = find_check(self.session.table, words.replace("READ", "0"))[0]
        return words.replace("READ", self.car.answer(check))

    def _answer(self, check: Check) -> str:
        """What the car shows, or what the trap makes of it."""
        if check.setup.reseated or ("touched" in self.trap and self.trap["touched"] in check.setup.removed):
            self.touched = True
        if "touched" in self.trap and self.touched:
            self.bent += 1
            return self.well.answer(check)
        text = self.car.answer(check)
        if not self.left or not self.trap or "touched" in self.trap or not self._falls_into(check, text):
            return text
        self.left -= 1
        self.bent += 1
        if "text" in self.trap:
            return str(self.trap["text"])
        if self.trap.get("swapped"):
            return show(-volts(text), "voltage")
        late = replace(check, setup=Setup(self.trap["key"]), function="volts")
        return self.car.answer(late)

    def _falls_into(self, check: Check, text: str) -> bool:
        if "at" in self.trap and self.trap["at"] not in check.id:
            return False
        if "key" in self.trap and check.kind != "reading":
            return False
        if "above" in self.trap:
            return check.kind == "reading" and not check.is_ohms and abs(volts(text)) > self.trap["above"]
        return True


def volts(text: str) -> float:
    """What a car shows, in V; 0 for what is none."""
    number, _, unit = text.partition(" ")
    return float(number) * (1e-3 if unit == "mV" else 1.0) if unit in ("V", "mV") else 0.0


def car_of(network: Network, story: dict[str, Any]) -> Car:
    """The story's car: with one fault, two or none; or one with a switch in a wire, which the file knows nothing of."""
    if "hidden" in story:
        return with_hidden_switch(story["circuit"], story["hidden"]["wire"], story["hidden"]["seed"])
    told = story["car"]
    by_name = {fault.name: fault for fault in network.faults}
    fault: Fault | None = by_name[told["fault"]] if told["fault"] else None
    ohm = OPEN if told.get("severity") == "open" else told.get("severity")
    second = (by_name[told["second"]], None) if "second" in told else None
    return Car(network, fault, ohm, told["seed"], second)


def with_hidden_switch(circuit: str, wire: str, seed: int) -> Car:
    """A car whose `wire` runs through a switch that is off."""
    lines = circuit_path(circuit).read_text(encoding="utf-8").splitlines()
    at = next(i for i, line in enumerate(lines) if f"name: {wire}," in line)
    before, _, end = lines[at].partition("to: ")
    far, _, rest = end.partition(",")
    lines[at] = f"{before}to: hidden.in,{rest}"
    lines.insert(at + 1, f"  - {{name: on_from_switch, from: hidden.out, to: {far}, gauge: 18 AWG, length: 0.5 m}}")
    ohms = "contact_resistance: 25 mohm, plug_contact: 4 mohm"
    lines.insert(lines.index("parts:") + 1, f"  hidden: {{kind: switch, style: toggle, place: under the dash, {ohms}}}")
    return Car(wire_up(parse_circuit("\n".join(lines), "with a hidden switch")), None, None, seed)


@dataclass(frozen=True)
class Told:
    """How a story went."""

    lines: list[str]
    verdict: VerdictCard
    bent: int
    checks: int


@cache
def told(name: str) -> Told:
    """Tells one story to its verdict."""
    story = next(each for each in STORIES if each["name"] == name)
    with tempfile.TemporaryDirectory() as folder:
        session = Session.start(story["circuit"], folder=Path(folder), clock=lambda: AT)
        person = Person(session, story)
        Dialogue(session, person.ask, person.tell).run()
        verdict, checks = session.verdict(), len(session.state.entries)
        session.close()
    return Told(person.lines, verdict, person.bent, checks)


def said(name: str) -> str:
    """The part of the stored text about one story, from the first check on."""
    story = next(each for each in STORIES if each["name"] == name)
    lines = told(name).lines
    first = next(i for i, line in enumerate(lines) if line.startswith("Check 1."))
    return "\n".join([f"== {name}: {story['trap_told']}", *lines[first:], ""])


def stored() -> list[str]:
    """The stored text, story by story, as `said` gives each."""
    whole = SAID.read_text(encoding="utf-8") + "\n"
    return [part[:-1] for part in re.split(r"^(?=== )", whole, flags=re.MULTILINE) if part]


@pytest.mark.parametrize("story", STORIES, ids=NAMES)
def test_the_story_goes_through_its_trap_to_where_it_should_end(story: dict[str, Any]) -> None:
    """All about a story at once, since to tell it takes seconds."""
    whole = told(story["name"])
    verdict = whole.verdict
    first = [verdict.suspects[0].name, *(line.name for line in verdict.look_alikes)]
    named = {part for name in first for part in name.split(" + ")}
    assert named & set(story["ends"]), verdict.say
    assert not named & set(story.get("never", ())), verdict.say
    assert verdict.sure or not story.get("sure"), verdict.say
    assert whole.bent > 0 or "trap" not in story, "the person did not fall into the trap"
    heard = " ".join(" ".join(whole.lines).split())
    for words in story.get("hears", ()):
        assert words in heard
    assert said(story["name"]) == stored()[NAMES.index(story["name"])], "not what a person has read"


def test_there_are_ten_stories_and_nothing_else_is_in_the_stored_text() -> None:
    assert len(set(NAMES)) == 10
    assert [part[3:].partition(":")[0] for part in stored()] == NAMES


if __name__ == "__main__" and "--store" in sys.argv:
    SAID.write_text("\n".join(said(name) for name in NAMES), encoding="utf-8")
