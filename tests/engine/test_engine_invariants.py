"""What must hold for every run: energy, mirror images, repeatability, units, one kernel for all."""

from __future__ import annotations

import hashlib
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from engine_rovers import each_wheel, ideal, same_bytes

from drivesim import load_scenario, scenario_from_text, simulate
from drivesim.analysis.headlines import changes
from drivesim.analysis.ledger import ledger
from drivesim.engine import simulate as engine
from drivesim.engine.kernel import advance

ROOT = Path(__file__).resolve().parents[2]
SHIPPED = sorted(path.stem for path in (ROOT / "scenarios").glob("*.yaml"))
LOSSES = ("copper", "driver", "electronics", "battery", "bearing", "rolling", "tyre_slip", "contact_damping")


def shipped(name: str):
    """Return a shipped scenario."""
    return load_scenario(ROOT / "scenarios" / f"{name}.yaml")


@pytest.mark.parametrize("name", SHIPPED)
def test_energy_is_accounted_for(name):
    """No energy is made, and less than 0.5 % of what was drawn is unexplained."""
    parts = simulate(shipped(name)).summary["ledger"]
    assert parts["drawn"] > 0
    assert abs(parts["remainder"]) < 0.0005 * parts["drawn"]
    assert min(parts[loss] for loss in LOSSES) >= 0, parts


def test_standing_still_changes_no_energy():
    """Pressed tyres hold energy from the start on."""
    parts = ledger(engine.simulate(ideal({"duration": "0.5 s", "rover.wheels.front_left.drop": "0.3 mm"})))
    pressed = 1.0 * 9.81**2 / 4 / (2 * 5000)
    assert (
        max(abs(value) for name, value in parts.items() if name != "remainder_fraction") < 1e-4 * pressed
    ), parts


#: what counts as no change at all: a tenth of a degree, a thousandth of a newton …
FLOOR = {"rad": 2e-3, "N": 1e-3, "W": 1e-3, "s": 0.02, "m": 1e-4, "J": 0.0, "J/m": 0.0, "degC": 0.0, "V": 0.0}


@pytest.mark.parametrize("name", ["bench_start", "steep_ramp", "turn_on_the_spot", "wet_patch"])
def test_headline_figures_hold_when_the_step_is_halved(name):
    run = simulate(shipped(name))
    finer = simulate(shipped(name), step=run.summary["step_s"] / 2)
    for figure, (coarse, fine, unit) in changes(run.summary, finer.summary).items():
        assert abs(coarse - fine) <= 0.01 * abs(fine) + FLOOR[unit], figure


ODD = ("y", "roll", "yaw", "turn_rate", "hub_y", "side_force")  # change sign in a mirror
DRIVES = {
    "speed_loop": {"proportional": "0.05 V*s/rad", "integral": "0.5 V/rad"},
    "locked_frequency": {"base_amplitude": "6 V"},
    "trimmed_frequency": {"base_amplitude": "6 V", "proportional": 0.2, "integral": "1 1/s"},
    "fixed_voltage": {"voltage_per_speed": "0.3 V*s/rad"},
}


def lopsided(strategy: str, side: int):
    """Return a run with all to one side (±1): a bump, a slippery patch, toe, a weak wheel, a turn."""
    left, right = ("left", "right") if side > 0 else ("right", "left")
    strip = ["0.02 m", "0.6 m"] if side > 0 else ["-0.6 m", "-0.02 m"]
    patch = {"x": ["0.5 m", "1 m"], "y": strip, "factor": 0.3}
    features = [
        {"kind": "bumps", "start": "0.25 m", "count": 2, "spacing": "0.15 m", "radius": "8 mm", "side": left}
    ]
    return ideal(
        {
            "rover.centre_of_gravity": ["5 mm", f"{side * 3} mm", "10 mm"],
            f"rover.wheels.front_{left}": {"toe": f"{side * 1.5} deg", "drop": "0.5 mm"},
            f"rover.wheels.rear_{right}": {"resistance_factor": 1.3, "extra_drag": "1 mN*m"},
            "rover.wheel.tyre.rolling_resistance": 0.02,
            "rover.wheel.tyre.sliding_friction": 0.6,
            "ground": {"length": "1.5 m", "width": "1.6 m", "features": features, "patches": [patch]},
            "drive": {"strategy": strategy, "sensor": {"kind": "ideal"}, **DRIVES[strategy]},
            "commands": [
                {"at": "0 s", "forward": "0.3 m/s", "ramp": "0.5 s"},
                {"at": "1.5 s", "forward": "0.3 m/s", "turn": f"{side * 0.4} rad/s", "ramp": "0.2 s"},
            ],
            "duration": "3 s",
        }
    )


