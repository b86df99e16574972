"""Layout of the kernel's records: parameters and state, one record a wheel and one a body; imports numpy and numba.

All state of a run is in ``BODY_STATE`` and ``WHEEL_STATE``, so a run can be stopped, copied and gone on with.
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
        battery_resistance voltage_drop capacity bus_capacitance electronics lockout
        diffusion_resistance diffusion_decay diffusion_capacitance
        frame_mass frame_stiffness frame_damping
        coordination_gain coordination_margin coordination_kp coordination_ki coordination_most
        stuck_share stuck_after overturned_cos"""
    )
    + _integers("record_ticks recover_ticks coordination coordination_ticks")
)

WHEEL = np.dtype(
    _floats(
        """x y z twist axle_x axle_y radius hub_lower inertia bearing_dry bearing_viscous rolling_resistance
        radial_stiffness radial_damping friction sliding_friction stribeck_speed side_friction_ratio
        tread_stiffness side_stiffness tread_damping side_damping relaxation_length width lug_height bite
        pole_pairs resistance given_at coefficient inductance flux_linkage cogging_torque cogging_per_turn ripple
        thermal_resistance heat_capacity housing_resistance housing_capacity driver_heat
        modulation on_resistance fixed_loss efficiency current_limit pwm_steps cut_back_start cut_back_end
        sample_time sample_ticks latency_ticks clock_error slew kp ki feed_forward voltage_per_speed
        base_amplitude amplitude_per_hertz trim_limit align_time
        edge_spacing edge_hysteresis timer_tick sensor_timeout missed_edges edge_jitter edge_placement"""
    )
    + _integers(
        """driven strategy anti_windup braking hold_at_standstill sensors commutation coordination
        first_draw word_bits fraction_bits gain_bits kp_fixed ki_fixed feed_forward_fixed"""
    )
)

BODY_STATE = np.dtype(
    _floats(
        """x y z q0 q1 q2 q3 vx vy vz wx wy wz yaw
        twist twist_rate sum_q0 sum_q1 sum_q2 sum_q3 speed
        bus_voltage lowest_bus state_of_charge diffusion_voltage battery_current host_integral crept stuck_for
        chemical_energy battery_loss electronics_loss frame_loss added_energy"""
    )
    + _integers("tick rows sampled recovery_asked")
)

WHEEL_STATE = np.dtype(
    _floats(
        """command command_target command_rate
        setpoint correction integral amplitude measured derate current_command align_left
        pending_amplitude pending_field_speed pending_at next_sample
        field_speed field_angle pull_out_angle poles_slipped pole_slips
        edge_time edge_period edge_direction edge_angle
        spin angle id iq current temperature housing_temperature ux uy u_rate_x u_rate_y
        sinkage normal_load drive_force side_force limit_x limit_y
        copper_loss driver_loss bearing_loss rolling_loss tyre_loss contact_loss soil_loss"""
    )
    + _integers("edge_index edges integral_fixed powered sensor_stuck soil")
)

#: where a wheel touches the ground, in world axes; filled anew at every step
CONTACT = np.dtype(
    _floats(
        """axle_x axle_y axle_z arm_x arm_y arm_z hub_x hub_y hub_z n_x n_y n_z t_x t_y t_z s_x s_y s_z
        foot_x foot_y other_x other_y other_share grip rolling_radius outside
        hub_speed depth_rate slip_x slip_y body_rate
        rolling_factor soil_drag rise elastic
        force_x force_y force_z couple_x couple_y couple_z
        motor_torque voltage limited current_limited angle_error load_angle
        bus_power resistive_power copper_power driver_power"""
    )
)

#: what a soil yields by (drivesim.physics.soil); k_c and k_phi in newtons and metres
SOIL = np.dtype(_floats("exponent k_c k_phi cohesion tan_phi shear_modulus"))

#: a limit that the kernel watches: ``field`` counts in the flat view of one wheel's state, or of the body's (wheel −1)
WATCH = np.dtype(_integers("wheel field armed fired") + _floats("sign threshold"))

# What the kernel must return for.
RUNNING, STUCK, OVERTURNED, COLLAPSED, LEFT_GROUND, NOT_FINITE, WATCHED = range(7)

OPEN, ON, SHORTED = range(3)  # ``powered`` of a wheel: phases open, driven, short-circuited


def as_record_array(array: np.ndarray) -> np.ndarray:
    """Return a view whose records give their fields as attributes, as they do in compiled code."""
    return array.view(np.recarray)


def kernel_view(array: np.ndarray) -> np.ndarray:
    """Return the array as the kernel wants it: plain when compiled, with attribute access when interpreted."""
    return as_record_array(array) if numba.config.DISABLE_JIT else array
