"""What a folder holds, and which page is made of it; the pages' modules are imported only when one is asked for."""

from __future__ import annotations

import importlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from drivesim.analysis.files import SUMMARY, TRACES, read_run
from drivesim.analysis.run import Run
from drivesim.errors import RunError
from drivesim.report.run_page import run_page


@dataclass(frozen=True)
class Kind:
    """A kind of result: its word, the files that only its command writes, and the module with its page."""

    word: str
    files: tuple[str, ...]
    module: str

    def page(self, folder: Path) -> str:
        """Return the page of the result in ``folder``."""
        make: Callable[[Path], str] = importlib.import_module(self.module).page
        return make(folder)

    def there(self, folder: Path) -> int:
        """Return how many of its own files are in ``folder``."""
        return sum(any(folder.glob(name)) for name in self.files)


#: results of many runs; one is known by any of its own files, so that one that is missing is told by name
KINDS = (
    Kind("comparison", ("runs.csv", "runs.nc", "differences.csv"), "drivesim.report.compare_page"),
    Kind("tuning", ("gains.h", "tuned.yaml", "held_out.csv", "tried.csv"), "drivesim.report.tune_page"),
    Kind("sizing", ("limits.csv", "loading.csv", "levers.csv", "lines.csv"), "drivesim.report.size_page"),
    Kind("sweep", ("table.csv", "table.nc", "sensitivity.csv", "runs-*.jsonl"), "drivesim.report.sweep_page"),
    Kind("fit", ("residuals.csv", "parameters.csv", "fitted.yaml"), "drivesim.report.fit_page"),
)


def page_of(sources: Sequence[Path | Run]) -> str:
    """Return the page of one result, or of several runs side by side.

    ``sources``: folders that the commands wrote, or runs.  Raises RunError where a folder is not a result, cannot be
    read, or is no run where several are given.
    """
    if len(sources) == 1 and isinstance(sources[0], Path):
        kind = _kind(sources[0])
        if kind is not None:
            return kind.page(sources[0])
    return run_page([_run(source, len(sources)) for source in sources])


def _run(source: Path | Run, count: int) -> Run:
    if isinstance(source, Run):
        return source
    kind = _kind(source)
    if kind is not None:
        raise RunError(f"{source} is a {kind.word}; a page of {count} shows runs only")
    return read_run(source)


def _kind(folder: Path) -> Kind | None:
    """Return the kind of a result of many runs; None for a run.  Raises RunError where it is no result at all."""
    if not folder.exists():
        raise RunError(f"{folder}: there is no such folder")
    if not folder.is_dir():
        raise RunError(f"{folder} is a file; a folder that 'drivesim run' or another command wrote is needed")
    if (folder / TRACES).exists():
        return None
    kind = max(KINDS, key=lambda kind: kind.there(folder))
    if kind.there(folder):
        return kind
    missing = (
        "it is empty" if not any(folder.iterdir()) else f"neither {TRACES} nor a file of a study is in it"
    )
    if (folder / SUMMARY).exists():
        missing = f"{TRACES} is missing"
    raise RunError(f"{folder} is not the folder of a result: {missing}")
