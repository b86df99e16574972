"""Lines and cells of CSV files as spreadsheets write them: quotes, empty cells, tabs, ';' and decimal commas.

Imports nothing of ours.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence

_DECIMAL_COMMA = re.compile(r"(?<=\d),(?=\d)")
#: spellings of units that instruments and spreadsheets have, and ours
RESPELLED = {
    "rev/min": "rpm", "r/min": "rpm", "1/min": "rpm", "U/min": "rpm", "RPM": "rpm", "Nm": "N*m", "mNm": "mN*m",
    "uNm": "uN*m", "Ncm": "N*cm",
}  # fmt: skip
#: what a bench instrument shows, by unit
USUAL = {"rad/s": "rpm", "N*m": "mN*m", "1/s": "Hz"}


def lines_of(text: str) -> list[tuple[int, str]]:
    """Return the lines that hold something, with their numbers; remarks without quotes and empty cells."""
    lines = ((i, line.strip(" ")) for i, line in enumerate(text.splitlines(), start=1))
    return [(i, _remark(line)) for i, line in lines if line.strip(',; \t"')]


def _remark(line: str) -> str:
    """Return a line as it is; one that begins with '#' without the quotes and empty cells of a spreadsheet."""
    quoted = line.startswith('"#')
    if not (quoted or line.startswith("#")):
        return line
    text = line.rstrip(",; \t")
    return text.strip('"').replace('""', '"') if quoted else text


def between(lines: Sequence[str]) -> str:
    """Return what stands between two cells, by the first line that is no remark."""
    header = next((line for line in lines if not line.startswith("#")), "")
    return next((mark for mark in ";\t" if mark in header), ",")


def cells_of(line: str, mark: str, width: int) -> list[str]:
    """Return the cells of a line, without quotes, and without empty ones at its end beyond ``width`` of them."""
    try:
        [cells] = csv.reader([line], delimiter=mark, skipinitialspace=True)
    except (csv.Error, ValueError):
        cells = line.split(mark)
    cells = [cell.strip() for cell in cells]
    while len(cells) > width and not cells[-1]:
        cells.pop()
    return cells


def with_point(word: str, mark: str) -> str:
    """Return a number as written, with a decimal point where ``mark`` between cells is no comma."""
    return word if mark == "," or "." in word else _DECIMAL_COMMA.sub(".", word)
