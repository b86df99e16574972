"""What a wheel or its winding does on the bench; scalar equations only, composes motor, heat and winding."""

from math import exp

from drivesim._compile import compiled
from drivesim.physics.heat import two_node_rates
from drivesim.physics.motor import copper_loss, limit_current, pull_out_torque, steady_current, torque
from drivesim.physics.winding import resistance_at

_ROUNDS = 60
_CLOSE = 1e-12  # share of the speed
_SLOW = 1e-9  # of bt/J, below which viscous drag has not acted


@compiled
def back_emf(speed, p, lam):
    """Return the peak phase voltage p·lam·speed [V] of a motor whose leads are open; ``speed`` [rad/s].

    Source: the voltage equations of ``drivesim.physics.motor`` without current.
    """
    return p * lam * speed


@compiled
def limited_current(V, R, L, lam, we, limit):
    """Return the steady (id, iq) [A] at amplitude ``V`` [V] on the q axis under a driver that allows ``limit`` [A]."""
    vd, vq, _ = limit_current(0.0, V, R, L, lam, we, limit)
    return steady_current(vd, vq, R, L, lam, we)


@compiled
def spare_torque(speed, V, load, b, R, L, lam, p, limit):
    """Return the motor's torque at amplitude ``V`` [V] on the q axis less load + b·speed [N·m].

    ``load`` [N·m] is dry drag and brake together, ``b`` [N·m·s/rad]; the torque is that of the steady current, of
    which the driver allows ``limit`` [A] (inf: any).
    """
    _, iq = limited_current(V, R, L, lam, p * speed, limit)
    return torque(iq, p, lam) - load - b * speed


@compiled
def running_speed(V, load, b, R, L, lam, p, limit):
    """Return the speed [rad/s] ≥ 0 at which a self-commutated wheel carries load + b·speed at amplitude ``V``.

    The root of ``spare_torque`` by secants, by halves where a secant leads out of the bracket; 0 where the torque at
    standstill does not exceed ``load``.  With L = 0 and no limit it is the textbook's DC machine:
    (Kt·V/R − load)/(Kt·Ke/R + b), Kt = 1.5·p·lam, Ke = p·lam.
    """
    at_rest = spare_torque(0.0, V, load, b, R, L, lam, p, limit)
    if at_rest <= 0.0:
        return 0.0
    low, high = 0.0, V / (p * lam)  # without any drag
    before, spare = 0.0, at_rest
    speed = high
    for _ in range(_ROUNDS):
        here = spare_torque(speed, V, load, b, R, L, lam, p, limit)
        if here > 0.0:
            low = speed
        else:
            high = speed
        if here == 0.0:
            break
        new = speed - here * (speed - before) / (here - spare) if here != spare else low - 1.0
        if not low <= new <= high:
            new = 0.5 * (low + high)
        before, spare, speed = speed, here, new
        if abs(speed - before) <= _CLOSE * abs(speed):
            break
    return speed


@compiled
def coasting_speed(start, dry, b, J, t):
    """Return the speed [rad/s] at ``t`` [s] of a wheel let go at ``start`` ≥ 0 with dry drag and viscous drag b·w.

    J·dw/dt = −dry − b·w solved exactly: (start + dry/b)·exp(−b·t/J) − dry/b, and 0 once it has stopped.
    ``dry`` [N·m], ``b`` [N·m·s/rad], ``J`` [kg·m²].
    """
    decayed = b * t / J
    if abs(decayed) < _SLOW:
        return max(0.0, start - dry * t / J)
    share = exp(-decayed)
    return max(0.0, start * share - dry / b * (1.0 - share))


@compiled
def pull_out_margin(load, V, b, R, L, lam, p, speed):
    """Return how much more brake torque [N·m] a forced field at ``speed`` [rad/s] holds than ``load`` + b·speed."""
    return pull_out_torque(V, R, L, lam, p, p * speed) - load - b * speed


@compiled
def _heating(T_w, T_h, current, R, given_at, alpha20, ambient, R_wh, C_w, R_ha, C_h):
    """Return (dT_w/dt, dT_h/dt) [K/s] at a constant peak phase current, with the resistance of the moment."""
    loss = copper_loss(current * current, resistance_at(R, given_at, T_w, alpha20))
    return two_node_rates(loss, T_w, T_h, ambient, R_wh, C_w, R_ha, C_h)


@compiled
def warmed(T_w, T_h, current, R, given_at, alpha20, ambient, R_wh, C_w, R_ha, C_h, dt, steps):
    """Return (T_w, T_h) [degC] after ``dt`` [s] at a constant peak phase ``current`` [A].

    The two nodes of ``heat.two_node_rates`` under the loss of the moment, by ``steps`` steps of the classical
    Runge–Kutta method; ``R`` [ohm] per phase at ``given_at`` [degC].
    """
    h = dt / steps
    for _ in range(steps):
        a_w, a_h = _heating(T_w, T_h, current, R, given_at, alpha20, ambient, R_wh, C_w, R_ha, C_h)
        b_w, b_h = _heating(
            T_w + 0.5 * h * a_w, T_h + 0.5 * h * a_h, current, R, given_at, alpha20, ambient,
            R_wh, C_w, R_ha, C_h,
        )  # fmt: skip
        c_w, c_h = _heating(
            T_w + 0.5 * h * b_w, T_h + 0.5 * h * b_h, current, R, given_at, alpha20, ambient,
            R_wh, C_w, R_ha, C_h,
        )  # fmt: skip
        d_w, d_h = _heating(
            T_w + h * c_w, T_h + h * c_h, current, R, given_at, alpha20, ambient, R_wh, C_w, R_ha, C_h
        )
        T_w += h / 6.0 * (a_w + 2.0 * b_w + 2.0 * c_w + d_w)
        T_h += h / 6.0 * (a_h + 2.0 * b_h + 2.0 * c_h + d_h)
    return T_w, T_h
