"""The verbs about trees on the command line: what they print, what they write, and what they say when it cannot be."""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from troubleshoot.command_line import main

SMALL = Path(__file__).with_name("small_tree.yaml")


@pytest.fixture
def broken(tmp_path: Path) -> Path:
    file = tmp_path / "tree.yaml"
    text = SMALL.read_text().replace("../../trees", str(SMALL.parents[2] / "trees"))
    file.write_text(text.replace("under 0.5 V: coil", "under 0.4 V: coil"))
    return file


def test_show_prints_the_whole_tree(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["tree", "show", str(SMALL)]) == 0
    told = capsys.readouterr().out
    assert "11. Verdict" in told
    assert "no click  go to 9" in told


@pytest.mark.parametrize("verb", ["show", "page", "print", "walk"])
def test_a_broken_tree_is_told_with_its_line_and_nothing_is_written(
    broken: Path, verb: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(broken.parent)
    assert main(["tree", verb, str(broken)]) == 1
    told = capsys.readouterr().err
    assert "tree.yaml:14: steps.output.0.5 V to 11.0 V: no branch takes what is from 0.4 V up to 0.5 V" in told
    assert [path.name for path in broken.parent.iterdir()] == ["tree.yaml"]


@pytest.mark.parametrize("verb", ["show", "page", "print", "walk"])
def test_a_tree_that_is_not_there_is_told(verb: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["tree", verb, "no-such-tree"]) == 1
    assert "there is no tree 'no-such-tree'" in capsys.readouterr().err


def test_a_page_is_never_written_over_another_file_by_mistake(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    target = tmp_path / "walk.html"
    target.write_text("mine")
    assert main(["tree", "page", str(SMALL), "--out", str(target)]) == 1
    assert "is there already" in capsys.readouterr().err
    assert target.read_text() == "mine"
    assert main(["tree", "page", str(SMALL), "--out", str(target), "--force"]) == 0
    assert target.read_text().startswith("<!doctype html>")
    assert main(["tree", "page", str(SMALL), "--out", str(tmp_path / "walk.txt")]) == 1
    assert "does not end in .html" in capsys.readouterr().err
    assert main(["tree", "page", str(SMALL), "--out", str(tmp_path / "no" / "walk.html")]) == 1


def test_a_walk_by_pipe_is_a_job_like_any_other_and_is_gone_on_with(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("no\nno\nno\n6\n"))
    assert main(["tree", "walk", str(SMALL), "--folder", str(tmp_path)]) == 0
    assert "troubleshoot tree walk --resume" in capsys.readouterr().out
    monkeypatch.setattr("sys.stdin", io.StringIO("12.4\n\n"))
    assert main(["tree", "walk", "--resume", "--folder", str(tmp_path)]) == 0
    told = capsys.readouterr().out
    assert "Step 5." in told
    assert "Verdict 6." in told
    assert len(list(tmp_path.glob("*.jsonl"))) == 1
    assert main(["tree", "walk"]) == 1
    assert "which tree?" in capsys.readouterr().err


def test_tree_alone_asks_for_a_verb(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        main(["tree"])
    assert left.value.code == 2
    assert "which verb of tree?" in capsys.readouterr().err
