"""Copper, heating, battery and bus against published tables and closed forms."""

from math import exp, inf, log, pi, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from physics_loops import quick
from scipy.integrate import solve_ivp, trapezoid
from scipy.optimize import brentq

from drivesim.physics.heat import (
    continuous_current,
    final_temperature,
    final_temperature_at_voltage,
    node_rate,
    runaway_current,
)
from drivesim.physics.supply import (
    COLLAPSED,
    advance_bus,
    greatest_power,
    open_circuit,
    polymer_cell_resistance,
    polymer_cell_voltage,
    terminal_voltage,
)
from drivesim.physics.winding import (
    COPPER_COEFFICIENT_20,
    conductor_resistance,
    resistance_at,
)

# -- copper


def test_standard_copper():
    # IEC 60028: 1/58 ohm·mm²/m at 20 degC, printed 0.017241; 3.93e-3 /K
    assert conductor_resistance(1.0, 1e-6, 20.0) == pytest.approx(0.017241, abs=5e-7)
    assert COPPER_COEFFICIENT_20 == 3.93e-3


@pytest.mark.parametrize(
    ("cold", "hot", "ours", "iec_235", "us_234_5"),
    [
        (20.0, 100.0, 1.314400, 1.313725, 1.314342),
        (25.0, 120.0, 1.366155, 1.365385, 1.366089),
        (20.0, 130.0, 1.432300, 1.431373, 1.432220),
    ],
)
def test_hot_to_cold_ratio(cold, hot, ours, iec_235, us_234_5):
    # 235: IEC 60034-1; 234.5: common practice in the US (both from memory); ours counts 0.00393 from 20 degC
    ratio = resistance_at(1.0, cold, hot, COPPER_COEFFICIENT_20)
    assert ratio == pytest.approx(ours, abs=5e-7)
    assert ratio == pytest.approx(iec_235, rel=7e-4)
    assert ratio == pytest.approx(us_234_5, rel=7e-4)
    assert resistance_at(ratio, hot, cold, COPPER_COEFFICIENT_20) == pytest.approx(1.0, rel=1e-14)
    conductor = conductor_resistance(1.0, 1e-6, hot) / conductor_resistance(1.0, 1e-6, cold)
    assert conductor == pytest.approx(ratio, rel=1e-14)


@pytest.mark.parametrize(("gauge", "printed"), [(10, 0.9989), (20, 10.15), (30, 103.2)])
def test_american_wire_table(gauge, printed):
    # NBS Circular 31 / Handbook 100 (from memory): ohm per 1000 ft at 20 degC
    diameter = 0.127e-3 * 92.0 ** ((36 - gauge) / 39)
    assert conductor_resistance(304.8, pi / 4.0 * diameter**2, 20.0) == pytest.approx(printed, rel=1e-3)


@pytest.mark.parametrize(("mm2", "most"), [(0.5, 36.0), (0.75, 24.5), (1.0, 18.1), (1.5, 12.1), (2.5, 7.41)])
def test_cable_standard_bounds(mm2, most):
    # IEC 60228 class 1 (from memory): greatest ohm/km at 20 degC, some percent above ideal copper
    assert 0.92 < conductor_resistance(1000.0, mm2 * 1e-6, 20.0) / most < 0.96


@pytest.mark.parametrize(
    ("um", "at_20", "at_100"),
    [(35.0, 0.49260, 0.64747), (34.3, 0.50265, 0.66069), (24.9, 0.69241, 0.91010), (47.9, 0.35994, 0.47310)],
)
def test_sheet_resistance_of_foil(um, at_20, at_100):
    # closed form rho/t of one square, milliohm
    assert conductor_resistance(1e-3, 1e-3 * um * 1e-6, 20.0) * 1e3 == pytest.approx(at_20, rel=1e-4)
    assert conductor_resistance(1e-3, 1e-3 * um * 1e-6, 100.0) * 1e3 == pytest.approx(at_100, rel=1e-4)


# -- heating: I = 5 A, R20 = 0.1 ohm, R_th = 10 K/W, C = 20 J/K, 25 degC around

CURRENT, R20, R_TH, C_TH, AMBIENT, ALPHA = 5.0, 0.1, 10.0, 20.0, 25.0, 0.00393


def heated(current, times):
    def rate(_, T):
        return [node_rate(current**2 * resistance_at(R20, 20.0, T[0], ALPHA), T[0], AMBIENT, R_TH, C_TH)]

    return solve_ivp(rate, (0.0, times[-1]), [AMBIENT], t_eval=times, rtol=1e-10, atol=1e-10).y[0]


