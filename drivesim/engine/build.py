"""From a validated scenario to the kernel's records: the only bridge between the two."""

from __future__ import annotations

import math

import numpy as np

from drivesim.drive import controller
from drivesim.drive.hall import edge_angle
from drivesim.drive.pi import BACK_CALCULATION, CONDITIONAL
from drivesim.engine import records
from drivesim.engine.ground_build import GroundArrays, build_ground
from drivesim.engine.model import Model
from drivesim.engine.settle import settle
from drivesim.engine.step_size import check_length, check_step, choose_step, fastest_mode
from drivesim.physics import supply
from drivesim.scenario.drive import FixedVoltage, LockedFrequency, SpeedLoop, TrimmedFrequency
from drivesim.scenario.motor import MODULATION, Battery
from drivesim.scenario.rover import Rover, WheelPlace
from drivesim.scenario.scenario import Scenario

STUCK_SHARE = 0.05  # of the commanded speed
STUCK_AFTER = 1.0  # s
OVERTURNED_COS = math.cos(math.radians(80))
GROUND_SEED = 0  # whoever else draws at random takes another key
NEVER = 1e9  # a rate limit that limits nothing

STRATEGIES = {
    "speed_loop": controller.SPEED_LOOP,
    "locked_frequency": controller.LOCKED_FREQUENCY,
    "trimmed_frequency": controller.TRIMMED_FREQUENCY,
    "fixed_voltage": controller.FIXED_VOLTAGE,
}
WINDUP = {"conditional": CONDITIONAL, "back_calculation": BACK_CALCULATION}


def build(scenario: Scenario, step: float | None = None) -> Model:
    """Return the records of ``scenario``, the rover standing still on the ground; ``step`` [s] overrides its own."""
    rover = scenario.rover
    names = rover.wheel_names
    ground = build_scenario_ground(scenario)
    params = body_record(scenario)
    wheels = np.zeros(len(names), records.WHEEL)
    for record, name in zip(wheels, names, strict=True):
        fill_wheel(record, rover, rover.place(name))
        fill_drive(record, scenario.drive.for_wheel(name))
    table = open_circuit_table(rover.battery)
    fastest, reason = fastest_mode(params[0], wheels, float(table[1, -1]))
    sample_times = [scenario.drive.for_wheel(name).sample_time for name in names]
    given = scenario.step if step is None else step
    dt = choose_step(fastest, sample_times) if given is None else check_step(given, fastest, reason)
    check_length(scenario.duration, dt, reason, fastest)
    params["dt"] = dt
    params["record_ticks"] = max(1, round(scenario.recording_interval / dt))
    if scenario.recovery is not None:
        params["recover_ticks"] = max(1, round(scenario.recovery.stuck_for / dt))
    wheels["sample_ticks"] = [max(1, round(t / dt)) for t in sample_times]
    wheels["sample_time"] = wheels["sample_ticks"] * dt
    grid = grid_record(ground)
    bodies, states, contacts = start_records(scenario, wheels, table)
    model = Model(
        scenario, names, params, wheels, grid, ground, table, bodies, states, contacts, dt,
        f"{reason}, {fastest:.0f} rad/s",
    )  # fmt: skip
    settle(model)
    return model


def build_scenario_ground(scenario: Scenario) -> GroundArrays:
    """Return the ground of ``scenario``: same seed, same ground."""
    seed = np.random.SeedSequence(scenario.seed, spawn_key=(GROUND_SEED,))
    return build_ground(scenario.ground, scenario.rover.wheel.radius, seed)


def body_record(scenario: Scenario) -> np.ndarray:
    """Return the BODY record (array of length 1); the step is filled in later."""
    rover, battery = scenario.rover, scenario.rover.battery
    out = np.zeros(1, records.BODY)
    out["mass"] = rover.mass
    out["inertia_x"], out["inertia_y"], out["inertia_z"] = rover.principal_inertia
    out["gravity"] = scenario.gravity
    out["ambient"] = scenario.ambient
    out["battery_resistance"] = battery.cell_resistance * battery.cells_in_series / battery.cells_in_parallel
    out["capacity"] = battery.capacity * 3600.0 * battery.cells_in_parallel  # A·h → A·s
    out["bus_capacitance"] = battery.bus_capacitance
    out["electronics"] = battery.electronics
    out["stuck_share"], out["stuck_after"] = STUCK_SHARE, STUCK_AFTER
    out["overturned_cos"] = OVERTURNED_COS
    return out


