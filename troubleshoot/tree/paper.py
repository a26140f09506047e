"""A tree on paper: numbered steps with the numbers to go to, and where the probes go on the relay. Black and white.

It is HTML that a browser lays out and prints: `print_pdf` asks the one that is on this machine. As lines for the
terminal: `tree_lines`.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterable, Iterator
from html import escape
from pathlib import Path
from textwrap import wrap
from typing import Literal

from troubleshoot.draw import Layout
from troubleshoot.draw.relay_svg import RED, draw_face_svg
from troubleshoot.errors import Problem, TypedWrong
from troubleshoot.parts import Relay
from troubleshoot.tree.page import HERE, sentences
from troubleshoot.tree.tree import Step, Tree, Verdict
from troubleshoot.tree.walk import WHICH_IS_IT, cautions_of, numbered, say_scope, say_verdict
from troubleshoot.words import say

Paper = Literal["A4", "letter"]
MARGIN = "11mm"
BROWSERS = ("chromium", "chromium-browser", "chrome", "msedge")
"""Names under which a browser that prints from the command line may be found."""

PRINTS_WITHIN_S = 120


MANY = 60
"""Steps and verdicts from which they are set smaller, three columns a page."""

TOLD = 6
"""Numbers of steps before, as many as are told."""


def paper_html(tree: Tree, paper: Paper = "A4", layout: Layout | None = None) -> str:
    """The whole tree as a page to print. `layout`: how the blades of its relays lie, where somebody has looked; without
    it the blades are drawn in a row, by number."""
    numbers = numbered(tree)
    come_from = _come_from(tree, numbers)
    circuit, style = tree.network.circuit, (HERE / "paper.css").read_text(encoding="utf-8")
    boxes = {name: _step(tree, step, numbers, come_from, layout) for name, step in tree.steps.items()}
    boxes |= {name: _verdict(tree, verdict, numbers, come_from) for name, verdict in tree.verdicts.items()}
    asked = "".join(f"<li>{escape(question)}</li>" for question in say.SAFETY_QUESTIONS)
    return "\n".join([
        '<!doctype html><html lang="en"><head><meta charset="utf-8">',
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">",
        f"<title>{escape(circuit.title)}</title><style>@page {{ size: {paper}; margin: {MARGIN}; "
        f'@bottom-right {{ content: counter(page) " / " counter(pages); font: 8pt sans-serif; }} }}\n{style}</style>',
        f'</head><body class="{"dense" if len(numbers) > MANY else ""}"><section class="first">',
        f"<h1><bdi>{escape(circuit.title)}</bdi></h1>",
        f"<p>Begin at {numbers[tree.first]}. Do what a step says, find your answer in it, go to the number beside it. "
        f"<b>{escape(' '.join(say_scope(tree)))}</b></p>",
        f'<div class="warn"><p>{escape(say.GENERAL_CAUTION)}</p><p><b>A yes to any of these ends it here:</b></p>'
        f"<ul>{asked}</ul><p>{escape(say.STOP_ADVICE)}</p></div></section>",
        '<section class="steps">',
        *(boxes[name] for name in numbers),
        "</section></body></html>",
    ])  # fmt: skip


def print_pdf(html: str) -> bytes:
    """A page as the PDF that a browser prints of it. Raises TypedWrong where there is none, or where it cannot."""
    browser = next(filter(None, map(shutil.which, BROWSERS)), None)
    if browser is None:
        hint = "name a file that ends in .html, and print that from any browser"
        raise TypedWrong(Problem("no-browser", "no browser that makes a PDF was found on this machine", hint))
    with tempfile.TemporaryDirectory() as folder:
        page, made = Path(folder) / "tree.html", Path(folder) / "tree.pdf"
        page.write_text(html, encoding="utf-8")
        as_root = ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
        command = [browser, "--headless", *as_root, "--disable-gpu", f"--user-data-dir={folder}/profile",
                   "--no-pdf-header-footer", f"--print-to-pdf={made}", page.as_uri()]  # fmt: skip
        try:
            subprocess.run(command, check=True, capture_output=True, timeout=PRINTS_WITHIN_S)
            return made.read_bytes()
        except (OSError, subprocess.SubprocessError) as error:
            hint = "name a file that ends in .html, and print that from any browser"
            raise TypedWrong(Problem("not-printed", f"{Path(browser).name} did not print it", hint)) from error


def tree_lines(tree: Tree, width: int) -> Iterator[str]:
    """The whole tree as lines for a terminal."""
    numbers = numbered(tree)

    def told(words: str, indent: str = "    ") -> list[str]:
        return wrap(" ".join(words.split()), width, initial_indent=indent, subsequent_indent=" " * len(indent) + "  ",
                    break_on_hyphens=False)  # fmt: skip

    yield from told(tree.network.circuit.title, "")
    yield from told(f"{' '.join(say_scope(tree))} Begin at {numbers[tree.first]}.", "")
    yield from told(say.GENERAL_CAUTION, "")
    yield "A yes to any of these ends it here:"
    for question in say.SAFETY_QUESTIONS:
        yield from told(question, "  - ")
    yield from told(say.STOP_ADVICE, "")
    for name, number in numbers.items():
        yield ""
        if step := tree.steps.get(name):
            yield from wrap(f"{number}. {say.say_check(tree.network, step.check)}", width, subsequent_indent="    ",
                            break_on_hyphens=False)  # fmt: skip
            yield from told(step.note) if step.note else ()
            for caution in cautions_of(tree, step):
                yield from told(f"Caution: {caution}")
            widest = max(len(branch.words) for branch in step.branches)
            for branch in step.branches:
                yield f"    {branch.words.ljust(widest)}  go to {numbers[branch.to]}"
        else:
            found = say_verdict(tree, tree.verdicts[name])
            yield from wrap(f"{number}. Verdict: {found.say}", width, subsequent_indent="    ", break_on_hyphens=False)
            for words in found.repairs:
                yield from told(f"Repair: {words}.")
            for words in found.prove:
                yield from told(f"After the repair: {words}")
            for words in found.cautions:
                yield from told(f"Caution: {words}")
            if on := tree.verdicts[name].tell_apart:
                yield f"    {WHICH_IS_IT}  go to {numbers[on]}"


# ---- pieces of the page


def _come_from(tree: Tree, numbers: dict[str, int]) -> dict[str, list[int]]:
    """For each step and verdict the steps that lead to it, by number."""
    found: dict[str, list[int]] = {name: [] for name in numbers}
    for name in numbers:
        for to in dict.fromkeys(tree.led_to(name)):
            found[to].append(numbers[name])
    return found


def _head(kind: str, name: str, numbers: dict[str, int], come_from: dict[str, list[int]]) -> str:
    came = sorted(come_from[name])
    before = ", ".join(map(str, came[:TOLD])) + (" ..." if len(came) > TOLD else "")
    from_words = f'<span class="from">from {before}</span>' if before else ""
    return f'<div class="head"><span class="number">{numbers[name]}</span><h2>{kind}</h2>{from_words}</div>'


def _step(
    tree: Tree, step: Step, numbers: dict[str, int], come_from: dict[str, list[int]], layout: Layout | None
) -> str:
    setup, *do = sentences(say.say_check(tree.network, step.check))
    kind = "Look" if step.check.kind == "observation" else "Read"
    rows = "".join(f"<tr><td>{escape(b.words)}</td><td>go to <b>{numbers[b.to]}</b></td></tr>" for b in step.branches)
    return "".join([
        f'<article class="box">{_head(kind, step.name, numbers, come_from)}',
        _cautions(cautions_of(tree, step)),
        f"<p>{escape(setup)}</p>",
        *(f"<p><b>{escape(words)}</b></p>" for words in do),
        *([f'<p class="note"><bdi>{escape(step.note)}</bdi></p>'] if step.note else []),
        _relays(tree, step, layout),
        f"<table>{rows}</table></article>",
    ])  # fmt: skip


def _relays(tree: Tree, step: Step, layout: Layout | None) -> str:
    """The relays that a probe goes to, with their numbers and the probes on them."""
    told, check = "", step.check
    ends = {word: node.removesuffix(".blade").partition(".") for word, node in
            (("red", check.red), ("black", check.black)) if node}  # fmt: skip
    for name in dict.fromkeys(part for part, _, _ in ends.values()):
        part = tree.network.circuit.named_parts.get(name)
        if not isinstance(part, Relay):
            continue
        red, black = (ends[word][2] if word in ends and ends[word][0] == name else "" for word in ("red", "black"))
        on_part = check.red.endswith(".blade")
        if layout:
            face = draw_face_svg(layout, part.numbers, red, black, on_part, part.spoken)
            told += f'<div class="face">{face[face.index("<svg") :].replace(RED, "#000")}</div>'
            continue
        where = "its own blades" if on_part else "its socket, from the wire side"
        blades = "".join(_blade(number, red, black) for number in part.numbers)
        title = f'<span class="name">{escape(part.spoken)}, {where}; by the numbers</span>'
        told += f'<div class="blades">{title}{blades}</div>'
    return told


def _blade(number: str, red: str, black: str) -> str:
    probe = "red" if number == red else "black" if number == black else ""
    lead = f"<small>{probe.upper()}</small>" if probe else ""
    return f'<span class="blade {probe}">{escape(number)}{lead}</span>'


def _prove(tree: Tree, verdict: Verdict, numbers: dict[str, int]) -> str:
    """The checks that prove the repair: in short where a step of the tree tells how, else whole, with what to mind."""
    asked = {step.check.id: numbers[step.name] for step in tree.steps.values()}
    checks = [tree.checks[name] for name in verdict.prove]
    told = [
        f"{say.say_short(tree.network, check)}: as in {asked[check.id]}" if check.id in asked
        else say.say_check(tree.network, check)
        for check in checks
    ]  # fmt: skip
    cautions = dict.fromkeys(w for c in checks if c.id not in asked for w in say.cautions(tree.network, c))
    items = "".join(f"<li>{escape(words)}</li>" for words in told)
    return f"<p><b>Right after the repair:</b></p><ul>{items}</ul>{_cautions(cautions)}" if told else ""


def _cautions(told: Iterable[str]) -> str:
    return "".join(f'<p class="caution"><b>Caution:</b> {escape(words)}</p>' for words in told)


def _verdict(tree: Tree, verdict: Verdict, numbers: dict[str, int], come_from: dict[str, list[int]]) -> str:
    found = say_verdict(tree, verdict)
    several = len(found.suspects) > 1
    suspects = "".join(f"<li>{escape(words)}</li>" for words in found.suspects)
    repairs = "".join(f"<li>{escape(words)}.</li>" for words in found.repairs)
    return "".join([
        f'<article class="box end">{_head("Verdict", verdict.name, numbers, come_from)}',
        f"<p><b>One of these:</b></p><ul>{suspects}</ul>" if several else f"<p><b>{escape(found.say)}</b></p>",
        f"<p><b>Repair:</b> {escape(found.repairs[0])}.</p>" if len(found.repairs) == 1
        else f"<p><b>Repair:</b></p><ul>{repairs}</ul>",
        _prove(tree, verdict, numbers),
        f"<table><tr><td>{WHICH_IS_IT}</td><td>go to <b>{numbers[verdict.tell_apart]}</b></td></tr></table>"
        if verdict.tell_apart else "",
        "</article>",
    ])  # fmt: skip
