"""By how much limits follow design numbers, against what their closed forms say; endurance; the answer in words."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq
from sizing_rovers import RADIUS, TORQUE, WEIGHT, limits, plain, shelf

from drivesim import DrivesimError
from drivesim.physics.supply import polymer_cell_voltage
from drivesim.sizing.answers import FOR_EVER, NOW, WHEEL_UP
from drivesim.sizing.levers import column_name
from drivesim.sizing.size import Sizing, size

GRIPPY = {
    "rover.wheel.tyre.friction": 3.0,
    "rover.wheel.winding.limit": "40 degC",
    "rover.battery.electronics": "1 W",
}
LOSSY = {"rover.wheel.tyre.rolling_resistance": 0.02}


@pytest.fixture(scope="module")
def grippy() -> Sizing:
    return size(plain(GRIPPY | LOSSY), slope=0.3)


def change(sizing: Sizing, lever: str, task: str, state: str = NOW) -> float:
    row = sizing.levers.set_index("lever").loc[lever]
    return float(row[column_name(task, state)])


def test_the_turn_follows_its_closed_form(grippy):
    """margin = (T/r − ρN)/(mu·N·x/√(x²+y²)) to within the rolling part: T goes with flux and 1/R."""
    assert change(grippy, "flux_linkage", "turn") == pytest.approx(1.0, abs=0.01)
    assert change(grippy, "winding_resistance", "turn") == pytest.approx(-1.0, abs=0.01)
    assert change(grippy, "mass", "turn") == pytest.approx(-1.0, abs=0.01)
    assert change(grippy, "wheel_radius", "turn") == pytest.approx(-1.0, abs=0.01)
    x, y = 0.1, 0.08
    assert change(grippy, "wheelbase", "turn") == pytest.approx(-(y**2) / (x**2 + y**2), abs=0.02)
    assert change(grippy, "track", "turn") == pytest.approx(y**2 / (x**2 + y**2), abs=0.02)
    assert change(grippy, "one_cell_more", "turn") == pytest.approx(
        100.0, rel=1e-4
    )  # of one cell, twice the voltage
    assert change(grippy, "space_vector", "turn") == pytest.approx((2 / math.sqrt(3) - 1) * 100, rel=1e-3)


def test_pull_and_grade_follow_their_closed_forms(grippy):
    """Pull = 4·T/r − ρ·W; W·sin(slope) + ρ·W·cos(slope) = 4·T/r, so d(slope)/slope = tan/(1 − ρ·tan)/slope·…"""
    push, rolling = 4 * TORQUE / RADIUS, 0.02 * WEIGHT
    assert change(grippy, "flux_linkage", "tow") == pytest.approx(push / (push - rolling), abs=2e-3)
    assert change(grippy, "mass", "tow") == pytest.approx(-rolling / (push - rolling), abs=2e-3)
    assert change(grippy, "tyre_friction", "tow") == pytest.approx(0.0, abs=1e-6)
    slope = grippy.limits.loc["grade", NOW]
    slopes = [math.asin(push * k / WEIGHT / math.hypot(1, 0.02)) - math.atan(0.02) for k in (0.99, 1.01)]
    wanted = (slopes[1] - slopes[0]) / slope * 50
    assert change(grippy, "flux_linkage", "grade") == pytest.approx(wanted, rel=1e-3)
    assert change(grippy, "winding_resistance", "grade") == pytest.approx(-wanted, rel=5e-3)


def test_for_ever_follows_the_root_of_what_heat_allows(grippy):
    """I = √((T − T_air)/(1.5·R·R_th)): −1/2 by resistance and way of the heat; 18 K are left, half of 1/18 a kelvin."""
    push = 4 * 1.5 * 7 * 2e-3 * math.sqrt(18.0 / 15.0) / RADIUS
    lost = push / (push - 0.02 * WEIGHT)
    for lever in ("winding_resistance", "thermal_resistance"):
        assert change(grippy, lever, "tow", FOR_EVER) == pytest.approx(-0.5 * lost, abs=2e-3)
    assert change(grippy, "ambient", "tow", FOR_EVER) == pytest.approx(-100 / 36 * lost, rel=2e-3)
    assert change(grippy, "flux_linkage", "tow", FOR_EVER) == pytest.approx(lost, abs=2e-3)
    assert change(grippy, "thermal_resistance", "tow", NOW) == pytest.approx(0.0, abs=1e-6)


def test_endurance_is_what_the_pack_holds_over_what_flows():
    """A flat pack: capacity over current; a falling one: the integral of charge over current, taken finely here."""
    flat = limits(plain({"rover.battery.electronics": "1 W"}))["endurance", NOW]
    assert flat == (pytest.approx(2.0 * 3600 / (1.0 / 4.0), rel=1e-6), "battery")
    # Chen and Rincon-Mora's cell (2006), from full down to 3 V, 2 W of it: ∫ V/P
    found = limits(plain({"rover.battery.open_circuit": None, "rover.battery.electronics": "2 W"}))[
        "endurance", NOW
    ]
    end = brentq(lambda charge: polymer_cell_voltage(charge) - 3.0, 1e-3, 0.1)
    held, _ = quad(polymer_cell_voltage, end, 1.0, epsrel=1e-10)
    assert found.value == pytest.approx(2.0 * 3600 * held / 2.0, rel=1e-3)


def test_endurance_follows_capacity_and_electronics(grippy):
    assert change(grippy, "capacity", "endurance") == pytest.approx(1.0, abs=1e-3)
    rims, copper = 0.02 * WEIGHT * 0.1, 4 * 1.5 * (0.02 * WEIGHT / 4 * RADIUS / (1.5 * 7 * 2e-3)) ** 2
    drive = rims + copper  # W
    assert change(grippy, "electronics", "endurance") == pytest.approx(-1.0 / (1.0 + drive), abs=2e-3)


def test_a_lever_tells_where_another_limit_takes_over():
    """All wheels slip up to where the rear ones, mu·(W/4 + mu·W·r/(2·L)) of grip each, have no more than T/r."""
    lean, share = RADIUS / 0.2, 4 * TORQUE / RADIUS / WEIGHT
    even = (math.sqrt(1 + 8 * lean * share) - 1) / (4 * lean)
    found = size(plain({"rover.wheel.tyre.friction": even * 0.995}))
    assert found.limits.loc["tow", "now_limit"] == "traction"
    row = found.levers.set_index("lever").loc["tyre_friction"]
    assert row["swaps"].startswith("traction → torque now: ")
    assert "tow" in row["swaps"].split(";")[0]


def test_levers_are_sorted_by_what_binds_and_the_verdict_names_the_best():
    scenario = shelf("slab_edge.yaml")
    found = size(scenario, charge=0.2, tow=1.0)
    assert scenario.rover.battery.state_of_charge == 0.9
    assert found.limits.loc["turn", WHEEL_UP] < found.limits.loc["turn", NOW]
    column = found.summary["binding"]
    ordinary = found.levers[found.levers["change"] == "+1 %"]
    assert ordinary[column].abs().is_monotonic_decreasing
    assert str(ordinary.iloc[0]["words"]) in found.verdict
    assert "At 20% charge" in found.verdict
    margins = (
        found.limits[NOW] / found.limits["asked"]
    ).dropna()  # what binds has the least of what is asked
    assert column == column_name(str(margins.idxmin()), NOW)


def test_the_amplitude_of_a_forced_field_is_a_lever():
    found = size(plain({"drive": {"strategy": "locked_frequency", "base_amplitude": "1 V"}}))
    # pull-out at a crawl: Kt·(V − E)/R, and E is small
    E = 7 * 2e-3 * 0.1 / RADIUS
    assert change(found, "amplitude", "turn") == pytest.approx(1 / (1 - E), abs=0.01)
    assert change(found, "one_cell_more", "turn") == pytest.approx(0.0, abs=1e-6)
    assert found.limits.loc["turn", "now_limit"] == "pull-out"
    lines = found.lines
    assert lines["force_now"].values == pytest.approx(lines["force_pull_out"].values)


def test_the_lines_meet_the_limits_and_have_units(grippy):
    lines = grippy.lines
    assert all(values.attrs["units"] for values in lines.data_vars.values())
    now, level = lines["force_now"].values, lines["demand_level"].values
    top = float(np.interp(0.0, (level - now), lines["speed"].values))  # rising through zero
    assert top == pytest.approx(grippy.limits.loc["top_speed", NOW], rel=1e-3)
    assert lines["torque_now"].isel(speed=0, wheel=0) == pytest.approx(TORQUE)
    assert lines["force_now"].isel(speed=0) == pytest.approx(4 * TORQUE / RADIUS)
    slope = lines["demand_slope"].values - level
    assert slope == pytest.approx(WEIGHT * (math.sin(0.3) + 0.02 * (math.cos(0.3) - 1)), rel=1e-6)
    assert isinstance(grippy.limits, pd.DataFrame)


def test_what_is_asked_is_answered():
    found = size(plain(GRIPPY), slope=0.2, step=0.004, tow=30.0)
    assert "the pull of 30 N: no (torque)" in found.verdict
    assert "the slope of 11.5 deg: yes" in found.verdict
    asked = found.summary["asked"]
    assert (asked["slope_rad"], asked["step_m"], asked["tow_N"]) == (0.2, 0.004, 30.0)
    ramped = size(shelf("steep_ramp.yaml")).summary["asked"]
    assert ramped["slope_rad"] == pytest.approx(math.radians(20))
    assert ramped["speed_m_s"] == 0.12


@pytest.mark.parametrize(
    ("ask", "text"),
    [
        ({"charge": 1.2}, "charge: found 1.2, allowed: more than 0 and at most 1"),
        ({"charge": math.nan}, "charge: found nan"),
        ({"cells": 0}, "cells: found 0, allowed: 1 to 20"),
        ({"speed": 0.0}, "speed: found 0 m/s, allowed: more than 0 m/s"),
        ({"slope": math.pi}, "slope: found 180 deg, allowed: more than 0 and less than 90 deg"),
        ({"step": -0.01}, "step: found -0.01 m"),
        ({"tow": math.inf}, "tow: found inf N"),
    ],
)
def test_what_cannot_be_asked(ask, text):
    with pytest.raises(DrivesimError, match=text.replace("(", r"\(")):
        size(plain(), **ask)
