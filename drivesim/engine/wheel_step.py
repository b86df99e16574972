"""What one wheel does in one step: find its place, drive, turn, drag its tread; composes physics and drive.

``p`` parameters, ``w`` state, ``c`` contact of the wheel, ``b`` state of the body: records of
``drivesim.engine.records``.  ``rot`` are the nine entries of the body's rotation.
"""

from math import sqrt

from drivesim._compile import compiled
from drivesim.drive.controller import is_forced, load_angle, phase_voltages, turn_field, watch_edges
from drivesim.engine.records import ON, OPEN
from drivesim.engine.touch import touch
from drivesim.ground.surface import is_inside
from drivesim.physics import contact, heat, motor, soil, tyre
from drivesim.physics.body import cross
from drivesim.physics.winding import resistance_at

SHORTEST = 1e-3  # m; contact on soil is never taken shorter


@compiled
def to_world(rot, x, y, z):
    """Return a body vector in world axes."""
    return (
        rot[0] * x + rot[1] * y + rot[2] * z,
        rot[3] * x + rot[4] * y + rot[5] * z,
        rot[6] * x + rot[7] * y + rot[8] * z,
    )


@compiled
def place(p, c, b, rot, grid, surface):
    """Find the wheel's hub, the ground's normal under it and the rolling directions; return the depth [m]."""
    c.axle_x, c.axle_y, c.axle_z = to_world(rot, p.axle_x, p.axle_y, 0.0)
    c.arm_x, c.arm_y, c.arm_z = to_world(rot, p.x, p.y, p.z + p.twist * b.twist)
    c.hub_x, c.hub_y, c.hub_z = b.x + c.arm_x, b.y + c.arm_y, b.z + c.arm_z
    nx, ny = surface.shape
    inside = is_inside(nx, ny, grid.x0, grid.y0, grid.dx, grid.dy, c.hub_x, c.hub_y)
    c.outside = 0.0 if inside else 1.0
    c.n_x, c.n_y, c.n_z, depth, c.grip, c.foot_x, c.foot_y, c.other_x, c.other_y, c.other_share = touch(
        p.radius, c.axle_x, c.axle_y, c.hub_x, c.hub_y, c.hub_z + p.hub_lower, grid, surface
    )
    tx, ty, tz = cross(c.axle_x, c.axle_y, c.axle_z, c.n_x, c.n_y, c.n_z)
    size = sqrt(tx * tx + ty * ty + tz * tz)
    c.t_x, c.t_y, c.t_z = tx / size, ty / size, tz / size
    c.s_x, c.s_y, c.s_z = cross(c.n_x, c.n_y, c.n_z, c.t_x, c.t_y, c.t_z)
    c.rolling_radius = p.radius * c.grip * size
    return depth


@compiled
def move(p, w, c, b, rot):
    """Find the velocities at the contact from the body's and the wheel's: hub speed, slip, depth rate."""
    ox, oy, oz = to_world(rot, b.wx, b.wy, b.wz)
    ax, ay, az = cross(ox, oy, oz, c.arm_x, c.arm_y, c.arm_z)
    lift = p.twist * b.twist_rate  # along the body's own upward axis
    vx, vy, vz = b.vx + ax + lift * rot[2], b.vy + ay + lift * rot[5], b.vz + az + lift * rot[8]
    c.depth_rate = -(vx * c.n_x + vy * c.n_y + vz * c.n_z)
    c.hub_speed = vx * c.t_x + vy * c.t_y + vz * c.t_z
    c.body_rate = ox * c.axle_x + oy * c.axle_y + oz * c.axle_z
    # the tread moves with the frame's turning, except about the axle, where it moves with the wheel's own spin
    turn = w.spin - c.body_rate
    ox, oy, oz = ox + turn * c.axle_x, oy + turn * c.axle_y, oz + turn * c.axle_z
    c.slip_x = c.hub_speed - p.radius * c.grip * (ox * c.s_x + oy * c.s_y + oz * c.s_z)
    c.slip_y = vx * c.s_x + vy * c.s_y + vz * c.s_z + p.radius * (ox * c.t_x + oy * c.t_y + oz * c.t_z)


