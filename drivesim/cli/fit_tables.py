"""Tables and texts that ``drivesim fit`` prints, and its sign of life on a terminal; made with rich."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from rich.console import Console
from rich.table import Table

from drivesim.fitting.result import Fit
from drivesim.fitting.words import number_text, plus_minus, size_text


@contextmanager
def working() -> Iterator[Callable[[], None]]:
    """Show on a terminal how often the model was worked out; gives the function to call each time."""
    console = Console(stderr=True)
    count = 0
    with console.status("fitting …") if console.is_terminal else _silence() as status:

        def tick() -> None:
            nonlocal count
            count += 1
            if status is not None and count % 20 == 0:
                status.update(f"fitting … the model was worked out {count} times")

        yield tick


@contextmanager
def _silence() -> Iterator[Any]:
    yield None


def print_fit(out: Console, fit: Fit) -> None:
    """Print the tests, the numbers, the verdict and what to beware of."""
    summary = fit.summary
    out.print(_tests(summary))
    out.print()
    out.print(_numbers(fit))
    for row in summary["outliers"]:
        unit = row["unit"].replace("*", "·")
        out.print(
            f"left out, beyond chance: {row['file'] or row['log']}:{row['line']}: {row['column']} "
            f"{row['measured']:.4g} {unit}, the model says {row['model']:.4g} {unit}",
            soft_wrap=True, markup=False,
        )  # fmt: skip
    out.print()
    for clause in _clauses(fit.verdict):
        out.print(clause, soft_wrap=True, markup=False)
    for title, key in (("warning", "warnings"), ("remark", "remarks"), ("caution", "cautions")):
        for text in summary[key]:
            out.print(f"{title}: {text}", soft_wrap=True, markup=False)


def _clauses(text: str) -> list[str]:
    """Return the verdict with a line for each of its clauses."""
    first, *others = text.split("; ")
    lines = [first[:1].upper() + first[1:], *(f"  {clause}" for clause in others)]
    return [f"{line};" for line in lines[:-1]] + [f"{lines[-1]}."]


def _tests(summary: dict[str, Any]) -> Table:
    table = Table(title="tests", title_justify="left", box=None, pad_edge=False)
    for title in ("log", "kind", "rows", "noise (one standard deviation)"):
        table.add_column(title, justify="right" if title == "rows" else "left")
    for test in summary["tests"]:
        table.add_row(test["name"], test["kind"], str(test["rows"]), ", ".join(_noise(test["noise"])))
    return table


def _noise(noise: dict[str, Any]) -> list[str]:
    """Return each quantity's noise in words, that of all wheels together."""
    sizes: dict[tuple[str, str], list[float]] = {}
    for name, found in noise.items():
        sizes.setdefault((name.partition(" ")[0].replace("_", " "), found["unit"]), []).append(found["sd"])
    return [
        f"{name} {size_text(min(sds), unit)}" + (f" to {size_text(max(sds), unit)}" if len(sds) > 1 else "")
        for (name, unit), sds in sizes.items()
    ]


def _numbers(fit: Fit) -> Table:
    table = Table(title="numbers, with 95 % intervals", title_justify="left", box=None, pad_edge=False)
    table.add_column("number")
    for title in ("file", "fitted", "bootstrap", "difference", "beyond chance"):
        table.add_column(title, justify="right")
    for path, row in fit.parameters.iterrows():
        compared = row.file == row.file  # NaN: only the log knows it
        low, high = (
            number_text(v, row.plus_minus, row.unit).partition(" ")[0]
            for v in (row.bootstrap_low, row.bootstrap_high)
        )
        table.add_row(
            str(path),
            number_text(row.file, 0.0, row.unit) if compared else "–",
            plus_minus(row.fitted, row.plus_minus, row.unit),
            f"{low} … {high}" if row.bootstrap_low == row.bootstrap_low else "–",
            f"{row.difference / row.file:+.1%}" if compared and row.file else "–",
            ("yes" if row.beyond_chance else "no") if compared and row.told else "not told" if not row.told else "–",
        )  # fmt: skip
    return table
