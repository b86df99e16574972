"""The rotor angle that a controller reckons with, and what its error does to the torque."""

from __future__ import annotations

import math

import numpy as np
import pytest
from drive_records import DT, POLES, parameters, samples, states, turning, wheel

from drivesim.drive import controller
from drivesim.drive.controller import INTERPOLATED, SECTORS, phase_voltages

SPEED, VOLTS = 20.0, 2.0


def angle_errors(p, w, angle_at, duration, after, draws=None):
    """Return times, angle errors [rad electrical] and the part of the amplitude on the q axis, after ``after`` [s]."""
    w.amplitude = VOLTS
    rows = []
    for time in turning(p, w, angle_at, duration, *([draws] if draws else [])):
        speed = (angle_at(time + DT) - angle_at(time)) / DT
        vd, vq, _, _, error = phase_voltages(p, w, POLES * speed, 4.0, 1.0, time, DT)
        assert math.hypot(vd, vq) == pytest.approx(VOLTS)
        assert math.atan2(-vd, vq) == pytest.approx(error, abs=1e-12)
        assert abs(error) <= math.pi
        if time > after:
            rows.append((time, error, vq / VOLTS))
    return np.array(rows).T


@pytest.mark.parametrize("speed", [SPEED, -SPEED])
def test_six_sectors_cost_one_part_in_twenty_of_the_torque(speed):
    """Six-step commutation: the angle is off by at most 30 degrees, mean torque 3/pi of the best, least cos 30.

    Source: textbook, six-step commutation of a sinusoidal machine, the mean of cos over ±pi/6 (from memory).
    """
    p, w = wheel({"sensors": 3, "commutation": SECTORS})
    turns = 2 * math.pi / SPEED
    _, error, factor = angle_errors(p, w, lambda t: speed * t, 3 * turns, turns)
    assert factor.mean() == pytest.approx(3 / math.pi, rel=2e-3)
    # an edge is seen up to one step and a half late, at 80 rad/s electrical
    late = 1.5 * DT * POLES * SPEED
    assert math.cos(math.pi / 6 + late) - 1e-9 <= factor.min() < math.cos(math.pi / 6) + 1e-3
    assert np.abs(error.mean()) < late


def test_one_sensor_leaves_half_a_turn():
    """The mean of cos over ±pi/2 is 2/pi; for moments there is no torque at all."""
    p, w = wheel({"sensors": 1, "commutation": SECTORS})
    _, error, factor = angle_errors(p, w, lambda t: SPEED * t, 1.0, 0.2)
    assert np.abs(error).max() == pytest.approx(math.pi / 2, abs=0.02)
    assert factor.mean() == pytest.approx(2 / math.pi, rel=1e-2)


@pytest.mark.parametrize("sensors", [1, 3])
@pytest.mark.parametrize("speed", [SPEED, -SPEED])
def test_interpolation_is_right_at_a_steady_speed(sensors, speed):
    p, w = wheel({"sensors": sensors, "commutation": INTERPOLATED}, setpoint=speed)
    _, error, factor = angle_errors(p, w, lambda t: speed * t, 1.0, 0.2)
    assert np.abs(error).max() < 0.5 * DT * POLES * SPEED * 1.01  # held at an edge for the rest of a step
    assert np.abs(error).mean() < 1e-3
    assert factor.min() > 1 - 1e-4


def test_before_the_second_edge_and_after_the_timeout_the_middle_of_the_sector_is_taken():
    p, w = wheel({"sensors": 3, "commutation": INTERPOLATED}, angle=1.0)
    start = float(w.edge_angle)
    angles = lambda t: 1.0 + 2.0 * min(t, 0.5)  # noqa: E731
    for time in turning(p, w, angles, 1.0):
        w.amplitude = VOLTS
        error = phase_voltages(p, w, 0.0, 4.0, 1.0, time, DT)[4]
        middle = (math.floor(w.angle / p.edge_spacing) + 0.5) * p.edge_spacing
        if w.edges < 2 or time > 0.5 + p.sensor_timeout:
            assert error == pytest.approx(POLES * (middle - w.angle), abs=1e-12)
    assert w.edges > 2
    assert abs(start - 1.0) <= p.edge_spacing / 2
    assert time > 0.9


@pytest.mark.parametrize("speed", [SPEED, -SPEED])
def test_interpolation_waits_at_the_next_edge_for_a_wheel_that_stops(speed):
    p, w = wheel({"sensors": 3, "commutation": INTERPOLATED})
    stop = 0.5 + 0.3 * 2 * math.pi / (6 * POLES * SPEED)  # s, somewhere within a sector
    times, error, _ = angle_errors(p, w, lambda t: speed * min(t, stop), 0.7, stop + 0.02)
    sector = math.floor(w.angle / p.edge_spacing)
    edge = (sector + (1 if speed > 0 else 0)) * p.edge_spacing
    assert error == pytest.approx(np.full(len(times), POLES * (edge - w.angle)), abs=1e-9)
    assert 0.05 < np.abs(error).max() < math.pi / 3