def test_heating_with_growing_resistance():
    # closed form: dT = I²·Ra·Rth/(1 − X), tau = Rth·C/(1 − X)
    assert resistance_at(R20, 20.0, AMBIENT, ALPHA) == pytest.approx(0.101965, rel=1e-6)
    assert final_temperature(CURRENT, R20, R_TH, AMBIENT, ALPHA) == pytest.approx(53.26864, rel=1e-6)
    assert final_temperature(CURRENT, R20, R_TH, AMBIENT, 0.0) == pytest.approx(
        50.0, rel=1e-12
    )  # 25 K with R20 held
    assert heated(CURRENT, [100.0, 200.0, 400.0]) == pytest.approx([35.25953, 41.79557, 48.61219], rel=1e-6)
    start, later, end = AMBIENT, heated(CURRENT, [221.791])[0], 53.26864
    assert (end - later) / (end - start) == pytest.approx(exp(-1.0), rel=1e-5)  # tau = 221.791 s, not 200


def test_thermal_runaway():
    limit = runaway_current(R20, R_TH, ALPHA)
    assert limit == pytest.approx(15.95158, rel=1e-6)
    assert final_temperature(1.0001 * limit, R20, R_TH, AMBIENT, ALPHA) == inf
    assert 1e4 < final_temperature(0.999 * limit, R20, R_TH, AMBIENT, ALPHA) < inf
    below, above = heated(0.5 * limit, [2e3, 4e3]), heated(1.1 * limit, [2e3, 4e3])
    assert below[1] - below[0] < 1e-3 * (below[0] - AMBIENT)
    assert above[1] - above[0] > above[0] - AMBIENT  # faster and faster


def test_continuous_current():
    assert continuous_current(130.0, R20, R_TH, AMBIENT, ALPHA) == pytest.approx(8.56205, rel=1e-6)
    assert final_temperature(8.56205, R20, R_TH, AMBIENT, ALPHA) == pytest.approx(130.0, rel=1e-5)


@pytest.mark.parametrize(("start", "end", "printed"), [(70.0, 160.0, 115.0), (90.0, 250.0, 143.0)])
def test_adiabatic_heating_of_copper(start, end, printed):
    # IEC 60364-5-54 / IEC 60949 (from memory): k in A·s^0.5/mm²; volumetric heat 3.45e-3 J/(K·mm³),
    # rho20 17.241e-6 ohm·mm, 234.5 for copper.  Our node with no way out for the heat, 20 A/mm².
    density, heat = 20.0, 3.45e-3

    def rate(_, T):
        rho = resistance_at(17.241e-6, 20.0, T[0], 1.0 / 254.5)
        return [node_rate(density**2 * rho, T[0], start, inf, heat)]

    def arrived(_, T):
        return T[0] - end

    arrived.terminal = True
    run = solve_ivp(rate, (0.0, 1e3), [start], events=arrived, rtol=1e-10, atol=1e-10)
    k = density * sqrt(run.t_events[0][0])
    assert k == pytest.approx(226.0 * sqrt(log(1.0 + (end - start) / (234.5 + start))), rel=2e-3)
    assert k == pytest.approx(printed, rel=2e-3)


def test_first_rate_of_copper():
    # closed form: J²·rho/(c·d) at 20 A/mm² with 385 J/(kg·K) and 8960 kg/m³
    loss = (20e6) ** 2 * conductor_resistance(1.0, 1.0, 20.0)
    assert node_rate(loss, 20.0, 20.0, 1.0, 385.0 * 8960.0) == pytest.approx(1.9992, rel=1e-4)


# -- battery


@pytest.mark.parametrize(
    ("soc", "voltage", "resistance"),
    [
        (0.0, 2.6540, 0.23066),
        (0.05, 3.5164, 0.12064),
        (0.1, 3.6746, 0.08812),
        (0.2, 3.7250, 0.07565),
        (0.3, 3.7477, 0.07456),
        (0.5, 3.8034, 0.07446),
        (0.7, 3.8880, 0.07446),
        (0.9, 4.0170, 0.07446),
        (1.0, 4.1029, 0.07446),
    ],
)
def test_published_polymer_cell(soc, voltage, resistance):
    # Chen and Rincon-Mora, IEEE Transactions on Energy Conversion 21(2), 2006 (coefficients), values computed
    assert polymer_cell_voltage(soc) == pytest.approx(voltage, abs=6e-5)
    assert polymer_cell_resistance(soc) == pytest.approx(resistance, abs=6e-6)


def test_cell_stays_in_the_usual_bounds():
    # akkus-battery.com definitions: 3.0 to 4.2 V, nominal 3.7 (3.6 to 3.8) V
    soc = np.linspace(0.0, 1.0, 1001)
    volts = np.array([polymer_cell_voltage(s) for s in soc])
    assert np.all(np.diff(volts) > 0.0)
    assert volts[-1] <= 4.2
    assert volts[soc >= 0.03].min() > 3.0
    assert 3.6 < trapezoid(volts, soc) < 3.85


