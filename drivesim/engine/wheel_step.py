"""What one wheel does in one step: touch the ground, turn, drag its tread; composes physics, drive and ground.

``p`` parameters, ``w`` state, ``c`` contact of the wheel, ``b`` state of the body: records of
``drivesim.engine.records``.  ``rot`` are the nine entries of the body's rotation.
"""

from math import sqrt

from drivesim._compile import compiled
from drivesim.drive.controller import is_forced, load_angle, phase_voltages, turn_field, watch_edges
from drivesim.ground.surface import friction_at, height_and_slopes, is_inside, unit_normal
from drivesim.physics import contact, heat, motor, tyre
from drivesim.physics.body import cross
from drivesim.physics.winding import resistance_at

FOOT_ROUNDS = 12  # at most, in search of the place where the wheel touches
FOOT_CLOSE = 1e-6  # m; a change of depth below this ends the search
LEVEL = 1e-4  # slope below which the wheel touches right under its hub
CORNER_REACH = 0.15  # of the radius: how far ahead and behind the hub a hollow edge is looked for


@compiled
def to_world(rot, x, y, z):
    """Return a body vector in world axes."""
    return (
        rot[0] * x + rot[1] * y + rot[2] * z,
        rot[3] * x + rot[4] * y + rot[5] * z,
        rot[6] * x + rot[7] * y + rot[8] * z,
    )


@compiled
def plane_beyond(step_x, step_y, x, y, grid, surface):
    """Return the height [m] above (x, y) of the plane that touches the surface a step away, and its slopes."""
    far, slope_x, slope_y = height_and_slopes(
        surface, grid.x0, grid.y0, grid.dx, grid.dy, x + step_x, y + step_y
    )
    return far - slope_x * step_x - slope_y * step_y, slope_x, slope_y


@compiled
def foot(nx, ny, nz, depth, h, x, y, z, grid, surface):
    """Return normal and depth [m] of the plane that touches the surface where the way out along its normal ends.

    On a rounded edge this is the nearest place of the surface, not the one right above the hub, so that pressing
    into it and out again makes no energy.  Begins with the plane at height ``h`` [m] above the hub; a plane that
    runs below that (a hollow ahead) is not the nearest, and the search goes back half the way.
    """
    if abs(nx) + abs(ny) < LEVEL:
        return nx, ny, nz, depth
    share = 1.0
    for _ in range(FOOT_ROUNDS):
        here, slope_x, slope_y = plane_beyond(share * depth * nx, share * depth * ny, x, y, grid, surface)
        if here < h:
            share *= 0.5
            continue
        nx, ny, nz = unit_normal(slope_x, slope_y)
        before, depth = depth, (here - z) * nz
        if abs(depth - before) < FOOT_CLOSE:
            break
    return nx, ny, nz, depth


@compiled
def touch(radius, axle_x, axle_y, x, y, z, grid, surface):
    """Return how the wheel whose hub is at (x, y, z) meets the ground: (n_x, n_y, n_z, depth, grip).

    ``depth`` [m] along the unit normal n.  Where the surface has a hollow edge close ahead or behind (floor and
    step), the wheel may touch on both sides of it: then n is the direction of both forces together and ``grip``
    ≥ 1 how much larger the sum of their sizes is.
    """
    h, slope_x, slope_y = height_and_slopes(surface, grid.x0, grid.y0, grid.dx, grid.dy, x, y)
    nx, ny, nz = unit_normal(slope_x, slope_y)
    depth = (h - z) * nz
    if depth <= 0.0:
        return nx, ny, nz, depth, 1.0
    nx, ny, nz, depth = foot(nx, ny, nz, depth, h, x, y, z, grid, surface)
    plane = z + depth / nz
    reach = CORNER_REACH * radius / sqrt(axle_x * axle_x + axle_y * axle_y)
    most = 0.0
    bx = by = bz = depth_b = cosine = 0.0
    for side in (-reach, reach):
        here, slope_x, slope_y = plane_beyond(side * axle_y, -side * axle_x, x, y, grid, surface)
        if here < plane:  # that side's plane runs below here: the edge between is a hollow one
            ox, oy, oz = unit_normal(slope_x, slope_y)
            dot = nx * ox + ny * oy + nz * oz
            excess = (here - z) * oz - depth * dot
            if excess > most:
                most, bx, by, bz, cosine, depth_b = excess, ox, oy, oz, dot, (here - z) * oz
    if most == 0.0:
        return nx, ny, nz, depth, 1.0
    a, b = contact.share_corner(depth, depth_b, cosine)
    nx, ny, nz = a * nx + b * bx, a * ny + b * by, a * nz + b * bz
    depth = sqrt(nx * nx + ny * ny + nz * nz)
    return nx / depth, ny / depth, nz / depth, depth, (a + b) / depth


