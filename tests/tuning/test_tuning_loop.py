"""Plant, published rule, margins and step response of the linear loop, against print, hand and python-control."""

from __future__ import annotations

import math
from itertools import product
from pathlib import Path

import control
import numpy as np
import pytest

from drivesim import load_scenario, scenario_from_text
from drivesim.drive.hall import measured_speed
from drivesim.engine.build import build
from drivesim.engine.simulate import run_model
from drivesim.physics import loop
from drivesim.tuning.margins import margins, open_loop, step_response
from drivesim.tuning.plant import FREE, LOADED, Plant, crawl_speed, linear_loop, top_speed
from drivesim.tuning.rule import rules, simc

SCENARIOS = Path(__file__).parents[2] / "scenarios"

#: S. Skogestad, J. Process Control 13 (2003): examples and margins as printed; numbers from memory, checked by hand
SIMC = [  # k, tau1, theta, Kc, tauI: 1/((s+1)(0.2s+1)) after the half rule, and the eighth-order example
    (1.0, 1.1, 0.1, 5.5, 0.8),
    (1.0, 2.5, 1.47, 0.85, 2.5),
]


@pytest.mark.parametrize(("k", "tau", "theta", "Kc", "tauI"), SIMC)
def test_skogestads_examples(k, tau, theta, Kc, tauI):
    assert loop.simc_gain(k, tau, theta, theta) == pytest.approx(Kc, rel=2e-3)
    assert loop.simc_integral_time(tau, theta, theta) == pytest.approx(tauI, rel=2e-3)


@pytest.mark.parametrize(
    ("lag", "gain_margin", "phase_margin", "crossover"),
    # tauI = tau1: printed 3.14, 61.4 deg, 0.51/theta; integrating (a lag without end): 2.96, 46.9 deg, 0.51/theta
    [(8.0, 3.14, 61.4, 0.50), (1e7, 2.96, 46.9, 0.515)],
)
def test_skogestads_margins(lag, gain_margin, phase_margin, crossover):
    plant = Plant("loaded", lag, lag, 1.0)  # slope 1
    found = margins(plant, *simc(plant))
    assert found.gain == pytest.approx(gain_margin, rel=5e-3)
    assert math.degrees(found.phase) == pytest.approx(phase_margin, rel=5e-3)
    assert found.crossover == pytest.approx(crossover, rel=1e-2)


def test_lambda_tuning_reaches_63_percent_after_lambda():
    """Closed form: plant 20/(0.15s + 1), Kc = 0.15, tauI = 0.15 s gives 1/(0.05s + 1), 1 − 1/e after 50 ms."""
    time, y = step_response(Plant("loaded", 20.0, 0.15, 0.0), 0.15, 1.0, 0.1)
    assert np.interp(0.05, time, y) == pytest.approx(1 - math.exp(-1), rel=5e-3)  # small steps, not none


HALF = 0.065  # m, half the track of rovers/crawler.yaml
LOOPS = [
    (3.0, 0.3, 0.05, 0.3, 1.2),
    (68.0, 1.84, 0.09, 0.15, 0.21),
    (68.0, 1.84, 0.09, 0.12, 0.9),
    (1.0, 0.0, 0.1, 0.1, 4.0),
]


@pytest.mark.parametrize(("gain", "lag", "delay", "kp", "ki"), LOOPS)
def test_margins_and_step_against_python_control_with_the_delay_as_a_rational_function(
    gain, lag, delay, kp, ki
):
    plant = Plant("loaded", gain, lag, delay)
    late = control.tf(*control.pade(delay, 10))
    opened = control.tf([kp, ki], [1.0, 0.0]) * control.tf([gain], [lag, 1.0] if lag else [1.0]) * late
    gm, pm, turnover, crossover = control.margin(opened)
    found = margins(plant, kp, ki)
    assert found.gain == pytest.approx(gm, rel=2e-3)
    assert math.degrees(found.phase) == pytest.approx(pm, rel=5e-3)
    assert (found.turnover, found.crossover) == pytest.approx((turnover, crossover), rel=5e-3)
    time, y = step_response(plant, kp, ki, 20 * delay)
    _, expected = control.step_response(control.feedback(opened, 1), T=time)
    later = time > 1.2 * delay  # a rational function rings within the dead time itself
    assert np.abs(y - expected)[later].max() < 0.01


