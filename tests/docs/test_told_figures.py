"""The figures that docs/troubleshooting.md gives without an arrow come out of the runs that they are about."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from drivesim import scenario_from_text, simulate

ROOT = Path(__file__).parents[2]
PAGE = " ".join((ROOT / "docs" / "troubleshooting.md").read_text(encoding="utf-8").split())
CRAWL, TURN = "base: bench_start.yaml", "base: turn_on_the_spot.yaml"
ARC = "ground.length: 3 m, commands.0.forward: 0.15 m/s, commands.0.turn: 20 deg/s"
SHORT, SMOOTH = "rover.wheelbase: 80 mm, rover.track: 160 mm", "rover.wheel.tyre.side_friction_ratio: 0.5"

#: words on the page, the scenario, what is changed in it, and what its verdict says
TOLD = [
    ("at 80 mm/s it is 103 %", CRAWL, "commands.0.forward: 80 mm/s", "103% .* between 0.02 and 0.18 m/s"),
    ("(1 s: 103 %)", CRAWL, "commands.0.forward: 40 mm/s, drive.sensor.timeout: 1 s", "103%"),
    ("it came 0.71 m and 43 %", "base: loose_fill.yaml", "", "0.71 m .* 43%"),
    ("to 0.43 m only", "base: rubble_locked.yaml", "drive.base_amplitude: 3.8 V", "^fell behind: 0.43 m"),
    ("gave 54 % to 57 %", TURN, SHORT, " 57%"),
    ("gave 54 % to 57 %", TURN, SMOOTH, " 54%"),
    ("one more cell 27 %", TURN, "rover.battery.cells_in_series: 3", " 27%"),
    ("turned 3 of 109 degrees", TURN, ARC, "turned 3 of 109 deg"),
    ("with `braking: true` 14", TURN, f"{ARC}, drive.braking: true", "turned 14 of 109 deg"),
    ("it stood for 1.0 s instead of 1.4 s", "base: lossy_link.yaml", "link.fail_safe: 1 s", "for 1.0 s"),
]  # fmt: skip


def run(base, change):
    return simulate(scenario_from_text(f"{base}\nname: told\nchange: {{{change}}}\n", ROOT / "scenarios"))


@pytest.mark.parametrize(("words", "base", "change", "verdict"), TOLD)
def test_a_figure_is_what_comes_out(words, base, change, verdict):
    assert words in PAGE
    found = run(base, change).verdict
    assert re.search(verdict, found), found


def test_energy_way_and_step():
    assert "(12 J against 155 J)" in PAGE
    heavy = "base: heavy_grippy_tyres.yaml"
    assert run(heavy, "").summary["energy_drawn_J"] == pytest.approx(155, abs=1)
    loop = run(f"{heavy}\ndrive: drives/speed_loop.yaml", "drive.slew: 2000 rad/s^2").summary
    assert loop["energy_drawn_J"] == pytest.approx(12, abs=0.5)
    assert "0.3 m with seed 12 and 1.3 m with seed 13" in PAGE
    rubble = "base: rubble_speed_loop.yaml"
    assert [round(run(rubble, f"seed: {seed}").summary["progress_m"], 1) for seed in (12, 13)] == [0.3, 1.3]
    assert "at 0.06 ms instead of 0.5 ms" in PAGE
    hard = "rover.wheel.tyre.radial_stiffness: 300 N/mm, duration: 0.1 s"
    steps = [run(CRAWL, change).summary["step_s"] for change in ("duration: 0.1 s", hard)]
    assert steps == [pytest.approx(0.5e-3), pytest.approx(0.06e-3, rel=0.05)]