def fill_wheel(out: np.void, rover: Rover, place: WheelPlace) -> None:
    """Fill the mechanical, motor and heat part of one WHEEL record."""
    wheel, tyre, motor = rover.wheel, rover.wheel.tyre, rover.wheel.motor
    assert place.at is not None
    cog = rover.centre_of_gravity
    out["x"], out["y"], out["z"] = place.at[0] - cog[0], place.at[1] - cog[1], -place.drop - cog[2]
    out["axle_x"], out["axle_y"] = -math.sin(place.toe), math.cos(place.toe)
    out["radius"], out["inertia"] = wheel.radius, wheel.inertia
    out["bearing_dry"] = wheel.bearing.dry + place.extra_drag
    out["bearing_viscous"] = wheel.bearing.viscous
    out["rolling_resistance"] = tyre.rolling_resistance
    out["radial_stiffness"], out["radial_damping"] = tyre.radial_stiffness, tyre.radial_damping
    out["friction"] = tyre.friction * place.friction_factor
    out["sliding_friction"] = (tyre.sliding_friction or tyre.friction) * place.friction_factor
    out["stribeck_speed"] = tyre.stribeck_speed
    out["side_friction_ratio"] = tyre.side_friction_ratio
    out["relaxation_length"] = tyre.relaxation_length
    k = tyre.slip_stiffness / tyre.relaxation_length
    side = k * (tyre.side_stiffness_ratio or tyre.side_friction_ratio**2)
    out["tread_stiffness"], out["side_stiffness"] = k, side
    share = rover.mass / len(rover.wheel_names)
    along = 1 / (wheel.radius**2 / wheel.inertia + 1 / share)  # what the tread's spring moves, at the contact
    out["tread_damping"] = 2 * tyre.tread_damping * math.sqrt(k * along)
    out["side_damping"] = 2 * tyre.tread_damping * math.sqrt(side * share)
    out["pole_pairs"] = motor.pole_pairs
    out["resistance"], out["inductance"] = motor.R * place.resistance_factor, motor.L
    out["flux_linkage"] = motor.lam
    out["given_at"], out["coefficient"] = motor.resistance_at, wheel.winding.temperature_coefficient
    out["cogging_torque"], out["cogging_per_turn"] = motor.cogging_torque, motor.cogging_per_turn
    out["ripple"] = motor.torque_ripple
    out["thermal_resistance"], out["heat_capacity"] = (
        wheel.winding.thermal_resistance,
        wheel.winding.heat_capacity,
    )
    out["modulation"] = MODULATION[wheel.driver.modulation]
    out["on_resistance"], out["fixed_loss"] = wheel.driver.on_resistance, wheel.driver.fixed_loss
    out["efficiency"] = wheel.driver.efficiency
    out["driven"] = place.driven


def fill_drive(out: np.void, drive: SpeedLoop | LockedFrequency | TrimmedFrequency | FixedVoltage) -> None:
    """Fill the controller part of one WHEEL record."""
    out["strategy"] = STRATEGIES[drive.strategy]
    out["slew"] = drive.slew or NEVER
    sensor = drive.sensor
    out["sensors"] = controller.IDEAL_SENSOR if sensor.kind == "ideal" else sensor.sensors
    out["edge_spacing"] = edge_angle(out["pole_pairs"], sensor.sensors)
    out["edge_hysteresis"] = sensor.hysteresis / out["pole_pairs"]
    out["timer_tick"], out["sensor_timeout"] = sensor.timer_tick, sensor.timeout
    if isinstance(drive, SpeedLoop | TrimmedFrequency):
        out["kp"], out["ki"] = drive.proportional, drive.integral
        out["anti_windup"] = WINDUP[drive.anti_windup]
    if isinstance(drive, SpeedLoop):
        out["feed_forward"], out["braking"] = drive.feed_forward, drive.braking
    elif isinstance(drive, FixedVoltage):
        out["voltage_per_speed"] = drive.voltage_per_speed
    else:
        out["base_amplitude"], out["amplitude_per_hertz"] = drive.base_amplitude, drive.amplitude_per_hertz
        out["hold_at_standstill"] = drive.hold_at_standstill
        if isinstance(drive, TrimmedFrequency):
            out["trim_limit"] = drive.trim_limit


def grid_record(ground: GroundArrays) -> np.ndarray:
    """Return the GRID record: how the ground's arrays are indexed."""
    out = np.zeros(1, records.GRID)
    out["x0"], out["y0"], out["dx"], out["dy"] = ground.x0, ground.y0, ground.dx, ground.dy
    out["friction_x0"], out["friction_y0"] = ground.fx0, ground.fy0
    out["friction_dx"], out["friction_dy"] = ground.fdx, ground.fdy
    return out


def open_circuit_table(battery: Battery) -> np.ndarray:
    """Return the pack's open-circuit table, (2, k): state of charge and volts.

    Without a table of its own a cell follows the published polymer cell of ``supply.polymer_cell_voltage``.
    """
    if battery.open_circuit is not None:
        cell = np.array(battery.open_circuit, dtype=float).T
    else:
        soc = np.concatenate([np.linspace(0, 0.2, 41), np.linspace(0.22, 1, 40)])
        cell = np.array([soc, [supply.polymer_cell_voltage(s) for s in soc]])
    cell[1] *= battery.cells_in_series
    return np.ascontiguousarray(cell)


def start_records(
    scenario: Scenario, wheels: np.ndarray, table: np.ndarray
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
    states = np.zeros(len(wheels), records.WHEEL_STATE)
    states["temperature"] = scenario.ambient
    states["edge_time"] = -1.0
    # a forced field begins where a free rotor rests, so that nothing moves before the first command
    states["field_angle"] = np.where(np.isin(wheels["strategy"], controller.FORCED), -math.pi / 2, 0.0)
    states["edge_direction"] = 1.0
    return bodies, states, np.zeros(len(wheels), records.CONTACT)
