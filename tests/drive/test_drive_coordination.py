"""What one host asks of all wheels: sums, shares and limits, along each wheel's own command."""

from __future__ import annotations

import numpy as np
import pytest
from drive_records import parameters, samples, states
from hypothesis import given, settings
from hypothesis import strategies as st

from drivesim.drive.controller import SPEED_LOOP
from drivesim.drive.coordination import (
    CROSS_COUPLED,
    DROOP,
    EQUAL_CURRENT,
    SLIP_LIMITED,
    coordinate,
    corrected,
)
from drivesim.engine import records

EVERY = 0.02  # s
numbers = st.floats(-30, 30).map(lambda x: round(x, 6))  # nothing so small that its inverse is infinite


def host(kind, **changed):
    """Return body parameters and state for one kind of coordination."""
    P = records.as_record_array(np.zeros(1, records.BODY))
    b = records.as_record_array(np.zeros(1, records.BODY_STATE))
    P.coordination = kind
    for name, value in changed.items():
        P[f"coordination_{name}"] = value
    return P[0], b[0]


def coordinated(kind, w, **changed):
    P, b = host(kind, **changed)
    coordinate(P, b, parameters(len(w), coordination=kind), w, EVERY)
    return w


@settings(deadline=None, derandomize=True, max_examples=200)
@given(
    st.lists(st.tuples(numbers, numbers, st.sampled_from((0, 1, 1, 2))), min_size=1, max_size=6),
    st.floats(0, 2),
)
def test_cross_coupling_takes_from_one_what_it_gives_to_another(rows, gain):
    command, measured, powered = (np.array(column, float) for column in zip(*rows, strict=True))
    w = states(len(rows), command=command, measured=measured, powered=powered, correction=7.0)
    coordinated(CROSS_COUPLED, w, gain=gain)
    size = 1 + np.abs(measured).sum()
    assert abs((np.sign(command) * w.correction).sum()) < 1e-9 * size
    left_out = (powered != 1) | (command == 0)
    assert (w.correction[left_out] == 0).all()
    taken = ~left_out
    if np.count_nonzero(taken) == 1:
        assert np.abs(w.correction[taken]).max() < 1e-9 * size


def test_cross_coupling_pulls_toward_the_mean_and_leaves_a_turn_alone():
    w = coordinated(CROSS_COUPLED, states(4, command=10.0, measured=(9.0, 9.0, 9.0, 5.0)), gain=0.5)
    assert w.correction == pytest.approx([-0.5, -0.5, -0.5, 1.5])  # half of the way to the mean of 8
    turn = np.array([-4.0, 12.0, -4.0, 12.0])
    w = coordinated(CROSS_COUPLED, states(4, command=turn, measured=0.8 * turn), gain=0.5)
    assert w.correction == pytest.approx(np.zeros(4), abs=1e-12)


def test_droop_lets_unequal_wheels_share_the_load():
    """Set-points fall by g·i; wheels tied to one speed v then carry i = (c − v)/g, whatever their own errors.

    Source: droop control of paralleled sources, textbook (from memory): without droop the wheel with the greater
    set-point takes all, with it the difference in current is the difference in set-point over the droop.
    """
    gain, v = 2.0, 9.0
    command = np.array([10.0, 10.4])
    w = states(2, command=command, iq=(command - v) / gain)
    coordinated(DROOP, w, gain=gain)
    assert w.command + w.correction == pytest.approx([v, v])
    assert np.ptp(w.iq) == pytest.approx(0.4 / gain)


@settings(deadline=None, derandomize=True, max_examples=200)
@given(numbers, numbers, st.floats(0, 5))
def test_droop_yields_to_load_both_ways_and_never_past_zero(command, iq, gain):
    w = coordinated(DROOP, states(1, command=command, iq=iq), gain=gain)
    target = corrected(command, w.correction[0])
    assert target * command >= 0
    if command * iq >= 0:
        assert abs(target) <= abs(command) + 1e-12
        assert abs(target) == pytest.approx(max(0.0, abs(command) - gain * abs(iq)), abs=1e-9)
    else:  # dragged along by the others: it gives way, too
        assert abs(target) == pytest.approx(abs(command) + (gain * abs(iq) if command else 0), abs=1e-9)


