"""The manual tells what drivesim says: every line behind an arrow is held against the run that it is about.

On a page a ```console or ```yaml block may be followed by a quote that begins with an arrow.  The quote's words must
stand in the verdict of the block's last scenario in this order; an ellipsis stands for words left out.
"""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from drivesim import Scenario, load_scenario, scenario_from_text, simulate, size

ROOT = Path(__file__).parents[2]
PAGES = [ROOT / "docs" / name for name in ("run.md", "troubleshooting.md")]
TOLD = re.compile(r"^```(console|yaml)\n((?:(?!```).*\n)+)```\n\n((?:> .*\n)+)", re.MULTILINE)


def told() -> list:
    """Return (kind of block, its text, the quote) of every quote with an arrow."""
    found = []
    for page in PAGES:
        for kind, block, quote in TOLD.findall(page.read_text(encoding="utf-8")):
            words = " ".join(line[2:] for line in quote.splitlines())
            if words.startswith("→ "):
                name = block.split("name: ")[-1].splitlines()[0] if kind == "yaml" else block.split()[-2]
                found.append(pytest.param(kind, block, words[2:], id=f"{page.stem}-{name}"))
    return found


def verdict_of(kind: str, block: str) -> str:
    """Return what drivesim says of the last scenario of a block."""
    if kind == "yaml":
        return simulate(scenario_from_text(block, ROOT / "scenarios")).verdict
    words = shlex.split(block.splitlines()[-1])
    scenario: Scenario = load_scenario(ROOT / words[3])
    return size(scenario).verdict if words[2] == "size" else simulate(scenario).verdict


def stand_in_order(quote: str, verdict: str) -> bool:
    """Tell whether the pieces of ``quote`` between ellipses stand in ``verdict`` one after the other."""
    at = 0
    for number, piece in enumerate(quote.split("…")):
        place = verdict.find(piece.strip(), at)
        if place < 0 or (number == 0 and place > 0):
            return False
        at = place + len(piece.strip())
    return True


def test_pieces_of_a_quote_are_looked_for_in_order():
    assert stand_in_order("stuck … in the air", "stuck at x while y turned free in the air")
    assert not stand_in_order("in the air … stuck", "stuck at x while y turned free in the air")
    assert not stand_in_order("fell behind", "so it fell behind")


@pytest.mark.parametrize(("kind", "block", "quote"), told())
def test_a_quoted_verdict_is_what_drivesim_says(kind, block, quote):
    verdict = verdict_of(kind, block)
    assert stand_in_order(quote, verdict), verdict


def test_enough_is_quoted():
    assert len(told()) > 20
