"""Every physics function: documented, and the same number compiled and in plain Python."""

import importlib
import pkgutil
from math import inf

import numpy as np
import pytest

from drivesim import physics

SOC = np.array([0.0, 0.1, 0.5, 1.0])
VOLTS = np.array([3.0, 3.6, 3.8, 4.2])

# one row for every function; a list holds several argument tuples where a function has branches
ARGUMENTS = {
    "bench.back_emf": [(100.0, 8, 0.00167)],
    "bench.limited_current": [(2.0, 2.5, 2e-5, 0.00167, 400.0, limit) for limit in (0.3, inf)],
    "bench.spare_torque": [(50.0, 2.0, 4e-4, 1e-5, 2.5, 2e-5, 0.00167, 8, limit) for limit in (0.1, inf)],
    "bench.running_speed": [(V, 4e-4, 1e-5, 2.5, 2e-5, 0.00167, 8, 0.3) for V in (0.01, 2.0)],
    "bench.coasting_speed": [(200.0, 4e-4, b, 3e-5, t) for b in (0.0, 1e-5) for t in (1.0, 60.0)],
    "bench.pull_out_margin": [(0.01, 2.0, 1e-5, 2.5, 2e-5, 0.00167, 8, 5.0)],
    "bench._heating": [(60.0, 40.0, 0.6, 2.5, 20.0, 0.00393, 22.0, 6.0, 8.0, 9.0, 30.0)],
    "bench.warmed": [
        (60.0, 40.0, 0.6, 2.5, 20.0, 0.00393, 22.0, 6.0, 8.0, 9.0, 30.0, 10.0, 3),
        (60.0, 22.0, 0.6, 2.5, 20.0, 0.00393, 22.0, 24.0, 9.0, inf, inf, 10.0, 3),
    ],
    "body.rotation": [(0.5, -0.5, 0.1, 0.7)],
    "body.turned": [(0.5, -0.5, 0.5, 0.5, 1.0, -2.0, 3.0, 0.01), (1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.01)],
    "body.angular_acceleration": [(1.0, 2.0, 3.0, 0.1, -0.2, 0.3, 0.02, 0.03, 0.04)],
    "body.roll_pitch_yaw": [(0.5, -0.5, 0.1, 0.7)],
    "body.cross": [(1.0, 2.0, 3.0, -4.0, 5.0, 6.0)],
    "body.kinetic_energy": [(1.5, 1.0, 2.0, 3.0, 0.02, 0.03, 0.04, 5.0, 6.0, 7.0)],
    "body.circulating": [(5.0, 1.0)],
    "body.damped_velocity": [(0.5, 2.0, 3.0, 0.4, 1e-3)],
    "supply.capacitor_energy": [(220e-6, 7.4)],
    "soil.modulus": [(990.0, 1528430.0, 0.04)],
    "contact.normal_force": [(0.001, 0.1, 5e3, 20.0), (-0.001, 0.1, 5e3, 20.0), (0.001, -1.0, 5e3, 20.0)],
    "contact.spring_energy": [(0.001, 3e3), (-0.001, 3e3)],
    "contact.share_corner": [(0.001, 0.0008, 0.3), (0.001, -0.001, 0.6), (-0.001, 0.002, 0.9)],
    "contact.dry_friction": [(3.0, 0.01, 1e-4, 1e-3), (-0.01, 0.01, 1e-4, 1e-3)],
    "contact.misalignment_drag": [(-0.02, 0.03)],
    "contact.viscous_friction": [(3.0, 1e-4, 1e-4, 1e-3)],
    "heat.node_rate": [(2.0, 60.0, 25.0, 12.0, 8.0)],
    "heat.two_node_rates": [
        (2.0, 60.0, 40.0, 25.0, 6.0, 8.0, 9.0, 30.0),
        (2.0, 60.0, 25.0, 25.0, 6.0, 8.0, 0.0, inf),
    ],
    "heat.two_node_time_constants": [
        (6.0, 8.0, 9.0, 30.0, 0.02),
        (6.0, 8.0, 9.0, 30.0, 0.4),
        (6.0, 8.0, 9.0, inf, 0.02),
        (6.0, 8.0, 9.0, inf, 0.4),
    ],
    "heat.housing_temperature": [(90.0, 25.0, 6.0, 9.0)],
    "heat.stall_voltage": [(120.0, 0.1, 10.0, 25.0, 0.00393), (20.0, 0.1, 10.0, 25.0, 0.00393)],
    "heat.cut_back_factor": [(T, 90.0, 110.0) for T in (80.0, 95.0, 120.0)] + [(95.0, inf, inf)],
    "heat.runaway_current": [(0.1, 10.0, 0.00393)],
    "heat.final_temperature_at_voltage": [(3.0, 20.0, 22.0, 0.00393), (0.0, 20.0, 30.0, 0.00393)],
    "heat.final_temperature": [(5.0, 0.1, 10.0, 25.0, 0.00393), (50.0, 0.1, 10.0, 25.0, 0.00393)],
    "heat.continuous_current": [(130.0, 0.1, 10.0, 25.0, 0.00393), (20.0, 0.1, 10.0, 25.0, 0.00393)],
    "loop.speed_gain": [(2.4, 1.67e-3, 8, 1e-5)],
    "loop.speed_time_constant": [(2.4, 3.1e-5, 1.67e-3, 8, 1e-5)],
    "loop.current_gain": [(1.67e-3, 8, 1e-5)],
    "loop.current_time_constant": [(3.1e-5, 1e-5)],
    "loop.rolling_load": [(0.155, 9.81, 0.03, 0.034, 4e-4, 1e-5, 4.4)],
    "loop.grip_torque": [(0.155, 9.81, 0.7, 0.034)],
    "loop.driving_voltage": [(0.002, 2.5, 1.67e-3, 8, 4.4)],
    "loop.emf_per_hertz": [(1.67e-3,)],
    "loop.crossover": [(68.0, 1.84, 0.12, 0.9), (1.0, 0.0, 2.0, 1.0), (0.5, 1.84, 0.1, 0.9)],
    "loop.carried_inertia": [(3.1e-5, 0.155, 0.034)],
    "loop.edge_delay": [(0.4, 4.4)],
    "loop.simc_gain": [(75.0, 0.3, 0.05, 0.04)],
    "loop.simc_integral_time": [(0.3, 0.05, 0.04), (0.4, 0.05, 0.04)],
    "loop.simc_integral_of_delay": [(1.0, 0.05, 0.05)],
    "motor.steady_current": [(-1.0, 3.0, 0.1, 2e-5, 0.002, 700.0)],
    "motor.limit_current": [(-1.0, 3.0, 0.1, 2e-5, 0.002, 700.0, limit) for limit in (2.0, 50.0, inf)],
    "motor.advance_current": [
        (1.0, 2.0, -1.0, 3.0, 0.1, 2e-5, 0.002, 700.0, 1e-4),
        (1.0, 2.0, -1.0, 3.0, 0.1, 1e-7, 0.002, 700.0, 1e-4),
    ],
    "motor.torque": [(3.0, 7, 0.002)],
    "motor.copper_loss": [(9.0, 0.1)],
    "motor.electrical_power": [(-1.0, 3.0, 0.5, 6.0)],
    "motor.magnetic_energy": [(1.0, 2.0, 2e-5)],
    "motor.forced_voltages": [(4.0, 0.3)],
    "motor.load_angle_torque": [(4.0, 0.3, 0.05, 2e-5, 0.002, 7, 700.0)],
    "motor.pull_out_angle": [(0.05, 2e-5, 700.0)],
    "motor.pull_out_torque": [(4.0, 0.05, 2e-5, 0.002, 7, 700.0)],
    "motor.load_angle_for_torque": [(T, 4.0, 0.05, 2e-5, 0.002, 7, 700.0) for T in (-0.2, 0.5, 1.2)],
    "motor.voltage_for_torque": [(0.5, 0.05, 2e-5, 0.002, 7, 700.0)],
    "motor.hunting_frequency": [(0.05, 0.02, 7, 2e-5)],
    "motor.start_frequency_limit": [(0.05, 7, 2e-5)],
    "motor.cogging": [(0.003, 42, 0.1)],
    "motor.ripple_factor": [(0.05, 0.1)],
    "motor.dc_speed_for_torque": [(0.1, 4.0, 0.05, 0.002, 7)],
    "motor.stall_torque": [(4.0, 0.05, 0.002, 7)],
    "motor.mechanical_time_constant": [(0.05, 2e-5, 0.002, 7)],
    "obstacle.corner": [(0.05, 0.01)],
    "obstacle.pull_over_step": [(10.0, 0.05, 0.01)],
    "obstacle.torque_over_step": [(10.0, 0.05, 0.01)],
    "obstacle.friction_for_single_wheel": [(0.05, 0.01)],
    "obstacle.step_limit_single_wheel": [(0.05, 0.6)],
    "obstacle.friction_for_front_axle": [(0.05, 0.01, 0.2, 0.1)],
    "obstacle.front_load_at_step": [(40.0, 0.3, 0.05, 0.01)],
    "obstacle.front_axle_at_step": [(40.0, 5.0, 0.05, 0.01, 0.2, 0.1)],
    "obstacle.step_at_tipping": [(0.2, 0.1, 0.01), (0.2, 0.1, -0.01)],
    "obstacle.side_moment": [(np.array([0.1, 0.1, -0.1, -0.1]), np.array([1.0, 2.0, 4.0, 3.0]))],
    "obstacle.rear_axle_at_step": [(40.0, 5.0, 0.05, 0.01, 0.2, 0.1, 0.01)],
    "obstacle.steepest_grade": [
        (0.6, front, rear, 0.2, 0.1, 0.06) for front in (True, False) for rear in (True, False)
    ],
    "obstacle.grade_by_torque": [(T, 0.002, 0.02, 0.034, 6.0) for T in (0.001, 0.1, 1.0)],
    "obstacle.axle_loads": [(40.0, 0.3, 0.2, 0.1, 0.06)],
    "obstacle.turning_moment": [(0.5, 40.0, 0.2)],
    "soil.pressure": [(z, 990.0, 1.528e6, 1.1, 0.04) for z in (0.01, 0.0, -0.01)],
    "soil.wheel_load": [(z, 0.04, 0.1, 1.1, 1.553e6) for z in (0.01, 0.0, -0.01)],
    "soil.sinkage_under_load": [(N, 0.04, 0.1, 1.1, 1.553e6) for N in (10.0, 0.0, -1.0)],
    "soil.load_slope": [(3.0, z, 1.1) for z in (0.01, 0.0, -0.01)],
    "soil.compaction_resistance": [(z, 0.04, 1.553e6, 1.1) for z in (0.01, 0.0, -0.01)],
    "soil.contact_length": [(z, 0.1) for z in (0.01, 0.06, 0.0, -0.01)],
    "soil.greatest_thrust": [(1.3e-3, 1720.0, 10.0, 0.55, h, 0.04) for h in (0.0, 0.005)],
    "soil.janosi_hanamoto": [(j, 0.01) for j in (-0.01, 1e-6, 0.02)],
    "soil.mean_shear": [(u, 0.01) for u in (-0.01, 1e-6, 0.02)],
    "supply.charge_row": [(s, SOC) for s in (-0.1, 0.0, 0.03, 0.5, 0.7, 1.0, 1.1)],
    "supply.interpolate": [(VOLTS, 1, 0.3), (VOLTS, 2, 1.0)],
    "supply.diffusion_step": [(0.02, 3.0, 0.05, 0.99)],
    "supply.ride_through_time": [(1e-3, 12.0, 8.0, 20.0), (1e-3, 12.0, 13.0, 20.0), (1e-3, 12.0, 8.0, 0.0)],
    "supply.polymer_cell_short_pair": [(0.3,)],
    "supply.polymer_cell_long_pair": [(0.3,)],
    "supply.polymer_cell_voltage": [(0.3,)],
    "supply.polymer_cell_resistance": [(0.05,)],
    "supply.open_circuit": [(s, SOC, VOLTS) for s in (-0.1, 0.03, 0.5, 0.7, 1.1)],
    "supply.greatest_power": [(7.4, 0.15)],
    "supply.terminal_voltage": [(7.4, 0.15, 40.0), (7.4, 0.15, 400.0)],
    "supply.advance_bus": [(7.0, 7.4, 0.15, 1e-3, 20.0, 10.0, 1e-4), (7.0, 7.4, 0.15, 0.0, 400.0, 0.0, 1e-4)],
    "tyre.slip_ratio": [(1.0, 1.2), (1.0, -1.0), (0.0, 0.001)],
    "tyre.stribeck_friction": [(0.1, 0.9, 0.7, 0.2)],
    "tyre.brush_share": [(0.4,), (1.2,)],
    "tyre.brush_use": [(0.3,), (1.0,)],
    "tyre.steady_brush_force": [(0.02, 1000.0, 16.0)],
    "tyre.advance_bristle": [(0.001, 0.1, -0.5, 0.02, 1e-3)],
    "tyre.bristle_use": [(0.001, -0.002, 2e3, 1e3, 16.0, 12.0), (0.0, 0.0, 2e3, 1e3, 16.0, 12.0)],
    "tyre.within_ellipse": [(9.0, 1.0, 10.0, 8.0), (9.0, 9.0, 10.0, 8.0)],
    "tyre.side_force_beside": [(3.0, 5.0, 4.0), (6.0, 5.0, 4.0), (0.0, 0.0, 4.0)],
    "tyre.tread_force": [
        (0.001, -0.002, 0.1, 0.2, 2e3, 1e3, 5.0, 6.0, 16.0, 12.0),
        (0.1, -0.2, 0.1, 0.2, 2e3, 1e3, 5.0, 6.0, 16.0, 12.0),
        (0.1, -0.2, 0.1, 0.2, 2e3, 1e3, 5.0, 6.0, 0.0, 0.0),
    ],
    "tyre.bristle_energy": [(0.001, -0.002, 2e3, 1e3, 16.0, 12.0), (0.1, 0.0, 2e3, 1e3, 0.0, 0.0)],
    "winding.conductor_resistance": [(1.0, 35e-9, 80.0)],
    "winding.copper_thickness": [(0.30515,)],
    "winding._between_table_rows": [(50.0, (11.4, 24.9, 55.7, 86.6, 117.5))],
    "winding.thinnest_inner_thickness": [(um * 1e-6,) for um in (8.0, 20.0, 34.3, 120.0, 200.0)],
    "winding.thinnest_outer_thickness": [(um * 1e-6,) for um in (8.0, 20.0, 34.3, 120.0, 200.0)],
    "winding.layer_resistance": [(1.0, 1e-3, 35e-6, 80.0)],
    "winding.via_resistance": [(12, 0.3e-3, 20e-6, 1.6e-3, 80.0)],
    "winding.trace_current": [(20.0, 35e-9, True), (20.0, 35e-9, False)],
    "winding.resistance_at": [(0.1, 25.0, 80.0, 0.00393)],
}