def test_interpolation_lags_while_the_wheel_speeds_up():
    """From the last interval the controller knows a speed that is too low: it falls behind within each sector.

    With spacing s, acceleration a and speed v at an edge, the last interval gave v − a·s/(2v) and at the end of
    the next one about a·(s/v)² is missing, in small a.
    """
    a, t0 = 40.0, 0.5
    p, w = wheel({"sensors": 3, "commutation": INTERPOLATED})
    angle_at = lambda t: SPEED * t + 0.5 * a * max(0.0, t - t0) ** 2  # noqa: E731
    times, error, _ = angle_errors(p, w, angle_at, 0.7, t0 + 0.05)
    speed = SPEED + a * (times - t0)
    lag = POLES * a * (p.edge_spacing / speed) ** 2
    slack = DT * POLES * speed
    assert (error < 1e-3).all()
    assert (error > -1.05 * lag - slack).all()
    assert error.min() < -0.8 * lag.max()
    p, w = wheel({"sensors": 3, "commutation": INTERPOLATED})
    slowing = lambda t: SPEED * t - 0.5 * a * max(0.0, t - t0) ** 2  # noqa: E731
    _, error, _ = angle_errors(p, w, slowing, 0.7, t0 + 0.05)
    assert error.max() > 0.5 * lag.max()  # and runs ahead while it slows down
    assert error.min() > -2e-2


def test_a_missed_edge_leaves_the_controller_one_sector_behind():
    p, w = wheel({"sensors": 3, "commutation": SECTORS, "missed_edges": 0.3})
    draws = np.where(np.arange(64) % 8 == 0, 0.0, 0.9), np.zeros(64)
    _, error, factor = angle_errors(p, w, lambda t: SPEED * t, 1.0, 0.2, draws)
    assert error.min() == pytest.approx(-math.pi / 2, abs=0.02)
    assert factor.mean() < 3 / math.pi


def test_current_limit_counts_all_resistance_and_is_told_apart_from_the_bus():
    """At standstill the limited voltage is R·I; on the way down the bus is the limit again."""
    p, w = parameters(current_limit=1.5)[0], states(amplitude=3.0)[0]
    found = phase_voltages(p, w, 0.0, 4.0, 1.2, 0.0, DT)
    assert found == pytest.approx((0.0, 1.2 * 1.5, 0.0, 1.0, 0.0))
    assert phase_voltages(p, w, 0.0, 1.0, 1.2, 0.0, DT) == pytest.approx((0.0, 1.0, 1.0, 0.0, 0.0))
    emf = 400.0 * p.flux_linkage
    vd, vq, _, held, _ = phase_voltages(p, w, 400.0, 4.0, 1.2, 0.0, DT)
    X = 400.0 * p.inductance
    assert held == 1.0
    assert abs(complex(vd, vq) - 1j * emf) == pytest.approx(1.5 * abs(complex(1.2, X)))


def test_cutting_back_takes_from_the_voltage_that_is_left():
    """Half way between start and end half of the voltage is allowed, for every strategy, and it is said so."""
    for strategy in range(4):
        p = parameters(
            strategy=strategy, cut_back_start=80.0, cut_back_end=100.0, voltage_per_speed=1.0, kp=10.0,
            base_amplitude=9.0,
        )[0]  # fmt: skip
        w = states(temperature=90.0, command=9.0)[0]
        samples(p, w, 0.0, 1)
        vd, vq, limited, _, _ = phase_voltages(p, w, 0.0, 4.0, 1.0, 0.0, DT)
        assert math.hypot(vd, vq) == pytest.approx(2.0)
        assert limited == 1.0
        w.temperature = 100.0
        samples(p, w, 0.0, 1)
        assert phase_voltages(p, w, 0.0, 4.0, 1.0, 0.0, DT)[:2] == pytest.approx((0.0, 0.0))


def test_a_field_without_power_stands_and_the_poles_it_passes_are_not_slipped():
    p = parameters(strategy=controller.LOCKED_FREQUENCY)[0]
    w = states(powered=0, field_speed=50.0, field_angle=-math.pi / 2)[0]
    for _ in turning(p, w, lambda t: 20.0 * t, 0.5):
        controller.turn_field(p, w, DT)
    assert w.field_angle == -math.pi / 2
    assert w.pole_slips == 0
    assert abs(controller.load_angle(p, w)) <= math.pi + POLES * 20.0 * DT
    w.powered, w.field_speed = 1, 0.0
    start = float(w.angle)
    for _ in turning(p, w, lambda t: start + 20.0 * t, 0.5):
        controller.turn_field(p, w, DT)
    assert w.pole_slips == pytest.approx(POLES * 20.0 * 0.5 / (2 * math.pi), abs=1)