@compiled
def drive(p, w, c, b, time, dt):
    """Step the motor's currents; set its mean torque, its power from the bus, and its losses."""
    speed = w.spin - c.body_rate
    c.load_angle = load_angle(p, w) if is_forced(p.strategy) else 0.0
    c.motor_torque = (
        motor.cogging(p.cogging_torque, p.cogging_per_turn, w.angle) if p.cogging_torque > 0.0 else 0.0
    )
    if p.driven == 0 or w.powered == OPEN:
        w.driver_loss += motor.magnetic_energy(
            w.id, w.iq, p.inductance
        )  # the diodes let the currents die away
        w.id = w.iq = w.current = 0.0
        c.voltage = c.limited = c.current_limited = c.angle_error = 0.0
        c.bus_power = c.resistive_power = c.copper_power = c.driver_power = 0.0
        return
    electrical_speed = p.pole_pairs * speed
    R = resistance_at(p.resistance, p.given_at, w.temperature, p.coefficient)
    if w.powered == ON:
        vd, vq, c.limited, c.current_limited, c.angle_error = phase_voltages(
            p, w, electrical_speed, p.modulation * b.bus_voltage, R + p.on_resistance, time, dt
        )
    else:  # short-circuited phases brake
        vd = vq = c.limited = c.current_limited = c.angle_error = 0.0
    w.id, w.iq, mean_d, mean_q, mean_square = motor.advance_current(
        w.id, w.iq, vd, vq, R + p.on_resistance, p.inductance, p.flux_linkage, electrical_speed, dt
    )
    torque = motor.torque(mean_q, p.pole_pairs, p.flux_linkage)
    if p.ripple > 0.0:
        torque *= motor.ripple_factor(p.ripple, p.pole_pairs * w.angle)
    c.motor_torque += torque
    w.current = sqrt(w.id * w.id + w.iq * w.iq)
    c.voltage = sqrt(vd * vd + vq * vq)
    c.copper_power = motor.copper_loss(mean_square, R)
    power = motor.electrical_power(vd, vq, mean_d, mean_q)
    from_bus = power / p.efficiency if power > 0.0 else power * p.efficiency
    c.bus_power = from_bus + p.fixed_loss if w.powered == ON else 0.0
    c.resistive_power = from_bus * c.limited
    c.driver_power = motor.copper_loss(mean_square, p.on_resistance) + c.bus_power - power
    w.copper_loss += c.copper_power * dt
    w.driver_loss += c.driver_power * dt


@compiled
def spin(p, w, c, dt):
    """Turn the wheel under motor, ground, rolling resistance and bearing; return the torque back on the body [N·m].

    Rolling resistance acts between wheel and ground, the bearing between wheel and body; both are exact impulses.
    """
    before = w.spin
    tread = w.drive_force - c.soil_drag  # what soil resists by acts through the hub
    pushed = before + (c.motor_torque - c.rolling_radius * tread) / p.inertia * dt
    resistance = p.rolling_resistance * c.rolling_factor * w.normal_load * c.grip * p.radius
    rolled = contact.dry_friction(pushed, resistance, p.inertia, dt)
    relative = contact.viscous_friction(rolled - c.body_rate, p.bearing_viscous, p.inertia, dt)
    w.spin = contact.dry_friction(relative, p.bearing_dry, p.inertia, dt) + c.body_rate
    mean = 0.5 * (before + w.spin)
    bearing_impulse = p.inertia * (w.spin - rolled)
    w.rolling_loss -= p.inertia * (rolled - pushed) * mean
    w.bearing_loss -= bearing_impulse * (mean - c.body_rate)
    return -c.motor_torque - bearing_impulse / dt


@compiled
def follow(p, w, c, b, rot, uniform, normal, time, ambient, dt):
    """After all velocities are new: drag the tread, count the losses, turn the rotor, sense, warm the winding.

    ``time`` [s] is that of the step's end; ``uniform`` and ``normal`` are random draws.
    """
    slip_x, slip_y, depth_rate, hub_speed = c.slip_x, c.slip_y, c.depth_rate, c.hub_speed
    move(p, w, c, b, rot)
    # losses by the mean velocity over the step, which is what changes the kinetic energy
    mean_x, mean_y = 0.5 * (slip_x + c.slip_x), 0.5 * (slip_y + c.slip_y)
    tread = w.drive_force - c.soil_drag
    slid = -(tread * mean_x + w.side_force * mean_y) * dt
    pressed = (w.normal_load - c.elastic) * 0.5 * (depth_rate + c.depth_rate) * dt
    if w.soil > 0:
        w.soil_loss += slid + pressed - c.soil_drag * 0.5 * (hub_speed + c.hub_speed) * dt
    else:
        w.tyre_loss += slid
        w.contact_loss += pressed
    if w.normal_load > 0.0:
        tread_speed = c.hub_speed - c.slip_x
        length = soil.contact_length(w.sinkage, 2.0 * p.radius) if w.soil > 0 else p.relaxation_length
        length = max(length, SHORTEST)
        ux = tyre.advance_bristle(w.ux, c.slip_x, tread_speed, length, dt)
        uy = tyre.advance_bristle(w.uy, c.slip_y, tread_speed, length, dt)
        w.u_rate_x, w.u_rate_y = (ux - w.ux) / dt, (uy - w.uy) / dt
        w.ux, w.uy = ux, uy
    else:
        w.ux = w.uy = w.u_rate_x = w.u_rate_y = 0.0
    angle = w.angle
    w.angle += (w.spin - c.body_rate) * dt
    turn_field(p, w, dt)
    watch_edges(p, w, uniform, normal, angle, time, dt)
    warming, housing_warming = heat.two_node_rates(
        c.copper_power + p.driver_heat * c.driver_power, w.temperature, w.housing_temperature, ambient,
        p.thermal_resistance, p.heat_capacity, p.housing_resistance, p.housing_capacity,
    )  # fmt: skip
    w.temperature += warming * dt
    w.housing_temperature += housing_warming * dt


@compiled
def advance_command(w, dt):
    """Move the wheel's command toward its target at the ramp's rate."""
    if w.command != w.command_target:
        most = w.command_rate * dt
        w.command = max(w.command - most, min(w.command + most, w.command_target))
