"""Surface-magnet motor in the rotor's d–q frame; scalar equations only, imports nothing but the compiler.

Amplitude-invariant convention: ``vd, vq, id, iq`` are peak phase values; ``R`` [ohm] and ``L`` [H] per phase of
the equivalent star, ``lam`` [Wb] peak flux linkage per phase, ``p`` pole pairs, ``we`` [rad/s] electrical speed:

    vd = R·id + L·did/dt − we·L·iq,    vq = R·iq + L·diq/dt + we·L·id + we·lam,    T = 1.5·p·lam·iq

Source: the standard equations of the cylindrical-rotor synchronous machine (Fitzgerald; Chapman).
"""

from math import acos, atan2, cos, exp, sin, sqrt

from drivesim._compile import compiled

_DECAYED = 40.0  # exp(−40) is below the rounding of a double


@compiled
def steady_current(vd, vq, R, L, lam, we):
    """Return the steady (id, iq) [A] for constant voltages [V]: (vd + j·vq − j·we·lam)/(R + j·we·L)."""
    X = we * L
    Z2 = R * R + X * X
    vq_net = vq - we * lam
    return (R * vd + X * vq_net) / Z2, (R * vq_net - X * vd) / Z2


@compiled
def limit_current(vd, vq, R, L, lam, we, limit):
    """Return (vd, vq, limited): the voltages [V] whose steady current has at most the size ``limit`` [A].

    A greater current keeps its direction.  The voltage then lies on the straight line from the motor's own
    EMF we·lam to the one asked for, so its size never exceeds the greater of the two.  ``limited`` is 1.0 or
    0.0; ``limit`` ≥ 0 may be inf.
    """
    id_, iq = steady_current(vd, vq, R, L, lam, we)
    square = id_ * id_ + iq * iq
    if square <= limit * limit:
        return vd, vq, 0.0
    share = limit / sqrt(square)
    return share * vd, share * vq + (1.0 - share) * we * lam, 1.0


@compiled
def advance_current(id_, iq, vd, vq, R, L, lam, we, dt):
    """Step the currents exactly over ``dt`` [s] at constant voltages and speed.

    Rotation and decay toward the steady state, so any L/R is stable.  Returns (id, iq) at the end [A], their
    means over the step [A], and the mean of id² + iq² [A²].
    """
    sd, sq = steady_current(vd, vq, R, L, lam, we)
    dd, dq = id_ - sd, iq - sq
    a = R / L * dt
    b = we * dt
    if a > _DECAYED:
        decay_cos = decay_sin = decay2 = 0.0
    else:
        decay = exp(-a)
        decay_cos, decay_sin, decay2 = decay * cos(b), decay * sin(b), decay * decay
    # m = (1 − e^−(a+jb))/(a + jb), the mean of the decaying part
    size2 = a * a + b * b
    md = ((1.0 - decay_cos) * a + decay_sin * b) / size2
    mq = (decay_sin * a - (1.0 - decay_cos) * b) / size2
    ed = dd * md - dq * mq
    eq = dd * mq + dq * md
    mean_square = (
        sd * sd + sq * sq + 2.0 * (sd * ed + sq * eq) + (dd * dd + dq * dq) * (1.0 - decay2) / (2.0 * a)
    )
    return (
        sd + dd * decay_cos + dq * decay_sin,
        sq + dq * decay_cos - dd * decay_sin,
        sd + ed,
        sq + eq,
        mean_square,
    )


@compiled
def torque(iq, p, lam):
    """Return the torque T = 1.5·p·lam·iq [N·m]."""
    return 1.5 * p * lam * iq


@compiled
def copper_loss(current_squared, R):
    """Return the three phases' loss 1.5·R·(id² + iq²) [W]."""
    return 1.5 * R * current_squared


@compiled
def electrical_power(vd, vq, id_, iq):
    """Return the power into the three phases 1.5·(vd·id + vq·iq) [W]."""
    return 1.5 * (vd * id_ + vq * iq)


@compiled
def magnetic_energy(id_, iq, L):
    """Return the energy held in the phase inductances 0.75·L·(id² + iq²) [J]."""
    return 0.75 * L * (id_ * id_ + iq * iq)


@compiled
def forced_voltages(V, delta):
    """Return (vd, vq) [V] of a field of amplitude ``V`` leading the rotor by ``delta`` [rad electrical]."""
    return -V * sin(delta), V * cos(delta)


