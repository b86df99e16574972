"""Runs of whole rovers whose wheels hang in the air: motor, forced field, battery, heat, Hall sensing."""

from __future__ import annotations

import math
from functools import cache
from typing import Any

import numpy as np
from engine_rovers import FOREVER, IN_THE_AIR, each_wheel, held_up, ideal, step_ends
from validation_check import Check, closed

from drivesim.engine.model import Model
from drivesim.engine.simulate import run_model

FIXED = {"strategy": "fixed_voltage", "voltage_per_speed": "1 V*s/rad", "sensor": {"kind": "ideal"}}


def in_the_air(changes: dict[str, object]) -> Model:
    """Return a built rover held up, whose wheels turn nothing but themselves."""
    return held_up(ideal(IN_THE_AIR | changes))


def all_wheels(value: float, ramp: float = 0.0, opposed: bool = True) -> list[dict[str, str]]:
    """Return one command at the start [rad/s]; by default the right wheels turn the other way."""
    right = -value if opposed else value
    return [{"at": "0 s", "left": f"{value!r} rad/s", "right": f"{right!r} rad/s", "ramp": f"{ramp!r} s"}]


@cache
def tutorial_speed(seconds: float) -> float:
    """Return the wheel's speed [rad/s] of the tutorial motor so long after a step of 1 V."""
    motor = {
        "pole_pairs": 1,
        "phase_resistance": "1.5 ohm",
        "phase_inductance": "0.75 H",
        "flux_linkage": "0.01 Wb",
    }
    model = in_the_air(
        {
            "rover.wheel.inertia": "0.01 kg*m^2",
            "rover.wheel.bearing": {"viscous": "0.1 N*m*s/rad"},
            "rover.wheel.motor": motor,
            "drive": FIXED,
            "commands": all_wheels(1.0),
            "duration": f"{seconds} s",
            "record_every": "0.25 ms",
        }
    )
    return float(run_model(model).wheels["wheel_speed"][-1, 0])


@cache
def line() -> np.ndarray:
    """Return the wheels' speeds [rad/s] at no load, half the stall torque and the best efficiency."""
    K, friction = 0.03, 0.006
    loads = (0.0, 0.714 / 2, K * 2.190890 - friction, 0.72)
    model = in_the_air(
        each_wheel("extra_drag", tuple(f"{load!r} N*m" for load in loads))
        | {
            "rover.wheel.bearing": {"dry": f"{friction} N*m"},
            "rover.wheel.motor.pole_pairs": 1,
            "rover.wheel.motor.phase_resistance": "0.75 ohm",
            "rover.wheel.motor.flux_linkage": f"{K} Wb",
            "drive": FIXED,
            "commands": all_wheels(12.0, opposed=False),
            "duration": "2 s",
        }
    )
    return run_model(model).wheels["wheel_speed"][-1]


def forced(motor: tuple[float, float, float], V: float, J: float, changes: dict[str, object]) -> Model:
    """Return wheels of 7 pole pairs in the air under forced fields; ``motor`` is R [ohm], L [H], lam [Wb]."""
    R, L, lam = motor
    return in_the_air(
        {
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
            **changes,
        }
    )


# peak torque 0.05 N·m whatever the speed: so much resistance that back-EMF hardly brakes
STIFF = ((100.0, 1e-7, 1e-3), 0.05 * 100.0 / (1.5 * 7 * 1e-3), 2e-5)


def hunting() -> float:
    """Return the frequency [rad/s] at which a wheel let go 0.1 rad beside its pole swings."""
    model = forced(*STIFF, {"commands": all_wheels(0.0), "duration": "1 s", "record_every": "0.1 ms"})
    model.states["angle"] = 0.1 / 7
    recording = run_model(model)
    time, angle = step_ends(recording), recording.wheels["load_angle"][:, 0]
    rising = np.flatnonzero((angle[:-1] < 0) & (angle[1:] >= 0))
    crossings = time[rising] - angle[rising] * model.step / (angle[rising + 1] - angle[rising])
    return float(2 * math.pi / np.diff(crossings).mean())


def pull_in() -> float:
    """Return the greatest electrical frequency [rad/s] to which wheels at rest lock, by halving the interval."""
    low, high = 250.0, 280.0
    while high - low > 0.5:
        middle = 0.5 * (low + high)
        model = forced(*STIFF, {"commands": all_wheels(middle / 7), "duration": "0.5 s"})
        run_model(model)
        low, high = (middle, high) if (model.states["pole_slips"] == 0).all() else (low, middle)
    return 0.5 * (low + high)


