"""How quick the screens are: start to the first screen, Enter to the next check on it, memory. Used by speed.py."""

from __future__ import annotations

import asyncio
import os
import pty
import resource
import select
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tui"))

import numpy as np
from driving import SHIPPED, at_work, make_app, screen_lines, settle, work_page
from textual.events import Key

from troubleshoot.car import Car
from troubleshoot.circuit import Network
from troubleshoot.session.cards import CheckCard
from troubleshoot.session.session import Session

LONG_JOB = 500
FIRST_WORDS = b"What do you want to do?"


def first_screen_s(times: int) -> float:
    """Median seconds from starting the command in a terminal until its first screen's words are there."""
    found = []
    for _ in range(times):
        with tempfile.TemporaryDirectory() as folder:
            ours, theirs = pty.openpty()
            start = time.perf_counter()
            environment = {**os.environ, "TERM": "xterm-256color", "COLUMNS": "80", "LINES": "24"}
            command = [sys.executable, "-m", "troubleshoot", "--folder", folder]
            child = subprocess.Popen(command, stdin=theirs, stdout=theirs, stderr=theirs, env=environment)
            seen = b""
            while FIRST_WORDS not in seen and time.perf_counter() - start < 30:
                if select.select([ours], [], [], 0.05)[0]:
                    seen += os.read(ours, 65536)
            found.append(time.perf_counter() - start)
            child.kill()
            child.wait()
            os.close(ours)
            os.close(theirs)
            if FIRST_WORDS not in seen:
                raise RuntimeError("the first screen did not come")
    return float(np.median(found))


async def _enter_to_screen(network: Network, jobs: int, seed: int) -> list[float]:
    """Seconds from Enter on an answer until the next check, or the verdict, is painted.

    The key is posted to the app as a terminal's driver posts it: Pilot.press idles about 0.1 s after each key by
    itself. Painted means that the screen's own lines no longer are those of the check before.
    """
    times: list[float] = []
    faults = [fault for fault in network.faults if fault.severity is None]
    for number in range(jobs):
        car = Car(network, faults[number % len(faults)], None, seed + number)
        with tempfile.TemporaryDirectory() as folder:
            app = make_app(Path(folder))
            async with app.run_test(size=(80, 24)) as pilot:
                await at_work(pilot)
                page = work_page(pilot)
                while page.standing and isinstance(page.standing.card, CheckCard):
                    before = page.standing
                    page.entry.put(car.answer(before.card.check))  # type: ignore[union-attr]
                    await pilot.pause()
                    shown = screen_lines(app)[:6]
                    start = time.perf_counter()
                    app.post_message(Key("enter", "\r"))
                    while page.standing is before or screen_lines(app)[:6] == shown:
                        await asyncio.sleep(0.001)
                        if time.perf_counter() - start > 20:
                            raise RuntimeError(f"no next check came: {page.trouble}")
                    times.append(time.perf_counter() - start)
                    await settle(pilot)
                app.close_job()
    return times


def long_job_s(readings: int, seed: int) -> float:
    """p95 of the seconds from a reading of one's own to the next card, in a job of so many readings."""
    rng = np.random.default_rng(seed)
    times = []
    with tempfile.TemporaryDirectory() as folder:
        session = Session.start(SHIPPED, complaint="unsure", folder=Path(folder))
        car = Car(session.table.network, None, None, seed)
        checks = [check for check in session.table.readings if not check.is_ohms]
        for _ in range(readings):
            check = checks[int(rng.integers(len(checks)))]
            text = car.answer(check)
            start = time.perf_counter()
            session.record(check, text)
            session.next_check()
            times.append(time.perf_counter() - start)
        session.close()
    return float(np.percentile(times, 95))


def screen_figures(network: Network, quick: bool, seed: int) -> dict[str, float]:
    """The figures by name. The table must have been built in this process."""
    times = asyncio.run(_enter_to_screen(network, 4 if quick else 14, seed))
    return {
        "first_screen_s": round(first_screen_s(3 if quick else 9), 3),
        "key_to_screen_p50_s": round(float(np.percentile(times, 50)), 4),
        "key_to_screen_p95_s": round(float(np.percentile(times, 95)), 4),
        "enters": len(times),
        "long_job_readings": LONG_JOB // 5 if quick else LONG_JOB,
        "long_job_p95_s": round(long_job_s(LONG_JOB // 5 if quick else LONG_JOB, seed), 4),
        "screens_peak_mb": round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024),
    }
