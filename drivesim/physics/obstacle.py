"""Statics of steps, slopes and turning on the spot; scalar equations only, imports nothing but the compiler.

Rigid wheel of radius r [m] at the sharp corner of a step of height h < r: the corner's normal leans back by
theta with cos(theta) = (r − h)/r.
"""

from math import asin, atan, atan2, cos, hypot, inf, pi, sin, sqrt

from drivesim._compile import compiled


@compiled
def corner(r, h):
    """Return (sin theta, cos theta) of the corner's normal."""
    c = (r - h) / r
    return sqrt(1.0 - c * c), c


@compiled
def pull_over_step(W, r, h):
    """Return the level pull at the axle [N] that lifts a free wheel carrying ``W`` [N]: W·tan(theta)."""
    s, c = corner(r, h)
    return W * s / c


@compiled
def torque_over_step(W, r, h):
    """Return the torque [N·m] by which one wheel lifts its own load ``W`` [N] over the corner: W·r·sin(theta)."""
    s, _ = corner(r, h)
    return W * r * s


@compiled
def friction_for_single_wheel(r, h):
    """Return the friction coefficient tan(theta) a wheel needs to lift itself by torque alone."""
    s, c = corner(r, h)
    return s / c


@compiled
def step_limit_single_wheel(r, mu):
    """Return the highest step [m] one wheel lifts itself over: r·(1 − 1/sqrt(1 + mu²))."""
    return r * (1.0 - 1.0 / sqrt(1.0 + mu * mu))


@compiled
def friction_for_front_axle(r, h, L, b):
    """Return the friction coefficient at which the front axle of a rover with all wheels driven starts to lift.

    Wheelbase ``L``, centre of gravity ``b`` ahead of the rear axle [m], all wheels at their friction limit.
    From the balance of forces and of moments about the rear contact:
    mu²·((L + r·s − b)·s − h·c) + mu·((L + r·s)·c + h·s) − b·s = 0.
    """
    s, c = corner(r, h)
    A = (L + r * s - b) * s - h * c
    B = (L + r * s) * c + h * s
    return 2.0 * b * s / (B + sqrt(B * B + 4.0 * A * b * s))


@compiled
def front_load_at_step(W, mu, r, h):
    """Return the front axle's corner reaction [N] at the start of lifting: W·mu/(sin(theta)·(1 + mu²))."""
    s, _ = corner(r, h)
    return W * mu / (s * (1.0 + mu * mu))


@compiled
def front_axle_at_step(W, F, r, h, L, b):
    """Return (N_front, N_rear, push) [N] at which the front wheels, on the corner only, just start to lift.

    ``F`` [N] is what they pull with along the corner's tangent, ``push`` what the rear wheels must give besides.
    Wheelbase ``L``, centre of gravity ``b`` ahead of the rear axle [m].  From the balance of forces and of moments
    about the rear contact: N_front·((L + r·s)·c + h·s) = W·b − F·((L + r·s)·s − h·c).
    """
    s, c = corner(r, h)
    reach = L + r * s
    front = (W * b - F * (reach * s - h * c)) / (reach * c + h * s)
    return front, W - front * c - F * s, front * s - F * c


@compiled
def rear_axle_at_step(W, push, r, h, L, b, z):
    """Return (N_front, N_rear, F) [N] at which the rear wheels, on the corner only, just start to lift.

    The front wheels are up already and push with ``push`` [N]; ``F`` is what the rear wheels must pull with along the
    corner's tangent.  Wheelbase ``L`` ≥ h, centre of gravity ``b`` ahead of the rear axle and ``z`` above the axles'
    plane [m], which leans back by phi with sin(phi) = h/L.  Both contacts lie at the height h, so that moments about
    the corner give N_front·(L·cos(phi) − r·s) = W·(b·cos(phi) − z·sin(phi) − r·s).
    """
    s, c = corner(r, h)
    lean = h / L
    cos_phi = sqrt(1.0 - lean * lean)
    front = W * (b * cos_phi - z * lean - r * s) / (L * cos_phi - r * s)
    left = W - front
    return front, left * c + push * s, left * s - push * c


@compiled
def steepest_grade(mu, driven_front, driven_rear, L, a, hg):
    """Return the steepest slope [rad] that friction allows; ``a`` [m] centre of gravity behind the front axle.

    ``driven_front``, ``driven_rear`` are booleans, ``hg`` [m] the height of the centre of gravity.  Rear drive
    gives pi/2 where friction sets no limit (mu·hg ≥ L: the rover tips over first).
    Source: Wong, Theory of Ground Vehicles; Gillespie, Fundamentals of Vehicle Dynamics.
    """
    if driven_front and driven_rear:
        return atan(mu)
    if driven_rear:
        return atan2(mu * a, max(0.0, L - mu * hg))
    if driven_front:
        return atan(mu * (L - a) / (L + mu * hg))
    return 0.0


@compiled
def grade_by_torque(torque, drag, rolling, r, W):
    """Return the steepest slope [rad] that all driven wheels' ``torque`` [N·m] climbs; 0 where it cannot roll on level.

    Balance: torque = r·W·(sin + rolling·cos) + drag, ``drag`` [N·m] of all bearings, ``rolling`` the coefficient of
    rolling resistance, wheels of radius ``r`` [m] under the weight ``W`` [N]; with rolling = tan(rho) the bracket is
    sin(slope + rho)/cos(rho).  pi/2 where no slope is too steep.
    """
    rho = atan(rolling)
    share = (torque - drag) / (r * W) * cos(rho)
    if share >= 1.0:
        return pi / 2.0
    return max(0.0, asin(share) - rho) if share > 0.0 else 0.0


@compiled
def axle_loads(W, slope, L, a, hg):
    """Return (front, rear) axle loads [N] of a rover facing up a ``slope`` [rad]."""
    shift = W * sin(slope) * hg / L
    level = W * cos(slope)
    return level * (L - a) / L - shift, level * a / L + shift


@compiled
def step_at_tipping(L, b, z):
    """Return the height [m] of the front wheels above the rear ones at which a rover tips over backwards.

    Wheelbase ``L``, centre of gravity ``b`` ahead of the rear axle and ``z`` above the axles' plane [m], which leans
    back by phi with sin(phi) = h/L until b·cos(phi) = z·sin(phi); ``L`` where the centre lies below that plane.
    """
    if z <= 0.0:
        return L
    return L * max(0.0, b) / hypot(b, z)


@compiled
def side_moment(x, hold):
    """Return the moment [N·m] that wheels at ``x`` [m], held sideways by ``hold`` [N] each, set against turning.

    Rigid Coulomb friction: side forces |s| ≤ hold that add up to nothing make Σ x·s at most the least of
    Σ hold·|x − x0| over all centres x0 along the wheelbase (duality of linear programs), and a wheel's own place is
    such a centre.
    """
    least = inf
    for centre in x:
        moment = 0.0
        for i in range(len(x)):
            moment += hold[i] * abs(x[i] - centre)
        least = min(least, moment)
    return least


@compiled
def turning_moment(mu, W, L):
    """Return the moment [N·m] that friction sets against turning a four-wheeled rover on the spot.

    Even loads, every wheel sliding straight sideways: mu·W·L/2 with wheelbase L; an upper bound.
    """
    return mu * W * L / 2.0
