"""The force between one wheel and the ground it presses, hard or soft; composes physics and ground.

``p`` parameters, ``w`` state, ``c`` contact of the wheel: records of ``drivesim.engine.records``.
"""

from math import sqrt

from drivesim._compile import compiled
from drivesim.ground.surface import FRICTION, HOLD, ROLLING, SOIL, node_at
from drivesim.physics import contact, soil, tyre

YIELD_ROUNDS = 40  # at most, in search of how deep the soil has yielded
YIELD_CLOSE = 0.02  # of the load; what is left after Newton's step is some thousand times less
DRAG_FULL_AT = 0.01  # m/s of hub speed from which soil resists with all it has
NO_THRUST = 1e-9  # N
FIRST_SINKAGE = 1e-5  # m, where the search begins on fresh soil


@compiled
def press(p, w, c, grid, fields, soils, depth, dt):
    """Set the contact force on the wheel, in world axes, and its moment about the hub less the axle's part."""
    r = p.radius
    before = w.soil
    friction, hold, c.rolling_factor, w.soil = ground_under(r, c, grid, fields)
    if (before > 0) != (w.soil > 0):  # on soil the tyre's spring counts as lost when it is put in
        held = contact.spring_energy(depth - w.sinkage, p.radial_stiffness)
        w.soil_loss += held if w.soil > 0 else -held
    if w.soil > 0:
        press_soil(p, w, c, soils[w.soil - 1], depth, dt)
    else:
        mu = friction * tread_friction(p, c) + hold * p.bite
        climb_out(p, w, c, depth, dt)
        press_hard(p, w, c, mu, depth - w.sinkage)
    N, F, S = w.normal_load, w.drive_force, w.side_force
    c.force_x = N * c.n_x + F * c.t_x + S * c.s_x
    c.force_y = N * c.n_y + F * c.t_y + S * c.s_y
    c.force_z = N * c.n_z + F * c.t_z + S * c.s_z
    F, S = -r * c.grip * (F - c.soil_drag), r * S  # moments: −r·n × (F·t + S·s) = r·(S·t − F·s)
    mx, my, mz = S * c.t_x + F * c.s_x, S * c.t_y + F * c.s_y, S * c.t_z + F * c.s_z
    about_axle = mx * c.axle_x + my * c.axle_y + mz * c.axle_z
    c.couple_x = mx - about_axle * c.axle_x
    c.couple_y = my - about_axle * c.axle_y
    c.couple_z = mz - about_axle * c.axle_z


@compiled
def kind_at(normal_x, normal_y, radius, c, grid, fields):
    """Return the node of ``fields`` at the foot of the wheel of ``radius`` [m] whose ground has that unit normal."""
    return node_at(
        fields, grid.friction_x0, grid.friction_y0, grid.friction_dx, grid.friction_dy,
        c.hub_x - radius * normal_x, c.hub_y - radius * normal_y,
    )  # fmt: skip


@compiled
def ground_under(radius, c, grid, fields):
    """Return factor on friction, hold for spikes, factor on rolling resistance and soil of the ground under a wheel.

    ``radius`` [m] of the wheel.  In a hollow edge each foot counts with its share of the load; the soil is that under
    the greater one.
    """
    i, j = kind_at(c.foot_x, c.foot_y, radius, c, grid, fields)
    friction, hold, rolling = fields[i, j, FRICTION], fields[i, j, HOLD], fields[i, j, ROLLING]
    if c.other_share > 0.0:
        m, n = kind_at(c.other_x, c.other_y, radius, c, grid, fields)
        friction += c.other_share * (fields[m, n, FRICTION] - friction)
        hold += c.other_share * (fields[m, n, HOLD] - hold)
        rolling += c.other_share * (fields[m, n, ROLLING] - rolling)
        if c.other_share > 0.5:
            i, j = m, n
    return friction, hold, rolling, int(fields[i, j, SOIL])


@compiled
def tread_friction(p, c):
    """Return the tyre's own friction coefficient at its present slip."""
    slip = sqrt(c.slip_x * c.slip_x + c.slip_y * c.slip_y)
    return tyre.stribeck_friction(slip, p.friction, p.sliding_friction, p.stribeck_speed)


