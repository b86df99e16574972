"""A fit's summary as rows of words, for the tables of the command line and of the page; plain text only."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from drivesim.fitting.words import number_text, plus_minus, size_text

Rows = tuple[list[str], list[list[str]]]  # heads, and the texts of each row
NUMBERS_TITLE = "numbers, with 95 % intervals"


def verdict_clauses(text: str) -> list[str]:
    """Return the verdict with a line for each of its clauses."""
    first, *others = text.split("; ")
    lines = [first[:1].upper() + first[1:], *(f"  {clause}" for clause in others)]
    return [f"{line};" for line in lines[:-1]] + [f"{lines[-1]}."]


def log_rows(summary: Mapping[str, Any]) -> Rows:
    """Return the logs with their kinds, rows and noise."""
    rows = [
        [test["name"], test["kind"], str(test["rows"]), ", ".join(_noise(test["noise"]))]
        for test in summary["tests"]
    ]
    return ["log", "kind", "rows", "noise (one standard deviation)"], rows


def _noise(noise: Mapping[str, Any]) -> list[str]:
    """Return each quantity's noise in words, that of all wheels together."""
    sizes: dict[tuple[str, str], list[float]] = {}
    for name, found in noise.items():
        sizes.setdefault((name.partition(" ")[0].replace("_", " "), found["unit"]), []).append(found["sd"])
    return [
        f"{name} {size_text(min(sds), unit)}" + (f" to {size_text(max(sds), unit)}" if len(sds) > 1 else "")
        for (name, unit), sds in sizes.items()
    ]


def number_rows(summary: Mapping[str, Any]) -> Rows:
    """Return each number: what the file says, the fit with its interval, and whether they differ beyond chance."""
    rows = []
    for path, row in summary["parameters"].items():
        file, told = row["file"], row["told"]
        half = float("nan") if row["plus_minus"] is None else row["plus_minus"]
        ends = (row["bootstrap_low"], row["bootstrap_high"])
        bootstrap = "–"
        if None not in ends:
            low, high = (number_text(value, half, row["unit"]).partition(" ")[0] for value in ends)
            bootstrap = f"{low} … {high}"
        beyond = "not told" if not told else "–" if file is None else "yes" if row["beyond_chance"] else "no"
        rows.append(
            [
                path, number_text(file, 0.0, row["unit"]) if file is not None else "–",
                plus_minus(row["fitted"], half, row["unit"]), bootstrap,
                f"{row['difference'] / file:+.1%}" if file else "–", beyond,
            ]
        )  # fmt: skip
    return ["number", "file", "fitted", "bootstrap", "difference", "beyond chance"], rows


def outlier_lines(summary: Mapping[str, Any]) -> list[str]:
    """Return the readings that were left out."""
    lines = []
    for row in summary["outliers"]:
        unit = row["unit"].replace("*", "·")
        lines.append(
            f"left out, beyond chance: {row['file'] or row['log']}:{row['line']}: {row['column']} "
            f"{row['measured']:.4g} {unit}, the model says {row['model']:.4g} {unit}"
        )
    return lines


def remark_lines(summary: Mapping[str, Any]) -> list[str]:
    """Return warnings, remarks and cautions, each with its word."""
    return [
        f"{word}: {text}"
        for word, key in (("warning", "warnings"), ("remark", "remarks"), ("caution", "cautions"))
        for text in summary[key]
    ]