@pytest.mark.parametrize("strategy", DRIVES)
def test_a_mirrored_scenario_gives_mirrored_traces(strategy):
    ours, mirror = (engine.simulate(lopsided(strategy, side)) for side in (1, -1))
    assert ours.body["x"][-1] > 0.4
    assert abs(ours.body["yaw"][-1]) > 0.01
    for name in ours.body.dtype.names:
        sign = -1 if name in ODD else 1
        size = max(np.abs(ours.body[name]).max(), 1e-3)
        assert np.abs(ours.body[name] - sign * mirror.body[name]).max() < 1e-7 * size, name
    for name in ours.wheels.dtype.names:
        sign = -1 if name in ODD else 1
        size = max(np.abs(ours.wheels[name]).max(), 1e-3)
        swapped = mirror.wheels[name][:, [1, 0, 3, 2]]
        assert np.abs(ours.wheels[name] - sign * swapped).max() < 1e-6 * size, name


def digest(recording) -> str:
    """Return a hash of all recorded numbers."""
    return hashlib.sha256(recording.body.tobytes() + recording.wheels.tobytes()).hexdigest()


def test_same_seed_same_bytes_in_another_process_too():
    scenario = shipped("rubble_speed_loop").model_copy(update={"duration": 3.0})
    first, again = engine.simulate(scenario), engine.simulate(scenario)
    assert same_bytes(first, again)
    other = engine.simulate(scenario.model_copy(update={"seed": scenario.seed + 1}))
    assert not same_bytes(first, other)
    assert np.ptp(first.wheels["hub_z"] - other.wheels["hub_z"]) > 1e-3
    code = (
        "import hashlib; from drivesim import load_scenario; from drivesim.engine.simulate import simulate\n"
        "s = load_scenario('scenarios/rubble_speed_loop.yaml')\n"
        "r = simulate(s.model_copy(update={'duration': 3.0}))\n"
        "print(hashlib.sha256(r.body.tobytes() + r.wheels.tobytes()).hexdigest())"
    )
    run = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert run.stdout.strip() == digest(first)


def test_stops_on_the_way_change_nothing(monkeypatch):
    """Progress reports and commands that ask for nothing new only cut the run into other pieces."""
    scenario = shipped("rubble_trimmed").model_copy(update={"duration": 2.0})
    plain = engine.simulate(scenario)
    times: list[float] = []
    monkeypatch.setattr(engine, "REPORT_EVERY", 7e-4)
    assert same_bytes(plain, engine.simulate(scenario, progress=times.append))
    assert len(times) > 600
    assert times == sorted(times)
    last = scenario.commands[-1]
    again = [last.model_copy(update={"at": at, "ramp": 0.0}) for at in (0.61, 0.6102503, 1.5)]
    repeated = scenario.model_copy(update={"commands": (*scenario.commands, *again)})
    assert same_bytes(plain, engine.simulate(repeated))


