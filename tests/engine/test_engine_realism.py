"""Heat, supply, current limit, commutation, clocks, arithmetic: time-stepped, against closed forms and references."""

from __future__ import annotations

import copy
from math import cos, exp, pi, sqrt
from pathlib import Path

import numpy as np
import pytest
from engine_rovers import FOREVER, IN_THE_AIR, WHEELS, each_wheel, held_up, ideal, same_bytes
from scipy.integrate import solve_ivp

from drivesim import load_scenario
from drivesim.analysis.ledger import ledger
from drivesim.engine.build import build
from drivesim.engine.simulate import run_model, simulate
from drivesim.physics import heat

P, LAM, R, J = 7, 2e-3, 1.0, 1e-4  # of the ideal rover's motor and wheel
ALPHA, AMBIENT = 0.00393, 22.0
BLOCKED = each_wheel("extra_drag", (f"{FOREVER} N*m",) * 4)
SHELF = Path(__file__).parents[1] / "benchmarks"


def stalled(volts: float, **changes: str):
    """Return the recording of blocked wheels held at ``volts`` of phase amplitude, copper warming up quickly."""
    warm = {
        "rover.wheel.winding": {
            "thermal_resistance": "3 K/W", "heat_capacity": "0.4 J/K",
            "housing": {"thermal_resistance": "5 K/W", "heat_capacity": "1 J/K"},
        },
        "drive.voltage_per_speed": f"{volts / 10!r} V*s/rad",
        "commands": [{"at": "0 s", "left": "10 rad/s", "right": "10 rad/s"}],
        "record_every": "50 ms", "duration": "60 s",
    }  # fmt: skip
    return simulate(ideal(BLOCKED | warm | changes))


def test_winding_and_housing_warm_up_as_the_reference_integrator_says():
    """Two nodes with R(T) at constant voltage against scipy's solve_ivp."""
    recording = stalled(4.0)

    def rates(_, T):
        loss = 1.5 * 4.0**2 / (R * (1 + ALPHA * (T[0] - 20)))
        through = (T[0] - T[1]) / 3
        return [(loss - through) / 0.4, (through - (T[1] - AMBIENT) / 5) / 1.0]

    reference = solve_ivp(rates, (0, 60), [AMBIENT] * 2, t_eval=recording.time, rtol=1e-9, atol=1e-9).y
    for channel, expected in zip(("winding_temperature", "housing_temperature"), reference, strict=True):
        assert recording.wheels[channel][:, 0] == pytest.approx(expected, abs=0.02)
    settled = heat.final_temperature_at_voltage(1.5 * 4.0**2 / R, 8.0, AMBIENT, ALPHA)
    assert recording.wheels["winding_temperature"][-1, 0] == pytest.approx(settled, abs=0.1)


def test_the_stall_voltage_for_a_limit_settles_at_the_limit():
    volts = heat.stall_voltage(110.0, R, 8.0, AMBIENT, ALPHA)
    assert stalled(volts).wheels["winding_temperature"][-1, 0] == pytest.approx(110, abs=0.1)


