"""Heat of a winding, alone or in a housing; scalar equations only, imports nothing but the compiler."""

from math import inf, sqrt

from drivesim._compile import compiled


@compiled
def node_rate(power, temperature, ambient, R_th, C):
    """Return dT/dt = (power − (T − T_ambient)/R_th)/C [K/s]; power [W], R_th [K/W], C [J/K]."""
    return (power - (temperature - ambient) / R_th) / C


@compiled
def two_node_rates(power, T_w, T_h, ambient, R_wh, C_w, R_ha, C_h):
    """Return (dT_w/dt, dT_h/dt) [K/s] of a winding in a housing that stands in ambient air.

    C_w·dT_w/dt = power − (T_w − T_h)/R_wh,  C_h·dT_h/dt = (T_w − T_h)/R_wh − (T_h − ambient)/R_ha;  power [W]
    in the winding, R [K/W], C [J/K].  With C_h = inf the housing stays as it is, whatever R_ha.
    """
    winding_rate = node_rate(power, T_w, T_h, R_wh, C_w)
    if C_h == inf:
        return winding_rate, 0.0
    return winding_rate, node_rate((T_w - T_h) / R_wh, T_h, ambient, R_ha, C_h)


@compiled
def two_node_time_constants(R_wh, C_w, R_ha, C_h, loss_slope):
    """Return the (slow, fast) time constants [s] of those two nodes.

    ``loss_slope`` [W/K] is how the loss grows with the winding's temperature: I²·R20·alpha20 of a constant
    current, 0 of a constant loss.  Slow is inf where nothing settles: loss_slope·(R_wh + R_ha) ≥ 1, or a
    housing that stays as it is (C_h = inf).  From the eigenvalues of the linear system.
    """
    if C_h == inf:
        rate = (1.0 / R_wh - loss_slope) / C_w
        return inf, 1.0 / rate if rate > 0.0 else inf
    total = (1.0 / R_wh - loss_slope) / C_w + (1.0 / R_wh + 1.0 / R_ha) / C_h
    product = (1.0 - loss_slope * (R_wh + R_ha)) / (R_wh * C_w * R_ha * C_h)
    fast_rate = 0.5 * (total + sqrt(max(0.0, total * total - 4.0 * product)))
    slow = fast_rate / product if product > 0.0 else inf
    return slow, 1.0 / fast_rate if fast_rate > 0.0 else inf


@compiled
def housing_temperature(T_w, ambient, R_wh, R_ha):
    """Return where the housing settles [degC] around a winding that has settled at ``T_w`` [degC]."""
    return ambient + (T_w - ambient) * R_ha / (R_wh + R_ha)


@compiled
def runaway_current(R20, R_th, alpha20):
    """Return the constant current 1/sqrt(alpha20·R20·R_th) [A] from which heat feeds itself (loss I²·R)."""
    return 1.0 / sqrt(alpha20 * R20 * R_th)


@compiled
def final_temperature(current, R20, R_th, ambient, alpha20):
    """Return where a winding of resistance R20·(1 + alpha20·(T − 20)) settles [degC]; inf on runaway.

    ``R_th`` [K/W] is all of the way to the ambient air: R_wh + R_ha of a winding in a housing.
    """
    loss_now = current * current * R20 * (1.0 + alpha20 * (ambient - 20.0))
    growth = current * current * R20 * alpha20 * R_th
    if growth >= 1.0:
        return inf
    return ambient + loss_now * R_th / (1.0 - growth)


@compiled
def continuous_current(limit, R20, R_th, ambient, alpha20):
    """Return the constant current [A] that settles just at ``limit`` [degC] (loss I²·R at the limit).

    0 where the ambient air is at the limit already.
    """
    return sqrt(max(0.0, limit - ambient) / (R_th * R20 * (1.0 + alpha20 * (limit - 20.0))))


@compiled
def final_temperature_at_voltage(loss20, R_th, ambient, alpha20):
    """Return where a winding settles [degC] that takes ``loss20`` [W] at 20 degC from a constant voltage.

    Its loss falls as its resistance grows, so it cannot run away: the positive root of
    (T − T_ambient)·(1 + alpha20·(T − 20)) = R_th·loss20.
    """
    b = 1.0 + alpha20 * (20.0 - ambient)  # in x = T − 20
    c = 20.0 - ambient - R_th * loss20
    return 20.0 + (-b + sqrt(b * b - 4.0 * alpha20 * c)) / (2.0 * alpha20)


@compiled
def stall_voltage(limit, R20, R_th, ambient, alpha20):
    """Return the peak phase amplitude [V] which, held at standstill, just settles at ``limit`` [degC].

    The loss of the three phases is 1.5·V²/R(T), so V = sqrt((limit − ambient)·R(limit)/(1.5·R_th)); ``R20``
    [ohm] per phase at 20 degC.  0 where the ambient air is at the limit already.
    """
    R = R20 * (1.0 + alpha20 * (limit - 20.0))
    return sqrt(max(0.0, limit - ambient) * R / (1.5 * R_th))


@compiled
def cut_back_factor(temperature, start, end):
    """Return the share of the voltage allowed at ``temperature`` [degC]: 1 up to ``start``, 0 from ``end`` > start on.

    Straight between; ``start`` may be inf, for no cutting back.
    """
    if temperature <= start:
        return 1.0
    if temperature >= end:
        return 0.0
    return (end - temperature) / (end - start)
