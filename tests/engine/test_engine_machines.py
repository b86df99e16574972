"""A wheel in the air, turned through the whole engine, against the textbook machines."""

import math

import numpy as np
import pytest
from engine_rovers import FOREVER, IN_THE_AIR, each_wheel, held_up, ideal, step_ends
from scipy import signal
from scipy.integrate import solve_ivp

from drivesim.engine.simulate import run_model

FIXED = {"strategy": "fixed_voltage", "voltage_per_speed": "1 V*s/rad", "sensor": {"kind": "ideal"}}


def opposed(speed: float, ramp: float = 0.0) -> list[dict[str, str]]:
    """Return a command that turns the left wheels forward and the right ones backward."""
    return [{"at": "0 s", "left": f"{speed!r} rad/s", "right": f"{-speed!r} rad/s", "ramp": f"{ramp!r} s"}]


def test_step_response_is_that_of_the_dc_machine():
    """Source: Control Tutorials, University of Michigan, "DC Motor Speed": J, b, K, R, L and a step of 1 V.

    A dq machine equals it with R and L times 1.5; its cross coupling takes up to (w·L/R)² = 0.25 % of the
    current.
    """
    J, b, K, R, L = 0.01, 0.1, 0.01, 1.0, 0.5
    model = held_up(
        ideal(
            IN_THE_AIR
            | {
                "rover.wheel.inertia": f"{J} kg*m^2",
                "rover.wheel.bearing": {"viscous": f"{b} N*m*s/rad"},
                "rover.wheel.motor": {
                    "pole_pairs": 1,
                    "phase_resistance": f"{1.5 * R} ohm",
                    "phase_inductance": f"{1.5 * L} H",
                    "flux_linkage": f"{K} Wb",
                },
                "drive": FIXED,
                "commands": opposed(1.0),
                "duration": "4 s",
                "record_every": "0.25 ms",
            }
        )
    )
    recording = run_model(model)
    time = step_ends(recording)
    speed = recording.wheels["wheel_speed"]
    _, expected = signal.step((K, (J * L, J * R + b * L, b * R + K * K)), T=np.concatenate([[0.0], time]))
    assert np.abs(speed[:, 0] - expected[1:]).max() < 0.004 * expected[-1]
    assert speed[round(1.0 / model.step) - 1, 0] == pytest.approx(0.0830371, rel=0.004)
    assert speed[-1, 0] == pytest.approx(0.0999001, rel=0.004)
    assert np.array_equal(speed[:, 1], -speed[:, 0])


def test_torque_speed_line():
    """Source: closed forms of any text on DC machines; V = 12 V, R = 0.5 ohm, K = 0.03, friction 6 mN·m."""
    V, R, K, friction = 12.0, 0.5, 0.03, 0.006
    loads = (0.0, 0.714 / 2, K * 2.190890 - friction, 0.72)  # none, half, at best efficiency, more than stall
    model = held_up(
        ideal(
            IN_THE_AIR
            | each_wheel("extra_drag", tuple(f"{load!r} N*m" for load in loads))
            | {
                "rover.wheel.bearing": {"dry": f"{friction} N*m"},
                "rover.wheel.motor.pole_pairs": 1,
                "rover.wheel.motor.phase_resistance": f"{1.5 * R} ohm",
                "rover.wheel.motor.flux_linkage": f"{K} Wb",
                "drive": FIXED,
                "commands": [{"at": "0 s", "left": f"{V} rad/s", "right": f"{V} rad/s"}],
                "duration": "2 s",
            }
        )
    )
    last = run_model(model).wheels[-1]
    assert last["wheel_speed"] == pytest.approx([396.6667, 198.3333, 363.4852, 0.0], rel=1e-6)
    assert last["motor_torque"][3] == pytest.approx(0.72, rel=1e-6)
    assert 1.5 * last["current_q"] == pytest.approx([0.2, 12.1, 2.190890, 24.0], rel=1e-6)


def forced(
    R: float,
    L: float,
    lam: float,
    V: float,
    J: float,
    commands: list[dict[str, str]],
    duration: float,
    **more: object,
):
    """Return a model in the air whose 7-pole-pair wheels are driven by forced fields."""
    return held_up(
        ideal(
            IN_THE_AIR
            | {
                "rover.wheel.inertia": f"{J!r} kg*m^2",
                "rover.wheel.motor.phase_resistance": f"{R!r} ohm",
                "rover.wheel.motor.phase_inductance": f"{L!r} H",
                "rover.wheel.motor.flux_linkage": f"{lam!r} Wb",
                "rover.battery.open_circuit": [[0, "2000 V"], [1, "2000 V"]],
                "drive": {
                    "strategy": "locked_frequency",
                    "base_amplitude": f"{V!r} V",
                    "sample_time": "1 ms",
                    "sensor": {"kind": "ideal"},
                },
                "commands": commands,
                "duration": f"{duration!r} s",
                **more,
            }
        )
    )


