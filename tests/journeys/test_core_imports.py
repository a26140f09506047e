"""Each room of the core imports by itself and brings no screen library in; the bare package brings nothing heavy."""

from __future__ import annotations

import subprocess
import sys

ROOMS = ("units", "parts", "circuit", "files", "solve", "car", "words", "expect", "diagnose", "session", "plain")
EVERY_MODULE = """
import importlib, pkgutil, sys
for name in sys.argv[1:]:
    room = importlib.import_module("troubleshoot." + name)
    for module in pkgutil.walk_packages(room.__path__, room.__name__ + "."):
        importlib.import_module(module.name)
    print(name, *sorted({"textual", "rich"} & set(sys.modules)))
"""


def said_by(code: str, *words: str) -> list[str]:
    done = subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True, check=True)
    return done.stdout.splitlines()


def brought_in(code: str) -> set[str]:
    return {word for line in said_by(code) for word in line.split()}


def test_no_room_of_the_core_brings_in_a_screen_library() -> None:
    """One process, rooms in order of the chain: what none has brought in by the end, none brings in alone."""
    assert said_by(EVERY_MODULE, *ROOMS) == list(ROOMS)


def test_the_package_by_itself_brings_in_nothing_heavy() -> None:
    modules = brought_in('import sys, troubleshoot; print(" ".join(sys.modules))')
    assert "troubleshoot" in modules
    assert not modules & {"numpy", "pydantic", "textual", "pint", "ruamel.yaml"}


def test_the_names_promised_are_there_on_first_use() -> None:
    code = "import troubleshoot as t; print(t.Session.__name__, t.load_circuit.__name__, *t.__all__)"
    assert brought_in(code) == {"Session", "load_circuit"}
