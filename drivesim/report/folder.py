"""The folder of a study as the pages read it: summary, tables, texts, pictures; what is amiss is told in one line."""

from __future__ import annotations

import csv
import io
import json
import math
import stat
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from PIL import Image, UnidentifiedImageError

from drivesim.analysis.files import SUMMARY
from drivesim.errors import RunError
from drivesim.plots.style import one_line
from drivesim.report.pictures import embedded

TRUTHS = {"True": True, "False": False}
MOST_PIXELS, MOST_SHOWN = 40_000_000, 3_000_000  # of a picture; of it in a page, more is made smaller
MOST_LETTERS = 200  # of what a reader says
MOST_BYTES = 100_000_000  # of a file; a table takes some twenty times as much in memory


class Folder:
    """The files of one result; every method raises RunError that names the folder and the file."""

    def __init__(self, path: Path, word: str) -> None:
        self.path, self.word = path, word

    def summary(self) -> dict[str, Any]:
        """Return what summary.json holds."""
        try:
            found = json.loads(self._bytes(SUMMARY))
        except (ValueError, RecursionError) as error:
            raise self.unreadable(SUMMARY, error) from None
        if not isinstance(found, dict):
            raise self.unreadable(SUMMARY, "it holds no table of names and values")
        return found

    def text(self, name: str) -> str:
        """Return a whole text file."""
        data = self._bytes(name)
        try:
            text = data.decode("utf-8")
        except ValueError as error:
            raise self.unreadable(name, error) from None
        if not text.endswith("\n"):
            raise self.unreadable(name, "its last line has no end, as if it were cut off")
        return text.replace("\r\n", "\n")

    def table(self, name: str, words: Sequence[str] = (), rows: int | None = None) -> pd.DataFrame:
        """Return a CSV file: columns named in ``words`` as text, others as numbers or truths if all of theirs are.

        A column keeps the unit that its head has in brackets in ``attrs["units"]``, not in its name.  ``rows``: how
        many there have to be, as the summary says.
        """
        try:
            lines = list(csv.reader(io.StringIO(self.text(name)), strict=True))
        except csv.Error as error:
            raise self.unreadable(name, error) from None
        if not lines or any(len(line) != len(lines[0]) for line in lines):
            raise self.unreadable(name, "its rows are not of one length")
        if rows is not None and len(lines) - 1 != rows:
            raise self.unreadable(name, f"it has {len(lines) - 1} rows, {SUMMARY} tells of {rows}")
        frame, units = {}, {}
        for i, head in enumerate(lines[0]):
            label, _, unit = head.partition(" [")
            frame[label] = _column([line[i] for line in lines[1:]], label in words)
            units[label] = unit.removesuffix("]") or "1"
        table = pd.DataFrame(frame)
        table.attrs["units"] = units
        return table

    def pictures(self, words: Mapping[str, str]) -> list[dict[str, str]]:
        """Return the pictures that are there, of those named in ``words``, which says what each one shows."""
        found = []
        for name, about in words.items():
            path = self.path / f"{name}.png"
            if not path.is_file():
                continue
            try:
                with Image.open(io.BytesIO(self._bytes(path.name)), formats=("PNG",)) as image:
                    if image.width * image.height > MOST_PIXELS:
                        raise ValueError(f"{image.width} × {image.height} pixels are too many")
                    found.append(embedded(_made_small(image.convert("RGB")), name, about))
            except UnidentifiedImageError:
                raise self.unreadable(path.name, "it is no PNG picture") from None
            except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as error:
                raise self.unreadable(path.name, error) from None
        return found

    def unreadable(self, name: str, why: object) -> RunError:
        """Return the error of a file that is there and cannot be read."""
        return RunError(
            f"{self.path}: {name} of this {self.word} cannot be read ({one_line(why, MOST_LETTERS)})"
        )

    def _bytes(self, name: str) -> bytes:
        path = self.path / name
        try:
            about = path.stat()
            if not stat.S_ISREG(about.st_mode):  # a pipe would never end
                raise self.unreadable(name, "it is no file")
            if about.st_size > MOST_BYTES:
                size = f"it has {about.st_size / 1e6:.0f} MB, a page is made of at most {MOST_BYTES / 1e6:.0f} MB"
                raise self.unreadable(name, size)
            return path.read_bytes()
        except FileNotFoundError:
            raise RunError(f"{self.path}: {name} of this {self.word} is missing") from None
        except OSError as error:
            raise self.unreadable(name, error.strerror) from None


@contextmanager
def reading(path: Path, word: str) -> Iterator[Folder]:
    """Give the folder to make a page of; files that do not fit each other become one line."""
    try:
        yield Folder(path, word)
    except (LookupError, TypeError, ValueError, AttributeError, ArithmeticError) as error:
        what = f"no {error}" if isinstance(error, KeyError) else one_line(error, MOST_LETTERS)
        raise RunError(
            f"{path}: {SUMMARY} and tables do not fit a {word} ({what}); "
            "was a file edited, or written by another version?"
        ) from error


def _made_small(image: Image.Image) -> Image.Image:
    """Return a picture with no more pixels than a page shows."""
    share = math.sqrt(MOST_SHOWN / (image.width * image.height))
    if share < 1:
        image.thumbnail((int(share * image.width), int(share * image.height)))
    return image


def _column(texts: list[str], words: bool) -> list[Any]:
    if words or not texts:
        return texts
    if all(text in TRUTHS for text in texts):
        return [TRUTHS[text] for text in texts]
    try:
        return [float(text) if text else math.nan for text in texts]
    except ValueError:
        return texts


def finite_or_none(values: Sequence[float] | np.ndarray) -> list[float | None]:
    """Return numbers in five digits, None for what is none, as a page's data hold them."""
    return [float(f"{value:.5g}") if math.isfinite(value) else None for value in map(float, values)]
