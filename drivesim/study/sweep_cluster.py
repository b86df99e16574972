"""Runs of a sweep on a dask.distributed scheduler: plain data out, plain figures back; imports distributed when used.

A batch is a list of (key, seed, number of a text) and the texts: resolved scenarios as JSON.  A worker reads them with
its own drivesim, and says so when its sources are not ours, or when it reads another scenario than was sent.
"""

from __future__ import annotations

import json
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from itertools import islice
from typing import Any

from drivesim.errors import DrivesimError
from drivesim.scenario.scenario import Scenario
from drivesim.scenario.writing import resolved
from drivesim.study.keys import Keys, stamp
from drivesim.study.store import Outcome
from drivesim.study.sweep_runs import Job, Runner, outcome_of

BATCH_TIME = 1.0  # s of work that one message is worth
LARGEST_BATCH = 64
AHEAD = 3  # batches a thread that are sent before their turn
PATIENCE = 10.0  # s until a scheduler has answered

Batch = tuple[list[tuple[str, int, int]], list[str]]


def worker_stamp() -> str:
    """Return what ``stamp`` is where this runs."""
    return stamp()


def run_batch(batch: Batch) -> tuple[list[tuple[str, Outcome]], float]:
    """Do all runs of a batch one after the other; return their outcomes, and the time a run took [s]."""
    began = time.perf_counter()
    runs, texts = batch
    scenarios = [Scenario.model_validate(json.loads(text)) for text in texts]
    results, keys = [], Keys()
    for key, seed, number in runs:
        if keys.of(scenarios[number], seed) != key:
            raise DrivesimError("reads another scenario than was sent: the files of the ground differ there")
        results.append((key, outcome_of(scenarios[number], seed)))
    return results, (time.perf_counter() - began) / max(1, len(runs))


def packed(jobs: Iterable[Job]) -> Batch:
    """Return jobs as plain data, each scenario once."""
    runs: list[tuple[str, int, int]] = []
    texts: dict[int, int] = {}
    listed: list[str] = []
    for job in jobs:
        number = texts.setdefault(id(job.scenario), len(texts))
        if number == len(listed):
            listed.append(json.dumps(resolved(job.scenario)))
        runs.append((job.key, job.seed, number))
    return runs, listed


@contextmanager
def on_cluster(address: str) -> Iterator[Runner]:
    """Give what does runs on the workers of the scheduler at ``address``.  Raises DrivesimError where it cannot."""
    try:
        from distributed import Client
    except ImportError:
        raise DrivesimError("--cluster needs dask: pip install 'drivesim[cluster]'") from None
    try:
        client = Client(address, timeout=PATIENCE, set_as_default=False)
    except Exception as error:  # whatever answers there instead of a scheduler
        raise DrivesimError(
            f"--cluster: no scheduler answers at '{address}' ({type(error).__name__})"
        ) from None
    with client:
        threads = _checked_threads(client)
        yield lambda todo: _run(client, threads, todo)


def _checked_threads(client: Any) -> int:
    """Return how many threads the workers have in all.  Raises DrivesimError unless all have our drivesim."""
    threads = sum(client.nthreads().values())
    if threads == 0:
        raise DrivesimError("--cluster: the scheduler has no workers; start some with 'dask worker ADDRESS'")
    for worker, found in client.run(worker_stamp, on_error="return").items():
        if isinstance(found, BaseException):
            raise DrivesimError(f"--cluster: {worker} cannot import our drivesim ({found})")
        if found != stamp():
            raise DrivesimError(
                f"--cluster: {worker} has other sources of drivesim or another numpy ({found}, here {stamp()}); "
                "install the same there"
            )
    return int(threads)


def _run(client: Any, threads: int, todo: Iterable[Job]) -> Iterator[tuple[str, Outcome]]:
    from distributed import as_completed

    jobs = iter(todo)
    running = as_completed(loop=client.loop, with_results=True, raise_errors=False)
    size, sent = 1, 0

    def send() -> bool:
        some = list(islice(jobs, size))
        if some:
            running.add(client.submit(run_batch, packed(some), pure=False))
        return bool(some)

    while sent < AHEAD * threads and send():
        sent += 1
    for future, result in running:
        if future.status != "finished":
            raise DrivesimError(f"--cluster: a worker failed: {_why(result)}")
        outcomes, seconds = result
        yield from outcomes
        size = int(min(LARGEST_BATCH, max(1, BATCH_TIME / max(seconds, 1e-6))))
        send()


def _why(result: Any) -> str:
    error = result[1] if isinstance(result, tuple) else result
    return f"{type(error).__name__}: {error}" if isinstance(error, BaseException) else str(error)
