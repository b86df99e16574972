"""Heat of a winding as one node; scalar equations only, imports nothing but the compiler."""

from math import inf, sqrt

from drivesim._compile import compiled


@compiled
def node_rate(power, temperature, ambient, R_th, C):
    """Return dT/dt = (power − (T − T_ambient)/R_th)/C [K/s]; power [W], R_th [K/W], C [J/K]."""
    return (power - (temperature - ambient) / R_th) / C


@compiled
def runaway_current(R20, R_th, alpha20):
    """Return the constant current 1/sqrt(alpha20·R20·R_th) [A] from which heat feeds itself (loss I²·R)."""
    return 1.0 / sqrt(alpha20 * R20 * R_th)


@compiled
def final_temperature(current, R20, R_th, ambient, alpha20):
    """Return where a winding of resistance R20·(1 + alpha20·(T − 20)) settles [degC]; inf on runaway."""
    loss_now = current * current * R20 * (1.0 + alpha20 * (ambient - 20.0))
    growth = current * current * R20 * alpha20 * R_th
    if growth >= 1.0:
        return inf
    return ambient + loss_now * R_th / (1.0 - growth)


@compiled
def continuous_current(limit, R20, R_th, ambient, alpha20):
    """Return the constant current [A] that settles just at ``limit`` [degC] (loss I²·R at the limit)."""
    return sqrt((limit - ambient) / (R_th * R20 * (1.0 + alpha20 * (limit - 20.0))))


@compiled
def final_temperature_at_voltage(loss20, R_th, ambient, alpha20):
    """Return where a winding settles [degC] that takes ``loss20`` [W] at 20 degC from a constant voltage.

    Its loss falls as its resistance grows, so it cannot run away: the positive root of
    (T − T_ambient)·(1 + alpha20·(T − 20)) = R_th·loss20.
    """
    b = 1.0 + alpha20 * (20.0 - ambient)  # in x = T − 20
    c = 20.0 - ambient - R_th * loss20
    return 20.0 + (-b + sqrt(b * b - 4.0 * alpha20 * c)) / (2.0 * alpha20)
