"""The table of recorded channels: name, unit and meaning, in the kernel's order; imports numpy only.

It alone defines the log arrays, the dataset, the CSV header and the plots' labels.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np


class Channel(NamedTuple):
    """One recorded quantity; the value of a row is its mean over the recording interval."""

    name: str
    unit: str
    meaning: str


WHEEL_CHANNELS = (
    Channel("commanded_speed", "rad/s", "wheel speed that the command asks for"),
    Channel("measured_speed", "rad/s", "wheel speed that the controller believes in"),
    Channel("wheel_speed", "rad/s", "true wheel speed against the frame"),
    Channel("slip_ratio", "1", "(w·r − v)/max(|v|, |w·r|), +1 spinning in place, −1 locked"),
    Channel("slip_speed", "m/s", "hub speed minus tread speed at the contact, along the wheel"),
    Channel("normal_load", "N", "force pressing wheel and ground together"),
    Channel("drive_force", "N", "contact force along the wheel"),
    Channel("side_force", "N", "contact force across the wheel, positive to its left"),
    Channel("friction_limit", "N", "greatest force along the wheel that friction allows now"),
    Channel("motor_torque", "N*m", "torque of the motor on the wheel"),
    Channel("current_d", "A", "peak phase current along the magnet axis"),
    Channel("current_q", "A", "peak phase current that makes torque"),
    Channel("phase_voltage", "V", "peak phase voltage applied"),
    Channel("voltage_limited", "1", "share of time the bus limits the voltage"),
    Channel("current_limited", "1", "share of time the wheel controller limits the current"),
    Channel("powered", "1", "share of time the wheel controller drives its phases"),
    Channel(
        "angle_error",
        "rad",
        "commutation angle less the rotor's true one, electrical (self-commutated drives)",
    ),
    Channel(
        "load_angle",
        "rad",
        "field ahead of where a free rotor would rest, electrical; torque peaks at π/2 (forced drives)",
    ),
    Channel("pole_slips", "1", "poles slipped since the start (forced drives)"),
    Channel("winding_temperature", "degC", "temperature of the winding"),
    Channel("housing_temperature", "degC", "temperature of the housing or stiffener"),
    Channel("sinkage", "m", "how deep the wheel has pressed into soil"),
    Channel("copper_loss", "W", "heat in the winding"),
    Channel("hub_speed", "m/s", "speed of the wheel's hub along the wheel"),
    Channel("hub_x", "m", "place of the hub, forward"),
    Channel("hub_y", "m", "place of the hub, left"),
    Channel("hub_z", "m", "place of the hub, up"),
    Channel("normal_x", "1", "forward part of the ground's unit normal at the wheel (−1: a wall ahead)"),
)

BODY_CHANNELS = (
    Channel("x", "m", "centre of gravity, forward"),
    Channel("y", "m", "centre of gravity, left"),
    Channel("z", "m", "centre of gravity, up"),
    Channel("roll", "rad", "roll, right side down positive"),
    Channel("pitch", "rad", "pitch, nose down positive"),
    Channel("yaw", "rad", "yaw, to the left positive"),
    Channel("speed", "m/s", "speed along the rover's own forward axis"),
    Channel("turn_rate", "rad/s", "rate of turning about the vertical"),
    Channel("progress_speed", "m/s", "mean hub speed along each wheel's commanded direction"),
    Channel(
        "commanded_progress", "m/s", "mean tread speed the wheels are to obey: none in a fail-safe's stop"
    ),
    Channel("stuck", "1", "share of time the rover counts as stuck"),
    Channel("bus_voltage", "V", "bus voltage"),
    Channel("battery_current", "A", "battery current, positive when discharging"),
    Channel("state_of_charge", "1", "state of charge"),
    Channel("twist", "m", "how far the frame is twisted: wheels up and down by so much, pattern + − − +"),
    Channel("circulating_force", "N", "½(Σ|F| − |ΣF|) along the commanded directions"),
    Channel("circulating_power", "W", "½(Σ|P| − |ΣP|), P = F·v_hub"),
    Channel("drive_power", "W", "Σ|F·v_hub| of all wheels"),
)


def log_type(channels: tuple[Channel, ...]) -> np.dtype:
    """Return the record type that has one float for each channel."""
    return np.dtype([(channel.name, np.float64) for channel in channels])


WHEEL_LOG = log_type(WHEEL_CHANNELS)
BODY_LOG = log_type(BODY_CHANNELS)
