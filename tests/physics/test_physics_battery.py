"""The cell's slow pairs, the shared table search and a capacitor alone, against published values and scipy."""

from itertools import pairwise
from math import exp, inf

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from physics_loops import quick
from scipy.integrate import quad, solve_ivp

from drivesim.physics.supply import (
    advance_bus,
    charge_row,
    diffusion_step,
    interpolate,
    open_circuit,
    polymer_cell_long_pair,
    polymer_cell_resistance,
    polymer_cell_short_pair,
    polymer_cell_voltage,
    ride_through_time,
)

current = st.floats(-40.0, 40.0)
pair_resistance = st.floats(1e-3, 1.0)
pair_time = st.floats(0.1, 500.0)
duration = st.floats(1e-4, 500.0)


def test_published_pairs_at_half_charge():
    # Chen and Rincon-Mora, IEEE Transactions on Energy Conversion 21(2), 2006 (coefficients), values computed
    R_short, C_short = polymer_cell_short_pair(0.5)
    R_long, C_long = polymer_cell_long_pair(0.5)
    assert (R_short, R_long) == pytest.approx((0.04669, 0.04984), rel=1e-4)
    assert R_short * C_short == pytest.approx(32.8, rel=2e-3)
    assert R_long * C_long == pytest.approx(223.0, rel=2e-3)
    assert R_short + R_long + polymer_cell_resistance(0.5) == pytest.approx(0.17099, rel=1e-4)


@pytest.mark.parametrize(
    ("soc", "short", "long"),
    [(0.02, (0.225800, 128.967), (0.346112, 954.336)), (0.1, (0.0640957, 508.614), (0.0498412, 4072.86))],
)
def test_published_pairs_toward_empty(soc, short, long):
    # same source (coefficients), values computed
    assert polymer_cell_short_pair(soc) == pytest.approx(short, rel=5e-5)
    assert polymer_cell_long_pair(soc) == pytest.approx(long, rel=5e-5)


def test_published_pairs_stay_real_where_they_are_valid():
    for soc in np.linspace(0.02, 1.0, 99):
        for pair in (polymer_cell_short_pair, polymer_cell_long_pair):
            R, C = pair(soc)
            assert R > 0.0 < C
            assert pair(soc + 0.01)[0] <= R  # resistance only grows toward empty


@pytest.mark.parametrize(
    ("time", "voltage"),
    [(0, 3.74007), (1, 3.73869), (30, 3.71096), (60, 3.69677), (300, 3.66906), (5000, 3.65802)],
)
def test_published_cell_sags_under_its_rated_current(time, voltage):
    # same source, 0.85 A from half charge, charge frozen; closed form of two pairs in series
    soc, load = 0.5, 0.85
    pairs = [polymer_cell_short_pair(soc), polymer_cell_long_pair(soc)]
    held = [0.0, 0.0]
    for _ in range(time):
        held = [
            diffusion_step(V, load, R, exp(-1.0 / (R * C))) for V, (R, C) in zip(held, pairs, strict=True)
        ]
    sagged = polymer_cell_voltage(soc) - load * polymer_cell_resistance(soc) - sum(held)
    assert sagged == pytest.approx(voltage, abs=1e-5)


@quick
@given(st.floats(-2.0, 2.0), current, pair_resistance, pair_time, duration)
def test_pair_loses_what_it_does_not_hold(V, I, R, tau, dt):  # noqa: E741
    # first law over a step: ∫I·V dt = ∫V²/R dt + ½·C·(V_end² − V²)
    C = tau / R
    after = diffusion_step(V, I, R, exp(-dt / tau))

    def spare(t):
        held = diffusion_step(V, I, R, exp(-t / tau))
        return I * held - held * held / R

    # pieces that grow from the start, where all of the change is
    edges = [t for t in (0.0, tau, 4.0 * tau, 16.0 * tau, 40.0 * tau) if t < dt] + [dt]
    spared = sum(quad(spare, a, b, epsrel=1e-11)[0] for a, b in pairwise(edges))
    scale = 0.5 * C * (V * V + after * after + (I * R) ** 2) + 1e-12
    assert spared == pytest.approx(0.5 * C * (after * after - V * V), abs=1e-8 * scale)
    halfway = diffusion_step(V, I, R, exp(-0.5 * dt / tau))
    size = abs(V) + abs(I) * R
    assert diffusion_step(halfway, I, R, exp(-0.5 * dt / tau)) == pytest.approx(after, abs=1e-12 * size)
    assert min(V, I * R) - 1e-12 * size <= after <= max(V, I * R) + 1e-12 * size


def test_pair_follows_its_equation():
    R, C, I = 0.04, 900.0, 6.0  # noqa: E741
    exact = solve_ivp(lambda _, V: [(I - V[0] / R) / C], (0.0, 50.0), [0.05], rtol=1e-10, atol=1e-12).y[0, -1]
    assert diffusion_step(0.05, I, R, exp(-50.0 / (R * C))) == pytest.approx(exact, rel=1e-7)
    assert diffusion_step(0.05, I, R, 0.0) == I * R  # a long step settles


@quick
@given(st.floats(-0.2, 1.2), st.integers(2, 9), st.randoms(use_true_random=False))
def test_one_search_serves_every_column(soc, rows, random):
    table = np.cumsum([random.uniform(0.01, 0.3) for _ in range(rows)])
    columns = [np.array([random.uniform(0.0, 5.0) for _ in range(rows)]) for _ in range(3)]
    row, part = charge_row(soc, table)
    assert 0 <= row <= rows - 2
    assert 0.0 <= part <= 1.0
    for column in columns:
        assert interpolate(column, row, part) == pytest.approx(np.interp(soc, table, column), rel=1e-12)
        assert interpolate(column, row, part) == open_circuit(soc, table, column)
    for index in range(rows):  # the table's own rows to the last bit
        row, part = charge_row(table[index], table)
        assert interpolate(columns[0], row, part) == columns[0][index]


def test_capacitor_alone():
    # closed form C·(V0² − V1²)/(2·P): the energy between two voltages
    assert ride_through_time(1e-3, 12.0, 8.0, 20.0) == pytest.approx(2e-3, rel=1e-12)

    def empty(_, V):
        return V[0] - 8.0

    empty.terminal = True
    run = solve_ivp(lambda _, V: [-20.0 / (1e-3 * V[0])], (0.0, 1.0), [12.0], events=empty, max_step=1e-5)
    assert run.t_events[0][0] == pytest.approx(2e-3, rel=1e-7)
    V, dt, steps = 12.0, 1e-6, 0
    while V > 8.0:
        V = advance_bus(V, 0.0, 1e12, 1e-3, 20.0, 0.0, dt)  # the bus with its cell come loose
        steps += 1
    assert steps * dt == pytest.approx(2e-3, rel=2e-3)
    assert ride_through_time(1e-3, 8.0, 12.0, 20.0) == 0.0
    assert ride_through_time(1e-3, 12.0, 8.0, 0.0) == inf
    assert ride_through_time(1e-3, 12.0, 8.0, -5.0) == inf  # braking wheels feed it
