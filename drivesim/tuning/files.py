"""The folder of a tuning: gains to write under ``change:``, C header, scenario, summary, tables; imports the result."""

from __future__ import annotations

import json
import textwrap
from pathlib import Path

from drivesim.analysis.files import SCENARIO, SUMMARY
from drivesim.scenario import to_yaml
from drivesim.scenario.yaml_lines import write_text
from drivesim.tuning.tuned import Tuned

GAINS, HEADER, HELD_OUT, MAP = "tuned.yaml", "gains.h", "held_out.csv", "tried.csv"
DIGITS = "%.9g"
USE = """\
# Gains tuned by drivesim: write these lines into a scenario that has a base, or give them under its own change:.
# First with the wheels off the ground and a current-limited supply; the makers' data and local rules come first.
"""


def write_tuned(tuned: Tuned, folder: Path) -> None:
    """Write everything but the pictures into an existing ``folder``; the same result gives the same bytes."""
    (folder / SUMMARY).write_text(
        json.dumps(tuned.summary, indent=2, ensure_ascii=False) + "\n", encoding="utf-8"
    )
    (folder / GAINS).write_text(fragment(tuned), encoding="utf-8")
    (folder / HEADER).write_text(tuned.header, encoding="ascii")
    (folder / SCENARIO).write_text(to_yaml(tuned.scenario), encoding="utf-8")
    tuned.held_out.rename(columns=_with_units(tuned.held_out.attrs["units"])).to_csv(
        folder / HELD_OUT, index=False, float_format=DIGITS
    )
    tried = tuned.map.to_dataframe()
    units = {
        name: str(data.attrs["units"]) for name, data in tuned.map.variables.items() if "units" in data.attrs
    }
    tried.rename(columns=_with_units({str(name): unit for name, unit in units.items()})).to_csv(
        folder / MAP, index=False, float_format=DIGITS
    )


def fragment(tuned: Tuned) -> str:
    """Return the tuned gains as YAML that stands in a scenario file."""
    verdict = "\n".join(f"# {line}" for line in textwrap.wrap(tuned.verdict, 110))
    return f"{USE}{verdict}\n{write_text({'change': tuned.change})}"


def _with_units(units: dict[str, str]) -> dict[str, str]:
    return {name: f"{name} [{unit}]" for name, unit in units.items() if unit != "1"}
