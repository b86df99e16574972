"""The exact current step and the current limit against independent solutions."""

from math import hypot, inf

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from physics_loops import quick
from scipy.integrate import solve_ivp

from drivesim.physics.motor import (
    advance_current,
    copper_loss,
    electrical_power,
    limit_current,
    magnetic_energy,
    steady_current,
    torque,
)

NODES, WEIGHTS = np.polynomial.legendre.leggauss(16)

current = st.floats(-50.0, 50.0)
voltage = st.floats(-12.0, 12.0)


@st.composite
def steps(draw):
    """Draw (R, L, lam, we, dt): L/R from 1 µs to half a second, dt from 1e-4 to 100 times that."""
    R = draw(st.floats(0.02, 5.0))
    lag = 10.0 ** draw(st.floats(-6.0, -0.3))
    dt = lag * 10.0 ** draw(st.floats(-4.0, 2.0))
    turn = draw(st.floats(-3.0, 3.0))  # rad electrical within the step
    return R, R * lag, draw(st.floats(0.0, 0.01)), turn / dt, dt


def path(i0, v, R, L, lam, we, t):
    """Return the complex current id + j·iq at times ``t``: L·di/dt = v − j·we·lam − (R + j·we·L)·i."""
    rest = (v - 1j * we * lam) / (R + 1j * we * L)
    return rest + (i0 - rest) * np.exp(-(R / L + 1j * we) * t)


def mean(values_at, dt, lag):
    """Return the mean over 0..dt by Gauss quadrature on panels that become fine near 0."""
    edges = np.unique(np.concatenate([np.linspace(0.0, dt, 41), np.linspace(0.0, min(dt, 40.0 * lag), 41)]))
    half = np.diff(edges) / 2.0
    t = (edges[:-1] + half)[:, None] + half[:, None] * NODES
    return np.sum(values_at(t) * WEIGHTS * half[:, None]) / dt


@pytest.mark.parametrize("lag", [2e-6, 4e-4, 0.5])
@pytest.mark.parametrize("we", [0.0, 900.0, -900.0])
def test_end_against_an_integrator(lag, we):
    R, lam, dt = 0.2, 0.003, 1e-4
    L = R * lag

    def rate(_, i):
        return [(1.5 - R * i[0] + we * L * i[1]) / L, (2.5 - R * i[1] - we * L * i[0] - we * lam) / L]

    run = solve_ivp(rate, (0.0, dt), [4.0, -7.0], method="DOP853", rtol=1e-12, atol=1e-12)
    end = advance_current(4.0, -7.0, 1.5, 2.5, R, L, lam, we, dt)[:2]
    assert end == pytest.approx(tuple(run.y[:, -1]), rel=1e-9)


@quick
@given(current, current, voltage, voltage, steps())
def test_end_and_means_against_quadrature(id_, iq, vd, vq, step):
    R, L, lam, we, dt = step

    def at(t):
        return path(complex(id_, iq), complex(vd, vq), R, L, lam, we, t)

    end_d, end_q, mean_d, mean_q, mean_square = advance_current(id_, iq, vd, vq, *step)
    scale = 1.0 + abs(at(0.0)) + abs(at(np.inf) if we == 0.0 else at(50.0 * L / R))
    assert complex(end_d, end_q) == pytest.approx(at(dt), abs=1e-9 * scale)
    assert complex(mean_d, mean_q) == pytest.approx(mean(at, dt, L / R), abs=1e-9 * scale)
    assert mean_square == pytest.approx(mean(lambda t: np.abs(at(t)) ** 2, dt, L / R), abs=1e-9 * scale**2)


@quick
@given(current, current, voltage, voltage, steps())
def test_two_half_steps_equal_one(id_, iq, vd, vq, step):
    R, L, lam, we, dt = step
    whole = advance_current(id_, iq, vd, vq, R, L, lam, we, dt)
    first = advance_current(id_, iq, vd, vq, R, L, lam, we, dt / 2.0)
    second = advance_current(first[0], first[1], vd, vq, R, L, lam, we, dt / 2.0)
    scale = 1.0 + abs(id_) + abs(iq) + sum(abs(i) for i in steady_current(vd, vq, R, L, lam, we))
    assert second[:2] == pytest.approx(whole[:2], abs=1e-11 * scale)
    for k, power in ((2, 1), (3, 1), (4, 2)):
        assert (first[k] + second[k]) / 2.0 == pytest.approx(whole[k], abs=1e-10 * scale**power)