SI = """
name: one rover
rover:
  mass: 0.62 kg
  box: [0.18 m, 0.12 m, 0.05 m]
  wheelbase: 0.14 m
  track: 0.13 m
  wheel:
    radius: 0.034 m
    inertia: 31e-6 kg*m^2
    tyre: {friction: 0.8, slip_stiffness: 18 N, relaxation_length: 0.01 m, radial_stiffness: 3000 N/m,
           radial_damping: 6 N*s/m, rolling_resistance: 0.03}
    bearing: {dry: 4e-4 N*m, viscous: 1e-5 N*m*s/rad}
    motor: {pole_pairs: 8, terminal_resistance: 4.8 ohm, terminal_inductance: 30e-6 H,
            speed_constant: 43.2 rad/s/V}
    winding: {thermal_resistance: 24 K/W, heat_capacity: 9 J/K, limit: 110 degC}
    driver: {on_resistance: 0.15 ohm, fixed_loss: 0.03 W}
  battery: {cells_in_series: 2, capacity: 0.65 A*h, cell_resistance: 0.07 ohm, state_of_charge: 0.9,
            electronics: 0.6 W}
ground:
  length: 2 m
  width: 0.9 m
  features: [{kind: ramp, start: 0.3 m, end: 2 m, slope: 0.12 rad}]
drive:
  strategy: speed_loop
  sample_time: 0.002 s
  sensor: {kind: hall, sensors: 1, timer_tick: 4e-6 s, timeout: 0.3 s}
  proportional: 0.12 V*s/rad
  integral: 0.9 V/rad
  slew: 30 rad/s^2
commands:
  - {at: 0.2 s, left: 6.283185307179586 rad/s, right: 4.71238898038469 rad/s, ramp: 0.3 s}
duration: 2 s
ambient: 22 degC
"""
OTHER_UNITS = (
    ("0.62 kg", "620 g"), ("[0.18 m, 0.12 m, 0.05 m]", "[180 mm, 12 cm, 50000 um]"), ("0.14 m", "140 mm"),
    ("0.13 m", "13 cm"), ("0.034 m", "34 mm"), ("31e-6 kg*m^2", "310 g*cm^2"),
    ("friction: 0.8", "friction: 80 %"), ("18 N,", "18000 mN,"), ("0.01 m", "10 mm"),
    ("3000 N/m", "3 N/mm"), ("6 N*s/m", "6e-3 N*s/mm"), ("0.03}", "3 %}"), ("4e-4 N*m", "0.4 mN*m"),
    ("1e-5 N*m*s/rad", "10 uN*m*s/rad"), ("4.8 ohm", "4800 mohm"), ("30e-6 H", "0.03 mH"),
    ("43.2 rad/s/V", "412.5296124941928 rpm/V"), ("110 degC", "383.15 K"), ("0.03 W", "30 mW"),
    ("0.65 A*h", "2340 A*s"), ("0.07 ohm", "70 mohm"), ("0.9,", "90 %,"), ("0.6 W", "600 mW"),
    ("0.12 rad", "120 mrad"), ("0.002 s", "2 ms"), ("4e-6 s", "4 us"), ("0.3 s}", "300 ms}"),
    ("0.12 V*s/rad", "120 mV*s/rad"), ("6.283185307179586 rad/s", "60 rpm"),
    ("4.71238898038469 rad/s", "270 deg/s"), ("22 degC", "295.15 K"),
)  # fmt: skip


def test_the_same_rover_in_other_units():
    """Millimetres, grams, rpm and kelvin give the very same numbers as SI."""
    text = SI
    for si, other in OTHER_UNITS:
        assert si in text, si
        text = text.replace(si, other)
    first, second = engine.simulate(scenario_from_text(SI)), engine.simulate(scenario_from_text(text))
    assert first.body["x"][-1] > 0.05
    for name in first.wheels.dtype.names:
        assert np.array_equal(first.wheels[name], second.wheels[name]), name
    assert same_bytes(first, second)


def test_one_compiled_kernel_serves_every_scenario():
    """Strategies, grounds, batteries and numbers of wheels are data: none makes the kernel compile anew."""
    for strategy in DRIVES:
        engine.simulate(lopsided(strategy, 1).model_copy(update={"duration": 0.05}))
    flat = {"duration": "0.05 s", "rover.battery.open_circuit": [[0, "9 V"], [0.5, "10 V"], [1, "12 V"]]}
    engine.simulate(ideal(flat | each_wheel("driven", (True, False, True, False))))
    for n in (2, 6):
        places = {f"w{i}": {"at": [f"{0.1 * (i // 2)} m", f"{0.1 * (-1) ** i} m"]} for i in range(n)}
        text = ideal({"duration": "0.02 s"})
        rover = text.rover.model_copy(update={"wheelbase": None, "track": None})
        data = rover.model_dump(mode="json", exclude_none=True) | {"wheels": places}
        engine.simulate(text.model_copy(update={"rover": type(rover).model_validate(data)}))
    for name in SHIPPED:
        engine.simulate(shipped(name).model_copy(update={"duration": 0.05}))
    assert len(advance.signatures) == 1
