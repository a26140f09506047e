"""The log: on disk before anything is acknowledged, whole lines or nothing, one process at a time."""

from __future__ import annotations

import errno
import json
import os
from collections.abc import Callable
from pathlib import Path

import pytest

from troubleshoot.session.log import Log, LogFailed


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "job.jsonl"


def events_of(path: Path) -> list[dict[str, object]]:
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]


def test_an_event_is_written_and_fsynced_before_append_returns(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    log = Log(path, create=True)
    done: list[str] = []
    write, fsync = os.write, os.fsync

    def written(file: int, data: bytes) -> int:
        done.append("write")
        return write(file, data)

    def synced(file: int) -> None:
        done.append("fsync")
        assert path.read_bytes().endswith(b"\n"), "fsynced before the whole line was written"
        fsync(file)

    monkeypatch.setattr(os, "write", written)
    monkeypatch.setattr(os, "fsync", synced)
    log.append({"event": "noted"})
    assert done == ["write", "fsync"]
    log.close()


def test_short_writes_are_carried_on_until_the_line_is_whole(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    log = Log(path, create=True)
    write = os.write
    monkeypatch.setattr(os, "write", lambda file, data: write(file, bytes(data)[:7]))
    log.append({"event": "noted", "note": "a line of more than seven bytes, with ünïcode in it"})
    monkeypatch.undo()
    assert events_of(path) == [{"event": "noted", "note": "a line of more than seven bytes, with ünïcode in it"}]
    log.close()


def full_after(count: int) -> Callable[[int, bytes], int]:
    """A write that takes `count` bytes and finds the disk full."""
    left = [count]
    write = os.write

    def writing(file: int, data: bytes) -> int:
        if not left[0]:
            raise OSError(errno.ENOSPC, "No space left on device")
        taken = write(file, bytes(data)[: left[0]])
        left[0] -= taken
        return taken

    return writing


@pytest.mark.parametrize("fits", [0, 1, 20])
def test_a_full_disk_is_told_nothing_acknowledged_is_lost_and_the_next_event_is_kept(
    path: Path, monkeypatch: pytest.MonkeyPatch, fits: int
) -> None:
    log = Log(path, create=True)
    log.append({"event": "first"})
    monkeypatch.setattr(os, "write", full_after(fits))
    with pytest.raises(LogFailed) as raised:
        log.append({"event": "second", "note": "x" * 50})
    assert "No space left" in str(raised.value)
    assert "again" in raised.value.problem.hint
    monkeypatch.undo()
    assert path.read_bytes().endswith(b"\n")
    assert events_of(path) == [{"event": "first"}]
    log.append({"event": "third"})
    assert events_of(path) == [{"event": "first"}, {"event": "third"}]
    log.close()


def test_an_event_whose_fsync_fails_is_taken_back(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    log = Log(path, create=True)
    log.append({"event": "first"})

    def failing(file: int) -> None:
        raise OSError(errno.EIO, "Input/output error")

    monkeypatch.setattr(os, "fsync", failing)
    with pytest.raises(LogFailed):
        log.append({"event": "second"})
    monkeypatch.undo()
    assert events_of(path) == [{"event": "first"}]
    log.close()


def test_a_torn_piece_that_cannot_be_taken_back_does_not_spoil_the_next_event(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Full, and the cut fails too: what is acknowledged afterwards must not be glued to the piece."""
    log = Log(path, create=True)
    log.append({"event": "first"})

    def failing(file: int, size: int) -> None:
        raise OSError(errno.EIO, "Input/output error")

    monkeypatch.setattr(os, "write", full_after(9))
    monkeypatch.setattr(os, "ftruncate", failing)
    with pytest.raises(LogFailed):
        log.append({"event": "second"})
    monkeypatch.undo()
    log.append({"event": "third"})
    log.close()
    again = Log(path, create=False)
    assert again.read() == [{"event": "first"}, {"event": "third"}]
    again.close()


@pytest.mark.parametrize("tail", [b'{"event": "sec', b"\x00\x00\x00", b'{"event":"second"}'])
def test_a_torn_last_line_is_dropped_and_told(path: Path, tail: bytes) -> None:
    path.write_bytes(b'{"event":"first"}\n' + tail)
    log = Log(path, create=False)
    assert log.read() == [{"event": "first"}]
    assert log.torn
    assert path.read_bytes() == b'{"event":"first"}\n'
    log.append({"event": "next"})
    log.close()
    assert events_of(path) == [{"event": "first"}, {"event": "next"}]


def test_a_whole_file_is_not_called_torn(path: Path) -> None:
    path.write_bytes(b'{"event":"first"}\n')
    log = Log(path, create=False)
    log.read()
    assert not log.torn
    log.close()


@pytest.mark.parametrize("middle", [b"{not json", b"[1]", b'{"no": "event"}', b"\xff\xfe", b"", b'{"event": 3}'])
def test_a_damaged_middle_line_is_refused_with_file_and_line(path: Path, middle: bytes) -> None:
    whole = b'{"event":"first"}\n' + middle + b'\n{"event":"third"}\n'
    path.write_bytes(whole)
    log = Log(path, create=False)
    with pytest.raises(LogFailed) as raised:
        log.read()
    assert raised.value.problem.code == "log-damaged"
    assert f"{path}:2" in str(raised.value)
    assert path.read_bytes() == whole, "a damaged file is left as it is"
    log.close()


def test_a_log_that_another_holds_is_told_and_let_be(path: Path) -> None:
    first = Log(path, create=True)
    with pytest.raises(LogFailed, match="another"):
        Log(path, create=False)
    first.close()
    second = Log(path, create=False)
    second.close()
    second.close()  # closing twice is no error


def test_a_log_is_never_begun_over_another(path: Path) -> None:
    path.write_text("precious\n", encoding="utf-8")
    with pytest.raises(LogFailed):
        Log(path, create=True)
    assert path.read_text(encoding="utf-8") == "precious\n"


def test_a_folder_or_a_missing_file_is_told_in_one_message(tmp_path: Path) -> None:
    for wrong in (tmp_path, tmp_path / "nothing.jsonl"):
        with pytest.raises(LogFailed) as raised:
            Log(wrong, create=False)
        assert str(wrong) in str(raised.value)
