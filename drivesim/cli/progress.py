"""Progress of long work: a bar on a terminal, silence in a pipe."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from drivesim._compile import cache_is_warm


@contextmanager
def simulated(duration: float) -> Iterator[Callable[[float], None]]:
    """Show how much of ``duration`` [s] is simulated; gives the function to report to."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    console = Console(stderr=True)
    if not cache_is_warm():
        console.print("compiling the simulator for this machine (once, some ten seconds) …", highlight=False)
    bar = Progress(
        TextColumn("simulating"), BarColumn(), TextColumn("{task.completed:.1f} of {task.total:g} s"),
        TimeRemainingColumn(), console=console, transient=True, disable=not console.is_terminal,
    )  # fmt: skip
    with bar:
        task = bar.add_task("", total=duration)
        yield lambda time: bar.update(task, completed=time)