# constant torque amplitude 0.05 N·m; the resistance is so high that back-EMF hardly brakes
PEAK, J = 0.05, 2e-5
STIFF = {"R": 100.0, "L": 1e-7, "lam": 1e-3, "V": PEAK * 100.0 / (1.5 * 7 * 1e-3), "J": J}
LIMIT = 264.575  # rad/s electrical


def test_forced_wheel_swings_at_the_hunting_frequency():
    """Source: Acarnley, Stepping Motors (from memory): sqrt(p·T/J) = 132.2876 rad/s.

    T = 0.05 N·m, J = 2e-5 kg·m², p = 7.
    """
    model = forced(**STIFF, commands=opposed(0.0), duration=1.0, record_every="0.1 ms")
    model.states["angle"] = 0.1 / 7
    recording = run_model(model)
    time, angle = step_ends(recording), recording.wheels["load_angle"][:, 0]
    rising = np.flatnonzero((angle[:-1] < 0) & (angle[1:] >= 0))
    crossings = time[rising] - angle[rising] * model.step / (angle[rising + 1] - angle[rising])
    assert len(crossings) == 21
    found = 2 * math.pi / np.diff(crossings).mean()
    assert found == pytest.approx(132.2876, rel=0.002)


@pytest.mark.parametrize(
    ("share", "ramp", "in_step"), [(0.98, 0.0, True), (1.02, 0.0, False), (3.0, 0.5, True)]
)
def test_start_frequency_limit(share, ramp, in_step):
    """Source: separatrix of the undamped pendulum: an aligned, free rotor locks to less than 2·w_n at once.

    A ramp takes it far beyond that.
    """
    recording = run_model(forced(**STIFF, commands=opposed(share * LIMIT / 7, ramp), duration=1.0))
    slips = recording.model.states["pole_slips"]
    speed = recording.wheels["wheel_speed"][-1]
    assert (slips == 0).all() if in_step else (slips > 0).all()
    assert speed[::2] == pytest.approx(-speed[1::2], rel=1e-6)


def test_slow_ramp_pulls_out_at_the_pull_out_torque():
    """Source: cylindrical-rotor theory (Fitzgerald; Chapman): 1.072527 N·m at 700 rad/s electrical.

    R = 0.05 ohm, L = 20 uH, 2 mWb, 4 V, p = 7.  A viscous load asks for just that torque at 100 rad/s.
    """
    model = forced(
        0.05, 20e-6, 2e-3, 4.0, 1e-4, opposed(110.0, 11.0), 11.0,
        **{"rover.wheel.bearing": {"viscous": f"{1.072527 / 100} N*m*s/rad"}},
    )  # fmt: skip
    recording = run_model(model)
    wheels = recording.wheels
    first_slip = np.argmax(wheels["pole_slips"] > 0, axis=0)
    assert (first_slip > 0).all()
    for i, row in enumerate(first_slip):
        assert abs(wheels["commanded_speed"][row, i]) == pytest.approx(100.0, rel=0.01)
        assert np.abs(wheels["motor_torque"][: row - 10, i]).max() == pytest.approx(1.072527, rel=0.01)


def test_wheels_hold_three_percent_below_the_pull_out_torque_in_both_directions():
    """Same machine, at 10 rad/s: dry drag of 97 % and 103 % of 1.5·p·lam·(V/Z − E·R/Z²)."""
    R, L, lam, V, we = 0.05, 20e-6, 2e-3, 4.0, 70.0
    Z = math.hypot(R, we * L)
    most = 1.5 * 7 * lam * (V / Z - we * lam * R / Z**2)
    drags = tuple(f"{share * most!r} N*m" for share in (0.97, 0.97, 1.03, 1.03))
    model = forced(R, L, lam, V, 1e-4, opposed(10.0, 1.0), 2.0, **each_wheel("extra_drag", drags))
    run_model(model)
    slips = model.states["pole_slips"]
    assert (slips[:2] == 0).all()
    assert (slips[2:] > 10).all()


