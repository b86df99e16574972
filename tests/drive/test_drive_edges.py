"""Hall edges that are missed, misplaced or jittered, and sensors that stick."""

from __future__ import annotations

import math

import numpy as np
import pytest
from drive_records import CALM, POLES, turning, wheel

from drivesim.drive import controller

SPEED = 20.0  # rad/s
PER_TURN = 6 * POLES
DRAWS = np.random.default_rng(7).random(4096), np.random.default_rng(8).standard_normal(4096)


def measurements(p, w, duration, draws, after=0.3, speed=SPEED):
    """Return one measured speed for each registered edge later than ``after`` [s], at a steady true speed."""
    found, seen = [], w.edge_time
    for time in turning(p, w, lambda t: speed * t, duration, draws):
        if w.edge_time != seen:
            seen = w.edge_time
            controller.sense(p, w, speed, seen)
            if time > after:
                found.append(float(w.measured))
    return np.array(found)


def test_a_missed_edge_halves_the_measured_speed():
    p, w = wheel({"sensors": 3, "missed_edges": 0.3})
    found = measurements(p, w, 1.5, (np.where(np.arange(64) % 8 == 0, 0.0, 0.9), CALM[1]))
    assert {round(SPEED / v, 6) for v in found} == {1.0, 2.0}
    assert np.count_nonzero(found < 0.6 * SPEED) / (len(found) / 7) == pytest.approx(
        1, abs=0.2
    )  # one in eight


def test_missed_edges_come_as_often_as_asked_for():
    p, w = wheel({"sensors": 3, "missed_edges": 0.2})
    registered = len(measurements(p, w, 12.0, (DRAWS[0], CALM[1]), after=0.0))
    assert w.edges == pytest.approx(12.0 * SPEED / p.edge_spacing, abs=1)
    share = 1 - registered / w.edges
    assert share == pytest.approx(0.2, abs=4 * math.sqrt(0.2 * 0.8 / w.edges))


def test_placement_comes_back_with_every_turn_and_averages_out_over_one():
    p, w = wheel({"sensors": 3, "edge_placement": 0.05 * math.pi / PER_TURN})
    periods = 2 * math.pi / PER_TURN / measurements(p, w, 2.0, (CALM[0], DRAWS[1]))
    turn = periods[:PER_TURN]
    assert turn == pytest.approx(periods[PER_TURN : 2 * PER_TURN], rel=1e-9)
    assert turn.sum() == pytest.approx(2 * math.pi / SPEED, rel=1e-9)
    # two edges, each off by 0.025 of the spacing, bound a period
    assert turn.std() / turn.mean() == pytest.approx(0.025 * math.sqrt(2), rel=0.3)


def test_jitter_is_new_at_each_edge_and_has_the_size_asked_for():
    sigma = 0.05
    p, w = wheel({"sensors": 3, "edge_jitter": sigma * 2 * math.pi / PER_TURN})
    ratio = SPEED / measurements(p, w, 8.0, (CALM[0], DRAWS[1]))
    assert len(ratio) > 500
    assert ratio.mean() == pytest.approx(1, abs=0.003)
    assert ratio.std() == pytest.approx(sigma * math.sqrt(2), rel=0.1)
    turns = ratio[: len(ratio) // PER_TURN * PER_TURN].reshape(-1, PER_TURN)
    assert turns.std(axis=0).min() > 0.5 * sigma  # nothing that comes back with the turn


def test_shifted_edges_are_each_counted_once_both_ways():
    """Shifts of up to a third of the spacing, with a wheel that swings to and fro: never two at once, none lost."""
    p, w = wheel({"sensors": 3, "edge_jitter": 0.2, "edge_placement": 0.2, "edge_hysteresis": 0.005})
    before = w.edge_index
    for _ in turning(p, w, lambda t: 0.9 * math.sin(5 * t) + 0.5 * t, 4.0, DRAWS):
        assert abs(w.edge_index - before) <= 1
        before = w.edge_index
        off = w.angle - (w.edge_index + 0.5) * p.edge_spacing
        assert abs(off) <= (1 / 2 + 1 / 3) * p.edge_spacing + 0.005 + 1e-12
    assert w.edges > 40


@pytest.mark.parametrize("why", ["stuck", "off"])
def test_what_a_stuck_sensor_and_a_controller_without_power_do_not_see(why):
    p, w = wheel({"sensors": 3, "commutation": controller.SECTORS})
    for _ in turning(p, w, lambda t: SPEED * t, 0.3):
        pass
    seen = float(w.edge_time), float(w.edge_angle)
    w.sensor_stuck, w.powered = int(why == "stuck"), int(why == "stuck")
    start = float(w.angle)
    for _ in turning(p, w, lambda t: start + SPEED * t, 0.5):
        pass
    assert w.edge_time == seen[0]
    assert w.edge_index == math.floor(w.angle / p.edge_spacing)  # the truth goes on
    controller.sense(p, w, SPEED, seen[0] + 0.26)
    assert w.measured == 0
    if why == "stuck":
        assert w.edge_angle == seen[1]
    else:
        controller.reset(w)  # when it starts again, the levels tell the sector
        assert abs(w.edge_angle - w.angle) <= 0.5 * p.edge_spacing + 1e-12


def read(p, w, time):
    """Take a sample of the sensor at a standstill and return by how much the believed sector is off [spacings]."""
    controller.sense(p, w, 0.0, time)
    return abs(w.edge_angle - w.angle) / p.edge_spacing


@pytest.mark.parametrize("commutation", [controller.SECTORS, controller.INTERPOLATED])
def test_a_mended_sensor_is_read_again_where_the_wheel_stands(commutation):
    p, w = wheel({"sensors": 3, "commutation": commutation}, sensor_stuck=1)
    for _ in turning(p, w, lambda t: 2.3 * p.edge_spacing * min(1.0, 2 * t), 1.0):
        pass
    assert read(p, w, 1.0) > 1.5  # it still believes in its first sector
    w.sensor_stuck = 0
    assert read(p, w, 1.1) <= 0.5


def test_a_standing_six_step_controller_sees_the_sector_whose_edge_it_missed():
    p, w = wheel({"sensors": 3, "commutation": controller.SECTORS, "missed_edges": 0.999})
    for _ in turning(p, w, lambda t: 1.3 * p.edge_spacing * min(1.0, 2 * t), 1.0):
        pass
    assert w.edge_time < 0  # neither edge was registered
    assert read(p, w, 1.0) <= 0.5


def test_a_fast_clock_finds_wheels_slower():
    for sensors in (controller.IDEAL_SENSOR, 1, 3):
        p, w = wheel({"sensors": sensors, "clock_error": 1e-3})
        for _ in turning(p, w, lambda t: SPEED * t, 0.3):
            pass
        controller.sense(p, w, SPEED, float(w.edge_time))
        assert w.measured == pytest.approx(SPEED / 1.001, rel=1e-9)
