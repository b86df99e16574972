"""Many runs at once: threads that share grounds and compiled code; imports analysis and engine.

The kernel lets other threads run while it computes, so that threads use all cores without copying anything.
"""

from __future__ import annotations

import os
import threading
from collections import OrderedDict, deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, as_completed, wait
from typing import TypeVar

from drivesim.analysis.measures import condition_shares, measures
from drivesim.engine.build import build, build_scenario_ground, ground_key
from drivesim.engine.ground_build import GroundArrays
from drivesim.engine.simulate import Recording, run_model
from drivesim.scenario.scenario import Scenario
from drivesim.study.keys import content

AHEAD = 4  # runs a thread that are handed out before their turn, so that none waits
MOST_NUMBERS = 40_000_000  # of the grounds kept, 8 bytes each

Measures = dict[str, float]
T = TypeVar("T")
U = TypeVar("U")


class Grounds:
    """Grounds that several runs drive on, built once; the ones not used for longest are dropped."""

    def __init__(self, most: int = MOST_NUMBERS) -> None:
        self._kept: OrderedDict[str, Future[GroundArrays]] = OrderedDict()
        self._sizes: dict[str, int] = {}
        self._most, self._lock = most, threading.Lock()

    def of(self, scenario: Scenario) -> GroundArrays:
        """Return the ground of ``scenario``; another thread that builds it is waited for.  Raises ScenarioError."""
        ground, *rest = ground_key(scenario)
        files = [content(feature.file) for feature in ground.features if hasattr(feature, "file")]
        key = f"{ground.model_dump_json()} {rest} {files}"
        with self._lock:
            future = self._kept.get(key)
            mine = future is None
            if future is None:
                future = self._kept[key] = Future()
            self._kept.move_to_end(key)
        if mine:
            try:
                built = build_scenario_ground(scenario)
            except BaseException as error:
                with self._lock:
                    self._kept.pop(key, None)
                future.set_exception(error)
                raise
            future.set_result(built)
            self._make_room(key, built.heights.size + built.surface.size + built.fields.size)
        return future.result()

    def _make_room(self, key: str, size: int) -> None:
        with self._lock:
            self._sizes[key] = size
            while sum(self._sizes.values()) > self._most and len(self._sizes) > 1:
                oldest = next(name for name in self._kept if name in self._sizes)
                del self._sizes[oldest], self._kept[oldest]


GROUNDS = Grounds()


def recorded(scenario: Scenario) -> Recording:
    """Run ``scenario`` on a ground shared with other runs.  Raises ScenarioError where it cannot be built."""
    return run_model(build(scenario, ground=GROUNDS.of(scenario)))


def measures_of(scenario: Scenario, *, shares: bool = False) -> Measures:
    """Run ``scenario`` and return its figures (``drivesim.analysis.measures``); ``shares``: conditions of wheels too.

    Raises ScenarioError where it cannot be built.  A run that ends before anything was recorded has no figures: an
    empty dict.
    """
    recording = recorded(scenario)
    if recording.time.size == 0:
        return {}
    return measures(recording) | (condition_shares(recording) if shares else {})


def threads(jobs: int | None) -> int:
    """Return how many threads to use: ``jobs``, or one for each core that this process may use."""
    if jobs is not None:
        return max(1, jobs)
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def as_done(work: Callable[[T], U], items: Iterable[T], *, jobs: int | None = None) -> Iterator[U]:
    """Give ``work(item)`` of each item as soon as it is worked out, in whatever order, on ``jobs`` threads.

    Broken off, it still gives nothing away: what is in work is waited for, and the rest is not begun.
    """
    count = threads(jobs)
    running: set[Future[U]] = set()
    pool = ThreadPoolExecutor(count)
    try:
        for item in items:
            running.add(pool.submit(work, item))
            if len(running) > count:
                done, running = wait(running, return_when=FIRST_COMPLETED)
                for future in done:
                    yield future.result()
        for future in as_completed(running):
            yield future.result()
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def mapped(
    work: Callable[[T], U], items: Iterable[T], *, jobs: int | None = None,
    progress: Callable[[int], None] | None = None,
) -> Iterator[U]:  # fmt: skip
    """Give ``work(item)`` of each item in order, worked out on ``jobs`` threads; few items are held at a time.

    ``progress`` is called with the number of results given.  An exception in ``work`` ends it all.
    """
    count = threads(jobs)
    waiting: deque[Future[U]] = deque()
    given = 0
    pool = ThreadPoolExecutor(count)
    try:
        for item in items:
            waiting.append(pool.submit(work, item))
            if len(waiting) >= AHEAD * count:
                yield waiting.popleft().result()
                given += 1
                if progress is not None:
                    progress(given)
        while waiting:
            yield waiting.popleft().result()
            given += 1
            if progress is not None:
                progress(given)
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def farm(
    scenarios: Iterable[Scenario], *, shares: bool = False, jobs: int | None = None,
    progress: Callable[[int], None] | None = None,
) -> Iterator[Measures]:  # fmt: skip
    """Give the figures of each scenario in order, as ``measures_of`` does, run on ``jobs`` threads [all cores]."""
    return mapped(
        lambda scenario: measures_of(scenario, shares=shares), scenarios, jobs=jobs, progress=progress
    )