@quick
@given(current, current, voltage, voltage, steps())
def test_energy_of_a_step_balances(id_, iq, vd, vq, step):
    # electrical work = copper loss + shaft work + rise of the magnetic energy, to rounding
    R, L, lam, we, dt = step
    end_d, end_q, mean_d, mean_q, mean_square = advance_current(id_, iq, vd, vq, *step)
    p = 7
    work = electrical_power(vd, vq, mean_d, mean_q) * dt
    heat = copper_loss(mean_square, R) * dt
    shaft = torque(mean_q, p, lam) * we / p * dt
    rise = magnetic_energy(end_d, end_q, L) - magnetic_energy(id_, iq, L)
    size = abs(work) + heat + abs(shaft) + magnetic_energy(end_d, end_q, L) + magnetic_energy(id_, iq, L)
    assert work == pytest.approx(heat + shaft + rise, abs=1e-9 * size)


@quick
@given(voltage, voltage, steps())
def test_steady_current_solves_the_voltage_equations_and_stays(vd, vq, step):
    R, L, lam, we, _ = step
    id_, iq = steady_current(vd, vq, R, L, lam, we)
    scale = 1.0 + abs(we * lam) + (R + abs(we) * L) * (abs(id_) + abs(iq))
    assert R * id_ - we * L * iq == pytest.approx(vd, abs=1e-12 * scale)
    assert R * iq + we * L * id_ + we * lam == pytest.approx(vq, abs=1e-12 * scale)
    assert advance_current(id_, iq, vd, vq, *step)[:4] == pytest.approx((id_, iq, id_, iq), rel=1e-12)


# -- the limited current


@quick
@given(voltage, voltage, steps(), st.floats(1e-3, 80.0))
def test_limited_current_keeps_its_direction(vd, vq, machine, limit):
    R, L, lam, we, _ = machine
    wanted = complex(*steady_current(vd, vq, R, L, lam, we))
    new_d, new_q, limited = limit_current(vd, vq, R, L, lam, we, limit)
    got = complex(*steady_current(new_d, new_q, R, L, lam, we))
    emf = abs(we * lam)
    rounding = 1e-9 * (1.0 + abs(wanted) + emf / R)
    if abs(wanted) <= limit:
        assert (new_d, new_q, limited) == (vd, vq, 0.0)
    else:
        assert limited == 1.0
        assert abs(got - wanted * limit / abs(wanted)) < rounding
    assert hypot(new_d, new_q) <= max(hypot(vd, vq), emf) * (1.0 + 1e-12)  # the bridge can always make it
    assert limit_current(new_d, new_q, R, L, lam, we, limit + rounding)[2] == 0.0  # once is enough
    assert limit_current(vd, vq, R, L, lam, we, inf) == (vd, vq, 0.0)


@quick
@given(voltage, voltage, steps(), st.floats(0.1, 40.0))
def test_limit_is_the_same_turning_backward(vd, vq, machine, limit):
    R, L, lam, we, _ = machine
    assume(abs(abs(complex(*steady_current(vd, vq, R, L, lam, we))) - limit) > 1e-9)
    forward = limit_current(vd, vq, R, L, lam, we, limit)
    backward = limit_current(vd, -vq, R, L, lam, -we, limit)
    assert backward == (forward[0], -forward[1], forward[2])


def test_limited_start_from_standstill():
    # closed form: at rest only the resistance counts, so the amplitude becomes R·limit
    assert limit_current(0.0, 12.0, 0.2, 2e-5, 0.002, 0.0, 10.0) == pytest.approx((0.0, 2.0, 1.0))
    # reversed at speed: EMF 1.4 V, asked for −12 V, 10 A allowed: 1.4 − 0.2·10 V
    assert limit_current(0.0, -12.0, 0.2, 0.0, 0.002, 700.0, 10.0) == pytest.approx((0.0, -0.6, 1.0))
    assert limit_current(0.0, 12.0, 0.2, 2e-5, 0.002, 700.0, 0.0) == pytest.approx((0.0, 1.4, 1.0))
