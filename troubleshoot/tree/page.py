"""A tree as one HTML file for a phone: one step a screen, nothing fetched, kept where it was left.

All text from files is escaped, and scripts and styles other than the page's own are forbidden by its policy. Without
scripts the page is the whole tree, with links from step to step.
"""

from __future__ import annotations

import hashlib
import math
import re
from base64 import b64encode
from collections.abc import Iterable
from html import escape
from pathlib import Path
from string import Template

from troubleshoot.tree.tree import Branch, Step, Tree, Verdict
from troubleshoot.tree.tree_file import tree_text
from troubleshoot.tree.walk import WHICH_IS_IT, cautions_of, numbered, say_scope, say_verdict
from troubleshoot.words import say

HERE = Path(__file__).parent
UNITS = {"voltage": ("V", "mV"), "current": ("A", "mA"), "resistance": ("ohm", "kohm", "Mohm")}
LIKE = {"voltage": "12.4 V or 450 mV", "current": "6.5 A or 450 mA", "resistance": "0.8 ohm, 1.2 kohm or OL"}
_SENTENCES = re.compile(r"(?<=[.?!]) (?=[A-Z])")


def page_html(tree: Tree) -> str:
    """The whole page."""
    numbers = numbered(tree)
    script, style = ((HERE / name).read_text(encoding="utf-8") for name in ("page.js", "page.css"))
    circuit = tree.network.circuit
    return Template((HERE / "page.html").read_text(encoding="utf-8")).substitute(
        title=escape(circuit.title),
        sub=escape(" ".join(say_scope(tree))),
        caution=escape(say.GENERAL_CAUTION),
        questions=_items(say.SAFETY_QUESTIONS),
        stop=escape(say.STOP_ADVICE),
        first=numbers[tree.first],
        sha=hashlib.sha256(tree_text(tree).encode()).hexdigest()[:16],
        steps="\n".join(_step(tree, step, numbers) for step in tree.steps.values()),
        verdicts="\n".join(_verdict(tree, verdict, numbers) for verdict in tree.verdicts.values()),
        script=script,
        style=style,
        script_sha=_sha(script),
        style_sha=_sha(style),
    )


def sentences(words: str) -> list[str]:
    """A check's words, one sentence a line."""
    return _SENTENCES.split(words)


def _sha(text: str) -> str:
    return b64encode(hashlib.sha256(text.encode()).digest()).decode()


def _items(texts: Iterable[str]) -> str:
    return "".join(f"<li>{escape(text)}</li>" for text in texts)


def _cautions(told: Iterable[str]) -> str:
    items = _items(told)
    return f'<div class="cautions"><h3>Caution</h3><ul>{items}</ul></div>' if items else ""


def _step(tree: Tree, step: Step, numbers: dict[str, int]) -> str:
    number, network = numbers[step.name], tree.network
    short = escape(say.say_short(network, step.check))
    return "\n".join([
        f'<section id="s{number}" class="screen step" aria-labelledby="h{number}" data-short="{short}">',
        f'<h2 id="h{number}" tabindex="-1">Step {number}</h2>',
        _cautions(cautions_of(tree, step)),
        f'<ul class="do">{_items(sentences(say.say_check(network, step.check)))}</ul>',
        *([f'<p class="note"><bdi>{escape(step.note)}</bdi></p>'] if step.note else []),
        *([_form(step, number)] if step.check.kind == "reading" else []),
        f'<ul class="branches">{"".join(_branch(branch, numbers) for branch in step.branches)}</ul>',
        "</section>",
    ])  # fmt: skip


def _form(step: Step, number: int) -> str:
    """Where the number is typed."""
    kind = say.dimension_of(step.check)
    units = UNITS[kind]
    if step.check.function == "millivolts":
        units = tuple(reversed(units))
    options = "".join(f"<option>{unit}</option>" for unit in units)
    meter = "clamp" if step.check.wire else "meter"
    return (
        f'<form class="read" novalidate><label for="v{number}">What does the {meter} show?</label>'
        f'<input id="v{number}" inputmode="decimal" autocomplete="off" '
        f'autocapitalize="off" spellcheck="false" aria-describedby="w{number}">'
        f'<select aria-label="Unit" data-kind="{kind}" data-like="{LIKE[kind]}">{options}</select>'
        f'<button class="go">Go on</button></form><p class="wrong" id="w{number}" role="alert"></p>'
        "<p>Or tap what fits:</p>"
    )


def _branch(branch: Branch, numbers: dict[str, int]) -> str:
    low, high = ("" if math.isinf(limit) else repr(limit) for limit in (branch.low, branch.high))
    to, words = numbers[branch.to], escape(branch.words)
    return (
        f'<li><a class="branch big" href="#s{to}" data-to="{to}" data-words="{words}" data-low="{low}" '
        f'data-high="{high}" data-over="{"over" if branch.over_limit else ""}"><span>{words}</span> '
        f'<span class="to">to {to}</span></a></li>'
    )


def _verdict(tree: Tree, verdict: Verdict, numbers: dict[str, int]) -> str:
    number, found = numbers[verdict.name], say_verdict(tree, verdict)
    report = "\n".join([f"Verdict: {found.say}", *(f"Repair: {words}." for words in found.repairs)])
    several = len(found.suspects) > 1
    return "\n".join([
        f'<section id="s{number}" class="screen verdict" aria-labelledby="h{number}" data-short="Verdict {number}" '
        f'data-report="{escape(report)}">',
        f'<h2 id="h{number}" tabindex="-1">Verdict {number}</h2>',
        f"<p>One of these:</p><ul>{_items(found.suspects)}</ul>" if several else f"<p><b>{escape(found.say)}</b></p>",
        f'<h3>Repair</h3><ul>{_items(f"{words}." for words in found.repairs)}</ul>',
        *([f"<h3>Right after the repair</h3>{_cautions(found.cautions)}<ul>{_items(found.prove)}</ul>"]
          if found.prove else []),
        *([f'<ul class="branches">{_branch(Branch(WHICH_IS_IT, verdict.tell_apart), numbers)}</ul>']
          if verdict.tell_apart else []),
        "</section>",
    ])  # fmt: skip
