"""A tree on paper: complete, no step cut by a page, probes on the relay, black and white; as a picture; as lines."""

from __future__ import annotations

import re
import shutil
from dataclasses import replace
from html import escape
from io import BytesIO
from pathlib import Path
from typing import get_args
from xml.etree import ElementTree

import pytest
from pypdf import PdfReader

from troubleshoot.circuit.check_list import list_checks
from troubleshoot.command_line import main
from troubleshoot.draw import LAYOUTS
from troubleshoot.errors import TypedWrong
from troubleshoot.tree import paper as paper_module
from troubleshoot.tree.branch_words import read_branch
from troubleshoot.tree.paper import Paper, paper_html, print_pdf, tree_lines
from troubleshoot.tree.picture import picture_svg
from troubleshoot.tree.tree import Step, Tree, Verdict
from troubleshoot.tree.tree_file import read_tree
from troubleshoot.tree.walk import cautions_of, numbered, say_verdict
from troubleshoot.words import say

SMALL = Path(__file__).with_name("small_tree.yaml")
POINTS = {"A4": (595, 842), "letter": (612, 792)}


@pytest.fixture(scope="module")
def small() -> Tree:
    return read_tree(SMALL)


@pytest.fixture(scope="module")
def long(small: Tree) -> Tree:
    """A tree of forty steps in a row, of all kinds of check."""
    checks = [check for check in list_checks(small.network) if not check.after][::7][:40]
    steps = dict[str, Step]()
    for number, check in enumerate(checks):
        onward = f"s{number + 1}" if number + 1 < len(checks) else "end"
        limit = "5 ohm" if check.is_ohms else "1 A" if check.wire else "1 V"
        words = check.answers or (f"under {limit}", f"{limit} or more")
        branches = [read_branch(each, onward if at == 0 else "end", check) for at, each in enumerate(words)]
        steps[f"s{number}"] = Step(f"s{number}", check, tuple(branches))
    return replace(small, first="s0", steps=steps, verdicts={"end": Verdict("end", ("pump:open",))})


@pytest.mark.parametrize("layout", [None, *LAYOUTS.values()])
def test_every_step_and_every_go_to_is_on_paper(small: Tree, layout: None) -> None:
    html, numbers = paper_html(small, "A4", layout), numbered(small)
    for step in small.steps.values():
        box = html[html.index(f'<span class="number">{numbers[step.name]}</span>') :].split("</article>")[0]
        for caution in cautions_of(small, step):
            assert escape(caution) in box
        for branch in step.branches:
            assert f"<td>{branch.words}</td><td>go to <b>{numbers[branch.to]}</b></td>" in box
    for verdict in small.verdicts.values():
        assert all(escape(words) in html for words in say_verdict(small, verdict).suspects)
    for words in (say.GENERAL_CAUTION, *say.SAFETY_QUESTIONS, say.STOP_ADVICE):
        assert escape(words) in html


def test_the_probes_are_drawn_on_the_relay_by_number_or_where_the_layout_is_known(small: Tree) -> None:
    by_number = paper_html(small)
    assert '<span class="blade red">30<small>RED</small></span>' in by_number
    assert "<svg" not in by_number
    face = paper_html(small, layout=LAYOUTS["86-85-30"])
    assert face.count("<svg") == 3  # the steps with a probe on the relay
    assert "red probe on 30" in face
    colours = set(re.findall(r"#[0-9a-f]{3,6}", face))
    assert all(len(set(colour[1:])) == 1 for colour in colours), colours  # greys


def test_names_from_a_file_cannot_become_markup(small: Tree) -> None:
    evil = '<img src=x onerror=alert(1)> "&'
    network = replace(small.network, circuit=small.network.circuit.model_copy(update={"title": evil}))
    steps = {name: replace(step, note=evil) for name, step in small.steps.items()}
    verdicts = {name: replace(verdict, repair=evil) for name, verdict in small.verdicts.items()}
    tree = replace(small, network=network, steps=steps, verdicts=verdicts)
    html, picture = paper_html(tree), picture_svg(tree)
    assert "<img" not in html + picture
    assert html.count("&lt;img") >= len(steps) + len(verdicts) + 1
    assert "default-src 'none'" in html
    title = ElementTree.fromstring(picture).find("{http://www.w3.org/2000/svg}title")
    assert title is not None
    assert evil in str(title.text)