def all_functions():
    found = {}
    for entry in pkgutil.iter_modules(physics.__path__):
        module = importlib.import_module(f"{physics.__name__}.{entry.name}")
        for name, value in vars(module).items():
            if callable(value) and getattr(value, "__module__", "") == module.__name__:
                found[f"{entry.name}.{name}"] = value
    return found


FUNCTIONS = all_functions()


def test_every_function_has_a_row_of_arguments():
    assert sorted(ARGUMENTS) == sorted(FUNCTIONS), "give each physics function a row in ARGUMENTS"


def test_every_function_and_module_is_documented():
    for entry in pkgutil.iter_modules(physics.__path__):
        assert importlib.import_module(f"{physics.__name__}.{entry.name}").__doc__
    bare = [
        name
        for name, function in FUNCTIONS.items()
        if not (function.__doc__ or "").startswith("Return")
        and not (function.__doc__ or "").startswith("Step")
    ]
    assert bare == []


@pytest.mark.parametrize("name", sorted(ARGUMENTS))
def test_compiled_equals_plain_python(name):
    function = FUNCTIONS[name]
    plain = getattr(function, "py_func", function)
    for arguments in ARGUMENTS[name]:
        # the compiler may join a product and a sum into one rounding, so not to the last bit
        assert function(*arguments) == pytest.approx(plain(*arguments), rel=1e-12, abs=1e-18)
