"""Rigid wheel on soft soil; scalar equations only, imports nothing but the compiler.

Pressure under a plate grows with sinkage: p = k·z^n, k = k_c/b + k_phi, with sinkage ``z`` [m] of the wheel's
lowest point, wheel width ``b`` [m] and diameter ``D`` [m], exponent 0 < n < 3, k_c [N/m^(n+1)], k_phi and k
[N/m^(n+2)].  Bekker himself calls the wheel formulas poor for small wheels (D < 0.5 m) and deep sinkage.
Source: Bekker, Theory of Land Locomotion; Wong, Theory of Ground Vehicles (both from memory).
"""

from math import atan2, expm1, sqrt

from drivesim._compile import compiled

_SMALL = 1e-3  # below it the series of mean_shear is the more exact


@compiled
def pressure(z, k_c, k_phi, n, b):
    """Return the pressure [Pa] under a plate of smaller side ``b`` at sinkage ``z``: (k_c/b + k_phi)·z^n."""
    if z <= 0.0:
        return 0.0
    return modulus(k_c, k_phi, b) * z**n


@compiled
def modulus(k_c, k_phi, b):
    """Return k = k_c/b + k_phi [N/m^(n+2)], what a strip of width ``b`` meets."""
    return k_c / b + k_phi


@compiled
def wheel_load(z, b, D, n, k):
    """Return the load [N] that a rigid wheel carries at sinkage ``z``: (3 − n)/3·b·k·sqrt(D)·z^(n + 1/2)."""
    if z <= 0.0:
        return 0.0
    return (3.0 - n) / 3.0 * b * k * sqrt(D) * z ** (n + 0.5)


@compiled
def sinkage_under_load(load, b, D, n, k):
    """Return the sinkage [m] of a rigid wheel under ``load`` [N], the inverse of ``wheel_load``."""
    if load <= 0.0:
        return 0.0
    return (3.0 * load / ((3.0 - n) * b * k * sqrt(D))) ** (1.0 / (n + 0.5))


@compiled
def load_slope(load, z, n):
    """Return how the ``load`` [N] of ``wheel_load`` grows with sinkage, dN/dz = (n + 1/2)·N/z [N/m]; 0 for z ≤ 0."""
    if z <= 0.0:
        return 0.0
    return (n + 0.5) * load / z


@compiled
def compaction_resistance(z, b, k, n):
    """Return the resistance [N] of pressing a rut of depth ``z``: b·k·z^(n + 1)/(n + 1).

    It is the work per metre of travel; for two tracks it counts twice.
    """
    if z <= 0.0:
        return 0.0
    return b * k * z ** (n + 1.0) / (n + 1.0)


@compiled
def contact_length(z, D):
    """Return the length [m] of ground, seen from above, under a sunk wheel: sqrt(D·z − z²), at most D/2."""
    if z <= 0.0:
        return 0.0
    if z >= 0.5 * D:
        return 0.5 * D
    return sqrt(z * (D - z))


@compiled
def greatest_thrust(area, cohesion, load, tan_phi, lug_height, width):
    """Return the greatest thrust [N] that the soil gives: A·c·(1 + 2·h/b) + N·tan(phi)·(1 + 0.64·(h/b)·atan(b/h)).

    ``area`` A [m²] of the contact, ``cohesion`` c [Pa], ``load`` N [N], ``lug_height`` h [m], ``width`` b [m].
    Without lugs it is A·c + N·tan(phi).
    """
    if lug_height <= 0.0:
        return area * cohesion + load * tan_phi
    ratio = lug_height / width
    return area * cohesion * (1.0 + 2.0 * ratio) + load * tan_phi * (
        1.0 + 0.64 * ratio * atan2(width, lug_height)
    )


@compiled
def janosi_hanamoto(j, K):
    """Return the used share 1 − e^(−j/K) of the soil's strength at shear displacement ``j`` [m]; 0 for j ≤ 0.

    ``K`` [m] is the shear modulus.  Source: Janosi and Hanamoto, 1961 (from memory).
    """
    if j <= 0.0:
        return 0.0
    return -expm1(-j / K)


@compiled
def mean_shear(u, K):
    """Return the mean of that share over a contact whose shear grows evenly from 0 to ``u`` [m]; 0 for u ≤ 0.

    1 − (K/u)·(1 − e^(−u/K)), u = slip·contact length; a series where that would lose digits.
    """
    if u <= 0.0:
        return 0.0
    x = u / K
    if x < _SMALL:
        return x * (0.5 - x * (1.0 / 6.0 - x * (1.0 / 24.0 - x / 120.0)))
    return 1.0 + expm1(-x) / x
