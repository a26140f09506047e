"""The same work on many circuits: on all cores of this machine, or on a cluster of Dask workers.

What is done is handed out at once, so that an interruption keeps it. Which machine did what, and in which order, makes
no difference to what comes of it.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any, TypeVar

from joblib import Parallel, delayed, parallel_config

from troubleshoot.errors import Problem, TypedWrong

Job = TypeVar("Job")
Done = TypeVar("Done")

# a worker that is started anew for its memory's sake loses nothing
warnings.filterwarnings("ignore", "A worker stopped", UserWarning)

REACH_S = 10
"""Seconds in which a cluster's scheduler must answer."""


def work_on(
    jobs: Mapping[str, Job], work: Callable[[Job], Done], cores: int = -1, scheduler: str = ""
) -> Iterator[tuple[str, Done]]:
    """What `work` makes of each of some named jobs, each as soon as it is done.

    On so many cores, -1 for all, or with the address of a Dask scheduler on its cluster. Whatever `work` raises is
    raised here. Raises TypedWrong where the cluster cannot be reached.
    """
    calls = (delayed(_named)(name, work, job) for name, job in jobs.items())
    if scheduler:
        with _cluster(scheduler):
            yield from Parallel(return_as="generator_unordered")(calls)
    else:
        yield from Parallel(n_jobs=cores, return_as="generator_unordered")(calls)


def _named(name: str, work: Callable[[Job], Done], job: Job) -> tuple[str, Done]:
    return name, work(job)


@contextmanager
def _cluster(address: str) -> Iterator[None]:
    """Sends joblib's work to a Dask cluster."""
    client = _client(address)
    try:
        with parallel_config(backend="dask", client=client, wait_for_workers_timeout=REACH_S):
            yield
    finally:
        client.close()


def _client(address: str) -> Any:
    try:
        from distributed import Client
    except ImportError:
        hint = "pip install 'troubleshoot[dask]'"
        raise TypedWrong(Problem("no-dask", "work on a cluster needs Dask, which is not installed", hint)) from None
    try:
        return Client(address, timeout=REACH_S, set_as_default=False)  # type: ignore[no-untyped-call]
    except (OSError, ValueError, TimeoutError) as error:
        told = f"no scheduler answers at {address!r} ({str(error).splitlines()[0] if str(error) else 'no answer'})"
        raise TypedWrong(
            Problem("no-scheduler", told, "write its address as it says itself: tcp://HOST:8786")
        ) from None
