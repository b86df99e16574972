"""What the trade knows of wheels whose field turns at a frequency of its own; common practice, no source."""

from math import pi

import numpy as np
import pytest
from behaviour_runs import (
    BENCH,
    COLD,
    FLUX,
    LOCKED,
    MASS,
    ON_RESISTANCE,
    PHASE_RESISTANCE,
    POLE_PAIRS,
    RADIUS,
    SPEED_LOOP,
    TRIMMED,
    WHEELS,
    falls,
    forward,
    mean_over,
    pole_slips,
    run,
    share_of_way,
    text,
)

from drivesim.physics.motor import start_frequency_limit

TURN = 1.4  # s a turn of the wheels: a whole number of recorded rows
ONE_TURN_SPEED = RADIUS * 2 * pi / TURN


def with_drag(front_left, front_right, rear_left, rear_right, duration):
    drags = zip(WHEELS, (front_left, front_right, rear_left, rear_right), strict=True)
    change = {f"rover.wheels.{name}.extra_drag": f"{drag} mN*m" for name, drag in drags}
    return run(
        text(
            drive=LOCKED, ground=BENCH, commands=forward(ONE_TURN_SPEED), duration=f"{duration} s",
            change=change | COLD,
        )
    )  # fmt: skip


def test_locked_wheels_turn_at_exactly_one_frequency_however_loaded():
    """Common practice, no source: a synchronous machine's load moves its load angle, never its speed."""
    result = with_drag(2, 5, 9, 0, duration=40)
    assert pole_slips(result).tolist() == [0, 0, 0, 0]
    last_turns = 40.0 - 4 * TURN
    speeds = mean_over(result, "wheel_speed", last_turns)
    assert speeds * TURN / (2 * pi) == pytest.approx(np.ones(4), rel=1e-8)
    # the loads do differ, and show in the load angle
    assert np.argsort(mean_over(result, "load_angle", last_turns)).tolist() == [3, 0, 1, 2]


def test_the_wheel_past_pull_out_falls_behind_by_whole_poles_and_the_others_hold():
    """Common practice, no source.  Pull-out here is 24 mN·m; 20 mN·m of drag holds, 30 mN·m does not."""
    assert pole_slips(with_drag(2, 5, 9, 20, duration=20)).tolist() == [0, 0, 0, 0]
    result = with_drag(2, 5, 9, 30, duration=20)
    slips = pole_slips(result)
    assert slips[:3].tolist() == [0, 0, 0]
    assert slips[3] >= 5
    traces = result.traces
    interval = traces.attrs["recording_interval_s"]
    lag = POLE_PAIRS * interval * (traces["commanded_speed"] - traces["wheel_speed"]).sum("time").values
    behind = lag - traces["load_angle"].values[-1]  # what is not in the load angle is whole poles
    assert behind / (2 * pi) == pytest.approx(slips, abs=0.02)


def test_a_wheel_that_swings_past_a_quarter_turn_and_comes_back_has_slipped_no_pole():
    """Common practice, no source: the next pole takes over only half a turn away."""
    result = in_step(310, 0.24, ramp=0.0)
    assert np.abs(result.traces["load_angle"]).max() > 0.55 * pi
    assert pole_slips(result).tolist() == [0, 0, 0, 0]
    assert share_of_way(result) == pytest.approx(1, abs=0.02)


# -- pull-in and pull-out


def in_step(inertia, speed, ramp):
    """A start on the bench at the shipped amplitude; ``inertia`` [g·cm²] of a wheel, ``ramp`` [s]."""
    return run(
        text(
            drive="{strategy: locked_frequency, base_amplitude: 3.2 V}",
            ground="{name: bench, length: 80 m, width: 1 m}",
            commands=forward(speed, at=0.1, ramp=ramp),
            duration=f"{ramp + 2} s",
            change={"rover.wheel.inertia": f"{inertia} g*cm^2"},
        )
    )  # fmt: skip


def keeps_step(inertia, ramp):
    return lambda speed: not pole_slips(in_step(inertia, speed, ramp)).any()


@pytest.fixture(scope="module")
def limits():
    """(pull-in, pull-out) speed [m/s] for the shipped wheel and one four times as heavy to turn."""
    return {
        inertia: (
            falls(keeps_step(inertia, 0.0), 0.05, 1.0, 0.01),
            falls(keeps_step(inertia, 10.0), 1.0, 9.0, 0.1),
        )
        for inertia in (310, 1240)
    }


def test_a_heavy_wheel_pulls_in_at_a_lower_frequency_than_a_light_one(limits):
    """Common practice, no source."""
    (light_in, _), (heavy_in, _) = limits[310], limits[1240]
    assert heavy_in < 0.9 * light_in


