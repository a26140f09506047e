"""The verb `draw`, as a person would type it."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree

import pytest
from wirings import WIRINGS

from troubleshoot.command_line import main
from troubleshoot.draw import ASCII
from troubleshoot.expect.wall import make_wall
from troubleshoot.plain.drawing_text import drawing_lines, drawing_svg, make_drawing, say_volts

SHIPPED = "pump-on-ignition-feed"


def told(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    status = main(["draw", *words])
    out, err = capsys.readouterr()
    return status, out, err


def test_the_volts_of_the_wall_table_stand_at_the_points(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = told(capsys, SHIPPED, "--key", "off")
    assert status == 0
    coil = next(line for line in out.splitlines() if line.startswith("● terminal 86 of the pump relay"))
    assert coil.endswith("0.00 V")
    fed = next(line for line in out.splitlines() if line.startswith("● terminal 87 of the pump relay"))
    assert re.search(r"12\.\d\d\.\.12\.\d\d V$", fed)
    assert "key off" in out


def test_without_a_key_state_it_is_that_in_which_the_load_should_work(capsys: pytest.CaptureFixture[str]) -> None:
    _, plain, _ = told(capsys, SHIPPED)
    _, on, _ = told(capsys, SHIPPED, "--key", "on")
    assert plain == on


def test_a_fault_changes_the_volts_and_is_marked_where_they_are_outside(capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = told(capsys, SHIPPED, "--fault", "pump_ground:bad=0.5 ohm")
    pin = next(line for line in out.splitlines() if line.startswith("● ground pin of the fuel pump"))
    assert re.search(r"[1-4]\.\d\d V \*$", pin)
    assert "pump ground" in out.partition("Through")[0]


def test_every_wire_is_told_in_the_terminal(capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = told(capsys, SHIPPED)
    flat = " ".join(out.replace("│", " ").split())
    for name in ("fused feed", "gauge ground", "radio feed", "starter trigger", "module feed", "charge wire"):
        assert name in flat


@pytest.mark.parametrize("name", WIRINGS)
@pytest.mark.parametrize("width", [40, 78])
def test_any_circuit_is_drawn_within_the_width(name: str, width: int) -> None:
    circuit = WIRINGS[name]().circuit
    drawing = make_drawing(circuit)
    lines = drawing_lines(drawing, width, ASCII)
    assert all(len(line) <= width for line in lines)
    flat = " ".join(" ".join(lines).replace("|", " ").split())
    for wire in circuit.wires:
        assert wire.spoken in flat
    ElementTree.fromstring(drawing_svg(drawing))


def test_a_coil_that_current_cannot_pass_is_said_to_have_no_way() -> None:
    lines = drawing_lines(make_drawing(WIRINGS["two_grounds"]().circuit))
    assert "There is no way through the coil of the relay" in " ".join(lines)


def test_a_switch_that_must_be_operated_is_said() -> None:
    assert "horn button operated" in make_drawing(WIRINGS["horn"]().circuit).note


def test_the_svg_has_the_volts_of_the_wall_table() -> None:
    circuit = WIRINGS["controlled"]().circuit
    drawing = make_drawing(circuit, "on")
    wall = make_wall(circuit)
    written = drawing_svg(drawing)
    for node, _, squares in wall.rows:
        assert drawing.volts[node] == say_volts(squares[wall.keys.index("on")])
        assert drawing.volts[node] in written


def test_a_picture_is_written_and_never_over_another_unasked(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    file = tmp_path / "pump.svg"
    assert told(capsys, SHIPPED, "--svg", str(file))[0] == 0
    first = file.read_text(encoding="utf-8")
    ElementTree.fromstring(first)
    status, _, err = told(capsys, SHIPPED, "--key", "off", "--svg", str(file))
    assert status == 1
    assert "--force" in err
    assert file.read_text(encoding="utf-8") == first
    assert told(capsys, SHIPPED, "--key", "off", "--svg", str(file), "--force")[0] == 0
    assert file.read_text(encoding="utf-8") != first


def test_the_narrow_picture_is_narrower(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    wide, narrow = tmp_path / "wide.svg", tmp_path / "narrow.svg"
    told(capsys, SHIPPED, "--svg", str(wide))
    told(capsys, SHIPPED, "--svg", str(narrow), "--narrow")
    widths = [float(re.findall(r'viewBox="0 0 (\S+)', f.read_text(encoding="utf-8"))[0]) for f in (wide, narrow)]
    assert widths[1] < widths[0] / 2


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--svg", "circuit.yaml", "--force"], ".svg"),
        (["--svg", "/no/such/folder/a.svg"], "no such file or directory"),
        (["--key", "flying"], "one of: off, accessory, on"),
        (["--fault", "pump:gone"], "no fault"),
        (["--face", "pump"], "one of: relay"),
        (["--face", "relay", "--layout", "upside-down"], "86-85-30"),
    ],
)
def test_what_cannot_be_done_is_said_in_one_line(
    capsys: pytest.CaptureFixture[str], words: list[str], said: str
) -> None:
    status, out, err = told(capsys, SHIPPED, *words)
    assert status == 1
    assert out == ""
    assert said in err
    assert err.count("\n") == 1


def test_a_face_is_drawn_only_for_a_layout_that_was_looked_at(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    _, out, _ = told(capsys, SHIPPED, "--face", "relay")
    assert "30  85  86  87  87a" in out
    assert "--layout 86-85-30" in out
    assert told(capsys, SHIPPED, "--face", "relay", "--svg", str(tmp_path / "a.svg"))[0] == 1
    face = tmp_path / "b.svg"
    assert told(capsys, SHIPPED, "--face", "relay", "--layout", "86-85-30", "--svg", str(face))[0] == 0
    ElementTree.parse(face)
    _, out, _ = told(capsys, SHIPPED, "--face", "relay", "--layout", "86-85-30")
    assert re.search(r"86 +87a +85", out)