def pull_out() -> float:
    """Return the greatest mean torque [N·m] of a slow ramp against a viscous load, before the first lost pole."""
    model = forced(
        (0.05, 20e-6, 2e-3), 4.0, 1e-4,
        {
            "rover.wheel.bearing": {"viscous": f"{1.072527 / 100} N*m*s/rad"},
            "commands": all_wheels(110.0, 11.0),
            "duration": "11 s",
        },
    )  # fmt: skip
    wheels = run_model(model).wheels
    first = int(np.argmax(wheels["pole_slips"][:, 0] > 0))
    return float(np.abs(wheels["motor_torque"][: first - 10, 0]).max())


@cache
def sag() -> tuple[float, float]:
    """Return bus voltage [V] and battery current [A] of 11.1 V behind 60 mohm under 200 W."""
    battery = {
        "capacity": "2 A*h", "cell_resistance": "60 mohm", "electronics": "200 W",
        "open_circuit": [[0, "11.1 V"], [1, "11.1 V"]],
    }  # fmt: skip
    last = run_model(in_the_air({"rover.battery": battery})).body[-1]
    return float(last["bus_voltage"]), float(last["battery_current"])


@cache
def relaxed_bus() -> float:
    """Return the bus voltage [V] under 200 W once an R-C pair of 40 mohm and 1 s has relaxed."""
    battery = {
        "capacity": "200 A*h", "cell_resistance": "60 mohm", "electronics": "200 W",
        "diffusion_resistance": "40 mohm", "diffusion_time": "1 s", "open_circuit": [[0, "11.1 V"], [1, "11.1 V"]],
    }  # fmt: skip
    return float(
        run_model(in_the_air({"rover.battery": battery, "duration": "12 s"})).body["bus_voltage"][-1]
    )


def held_current(seconds: float, winding: dict[str, object]) -> tuple[float, float]:
    """Return the temperatures [degC] of winding and housing of blocked wheels that a driver holds at a current.

    The peak of 4.08 A in three phases of 0.1 ohm (20 degC) heats like 5 A in one; 25 degC around.
    """
    model = in_the_air(
        {
            "rover.wheel.bearing": {"dry": f"{FOREVER} N*m"},
            "rover.wheel.winding": winding,
            "rover.wheel.motor.phase_resistance": "0.1 ohm",
            "rover.wheel.motor.resistance_at": "20 degC",
            "rover.wheel.driver": {"current_limit": f"{5 / math.sqrt(1.5)!r} A"},
            "drive": FIXED,
            "commands": all_wheels(10.0),
            "ambient": "25 degC",
            "duration": f"{seconds} s",
        }
    )
    run_model(model)
    return float(model.states["temperature"][0]), float(model.states["housing_temperature"][0])


def warmed(share: float) -> float:
    """Return the winding's temperature [degC] after ``share`` of R_th·C = 10 K/W · 0.2 J/K."""
    return held_current(2.0 * share, {"thermal_resistance": "10 K/W", "heat_capacity": "0.2 J/K"})[0]


@cache
def housed() -> tuple[float, float]:
    """Return winding and housing [degC], settled: 4 K/W to the housing, 6 K/W on to the air."""
    housing = {"thermal_resistance": "6 K/W", "heat_capacity": "0.2 J/K"}
    winding = {"thermal_resistance": "4 K/W", "heat_capacity": "0.1 J/K", "housing": housing}
    return held_current(20.0, winding)


def built_resistance() -> float:
    """Return the phase resistance [ohm] of two 1 oz outer layers of 0.9 m by 0.4 mm, from a rover as built."""
    layer = {"place": "outer", "copper": "1 oz/ft^2", "width": "0.4 mm", "length": "0.9 m", "count": 2}
    motor = {
        "pole_pairs": 7,
        "phase_inductance": "1e-7 H",
        "flux_linkage": "2e-3 Wb",
        "conductor": {"layers": [layer]},
    }
    model = in_the_air({"rover.wheel.motor": motor, "ambient": "20 degC"})
    return float(model.wheels["resistance"][0])


