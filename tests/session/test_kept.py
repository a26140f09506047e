"""Tables kept on disk: the same as fresh ones, never stale, never in the way."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from troubleshoot import places
from troubleshoot.circuit.cost import Stand
from troubleshoot.diagnose.reason import Reasoner
from troubleshoot.expect.seen import answer_chances, complaint_chances
from troubleshoot.expect.table import Table, build_table
from troubleshoot.session import cache, kept

TEXT = (places.trees() / "training-bench" / "circuit.yaml").read_text()


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A cache folder of the test's own, not there yet."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    kept._table_of.cache_clear()
    yield tmp_path / "troubleshoot"
    kept._table_of.cache_clear()


@pytest.fixture
def built(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Grows by one for every table that is worked out."""
    log: list[str] = []

    def build(*given: object) -> Table:
        log.append("built")
        return build_table(*given)  # type: ignore[arg-type]

    monkeypatch.setattr(kept, "build_table", build)
    return log


def table(text: str = TEXT, guesses: str = "", accuracy: float = 0.5) -> Table:
    """The table as the next start of the program would get it."""
    kept._table_of.cache_clear()
    return kept.table_of(text, "bench", guesses, accuracy)


def the_file(folder: Path) -> Path:
    (path,) = folder.iterdir()
    return path


def test_a_kept_table_is_the_one_that_was_worked_out(built: list[str]) -> None:
    fresh, again = table(), table()
    assert built == ["built"]
    assert again.cells == fresh.cells
    assert again.setups == fresh.setups
    for name in ("mean", "noise", "sigma", "floats"):
        assert np.array_equal(getattr(again.stack, name), getattr(fresh.stack, name)), name
    for check in fresh.checks:
        if check.kind == "observation":
            assert np.array_equal(answer_chances(again, check, 0.01), answer_chances(fresh, check, 0.01))
        else:
            one, other = again.predict(check), fresh.predict(check)
            assert np.allclose(one.slope, other.slope, rtol=1e-9, atol=1e-12), check.id
            assert np.array_equal(one.mean, other.mean)
    assert np.array_equal(complaint_chances(again, "dead"), complaint_chances(fresh, "dead"))


def test_it_reasons_the_same_from_disk() -> None:
    found = []
    for _ in range(2):
        mine = table()
        reasoner = kept.reasoner_of(mine, kept.guesses_of(""), mine.checks)
        choice, belief = reasoner.next_choice([], Stand())
        assert choice
        found.append((choice.check, reasoner.groups, belief.p_cell.tolist()))
    assert found[0] == found[1]


def test_groups_are_looked_up_for_the_very_checks_that_are_allowed(folder: Path) -> None:
    mine, guesses = table(), kept.guesses_of("")
    all_checks = kept.reasoner_of(mine, guesses, mine.checks).groups
    few = [check for check in mine.checks if not check.is_ohms and check.setup.key == "off"]
    mine = table()
    assert kept.reasoner_of(mine, guesses, few).groups == Reasoner(mine, guesses, few).groups
    assert kept.reasoner_of(mine, guesses, mine.checks).groups == all_checks
    assert len(list(folder.iterdir())) == 3