@pytest.mark.parametrize(("kp", "ki"), [(0.02, 0.0), (0.0, 0.05), (0.02, 0.05), (0.05, 1e-6), (1e-4, 1.0)])
def test_margins_are_exact_whatever_the_lag(kp, ki):
    """By their meaning: the open loop is 1 in size at the crossover, and real and negative at the turnover."""
    for lag, slope in product((0.0, 1e-3, 1.0, 1e3, 1e6, 1e9), (0.3, 30.0)):
        holds(lag, slope, kp, ki)


def holds(lag: float, slope: float, kp: float, ki: float) -> None:
    plant = Plant("loaded", slope * max(lag, 0.1), lag, 0.05)
    found = margins(plant, kp, ki)
    turned = open_loop(plant, kp, ki, np.array([found.turnover]))[0]
    assert turned == pytest.approx(-1 / found.gain, rel=1e-9)
    assert found.turnover <= math.pi / 0.05 * (1 + 1e-9)
    if math.isnan(found.crossover):
        lowest, highest = np.abs(open_loop(plant, kp, ki, np.array([1e-12, 1e9])))
        assert found.phase == (math.inf if lowest < 1 else -math.inf)
        assert (lowest < 1) == (highest < 1)
        return
    crossed = open_loop(plant, kp, ki, np.array([found.crossover]))[0]
    assert abs(crossed) == pytest.approx(1.0, rel=1e-9)
    left = math.remainder(math.pi + np.angle(crossed) - found.phase, 2 * math.pi)
    assert left == pytest.approx(0.0, abs=1e-9)
    assert found.stable == (found.crossover < found.turnover) == (found.gain > 1)


def test_the_margin_under_one_current_for_all_without_viscous_drag():
    """A lag of years: by hand 90 deg and atan(kp·w/ki) less 90 deg and the delay, 1.22 deg (a spline gave −0.31)."""
    text = "base: rubble_equal_current.yaml\nchange: {rover.wheel.bearing.viscous: 0 N*m*s/rad}\n"
    plant = linear_loop(scenario_from_text(text, SCENARIOS)).plant(LOADED)
    found = margins(plant, 0.05, 0.4)
    assert plant.lag > 1e6
    assert math.degrees(found.phase) == pytest.approx(1.22, abs=0.01)
    by_hand = math.atan(0.05 * found.crossover / 0.4) - found.crossover * plant.delay
    assert found.phase == pytest.approx(by_hand, abs=1e-6)


@pytest.mark.parametrize(
    ("command", "slowest", "fastest"),
    # tyre radius 0.034 m
    [
        ("{at: 0 s, forward: 0.15 m/s, turn: 1 rad/s}", 0.15 - HALF, 0.15 + HALF),
        ("{at: 0 s, forward: -0.15 m/s, turn: 1 rad/s}", 0.15 - HALF, 0.15 + HALF),
        ("{at: 0 s, turn: 0.5 rad/s}", 0.5 * HALF, 0.5 * HALF),
        ("{at: 0 s, left: -3 rad/s, right: 0 rad/s}", 3 * 0.034, 3 * 0.034),
        ("{at: 0 s, forward: 0 m/s}", 0.0, 0.0),
    ],
)
def test_slowest_and_fastest_are_those_of_the_wheels(command, slowest, fastest):
    """On an arc the inner wheel is the slowest, and it is there that the edges come late."""
    chosen = scenario_from_text(f"base: rubble_speed_loop.yaml\ncommands: [{command}]\n", SCENARIOS)
    assert crawl_speed(chosen) == pytest.approx(slowest / 0.034)
    assert top_speed(chosen) == pytest.approx(fastest / 0.034)


