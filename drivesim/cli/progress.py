"""Progress of long work: a bar on a terminal, silence in a pipe."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from drivesim._compile import cache_is_warm


@contextmanager
def simulated(duration: float) -> Iterator[Callable[[float], None]]:
    """Show how much of ``duration`` [s] is simulated; gives the function to report to."""
    with _bar("simulating", "{task.completed:.1f} of {task.total:g} s", duration) as report:
        yield report


@contextmanager
def counted(total: int | None, what: str = "runs") -> Iterator[Callable[[int], None]]:
    """Show how many of ``total`` runs are done, or only how many where that is not known; gives what to report to."""
    of = "" if total is None else " of {task.total:.0f}"
    with _bar(what, "{task.completed:.0f}" + of, total) as report:
        yield report


@contextmanager
def _bar(what: str, figures: str, total: float | None) -> Iterator[Callable[[float], None]]:
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    console = Console(stderr=True)
    if not cache_is_warm():
        console.print("compiling the simulator for this machine (once, some ten seconds) …", highlight=False)
    bar = Progress(
        TextColumn(what), BarColumn(), TextColumn(figures), TimeRemainingColumn(),
        console=console, transient=True, disable=not console.is_terminal,
    )  # fmt: skip
    with bar:
        task = bar.add_task("", total=total)
        yield lambda done: bar.update(task, completed=done)