@pytest.mark.parametrize("share", [0.9, 1.1])
def test_a_constant_current_runs_away_from_the_closed_form_on(share):
    """The current limit holds the current: below 1/sqrt(α·R·R_th) it settles, above it the heat feeds itself."""
    limit = share * heat.runaway_current(1.5 * R, 8.0, ALPHA)
    recording = stalled(60.0, **{"rover.wheel.driver.current_limit": f"{limit!r} A", "duration": "100 s"})
    held = (
        recording.wheels["current_limited"][:, 0] > 0.99
    )  # until the copper is so hot that the bus limits it
    heated = recording.wheels["winding_temperature"][held, 0]
    current = np.hypot(recording.wheels["current_d"], recording.wheels["current_q"])[: len(heated) // 4]
    assert current == pytest.approx(limit, rel=1e-6)
    rise = np.diff(heated)
    assert len(rise) > 100
    assert (rise[-1] > rise[len(rise) // 2]) == (share > 1)


def test_continuous_current_settles_at_its_limit():
    limit = heat.continuous_current(110.0, 1.5 * R, 8.0, AMBIENT, ALPHA)
    recording = stalled(60.0, **{"rover.wheel.driver.current_limit": f"{limit!r} A", "duration": "120 s"})
    assert recording.wheels["winding_temperature"][-1, 0] == pytest.approx(110, abs=0.2)
    assert recording.wheels["motor_torque"][-1] == pytest.approx(1.5 * P * LAM * limit, rel=1e-9)


def test_one_cell_s_slow_part_under_constant_power():
    """OCV − V1 − R0·I with dV1/dt = I/C − V1/(R1·C) and I from the power: against scipy's solve_ivp."""
    E, R0, R1, tau, power = 4.0, 0.1, 0.2, 5.0, 6.0
    recording = simulate(
        ideal(
            {
                "rover.battery": {
                    "capacity": "1e6 A*h", "cell_resistance": f"{R0} ohm", "diffusion_resistance": f"{R1} ohm",
                    "diffusion_time": f"{tau} s", "open_circuit": [[0, f"{E} V"], [1, f"{E} V"]],
                    "electronics": f"{power} W",
                },
                "record_every": "20 ms", "duration": "20 s",
            }
        )
    )  # fmt: skip

    def current(V1):
        return ((E - V1) - sqrt((E - V1) ** 2 - 4 * R0 * power)) / (2 * R0)

    reference = solve_ivp(
        lambda _, V: [(R1 * current(V[0]) - V[0]) / tau],
        (0, 20),
        [0.0],
        t_eval=recording.time,
        rtol=1e-9,
        atol=1e-12,
    ).y[0]
    expected = np.array([E - V1 - R0 * current(V1) for V1 in reference])
    assert recording.body["bus_voltage"] == pytest.approx(expected, abs=2e-4)
    counted = ledger(recording)
    assert abs(counted["remainder"]) < 1e-6 * counted["drawn"]
    assert counted["battery"] > 0.05 * counted["drawn"]


@pytest.mark.parametrize(("commutation", "factor"), [("sectors", 3 / pi), ("interpolated", 1.0)])
def test_what_commutation_between_three_sensors_costs(commutation, factor):
    """Six sectors of 60 degrees give sin(30°)/(30°) = 3/π of the torque on average and cos(30°) at worst (textbook)."""
    changes = {
        "drive.voltage_per_speed": "0.1 V*s/rad",
        "drive.sensor": {"kind": "hall", "sensors": 3, "commutation": commutation, "hysteresis": "0 rad"},
        "rover.wheel.bearing": {"viscous": "8e-4 N*m*s/rad"},
        "commands": [{"at": "0 s", "left": "50 rad/s", "right": "50 rad/s"}],
        "step": "0.05 ms", "record_every": "0.1 ms", "duration": "2 s",
    }  # fmt: skip
    recording = run_model(held_up(ideal(IN_THE_AIR | changes)))
    late = recording.time > 1.5
    error = recording.wheels["angle_error"][late, 0]
    speed = recording.wheels["wheel_speed"][late, 0].mean()
    whole = round(0.5 * speed * P * 6 / (2 * pi))  # sectors passed
    assert whole > 20
    assert np.cos(error).mean() == pytest.approx(factor, abs=0.01)
    assert np.cos(error).min() == pytest.approx(cos(pi / 6) if factor < 1 else 1.0, abs=0.02)


def test_clocks_apart_by_ppm_turn_locked_wheels_apart():
    """Two fields at the same command whose clocks differ by 200 ppm: after T the wheels are ω·T·200e-6 apart."""
    changes = {
        "drive": {"strategy": "locked_frequency", "base_amplitude": "3 V"},
        "rover.wheel.bearing": {"viscous": "2e-4 N*m*s/rad"},
        "commands": [{"at": "0 s", "left": "20 rad/s", "right": "20 rad/s", "ramp": "2 s"}],
        "duration": "10 s",
    }  # fmt: skip
    changes["drive"]["overrides"] = {
        "front_left": {"clock_error": "100 ppm"}, "front_right": {"clock_error": "-100 ppm"},
    }  # fmt: skip
    model = held_up(ideal(IN_THE_AIR | changes))
    run_model(model)
    turned = model.states["angle"]
    assert turned[0] - turned[1] == pytest.approx(200e-6 * turned[2], rel=0.02)


def test_whole_numbers_with_many_digits_drive_as_real_ones_do():
    """A 32-bit controller with 20 fraction bits follows the floating-point loop; 8 bits do not."""
    speeds = {}
    loop = {
        "strategy": "speed_loop",
        "proportional": "0.05 V*s/rad",
        "integral": "0.4 V/rad",
        "sensor": {"kind": "ideal"},
    }
    for name, arithmetic in {
        "real": None,
        "32": {"word_bits": 32, "fraction_bits": 16, "gain_fraction_bits": 20},
        "8": {"word_bits": 8, "fraction_bits": 2, "gain_fraction_bits": 6},
    }.items():
        drive = copy.deepcopy(loop) | ({"arithmetic": arithmetic} if arithmetic else {})
        changes = {
            "drive": drive, "duration": "3 s",
            "rover.battery.open_circuit": [[0, "20 V"], [1, "20 V"]],
            "commands": [{"at": "0.1 s", "left": "8 rad/s", "right": "6 rad/s", "ramp": "0.5 s"}],
        }  # fmt: skip
        speeds[name] = run_model(held_up(ideal(IN_THE_AIR | changes))).wheels["wheel_speed"][:, 0]
    assert speeds["32"] == pytest.approx(speeds["real"], abs=0.01)
    assert np.abs(speeds["8"] - speeds["real"]).max() > 0.05


def test_pwm_steps_round_the_voltage():
    """16 steps of a 100 V bus in sine modulation: 3.125 V apart."""
    changes = {
        "rover.wheel.driver.pwm_steps": 16,
        "drive.voltage_per_speed": "1 V*s/rad",
        "commands": [{"at": "0 s", "left": "10 rad/s", "right": "11 rad/s"}],
        "duration": "0.2 s",
    }
    volts = simulate(ideal(BLOCKED | changes)).wheels["phase_voltage"][-1]
    assert volts[:2] == pytest.approx([9.375, 12.5], rel=1e-6)


def test_the_frame_twists_at_its_own_frequency_and_damping():
    """A hanging rover's frame, twisted and let go: w·exp(−ζ·ω·t)·cos(ω·sqrt(1 − ζ²)·t), ω² = k/m."""
    k, ratio = 4 * 1000.0, 0.05
    changes = {
        "rover.frame": {"torsion_stiffness": "1000 N/m", "damping_ratio": ratio},
        "step": "0.02 ms", "record_every": "0.1 ms", "duration": "0.2 s",
    }  # fmt: skip
    model = held_up(ideal({**IN_THE_AIR, "rover.inertia": ["4e-3 kg*m^2"] * 3} | changes))
    mass = 4e-3 / 0.08**2  # I_x over half the track squared: both ends turn against each other
    assert model.params["frame_mass"][0] == pytest.approx(mass)
    model.bodies["twist"] = 1e-3
    recording = run_model(model)
    omega = sqrt(k / mass)
    t = recording.time
    expected = 1e-3 * np.exp(-ratio * omega * t) * np.cos(omega * sqrt(1 - ratio**2) * t)
    assert recording.body["twist"] == pytest.approx(expected, abs=6e-5)  # no start velocity: a phase of ζ
    assert exp(-ratio * omega * t[-1]) < 0.8
    counted = ledger(recording)
    assert counted["frame"] == pytest.approx(0.5 * k * 1e-6 * (1 - exp(-2 * ratio * omega * 0.2)), rel=0.05)


@pytest.mark.parametrize("name", ["everything", "everything_on_soil"])
def test_everything_on_at_once_keeps_its_books_and_repeats_itself(name):
    scenario = load_scenario(SHELF / f"{name}.yaml")
    first, second = simulate(scenario), simulate(scenario)
    counted = ledger(first)
    assert abs(counted["remainder_fraction"]) < 1e-3
    assert counted["drawn"] > 10
    assert same_bytes(first, second)
    assert first.events == second.events
    assert {"fault", "command"} <= {event.kind for event in first.events}


def test_rotors_start_where_the_seed_says():
    angles = [build(ideal({"start.rotors": "random", "seed": seed})).states["angle"] for seed in (1, 1, 2)]
    assert np.array_equal(angles[0], angles[1])
    assert np.abs(angles[0] - angles[2]).min() > 1e-3
    assert len(set(angles[0])) == len(WHEELS)
