"""Trees for a folder of circuits: the same whoever makes them, and kept as they come."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from troubleshoot import command_line
from troubleshoot.errors import TypedWrong
from troubleshoot.plain import compiled_text
from troubleshoot.session.compiling import Made, Order, make, orders
from troubleshoot.tree import many
from troubleshoot.tree.many import work_on
from troubleshoot.tree.tree_file import read_tree

LAMP = (Path(__file__).parent / "lamp.yaml").read_text(encoding="utf-8")
FLEET = {"lamp": LAMP, "long-lamp": LAMP.replace("length: 1.5 m", "length: 6 m")}
NAMES = tuple(FLEET)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two circuits, each in a folder of its own."""
    found = tmp_path_factory.mktemp("fleet")
    for name, text in FLEET.items():
        (found / name).mkdir()
        (found / name / "circuit.yaml").write_text(text, encoding="utf-8")
    return found


def wanted(folder: Path) -> dict[str, Order]:
    return {str(path): order for path, order in orders(folder, budget=200, patience=(1e-3, 2e-3)).items()}


@pytest.fixture(scope="module")
def on_one_core(folder: Path) -> dict[str, Made]:
    return dict(work_on(wanted(folder), make, cores=1))


def test_one_core_makes_a_tree_of_every_circuit(folder: Path, on_one_core: dict[str, Made]) -> None:
    assert set(on_one_core) == {str(folder / name / "tree.yaml") for name in NAMES}
    assert all(made.tree and not made.problem for made in on_one_core.values())
    one, other = on_one_core.values()
    assert one.figures != other.figures


def test_two_cores_make_the_same_trees(folder: Path, on_one_core: dict[str, Made]) -> None:
    assert dict(work_on(wanted(folder), make, cores=2)) == on_one_core


@pytest.mark.slow
def test_a_cluster_makes_the_same_trees(folder: Path, on_one_core: dict[str, Made]) -> None:
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None) as cluster:
        assert dict(work_on(wanted(folder), make, scheduler=cluster.scheduler_address)) == on_one_core


def test_a_scheduler_that_does_not_answer_is_told(monkeypatch: pytest.MonkeyPatch, folder: Path) -> None:
    pytest.importorskip("distributed")
    monkeypatch.setattr(many, "REACH_S", 1)
    with pytest.raises(TypedWrong, match="no scheduler answers"):
        list(work_on(wanted(folder), make, scheduler="tcp://127.0.0.1:1"))


def test_one_bad_circuit_does_not_stop_the_others(folder: Path, tmp_path: Path) -> None:
    shutil.copytree(folder / "lamp", tmp_path / "lamp")
    (tmp_path / "wrong").mkdir()
    (tmp_path / "wrong" / "circuit.yaml").write_text("title: nothing\n", encoding="utf-8")
    done = dict(work_on(wanted(tmp_path), make, cores=1))
    assert done[str(tmp_path / "lamp" / "tree.yaml")].tree
    assert "wrong" in done[str(tmp_path / "wrong" / "tree.yaml")].problem


def test_a_folder_without_circuits_is_told(tmp_path: Path) -> None:
    with pytest.raises(TypedWrong, match=r"no circuit\.yaml"):
        orders(tmp_path)


def test_an_interruption_keeps_what_is_done(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, on_one_core: dict[str, Made]
) -> None:
    for name in NAMES:
        shutil.copytree(folder / name, tmp_path / name)

    def first_only(jobs: dict[str, Order], *_: object) -> Iterator[tuple[str, Made]]:
        yield next(iter(jobs)), on_one_core[str(folder / NAMES[0] / "tree.yaml")]
        raise KeyboardInterrupt

    monkeypatch.setattr(many, "work_on", first_only)
    assert command_line.main(["tree", "compile", str(tmp_path)]) == 130
    assert read_tree(tmp_path / NAMES[0]).steps
    assert not (tmp_path / NAMES[1] / "tree.yaml").exists()


def test_a_tree_that_is_there_is_not_written_over_unasked(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str],
    on_one_core: dict[str, Made],
) -> None:  # fmt: skip
    shutil.copytree(folder / NAMES[0], tmp_path / NAMES[0])
    target = tmp_path / NAMES[0] / "tree.yaml"
    target.write_text("mine", encoding="utf-8")
    made = on_one_core[str(folder / NAMES[0] / "tree.yaml")]
    monkeypatch.setattr(many, "work_on", lambda jobs, *_: [(name, made) for name in jobs])
    assert command_line.main(["tree", "compile", str(tmp_path / NAMES[0])]) == 1
    assert "--force" in capsys.readouterr().err
    assert target.read_text(encoding="utf-8") == "mine"
    assert command_line.main(["tree", "compile", str(tmp_path / NAMES[0]), "--force"]) == 0
    assert target.read_text(encoding="utf-8") == made.tree
    assert "to tell all apart takes at least" in capsys.readouterr().out


def test_what_is_done_passes_through_the_bar_in_order(capsys: pytest.CaptureFixture[str]) -> None:
    import sys

    assert list(compiled_text.progress(iter("abc"), 3, sys.stderr)) == ["a", "b", "c"]
    assert capsys.readouterr().err == ""  # nobody looks on
