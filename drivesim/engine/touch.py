"""Where and how deep a wheel meets the ground: the nearest plane, or two in a hollow edge; composes both."""

from math import sqrt

from drivesim._compile import compiled
from drivesim.ground.surface import height_and_slopes, unit_normal
from drivesim.physics import contact

FOOT_ROUNDS = 12  # at most, in search of the place where the wheel touches
FOOT_CLOSE = 1e-6  # m; a change of depth below this ends the search
LEVEL = 1e-4  # slope below which the wheel touches right under its hub
CORNER_REACH = 0.15  # of the radius: how far ahead and behind the hub a hollow edge is looked for


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
    runs below that (a hollow ahead) is not the nearest, and the search goes back half the way.  The hub is at
    (x, y, z) [m].
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
    """Return how the wheel of ``radius`` [m] whose hub is at (x, y, z) [m] meets the ground.

    That is (n_x, n_y, n_z, depth, grip, a_x, a_y, b_x, b_y, share).  ``depth`` [m] along the unit normal n.  Where the
    surface has a hollow edge close ahead or behind (floor and step), the wheel may touch on both sides of it: then
    n is the direction of both forces together, ``grip`` ≥ 1 how much larger the sum of their sizes is, a and b the
    level parts of the unit normals at the two feet, and ``share`` that of b in the sum.  With one foot a is n and
    the share 0.
    """
    h, slope_x, slope_y = height_and_slopes(surface, grid.x0, grid.y0, grid.dx, grid.dy, x, y)
    nx, ny, nz = unit_normal(slope_x, slope_y)
    depth = (h - z) * nz
    if depth <= 0.0:
        return nx, ny, nz, depth, 1.0, nx, ny, 0.0, 0.0, 0.0
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
        return nx, ny, nz, depth, 1.0, nx, ny, 0.0, 0.0, 0.0
    a, b = contact.share_corner(depth, depth_b, cosine)
    ax, ay = nx, ny
    nx, ny, nz = a * nx + b * bx, a * ny + b * by, a * nz + b * bz
    depth = sqrt(nx * nx + ny * ny + nz * nz)
    return nx / depth, ny / depth, nz / depth, depth, (a + b) / depth, ax, ay, bx, by, b / (a + b)
