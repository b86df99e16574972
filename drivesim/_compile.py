"""The one compile decorator; it imports nothing of ours.

Numba's disk cache looks only at the file that holds a function, so an edited helper or constant in another
file would silently give old numbers.  Here the cache folder is named after a hash of every source file that
compiled code can come from: any edit means a new folder.
"""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import numba

F = TypeVar("F", bound=Callable[..., Any])

_OURS = re.compile("drivesim-[0-9a-f]{16}")  # the only folders that may be removed again
_PACKAGE = Path(__file__).resolve().parent
#: the only folders whose code may be compiled; their hash names the cache
COMPILED_FOLDERS = ("physics", "ground", "drive", "engine")
_KEEP = 4  # stamped folders left in place, so that two checkouts can alternate without recompiling


def source_stamp(package: Path = _PACKAGE) -> str:
    """Return a hash of the compiler's version and of every source that compiled code can come from."""
    digest = hashlib.sha256(numba.__version__.encode())
    sources = [
        Path(__file__),
        *(path for name in COMPILED_FOLDERS for path in (package / name).rglob("*.py")),
    ]
    for path in sorted(sources):
        digest.update(path.name.encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def _cache_root() -> Path:
    given = os.environ.get("NUMBA_CACHE_DIR")
    if given:
        return Path(given)
    base = os.environ.get("XDG_CACHE_HOME") or os.path.join(os.path.expanduser("~"), ".cache")
    return Path(base) / "drivesim"


def _open_cache() -> Path | None:
    """Return the stamped cache folder, or None where nothing can be written."""
    folder = _cache_root() / f"drivesim-{source_stamp()}"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            pass
        os.utime(folder)
        ours = [p for p in folder.parent.iterdir() if _OURS.fullmatch(p.name)]
        stamped = sorted(ours, key=lambda p: p.stat().st_mtime, reverse=True)
        for old in stamped[_KEEP:]:
            shutil.rmtree(old, ignore_errors=True)
    except OSError:
        return None
    return folder


CACHE_FOLDER = _open_cache()


def cache_is_warm() -> bool:
    """Tell whether compiled code for exactly these sources lies on disk already."""
    return CACHE_FOLDER is not None and any(CACHE_FOLDER.rglob("kernel.advance*.nbi"))


def compiled(function: F) -> F:
    """Compile ``function`` with numba, cached under the source stamp.

    No fast-math, and a division by zero gives inf or NaN instead of an exception: NaN is our alarm.  Compiled code
    allocates nothing, so arrays are not counted as they pass from function to function (a fifth of the time), and other
    threads run meanwhile.

    The plain function stays reachable as ``.py_func``.  Raises ImportError for a module outside
    ``COMPILED_FOLDERS``: its edits would not reach the cache's name.
    """
    if (
        function.__module__.startswith("drivesim.")
        and function.__module__.split(".")[1] not in COMPILED_FOLDERS
    ):
        raise ImportError(f"{function.__module__} may not hold compiled code; see COMPILED_FOLDERS")
    before = numba.config.CACHE_DIR
    numba.config.CACHE_DIR = str(CACHE_FOLDER or "")
    try:
        return numba.njit(cache=CACHE_FOLDER is not None, error_model="numpy", nogil=True, _nrt=False)(
            function
        )
    finally:
        numba.config.CACHE_DIR = before
