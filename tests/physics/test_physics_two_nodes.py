"""A winding in its housing: settling, time constants, runaway, stall and cutting back."""

from math import exp, inf, log, sqrt

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from physics_loops import quick
from scipy.integrate import solve_ivp

from drivesim.physics.heat import (
    continuous_current,
    cut_back_factor,
    final_temperature,
    final_temperature_at_voltage,
    housing_temperature,
    node_rate,
    runaway_current,
    stall_voltage,
    two_node_rates,
    two_node_time_constants,
)
from drivesim.physics.winding import resistance_at

# a winding on a small board in a metal wheel: phase resistance, K/W, J/K, degC, copper
R20, R_WH, C_W, R_HA, C_H, AMBIENT, ALPHA = 0.12, 6.0, 4.0, 9.0, 25.0, 22.0, 0.00393
SERIES = R_WH + R_HA

resistance = st.floats(0.5, 50.0)
capacity = st.floats(0.5, 200.0)
temperature = st.floats(-20.0, 150.0)


def warmed(loss, times, C_h=C_H):
    """Return (winding, housing) temperatures [degC] at ``times`` [s] from ambient for a loss(T) [W]."""

    def rates(_, T):
        return two_node_rates(loss(T[0]), T[0], T[1], AMBIENT, R_WH, C_W, R_HA, C_h)

    run = solve_ivp(
        rates, (0.0, times[-1]), [AMBIENT, AMBIENT], t_eval=times, method="LSODA", rtol=1e-11, atol=1e-11
    )
    return run.y


def copper_loss_at(current):
    # all three phases at the peak current, the common form 1.5·I²·R(T)
    return lambda T: 1.5 * current**2 * resistance_at(R20, 20.0, T, ALPHA)


def test_two_nodes_settle_on_the_closed_form():
    # closed form: the resistances in series settle like one node, the housing divides the rise
    current = 2.5
    winding, housing = warmed(copper_loss_at(current), [6e3, 8e3])
    settled = final_temperature(current, 1.5 * R20, SERIES, AMBIENT, ALPHA)
    assert settled > AMBIENT + 15.0
    assert winding == pytest.approx([settled, settled], rel=1e-8)
    assert housing[-1] == pytest.approx(housing_temperature(settled, AMBIENT, R_WH, R_HA), rel=1e-8)
    assert (winding[-1] - housing[-1]) / R_WH == pytest.approx((housing[-1] - AMBIENT) / R_HA, rel=1e-8)


def test_continuous_current_through_a_housing():
    current = continuous_current(120.0, 1.5 * R20, SERIES, AMBIENT, ALPHA)
    winding, _ = warmed(copper_loss_at(current), [2e4])
    assert winding[-1] == pytest.approx(120.0, rel=1e-7)


def test_two_nodes_follow_their_time_constants():
    # closed form: the last of a warming at constant current is one exponential of the slow constant
    current = 2.5
    slope = 1.5 * current**2 * R20 * ALPHA
    slow, fast = two_node_time_constants(R_WH, C_W, R_HA, C_H, slope)
    settled = final_temperature(current, 1.5 * R20, SERIES, AMBIENT, ALPHA)
    start = 8.0 * fast
    winding, housing = warmed(copper_loss_at(current), [start, start + slow])
    assert (settled - winding[1]) / (settled - winding[0]) == pytest.approx(exp(-1.0), rel=2e-3)
    ends = housing_temperature(settled, AMBIENT, R_WH, R_HA)
    assert (ends - housing[1]) / (ends - housing[0]) == pytest.approx(exp(-1.0), rel=2e-3)


@quick
@given(resistance, capacity, resistance, capacity, st.floats(0.0, 1.2))
def test_time_constants_are_the_eigenvalues(R_wh, C_w, R_ha, C_h, heat_fed_back):
    slope = heat_fed_back / (R_wh + R_ha)
    assume(abs(heat_fed_back - 1.0) > 1e-3)
    # the linear system, column by column, from the rates themselves
    columns = [
        two_node_rates(slope * w, w, h, 0.0, R_wh, C_w, R_ha, C_h) for w, h in ((1.0, 0.0), (0.0, 1.0))
    ]
    rates = np.sort(np.linalg.eigvals(np.array(columns).T).real)
    slow, fast = two_node_time_constants(R_wh, C_w, R_ha, C_h, slope)
    if heat_fed_back < 1.0:
        assert (slow, fast) == pytest.approx((-1.0 / rates[1], -1.0 / rates[0]), rel=1e-6)
        assert slow >= fast > 0.0
    else:
        assert rates[1] > 0.0
        assert slow == inf


def test_runaway_through_a_housing():
    # a constant current from which heat feeds itself: 1/sqrt(alpha·R20·R) with the series resistance
    limit = runaway_current(1.5 * R20, SERIES, ALPHA)
    for share, settles in ((0.99, True), (1.01, False)):
        slope = 1.5 * (share * limit) ** 2 * R20 * ALPHA
        assert (two_node_time_constants(R_WH, C_W, R_HA, C_H, slope)[0] < inf) is settles
        assert (final_temperature(share * limit, 1.5 * R20, SERIES, AMBIENT, ALPHA) < inf) is settles
    below, above = (warmed(copper_loss_at(share * limit), [2e3, 4e3])[0] for share in (0.5, 1.05))
    assert below[1] - below[0] < 1e-2 * (below[0] - AMBIENT)
    assert above[1] - above[0] > above[0] - AMBIENT  # faster and faster