def test_pull_in_lies_far_below_pull_out_and_only_pull_in_knows_the_inertia(limits):
    """Common practice, no source: ramp up, and a synchronous drive goes where it could never start."""
    for pull_in, pull_out in limits.values():
        assert pull_in < 0.2 * pull_out
    (light_in, light_out), (heavy_in, heavy_out) = limits[310], limits[1240]
    assert heavy_out == pytest.approx(light_out, rel=0.1)
    assert 1 - heavy_in / light_in > 2 * abs(1 - heavy_out / light_out)


def test_pull_in_lies_just_below_that_of_a_free_pendulum(limits):
    """Closed form for no load and no damping, and the share of the body that each wheel must speed up."""
    peak = 1.5 * POLE_PAIRS * FLUX * 3.2 / (PHASE_RESISTANCE + ON_RESISTANCE)
    for inertia, (pull_in, _) in limits.items():
        free = (
            start_frequency_limit(peak, POLE_PAIRS, inertia * 1e-7 + MASS / 4 * RADIUS**2)
            / POLE_PAIRS
            * RADIUS
        )
        assert 0.8 * free < pull_in < free


def test_heavy_grippy_tyres_do_not_start_where_the_original_tyres_do():
    """Common practice, no source.  The shipped scenario at 0.20 m/s; at its 0.30 m/s neither tyre starts."""
    start = "[{at: 0.3 s, forward: 0.20 m/s}]"
    heavy = run(text("heavy_grippy_tyres.yaml", commands=start))
    original = run(
        text(
            drive=LOCKED, ground=BENCH, commands=start, duration="6 s", change={"drive.slew": "2000 rad/s^2"}
        )
    )
    assert share_of_way(original) == pytest.approx(1, abs=0.02)
    assert not pole_slips(original).any()
    assert share_of_way(heavy) < 0.2
    assert pole_slips(heavy).min() > 10
    assert "out of step" in run(text("heavy_grippy_tyres.yaml")).verdict


@pytest.mark.parametrize("speed", [0.20, 0.25])
def test_a_trimmed_frequency_chases_itself_out_of_step_where_a_locked_one_holds(speed):
    """Common practice, no source: a rotor that lags reads slow, so the trim speeds the field up.

    The seed draws the rotors' angles at the start.
    """

    def drives(drive, seed):
        commands = forward(speed, at=0.5, ramp=0.5)
        return run(text(drive=drive, ground=BENCH, commands=commands, duration="10 s", seed=seed))

    held = drives(LOCKED, 1)
    assert pole_slips(held).tolist() == [0, 0, 0, 0]
    assert share_of_way(held) == pytest.approx(1, abs=0.01)
    results = [drives(TRIMMED, seed) for seed in range(1, 9)]
    assert min(pole_slips(result).min() for result in results) > 20
    shares = [share_of_way(result) for result in results]  # they fall behind
    assert max(shares) < 0.65
    assert np.mean(shares) < 0.55


# -- what locking costs


def test_a_locked_field_draws_full_current_at_standstill_and_at_level_creep():
    """Common practice, no source: its current does not know the load."""
    full = 3.2 / (PHASE_RESISTANCE + ON_RESISTANCE)
    creep = {d: run(text(drive=d, ground=BENCH, commands=forward(0.05, at=2.0), duration="10 s", change=COLD))
             for d in (LOCKED, SPEED_LOOP)}  # fmt: skip

    def current(drive, start, end):
        return np.hypot(
            mean_over(creep[drive], "current_d", start, end), mean_over(creep[drive], "current_q", start, end)
        )

    standing, creeping = current(LOCKED, 0.5, 2.0), current(LOCKED, 6.0, 10.0)
    assert standing == pytest.approx(full, rel=0.01)
    assert creeping == pytest.approx(full, rel=0.1)
    assert np.abs(current(SPEED_LOOP, 0.5, 2.0)).max() < 1e-6
    assert current(SPEED_LOOP, 6.0, 10.0).max() < 0.2 * full
    per_metre = {d: r.summary["energy_per_metre_J"] for d, r in creep.items()}
    assert per_metre[LOCKED] > 10 * per_metre[SPEED_LOOP]


@pytest.mark.parametrize("rms", [3, 7])
def test_locked_wheels_fight_more_than_speed_loops_on_the_same_rubble(rms):
    """Common practice, no source.  Eight grounds, the same for both drives."""
    rubble = {"ground.features.0.rms": f"{rms} mm"}

    def fights(drive):
        runs = [
            run(text("rubble_speed_loop.yaml", drive=drive, seed=seed, change=rubble)) for seed in range(1, 9)
        ]
        return np.array([result.summary["fighting"]["force_mean_N"] for result in runs])

    locked, loops = fights(LOCKED), fights(SPEED_LOOP)
    print(f"{rms} mm: {locked.mean():.3f} N locked, {loops.mean():.3f} N with speed loops")
    assert (locked > loops).all()
    assert locked.mean() > 2 * loops.mean()