@compiled
def load_angle_torque(V, delta, R, L, lam, p, we):
    """Return the steady torque [N·m] of a forced field at load angle ``delta`` [rad electrical]."""
    vd, vq = forced_voltages(V, delta)
    _, iq = steady_current(vd, vq, R, L, lam, we)
    return torque(iq, p, lam)


@compiled
def pull_out_angle(R, L, we):
    """Return the load angle of the greatest torque, atan(we·L/R) [rad electrical]."""
    return atan2(we * L, R)


@compiled
def pull_out_torque(V, R, L, lam, p, we):
    """Return the greatest steady torque of a forced field, 1.5·p·lam·(V/Z − E·R/Z²) [N·m].

    E = we·lam, Z² = R² + (we·L)².  Valid for we ≥ 0 and torque along the field's motion.
    """
    Z2 = R * R + (we * L) ** 2
    return 1.5 * p * lam * (V / sqrt(Z2) - we * lam * R / Z2)


@compiled
def load_angle_for_torque(T, V, R, L, lam, p, we):
    """Return the load angle [rad electrical] at which a forced field makes the steady torque ``T`` [N·m].

    The stable one, before pull-out: atan2(we·L, R) − acos((T/Kt + E·R/Z²)·Z/V) with Kt = 1.5·p·lam; the pull-out
    angle itself where the field of amplitude ``V`` [V] cannot make so much.  ``load_angle_torque`` is the inverse.
    """
    Z = sqrt(R * R + (we * L) ** 2)
    needed = (T / (1.5 * p * lam) + we * lam * R / (Z * Z)) * Z
    if needed >= V:
        return pull_out_angle(R, L, we)
    return pull_out_angle(R, L, we) - acos(max(-1.0, needed / V))


@compiled
def hunting_frequency(T_peak, T_load, p, J):
    """Return the small-signal swing frequency sqrt(p·T_peak·cos(delta0)/J) [rad/s], delta0 = asin(T_load/T_peak).

    For a field of constant torque amplitude; J [kg·m²].  Source: Acarnley, Stepping Motors.
    """
    share = T_load / T_peak
    return sqrt(p * T_peak * sqrt(1.0 - share * share) / J)


@compiled
def start_frequency_limit(T_peak, p, J):
    """Return the greatest electrical frequency [rad/s] that an aligned, free rotor at rest locks to: 2·w_n.

    The separatrix of the undamped pendulum; load and friction lower it.
    """
    return 2.0 * hunting_frequency(T_peak, 0.0, p, J)


@compiled
def cogging(amplitude, per_turn, angle):
    """Return the cogging torque −amplitude·sin(per_turn·angle) [N·m] at rotor ``angle`` [rad]."""
    return -amplitude * sin(per_turn * angle)


@compiled
def ripple_factor(share, electrical_angle):
    """Return 1 + share·cos(6·angle): the sixth-harmonic torque ripple of a three-phase machine."""
    return 1.0 + share * cos(6.0 * electrical_angle)


@compiled
def dc_speed_for_torque(T, V, R, lam, p):
    """Return the speed [rad/s] at which a self-commutated wheel makes ``T`` [N·m] at amplitude ``V`` [V].

    The torque–speed line of the DC machine with Ke = p·lam and Kt = 1.5·p·lam: w = (V − R·T/Kt)/Ke.
    """
    return (V - R * T / (1.5 * p * lam)) / (p * lam)


@compiled
def voltage_for_torque(T, R, L, lam, p, we):
    """Return the amplitude [V] at which a self-commutated wheel makes ``T`` [N·m]: E + (T/Kt)·Z²/R.

    The inverse of the torque of ``steady_current(0, V, …)``: vd is zero, so that iq = (V − E)·R/Z².
    """
    X = we * L
    return we * lam + T / (1.5 * p * lam) * (R * R + X * X) / R


@compiled
def stall_torque(V, R, lam, p):
    """Return the torque at standstill Kt·V/R [N·m] of a self-commutated wheel at amplitude ``V`` [V]."""
    return 1.5 * p * lam * V / R


@compiled
def mechanical_time_constant(R, J, lam, p):
    """Return R·J/(Kt·Ke) [s] of a self-commutated wheel, Kt·Ke = 1.5·(p·lam)²."""
    return R * J / (1.5 * (p * lam) ** 2)
