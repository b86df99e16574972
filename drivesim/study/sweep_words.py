"""What a sweep found, in words and plain numbers: where the bars are met, what matters most, what is not decided."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import pandas as pd

from drivesim.study.statistics import DECIDED, wilson
from drivesim.study.sweep_axes import Array, Axis, Design
from drivesim.study.sweep_result import RANK, SHARE, SUCCESS, TOTAL, measure_words

HALF = 0.5  # of the grounds: a design on which the bars are met more often than this moves
LEAST_GROUNDS = 4  # of fewer no Wilson interval leaves out one half
MUCH = 0.9  # of what was driven of an axis; a box wider than that says nothing
#: by which numbers axes are put in order, and what they are
MEANING = {
    TOTAL: "of the variance, by itself or with others", SHARE: "of the variance between designs",
    RANK: "rank correlation",
}  # fmt: skip
SMALLEST = 0.05  # share of variance or correlation below which an axis is not worth a word


@dataclass(frozen=True)
class Region:
    """Designs by what the grounds say: bars met on more than half of them, on fewer, or not decided."""

    yes: np.ndarray
    no: np.ndarray

    @property
    def open(self) -> np.ndarray:
        """Designs for which the interval holds one half."""
        return ~(self.yes | self.no)


def regions(success: Array) -> Region:
    """Return which designs are decided, by 95 % Wilson intervals of ``success`` (designs, grounds)."""
    yes, no = np.zeros(len(success), dtype=bool), np.zeros(len(success), dtype=bool)
    for i, row in enumerate(success):
        known = row[np.isfinite(row)]
        if known.size:
            interval = _wilson(int(known.sum()), known.size)
            yes[i], no[i] = interval.low > HALF, interval.high < HALF
    return Region(yes, no)


_wilson = cache(wilson)  # of thousands of designs with the same few counts


def verdict(
    design: Design, success: Array, bars: Sequence[str], found: pd.DataFrame, leading: str, refused: int
) -> str:
    """Return a few sentences for someone who will build one of the designs."""
    parts = [_where(design, success, bars), _what_matters(design.axes, found, leading)]
    if refused:
        parts.append(f"{_count(refused, 'run')} could not be made; the table says why.")
    return " ".join(part for part in parts if part)


def _where(design: Design, success: Array, bars: Sequence[str]) -> str:
    known = np.isfinite(success).any(axis=1)
    if not known.any():
        return "No design could be driven."
    region, grounds, count = regions(success), success.shape[1], int(known.sum())
    undecided = int((region.open & known).sum())
    bar = " and ".join(bars)
    if grounds < LEAST_GROUNDS:
        chosen = np.zeros(len(success), dtype=bool)
        chosen[known] = np.nanmean(success[known], axis=1) > HALF
        on, often = ("one ground", "") if grounds == 1 else (f"{grounds} grounds", " more often than not")
        text = f"On {on} {chosen.sum()} of {_count(count, 'design')} meet{'s' * (count == 1)} the bar {bar}{often}"
        return (
            f"{text}{_all_of(design, chosen)}; so few grounds decide nothing, drive {LEAST_GROUNDS} or more."
        )
    if region.yes.sum() == count > 1:
        return f"All {count} designs meet the bar {bar} on more than half of the grounds."
    text = (
        f"{region.yes.sum()} of {_count(count, 'design')} meet the bar {bar} on more than half of the grounds"
    )
    text += f"{_all_of(design, region.yes)}; {region.no.sum()} do not{_all_of(design, region.no)}."
    if undecided:
        text += (
            f" For {undecided} the {grounds} grounds do not decide (95 % Wilson intervals hold one half): "
            "drive more grounds to draw the border."
        )
    return text


def _all_of(design: Design, chosen: np.ndarray) -> str:
    """Return the box that all ``chosen`` designs lie in, as far as it is smaller than what was driven."""
    if not chosen.any() or chosen.all():
        return ""
    parts = []
    for i, axis in enumerate(design.axes):
        places, driven = np.unique(design.places[chosen, i]), np.unique(design.places[:, i])
        if len(places) == len(driven) or (axis.unit and np.ptp(places) > MUCH * np.ptp(driven)):
            continue
        if axis.unit is None:
            parts.append(f"{axis.label} {' or '.join(axis.word(float(place)) for place in places)}")
        elif len(places) == 1:
            parts.append(f"{axis.label} {axis.word(places[0])}")
        else:
            parts.append(f"{axis.label} {axis.word(places[0])} to {axis.word(places[-1])}")
    return f" (all with {' and '.join(parts)})" if parts else ""


def _what_matters(axes: Sequence[Axis], found: pd.DataFrame, leading: str) -> str:
    """Return which axis explains most of the ``leading`` measure, and how sure that is."""
    rows = found[(found["measure"] == leading) & found["kind"].isin(list(MEANING))]
    if rows.empty or len(axes) < 2:
        return ""
    ordered = rows.reindex(rows["value"].abs().sort_values(ascending=False, kind="stable").index)
    kind, words = str(rows["kind"].iloc[0]), measure_words(leading)[0]
    labels = {axis.name: axis.label for axis in axes}
    first, *others = [
        _Told(labels[row.axis], row.value, row.low, row.high, row.p) for row in ordered.itertuples()
    ]
    unranked = [axis.label for axis in axes if axis.name not in set(rows["axis"])]
    left_out = f" {' and '.join(unranked)}, made of words, is not ranked here." if unranked else ""
    if not first.real(len(axes)):
        return (
            f"Whether any axis{' of numbers' if unranked else ''} moves the {words} is not decided.{left_out}"
        )
    sure = "one ground gives no interval" if np.isnan(first.low) else "95 % intervals"
    told = ", ".join(
        f"{one.label} {one.share(kind)}" for one in (first, *others) if abs(one.value) >= SMALLEST
    )
    rival = next((other for other in others if not first.beyond(other)), None)
    if rival is not None:
        return (
            f"Whether {first.label} or {rival.label} matters more for the {words} is not decided: {told} "
            f"({MEANING[kind]}; {sure}).{left_out}"
        )
    most = "What matters most" if not unranked else "Of the numbers, what matters most"
    return f"{most} for the {words} is {first.label}: {told} ({MEANING[kind]}; {sure}).{left_out}"


@dataclass(frozen=True)
class _Told:
    label: str
    value: float
    low: float
    high: float
    p: float = np.nan

    def real(self, axes: int) -> bool:
        """Tell whether there is an effect beyond chance, as one of so many axes; unknown counts as there being one."""
        if np.isfinite(self.p):
            return bool(self.p < DECIDED / axes and abs(self.value) >= SMALLEST)
        if not np.isfinite(self.low):
            return abs(self.value) >= SMALLEST
        return bool(self.low > 0 or self.high < 0)

    def share(self, kind: str) -> str:
        """Return the number with its interval."""
        if kind == RANK:
            return f"{self.value:+.2f} ({self.low:+.2f} … {self.high:+.2f})".replace("-", "−")
        if not np.isfinite(self.low):
            return f"{self.value:.0%}"
        return f"{self.value:.0%} ({self.low:.0%} … {self.high:.0%})"

    def beyond(self, other: _Told) -> bool:
        """Tell whether the intervals of the sizes lie apart."""
        ends = sorted((abs(self.low), abs(self.high)))
        least = 0.0 if self.low * self.high < 0 else ends[0]
        return bool(least > max(abs(other.low), abs(other.high)))


def summarise(
    design: Design, success: Array, means: dict[str, Array], refused: dict[tuple[int, int], str]
) -> dict[str, Any]:
    """Return the plain numbers of the summary: what was driven, and how each measure lies over the designs."""
    region = regions(success)
    measures = {}
    for name, values in means.items():
        known = np.isfinite(values)
        if not known.any():
            continue
        words, unit = measure_words(name)
        ends = {"least": int(np.nanargmin(values)), "greatest": int(np.nanargmax(values))}
        measures[name] = {"words": words, "unit": unit, "mean": float(values[known].mean())} | {
            end: {"value": float(values[i]), "design": i, "at": design.words(i)} for end, i in ends.items()
        }
    reasons = sorted(set(refused.values()))
    return {
        "designs": len(design),
        "grounds": success.shape[1],
        "runs": success.size,
        "refused": {"runs": len(refused), "reasons": reasons[:20]},
        "regions": {
            "met": int(region.yes.sum()), "not_met": int(region.no.sum()),
            "undecided": int((region.open & np.isfinite(success).any(axis=1)).sum()),
        },
        "axes": {
            axis.name: {
                "label": axis.label, "unit": axis.unit,
                "from": axis.word(float(design.places[:, i].min())), "to": axis.word(float(design.places[:, i].max())),
                "values": len(np.unique(design.places[:, i])),
            }
            for i, axis in enumerate(design.axes)
        },
        "measures": measures,
    }  # fmt: skip


def leading_measure(mapped: Sequence[str], success: Array) -> str:
    """Return the measure that the verdict speaks of: success where it differs between designs, else the first one."""
    rates = (
        np.nanmean(success, axis=1)
        if np.isfinite(success).any(axis=1).all()
        else success[np.isfinite(success)]
    )
    if rates.size and np.ptp(rates) > 0:
        return SUCCESS
    return next((name for name in mapped if name != SUCCESS), SUCCESS)


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'s' * (number != 1)}"
