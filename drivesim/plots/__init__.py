"""Pictures of one run: registry, ``draw``, ``write_pictures``; imports matplotlib only to draw."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from drivesim.errors import DrivesimError

if TYPE_CHECKING:
    import os
    from collections.abc import Iterable
    from pathlib import Path

    from matplotlib.figure import Figure

    from drivesim.analysis.run import Run

__all__ = ["PICTURES", "Picture", "applicable", "draw", "write_pictures"]


@dataclass(frozen=True)
class Picture:
    """One picture: its name, what it shows in one line, and the module of the function that draws it."""

    name: str
    meaning: str
    module: str
    applies: Callable[[Run], bool] = lambda run: True

    def draw(self, run: Run) -> Figure:
        """Return the picture of ``run``; only for runs that it applies to."""
        function: Callable[[Run], Figure] = getattr(importlib.import_module(self.module), self.name)
        return function(run)


def _has_forced_wheel(run: Run) -> bool:
    return bool(run.traces["pull_out_torque"].notnull().any())


_MOTION, _PATH, _FORCES, _POWER = (f"drivesim.plots.{name}" for name in ("motion", "path", "forces", "power"))

#: all pictures by name, in the order in which they are shown
PICTURES: dict[str, Picture] = {
    picture.name: picture
    for picture in (
        Picture("speeds", "speed of each wheel: commanded, measured, true; and its condition", _MOTION),
        Picture("path", "the way from above and from the side, with marks where wheels did not grip", _PATH),
        Picture("slip", "slip ratio of each wheel, and its force against the friction limit", _MOTION),
        Picture("loads", "load on each wheel, and when it was in the air", _MOTION),
        Picture("fighting", "what the wheels spend on working against each other", _FORCES),
        Picture(
            "load_angle", "lead of each forced field, and torque left before pull-out", _FORCES,
            _has_forced_wheel,
        ),
        Picture("electrics", "phase currents, bus, battery current, winding temperatures", _POWER),
        Picture("energy", "where the energy went, part by part", _POWER),
    )
}  # fmt: skip


def applicable(run: Run) -> list[str]:
    """Return the names of the pictures that say something about ``run``, in the order shown."""
    if run.summary["ending"] == "not_finite":
        return []
    return [name for name, picture in PICTURES.items() if picture.applies(run)]


def draw(run: Run, name: str) -> Figure:
    """Return the picture ``name`` of ``run``.

    Raises DrivesimError where there is no such picture, or where it does not apply to this run.
    """
    picture = PICTURES.get(name)
    if picture is None:
        import difflib

        near = difflib.get_close_matches(name, PICTURES, 1)
        hint = f"; nearest is {near[0]}" if near else ""
        raise DrivesimError(f"picture: found '{name}', allowed: {', '.join(PICTURES)}{hint}")
    if name not in applicable(run):
        raise DrivesimError(
            f"picture: '{name}' says nothing about this run, allowed: {', '.join(applicable(run))}"
        )
    return picture.draw(_whole_rows(run))


def _whole_rows(run: Run) -> Run:
    """Return the run without rows that hold anything but numbers, as the last ones of a run gone wild may."""
    whole = np.ones(run.traces.sizes["time"], dtype=bool)
    for name, values in run.traces.data_vars.items():
        if name != "pull_out_torque":  # NaN where it does not apply
            whole &= np.isfinite(values.values).reshape(len(whole), -1).all(axis=1)
    if not whole.any():
        raise DrivesimError("picture: found no finite numbers in the traces, nothing can be drawn")
    return run if whole.all() else replace(run, traces=run.traces.isel(time=whole))


def write_pictures(
    run: Run,
    folder: str | os.PathLike[str],
    formats: Iterable[str] = ("png",),
    names: Iterable[str] | None = None,
) -> list[Path]:
    """Write pictures of ``run`` to ``folder`` as NAME.FORMAT and return their paths.

    ``formats``: png, svg, pdf.  ``names``: all applicable pictures if not given.  Either all files
    are written or none: they are put in place when the last is finished.
    Raises DrivesimError for unknown names and formats, OSError where the folder cannot be written.
    """
    from drivesim.plots.files import write

    return write(run, folder, tuple(formats), applicable(run) if names is None else list(names))
