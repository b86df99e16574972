"""From a validated scenario to the kernel's records: the only bridge between the two."""

from __future__ import annotations

import math

import numpy as np

from drivesim.drive import controller
from drivesim.engine import records
from drivesim.engine.ground_build import GroundArrays, build_ground
from drivesim.engine.model import Model
from drivesim.engine.settle import settle
from drivesim.engine.step_size import check_length, check_step, choose_step, fastest_mode
from drivesim.engine.wheel_build import COORDINATION, fill_drive, fill_wheel
from drivesim.physics import supply
from drivesim.scenario.coordination import CrossCoupled, Droop, EqualCurrent, SlipLimited
from drivesim.scenario.ground import Ground
from drivesim.scenario.motor import Battery
from drivesim.scenario.rover import Rover
from drivesim.scenario.scenario import Scenario

STUCK_SHARE = 0.05  # of the commanded speed
STUCK_AFTER = 1.0  # s
OVERTURNED_COS = math.cos(math.radians(80))
GROUND_SEED, WHEEL_SEED = 0, 1  # each who draws at random takes a key of its own (the radio link: 2)
DRAWS = 8192  # random numbers of each kind for the wheels' edges; each wheel begins elsewhere among them


def build(scenario: Scenario, step: float | None = None, ground: GroundArrays | None = None) -> Model:
    """Return the records of ``scenario``, the rover standing still on the ground; ``step`` [s] overrides its own.

    ``ground``: what ``build_scenario_ground`` returned for an equal ground, seed and wheel; built where not given.
    """
    rover = scenario.rover
    names = rover.wheel_names
    ground = build_scenario_ground(scenario) if ground is None else ground
    params = body_record(scenario)
    wheels = np.zeros(len(names), records.WHEEL)
    for record, name in zip(wheels, names, strict=True):
        fill_wheel(record, rover, name)
        fill_drive(record, scenario.drive.for_wheel(name))
    wheels["coordination"] = params["coordination"]
    draw = np.random.default_rng(np.random.SeedSequence(scenario.seed, spawn_key=(WHEEL_SEED,)))
    wheels["resistance"] *= np.maximum(
        0.5, 1 + rover.wheel.motor.resistance_spread * draw.standard_normal(len(names))
    )
    table = battery_table(rover.battery)
    fastest, reason = fastest_mode(params[0], wheels, float(table[1, -1]))
    sample_times = [scenario.drive.for_wheel(name).sample_time for name in names]
    given = scenario.step if step is None else step
    dt = choose_step(fastest, sample_times) if given is None else check_step(given, fastest, reason)
    check_length(scenario.duration, dt, reason, fastest)
    params["dt"] = dt
    params["record_ticks"] = max(1, round(scenario.recording_interval / dt))
    if scenario.recovery is not None:
        params["recover_ticks"] = max(1, round(scenario.recovery.stuck_for / dt))
    fill_times(scenario, params, wheels, dt)
    bodies, states, contacts = start_records(scenario, wheels, table, draw)
    noise = np.stack([draw.random(DRAWS), draw.standard_normal(DRAWS)])
    wheels["first_draw"] = draw.integers(DRAWS, size=len(names))
    model = Model(
        scenario, names, params, wheels, soil_records(scenario.ground), grid_record(ground), ground, table, noise,
        np.zeros(0, records.WATCH), bodies, states, contacts, dt, f"{reason}, {fastest:.0f} rad/s",
    )  # fmt: skip
    settle(model)
    return model


def fill_times(scenario: Scenario, params: np.ndarray, wheels: np.ndarray, dt: float) -> None:
    """Fill everything that counts in steps of ``dt`` [s]."""
    drive, battery = scenario.drive, scenario.rover.battery
    wheels["sample_ticks"] = wheels["sample_time"] / dt
    wheels["latency_ticks"] = [drive.for_wheel(name).latency / dt for name in scenario.rover.wheel_names]
    params["diffusion_decay"] = math.exp(-dt / battery.diffusion_time)
    every = getattr(drive.coordination, "every", drive.all_wheels.sample_time)
    params["coordination_ticks"] = max(1, round(every / dt))


def build_scenario_ground(scenario: Scenario) -> GroundArrays:
    """Return the ground of ``scenario``: same seed, same ground."""
    ground, radius, number, spikes = ground_key(scenario)
    seed = np.random.SeedSequence(number, spawn_key=(GROUND_SEED,))
    return build_ground(ground, radius, seed, spikes=spikes)


def ground_key(scenario: Scenario) -> tuple[Ground, float, int, bool]:
    """Return all that the ground of ``scenario`` follows from: as written, wheel radius [m], seed, are there spikes."""
    wheel = scenario.rover.wheel
    return scenario.ground, wheel.radius, scenario.seed, wheel.tyre.bite > 0


def body_record(scenario: Scenario) -> np.ndarray:
    """Return the BODY record (array of length 1); the step is filled in later."""
    rover, battery = scenario.rover, scenario.rover.battery
    out = np.zeros(1, records.BODY)
    out["mass"] = rover.mass
    out["inertia_x"], out["inertia_y"], out["inertia_z"] = rover.principal_inertia
    out["gravity"] = scenario.gravity
    out["ambient"] = scenario.ambient
    cells = battery.cells_in_series / battery.cells_in_parallel
    out["battery_resistance"] = battery.cell_resistance * cells
    out["diffusion_resistance"] = battery.diffusion_resistance * cells
    if battery.diffusion_resistance > 0:
        out["diffusion_capacitance"] = battery.diffusion_time / out["diffusion_resistance"]
    out["capacity"] = battery.capacity * 3600.0 * battery.cells_in_parallel  # A·h → A·s
    out["bus_capacitance"] = battery.bus_capacitance
    out["electronics"] = battery.electronics
    lockout = rover.wheel.driver.lockout
    out["lockout"] = 0.0 if lockout is None else lockout.below
    fill_torsion(out, rover)
    fill_coordination(out, scenario)
    out["stuck_share"], out["stuck_after"] = STUCK_SHARE, STUCK_AFTER
    out["overturned_cos"] = OVERTURNED_COS
    return out


