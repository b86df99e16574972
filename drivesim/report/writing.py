"""``write_report``: a page into a file, whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from drivesim.analysis.files import replaced
from drivesim.analysis.run import Run
from drivesim.errors import RunError
from drivesim.report.kinds import page_of

REPORT = "report.html"
OURS = '<meta name="generator" content="drivesim">'


def write_report(
    sources: Path | Run | Sequence[Path | Run], target: str | os.PathLike[str], *, force: bool = False
) -> Path:
    """Write the page of one result, or of several runs side by side, to the file ``target`` and return its path.

    ``sources``: folders that the commands wrote, or runs.  An older page is replaced; any other file only with
    ``force``.  Raises RunError where a source cannot be read or the page not be written, DrivesimError for too many.
    """
    path = Path(target)
    check_page(path, force)
    given = [sources] if isinstance(sources, Path | Run) else list(sources)
    text = page_of(given)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        replaced(path, lambda partial: partial.write_text(text, encoding="utf-8"))
    except OSError as error:
        raise RunError(f"{path}: cannot be written ({error.strerror})") from None
    return path


def check_page(path: Path, force: bool) -> None:
    """Raise RunError unless ``path`` can be written: new, an older page, or anything that may be replaced."""
    if path.is_dir():
        raise RunError(f"{path} is a folder; give the name of a file, such as {path / REPORT}")
    try:
        if path.exists() and not path.is_file():
            raise RunError(f"{path} is not a file that a page can replace")
        if force or not path.exists():
            return
        with path.open("rb") as file:
            ours = OURS.encode() in file.read(4096)
    except OSError as error:
        raise RunError(f"{path}: cannot be read ({error.strerror})") from None
    if not ours:
        raise RunError(f"{path} exists and is not a page of drivesim; give another --output, or --force")
