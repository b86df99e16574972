"""Layout of the kernel's records: parameters and state, one record a wheel and one a body; imports numpy and numba.

All state of a run is in ``BODY_STATE`` and ``WHEEL_STATE``, so a run can be stopped, copied and gone on with.
Where the next effects belong: a second heat node beside ``temperature``, a diffusion voltage beside
``state_of_charge``, the frame's torsion beside the pose.
"""

from __future__ import annotations

import numba
import numpy as np


def _floats(names: str) -> list[tuple[str, type]]:
    return [(name, np.float64) for name in names.split()]


def _integers(names: str) -> list[tuple[str, type]]:
    return [(name, np.int64) for name in names.split()]


#: what the ground arrays are indexed by (see drivesim.ground.surface)
GRID = np.dtype(_floats("x0 y0 dx dy friction_x0 friction_y0 friction_dx friction_dy"))

BODY = np.dtype(
    _floats(
        """mass inertia_x inertia_y inertia_z gravity ambient dt
        battery_resistance capacity bus_capacitance electronics
        stuck_share stuck_after overturned_cos"""
    )
    + _integers("record_ticks recover_ticks")
)

WHEEL = np.dtype(
    _floats(
        """x y z axle_x axle_y radius inertia bearing_dry bearing_viscous rolling_resistance
        radial_stiffness radial_damping friction sliding_friction stribeck_speed side_friction_ratio
        tread_stiffness side_stiffness tread_damping side_damping relaxation_length
        pole_pairs resistance given_at coefficient inductance flux_linkage cogging_torque cogging_per_turn ripple
        thermal_resistance heat_capacity
        modulation on_resistance fixed_loss efficiency
        sample_time slew kp ki feed_forward voltage_per_speed
        base_amplitude amplitude_per_hertz trim_limit
        edge_spacing edge_hysteresis timer_tick sensor_timeout"""
    )
    + _integers("driven strategy anti_windup braking hold_at_standstill sensors sample_ticks")
)

BODY_STATE = np.dtype(
    _floats(
        """x y z q0 q1 q2 q3 vx vy vz wx wy wz yaw
        bus_voltage state_of_charge crept stuck_for
        chemical_energy battery_loss electronics_loss"""
    )
    + _integers("tick rows sampled recovery_asked")
)

WHEEL_STATE = np.dtype(
    _floats(
        """command command_target command_rate
        setpoint integral amplitude measured
        field_speed field_angle pull_out_angle poles_slipped pole_slips
        edge_time edge_period edge_direction
        spin angle id iq temperature ux uy u_rate_x u_rate_y
        depth normal_load drive_force side_force limit_x limit_y
        copper_loss driver_loss bearing_loss rolling_loss tyre_loss contact_loss"""
    )
    + _integers("edge_index")
)

#: where a wheel touches the ground, in world axes; filled anew at every step
CONTACT = np.dtype(
    _floats(
        """axle_x axle_y axle_z arm_x arm_y arm_z hub_x hub_y hub_z n_x n_y n_z t_x t_y t_z s_x s_y s_z
        grip rolling_radius outside hub_speed depth_rate slip_x slip_y body_rate
        force_x force_y force_z couple_x couple_y couple_z
        motor_torque voltage limited load_angle bus_power resistive_power copper_power"""
    )
)

# What the kernel must return for.
RUNNING, STUCK, OVERTURNED, COLLAPSED, LEFT_GROUND, NOT_FINITE = range(6)


def as_record_array(array: np.ndarray) -> np.ndarray:
    """Return a view whose records give their fields as attributes, as they do in compiled code."""
    return array.view(np.recarray)


def kernel_view(array: np.ndarray) -> np.ndarray:
    """Return the array as the kernel wants it: plain when compiled, with attribute access when interpreted."""
    return as_record_array(array) if numba.config.DISABLE_JIT else array
