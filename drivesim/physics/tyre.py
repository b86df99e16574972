"""Brush tyre on hard ground; scalar equations only, imports nothing but the compiler.

The tread is a row of bristles with one mean deflection ``u`` [m] in the contact plane (x along the wheel, y to
its left).  Slip velocity v = hub velocity − tread velocity at the contact [m/s], so v_x = v_hub − w·r: negative
when the wheel drives.

    du/dt = −v − (|w·r|/sigma)·u,      F = mu·N·(3·xi − 3·xi² + xi³) along u,      xi = k·|u|/(3·mu·N) ≤ 1

Steady rolling gives the classical brush tyre with parabolic pressure and slip stiffness C = k·sigma; a wheel at
rest holds like a spring.  Source: Pacejka, Tyre and Vehicle Dynamics (brush model).
"""

from math import exp, sqrt

from drivesim._compile import compiled

SLIP_SPEED_FLOOR = 0.005  # m/s; below it the slip ratio fades to zero


@compiled
def slip_ratio(v_x, wheel_speed):
    """Return kappa = (w·r − v_x)/max(|v_x|, |w·r|, floor), held within [−1, 1].

    +1 is a wheel spinning in place, −1 a locked wheel dragged forward; a wheel that turns against its travel
    counts as −1 or +1 too.  For driving this is Wong's 1 − V/(r·w).
    ``v_x`` hub speed along the wheel [m/s], ``wheel_speed`` w·r [m/s].
    """
    kappa = (wheel_speed - v_x) / max(abs(v_x), abs(wheel_speed), SLIP_SPEED_FLOOR)
    return max(-1.0, min(1.0, kappa))


@compiled
def stribeck_friction(slip_speed, mu_static, mu_sliding, stribeck_speed):
    """Return mu_k + (mu_s − mu_k)·exp(−(v/v_s)²) at slip speed v ≥ 0 [m/s].

    Source: Canudas de Wit, Olsson, Åström, Lischinsky, IEEE Transactions on Automatic Control 40(3), 1995.
    """
    ratio = slip_speed / stribeck_speed
    return mu_sliding + (mu_static - mu_sliding) * exp(-ratio * ratio)


@compiled
def brush_share(xi):
    """Return the used share of the friction limit, 3·xi − 3·xi² + xi³; 1 for xi ≥ 1."""
    if xi >= 1.0:
        return 1.0
    return xi * (3.0 - xi * (3.0 - xi))


@compiled
def brush_use(share):
    """Return the xi at which ``brush_share`` is ``share`` (0 to 1): 1 − (1 − share)^(1/3)."""
    return 1.0 - (1.0 - share) ** (1.0 / 3.0)


@compiled
def steady_brush_force(slip, C, limit):
    """Return the steady force [N] at ``slip`` ≥ 0 for slip stiffness ``C`` [N] and friction ``limit`` = mu·N [N]."""
    return limit * brush_share(C * slip / (3.0 * limit))


@compiled
def advance_bristle(u, v, wheel_speed, sigma, dt):
    """Return the deflection [m] after ``dt`` [s]; the part carried out of the contact is implicit."""
    return (u - v * dt) / (1.0 + abs(wheel_speed) * dt / sigma)


@compiled
def bristle_use(ux, uy, kx, ky, limit_x, limit_y):
    """Return (xi, e_x, e_y): how far the bristles are toward full sliding, and the direction of the force.

    ``kx, ky`` [N/m] tread stiffnesses, ``limit_x, limit_y`` [N] friction limits along and across: the use is
    the length of the vector (k_x·u_x/limit_x, k_y·u_y/limit_y)/3.
    """
    ax = kx * ux / (3.0 * limit_x)
    ay = ky * uy / (3.0 * limit_y)
    xi = sqrt(ax * ax + ay * ay)
    if xi < 1e-300:
        return 0.0, 0.0, 0.0
    return xi, ax / xi, ay / xi


@compiled
def within_ellipse(fx, fy, limit_x, limit_y):
    """Return the force [N] pulled back onto the friction ellipse (fx/limit_x)² + (fy/limit_y)² ≤ 1."""
    ax = fx / limit_x
    ay = fy / limit_y
    size2 = ax * ax + ay * ay
    if size2 <= 1.0:
        return fx, fy
    size = sqrt(size2)
    return fx / size, fy / size


@compiled
def side_force_beside(fx, limit_x, limit_y):
    """Return the side force [N] that the friction ellipse leaves beside ``fx``: limit_y·sqrt(1 − (fx/limit_x)²)."""
    if limit_x <= 0.0 or abs(fx) >= limit_x:
        return 0.0
    share = fx / limit_x
    return limit_y * sqrt(1.0 - share * share)


@compiled
def tread_force(ux, uy, rate_x, rate_y, kx, ky, damping_x, damping_y, limit_x, limit_y):
    """Return the contact force on the wheel (fx, fy) [N] and the deflection (ux, uy) [m] it can hold.

    Brush force along u, plus damping [N·s/m] of the deflection's rate [m/s] that never breaks the friction
    ellipse; a deflection beyond full sliding is cut to full sliding.
    """
    if limit_x <= 0.0 or limit_y <= 0.0:
        return 0.0, 0.0, 0.0, 0.0
    xi, ex, ey = bristle_use(ux, uy, kx, ky, limit_x, limit_y)
    if xi > 1.0:
        ux /= xi
        uy /= xi
    share = brush_share(xi)
    fx = limit_x * share * ex
    fy = limit_y * share * ey
    if xi < 1.0:
        fx += damping_x * rate_x
        fy += damping_y * rate_y
        fx, fy = within_ellipse(fx, fy, limit_x, limit_y)
    return fx, fy, ux, uy


@compiled
def bristle_energy(ux, uy, kx, ky, limit_x, limit_y):
    """Return the energy held by the bristles [J] at constant load.

    The integral of the brush force over the deflection, straight from zero:
    3·(e_x²·P_x²/k_x + e_y²·P_y²/k_y)·(1.5·xi² − xi³ + xi⁴/4), P the friction limits.  Every way to the same
    deflection takes this energy where k_x/P_x² = k_y/P_y²; for other stiffnesses the work depends on the way.
    """
    if limit_x <= 0.0 or limit_y <= 0.0:
        return 0.0
    xi, ex, ey = bristle_use(ux, uy, kx, ky, limit_x, limit_y)
    xi = min(xi, 1.0)
    scale = 3.0 * (ex * ex * limit_x * limit_x / kx + ey * ey * limit_y * limit_y / ky)
    return scale * xi * xi * (1.5 - xi + 0.25 * xi * xi)
