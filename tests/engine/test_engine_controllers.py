"""What a real wheel controller adds in a whole run: current limit, PWM steps, late output, its own clock, words."""

from __future__ import annotations

import numpy as np
import pytest
from engine_rovers import FOREVER, IN_THE_AIR, each_wheel, held_up, ideal

from drivesim.engine.simulate import run_model, simulate

POLES, LAM, LIMIT = 7, 2e-3, 1.2
TORQUE = 1.5 * POLES * LAM * LIMIT  # N·m, of the current limit
FIXED = {"strategy": "fixed_voltage", "voltage_per_speed": "1 V*s/rad", "sensor": {"kind": "ideal"}}
LIMITED = IN_THE_AIR | {"rover.wheel.driver": {"current_limit": f"{LIMIT} A"}}


def both(speed: float, at: float = 0.0, ramp: float = 0.0) -> dict[str, str]:
    """Return a command for both sides."""
    return {"at": f"{at!r} s", "left": f"{speed!r} rad/s", "right": f"{speed!r} rad/s", "ramp": f"{ramp!r} s"}


def in_the_air(changes):
    """Run a rover that hangs in the air."""
    return run_model(held_up(ideal(IN_THE_AIR | changes)))


# -- current limit


def test_a_stalled_wheel_takes_the_limit_and_gives_its_torque():
    """T = 1.5·p·λ·I of the limit, whatever the voltage; below the limit V/R as without one."""
    held = {"rover.wheel.bearing": {"dry": f"{FOREVER} N*m"}, "drive": FIXED}
    for volts, current, limited in ((20.0, LIMIT, 1.0), (2.0, LIMIT, 1.0), (1.0, 1.0, 0.0)):
        last = run_model(held_up(ideal(LIMITED | held | {"commands": [both(volts)]}))).wheels[-1]
        assert last["current_q"] == pytest.approx([current] * 4, rel=1e-9)
        assert last["motor_torque"] == pytest.approx([1.5 * POLES * LAM * current] * 4, rel=1e-9)
        assert (last["current_limited"] == limited).all()


def test_a_free_wheel_under_the_limit_speeds_up_evenly():
    """J·dω/dt = 1.5·p·λ·I until the voltage no longer drives that current against the back-EMF."""
    recording = in_the_air(LIMITED | {"drive": FIXED, "commands": [both(4.0)], "record_every": "1 ms"})
    wheels, time = recording.wheels, recording.time
    speed = wheels["wheel_speed"][:, 0]
    free = (4.0 - LIMIT * 1.0) / (POLES * LAM)  # rad/s at which V − p·ω·λ = R·I
    even = speed < 0.95 * free
    assert np.polyfit(time[even], speed[even], 1)[0] == pytest.approx(TORQUE / 1e-4, rel=1e-3)
    assert wheels["current_limited"][even, 0].min() == 1.0
    assert wheels["current_limited"][-1, 0] == 0.0
    assert np.hypot(wheels["current_d"], wheels["current_q"]).max() < LIMIT * (1 + 1e-6)


def test_a_forced_field_under_the_limit_holds_up_to_its_torque():
    """Pull-out torque of a field of constant current (Acarnley, from memory): 1.5·p·λ·I."""
    drags = tuple(f"{share * TORQUE!r} N*m" for share in (0.97, 1.03, 0.0, 0.5))
    drive = {"strategy": "locked_frequency", "base_amplitude": "6 V", "sample_time": "1 ms"}
    changes = {"drive": drive, "commands": [both(1.0, ramp=1.0)], "duration": "4 s"}
    recording = in_the_air(LIMITED | each_wheel("extra_drag", drags) | changes)
    slips = recording.model.states["pole_slips"]
    assert slips[[0, 2, 3]].tolist() == [0, 0, 0]
    assert slips[1] > 2
    current = np.hypot(recording.wheels["current_d"], recording.wheels["current_q"])
    assert current[10:] == pytest.approx(np.full(current[10:].shape, LIMIT), rel=1e-3)


# -- PWM, latency, clocks

STEP = 2.5e-4
ROWS = {"step": f"{STEP} s", "record_every": f"{STEP} s", "duration": "0.3 s"}


def test_the_voltage_comes_in_pwm_steps():
    """Whole steps of limit/8, each the nearest to what was asked."""
    battery = {"rover.battery.open_circuit": [[0, "8 V"], [1, "8 V"]], "rover.wheel.driver": {"pwm_steps": 8}}
    changes = {"drive": FIXED | {"sample_time": "1 ms"}, "commands": [both(4.5, ramp=0.25)]}
    wheels = in_the_air(ROWS | battery | changes).wheels
    steps = wheels["phase_voltage"][:, 0] / (4.0 / 8)
    assert steps == pytest.approx(np.round(steps), abs=1e-4)
    assert set(np.round(steps)) == set(range(9))
    asked = np.minimum(4.0, wheels["commanded_speed"][:, 0])
    assert np.abs(wheels["phase_voltage"][:, 0] - asked).max() < 0.5 * 4.0 / 8 + 4.5 / 0.25 * 1e-3