def fill_torsion(out: np.ndarray, rover: Rover) -> None:
    """Fill the frame's torsion: both ends turn against each other about the length of the rover."""
    if rover.frame is None or rover.frame.torsion_stiffness is None:
        return
    across = [abs(at[1]) for name in rover.wheel_names if (at := rover.place(name).at)]
    half_track = sum(across) / len(across)
    out["frame_stiffness"] = len(rover.wheel_names) * rover.frame.torsion_stiffness
    out["frame_mass"] = out["inertia_x"] / half_track**2
    out["frame_damping"] = 2 * rover.frame.damping_ratio * np.sqrt(out["frame_stiffness"] * out["frame_mass"])


def fill_coordination(out: np.ndarray, scenario: Scenario) -> None:
    """Fill what the host does with all wheels."""
    chosen = scenario.drive.coordination
    out["coordination"] = COORDINATION[chosen.kind]
    match chosen:
        case CrossCoupled():
            out["coordination_gain"] = chosen.gain
        case Droop():
            out["coordination_gain"] = chosen.per_current
        case SlipLimited():
            out["coordination_margin"] = chosen.margin
        case EqualCurrent():
            out["coordination_kp"], out["coordination_ki"] = chosen.proportional, chosen.integral
            out["coordination_most"] = chosen.most


def soil_records(ground: Ground) -> np.ndarray:
    """Return one SOIL record for each soil of ``ground``, in the order in which its fields number them."""
    out = np.zeros(max(1, len(ground.soils)), records.SOIL)
    for record, soil in zip(out, ground.soils, strict=False):
        for name, value in soil.numbers._asdict().items():
            record[name] = value
    return out


def grid_record(ground: GroundArrays) -> np.ndarray:
    """Return the GRID record: how the ground's arrays are indexed."""
    out = np.zeros(1, records.GRID)
    out["x0"], out["y0"], out["dx"], out["dy"] = ground.x0, ground.y0, ground.dx, ground.dy
    out["friction_x0"], out["friction_y0"] = ground.fx0, ground.fy0
    out["friction_dx"], out["friction_dy"] = ground.fdx, ground.fdy
    return out


def battery_table(battery: Battery) -> np.ndarray:
    """Return the pack's table, (3, k): state of charge, open-circuit volts, factor on the cell resistance.

    Without a table of its own a cell follows the published polymer cell of ``supply.polymer_cell_voltage``; where
    the resistance follows the charge, it rises at low charge as that cell's does.
    """
    soc = np.concatenate([np.linspace(0, 0.2, 41), np.linspace(0.22, 1, 40)])
    if battery.open_circuit is not None:
        given = np.array(battery.open_circuit, dtype=float).T
        soc = np.union1d(soc, given[0]) if battery.resistance_follows_charge else given[0]
        volts = np.interp(soc, given[0], given[1])
    else:
        volts = np.array([supply.polymer_cell_voltage(s) for s in soc])
    factor = np.ones_like(soc)
    if battery.resistance_follows_charge:
        factor = np.array([supply.polymer_cell_resistance(s) for s in soc]) / supply.polymer_cell_resistance(
            1.0
        )
    return np.stack([soc, volts * battery.cells_in_series, factor])


def start_records(
    scenario: Scenario, wheels: np.ndarray, table: np.ndarray, draw: np.random.Generator
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return body, wheel and contact state at the start, at rest; the height comes from settling."""
    bodies = np.zeros(1, records.BODY_STATE)
    cog, start = scenario.rover.centre_of_gravity, scenario.start
    c, s = math.cos(start.heading), math.sin(start.heading)
    bodies["x"] = start.x + c * cog[0] - s * cog[1]
    bodies["y"] = start.y + s * cog[0] + c * cog[1]
    bodies["q0"], bodies["q3"] = math.cos(start.heading / 2), math.sin(start.heading / 2)
    bodies["yaw"] = start.heading
    bodies["state_of_charge"] = scenario.rover.battery.state_of_charge
    bodies["bus_voltage"] = supply.open_circuit(scenario.rover.battery.state_of_charge, table[0], table[1])
    bodies["lowest_bus"] = bodies["bus_voltage"]
    states = np.zeros(len(wheels), records.WHEEL_STATE)
    states["temperature"] = states["housing_temperature"] = scenario.ambient
    states["powered"] = np.where(wheels["driven"] == 1, records.ON, records.OPEN)
    states["derate"] = states["edge_direction"] = 1.0
    turned = draw.uniform(0.0, 2 * math.pi, len(wheels))
    if start.rotors == "random":
        states["angle"] = turned
    states["edge_index"] = np.floor(states["angle"] / wheels["edge_spacing"])
    states["edge_angle"] = (states["edge_index"] + 0.5) * wheels["edge_spacing"]
    states["edge_time"] = -1.0
    if scenario.drive.all_wheels.clock_phase == "random":
        states["next_sample"] = draw.uniform(0.0, 1.0, len(wheels)) * wheels["sample_ticks"]
    # a forced field begins where a free rotor rests, so that nothing moves before the first command
    forced = np.isin(wheels["strategy"], controller.FORCED)
    states["field_angle"] = np.where(forced, wheels["pole_pairs"] * states["angle"] - math.pi / 2, 0.0)
    return bodies, states, np.zeros(len(wheels), records.CONTACT)
