"""The step of the whole rover, compiled: a composition of physics, drive and ground, with no equation of its own.

Semi-implicit: forces from the present pose, then velocities, then poses.  Plain scalar code on records, nothing
allocated in the loop, nothing random; a run that needs attention returns early with its status.
"""

from math import tau

from drivesim._compile import compiled
from drivesim.drive.controller import sample
from drivesim.engine.records import COLLAPSED, LEFT_GROUND, NOT_FINITE, OVERTURNED, RUNNING, STUCK
from drivesim.engine.wheel_step import (
    advance_command,
    along_command,
    drive,
    follow,
    move,
    place,
    press,
    record,
    spin,
)
from drivesim.physics import body as rigid
from drivesim.physics import supply

RUNAWAY = 1e12  # no sum of speeds, volts and torques comes near it; NaN is not below it either
EMPTY_BUS = 0.05  # of the open-circuit voltage; below it nothing runs any more


@compiled
def advance(params, wheels, grid, surface, friction, table, bodies, states, contacts, means, logs, until):
    """Advance one run to tick ``until`` or to the first thing that needs attention; return the status.

    params, bodies: one record each (BODY, BODY_STATE) in arrays of length 1; wheels, states, contacts: one record
    a wheel; grid, surface, friction: the ground; table: (2, k) open-circuit voltages; means: (body, wheel) sums of
    the recording interval; logs: (body, wheel) recorded rows, (rows, channels) and (rows, wheels, channels).
    """
    P, b, g = params[0], bodies[0], grid[0]
    table_soc, table_voltage = table[0], table[1]
    body_mean, wheel_means, body_sums, wheel_sums = means
    m = body_mean[0]
    dt = P.dt
    status = RUNNING
    while b.tick < until and status == RUNNING:
        time = b.tick * dt
        for i in range(wheels.shape[0]):
            advance_command(states[i], dt)
            if b.tick % wheels[i].sample_ticks == 0:
                limit = wheels[i].modulation * b.bus_voltage
                sample(wheels[i], states[i], states[i].spin - contacts[i].body_rate, limit, time)
        rot = rigid.rotation(b.q0, b.q1, b.q2, b.q3)
        force_x, force_y, force_z = 0.0, 0.0, -P.mass * P.gravity
        torque_x, torque_y, torque_z = 0.0, 0.0, 0.0
        constant_power, resistive_power = P.electronics, 0.0
        for i in range(wheels.shape[0]):
            p, w, c = wheels[i], states[i], contacts[i]
            depth = place(p, c, b, rot, g, surface)
            if c.outside > 0.0:
                status = LEFT_GROUND
            move(p, w, c, b, rot)
            press(p, w, c, g, friction, depth)
            drive(p, w, c, b, dt)
            reaction = spin(p, w, c, dt)
            force_x += c.force_x
            force_y += c.force_y
            force_z += c.force_z
            mx, my, mz = rigid.cross(c.arm_x, c.arm_y, c.arm_z, c.force_x, c.force_y, c.force_z)
            torque_x += mx + c.couple_x + reaction * c.axle_x
            torque_y += my + c.couple_y + reaction * c.axle_y
            torque_z += mz + c.couple_z + reaction * c.axle_z
            constant_power += c.bus_power - c.resistive_power
            resistive_power += c.resistive_power
        speed = b.vx * rot[0] + b.vy * rot[3] + b.vz * rot[6]
        move_body(P, b, rot, force_x, force_y, force_z, torque_x, torque_y, torque_z)
        b.tick += 1
        for i in range(wheels.shape[0]):
            follow(wheels[i], states[i], contacts[i], b, rot, b.tick * dt, P.ambient, dt)
        current, collapsed = draw(P, b, table_soc, table_voltage, constant_power, resistive_power)
        progress, commanded = note_progress(P, b, wheels, states, contacts)
        record_body(P, b, rot, m, speed, current, progress, commanded)
        record_fighting(m, states, contacts)
        for i in range(wheels.shape[0]):
            record(wheels[i], states[i], contacts[i], wheel_means[i])
        b.sampled += 1
        if b.sampled == P.record_ticks:
            write_row(b, body_sums, wheel_sums, logs[0], logs[1])
        if collapsed:
            status = COLLAPSED
        if rot[8] < P.overturned_cos:
            status = OVERTURNED
        if P.recover_ticks > 0 and b.recovery_asked == 0 and b.stuck_for >= P.recover_ticks * dt:
            b.recovery_asked = 1
            status = STUCK
        motion = b.vx + b.vy + b.vz + b.wx + b.wy + b.wz
        if not abs(motion + b.bus_voltage + torque_x + torque_y + torque_z) < RUNAWAY:
            status = NOT_FINITE
    return status


@compiled
def move_body(P, b, rot, force_x, force_y, force_z, torque_x, torque_y, torque_z):
    """Advance the body's velocities, then its pose, under the given force [N] and torque about it [N·m] (world)."""
    dt = P.dt
    b.vx += force_x / P.mass * dt
    b.vy += force_y / P.mass * dt
    b.vz += force_z / P.mass * dt
    tx = rot[0] * torque_x + rot[3] * torque_y + rot[6] * torque_z
    ty = rot[1] * torque_x + rot[4] * torque_y + rot[7] * torque_z
    tz = rot[2] * torque_x + rot[5] * torque_y + rot[8] * torque_z
    ax, ay, az = rigid.angular_acceleration(
        b.wx, b.wy, b.wz, tx, ty, tz, P.inertia_x, P.inertia_y, P.inertia_z
    )
    b.wx += ax * dt
    b.wy += ay * dt
    b.wz += az * dt
    b.x += b.vx * dt
    b.y += b.vy * dt
    b.z += b.vz * dt
    b.q0, b.q1, b.q2, b.q3 = rigid.turned(b.q0, b.q1, b.q2, b.q3, b.wx, b.wy, b.wz, dt)


@compiled
def draw(P, b, table_soc, table_voltage, constant_power, resistive_power):
    """Draw the step's power from the battery; return its current [A] and whether it collapsed."""
    E = supply.open_circuit(b.state_of_charge, table_soc, table_voltage)
    R = P.battery_resistance
    V = supply.advance_bus(b.bus_voltage, E, R, P.bus_capacitance, constant_power, resistive_power, P.dt)
    if V == supply.COLLAPSED:
        return 0.0, True
    b.bus_voltage = V
    current = (E - b.bus_voltage) / R
    b.state_of_charge -= current * P.dt / P.capacity
    b.chemical_energy += E * current * P.dt
    b.battery_loss += R * current * current * P.dt
    b.electronics_loss += P.electronics * P.dt
    return current, b.bus_voltage < EMPTY_BUS * E or b.state_of_charge <= 0.0


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
def record_body(P, b, rot, m, speed, current, progress, commanded):
    """Add the body's present values to the sums of the recording interval."""
    roll, pitch, yaw = rigid.roll_pitch_yaw(b.q0, b.q1, b.q2, b.q3)
    turned = yaw - b.yaw
    b.yaw += turned - tau * round(turned / tau)
    m.x += b.x
    m.y += b.y
    m.z += b.z
    m.roll += roll
    m.pitch += pitch
    m.yaw += b.yaw
    m.speed += speed
    m.turn_rate += rot[6] * b.wx + rot[7] * b.wy + rot[8] * b.wz
    m.progress_speed += progress
    m.commanded_progress += commanded
    m.stuck += 1.0 if b.stuck_for >= P.stuck_after else 0.0
    m.bus_voltage += b.bus_voltage
    m.battery_current += current
    m.state_of_charge += b.state_of_charge


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