@pytest.mark.parametrize("latency", [0, 3, 8])
def test_a_new_voltage_comes_so_much_after_its_sample(latency):
    """Sampled every 2 ms; a command at 0.1 s is seen by the sample there."""
    drive = FIXED | {"sample_time": "2 ms", "latency": f"{latency * STEP!r} s"}
    wheels = in_the_air(ROWS | {"drive": drive, "commands": [both(0.0), both(3.0, at=0.1)]}).wheels
    volts = wheels["phase_voltage"][:, 0]
    first = round(0.1 / STEP) + latency
    assert (volts[:first] == 0).all()
    assert (volts[first:] == 3.0).all()


def test_samples_of_different_wheels_fall_together_or_anywhere_in_the_period():
    """A voltage follows its command within one sample time of 20 ms; the random phases come from the seed."""

    def starts(phase: str, seed: int = 1) -> np.ndarray:
        drive = FIXED | {"sample_time": "20 ms", "clock_phase": phase}
        changes = {"drive": drive, "commands": [both(0.0), both(3.0, at=0.103)], "seed": seed}
        return np.argmax(in_the_air(ROWS | changes).wheels["phase_voltage"] > 0, axis=0) * STEP

    assert starts("together") == pytest.approx([0.12] * 4)
    random = starts("random")
    assert len(set(random)) == 4
    assert ((random >= 0.103) & (random < 0.123 + STEP)).all()
    assert np.array_equal(random, starts("random"))
    assert not np.array_equal(random, starts("random", seed=2))


def test_locked_wheels_whose_clocks_differ_drift_apart():
    """A clock that is fast by e turns its field fast by e: 2·e·ω·t between wheels of +e and −e (closed form)."""
    e, speed, seconds = 500e-6, 20.0, 6.0
    drive = {
        "strategy": "locked_frequency", "base_amplitude": "6 V", "sample_time": "1 ms", "clock_error": f"{1e6 * e} ppm",
        "overrides": {"rear_left": {"clock_error": f"{-1e6 * e} ppm"}, "rear_right": {"clock_error": 0}},
    }  # fmt: skip
    viscous = {"rover.wheel.bearing": {"viscous": "2e-4 N*m*s/rad"}}  # calms the swing
    model = held_up(ideal(IN_THE_AIR | viscous | {
        "drive": drive, "commands": [both(speed, ramp=0.5)], "duration": f"{seconds} s",
    }))  # fmt: skip
    run_model(model)
    turned = model.states["angle"]
    way = speed * (seconds - 0.25)
    assert turned[3] == pytest.approx(way, rel=1e-3)
    assert turned[0] == turned[1]
    assert turned[0] - turned[2] == pytest.approx(2 * e * way, rel=0.01)
    assert turned[0] - turned[3] == pytest.approx(e * way, rel=0.01)


def test_a_loop_with_a_fast_clock_turns_its_wheel_fast():
    """It takes every period for longer than it is, and so believes the wheel slower than it is."""
    drive = {
        "strategy": "speed_loop", "proportional": "0.02 V*s/rad", "integral": "0.4 V/rad", "sensor": {"kind": "ideal"},
        "clock_error": "900 ppm", "overrides": {"rear_left": {"clock_error": "-900 ppm"}},
    }  # fmt: skip
    last = in_the_air({"drive": drive, "commands": [both(20.0)], "duration": "6 s"}).wheels[-1]
    assert last["wheel_speed"] / 20.0 - 1 == pytest.approx([9e-4, 9e-4, -9e-4, 9e-4], rel=1e-3)


# -- whole numbers


def on_the_ground(arithmetic: dict[str, int] | None):
    """Return the traces of a rover that starts, turns and meets a ramp under speed loops."""
    drive = {
        "strategy": "speed_loop", "proportional": "0.05 V*s/rad", "integral": "0.5 V/rad",
        "feed_forward": "0.014 V*s/rad",
        "sensor": {"kind": "hall", "sensors": 3},
    }  # fmt: skip
    changes = {
        "rover.battery.open_circuit": [[0, "8 V"], [1, "8 V"]],
        "drive": drive | ({} if arithmetic is None else {"arithmetic": arithmetic}),
        "ground.features": [{"kind": "ramp", "start": "0.3 m", "end": "1 m", "slope": "8 deg"}],
        "commands": [
            {"at": "0 s", "forward": "0.4 m/s", "ramp": "0.3 s"},
            {"at": "1 s", "forward": "0.4 m/s", "turn": "0.5 rad/s"},
        ],
        "duration": "2 s",
    }  # fmt: skip
    return simulate(ideal(changes)).wheels


def test_a_loop_in_long_words_runs_like_one_in_real_numbers():
    """32 bits with 16 of fraction and 20 of the gains' fraction: the same run; 16 bits with 7 and 8: its own."""
    real = on_the_ground(None)
    fine = on_the_ground({"word_bits": 32, "fraction_bits": 16, "gain_fraction_bits": 20})
    coarse = on_the_ground({"word_bits": 16, "fraction_bits": 4, "gain_fraction_bits": 8})
    for channel in ("wheel_speed", "phase_voltage", "hub_x", "current_q"):
        size = np.ptp(real[channel])
        assert np.abs(fine[channel] - real[channel]).max() < 2e-3 * size, channel
        assert np.abs(coarse[channel] - real[channel]).max() > 2e-3 * size, channel
