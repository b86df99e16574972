"""One wheel's parameter record, from what a builder wrote about wheel, motor and drive; imports scenario, physics."""

from __future__ import annotations

import math

import numpy as np

from drivesim.drive import controller, coordination
from drivesim.drive.fixed_point import to_fixed
from drivesim.drive.hall import edge_angle
from drivesim.drive.pi import BACK_CALCULATION, CONDITIONAL
from drivesim.engine.winding_build import star_resistance
from drivesim.physics.contact import misalignment_drag
from drivesim.scenario.drive import FixedVoltage, LockedFrequency, SpeedLoop, TrimmedFrequency
from drivesim.scenario.fixed_point import Arithmetic
from drivesim.scenario.motor import MODULATION, Driver, Winding
from drivesim.scenario.rover import Rover

NEVER = 1e9  # a rate limit that limits nothing
TWIST = 0.25  # of the skew at each wheel, up and down in turn

STRATEGIES = {
    "speed_loop": controller.SPEED_LOOP,
    "locked_frequency": controller.LOCKED_FREQUENCY,
    "trimmed_frequency": controller.TRIMMED_FREQUENCY,
    "fixed_voltage": controller.FIXED_VOLTAGE,
}
WINDUP = {"conditional": CONDITIONAL, "back_calculation": BACK_CALCULATION}
COMMUTATION = {
    "ideal": controller.IDEAL_ANGLE,
    "interpolated": controller.INTERPOLATED,
    "sectors": controller.SECTORS,
}
COORDINATION = {
    "independent": coordination.INDEPENDENT,
    "cross_coupled": coordination.CROSS_COUPLED,
    "droop": coordination.DROOP,
    "equal_current": coordination.EQUAL_CURRENT,
    "slip_limited": coordination.SLIP_LIMITED,
}


def fill_wheel(out: np.void, rover: Rover, name: str) -> None:
    """Fill the mechanical, motor and heat part of one WHEEL record."""
    place = rover.place(name)
    wheel = rover.wheel_at(name)
    tyre, motor = wheel.tyre, wheel.motor
    assert place.at is not None
    cog = rover.centre_of_gravity
    out["x"], out["y"], out["z"] = place.at[0] - cog[0], place.at[1] - cog[1], -place.drop - cog[2]
    if rover.frame is not None:
        fill_frame(out, rover, name)
    out["axle_x"], out["axle_y"] = -math.sin(place.toe), math.cos(place.toe)
    out["radius"], out["inertia"] = wheel.radius, wheel.inertia
    out["bearing_dry"] += wheel.bearing.dry + place.extra_drag
    out["bearing_viscous"] = wheel.bearing.viscous
    out["rolling_resistance"] = tyre.rolling_resistance
    out["radial_stiffness"], out["radial_damping"] = tyre.radial_stiffness, tyre.radial_damping
    out["friction"] = tyre.friction * place.friction_factor
    out["sliding_friction"] = (tyre.sliding_friction or tyre.friction) * place.friction_factor
    out["stribeck_speed"] = tyre.stribeck_speed
    out["side_friction_ratio"] = tyre.side_friction_ratio
    out["relaxation_length"] = tyre.relaxation_length
    out["width"], out["lug_height"], out["bite"] = tyre.width or wheel.radius, tyre.lug_height, tyre.bite
    k = tyre.slip_stiffness / tyre.relaxation_length
    side = k * (tyre.side_stiffness_ratio or tyre.side_friction_ratio**2)
    out["tread_stiffness"], out["side_stiffness"] = k, side
    share = rover.mass / len(rover.wheel_names)
    along = 1 / (wheel.radius**2 / wheel.inertia + 1 / share)  # what the tread's spring moves, at the contact
    out["tread_damping"] = 2 * tyre.tread_damping * math.sqrt(k * along)
    out["side_damping"] = 2 * tyre.tread_damping * math.sqrt(side * share)
    out["pole_pairs"] = motor.pole_pairs
    out["resistance"], out["inductance"] = star_resistance(motor) * place.resistance_factor, motor.L
    out["flux_linkage"] = motor.lam
    out["given_at"], out["coefficient"] = motor.resistance_at, wheel.winding.temperature_coefficient
    out["cogging_torque"], out["cogging_per_turn"] = motor.cogging_torque, motor.cogging_per_turn
    out["ripple"] = motor.torque_ripple
    out["driven"] = place.driven
    fill_heat(out, wheel.winding)
    fill_driver(out, wheel.driver)


