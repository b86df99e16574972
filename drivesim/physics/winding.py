"""Copper resistance and its temperature; scalar equations only, imports nothing but the compiler."""

from drivesim._compile import compiled

COPPER_RESISTIVITY_20 = 1.0 / 58e6  # ohm·m at 20 degC, IEC 60028
COPPER_COEFFICIENT_20 = 3.93e-3  # 1/K at 20 degC, IEC 60028


@compiled
def conductor_resistance(length, area, temperature):
    """Return the resistance [ohm] of a copper conductor: rho(T)·length/area, length [m], area [m²], T [degC]."""
    return COPPER_RESISTIVITY_20 * (1.0 + COPPER_COEFFICIENT_20 * (temperature - 20.0)) * length / area


@compiled
def resistance_at(R, given_at, temperature, alpha20):
    """Return a resistance [ohm] known at ``given_at`` [degC] at another temperature [degC].

    R·(1 + alpha20·(T − 20))/(1 + alpha20·(T_given − 20)): the coefficient counts from 20 degC, wherever R was
    measured.
    """
    return R * (1.0 + alpha20 * (temperature - 20.0)) / (1.0 + alpha20 * (given_at - 20.0))
