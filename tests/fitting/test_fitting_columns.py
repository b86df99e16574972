"""Each column and each setting of a bench log against values worked out by hand, and logs made in plain numpy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from fitting_logs import ROOT, ROVER, made
from scipy.optimize import brentq

from drivesim import load_scenario
from drivesim.engine.simulate import simulate
from drivesim.fitting.bootstrap import _pool
from drivesim.fitting.driven import commands, driven
from drivesim.fitting.fit import fit
from drivesim.fitting.joint import Joint, predict
from drivesim.fitting.logs import Log
from drivesim.fitting.parameters import parameters
from drivesim.fitting.reading import read_log
from drivesim.fitting.result import _table_of, beyond
from drivesim.fitting.solve import Data, Search, solve
from drivesim.fitting.told import rounds_of

RESISTANCE, FLUX = "rover.wheel.motor.terminal_resistance", "rover.wheel.motor.flux_linkage"
DRY, VISCOUS, INERTIA = "rover.wheel.bearing.dry", "rover.wheel.bearing.viscous", "rover.wheel.inertia"


def read(tmp_path, text, name="log"):
    path = tmp_path / f"{name}.csv"
    path.write_text(text, encoding="utf-8")
    return read_log(path, ROVER.rover.wheel_names)


# -- columns: one reading in the unit of the header, and the peak value of the star's phase that it is

#: (kind, the columns beside it, column, reading, quantity, value, read at the motor)
COLUMNS = [
    ("no_load", "speed [rad/s]", "phase_voltage [V]", 2.0, "voltage", 2.0, False),
    # 1 V RMS between leads is 1/√3 = 0.57735 V RMS in a phase, 0.81650 V peak
    ("no_load", "speed [rad/s]", "line_voltage_rms [V]", 1.0, "voltage", 0.8164966, True),
    ("back_emf", "speed [rad/s]", "line_voltage_peak [V]", 1.0, "voltage", 0.5773503, True),
    ("no_load", "speed [rad/s],phase_voltage [V]", "line_current_rms [A]", 1.0, "current", 1.4142136, False),
    ("no_load", "speed [rad/s],phase_voltage [V]", "phase_current [mA]", 70.0, "current", 0.07, False),
    # a star's phases at +1, −1/2, −1/2 of the peak make the field of 1, −1, 0: 3/2·î = √3·I, î = 2/√3·I = 1.15470·I,
    # and one phase's share of a voltage U between two leads in the same frame is U/√3
    ("locked_rotor", "dc_current [A]", "dc_voltage [V]", 1.0, "voltage", 0.5773503, True),
    ("locked_rotor", "dc_voltage [V]", "dc_current [A]", 1.0, "current", 1.1547005, True),
    ("locked_rotor", "", "terminal_resistance [ohm]", 5.0, "resistance", 2.5, False),
    ("pull_out", "frequency [Hz],phase_voltage [V]", "load_torque [mN*m]", 3.0, "load", 3e-3, False),
    # 100 mN on a lever of 34 mm are 3.4 mN·m
    ("pull_out", "frequency [Hz],phase_voltage [V]", "brake_force [mN]", 100.0, "load", 3.4e-3, False),
    ("pull_out", "load_torque [N*m],phase_voltage [V]", "frequency [kHz]", 0.02, "frequency", 20.0, False),
    ("no_load", "phase_voltage [V]", "speed [rpm]", 600.0, "speed", 62.831853, False),
]  # fmt: skip


@pytest.mark.parametrize("case", COLUMNS, ids=lambda case: case[2].partition(" ")[0])
def test_a_column_is_converted_to_peak_values(tmp_path, case):
    kind, beside, column, reading, quantity, value, at_motor = case
    others = [name for name in beside.split(",") if name]
    arm = ["# arm: 34 mm"] if "brake_force" in column else []
    rows = [",".join([str(reading), *["1"] * len(others)])] * 3
    log = read(tmp_path, "\n".join([f"# test: {kind}", *arm, ",".join([column, *others]), *rows, ""]))
    assert log.table[quantity] == pytest.approx(value, rel=1e-6)
    assert log.at_motor is at_motor


def test_an_ohmmeter_shows_the_winding_without_the_driver():
    table = {"resistance": np.zeros(3)}
    # 2.4 ohm a phase at 20 degC, 0.00393/K: 2.4·(1 + 0.00393·30) at 50 degC
    found = predict(ROVER, Log("a", "locked_rotor", table, {"winding_temperature": 50.0}), {})["resistance"]
    assert found == pytest.approx(2.68296, rel=1e-6)


# -- settings


def test_each_row_has_its_own_temperature_of_the_winding():
    table = {"voltage": np.ones(2), "current": np.zeros(2), "winding_temperature": np.array([20.0, 70.0])}
    found = predict(ROVER, Log("a", "locked_rotor", table), {})["current"]
    on = ROVER.rover.wheel.driver.on_resistance
    assert on > 0
    assert found == pytest.approx([1 / (2.4 + on), 1 / (2.8716 + on)], rel=1e-6)
    told = predict(ROVER, Log("a", "locked_rotor", {n: table[n] for n in ("voltage", "current")},
                              {"winding_temperature": 70.0}), {})  # fmt: skip
    assert told["current"] == pytest.approx(found[1])


def test_a_log_s_own_inertia_counts():
    time = np.linspace(0.0, 2.0, 9)
    own = {"start_speed": 200.0}
    log = {"time": time, "speed": np.zeros(9)}
    J = ROVER.rover.wheel.inertia
    plain = predict(ROVER, Log("a", "spin_down", log), own)["speed"]
    double = predict(ROVER, Log("a", "spin_down", log | {"time": 2 * time}, {"inertia": 2 * J}), own)["speed"]
    assert double == pytest.approx(plain)  # twice the inertia takes twice the time
    assert plain[-1] < 150


def test_a_warm_start_cools_to_the_ambient():
    time = np.arange(0.0, 1000.0, 50.0)
    table = {"time": time, "current": np.zeros(time.size), "winding_temperature": np.zeros(time.size)}
    log = Log("a", "warm_up", table, {"start_temperature": 60.0, "ambient": 25.0})
    found = predict(ROVER, log, {})["winding_temperature"]
    assert found == pytest.approx(25 + 35 * np.exp(-time / (24 * 9)), abs=2e-3)  # 24 K/W · 9 J/K
    cold = predict(ROVER, Log("a", "warm_up", table, {"ambient": 25.0}), {})["winding_temperature"]
    assert cold == pytest.approx(25.0)


@pytest.mark.parametrize(("across", "series"), [("pack", 2), ("cell", 1)])
def test_cells_beside_each_other_share_the_current(across, series):
    battery = ROVER.rover.battery.model_copy(update={"cells_in_parallel": 2})
    doubled = ROVER.model_copy(update={"rover": ROVER.rover.model_copy(update={"battery": battery})})
    current = np.where(np.arange(9) < 4, 0.0, 2.0)
    log = Log("a", "cell_pulse", {"time": np.arange(9) * 1e-3, "current": current, "voltage": np.zeros(9)},
              {"across": across, "state_of_charge": 0.5})  # fmt: skip
    volts = predict(doubled, log, {"open_circuit": 3.8})["voltage"]
    through = (
        1.0 if across == "pack" else 2.0
    )  # A in the cell: a cell's own current is what is told across a cell
    assert volts[0] == pytest.approx(series * 3.8)
    assert volts[0] - volts[-1] == pytest.approx(series * through * 70e-3, rel=1e-3)


def test_a_rover_s_log_may_have_its_own_commands():
    table = {"time": np.array([0.1, 0.2, 0.3, 0.4]), "x": np.zeros(4),
             "forward": np.array([0.0, 0.1, 0.1, 0.2]), "turn": np.array([0.0, 0.0, 0.5, 0.5])}  # fmt: skip
    found = commands(Log("a", "rover", table))
    assert [(c.at, c.forward, c.turn) for c in found] == [
        (0.1, 0, 0),
        (0.2, 0.1, 0),
        (0.3, 0.1, 0.5),
        (0.4, 0.2, 0.5),
    ]


def test_a_rover_s_log_is_compared_at_its_own_times():
    scenario = load_scenario(ROOT / "scenarios" / "bench_start.yaml").model_copy(update={"duration": 0.7})
    time = np.arange(0.05, 0.65, 0.03)
    table = {"time": time, "x": np.zeros(time.size), "wheel_speed rear_left": np.zeros(time.size)}
    asked = Log("a", "rover", table | {"forward": np.full(time.size, 0.3)})
    told = scenario.model_copy(update={"commands": commands(asked)})
    recording = simulate(told)
    own, plain = driven(scenario, asked), driven(told, Log("a", "rover", table))
    rear = scenario.rover.wheel_names.index("rear_left")
    for found in (own, plain):
        speed = np.interp(time, recording.time, recording.wheels["wheel_speed"][:, rear])
        assert found["wheel_speed rear_left"] == pytest.approx(speed, abs=1e-9)
        assert np.ptp(speed) > 1.0
    assert (
        np.abs(driven(scenario, Log("a", "rover", table))["x"]).max() < 0.5 * own["x"][-1]
    )  # it still waits then


# -- logs made in plain numpy, with instruments as on a bench

R20, LAM, P, L, DRAG, B, J = 2.6, 1.6e-3, 8, 30e-6, 6e-4, 1.2e-5, 3.3e-5
ALPHA = 0.00393


def running(V, load, T):
    """Return speed and peak current, from T = 1.5·p·λ·iq and the voltage equations of a phase."""
    R = R20 * (1 + ALPHA * (T - 20))

    def iq(w):
        X = P * w * L
        return (V - P * LAM * w) / (R + X * X / R)

    w = brentq(lambda w: 1.5 * P * LAM * iq(w) - DRAG - load - B * w, 0, V / (P * LAM), xtol=1e-12)
    return w, math.hypot(iq(w), iq(w) * P * w * L / R)


def text(head, header, rows):
    return "\n".join(
        [*(f"# {line}" for line in head), header, *(",".join(f"{v:.9g}" for v in row) for row in rows), ""]
    )


def no_load():
    rows = [(v, *running(v * math.sqrt(2 / 3), 0.0, 25.0)) for v in np.repeat([0.5, 1.0, 1.8, 2.5], 2)]
    return text(
        ["test: no_load", "winding_temperature: 77 degF"], "line_voltage_rms [V], speed [rpm], line_current_rms [mA]",
        [(v, w * 30 / math.pi, i / math.sqrt(2) * 1e3) for v, w, i in rows],
    )  # fmt: skip


def locked_rotor():
    R = R20 * (1 + ALPHA * 10)
    amps = np.linspace(0.1, 0.6, 6)
    return text(
        ["test: locked_rotor", "winding_temperature: 30 degC"], "dc_voltage [V], dc_current [A], torque [mN*m]",
        [(2 * R * i, i, 1.5 * P * LAM * 2 / math.sqrt(3) * i * 1e3) for i in amps],
    )  # fmt: skip


def loaded():
    rows = [
        (v, f, *running(v * math.sqrt(2 / 3), f * 0.034, 25.0)) for v in (1.5, 2.5) for f in (0.03, 0.1, 0.2)
    ]
    return text(
        ["test: loaded", "arm: 3.4 cm", "winding_temperature: 25 degC"],
        "line_voltage_rms [V], brake_force [mN], speed [rad/s], line_current_rms [A]",
        [(v, f * 1e3, w, i / math.sqrt(2)) for v, f, w, i in rows],
    )  # fmt: skip


def spin_down():
    time = np.arange(0.0, 2.5, 0.1)
    speed = (180 + DRAG / B) * np.exp(-B * time / J) - DRAG / B
    return text(["test: spin_down"], "time [s], speed [rpm]", zip(time, speed * 30 / math.pi, strict=True))


def back_emf():
    speed = np.linspace(50, 300, 6)
    rows = zip(speed, math.sqrt(3) * P * LAM * speed, strict=True)
    return text(["test: back_emf"], "speed [rad/s], line_voltage_peak [V]", rows)


def pull_out():
    """The greatest torque over a fine grid of load angles."""
    rows, angle = [], np.linspace(0.0, math.pi, 200_001)
    R = R20 * (1 + ALPHA * 5) + ROVER.rover.wheel.driver.on_resistance
    for f in (5.0, 40.0):
        we = 2 * math.pi * f
        for V in (0.8, 1.2, 1.8):
            i = ((-V * np.sin(angle) + 1j * V * np.cos(angle)) - 1j * we * LAM) / (R + 1j * we * L)
            rows.append((f, V, (1.5 * P * LAM * i.imag).max() - DRAG - B * we / P))
    return text(["test: pull_out", "winding_temperature: 25 degC"],
                "frequency [Hz], phase_voltage [V], load_torque [N*m]", rows)  # fmt: skip


def warm_up():
    """Heat of 3·I²·R of the moment, by small steps of Euler; told by an ohmmeter."""
    rows, T, t = [], 40.0, 0.0
    for x in np.arange(0.0, 900.0, 45.0):
        while t < x - 1e-9:
            T += 0.05 * (3 * 0.4**2 * R20 * (1 + ALPHA * (T - 20)) - (T - 23.0) / 28.0) / 9.8
            t += 0.05
        rows.append((x / 60, 0.4, 2 * R20 * (1 + ALPHA * (T - 20))))
    return text(["test: warm_up", "ambient: 23 degC", "start_temperature: 40 degC"],
                "time [min], line_current_rms [A], terminal_resistance [ohm]", rows)  # fmt: skip


HEAT = "rover.wheel.winding.thermal_resistance", "rover.wheel.winding.heat_capacity"
TRUE = {RESISTANCE: 2 * R20, FLUX: LAM, DRY: DRAG, VISCOUS: B, INERTIA: J, HEAT[0]: 28.0, HEAT[1]: 9.8}
SETS = {
    (no_load, locked_rotor, spin_down): (RESISTANCE, FLUX, DRY, VISCOUS, INERTIA),
    (loaded,): (RESISTANCE, FLUX, DRY, VISCOUS), (back_emf,): (FLUX,), (warm_up,): (RESISTANCE, *HEAT),
    (no_load, pull_out): (RESISTANCE, FLUX, DRY, VISCOUS),
}  # fmt: skip


@pytest.mark.parametrize("makes", SETS, ids=lambda makes: "+".join(make.__name__ for make in makes))
def test_logs_made_in_plain_numpy_tell_their_numbers(tmp_path, makes):
    paths = []
    for make in makes:
        paths.append(tmp_path / f"{make.__name__}.csv")
        paths[-1].write_text(make())
    found = fit(ROVER, paths, bootstrap=0).parameters
    assert set(found.index[found.log == ""]) == set(SETS[makes])
    for path in SETS[makes]:
        assert found.fitted[path] == pytest.approx(TRUE[path], rel=1e-3), path


# -- the rules for rows left out, and for "beyond chance"


def line_fit(errors, *, series=False, noise=0.1):
    n = len(errors)
    x = np.linspace(0.0, 5.0, n)
    data = Data(
        3 + 0.7 * x + noise * errors,
        np.zeros(n, np.int64),
        np.array([1e-9]),
        np.array([series]),
        np.array([True]),
    )
    start = np.array([3.0, 0.7])
    return solve(
        lambda b: b[0] + b[1] * x, data, Search(start, start, np.full(2, -np.inf), np.full(2, np.inf))
    )


def spoiled(n, rows, by=40.0):
    errors = np.random.default_rng(1).standard_normal(n)
    errors[list(rows)] += by
    return errors


def test_rows_far_out_are_left_out_but_at_most_a_fifth():
    assert list(np.flatnonzero(~line_fit(spoiled(20, [3, 12])).kept)) == [3, 12]
    assert (~line_fit(spoiled(20, [3, 8, 9, 12])).kept).sum() == 4
    assert (~line_fit(spoiled(20, [3, 5, 8, 9, 12, 15])).kept).sum() <= 4


def test_in_time_only_lone_rows_are_left_out():
    assert list(np.flatnonzero(~line_fit(spoiled(30, [5, 20]), series=True).kept)) == [5, 20]
    assert line_fit(spoiled(30, [11, 12]), series=True).kept.all()  # two in a row may be what really happened
    assert not line_fit(spoiled(30, [11, 12])).kept[11:13].any()


def test_good_rows_stay():
    lost = sum((~line_fit(np.random.default_rng([6, k]).standard_normal(16)).kept).any() for k in range(60))
    assert lost <= 2  # by the rule one in a hundred


def test_beyond_chance_needs_both_intervals():
    nothing = (math.nan, math.nan)
    assert beyond(5.0, (1.0, 2.0), (3.0, 4.0))
    assert beyond(5.0, (1.0, 2.0), nothing)
    assert not beyond(5.0, (1.0, 2.0), (3.0, 6.0))
    assert not beyond(5.0, (1.0, 6.0), (3.0, 4.0))
    logs = [made("locked_rotor")]
    [one] = rounds_of(Joint(ROVER, logs, parameters(ROVER, logs, None)))
    near = one.solution.x * (1 + 1e-4 * np.linspace(-1, 1, 50))[:, None]
    wide = one.solution.x * (1 + 0.3 * np.linspace(-1, 1, 50))[:, None]
    assert _table_of(one, near).beyond_chance.all()
    assert not _table_of(one, wide).beyond_chance.any()


def test_the_bootstrap_gives_residuals_back_what_the_fit_took():
    found = line_fit(np.random.default_rng(2).standard_normal(5))
    x = np.linspace(0.0, 5.0, 5)
    taken = 1 / 5 + (x - 2.5) ** 2 / ((x - 2.5) ** 2).sum()  # leverage of a straight line
    y = found.model + (found.model * 0 + np.array([0.1, -0.2, 0.05, 0.1, -0.05]))
    data = Data(y, np.zeros(5, np.int64), np.array([1e-9]), np.array([False]), np.array([True]))
    _, errors, block = _pool(data, found, 0)
    wanted = (y - found.model) / np.sqrt(1 - taken)
    assert errors == pytest.approx(wanted - wanted.mean(), rel=1e-5)
    assert block == 1
