"""Progress of long work: a bar on a terminal's standard error, silence everywhere else."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from drivesim._compile import cache_is_warm

EVERY = 20  # calls of a model between two looks at the screen


def _shown(quiet: bool) -> bool:
    """Tell whether anybody watches: FORCE_COLOR makes no terminal, and a dumb one cannot go back in a line."""
    return not quiet and sys.stderr.isatty() and os.environ.get("TERM", "") not in ("dumb", "unknown")


@contextmanager
def simulated(duration: float, *, quiet: bool = False) -> Iterator[Callable[[float], None]]:
    """Show how much of ``duration`` [s] is simulated; gives the function to report to."""
    with _bar("simulating", "{task.completed:.1f} of {task.total:g} s", duration, quiet) as report:
        yield report


@contextmanager
def counted(total: int | None, what: str = "runs", *, quiet: bool = False) -> Iterator[Callable[[int], None]]:
    """Show how many of ``total`` runs are done, or only how many where that is not known; gives what to report to."""
    of = "" if total is None else " of {task.total:.0f}"
    with _bar(what, "{task.completed:.0f}" + of, total, quiet) as report:
        yield report


@contextmanager
def working(what: str, counted_words: str, *, quiet: bool = False) -> Iterator[Callable[[], None]]:
    """Show that something goes on, and how often it was worked out; gives the function to call each time."""
    if not _shown(quiet):
        yield lambda: None
        return
    from rich.console import Console

    count = 0
    with Console(stderr=True).status(f"{what} …") as status:

        def tick() -> None:
            nonlocal count
            count += 1
            if count % EVERY == 0:
                status.update(f"{what} … {counted_words.format(count)}")

        yield tick


@contextmanager
def _bar(what: str, figures: str, total: float | None, quiet: bool) -> Iterator[Callable[[float], None]]:
    if not _shown(quiet):
        yield lambda done: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    console = Console(stderr=True)
    if not cache_is_warm():
        console.print("compiling the simulator for this machine (once, some ten seconds) …", highlight=False)
    bar = Progress(
        TextColumn(what), BarColumn(), TextColumn(figures), TimeRemainingColumn(),
        console=console, transient=True,
    )  # fmt: skip
    with bar:
        task = bar.add_task("", total=total)
        yield lambda done: bar.update(task, completed=done)
