"""A small tree as one picture: steps from left to right, each answer on the line to what it leads to.

Where the boxes go is worked out by igraph (its tree layout after Reingold and Tilford); drawn on the sheet of `draw`.
"""

from __future__ import annotations

from dataclasses import dataclass

from troubleshoot.draw.paper import STEP, Paper, wrapped
from troubleshoot.errors import Problem, TypedWrong
from troubleshoot.tree.tree import Tree
from troubleshoot.tree.walk import numbered, say_verdict
from troubleshoot.words import say

MOST = 60
"""Boxes that one can still read on one picture (invented)."""

LETTERS, LINES = 29, 5
WIDE, TALL = 216.0, LINES * STEP + 14.0
ACROSS, DOWN = WIDE + 130.0, TALL + 16.0
EDGE = 14.0


@dataclass(frozen=True)
class Box:
    """A step, a verdict, or the number of a step that is drawn elsewhere; `answer` on the line from box `before`."""

    lines: tuple[str, ...]
    answer: str = ""
    before: int = -1
    is_step: bool = False


def picture_svg(tree: Tree) -> str:
    """The text of an SVG file. Raises TypedWrong for a tree that is too large for one picture."""
    boxes = _boxes(tree)
    if len(boxes) > MOST:
        told = f"this tree would be {len(boxes)} boxes, and more than {MOST} cannot be read on one picture"
        raise TypedWrong(Problem("too-large", told, "print it: name a file that ends in .pdf"))
    places = _places(boxes)
    paper = Paper()
    for box, (x, y) in zip(boxes, places, strict=True):
        if box.before >= 0:
            x2, y2 = places[box.before]
            bend = x - (ACROSS - WIDE) + 12
            paper.line(x2 + WIDE, y2, bend, y)
            paper.line(bend, y, x, y)
            paper.write([box.answer], x - 6, y - 5, anchor="end", weight="bold")
        paper.box(x, y - TALL / 2, x + WIDE, y + TALL / 2)
        if not box.is_step:
            paper.box(x + 3, y - TALL / 2 + 3, x + WIDE - 3, y + TALL / 2 - 3)
        top = y - STEP * len(box.lines) / 2 + STEP - 4
        paper.write(box.lines[:1], x + 9, top, weight="bold")
        paper.write(box.lines[1:], x + 9, top + STEP)
    right, low = max(x for x, _ in places) + WIDE, max(y for _, y in places) + TALL / 2
    title = f"Decision tree: {tree.network.circuit.title}"
    return paper.finish(right + EDGE, low + EDGE, title, "; ".join(" ".join(box.lines) for box in boxes))


def _boxes(tree: Tree) -> list[Box]:
    """Each step once, where it is first led to; a verdict wherever one is led to; what leads to what, as a tree."""
    numbers, drawn, boxes = numbered(tree), set[str](), list[Box]()

    def add(name: str, answer: str, before: int) -> None:
        head, here = str(numbers[name]), len(boxes)
        step = tree.steps.get(name)
        if step is None:
            found = say_verdict(tree, tree.verdicts[name])
            boxes.append(Box(_fitted(f"{head} verdict", "; ".join(found.suspects)), answer, before))
            for on in tree.led_to(name):
                add(on, "which?", here)
        elif name in drawn:
            boxes.append(Box((f"go on at {head}",), answer, before, True))
        else:
            drawn.add(name)
            kind = "look" if step.check.kind == "observation" else "read"
            short = say.say_short(tree.network, step.check)
            boxes.append(Box(_fitted(f"{head} {kind}", short), answer, before, True))
            for branch in step.branches:
                add(branch.to, branch.words, here)

    add(tree.first, "", -1)
    return boxes


def _fitted(head: str, words: str) -> tuple[str, ...]:
    """The lines of a box; what does not fit is left to the printed tree."""
    lines = [head, *wrapped(words, LETTERS)]
    return tuple(lines if len(lines) <= LINES else [*lines[: LINES - 1], lines[LINES - 1][: LETTERS - 1] + "…"])


def _places(boxes: list[Box]) -> list[tuple[float, float]]:
    """The left edge and the middle's height of each box, in pixels."""
    import igraph

    graph = igraph.Graph(n=len(boxes), edges=[(box.before, at) for at, box in enumerate(boxes) if box.before >= 0])
    laid = graph.layout_reingold_tilford(root=[0]).coords
    highest = min(x for x, _ in laid)
    return [(EDGE + ACROSS * depth, EDGE + TALL / 2 + DOWN * (across - highest)) for across, depth in laid]
