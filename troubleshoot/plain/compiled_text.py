"""What came of making trees, a line each, and a bar while it lasts."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TextIO, TypeVar

from troubleshoot.session.compiling import Made

Item = TypeVar("Item")


def progress(items: Iterable[Item], count: int, stream: TextIO) -> Iterator[Item]:
    """The items as they come, under a bar where there are several and somebody looks on."""
    # here, so that the room by itself brings no screen library in
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    console = Console(file=stream, highlight=False, markup=False)
    with Progress(*columns, console=console, disable=count < 2 or not stream.isatty(), transient=True) as bar:
        task = bar.add_task("trees", total=count)
        for item in items:
            bar.advance(task)
            yield item


def made_line(file: str, made: Made) -> str:
    """One line about a tree that was made, or what was wrong."""
    if made.problem:
        return made.problem
    figures = made.figures
    bound = "the optimum" if figures["bound_is_optimum"] else "proved"
    told = [
        f"{file}: {figures['steps']} steps",
        f"{figures['expected_s'] / 60:.1f} minutes expected, {figures['longest_s'] / 60:.0f} on the longest way",
        f"on the decision table of {figures['cells']} cells and {figures['checks']} checks {figures['cost_s']:.0f} s, "
        f"with {100 * figures['told_apart']:.1f} % told apart from all that is no look-alike",
        f"to tell all apart takes at least {figures['bound_s']:.0f} s there ({bound}; {100 * figures['gap']:+.1f} %)",
    ]
    if "right" in figures:
        told.append(
            f"proved: right in {figures['right']:.4f} of {figures['cars']} cars, {figures['minutes']:.1f} minutes"
        )
    return "; ".join(told)
