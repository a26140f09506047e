"""Pictures of every screen at four sizes, in colour, with NO_COLOR and with --ascii: `python tests/tui/pictures.py`.

Readings come from a sampled car with an open relay coil, so that the same pictures come again. SVG, and the text
beside it; with `--keep` the texts that the tests compare are written anew.
"""

from __future__ import annotations

import argparse
import asyncio
import os
import re
import sys
import tempfile
from collections.abc import AsyncIterator
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from driving import SHIPPED, make_app, press, screen_text, settle, type_line, work_page
from textual.pilot import Pilot

from troubleshoot.car.car import Car
from troubleshoot.session.cards import CheckCard

SIZES = ((40, 12), (80, 24), (120, 36), (160, 50))
MODES = ("colour", "no-color", "ascii")
SNAPSHOTS = Path(__file__).parent / "snapshots"
SMALL_TREE = Path(__file__).parents[1] / "tree" / "small_tree.yaml"
KEPT_PICTURES = ("after-3", "circuit", "verdict")
"""Screens at 80×24 whose pictures are kept and compared, colours and all; README shows one."""


def still(svg: str) -> str:
    """A picture without the number that is drawn anew for each."""
    return re.sub(r"terminal-\d+", "terminal", svg)


async def screens(pilot: Pilot[None]) -> AsyncIterator[str]:
    """Walks through every screen; at each name that it yields, that screen is shown."""
    await settle(pilot)
    yield "home-first"
    await type_line(pilot, "begin")
    yield "circuits"
    await type_line(pilot, "nowhere/circuit.yaml")
    yield "circuit-wrong"
    await press(pilot, "ctrl+u")
    await type_line(pilot, SHIPPED)
    yield "gate"
    for text in ("1", "1", "1"):
        await type_line(pilot, text)
    yield "name"
    await type_line(pilot, "Old van")
    yield "complaint"
    for text in ("11", "", "", ""):
        await type_line(pilot, text)
    yield "can"
    await type_line(pilot, "")
    yield "reach"
    await type_line(pilot, "")
    yield "layout"
    await type_line(pilot, "2")
    await settle(pilot)
    yield "check"
    async for name in working(pilot):
        yield name
    async for name in afterwards(pilot):
        yield name


async def working(pilot: Pilot[None]) -> AsyncIterator[str]:
    """The working screen and all that is one key away."""
    page = work_page(pilot)
    fault = next(f for f in page.session.table.network.faults if f.name == "relay:coil-open")
    car = Car(page.session.table.network, fault, None, 3)
    await type_line(pilot, "twelve")
    yield "refused"
    await press(pilot, "ctrl+u")
    await type_line(pilot, "124")
    yield "asked-back"
    await press(pilot, "escape", "ctrl+u")
    count = 0
    while page.standing and isinstance(page.standing.card, CheckCard):
        await type_line(pilot, car.answer(page.standing.card.check))
        count += 1
        if count in (1, 3):
            yield f"after-{count}"
        if count == 3:
            for key, name in (("f2", "why"), ("f3", "suspects"), ("f4", "readings"), ("f5", "circuit"),
                              ("f9", "verdict-so-far"), ("f1", "keys")):  # fmt: skip
                await press(pilot, key)
                await settle(pilot)
                yield name
                await press(pilot, "escape")
            await press(pilot, "f7")
            yield "skip"
            await press(pilot, "escape")
    yield "verdict"


async def afterwards(pilot: Pilot[None]) -> AsyncIterator[str]:
    """Stopping, and the lists."""
    await press(pilot, "f8")
    await settle(pilot)
    yield "stopped"
    await type_line(pilot, "")
    yield "home"
    await type_line(pilot, "open")
    yield "jobs"
    await press(pilot, "escape")
    await settle(pilot)
    await type_line(pilot, "settings")
    yield "settings"
    await type_line(pilot, "1")
    yield "setting"
    await press(pilot, "escape", "escape")
    await settle(pilot)
    await type_line(pilot, "walk")
    await type_line(pilot, str(SMALL_TREE))
    for text in ("no", "no", "no"):
        await type_line(pilot, text)
    yield "walk-step"
    for text in ("0.2", "clicks"):
        await type_line(pilot, text)
    yield "walk-verdict"
    await press(pilot, "f10")
    await settle(pilot)


async def take(size: tuple[int, int], mode: str, out: Path | None, texts: dict[str, str], keep: bool) -> None:
    """All pictures of one size and mode; the texts go into `texts` by name, the kept pictures where they are kept."""
    os.environ.pop("NO_COLOR", None)
    if mode == "no-color":
        os.environ["NO_COLOR"] = "1"
    with tempfile.TemporaryDirectory() as folder:
        app = make_app(Path(folder), plain=mode == "ascii")
        async with app.run_test(size=size) as pilot:
            async for name in screens(pilot):
                await settle(pilot)
                stem = f"{name}-{size[0]}x{size[1]}-{mode}"
                texts[stem] = screen_text(app)
                if keep and name in KEPT_PICTURES and (size, mode) == ((80, 24), "colour"):
                    (SNAPSHOTS / f"{name}.svg").write_text(still(app.export_screenshot()), encoding="utf-8")
                if out:
                    (out / f"{stem}.svg").write_text(app.export_screenshot(), encoding="utf-8")
                    (out / f"{stem}.txt").write_text(texts[stem] + "\n", encoding="utf-8")
            app.close_job()


def main() -> None:
    """Reads the arguments, makes the pictures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", type=Path, default=Path("pictures"), help="folder for the pictures")
    parser.add_argument("--only", default="", help="a size, as 80x24")
    parser.add_argument("--keep", action="store_true", help="write the texts that the tests compare anew")
    arguments = parser.parse_args()
    arguments.out.mkdir(parents=True, exist_ok=True)
    texts: dict[str, str] = {}
    for size in SIZES:
        for mode in MODES:
            if arguments.only in ("", f"{size[0]}x{size[1]}"):
                asyncio.run(take(size, mode, arguments.out, texts, arguments.keep))
    if arguments.keep:
        keep(texts)
    print(f"{len(texts)} pictures in {arguments.out}")


def tell_texts(texts: dict[str, str]) -> str:
    """All screens of one size and mode under one another."""
    return "".join(f"##### {name}\n{text}\n" for name, text in texts.items())


def keep(texts: dict[str, str]) -> None:
    """One file a size, in line drawing and in ASCII."""
    SNAPSHOTS.mkdir(exist_ok=True)
    for size in SIZES:
        for mode in ("colour", "ascii"):
            tail = f"-{size[0]}x{size[1]}-{mode}"
            told = {stem.removesuffix(tail): text for stem, text in texts.items() if stem.endswith(tail)}
            if told:
                (SNAPSHOTS / f"{tail[1:]}.txt").write_text(tell_texts(told), encoding="utf-8")


if __name__ == "__main__":
    main()
