"""What many tests share: the shipped circuit's table, worked out once a run because it takes seconds."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path

# before numpy comes: two processes of tests, each with a thread of BLAS for every core, get in each other's way
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest
from hypothesis import settings

from troubleshoot.car.car import Car
from troubleshoot.circuit.checks import Check
from troubleshoot.circuit.guesses import Guesses
from troubleshoot.circuit.network import Network
from troubleshoot.diagnose.evidence import Known, known_from
from troubleshoot.diagnose.reason import Reasoner
from troubleshoot.expect.table import Table
from troubleshoot.files.guesses_file import load_guesses
from troubleshoot.parts.branch import Fault
from troubleshoot.places import circuit_path, trees
from troubleshoot.session.ability import Can
from troubleshoot.session.kept import table_of
from troubleshoot.session.session import Session
from troubleshoot.session.state import expects
from troubleshoot.words.answers import read_answer

# the same examples every time where a run must be repeatable; new ones each time at the desk
settings.register_profile("desk", deadline=None)
settings.register_profile("repeatable", deadline=None, derandomize=True)
settings.load_profile("repeatable" if os.environ.get("CI") else "desk")

SHIPPED = "pump-on-ignition-feed"

ReadOff = Callable[[Car, Check], Known]
FaultNamed = Callable[[str], Fault]


@pytest.fixture(scope="session", autouse=True)
def own_cache(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Worked-out tables are kept in a folder of this run, which its workers share: never in the person's own."""
    folder = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        folder = folder.parent
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(folder / "kept"))
        yield


@pytest.fixture(scope="session")
def table() -> Table:
    """The same table object that every session on the shipped circuit uses: one build a run."""
    return table_of(circuit_path(SHIPPED).read_text(encoding="utf-8"), SHIPPED, "")


@pytest.fixture(scope="session")
def network(table: Table) -> Network:
    return table.network


@pytest.fixture(scope="session")
def guesses() -> Guesses:
    return load_guesses()


@pytest.fixture(scope="session")
def reasoner(table: Table, guesses: Guesses) -> Reasoner:
    """All that one person with a usual meter and long leads can do."""
    return Reasoner.shared(table, guesses, Can().allowed(table.network, table.checks))


@pytest.fixture(scope="session")
def fault_named(network: Network) -> FaultNamed:
    by_name = {fault.name: fault for fault in network.faults}
    return by_name.__getitem__


@pytest.fixture(scope="session")
def check_of(table: Table) -> Callable[[str], Check]:
    by_id = {check.id: check for check in table.checks}
    return by_id.__getitem__


@pytest.fixture(scope="session")
def read_off() -> ReadOff:
    """What a person would type for a check on a car, all the way through the grammar."""

    def read(car: Car, check: Check) -> Known:
        return known_from(check, read_answer(car.answer(check), expects(check), check.answers))

    return read


@pytest.fixture
def apart_file(tmp_path: Path) -> Path:
    """The file of the small tree with a step that tells apart what its verdict 'relay' names."""
    text = (Path(__file__).parent / "tree" / "small_tree.yaml").read_text(encoding="utf-8")
    for old, new in (
        ("../../trees", str(trees())),
        (
            "    suspects: [relay:coil-open, coil_ground:bad]\n",
            "    suspects: [relay:coil-open, coil_ground:bad]\n    tell_apart: coil_side\n"
            "  coil_open: {suspects: [relay:coil-open]}\n  coil_ground: {suspects: [coil_ground:bad]}\n",
        ),
        (
            "\nverdicts:",
            "  coil_side:\n    check: relay.85 to battery.neg volts on\n    1.0 V or more: coil_ground\n"
            "    under 1.0 V: coil_open\n\nverdicts:",
        ),
    ):
        assert old in text
        text = text.replace(old, new)
    file = tmp_path / "apart.yaml"
    file.write_text(text, encoding="utf-8")
    return file


@pytest.fixture
def session(tmp_path: Path) -> Iterator[Session]:
    """A job past the gate, complaint not sure."""
    begun = Session.start(SHIPPED, complaint="unsure", folder=tmp_path)
    yield begun
    begun.close()
