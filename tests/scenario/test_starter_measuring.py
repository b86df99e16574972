"""What the fifteen lines tell a builder to do gives the number that drivesim takes: each formula against the model."""

from __future__ import annotations

import math
import re
from itertools import pairwise

import numpy as np
import pytest

from drivesim import load_scenario, scenario_from_text, simulate
from drivesim.engine.build import build
from drivesim.errors import ScenarioError
from drivesim.fitting.kinds import DC_CURRENT
from drivesim.ground.roughness import Band, gaussian_field
from drivesim.physics import bench, motor
from drivesim.scenario.starter import MEASURES, SAFETY
from drivesim.scenario.starter_choices import GROUNDS
from drivesim.scenario.starter_files import SCENARIO, starter_files
from drivesim.scenario.variation import Template

G = 9.81


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("starter")
    for file, text in starter_files("r", "flat", "speed_loop").items():
        (place / file).write_text(text, encoding="utf-8")
    return place


@pytest.fixture(scope="module")
def rover(folder):
    return load_scenario(folder / SCENARIO).rover


def line(key):
    return next(m for m in MEASURES if m.path.endswith(key))


BOARD = """\
base: scenario.yaml
name: board
change:
  ground: {{length: 2 m, behind: 1.5 m, features: [{{kind: ramp, start: -1 m, end: 2 m, slope: {slope} rad}}]}}
  duration: 3 s
  start: {{x: 0.4 m}}
  commands: [{{at: 0 s, forward: 0 m/s}}]
  rover.wheels:
    front_left: {{driven: false}}
    front_right: {{driven: false}}
    rear_left: {{driven: false}}
    rear_right: {{driven: false}}
  rover.wheel.bearing.dry: {dry}
"""


def came(folder, rise, dry):
    """Return how far it has come down a board of that rise / run, its leads open and its nose uphill [m]."""
    text = BOARD.format(slope=math.atan(rise), dry=dry)
    x = simulate(scenario_from_text(text, folder)).traces["x"].values
    return float(x[0] - x[-1])


def test_the_board_for_friction(folder, rover):
    """With blocked wheels it slides from rise / run = friction on."""
    friction = rover.wheel.tyre.friction
    assert came(folder, 0.97 * friction, "10 N*m") < 0.03
    assert came(folder, 1.03 * friction, "10 N*m") > 0.1


def test_the_board_for_rolling_resistance(folder, rover):
    """It rolls from rise / run = rolling resistance + 4 × dry drag / (radius × mass × g) on."""
    assert "rise / run - 4 × dry drag / (radius × mass × 9.81 m/s²)" in line("rolling_resistance").how.lower()
    wheel = rover.wheel
    rise = wheel.tyre.rolling_resistance + 4 * wheel.bearing.dry / (wheel.radius * rover.mass * G)
    assert came(folder, 0.95 * rise, "0.6 mN*m") < 0.002
    assert came(folder, 1.05 * rise, "0.6 mN*m") > 0.02


def test_a_rolling_resistance_without_its_mark_is_refused(folder):
    """4 for 4 % would be a rover that nothing moves."""
    text = f"base: {SCENARIO}\nname: r\nchange: {{rover.wheel.tyre.rolling_resistance: 4}}\n"
    with pytest.raises(ScenarioError, match="'4 %'"):
        scenario_from_text(text, folder)


def test_the_scales_tell_the_centre_of_gravity(folder, rover):
    loads = simulate(load_scenario(folder / SCENARIO)).traces["normal_load"].isel(time=0)
    front = float(loads.sel(wheel=["front_left", "front_right"]).sum()) / G
    found = rover.wheelbase * (front / rover.mass - 0.5)
    assert found == pytest.approx(rover.centre_of_gravity[0], abs=0.2e-3)


def test_a_direct_current_snaps_a_rotor_to_as_many_places_as_it_has_pole_pairs(rover):
    """Its field stands still: the torque −K·î·sin(p·angle) holds where it falls through zero."""
    p, lam = rover.wheel.motor.pole_pairs, rover.wheel.motor.lam
    peak = 0.1 * DC_CURRENT.factor
    angle = np.linspace(0, 2 * math.pi, 5001)[:-1] + 1e-3
    torque = np.array([motor.torque(-peak * math.sin(p * a), p, lam) for a in angle])
    assert np.count_nonzero((torque > 0) & (np.roll(torque, -1) <= 0)) == p
    assert torque.max() > 2 * rover.wheel.bearing.dry, "a hand feels it"
    assert "the places in a turn to which it snaps are the pole pairs" in line("pole_pairs").how


