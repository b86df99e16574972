"""What wheels and windings do on the bench: against closed forms, integrators, and the steps of the kernel."""

from __future__ import annotations

from math import exp, inf

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from drivesim.physics import bench, contact, heat, motor

R, L, LAM, P = 2.55, 30e-6, 1.62e-3, 8
DRY, VISCOUS, J = 6e-4, 1.2e-5, 3.1e-5
KE, KT = P * LAM, 1.5 * P * LAM


def test_a_wheel_without_inductance_runs_as_the_textbook_says():
    # DC machine: w = (Kt·V/R − T)/(Kt·Ke/R + b), from T = Kt·(V − Ke·w)/R
    for V, load in ((0.5, 0.0), (3.0, DRY), (3.5, 8e-3)):
        closed = (KT * V / R - load) / (KT * KE / R + VISCOUS)
        assert bench.running_speed(V, load, VISCOUS, R, 0.0, LAM, P, inf) == pytest.approx(closed, rel=1e-10)
    assert bench.running_speed(3.0, 0.0, 0.0, R, 0.0, LAM, P, inf) == pytest.approx(3.0 / KE, rel=1e-10)


def test_with_inductance_torque_and_load_balance():
    speed = bench.running_speed(3.5, 5e-3, VISCOUS, R, 60 * L, LAM, P, inf)
    _, iq = motor.steady_current(0.0, 3.5, R, 60 * L, LAM, P * speed)
    assert motor.torque(iq, P, LAM) == pytest.approx(5e-3 + VISCOUS * speed, rel=1e-9)
    assert (
        abs(speed - bench.running_speed(3.5, 5e-3, VISCOUS, R, 0.0, LAM, P, inf)) > 1.0
    )  # else it shows nothing


def test_a_wheel_that_cannot_start_stands():
    least = motor.stall_torque(0.2, R, LAM, P)
    assert bench.running_speed(0.2, 1.001 * least, VISCOUS, R, L, LAM, P, inf) == 0.0
    assert bench.running_speed(0.2, 0.999 * least, VISCOUS, R, L, LAM, P, inf) > 0.0


@pytest.mark.parametrize("b", [0.0, VISCOUS])
def test_a_limit_of_the_current_caps_the_torque(b):
    most = KT * 0.6  # N·m at 0.6 A
    free = bench.running_speed(3.5, 0.5 * most, b, R, L, LAM, P, inf)
    assert bench.running_speed(3.5, 0.5 * most, b, R, L, LAM, P, 0.6) == pytest.approx(free, rel=1e-12)
    assert bench.running_speed(3.5, 1.001 * most, b, R, L, LAM, P, 0.6) == 0.0
    near = bench.running_speed(3.5, 0.999 * most, 0.0, R, L, LAM, P, 0.6)
    assert near == pytest.approx(bench.running_speed(3.5, 0.999 * most, 0.0, R, L, LAM, P, inf), rel=1e-9)
    if b:  # a strong limit and viscous drag: (Kt·limit − load)/b, where the current hardly lags
        assert bench.running_speed(3.5, 0.9 * most, 9 * b, R, 1e-9, LAM, P, 0.6) == pytest.approx(
            0.1 * most / (9 * b), rel=1e-6
        )


def test_turned_from_outside_it_draws_no_current_at_its_own_emf():
    V = bench.back_emf(120.0, P, LAM)
    assert motor.steady_current(0.0, V, R, L, LAM, P * 120.0) == pytest.approx((0.0, 0.0), abs=1e-12)


@pytest.mark.parametrize("b", [0.0, VISCOUS, 20 * VISCOUS])
def test_coasting_follows_the_steps_of_the_kernel(b):
    dt, speed = 1e-4, 200.0
    for i in range(1, 20_001):
        speed = contact.dry_friction(contact.viscous_friction(speed, b, J, dt), DRY, J, dt)
        if i % 4000 == 0:
            assert bench.coasting_speed(200.0, DRY, b, J, i * dt) == pytest.approx(speed, rel=2e-3, abs=0.02)


def test_coasting_ends_when_the_closed_form_says():
    stop = J / VISCOUS * np.log(1 + VISCOUS * 200.0 / DRY)  # from w(t) = 0
    assert bench.coasting_speed(200.0, DRY, VISCOUS, J, 0.999 * stop) > 0.0
    assert bench.coasting_speed(200.0, DRY, VISCOUS, J, 1.001 * stop) == 0.0
    assert bench.coasting_speed(200.0, 0.0, VISCOUS, J, 3.0) == pytest.approx(200.0 * exp(-VISCOUS * 3.0 / J))
    assert bench.coasting_speed(200.0, DRY, 1e-19, J, 3.0) == pytest.approx(200.0 - DRY * 3.0 / J)


@pytest.mark.parametrize("housing", [(10.0, 40.0), (inf, inf)], ids=["housing", "lone winding"])
def test_warming_follows_an_integrator(housing):
    R_ha, C_h = housing
    numbers = (0.9, R, 20.0, 0.00393, 22.0, 15.0, 7.0, R_ha, C_h)

    def rates(_t, T):
        loss = 1.5 * 0.9**2 * R * (1 + 0.00393 * (T[0] - 20.0))
        out = (T[0] - T[1]) / 15.0
        return [(loss - out) / 7.0, (out - (T[1] - 22.0) / R_ha) / C_h if C_h < inf else 0.0]

    wanted = solve_ivp(rates, (0.0, 600.0), [22.0, 22.0], rtol=1e-10, atol=1e-10).y[:, -1]
    assert bench.warmed(22.0, 22.0, *numbers, 600.0, 100) == pytest.approx(tuple(wanted), rel=1e-6)


def test_warming_settles_where_heat_says():
    # Rise of a winding under constant current with the resistance's growth: heat.final_temperature
    T, _ = bench.warmed(22.0, 22.0, 0.8, R, 20.0, 0.00393, 22.0, 24.0, 9.0, inf, inf, 20_000.0, 2000)
    assert pytest.approx(heat.final_temperature(0.8, 1.5 * R, 24.0, 22.0, 0.00393), rel=1e-6) == T


def test_pull_out_margin_is_what_the_bearing_leaves():
    # with the field turning at speed w: T_po − load − b·w
    speed = 20.0
    greatest = motor.pull_out_torque(2.0, R, L, LAM, P, P * speed)
    load = greatest - VISCOUS * speed
    assert bench.pull_out_margin(load, 2.0, VISCOUS, R, L, LAM, P, speed) == pytest.approx(0.0, abs=1e-15)
