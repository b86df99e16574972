"""What the kernel records: sums over each recording interval, and the clock of being stuck; no equation of its own."""

from math import sqrt, tau

from drivesim._compile import compiled
from drivesim.engine.records import ON
from drivesim.physics import body as rigid
from drivesim.physics import tyre


@compiled
def along_command(command, value):
    """Return ``value`` along the wheel's own commanded direction; zero without a command."""
    if command > 0.0:
        return value
    return -value if command < 0.0 else 0.0


@compiled
def record(p, w, c, m):
    """Add the wheel's present values to the sums of the recording interval."""
    tread_speed = c.hub_speed - c.slip_x
    m.commanded_speed += w.command
    m.measured_speed += w.measured
    m.wheel_speed += w.spin - c.body_rate
    m.slip_ratio += tyre.slip_ratio(c.hub_speed, tread_speed)
    m.slip_speed += c.slip_x
    m.normal_load += w.normal_load
    m.drive_force += w.drive_force
    m.side_force += w.side_force
    m.friction_limit += w.limit_x
    m.motor_torque += c.motor_torque
    m.current_d += w.id
    m.current_q += w.iq
    m.phase_voltage += c.voltage
    m.voltage_limited += c.limited
    m.current_limited += c.current_limited
    m.powered += 1.0 if w.powered == ON else 0.0
    m.angle_error += c.angle_error
    m.load_angle += c.load_angle
    m.pole_slips += w.pole_slips
    m.winding_temperature += w.temperature
    m.housing_temperature += w.housing_temperature
    m.sinkage += w.sinkage
    m.copper_loss += c.copper_power
    m.hub_speed += c.hub_speed
    m.hub_x += c.hub_x
    m.hub_y += c.hub_y
    m.hub_z += c.hub_z
    m.normal_x += c.n_x


@compiled
def note_progress(P, b, wheels, states, contacts):
    """Return progress and commanded progress [m/s], and run the clock of being stuck.

    The clock starts anew whenever the rover has come farther than it would at ``stuck_share`` of the command
    since then (counted over one to two ``stuck_after``): shaking on the spot does not count as moving.
    """
    progress = 0.0
    commanded = 0.0
    for i in range(wheels.shape[0]):
        progress += along_command(states[i].command, contacts[i].hub_speed)
        commanded += abs(states[i].command) * wheels[i].radius
    progress /= wheels.shape[0]
    commanded /= wheels.shape[0]
    b.crept += progress * P.dt
    b.stuck_for += P.dt
    if commanded == 0.0 or abs(b.crept) > P.stuck_share * commanded * min(
        max(P.stuck_after, b.stuck_for), 2.0 * P.stuck_after
    ):
        b.crept = 0.0
        b.stuck_for = 0.0
    return progress, commanded


@compiled
def record_body(P, b, rot, m, progress, commanded):
    """Add the body's present values to the sums of the recording interval; the lowest bus voltage is the run's."""
    b.sum_q0 += b.q0
    b.sum_q1 += b.q1
    b.sum_q2 += b.q2
    b.sum_q3 += b.q3
    m.x += b.x
    m.y += b.y
    m.z += b.z
    m.speed += b.speed
    m.turn_rate += rot[6] * b.wx + rot[7] * b.wy + rot[8] * b.wz
    m.progress_speed += progress
    m.commanded_progress += commanded
    m.stuck += 1.0 if b.stuck_for >= P.stuck_after else 0.0
    m.bus_voltage += b.bus_voltage
    b.lowest_bus = min(b.lowest_bus, b.bus_voltage)
    m.battery_current += b.battery_current
    m.state_of_charge += b.state_of_charge
    m.twist += b.twist


@compiled
def record_angles(b, m):
    """Set the angles of the interval's mean attitude (times its samples) and clear its sums."""
    size = sqrt(b.sum_q0 * b.sum_q0 + b.sum_q1 * b.sum_q1 + b.sum_q2 * b.sum_q2 + b.sum_q3 * b.sum_q3)
    roll, pitch, yaw = rigid.roll_pitch_yaw(
        b.sum_q0 / size, b.sum_q1 / size, b.sum_q2 / size, b.sum_q3 / size
    )
    turned = yaw - b.yaw
    b.yaw += turned - tau * round(turned / tau)
    m.roll, m.pitch, m.yaw = roll * b.sampled, pitch * b.sampled, b.yaw * b.sampled
    b.sum_q0 = b.sum_q1 = b.sum_q2 = b.sum_q3 = 0.0


@compiled
def record_fighting(m, states, contacts):
    """Add what the wheels do against each other, along their own commanded directions."""
    force_sizes = force_sum = power_sizes = power_sum = 0.0
    for i in range(states.shape[0]):
        force = along_command(states[i].command, states[i].drive_force)
        power = states[i].drive_force * contacts[i].hub_speed
        force_sizes += abs(force)
        force_sum += force
        power_sizes += abs(power)
        power_sum += power
    m.circulating_force += rigid.circulating(force_sizes, abs(force_sum))
    m.circulating_power += rigid.circulating(power_sizes, abs(power_sum))
    m.drive_power += power_sizes


@compiled
def write_row(b, body_sums, wheel_sums, body_log, wheel_log):
    """Write the means of the interval as the next row and clear the sums (flat views of the records)."""
    if b.rows < body_log.shape[0]:
        for j in range(body_sums.shape[0]):
            body_log[b.rows, j] = body_sums[j] / b.sampled
        for i in range(wheel_sums.shape[0]):
            for j in range(wheel_sums.shape[1]):
                wheel_log[b.rows, i, j] = wheel_sums[i, j] / b.sampled
        b.rows += 1
    body_sums[:] = 0.0
    wheel_sums[:] = 0.0
    b.sampled = 0
