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

__all__ = ["PICTURES", "STYLES", "Picture", "applicable", "draw", "write_pictures"]

#: styles of pictures: the first is meant where none is named; the last for grey printers
STYLES = ("light", "dark", "print")


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


def draw(run: Run, name: str, style: str = "light") -> Figure:
    """Return the picture ``name`` of ``run`` in a style of ``STYLES``.

    Raises DrivesimError where there is no such picture or style, or where it does not apply to this run.
    """
    style, picture = chosen_style(style), PICTURES.get(name)
    if picture is None:
        raise _unknown("picture", name, PICTURES)
    if name not in applicable(run):
        raise DrivesimError(
            f"picture: '{name}' says nothing about this run, allowed: {', '.join(applicable(run))}"
        )
    figure = picture.draw(whole_rows(run))
    if style == "light":
        return figure
    from drivesim.plots.palettes import restyle

    return restyle(figure, style)


def chosen_style(name: str) -> str:
    """Return the name of a style as it is; raises DrivesimError where there is none such."""
    if name not in STYLES:
        raise _unknown("style of pictures", name, STYLES)
    return name


def _unknown(what: str, name: str, allowed: Iterable[str]) -> DrivesimError:
    import difflib

    near = difflib.get_close_matches(name, allowed := list(allowed), 1)
    hint = f"; nearest is {near[0]}" if near else ""
    return DrivesimError(f"{what}: found '{name}', allowed: {', '.join(allowed)}{hint}")


def whole_rows(run: Run) -> Run:
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
    style: str = "light",
) -> list[Path]:
    """Write pictures of ``run`` to ``folder`` as NAME.FORMAT and return their paths.

    ``formats``: png, svg, pdf.  ``names``: all applicable pictures if not given.  ``style``: light, dark, print.
    Either all files are written or none: they are put in place when the last is finished.
    Raises DrivesimError for unknown names, formats and styles, OSError where the folder cannot be written.
    """
    from functools import partial

    from drivesim.plots.files import write_figures

    chosen = applicable(run) if names is None else list(names)
    return write_figures({name: partial(draw, run, name) for name in chosen}, folder, formats, style)