@pytest.mark.parametrize(("gain", "lag", "delay", "kp", "ki"), LOOPS)
def test_a_loop_swings_up_just_beyond_its_gain_margin(gain, lag, delay, kp, ki):
    plant = Plant("loaded", gain, lag, delay)
    factor = margins(plant, kp, ki).gain

    def growth(by):
        _, y = step_response(plant, by * kp, by * ki, 200 * delay)
        third = y.size // 3
        return np.ptp(y[-third:]) / np.ptp(y[third:-third])

    assert margins(plant, 0.98 * factor * kp, 0.98 * factor * ki).stable
    assert not margins(plant, 1.02 * factor * kp, 1.02 * factor * ki).stable
    assert growth(0.97 * factor) < 1.0
    assert growth(1.03 * factor) > 1.0


def test_the_reference_rovers_plant_by_hand():
    found = linear_loop(load_scenario(SCENARIOS / "rubble_speed_loop.yaml"))
    R = (
        2.4 * (1 + 0.00393 * (22 - 20)) / (1 + 0.00393 * 0) + 0.15
    )  # half the terminal resistance, at ambient, driver
    Ke, b = 8 * 1.67e-3, 10e-6
    assert found.plant(FREE).gain == pytest.approx(1.5 * Ke / (1.5 * Ke**2 + R * b), rel=1e-3)
    assert found.plant(FREE).lag == pytest.approx(R * 3.1e-5 / (1.5 * Ke**2 + R * b), rel=1e-3)
    heavy = 3.1e-5 + 0.62 / 4 * 0.034**2
    assert found.plant(LOADED).lag == pytest.approx(R * heavy / (1.5 * Ke**2 + R * b), rel=1e-3)
    assert found.speed == pytest.approx(0.15 / 0.034)
    assert found.delay == pytest.approx(2 * math.pi / 16 / (0.15 / 0.034) + 1e-3, rel=1e-9)
    kp, ki = simc(found.plant(LOADED))
    assert kp == pytest.approx(1.840 / (68.30 * 2 * 0.09001), rel=2e-3)
    assert ki == pytest.approx(kp / (8 * 0.09001), rel=2e-3)


def test_rules_of_the_other_strategies():
    forced = load_scenario(SCENARIOS / "rubble_trimmed.yaml")
    found = rules(forced, linear_loop(forced))["rule, loaded"]
    assert found["drive.proportional"] == 0.0
    assert found["drive.integral"] == pytest.approx(1 / (2 * linear_loop(forced).delay))  # SIMC without a lag
    assert found["drive.amplitude_per_hertz"] == pytest.approx(
        2 * math.pi * 1.67e-3
    )  # EMF of one electrical hertz
    text = "base: rubble_speed_loop.yaml\nchange: {drive: {strategy: fixed_voltage, voltage_per_speed: 1 V*s/rad}}\n"
    volts = rules(scenario_from_text(text, SCENARIOS), None)["rule"]["drive.voltage_per_speed"]
    load = 0.62 / 4 * 9.81 * 0.03 * 0.034 + 0.4e-3 + 1e-5 * 4.412
    assert volts == pytest.approx(0.01336 + 2.569 * load / (1.5 * 0.01336) / 4.412, rel=2e-3)


@pytest.mark.parametrize("hertz", [0.2, 0.6, 1.2])
def test_a_speed_by_periods_is_late_by_one_whole_interval(hertz):
    """A swing of 3 % about the crawl, measured by our own function: its lag is the time from edge to edge."""
    spacing, mean = math.pi / 8, 4.41
    turn = 2 * math.pi * hertz
    time = np.linspace(0, 60, 300_001)
    angle = mean * time - 0.03 * mean / turn * np.cos(turn * time)
    edges = np.interp(spacing * np.arange(1, int(angle[-1] / spacing)), angle, time)
    at = np.arange(5.0, 55.0, 2e-3)
    last = np.searchsorted(edges, at, side="right") - 1
    seen = [
        measured_speed(spacing, period, since, 1.0)
        for period, since in zip(edges[last] - edges[last - 1], at - edges[last], strict=True)
    ]
    waves = np.stack([np.ones_like(at), np.sin(turn * at), np.cos(turn * at)], axis=1)
    _, sine, cosine = np.linalg.lstsq(waves, np.array(seen), rcond=None)[0]
    assert -math.atan2(cosine, sine) / turn == pytest.approx(loop.edge_delay(spacing, mean), rel=0.01)


