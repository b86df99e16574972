"""What a comparison says in words: what is decided, what is not, and what would decide it; imports scenario."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd
import xarray as xr

from drivesim.scenario import resolved
from drivesim.scenario.scenario import Scenario

FEW = 20  # grounds, below which bootstrap intervals of a mean are too narrow
MANY = 2000  # grounds; a difference that needs more is too small to be looked for
#: measure → words for more and for less of it, around the amount
WORDS = {
    "progress": ("comes {} farther", "comes {} less far"),
    "stuck": ("is stuck for {} longer", "is stuck for {} less"),
    "circulating_power": ("spends {} more on wheels against each other", "spends {} less on wheels against each other"),
    "energy_per_metre": ("needs {} more for a metre", "needs {} less for a metre"),
    "peak_temperature": ("gets {} warmer", "stays {} cooler"),
}  # fmt: skip
NOT_DECIDED = "Not decided (grounds that would decide it, if the difference seen is the true one)"
OPEN = {
    "success": "which gets through more often",
    "progress": "which comes farther",
    "stuck": "which is stuck for longer",
    "circulating_power": "whose wheels fight more",
    "energy_per_metre": "which needs more energy for a metre",
    "peak_temperature": "which gets warmer",
}


def verdict(runs: xr.Dataset, cases: pd.DataFrame, differences: pd.DataFrame, against: str) -> str:
    """Return a sentence or two for each case that is held against another."""
    count = runs.sizes["ground"]
    words = str(runs["success"].attrs["long_name"])
    told = []
    for case in dict.fromkeys(differences.index.get_level_values("case")):
        own = differences.loc[case]
        wins = [int(runs["success"].sel(case=name).sum()) for name in (case, against)]
        rates = f"{words}: {wins[0]} of {count} against {wins[1]}"
        told.append(_of_case(case, against, own, rates))
    return " ".join(told)


def _of_case(case: str, against: str, own: pd.DataFrame, rates: str) -> str:
    decided = [
        _amount(str(measure), row)
        for measure, row in own.iterrows()
        if row["decided"] and measure in WORDS and shows(row)
    ]
    success = own.loc["success"]
    if success["decided"]:
        more = "more" if success["mean"] > 0 else "less"
        first = f"{case} gets through {more} often than {against} ({rates})"
        if decided:
            first += f" and {_listed(decided)}"
    elif decided:
        first = f"Against {against}, {case} {_listed(decided)}"
    else:
        first = f"The data do not decide between {case} and {against}"
    undecided = [(str(measure), row) for measure, row in own.iterrows() if not row["decided"]]
    seen = [
        (measure, row)
        for measure, row in undecided
        if measure == "success" or not (row["pairs"] > 0 and row["mean"] == 0)
    ]
    if not seen:
        return first + "."
    return f"{first}. {NOT_DECIDED}: {', '.join(_open(measure, row, rates) for measure, row in seen)}."


def _amount(measure: str, row: pd.Series) -> str:
    more, less = WORDS[measure]
    return (more if row["mean"] > 0 else less).format(amount(row))


def amount(row: pd.Series) -> str:
    """Return the size of a difference with its interval; the interval has signs where it holds zero."""
    unit, factor, digits = scale(str(row["unit"]), abs(row["mean"]))
    sign = 1.0 if row["mean"] >= 0 else -1.0
    low, high = sorted((sign * factor * row["low"], sign * factor * row["high"]))
    return f"{abs(factor * row['mean']):.{digits}f} {unit} ({low:z.{digits}f} … {high:z.{digits}f})".replace(
        "-", "−"
    )


def shows(row: pd.Series) -> bool:
    """Tell whether a difference is more than nothing in the digits shown."""
    _, factor, digits = scale(str(row["unit"]), abs(row["mean"]))
    return bool(round(abs(factor * row["mean"]), digits) > 0)


def scale(unit: str, size: float) -> tuple[str, float, int]:
    """Return the unit to show a difference of about ``size`` in, the factor to it, and how many decimals."""
    if unit == "m" and size < 0.1:
        return "mm", 1e3, 0
    if unit == "W" and size < 1:
        return "mW", 1e3, 1
    digits = 0 if size >= 100 else 1 if size >= 10 else 2
    return ("K" if unit == "degC" else unit), 1.0, digits


def _open(measure: str, row: pd.Series, rates: str) -> str:
    """Return what is open, and how many grounds would decide it if the difference found is the true one."""
    needed = row["grounds_needed"]
    if row["pairs"] < 2:
        grounds = "too few pairs to tell"
    elif pd.isna(needed):
        grounds = "no difference seen"
    elif needed > MANY:
        grounds = f"more than {MANY}"
    else:
        grounds = "a few more" if needed <= row["pairs"] else f"about {needed}"
    return f"{OPEN[measure]} ({rates + '; ' if measure == 'success' else ''}{grounds})"


def _listed(parts: list[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def notes(runs: xr.Dataset, scenarios: Mapping[str, Scenario]) -> list[str]:
    """Return what to keep in mind when reading the figures."""
    found = []
    count = runs.sizes["ground"]
    if count >= 2 and float(runs["energy"].std("ground").max()) == 0:
        found.append(
            "every ground came out the same: nothing in these scenarios is random, and one ground is as good as many"
        )
    elif count < FEW:
        found.append(
            f"{count} grounds are few: a 95 % interval then holds the truth less often (simulated: 80 % of the time "
            "with 5, 90 % with 12)"
        )
    for name in scenarios:
        early = runs["finished"].sel(case=name).values < 0.5
        if early.any():
            lasted = float(runs["duration"].sel(case=name).values[early].mean())
            text = "left the ground, tipped over or lost their battery"
            found.append(
                f"{name}: {early.sum()} of {early.size} runs ended early ({text}; after {lasted:.1f} s on average); "
                "they count as failures, and of their figures only the way is compared"
            )
    grounds = [resolved(scenario)["ground"] for scenario in scenarios.values()]
    if any(ground != grounds[0] for ground in grounds):
        found.append("the cases differ in their ground: a pair shares its seed, not its bumps")
    limits = {name: s.rover.wheel.winding.limit for name, s in scenarios.items()}
    warmest = {name: float(runs["peak_temperature"].sel(case=name).max()) for name in scenarios}
    for name, limit in limits.items():
        if limit is not None and warmest[name] > limit:
            found.append(f"{name}: a winding reached {warmest[name]:.0f} degC, its limit is {limit:.0f} degC")
    missing = int((runs["energy_per_metre"].isnull() & (runs["finished"] > 0.5)).sum())
    if missing:
        found.append(
            f"{missing} runs came nowhere and have no energy per metre; their pairs are left out there"
        )
    return found
