"""A sizing's folder: summary, scenario and tables; imports analysis's files."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

from drivesim.analysis.files import SCENARIO, SUMMARY, write_table
from drivesim.scenario import to_yaml

if TYPE_CHECKING:
    from drivesim.sizing.size import Sizing


def write_sizing(sizing: Sizing, folder: Path) -> None:
    """Write summary, scenario and tables into an existing ``folder``."""
    text = json.dumps(sizing.summary, indent=2, ensure_ascii=False)
    (folder / SUMMARY).write_text(text + "\n", encoding="utf-8")
    (folder / SCENARIO).write_text(to_yaml(sizing.scenario), encoding="utf-8")
    for name, table in (("limits", sizing.limits), ("loading", sizing.loading), ("levers", sizing.levers)):
        table.to_csv(folder / f"{name}.csv", index=name == "limits", float_format="%.9g")
    write_table(sizing.lines, folder / "lines.csv", "speed")