def hall_step(speed: float) -> float:
    """Return how far apart [rad/s] two neighbouring measured speeds lie on a wheel that turns evenly."""
    sensor = {"kind": "hall", "sensors": 3, "timer_tick": "1 us", "timeout": "0.25 s"}
    model = in_the_air(
        each_wheel("driven", (False,) * 4)
        | {
            "drive": {"strategy": "fixed_voltage", "voltage_per_speed": "0 V*s/rad", "sensor": sensor},
            "drive.sample_time": "0.25 ms",
            "commands": all_wheels(1.0, opposed=False),
            "duration": "1 s",
            "record_every": "0.25 ms",
            "step": "0.25 ms",
        }
    )
    model.states["spin"] = speed
    periods = math.pi / 21 / run_model(model).wheels["measured_speed"][400:, 0]
    ticks = np.unique(np.round(periods * 1e6))
    neighbours = math.pi / 21 / (ticks[:2] * 1e-6)
    return float(neighbours[0] - neighbours[1])


WHOLE: dict[str, Any] = {"by": "whole rover", "wobble": 1e-6}

MOTOR_RUNS: list[Check] = [
    closed("wheel with the tutorial's motor: speed 1 s after a step of 1 V", "0.0830371", "rad/s",
           lambda: tutorial_speed(1.0), rel=0.004, **WHOLE),
    closed("… final speed (the dq cross coupling takes up to 0.25 %)", "0.0999001", "rad/s",
           lambda: tutorial_speed(4.0), rel=0.004, **WHOLE),
    closed("wheel on the torque–speed line: no load", "396.6667", "rad/s", lambda: line()[0], rel=1e-5, **WHOLE),
    closed("… half the stall torque", "198.3333", "rad/s", lambda: line()[1], rel=1e-5, **WHOLE),
    closed("… best efficiency", "363.4852", "rad/s", lambda: line()[2], rel=1e-5, **WHOLE),
]  # fmt: skip

FORCED_RUNS: list[Check] = [
    closed("wheel let go beside its pole: swing frequency", "132.2876", "rad/s", hunting, rel=0.002, **WHOLE),
    closed("wheel at rest: greatest frequency it locks to", "264.575", "rad/s electrical", pull_in, rel=0.01,
           digits=3, by="whole rover", wobble=1e-4),
    closed("wheel on a slow ramp: torque at the first lost pole", "1.072527", "N·m", pull_out, rel=0.01,
           digits=3, by="whole rover", wobble=1e-4),
]  # fmt: skip

BATTERY_RUNS: list[Check] = [
    closed("rover that draws 200 W at rest: bus voltage", "9.886185", "V", lambda: sag()[0], rel=1e-6, **WHOLE),
    closed("… battery current", "20.230251", "A", lambda: sag()[1], rel=1e-6, **WHOLE),
    closed("… bus voltage once a diffusion pair of 40 mΩ has relaxed", "8.836716", "V", relaxed_bus, rel=1e-4,
           **WHOLE),
]  # fmt: skip

SPEED_RUNS: list[Check] = [
    closed(f"step of the measured speed of a wheel at {speed:g} rad/s", step, "rad/s",
           lambda speed=speed: hall_step(speed), rel=0.003, digits=3, by="whole rover")
    for speed, step in ((100.0, "0.06689"), (400.0, "1.0724"))
]  # fmt: skip

HEAT_RUNS: list[Check] = [
    *[
        closed(f"blocked wheel held at 5 A by its driver, winding after {share:g} R_th·C", T, "°C",
               lambda share=share: warmed(share), rel=0.001, **WHOLE)
        for share, T in ((0.5, "35.25953"), (1.0, "41.79557"), (2.0, "48.61219"))
    ],
    closed("… in a housing, 4 + 6 K/W: settled winding", "53.26864", "°C", lambda: housed()[0], rel=1e-4, **WHOLE),
    closed("… settled housing", f"{25.0 + 0.6 * 28.26864:.5f}", "°C", lambda: housed()[1], rel=1e-4, **WHOLE),
]  # fmt: skip

COPPER_RUNS: list[Check] = [
    closed("two outer layers of 1 oz, 0.9 m × 0.4 mm each, as built", f"{1.8 / 0.4e-3 / 58e6 / 34.325e-6:.4f}", "Ω",
           built_resistance, rel=1e-4, **WHOLE),
]  # fmt: skip