def test_forced_wheel_waits_for_its_command_where_it_is():
    """The field of a rover at rest pulls along the magnets: nothing moves before the first command."""
    model = forced(**STIFF, commands=opposed(0.0), duration=0.5)
    run_model(model)
    assert np.abs(model.states["angle"]).max() < 1e-12


def test_a_stalled_winding_warms_up():
    """C·dT/dt = 1.5·V²/R(T) − (T − T_a)/R_th with copper's R(T), against scipy's integrator."""
    V, R20, R_th, C = 1.0, 1.0, 40.0, 0.1
    changes = IN_THE_AIR | {
        "rover.wheel.bearing": {"dry": f"{FOREVER} N*m"},
        "rover.wheel.winding": {"thermal_resistance": f"{R_th} K/W", "heat_capacity": f"{C} J/K"},
        "drive": FIXED,
        "commands": opposed(V),
        "ambient": "20 degC",
        "duration": "8 s",
        "record_every": "10 ms",
    }
    recording = run_model(held_up(ideal(changes)))

    def rate(_t: float, T: list[float]) -> list[float]:
        return [(1.5 * V**2 / (R20 * (1 + 0.00393 * (T[0] - 20))) - (T[0] - 20) / R_th) / C]

    expected = solve_ivp(rate, (0, 8), [20.0], t_eval=recording.time, rtol=1e-9).y[0]
    assert expected[-1] > 60
    for wheel in (0, 1):
        assert recording.wheels["winding_temperature"][:, wheel] == pytest.approx(expected, abs=0.02)


def test_the_supply_sags_under_constant_power():
    """V = (E + sqrt(E² − 4·R·P))/2 (closed form): 11.1 V, 60 mohm, 200 W give 9.886185 V and 20.230251 A."""
    battery = {
        "capacity": "2 A*h",
        "cell_resistance": "60 mohm",
        "electronics": "200 W",
        "open_circuit": [[0, "11.1 V"], [1, "11.1 V"]],
    }
    recording = run_model(held_up(ideal(IN_THE_AIR | {"rover.battery": battery})))
    last = recording.body[-1]
    assert last["bus_voltage"] == pytest.approx(9.886185, rel=1e-6)
    assert last["battery_current"] == pytest.approx(20.230251, rel=1e-6)
    used = recording.body["state_of_charge"][-51] - recording.body["state_of_charge"][-1]
    assert used == pytest.approx(0.5 * 20.230251 / 7200, rel=1e-6)


@pytest.mark.parametrize(("speed", "power"), [(0.0, 1.5 * 0.7**2 / 0.5), (100.0, -1.5 * 0.7 * 0.7 * 0.5)])
def test_the_power_stage_takes_its_share_both_ways(speed, power):
    """0.7 V against a back-EMF of 0 or 1.4 V behind 1 ohm, efficiency 50 %: 1.5·V·i over it, or times it."""
    changes = IN_THE_AIR | {
        "rover.wheel.inertia": "1e6 kg*m^2",
        "rover.wheel.driver": {"efficiency": 0.5},
        "drive": FIXED,
        "commands": opposed(0.7),
    }
    model = held_up(ideal(changes))
    model.states["spin"] = speed * np.array([1, -1, 1, -1])
    last = run_model(model).body[-1]
    assert last["battery_current"] * 100.0 == pytest.approx(4 * power, rel=1e-4)
    assert (model.states["driver_loss"] > 0).all()


def test_ripple_and_cogging_of_blocked_wheels():
    """T·(1 + 0.1·cos(6·p·angle)) − 2 mN·m·sin(42·angle), T = 1.5·p·lam·V/R: as the model defines them."""
    changes = IN_THE_AIR | {
        "rover.wheel.bearing": {"dry": f"{FOREVER} N*m"},
        "rover.wheel.motor.torque_ripple": 0.1,
        "rover.wheel.motor.cogging_torque": "2 mN*m",
        "rover.wheel.motor.cogging_per_turn": 42,
        "drive": FIXED,
        "commands": [{"at": "0 s", "left": "1 rad/s", "right": "1 rad/s"}],
        "duration": "0.1 s",
    }
    model = held_up(ideal(changes))
    angle = np.array([0.0, 0.02, 0.05, 0.11])
    model.states["angle"] = angle
    expected = 0.021 * (1 + 0.1 * np.cos(42 * angle)) - 2e-3 * np.sin(42 * angle)
    assert run_model(model).wheels["motor_torque"][-1] == pytest.approx(expected, rel=1e-6)