@compiled
def place(p, c, b, rot, grid, surface):
    """Find the wheel's hub, the ground's normal under it and the rolling directions; return the depth [m]."""
    c.axle_x, c.axle_y, c.axle_z = to_world(rot, p.axle_x, p.axle_y, 0.0)
    c.arm_x, c.arm_y, c.arm_z = to_world(rot, p.x, p.y, p.z)
    c.hub_x, c.hub_y, c.hub_z = b.x + c.arm_x, b.y + c.arm_y, b.z + c.arm_z
    nx, ny = surface.shape
    inside = is_inside(nx, ny, grid.x0, grid.y0, grid.dx, grid.dy, c.hub_x, c.hub_y)
    c.outside = 0.0 if inside else 1.0
    c.n_x, c.n_y, c.n_z, depth, c.grip = touch(
        p.radius, c.axle_x, c.axle_y, c.hub_x, c.hub_y, c.hub_z, grid, surface
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
    vx, vy, vz = b.vx + ax, b.vy + ay, b.vz + az
    c.depth_rate = -(vx * c.n_x + vy * c.n_y + vz * c.n_z)
    c.hub_speed = vx * c.t_x + vy * c.t_y + vz * c.t_z
    c.body_rate = ox * c.axle_x + oy * c.axle_y + oz * c.axle_z
    # the tread moves with the frame's turning, except about the axle, where it moves with the wheel's own spin
    turn = w.spin - c.body_rate
    ox, oy, oz = ox + turn * c.axle_x, oy + turn * c.axle_y, oz + turn * c.axle_z
    c.slip_x = c.hub_speed - p.radius * c.grip * (ox * c.s_x + oy * c.s_y + oz * c.s_z)
    c.slip_y = vx * c.s_x + vy * c.s_y + vz * c.s_z + p.radius * (ox * c.t_x + oy * c.t_y + oz * c.t_z)


@compiled
def press(p, w, c, grid, friction, depth):
    """Set the contact force on the wheel, in world axes, and its moment about the hub less the axle's part."""
    w.depth = depth
    w.normal_load = contact.normal_force(depth, c.depth_rate, p.radial_stiffness, p.radial_damping)
    factor = friction_at(
        friction, grid.friction_x0, grid.friction_y0, grid.friction_dx, grid.friction_dy, c.hub_x, c.hub_y
    )
    slip = sqrt(c.slip_x * c.slip_x + c.slip_y * c.slip_y)
    mu = factor * tyre.stribeck_friction(slip, p.friction, p.sliding_friction, p.stribeck_speed)
    w.limit_x = mu * w.normal_load
    w.limit_y = w.limit_x * p.side_friction_ratio
    w.drive_force, w.side_force, w.ux, w.uy = tyre.tread_force(
        w.ux, w.uy, w.u_rate_x, w.u_rate_y, p.tread_stiffness, p.side_stiffness, p.tread_damping, p.side_damping,
        w.limit_x, w.limit_y,
    )  # fmt: skip
    N, F, S = w.normal_load, w.drive_force, w.side_force
    c.force_x = N * c.n_x + F * c.t_x + S * c.s_x
    c.force_y = N * c.n_y + F * c.t_y + S * c.s_y
    c.force_z = N * c.n_z + F * c.t_z + S * c.s_z
    F, S = -p.radius * c.grip * F, p.radius * S  # moments: −r·n × (F·t + S·s) = r·(S·t − F·s)
    mx, my, mz = S * c.t_x + F * c.s_x, S * c.t_y + F * c.s_y, S * c.t_z + F * c.s_z
    about_axle = mx * c.axle_x + my * c.axle_y + mz * c.axle_z
    c.couple_x = mx - about_axle * c.axle_x
    c.couple_y = my - about_axle * c.axle_y
    c.couple_z = mz - about_axle * c.axle_z


@compiled
def drive(p, w, c, b, dt):
    """Step the motor's currents; set its mean torque, its power from the bus, and its losses."""
    speed = w.spin - c.body_rate
    c.load_angle = load_angle(p, w) if is_forced(p.strategy) else 0.0
    if p.driven == 0:
        c.motor_torque = c.voltage = c.limited = c.bus_power = c.resistive_power = c.copper_power = 0.0
        return
    electrical_speed = p.pole_pairs * speed
    vd, vq, c.limited = phase_voltages(p, w, electrical_speed, p.modulation * b.bus_voltage, dt)
    R = resistance_at(p.resistance, p.given_at, w.temperature, p.coefficient)
    w.id, w.iq, mean_d, mean_q, mean_square = motor.advance_current(
        w.id, w.iq, vd, vq, R + p.on_resistance, p.inductance, p.flux_linkage, electrical_speed, dt
    )
    c.motor_torque = motor.torque(mean_q, p.pole_pairs, p.flux_linkage)
    if p.ripple > 0.0:
        c.motor_torque *= motor.ripple_factor(p.ripple, p.pole_pairs * w.angle)
    if p.cogging_torque > 0.0:
        c.motor_torque += motor.cogging(p.cogging_torque, p.cogging_per_turn, w.angle)
    c.voltage = sqrt(vd * vd + vq * vq)
    c.copper_power = motor.copper_loss(mean_square, R)
    power = motor.electrical_power(vd, vq, mean_d, mean_q)
    from_bus = power / p.efficiency if power > 0.0 else power * p.efficiency
    c.bus_power = from_bus + p.fixed_loss
    c.resistive_power = from_bus * c.limited
    w.copper_loss += c.copper_power * dt
    w.driver_loss += (motor.copper_loss(mean_square, p.on_resistance) + c.bus_power - power) * dt


@compiled
def spin(p, w, c, dt):
    """Turn the wheel under motor, ground, rolling resistance and bearing; return the torque back on the body [N·m].

    Rolling resistance acts between wheel and ground, the bearing between wheel and body; both are exact impulses.
    """
    before = w.spin
    pushed = before + (c.motor_torque - c.rolling_radius * w.drive_force) / p.inertia * dt
    resistance = p.rolling_resistance * w.normal_load * c.grip * p.radius
    rolled = contact.dry_friction(pushed, resistance, p.inertia, dt)
    relative = contact.viscous_friction(rolled - c.body_rate, p.bearing_viscous, p.inertia, dt)
    w.spin = contact.dry_friction(relative, p.bearing_dry, p.inertia, dt) + c.body_rate
    mean = 0.5 * (before + w.spin)
    bearing_impulse = p.inertia * (w.spin - rolled)
    w.rolling_loss -= p.inertia * (rolled - pushed) * mean
    w.bearing_loss -= bearing_impulse * (mean - c.body_rate)
    return -c.motor_torque - bearing_impulse / dt


@compiled
def follow(p, w, c, b, rot, time, ambient, dt):
    """After all velocities are new: drag the tread, count the losses, turn the rotor, sense, warm the winding.

    ``time`` [s] is that of the step's end.
    """
    slip_x, slip_y, depth_rate = c.slip_x, c.slip_y, c.depth_rate
    move(p, w, c, b, rot)
    # losses by the mean velocity over the step, which is what changes the kinetic energy
    mean_x, mean_y = 0.5 * (slip_x + c.slip_x), 0.5 * (slip_y + c.slip_y)
    w.tyre_loss -= (w.drive_force * mean_x + w.side_force * mean_y) * dt
    elastic = p.radial_stiffness * max(0.0, w.depth)
    w.contact_loss += (w.normal_load - elastic) * 0.5 * (depth_rate + c.depth_rate) * dt
    if w.normal_load > 0.0:
        tread_speed = c.hub_speed - c.slip_x
        ux = tyre.advance_bristle(w.ux, c.slip_x, tread_speed, p.relaxation_length, dt)
        uy = tyre.advance_bristle(w.uy, c.slip_y, tread_speed, p.relaxation_length, dt)
        w.u_rate_x, w.u_rate_y = (ux - w.ux) / dt, (uy - w.uy) / dt
        w.ux, w.uy = ux, uy
    else:
        w.ux = w.uy = w.u_rate_x = w.u_rate_y = 0.0
    angle = w.angle
    w.angle += (w.spin - c.body_rate) * dt
    turn_field(p, w, dt)
    watch_edges(p, w, angle, time, dt)
    w.temperature += (
        heat.node_rate(c.copper_power, w.temperature, ambient, p.thermal_resistance, p.heat_capacity) * dt
    )


@compiled
def advance_command(w, dt):
    """Move the wheel's command toward its target at the ramp's rate."""
    if w.command != w.command_target:
        most = w.command_rate * dt
        w.command = max(w.command - most, min(w.command + most, w.command_target))


@compiled
def along_command(command, value):
    """Return ``value`` along the wheel's own commanded direction; zero without a command."""
    if command > 0.0:
        return value
    return -value if command < 0.0 else 0.0


@compiled
def record(p, w, c, m):
    """Add the wheel's present values to the sums of the recording interval."""
    tread_speed = c.hub_speed - c.slip_x
    m.commanded_speed += w.command
    m.measured_speed += w.measured
    m.wheel_speed += w.spin - c.body_rate
    m.slip_ratio += tyre.slip_ratio(c.hub_speed, tread_speed)
    m.slip_speed += c.slip_x
    m.normal_load += w.normal_load
    m.drive_force += w.drive_force
    m.side_force += w.side_force
    m.friction_limit += w.limit_x
    m.motor_torque += c.motor_torque
    m.current_d += w.id
    m.current_q += w.iq
    m.phase_voltage += c.voltage
    m.voltage_limited += c.limited
    m.load_angle += c.load_angle
    m.pole_slips += w.pole_slips
    m.winding_temperature += w.temperature
    m.copper_loss += c.copper_power
    m.hub_speed += c.hub_speed
    m.hub_x += c.hub_x
    m.hub_y += c.hub_y
    m.hub_z += c.hub_z
    m.normal_x += c.n_x