def test_another_circuit_accuracy_guesses_or_program_is_worked_out_anew(
    built: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    table()
    thicker = TEXT.replace("resistance: ", "resistance: 1", 1)
    assert thicker != TEXT
    table(thicker)
    assert len(built) == 2
    table(accuracy=1.0)
    assert len(built) == 3
    shipped = (places.PACKAGE / "files" / "guesses.yaml").read_text()
    own = tmp_path / "guesses.yaml"
    own.write_text(shipped + "\n# the same guesses in another file\n")
    table(guesses=str(own))
    assert len(built) == 3
    monkeypatch.setattr(cache, "PROGRAM", "another program")
    table()
    assert len(built) == 4


def test_other_guesses_are_worked_out_anew(built: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    table()
    guesses = kept.guesses_of("")
    name = next(iter(guesses.priors))
    other = guesses.model_copy(
        update={"priors": guesses.priors | {name: guesses.priors[name].model_copy(update={"value": 0.5})}}
    )
    monkeypatch.setattr(kept, "guesses_of", lambda path: other)
    again = table()
    assert len(built) == 2
    monkeypatch.undo()
    assert not np.array_equal(again.weight, build_table(kept.circuit_of(TEXT, "bench"), guesses).weight)


def test_the_program_is_known_by_its_source(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    for room in cache.ROOMS:
        (tmp_path / room).mkdir()
    (tmp_path / "solve" / "linear.py").write_text("volts = 1")
    monkeypatch.setattr(places, "PACKAGE", tmp_path)
    one = cache._program_hash()
    (tmp_path / "solve" / "linear.py").write_text("volts = 2")
    assert cache._program_hash() != one


@pytest.mark.parametrize("share", [0.0, 0.3, 0.9, 0.999])
def test_a_half_written_file_is_worked_out_anew_and_put_right(folder: Path, built: list[str], share: float) -> None:
    table()
    whole = the_file(folder).read_bytes()
    the_file(folder).write_bytes(whole[: int(len(whole) * share)])
    table()
    assert len(built) == 2
    table()
    assert len(built) == 2


@pytest.mark.parametrize("seed", range(8))
def test_a_damaged_file_is_worked_out_anew(folder: Path, built: list[str], seed: int) -> None:
    fresh = table()
    content = bytearray(the_file(folder).read_bytes())
    rng = np.random.default_rng(seed)
    for at in rng.integers(0, len(content), 200):
        content[at] ^= int(rng.integers(1, 256))
    the_file(folder).write_bytes(bytes(content))
    again = table()
    assert len(built) == 2
    assert np.array_equal(again.stack.mean, fresh.stack.mean)


@pytest.mark.parametrize("content", [b"", b"\0" * 5000, b"PK\x05\x06" + b"\0" * 18, b"cos\nsystem\n(S'true'\ntR."])
def test_a_file_of_something_else_is_worked_out_anew(folder: Path, built: list[str], content: bytes) -> None:
    table()
    the_file(folder).write_bytes(content)
    table()
    assert len(built) == 2


class Trap:
    """Leaves a mark when it is unpickled."""

    def __init__(self, mark: Path) -> None:
        self.mark = mark

    def __reduce__(self) -> tuple[object, ...]:
        return os.mkdir, (str(self.mark),)


def test_nothing_in_a_file_is_run(folder: Path, built: list[str], tmp_path: Path) -> None:
    table()
    path, mark = the_file(folder), tmp_path / "mark"
    arrays = cache.load(path.stem)
    assert arrays
    np.savez(path, **{**arrays, "cells": np.array([Trap(mark)], dtype=object)})
    table()
    assert len(built) == 2
    assert not mark.exists()


@pytest.mark.parametrize("name", ["cells", "states", "told_mean", "look_0", "words"])
def test_arrays_that_do_not_fit_the_circuit_are_not_believed(folder: Path, built: list[str], name: str) -> None:
    table()
    key = the_file(folder).stem
    arrays = cache.load(key)
    assert arrays
    cache.store(key, {**arrays, name: arrays[name][:-1]})
    table()
    assert len(built) == 2


def test_without_a_folder_to_write_to_it_works_all_the_same(
    built: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("no folder")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "file"))
    table()
    assert table().stack.mean.size
    assert len(built) == 2


def test_a_full_disk_leaves_nothing_behind(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*given: object, **more: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(np, "savez", full)
    assert table().stack.mean.size
    assert list(folder.iterdir()) == []


def test_what_was_used_longest_ago_goes_first(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cache, "MOST_BYTES", 25_000)
    for number, key in enumerate(("old", "older", "oldest")):
        cache.store(key, {"a": np.zeros(1000)})
        os.utime(folder / f"{key}.npz", (1e9 - number, 1e9 - number))
    assert cache.load("oldest")
    cache.store("new", {"a": np.zeros(1000)})
    assert sorted(path.stem for path in folder.iterdir()) == ["new", "old", "oldest"]


def test_a_relative_cache_home_is_ignored(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", "here")
    monkeypatch.setenv("HOME", str(tmp_path))
    assert places.cache() == tmp_path / ".cache" / "troubleshoot"