@compiled
def press_hard(p, w, c, mu, depth):
    """Set the wheel's load and its tread's forces on hard ground of friction ``mu``."""
    w.normal_load = contact.normal_force(depth, c.depth_rate, p.radial_stiffness, p.radial_damping)
    c.soil_drag = -w.normal_load * c.rise
    c.elastic = p.radial_stiffness * max(0.0, depth)
    w.limit_x = mu * w.normal_load
    w.limit_y = w.limit_x * p.side_friction_ratio
    w.drive_force, w.side_force, w.ux, w.uy = tyre.tread_force(
        w.ux, w.uy, w.u_rate_x, w.u_rate_y, p.tread_stiffness, p.side_stiffness, p.tread_damping, p.side_damping,
        w.limit_x, w.limit_y,
    )  # fmt: skip
    w.drive_force += c.soil_drag


@compiled
def climb_out(p, w, c, depth, dt):
    """Let a wheel on hard ground climb out of the rut it comes from, within about a contact length.

    ``c.rise`` is how steeply the hub rises by that along the wheel's way; the force against it lifts the rover.
    """
    c.rise = 0.0
    if w.sinkage <= 0.0:
        return
    w.sinkage = min(w.sinkage, max(depth, 0.0))
    length = max(soil.contact_length(w.sinkage, 2.0 * p.radius), FIRST_SINKAGE)
    c.rise = w.sinkage / length * max(-1.0, min(1.0, c.hub_speed / DRAG_FULL_AT))
    w.sinkage = max(0.0, w.sinkage - c.rise * c.hub_speed * dt)
    if w.sinkage < FIRST_SINKAGE:
        w.sinkage = 0.0


@compiled
def press_soil(p, w, c, ground, depth, dt):
    """Set the wheel's load, thrust and drag on soil that yields under it and is fresh where the wheel rolls to.

    The tyre's spring and the soil carry the same load.  The soil yields and does not come back; rolling by a
    contact length leaves the rut behind.
    """
    c.elastic = c.soil_drag = 0.0
    diameter = 2.0 * p.radius
    if depth <= 0.0:
        w.normal_load = w.drive_force = w.side_force = w.limit_x = w.limit_y = w.sinkage = 0.0
        return
    modulus = soil.modulus(ground.k_c, ground.k_phi, p.width)
    length = max(soil.contact_length(w.sinkage, diameter), FIRST_SINKAGE)
    w.sinkage = min(depth, w.sinkage / (1.0 + abs(c.hub_speed) * dt / length))
    w.sinkage = yielded(p, ground, modulus, diameter, w.sinkage, depth)
    w.normal_load = contact.normal_force(
        depth - w.sinkage, c.depth_rate, p.radial_stiffness, p.radial_damping
    )
    area = p.width * soil.contact_length(w.sinkage, diameter)
    limit = soil.greatest_thrust(area, ground.cohesion, w.normal_load, ground.tan_phi, p.lug_height, p.width)
    limit = max(limit, NO_THRUST)
    w.limit_x = w.limit_y = limit
    moved = sqrt(w.ux * w.ux + w.uy * w.uy)
    pull = limit * soil.mean_shear(moved, ground.shear_modulus) / moved if moved > 0.0 else 0.0
    w.drive_force, w.side_force = tyre.within_ellipse(
        pull * w.ux + p.tread_damping * w.u_rate_x, pull * w.uy + p.side_damping * w.u_rate_y, limit, limit
    )
    rest = soil.compaction_resistance(w.sinkage, p.width, modulus, ground.exponent)
    c.soil_drag = -rest * max(-1.0, min(1.0, c.hub_speed / DRAG_FULL_AT))
    w.drive_force += c.soil_drag


@compiled
def yielded(p, ground, modulus, diameter, sinkage, depth):
    """Return how deep [m] the soil has yielded: until it carries what the tyre presses with.

    Newton's method, kept between what is known to be too little and too much.
    """
    low, high = sinkage, depth
    z = min(max(sinkage, FIRST_SINKAGE), depth)
    for _ in range(YIELD_ROUNDS):
        load = soil.wheel_load(z, p.width, diameter, ground.exponent, modulus)
        pressed = p.radial_stiffness * (depth - z)
        excess = pressed - load
        if excess <= 0.0 and z <= sinkage:
            return sinkage  # carried already: nothing yields
        if excess > 0.0:
            low = z
        else:
            high = z
        z += excess / (p.radial_stiffness + soil.load_slope(load, z, ground.exponent))
        if z <= low or z >= high:
            z = 0.5 * (low + high)
        elif abs(excess) < YIELD_CLOSE * load:
            break
    return z