def test_the_lines_for_a_terminal_hold_every_step_within_the_width(small: Tree) -> None:
    lines = list(tree_lines(small, 60))
    assert max(map(len, lines)) <= 60
    text = " ".join(" ".join(lines).split())
    assert "8. Key on, engine not turning" in text
    assert "no click go to 9" in text
    assert "6. Verdict: One of these: the contacts of the pump relay do not close" in text
    assert all(question in text for question in say.SAFETY_QUESTIONS)


def test_a_small_tree_is_one_picture_with_every_answer_on_a_line(small: Tree) -> None:
    page = ElementTree.fromstring(picture_svg(small))
    texts = [element.text for element in page.iter("{http://www.w3.org/2000/svg}text")]
    answers = [branch.words for step in small.steps.values() for branch in step.branches]
    assert sorted(text for text in texts if text in answers) == sorted(answers)
    assert {"1 read", "8 look", "10 verdict", "go on at 9"} <= set(texts)


def test_a_large_tree_is_no_picture(long: Tree) -> None:
    with pytest.raises(TypedWrong, match=r"cannot be read on one picture"):
        picture_svg(long)


def test_without_a_browser_it_is_said_what_to_do(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(paper_module, "BROWSERS", ("no-such-browser",))
    with pytest.raises(TypedWrong, match=r"ends in \.html"):
        print_pdf("<p>")
    assert main(["tree", "print", str(SMALL), "--out", str(tmp_path / "x.pdf")]) == 1
    assert not (tmp_path / "x.pdf").exists()
    assert main(["tree", "print", str(SMALL), "--out", str(tmp_path / "x.html")]) == 0
    assert main(["tree", "print", str(SMALL), "--out", str(tmp_path / "x.html")]) == 1
    assert main(["tree", "print", str(SMALL), "--out", str(tmp_path / "x.svg")]) == 0


@pytest.mark.slow
@pytest.mark.parametrize("paper", get_args(Paper))
@pytest.mark.parametrize("which", ["small", "long"])
def test_no_step_is_cut_by_the_end_of_a_page(request: pytest.FixtureRequest, paper: Paper, which: str) -> None:
    if shutil.which("chromium") is None:
        pytest.skip("there is no chromium")
    tree: Tree = request.getfixturevalue(which)
    pages = PdfReader(BytesIO(print_pdf(paper_html(tree, paper)))).pages
    assert {tuple(round(float(side)) for side in page.mediabox[2:]) for page in pages} == {POINTS[paper]}
    numbers, on_page = numbered(tree), dict[int, list[int]]()
    texts = [" ".join(page.extract_text().split()) for page in pages]
    for at, text in enumerate(texts):
        heads = [int(found) for found in re.findall(r"\b(\d+) (?:Read|Look|Verdict)\b", text)]
        on_page[at] = heads
        names = [name for name, number in numbers.items() if number in heads]
        rows = sum(len(tree.steps[name].branches) for name in names if name in tree.steps)
        assert len(re.findall(r"go to [0-9]", text)) == rows, f"page {at + 1}"
    assert sorted(number for heads in on_page.values() for number in heads) == sorted(numbers.values())
    assert len(pages) <= (4 if which == "small" else 14)


def test_what_tells_the_suspects_of_a_verdict_apart_is_a_number_to_go_to(apart_file: Path) -> None:
    tree = read_tree(apart_file)
    verdict, step = (numbered(tree)[name] for name in ("relay", "coil_side"))
    html = paper_html(tree)
    box = html[html.index(f'<span class="number">{verdict}</span>') :].split("</article>")[0]
    assert f"<td>Which of them is it?</td><td>go to <b>{step}</b></td>" in box
    assert f'<span class="number">{step}</span><h2>Read</h2><span class="from">from {verdict}</span>' in html
    assert f"Which of them is it? go to {step}" in " ".join(" ".join(tree_lines(tree, 60)).split())
    texts = [each.text for each in ElementTree.fromstring(picture_svg(tree)).iter("{http://www.w3.org/2000/svg}text")]
    assert texts.count("which?") == 1
    assert f"{step} read" in texts
