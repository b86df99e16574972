"""Tables and texts that ``drivesim fit`` prints; made with rich."""

from __future__ import annotations

from typing import Any

from rich.console import Console
from rich.table import Table

from drivesim.cli.console import show, table
from drivesim.fitting.result import Fit
from drivesim.fitting.words import number_text, plus_minus, size_text


def print_fit(out: Console, fit: Fit) -> None:
    """Print the tests, the numbers, the verdict and what to beware of."""
    summary = fit.summary
    show(out, _tests(summary), lead=2)
    out.print()
    show(out, _numbers(fit))
    for row in summary["outliers"]:
        unit = row["unit"].replace("*", "·")
        out.print(
            f"left out, beyond chance: {row['file'] or row['log']}:{row['line']}: {row['column']} "
            f"{row['measured']:.4g} {unit}, the model says {row['model']:.4g} {unit}",
            soft_wrap=True,
        )  # fmt: skip
    out.print()
    for clause in _clauses(fit.verdict):
        out.print(clause, soft_wrap=True)
    for title, key in (("warning", "warnings"), ("remark", "remarks"), ("caution", "cautions")):
        for text in summary[key]:
            out.print(f"{title}: {text}", soft_wrap=True)


def _clauses(text: str) -> list[str]:
    """Return the verdict with a line for each of its clauses."""
    first, *others = text.split("; ")
    lines = [first[:1].upper() + first[1:], *(f"  {clause}" for clause in others)]
    return [f"{line};" for line in lines[:-1]] + [f"{lines[-1]}."]


def _tests(summary: dict[str, Any]) -> Table:
    made = table("log", "kind", "rows", title="tests", left=2)
    made.add_column("noise (one standard deviation)", overflow="fold")
    for test in summary["tests"]:
        made.add_row(test["name"], test["kind"], str(test["rows"]), ", ".join(_noise(test["noise"])))
    return made


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
    heads = ("number", "file", "fitted", "bootstrap", "difference", "beyond chance")
    made = table(*heads, title="numbers, with 95 % intervals")
    for path, row in fit.parameters.iterrows():
        compared = row.file == row.file  # NaN: only the log knows it
        low, high = (
            number_text(v, row.plus_minus, row.unit).partition(" ")[0]
            for v in (row.bootstrap_low, row.bootstrap_high)
        )
        made.add_row(
            str(path),
            number_text(row.file, 0.0, row.unit) if compared else "–",
            plus_minus(row.fitted, row.plus_minus, row.unit),
            f"{low} … {high}" if row.bootstrap_low == row.bootstrap_low else "–",
            f"{row.difference / row.file:+.1%}" if compared and row.file else "–",
            ("yes" if row.beyond_chance else "no") if compared and row.told else "not told" if not row.told else "–",
        )  # fmt: skip
    return made