def test_housing_held_at_its_temperature():
    # C_h = inf: one node against a wall, tau = R_wh·C_w; also with no way on from the housing, R_ha = 0
    winding, housing = warmed(lambda T: 5.0, [R_WH * C_W, 1e3], C_h=inf)
    assert winding == pytest.approx([AMBIENT + 30.0 * (1.0 - exp(-1.0)), AMBIENT + 30.0], rel=1e-8)
    assert housing.tolist() == [AMBIENT, AMBIENT]
    for R_ha in (0.0, 9.0, inf):
        rates = two_node_rates(5.0, 60.0, 30.0, AMBIENT, R_WH, C_W, R_ha, inf)
        assert rates == (node_rate(5.0, 60.0, 30.0, R_WH, C_W), 0.0)
    assert two_node_time_constants(R_WH, C_W, R_HA, inf, 0.0) == (inf, R_WH * C_W)


@quick
@given(
    st.floats(0.0, 50.0), temperature, temperature, temperature, resistance, capacity, resistance, capacity
)
def test_no_heat_is_lost_between_the_nodes(power, T_w, T_h, ambient, R_wh, C_w, R_ha, C_h):
    winding_rate, housing_rate = two_node_rates(power, T_w, T_h, ambient, R_wh, C_w, R_ha, C_h)
    given_off = (T_h - ambient) / R_ha
    size = power + abs(T_w - T_h) / R_wh + abs(given_off) + 1.0
    assert C_w * winding_rate + C_h * housing_rate == pytest.approx(power - given_off, abs=1e-12 * size)
    if power == 0.0 and T_w > T_h > ambient:
        assert winding_rate < 0.0


@pytest.mark.parametrize(("duration", "printed"), [(1.0 / 3.0, 3.5277), (1.0, 1.5820), (2.0, 1.1565)])
def test_short_time_duty(duration, printed):
    # duty S2 of IEC 60034-1 (from memory), closed form 1/(1 − e^(−t/tau)): so much more loss is allowed for a
    # time t; current grows with its root
    tau = R_WH * C_W
    winding, _ = warmed(lambda T: printed * 4.0, [duration * tau], C_h=inf)
    assert winding[-1] - AMBIENT == pytest.approx(4.0 * R_WH, rel=1e-4)
    assert sqrt(printed) == pytest.approx({3.5277: 1.8782, 1.5820: 1.2578, 1.1565: 1.0754}[printed], rel=1e-4)


# -- stalled at a held voltage


def test_stalled_wheel_settles_at_the_limit():
    voltage = stall_voltage(110.0, R20, SERIES, AMBIENT, ALPHA)
    winding, housing = warmed(lambda T: 1.5 * voltage**2 / resistance_at(R20, 20.0, T, ALPHA), [1e4])
    assert winding[-1] == pytest.approx(110.0, rel=1e-7)
    assert housing[-1] == pytest.approx(housing_temperature(110.0, AMBIENT, R_WH, R_HA), rel=1e-7)


@quick
@given(st.floats(40.0, 250.0), st.floats(0.01, 2.0), resistance, st.floats(-20.0, 39.0))
def test_stall_voltage_turns_the_settling_round(limit, R, R_th, ambient):
    voltage = stall_voltage(limit, R, R_th, ambient, ALPHA)
    settled = final_temperature_at_voltage(1.5 * voltage**2 / R, R_th, ambient, ALPHA)
    assert settled == pytest.approx(limit, rel=1e-9)
    assert stall_voltage(limit + 1.0, R, R_th, ambient, ALPHA) > voltage


def test_nothing_is_allowed_in_air_beyond_the_limit():
    assert stall_voltage(60.0, R20, SERIES, 70.0, ALPHA) == 0.0
    assert continuous_current(60.0, R20, SERIES, 70.0, ALPHA) == 0.0


# -- cutting back


@quick
@given(temperature, temperature, st.floats(20.0, 100.0), st.floats(0.1, 60.0))
def test_cutting_back_falls_straight(T, warmer, start, span):
    end = start + span
    T, warmer = min(T, warmer), max(T, warmer)
    assert 1.0 >= cut_back_factor(T, start, end) >= cut_back_factor(warmer, start, end) >= 0.0
    assert cut_back_factor(start, start, end) == 1.0
    assert cut_back_factor(end, start, end) == 0.0
    assert cut_back_factor(0.5 * (start + end), start, end) == pytest.approx(0.5, rel=1e-9)
    assert cut_back_factor(T, inf, inf) == 1.0


def test_lone_winding_passes_its_limit_when_expected():
    # closed form: constant loss reaches a rise x of its final one after −tau·ln(1 − x)
    tau, share = R_WH * C_W, 0.8
    winding, _ = warmed(lambda T: 6.0, [-tau * log(1.0 - share)], C_h=inf)
    assert winding[-1] == pytest.approx(AMBIENT + share * 6.0 * R_WH, rel=1e-8)
