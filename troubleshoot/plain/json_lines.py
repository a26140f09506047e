"""`find --json`: one JSON object a line each way. The first line out carries the protocol number."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from typing import Any

from troubleshoot.circuit.complaints import complaints_of
from troubleshoot.errors import Problem, TroubleshootError, TypedWrong
from troubleshoot.session.cards import CheckCard, VerdictCard, part_mode
from troubleshoot.session.session import Session
from troubleshoot.words import say
from troubleshoot.words.answers import COMMANDS

PROTOCOL = 1
LONGEST_LINE = 100_000


class JsonLines:
    """One session over JSON lines. `tell` is given each object to send."""

    def __init__(self, session: Session, tell: Callable[[dict[str, Any]], None]) -> None:
        self.session = session
        self._tell = tell
        self._over = False

    def run(self, lines: Iterable[str]) -> None:
        """Answers every line in turn until a stop or the end of the lines."""
        circuit = self.session.circuit
        self._tell({
            "type": "hello", "protocol": PROTOCOL, "circuit": self.session.circuit_name, "title": circuit.title,
            "feeds": circuit.feeds, "complaints": complaints_of(circuit), "session": str(self.session.path),
            "points": [p.node for p in self.session.table.network.points], "torn": self.session.torn,
        })  # fmt: skip
        if self.session.state.cleared and not self.session.state.stopped:
            self._go_on()
        else:
            self._tell({"type": "gate", "questions": list(say.SAFETY_QUESTIONS), "caution": say.GENERAL_CAUTION})
        for line in lines:
            if self._over:
                return
            if not line.strip():
                continue
            try:
                self._take(_object(line))
            except TroubleshootError as error:
                self._problem(str(error))
            except (KeyError, TypeError, ValueError, AttributeError, RecursionError) as error:
                self._problem(f"this object cannot be understood: {error}")

    def _problem(self, message: str) -> None:
        self._tell({"type": "problem", "message": message})

    def _take(self, data: dict[str, Any]) -> None:
        session = self.session
        if "stop" in data:
            self._over = True
            self._tell({"type": "stopped", "say": session.stop(str(data["stop"]))})
        elif "gate" in data:
            if data["gate"] == "clear":
                session.clear_gate()
                self._go_on()
            else:
                self._over = True
                self._tell({"type": "stopped", "say": session.stop(str(data["gate"]))})
        elif not session.state.cleared or session.state.stopped:
            self._problem('answer the safety questions first: {"gate": "clear"}')
        elif "complaint" in data:
            session.tell(
                str(data["complaint"]), dict(data.get("can", {})), str(data.get("worked", "unknown")),
                str(data.get("touched", "")), str(data.get("present", "unknown")),
            )  # fmt: skip
            self._go_on()
        elif session.state.told is None:
            self._problem('tell the complaint first: {"complaint": "unsure"}')
        else:
            self._take_answer(data)

    def _take_answer(self, data: dict[str, Any]) -> None:
        session = self.session
        if "verdict" in data:
            self._tell(session.verdict().as_data())
            return
        if "carries" in data or "why_not" in data:
            why = session.carries() if "carries" in data else session.why_not(str(data["why_not"]))
            self._tell(why.as_data())
            return
        if "repaired" in data:
            self._repaired(data["repaired"])
        elif "undo" in data:
            session.undo()
        elif "confirm" in data:
            which = data["confirm"]
            if which is not False:
                self._tell(session.confirm(which if type(which) is int else 0).as_data())
        elif "reading" in data:
            if not self._took(self._own_reading(dict(data["reading"]))):
                return
        else:
            card = session.next_check()
            if isinstance(card, VerdictCard):
                self._problem("there is no check to answer")
                return
            if "skip" in data:
                if taught := session.skip(card, str(data["skip"])):
                    self._tell({"type": "noted", "say": taught, "can": session.state.can.model_dump(mode="json")})
            elif "value" in data or "observed" in data:
                text = str(data.get("value", data.get("observed")))
                if text.strip().lower() in COMMANDS:
                    raise ValueError(f"{text!r} is a command of the plain dialogue")
                if not self._took(session.record(card, text)):
                    return
            else:
                self._problem("no known field; one of: value, observed, confirm, skip, reading, undo, verdict, "
                              "why_not, carries, repaired, stop")  # fmt: skip
                return
        self._go_on()

    def _repaired(self, named: Any) -> None:
        """Goes on after a repair: of what leads (`true`), or of the part or suspect named. Raises TypedWrong."""
        if not isinstance(self.session.next_check(), VerdictCard):
            raise TypedWrong(
                Problem("no-verdict-yet", "there is no verdict yet to repair by", "answer the check first")
            )
        told = self.session.repaired(() if named is True else (str(named),))
        suspects = [part_mode(name) for name in self.session.state.repairs[-1].suspects]
        self._tell({"type": "repaired", "suspects": suspects, "say": say.say_repaired(told)})

    def _own_reading(self, given: dict[str, Any]) -> Any:
        setup = given.get("setup") or {}
        removed = {str(name) for name in (*setup.get("unplugged", ()), *setup.get("fuses_out", ()))}
        network = self.session.table.network
        if setup.get("relay") == "out":
            removed |= set(network.circuit.relays)
        if setup.get("battery_negative") == "off":
            removed.add(network.circuit.battery)
        return self.session.record_reading(
            str(given["red"]), str(given.get("black", "")), str(given.get("function", "volts")),
            str(setup["key"]), str(given["value"]), frozenset(removed),
        )  # fmt: skip

    def _took(self, outcome: Any) -> bool:
        """Tells the outcome; False when it is a question to answer first."""
        self._tell(outcome.as_data())
        return bool(outcome.as_data()["type"] == "outcome")

    def _go_on(self) -> None:
        """Sends the next check, or the verdict; after that too the talk goes on, with `repaired`, `undo` and others."""
        if self.session.state.told is None:
            return
        card = self.session.next_check()
        self._tell(card.as_data(self.session.table.network) if isinstance(card, CheckCard) else card.as_data())


def _object(line: str) -> dict[str, Any]:
    if len(line) > LONGEST_LINE:
        raise ValueError("the line is too long")
    data = json.loads(line)
    if not isinstance(data, dict):
        raise ValueError("not a JSON object")
    return data
