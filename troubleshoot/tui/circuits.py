"""Choosing the circuit of a new job by what it feeds, when it applies, and its drawing; or the path of one's own."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from troubleshoot import places
from troubleshoot.circuit.circuit import Circuit
from troubleshoot.circuit.network import wire_up
from troubleshoot.draw import Path as CircuitPath
from troubleshoot.draw import draw_path, find_paths
from troubleshoot.errors import Problem, TroubleshootError, TypedWrong
from troubleshoot.files.circuit_file import load_circuit
from troubleshoot.session.session import Session
from troubleshoot.tui.choice import ChoicePage, Option
from troubleshoot.tui.sheet import Sheet
from troubleshoot.units import quote


@dataclass(frozen=True)
class Shown:
    """A circuit of the list."""

    path: Path
    circuit: Circuit

    def drawing(self, gauge: str) -> tuple[CircuitPath, ...]:
        """Its lines from battery to battery."""
        return _drawn(self.path, self.path.stat().st_mtime_ns, gauge)


@lru_cache(maxsize=64)
def _drawn(path: Path, changed_ns: int, gauge: str) -> tuple[CircuitPath, ...]:
    del changed_ns  # a file that has changed since is drawn anew
    return tuple(find_paths(wire_up(load_circuit(path)), gauge))  # type: ignore[arg-type]


class CircuitsPage(ChoicePage):
    """The shipped circuits; a path typed adds one's own."""

    def __init__(self) -> None:
        super().__init__()
        self.shown: list[Shown] = []

    def title_line(self) -> str:
        return "Begin a job: which circuit?"

    def on_mount(self) -> None:
        super().on_mount()
        self.do("reading the circuits", self._read_shipped, self._show)

    def _read_shipped(self) -> tuple[list[Shown], list[str]]:
        """All that can be read, and what is wrong with those that cannot."""
        found, wrong = [], []
        for path in sorted(places.trees().glob("*/circuit.yaml")):
            try:
                found.append(Shown(path, load_circuit(path)))
            except TroubleshootError as error:
                wrong.append(str(error))
        return found, wrong

    def _show(self, read: tuple[list[Shown], list[str]]) -> None:
        self.shown, wrong = read
        self.trouble = "\n".join(wrong)

    def ask(self) -> str:
        return "Which circuit is it? Type its number, or the path of a circuit.yaml of your own. (Esc: back)"

    def options(self) -> list[Option]:
        return [
            Option(str(s.path), s.circuit.title, s.circuit.applies if i == self.marked else "")
            for i, s in enumerate(self.shown)
        ]

    def paint(self, sheet: Sheet) -> None:
        super().paint(sheet)
        if not self.is_wide:
            sheet.gap()
            self.paint_aside(sheet)

    def paint_aside(self, sheet: Sheet) -> bool:
        if not self.shown:
            return False
        for path in self.shown[self.marked].drawing(self.ours.settings.gauge):
            sheet.head(f"From battery to battery {path.title}")
            sheet.drawing(draw_path(path, min(sheet.width, 78), self.look.strokes))
            sheet.gap()
        return True

    def prompt(self) -> str:
        return "number or path"

    def chose(self, option: Option) -> None:
        self._begin(Path(option.value))

    def typed(self, text: str) -> None:
        self._begin(Path(text.strip()).expanduser())

    def _begin(self, path: Path) -> None:
        guesses = Path(self.ours.settings.guesses) if self.ours.settings.guesses else None

        def start() -> Session:
            try:
                return Session.start(
                    path,
                    folder=self.ours.folder,
                    guesses=guesses,
                    accuracy_percent=self.ours.settings.accuracy_percent,
                    clock=self.ours.clock,
                )
            except (OSError, ValueError) as error:  # what is typed may be no path at all
                reason = getattr(error, "strerror", "") or str(error)
                raise TypedWrong(
                    Problem("no-circuit", f"that is no circuit file: {reason}", where=quote(str(path)))
                ) from None

        self.do("reading the circuit", start, self._began)

    def _began(self, session: Session) -> None:
        self.ours.open_session(session)

    def go_back(self) -> None:
        self.dismiss()