@quick
@given(st.floats(-0.2, 1.2), st.integers(2, 9), st.randoms(use_true_random=False))
def test_open_circuit_is_linear_interpolation(soc, rows, random):
    table = np.cumsum([random.uniform(0.01, 0.3) for _ in range(rows)])
    volts = np.cumsum([random.uniform(0.0, 0.5) for _ in range(rows)]) + 3.0
    assert open_circuit(soc, table, volts) == pytest.approx(np.interp(soc, table, volts), rel=1e-12)
    for s, v in zip(table, volts, strict=True):
        assert open_circuit(s, table, volts) == pytest.approx(v, rel=1e-12)


def test_constant_power_sag():
    # closed form of E − R·P/V = V
    sagged = terminal_voltage(11.1, 0.06, 200.0)
    assert sagged == pytest.approx(9.886185, rel=1e-6)
    assert 200.0 / sagged == pytest.approx(20.230251, rel=1e-6)
    assert greatest_power(11.1, 0.06) == pytest.approx(513.375, rel=1e-9)
    assert terminal_voltage(11.1, 0.06, 513.37) == pytest.approx(11.1 / 2.0, rel=5e-3)
    assert terminal_voltage(11.1, 0.06, 513.38) == COLLAPSED
    assert terminal_voltage(11.1, 0.06, -50.0) > 11.1  # braking charges


# -- bus: E = 7.4 V behind 0.15 ohm


def settled_bus(E, R, C, power, load_resistance, dt):
    V = E
    for _ in range(4000):
        V = advance_bus(V, E, R, C, power, V * V / load_resistance, dt)
    return V


@pytest.mark.parametrize("C", [0.0, 1e-6, 1e-3, 0.05])
def test_bus_settles(C):
    E, R = 7.4, 0.15
    assert settled_bus(E, R, C, 60.0, inf, 1e-4) == pytest.approx(terminal_voltage(E, R, 60.0), rel=1e-9)
    assert settled_bus(E, R, C, -20.0, inf, 1e-4) == pytest.approx(terminal_voltage(E, R, -20.0), rel=1e-9)
    assert settled_bus(E, R, C, 0.0, 2.0, 1e-4) == pytest.approx(
        E * 2.0 / 2.15, rel=1e-9
    )  # resistive divider
    both = settled_bus(E, R, C, 20.0, 2.0, 1e-4)
    assert (E - both) / R == pytest.approx(20.0 / both + both / 2.0, rel=1e-9)


def test_small_capacitor_gives_the_sag_in_one_step():
    assert advance_bus(7.4, 7.4, 0.15, 1e-9, 60.0, 0.0, 1e-4) == pytest.approx(
        terminal_voltage(7.4, 0.15, 60.0), rel=1e-4
    )


def test_bus_follows_its_equation_to_first_order():
    E, R, C, end = 7.4, 0.15, 2e-3, 4e-4
    exact = solve_ivp(
        lambda _, V: [((E - V[0]) / R - 40.0 / V[0] - V[0] / 2.0) / C],
        (0.0, end),
        [E],
        rtol=1e-11,
        atol=1e-11,
    ).y[0, -1]

    def error(steps):
        V = E
        for _ in range(steps):
            V = advance_bus(V, E, R, C, 40.0, V * V / 2.0, end / steps)
        return abs(V - exact)

    assert error(200) < 2e-3
    assert error(200) / error(400) == pytest.approx(2.0, rel=0.1)


@pytest.mark.parametrize("C", [0.0, 1e-6, 1e-4, 1e-3])
def test_overloaded_bus_falls_and_then_reports_collapse(C):
    # more than E²/(4R) = 91.3 W for ever: the voltage only falls, until no step is possible
    E, R, V = 7.4, 0.15, 7.4
    for _ in range(1000):
        new = advance_bus(V, E, R, C, 1.2 * greatest_power(E, R), 0.0, 1e-4)
        if new == COLLAPSED:
            break
        assert 0.0 < new < V
        V = new
    else:
        pytest.fail("never collapsed")


def test_capacitor_bridges_a_short_overload():
    E, R, voltage = 7.4, 0.15, 7.4
    for k in range(400):
        voltage = advance_bus(voltage, E, R, 5e-3, 150.0 if k < 5 else 10.0, 0.0, 1e-4)
        assert voltage > 5.0
    assert voltage == pytest.approx(terminal_voltage(E, R, 10.0), rel=1e-6)


@pytest.mark.parametrize("loss20", [0.0, 1.0, 5.0, 40.0])
def test_settling_at_constant_voltage_balances_its_own_heat(loss20):
    """Closed form against scipy's root finder: (T - Ta)/Rth = P20/(1 + a(T - 20)), copper's a = 0.00393/K."""
    settled = final_temperature_at_voltage(loss20, 24.0, 22.0, 0.00393)
    wanted = brentq(lambda T: (T - 22.0) / 24.0 - loss20 / (1 + 0.00393 * (T - 20)), 0.0, 5000.0)
    assert settled == pytest.approx(wanted, rel=1e-9)
