"""What reaches the user: consoles, tables that fit the terminal, plain lines, JSON; made with rich and click.

Texts of users are shown as they are: never read as markup, and without characters that steer a terminal.
"""

from __future__ import annotations

import json
import math
import os
import re
import shutil
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Column, Table

PIPE_WIDTH = 140  # of lines in a pipe, where COLUMNS says nothing else
GAP = 2  # blanks between columns
#: steers a terminal, or turns the direction of writing; a line's end and a tab are harmless
STEERING = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")
BREAKS_JSON_LINES = re.compile("[\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069]")


def clean(text: str) -> str:
    """Return ``text`` with each character that would steer a terminal replaced by a sign."""
    return STEERING.sub("\N{REPLACEMENT CHARACTER}", text)


def say(text: object, *, err: bool = False) -> None:
    """Print one line, on standard error if ``err``."""
    click.echo(clean(str(text)), err=err)


def print_json(value: Any) -> None:
    """Print ``value`` as JSON that every reader takes: numbers that are none are null."""
    text = json.dumps(_known(value), indent=2, ensure_ascii=False, allow_nan=False)
    click.echo(BREAKS_JSON_LINES.sub(lambda found: f"\\u{ord(found[0]):04x}", text))


def _known(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _known(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_known(item) for item in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def console(*, stderr: bool = False) -> Console:
    """Return a console as wide as the terminal; in a pipe its lines are as long as they need to be."""
    from rich.console import Console

    stream = sys.stderr if stderr else sys.stdout
    columns = os.environ.get("COLUMNS", "")
    given = int(columns) if columns.isdecimal() and int(columns) > 0 else 0
    width = given or (shutil.get_terminal_size().columns if stream.isatty() else PIPE_WIDTH)
    out = Console(stderr=stderr, highlight=False, markup=False, emoji=False, width=width)
    out.push_render_hook(_hook())
    return out


def _hook() -> Any:
    """Return what takes steering characters out of everything that a console prints."""
    from rich.console import RenderHook
    from rich.segment import Segment

    class Cleaned:
        def __init__(self, inner: Any) -> None:
            self.inner = inner

        def __rich_console__(self, out: Any, options: Any) -> Iterator[Segment]:
            for segment in out.render(self.inner, options):
                yield segment if segment.control else Segment(clean(segment.text), segment.style)

    class Hook(RenderHook):
        def process_renderables(self, renderables: list[Any]) -> list[Any]:
            return [Cleaned(each) for each in renderables]

    return Hook()


def table(*heads: str, title: str | None = None, left: int = 1) -> Table:
    """Return an empty table; the first ``left`` columns hold words, the others figures."""
    from rich.table import Table

    made = Table(title=title, title_justify="left", box=None, pad_edge=False)
    for index, head in enumerate(heads):
        words = index < left
        made.add_column(head, justify="left" if words else "right", overflow="fold")
    return made


def filled(
    heads: Sequence[str], rows: Iterable[Sequence[str]], *, title: str | None = None, left: int = 1
) -> Table:
    """Return a table with rows in it; see ``table``."""
    made = table(*heads, title=title, left=left)
    for row in rows:
        made.add_row(*row)
    return made


def show(out: Console, made: Table, *, lead: int = 1) -> None:
    """Print a table; on a narrow terminal in parts, each beginning with the first ``lead`` columns."""
    for number, part in enumerate(_parts(out, made, lead)):
        if number:
            out.print()
        out.print(part)


def _parts(out: Console, made: Table, lead: int) -> Iterable[Table]:
    widths = [max(_width(out, cell) for cell in (c.header, *c.cells)) for c in made.columns]
    if sum(widths) + GAP * (len(widths) - 1) <= out.width:
        return [made]
    most = max(16, out.width * 2 // 5) // lead  # the words before the figures break into lines first
    first = sum(min(width, most) for width in widths[:lead]) + GAP * (lead - 1)
    groups: list[list[int]] = [[]]
    room = out.width - first
    for index in range(lead, len(widths)):
        if groups[-1] and widths[index] + GAP > room:
            groups.append([])
            room = out.width - first
        groups[-1].append(index)
        room -= widths[index] + GAP
    return [
        _part(made, [*range(lead), *group], made.title if number == 0 else None)
        for number, group in enumerate(groups)
    ]


def _width(out: Console, cell: Any) -> int:
    return out.measure(cell).maximum


def _part(made: Table, indices: list[int], title: Any) -> Table:
    chosen: list[Column] = [made.columns[index] for index in indices]
    part = table(title=title)
    for column in chosen:
        part.add_column(column.header, justify=column.justify, overflow="fold")
    for row in zip(*(column.cells for column in chosen), strict=True):
        part.add_row(*row)
    return part


def tell(
    summary: dict[str, Any], *, as_json: bool, quiet: bool, printed: Callable[[Console], None],
    folder: object = None,
) -> None:  # fmt: skip
    """Print a result: the summary as JSON, nothing at all, or what ``printed`` prints and where it was written."""
    from rich.text import Text

    if as_json:
        print_json(summary)
    elif not quiet:
        out = console()
        printed(out)
        if folder is not None:
            out.print(Text(f"\nwritten to {folder}/"))