def test_warming_by_direct_current_gives_the_thermal_resistance(rover):
    """Volts at the start and at the end, as the line says, of the winding that the model warms; stopped in time."""
    how, caution = line("thermal_resistance").how, line("thermal_resistance").caution
    coefficient = float(re.search(r"- 1\) / ([\d.]+)", how)[1])
    R20, winding, current, room = 2 * rover.wheel.motor.R, rover.wheel.winding, 0.6, 22.0
    peak = current * DC_CURRENT.factor
    minutes = int(re.search(r"about (\d+) minutes", how)[1])
    T, _ = bench.warmed(
        room, room, peak, R20 / 2, 20.0, winding.temperature_coefficient, room,
        winding.thermal_resistance, winding.heat_capacity, math.inf, math.inf, 60.0 * minutes, 2000,
    )  # fmt: skip
    first, last = (current * R20 * (1 + winding.temperature_coefficient * (t - 20)) for t in (room, T))
    found = (last / first - 1) / coefficient / (last * current)
    assert found == pytest.approx(winding.thermal_resistance, rel=0.02)
    stop = float(re.search(r"risen by (\d+) %", caution)[1]) / 100
    assert stop / coefficient <= 40
    assert stop / coefficient == pytest.approx(float(re.search(r"(\d+) K", caution)[1]), rel=0.02)


def test_the_long_test_is_told_apart_from_the_short_ones():
    words = " ".join(SAFETY)
    number = 1 + MEASURES.index(line("thermal_resistance"))
    assert f"line {number}" in words
    assert "skin" in words


def test_one_lead_alone_does_not_show_the_peak():
    """The rotor's place shares a held wheel's current among the leads; the greatest of three is near the peak."""
    assert "greatest of the three leads" in line("current_limit").how
    angle = np.linspace(0, 2 * math.pi, 721)
    leads = np.abs([np.cos(angle - shift) for shift in (0, 2 * math.pi / 3, 4 * math.pi / 3)])
    assert leads[0].min() < 0.01
    assert leads.max(axis=0).min() == pytest.approx(math.cos(math.pi / 6), abs=1e-3)


def test_the_pack_gives_the_cell(folder):
    """(rest - loaded) / amperes / in series × in parallel, of a pack as the model makes it."""
    for series, parallel in ((2, 1), (3, 2)):
        cells = f"rover.battery.cells_in_series: {series}, rover.battery.cells_in_parallel: {parallel}"
        text = f"base: {SCENARIO}\nname: r\nchange: {{{cells}}}\n"
        scenario = scenario_from_text(text, folder)
        drop = 1.0 * float(build(scenario).params[0]["battery_resistance"])
        assert drop / 1.0 / series * parallel == pytest.approx(scenario.rover.battery.cell_resistance)


def test_lumps_and_hollows_lie_as_the_comment_says():
    """Half a height and a quarter of a way, of ground drawn by the model along one wheel's track."""
    text = GROUNDS["rubble"].text
    rms, length = 6e-3, 45e-3
    assert "rms: 6 mm, correlation_length: 45 mm" in text
    x = np.arange(0, 40, 5e-3)
    z = gaussian_field(x, np.array([0.0, 0.05]), rms, length, Band(2.0, 0.05), np.random.default_rng(3))[:, 0]
    rises = np.flatnonzero((z[:-1] < 0) & (z[1:] >= 0))
    apart = float(np.diff(x[rises]).mean())  # from one lump above the middle to the next
    heights = [z[a:b].max() - z[a:b].min() for a, b in pairwise(rises)]
    said = re.search(r"correlation_length: (half|a quarter of) the way from lump to[ #\n]+lump", text)
    assert {"half": 0.5, "a quarter of": 0.25}[said[1]] * apart == pytest.approx(length, rel=0.15)
    assert "rms: half the usual height" in text
    assert 0.5 * float(np.median(heights)) == pytest.approx(rms, rel=0.3)


def test_the_file_says_that_a_surface_counts_twice_what_was_measured_on_it():
    scenario = starter_files("r", "flat", "speed_loop")[SCENARIO]
    assert "counts twice" in scenario.split("# surface:")[1].split("features")[0]


def test_half_the_fixed_voltage_holds_the_speed_on_the_level(tmp_path):
    for file, text in starter_files("r", "flat", "fixed_voltage").items():
        (tmp_path / file).write_text(text, encoding="utf-8")
    whole = load_scenario(tmp_path / SCENARIO)
    half = Template(whole).scenario_with(
        {"drive.voltage_per_speed": whole.drive.all_wheels.voltage_per_speed / 2}
    )
    assert simulate(half).verdict.startswith("moved")
    assert "faster than commanded" in simulate(whole).verdict