def fill_frame(out: np.void, rover: Rover, name: str) -> None:
    """Fill what a skewed or soft frame does to one wheel: its height, its bearing's drag, its part in the twist."""
    frame, sign = rover.frame, rover.twist_sign(name)
    assert frame is not None
    out["z"] += sign * TWIST * frame.skew
    out["bearing_dry"] += misalignment_drag(rover.misalignment, frame.drag_per_angle)
    if frame.torsion_stiffness is not None:
        out["twist"] = sign


def fill_heat(out: np.void, winding: Winding) -> None:
    """Fill the heat path from the winding to the air; without a housing the second node stays at ambient."""
    housing = winding.housing
    out["thermal_resistance"], out["heat_capacity"] = winding.thermal_resistance, winding.heat_capacity
    out["housing_resistance"] = math.inf if housing is None else housing.R_th
    out["housing_capacity"] = math.inf if housing is None else housing.C


def fill_driver(out: np.void, driver: Driver) -> None:
    """Fill the power stage: its losses and what it limits."""
    out["modulation"] = MODULATION[driver.modulation]
    out["on_resistance"], out["fixed_loss"] = driver.on_resistance, driver.fixed_loss
    out["efficiency"], out["driver_heat"] = driver.efficiency, driver.heat_to_board
    out["current_limit"] = driver.current_limit or math.inf
    out["pwm_steps"] = driver.pwm_steps or 0
    out["cut_back_start"] = out["cut_back_end"] = math.inf
    if driver.cut_back is not None:
        out["cut_back_start"], out["cut_back_end"] = driver.cut_back.start, driver.cut_back.end


def fill_drive(out: np.void, drive: SpeedLoop | LockedFrequency | TrimmedFrequency | FixedVoltage) -> None:
    """Fill the controller part of one WHEEL record."""
    out["strategy"] = STRATEGIES[drive.strategy]
    out["slew"], out["sample_time"], out["clock_error"] = (
        drive.slew or NEVER,
        drive.sample_time,
        drive.clock_error,
    )
    sensor = drive.sensor
    spacing = edge_angle(out["pole_pairs"], sensor.sensors)
    out["sensors"] = controller.IDEAL_SENSOR if sensor.kind == "ideal" else sensor.sensors
    out["edge_spacing"], out["commutation"] = spacing, COMMUTATION[sensor.commutation]
    out["edge_hysteresis"] = sensor.hysteresis / out["pole_pairs"]
    out["edge_jitter"] = sensor.edge_jitter / out["pole_pairs"]
    out["edge_placement"] = sensor.edge_placement / out["pole_pairs"]
    out["timer_tick"], out["sensor_timeout"], out["missed_edges"] = (
        sensor.timer_tick, sensor.timeout, sensor.missed_edges,
    )  # fmt: skip
    if isinstance(drive, SpeedLoop | TrimmedFrequency):
        out["kp"], out["ki"] = drive.proportional, drive.integral
        out["anti_windup"] = WINDUP[drive.anti_windup]
    if isinstance(drive, SpeedLoop):
        out["feed_forward"], out["braking"] = drive.feed_forward, drive.braking
    elif isinstance(drive, FixedVoltage):
        out["voltage_per_speed"] = drive.voltage_per_speed
    else:
        out["base_amplitude"], out["amplitude_per_hertz"] = drive.base_amplitude, drive.amplitude_per_hertz
        out["hold_at_standstill"], out["align_time"] = drive.hold_at_standstill, drive.align_for
        if isinstance(drive, TrimmedFrequency):
            out["trim_limit"] = drive.trim_limit
    if drive.arithmetic is not None:
        fill_arithmetic(out, drive.arithmetic)


def fill_arithmetic(out: np.void, arithmetic: Arithmetic) -> None:
    """Fill the gains as whole numbers of the controller's own format."""
    word, gain = arithmetic.word_bits, arithmetic.gain_fraction_bits
    out["word_bits"], out["fraction_bits"], out["gain_bits"] = word, arithmetic.fraction_bits, gain
    out["kp_fixed"] = to_fixed(out["kp"], gain, word)
    out["ki_fixed"] = to_fixed(out["ki"] * out["sample_time"], gain, word)
    out["feed_forward_fixed"] = to_fixed(out["feed_forward"], gain, word)