def test_equal_current_gives_wheels_of_any_resistance_and_speed_the_same_current():
    """The steady current at standstill voltages: i = (V − p·lam·w)/(R + Rds) is what was asked for."""
    R, speed = np.array([0.5, 1.0, 1.0, 2.0]), np.array([8.0, 9.0, -7.0, 0.0])
    command = np.array([10.0, 10.0, -10.0, 10.0])
    fields = {"resistance": R, "on_resistance": 0.1, "coordination": EQUAL_CURRENT, "strategy": SPEED_LOOP}
    p, w = parameters(4, **fields), states(4, command=command)
    for i in range(4):
        samples(p[i], w[i], speed[i], 1)
    P, b = host(EQUAL_CURRENT, kp=0.2, ki=1.0, most=5.0)
    coordinate(P, b, p, w, EVERY)
    for i in range(4):
        samples(p[i], w[i], speed[i], 1)
    current = (w.amplitude - 4 * p.flux_linkage * speed) / (R + 0.1)
    error = (2.0 + 1.0 + 3.0 + 10.0) / 4
    assert current == pytest.approx(np.sign(command) * (0.2 + 1.0 * EVERY) * error)


def test_equal_current_holds_its_bound_and_brakes_what_has_no_command():
    w = states(3, command=(10.0, 10.0, 0.0), setpoint=(10.0, 10.0, 0.0), measured=(0.0, 0.0, -2.0))
    p, (P, b) = parameters(3), host(EQUAL_CURRENT, kp=0.2, ki=5.0, most=1.5)
    for _ in range(200):
        coordinate(P, b, p, w, EVERY)
    assert w.current_command == pytest.approx([1.5, 1.5, 0.4])
    assert b.host_integral < 1.5  # nothing is wound up while the bound holds
    w.powered[0] = 0
    w.measured = (100.0, 11.0, -2.0)  # the wheel without power counts no more
    b.host_integral = 0.0
    coordinate(P, b, p, w, EVERY)
    assert w.current_command == pytest.approx([0.0, -(0.2 + 5.0 * EVERY), 0.4])
    w.command = w.setpoint = 0.0
    coordinate(P, b, p, w, EVERY)
    assert b.host_integral == 0
    assert w.current_command == pytest.approx([0.0, -1.5, 0.4])


def test_a_runaway_is_held_to_what_the_others_reach():
    """One wheel in the air, three in sand at 30 % of their commands: it gets their share and the margin."""
    command = np.array([10.0, -10.0, 5.0, 10.0])
    w = states(4, command=command, measured=command * (0.3, 0.3, 0.3, 1.0))
    coordinated(SLIP_LIMITED, w, margin=0.2)
    share = (w.command + w.correction) / command
    assert share[3] == pytest.approx(0.3 + 0.2)
    others = (0.3 * 15 + 10) / 25, (0.3 * 15 + 10) / 25, (0.3 * 20 + 10) / 30
    assert share[:3] == pytest.approx(np.minimum(1, np.array(others) + 0.2))


def test_a_standing_rover_gets_going_under_a_slip_limit():
    """From rest each wheel may do the margin; if all follow, the limit runs out of the way, if none do, it stays."""
    for follows in (True, False):
        w = states(4, command=(10.0, 10.0, -6.0, -6.0), powered=(1, 1, 1, 1))
        P, b = host(SLIP_LIMITED, margin=0.1)
        shares = []
        for _ in range(15):
            coordinate(P, b, parameters(4), w, EVERY)
            shares.append((w.command + w.correction) / w.command)
            w.measured = w.command + w.correction if follows else -0.2 * w.command
        assert shares[0] == pytest.approx(0.1)
        expected = np.minimum(1.0, 0.1 * np.arange(1, 16)) if follows else np.full(15, 0.1)
        assert np.array(shares) == pytest.approx(np.repeat(expected[:, None], 4, axis=1))


def test_a_wheel_alone_is_not_held():
    w = states(3, command=(10.0, 0.0, 10.0), measured=0.0, powered=(1, 1, 0))
    coordinated(SLIP_LIMITED, w, margin=0.1)
    assert (w.correction == 0).all()


def test_corrections_stop_with_the_command_and_keep_the_way():
    """sample() follows command + correction, never turns it round, and stops when told to."""
    p = parameters(kp=0.1, ki=1.0)[0]
    for command, correction, expected in (
        (10.0, 2.0, 12.0), (10.0, -12.0, 0.0), (-10.0, 12.0, 0.0), (-10.0, -1.0, -11.0), (0.0, 5.0, 0.0),
    ):  # fmt: skip
        w = states(command=command, correction=correction)[0]
        samples(p, w, 0.0, 1)
        assert w.setpoint == expected
    # held back to zero for a while is not told to stop: the integral is kept; told to stop, it is let go
    w = states(command=10.0, setpoint=10.0, integral=1.0, correction=-20.0)[0]
    samples(p, w, 0.0, 1)
    assert w.integral == 1.0
    w = states(command=0.0, setpoint=10.0, integral=1.0, correction=-20.0)[0]
    samples(p, w, 0.0, 1)
    assert w.integral == 0.0