IN_THE_AIR = """
base: rubble_speed_loop.yaml
change:
  gravity: 1e-9 m/s^2
  rover.box: null
  rover.inertia: [1e6 kg*m^2, 1e6 kg*m^2, 1e6 kg*m^2]
  rover.wheel.bearing.dry: 0 N*m
  rover.wheel.winding.temperature_coefficient: 0 1/K
  ground: {length: 2 m, width: 1 m}
  start.rotors: aligned
  record_every: 2 ms
"""


def speeds(more: str) -> tuple[np.ndarray, np.ndarray, object]:
    """Return time and the first wheel's speed of a rover that hangs in the air."""
    scenario = scenario_from_text(IN_THE_AIR + more, SCENARIOS)
    model = build(scenario)
    model.bodies["z"] += 0.5
    recording = run_model(model)
    return recording.time, recording.wheels["wheel_speed"][:, 0], scenario


def test_a_simulated_wheel_in_the_air_is_the_linear_plant():
    volts = 0.5
    change = f"""
  drive: {{strategy: fixed_voltage, sample_time: 2 ms, sensor: {{kind: ideal}}, voltage_per_speed: {volts / 5} V*s/rad}}
  commands: [{{at: 0 s, left: 5 rad/s, right: 5 rad/s}}]
  duration: 1.2 s
"""
    time, speed, _ = speeds(change)
    plant = linear_loop(load_scenario(SCENARIOS / "rubble_speed_loop.yaml")).plant(FREE)
    # the plant's resistance is that at ambient, this winding does not change with temperature: 0.8 % apart
    expected = plant.gain * volts * (1 - np.exp(-time / plant.lag))
    assert np.abs(speed - expected).max() < 0.02 * plant.gain * volts


@pytest.mark.parametrize(
    ("sensor", "tolerance"), [("{kind: ideal}", 0.02), ("{kind: hall, sensors: 3, timeout: 1 s}", 0.06)]
)
def test_a_simulated_speed_loop_in_the_air_answers_a_step_as_the_linear_loop(sensor, tolerance):
    """From 6 to 7 rad/s, so that the delay of the edges hardly changes on the way."""
    change = f"""
  drive: {{strategy: speed_loop, proportional: 0.03 V*s/rad, integral: 0.12 V/rad, sensor: {sensor}}}
  commands: [{{at: 0 s, left: 6 rad/s, right: 6 rad/s}}, {{at: 4 s, left: 7 rad/s, right: 7 rad/s}}]
  duration: 5.5 s
"""
    time, speed, scenario = speeds(change)
    plant = linear_loop(scenario).plant(FREE)
    after, expected = step_response(plant, 0.03, 0.12, 1.5)
    later = time >= 4.0
    assert np.abs((speed[later] - 6.0) - np.interp(time[later] - 4.0, after, expected)).max() < tolerance


def test_a_wheel_in_the_air_hunts_where_the_linear_loop_swings_and_rests_where_it_does_not():
    """One Hall sensor at the crawl: the swing stays finite, as a wheel that runs faster gives more edges."""
    plant = linear_loop(load_scenario(SCENARIOS / "rubble_speed_loop.yaml")).plant(FREE)
    for gains in ((0.12, 0.9), simc(plant)):
        change = (
            f"  drive.proportional: {gains[0]} V*s/rad\n  drive.integral: {gains[1]} V/rad\n  duration: 6 s\n"
        )
        time, speed, _ = speeds("\n" + change)
        swing = np.ptp(speed[time > 4]) / (0.15 / 0.034)
        stable = margins(plant, *gains).stable
        assert swing < 0.01 if stable else 0.3 < swing < 2.0
