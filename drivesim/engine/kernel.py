"""The step of the whole rover, compiled: a composition of physics, drive and ground, with no equation of its own.

Semi-implicit: forces from the present pose, then velocities, then poses.  Plain scalar code on records, nothing
allocated in the loop, nothing random; a run that needs attention returns early with its status.
"""

from drivesim._compile import compiled
from drivesim.drive.controller import apply_pending, due, sample
from drivesim.drive.coordination import INDEPENDENT, coordinate
from drivesim.engine.press import press
from drivesim.engine.recorder import (
    note_progress,
    record,
    record_angles,
    record_body,
    record_fighting,
    write_row,
)
from drivesim.engine.records import (
    COLLAPSED,
    LEFT_GROUND,
    NOT_FINITE,
    ON,
    OVERTURNED,
    RUNNING,
    STUCK,
    WATCHED,
)
from drivesim.engine.wheel_step import (
    advance_command,
    drive,
    follow,
    move,
    place,
    spin,
)
from drivesim.physics import body as rigid
from drivesim.physics import supply

RUNAWAY = 1e12  # no sum of speeds, volts and torques comes near it; NaN is not below it either
EMPTY_BUS = 0.05  # of the open-circuit voltage; below it nothing runs any more


@compiled
def advance(
    params,
    wheels,
    soils,
    grid,
    surface,
    fields,
    table,
    noise,
    watches,
    bodies,
    states,
    contacts,
    flat,
    means,
    logs,
    until,
):
    """Advance one run to tick ``until`` or to the first thing that needs attention; return the status.

    params, bodies: one record each (BODY, BODY_STATE) in arrays of length 1; wheels, states, contacts: one record
    a wheel; soils: SOIL records; grid, surface, fields: the ground; table: (3, k) state of charge, open-circuit
    volts, factor on the resistance; noise: (2, draws) uniform and normal draws; watches: WATCH records;
    flat: (bodies, states) as plain floats; means: (body, wheel) sums of the recording interval; logs: (body, wheel)
    recorded rows, (rows, channels) and (rows, wheels, channels).
    """
    P, b, g = params[0], bodies[0], grid[0]
    body_mean, wheel_means, body_sums, wheel_sums = means
    m = body_mean[0]
    uniform, normal = noise[0], noise[1]
    dt = P.dt
    status = RUNNING
    while b.tick < until and status == RUNNING:
        time = b.tick * dt
        control(P, b, wheels, states, contacts, time)
        rot = rigid.rotation(b.q0, b.q1, b.q2, b.q3)
        force_x, force_y, force_z = 0.0, 0.0, -P.mass * P.gravity
        torque_x, torque_y, torque_z, twist_force = 0.0, 0.0, 0.0, 0.0
        constant_power, resistive_power = P.electronics, 0.0
        for i in range(wheels.shape[0]):
            p, w, c = wheels[i], states[i], contacts[i]
            depth = place(p, c, b, rot, g, surface)
            if c.outside > 0.0:
                status = LEFT_GROUND
            move(p, w, c, b, rot)
            press(p, w, c, g, fields, soils, depth, dt)
            drive(p, w, c, b, time, dt)
            reaction = spin(p, w, c, dt)
            force_x += c.force_x
            force_y += c.force_y
            force_z += c.force_z
            twist_force += p.twist * (c.force_x * rot[2] + c.force_y * rot[5] + c.force_z * rot[8])
            mx, my, mz = rigid.cross(c.arm_x, c.arm_y, c.arm_z, c.force_x, c.force_y, c.force_z)
            torque_x += mx + c.couple_x + reaction * c.axle_x
            torque_y += my + c.couple_y + reaction * c.axle_y
            torque_z += mz + c.couple_z + reaction * c.axle_z
            constant_power += c.bus_power - c.resistive_power
            resistive_power += c.resistive_power
        b.speed = b.vx * rot[0] + b.vy * rot[3] + b.vz * rot[6]
        move_body(P, b, rot, force_x, force_y, force_z, torque_x, torque_y, torque_z)
        if P.frame_mass > 0.0:
            twist_frame(P, b, twist_force)
        b.tick += 1
        for i in range(wheels.shape[0]):
            follow(wheels[i], states[i], contacts[i], b, rot, uniform, normal, b.tick * dt, P.ambient, dt)
        collapsed = draw(P, b, table, constant_power, resistive_power)
        progress, commanded = note_progress(P, b, wheels, states, contacts)
        record_body(P, b, rot, m, progress, commanded)
        record_fighting(m, states, contacts)
        for i in range(wheels.shape[0]):
            record(wheels[i], states[i], contacts[i], wheel_means[i])
        b.sampled += 1
        if b.sampled == P.record_ticks:
            record_angles(b, m)
            write_row(b, body_sums, wheel_sums, logs[0], logs[1])
        if watch(watches, flat[0], flat[1]) and status == RUNNING:
            status = WATCHED
        if collapsed:
            status = COLLAPSED
        if rot[8] < P.overturned_cos:
            status = OVERTURNED
        if P.recover_ticks > 0 and b.recovery_asked == 0 and b.stuck_for >= P.recover_ticks * dt:
            b.recovery_asked = 1
            if status == RUNNING:
                status = STUCK
        motion = b.vx + b.vy + b.vz + b.wx + b.wy + b.wz + b.twist_rate
        if not abs(motion + b.bus_voltage + torque_x + torque_y + torque_z) < RUNAWAY:
            status = NOT_FINITE
    return status


@compiled
def control(P, b, wheels, states, contacts, time):
    """Let the commands, the host and each wheel's controller do what is due at this tick."""
    if P.coordination != INDEPENDENT and b.tick % P.coordination_ticks == 0:
        coordinate(P, b, wheels, states, P.coordination_ticks * P.dt)
    for i in range(wheels.shape[0]):
        p, w = wheels[i], states[i]
        advance_command(w, P.dt)
        if w.powered != ON and p.driven == 1:  # a wheel without a motor may still have its sensor read
            w.next_sample = b.tick + 1.0
            w.measured = 0.0
            continue
        if due(p, w, b.tick):
            sample(p, w, w.spin - contacts[i].body_rate, p.modulation * b.bus_voltage, time, b.tick)
        if p.latency_ticks > 0.0:
            apply_pending(p, w, b.tick)


@compiled
def watch(watches, body_values, wheel_values):
    """Disarm and mark the watched limits that are crossed now; tell whether there is one."""
    fired = False
    for i in range(watches.shape[0]):
        q = watches[i]
        if q.armed == 1:
            value = body_values[0, q.field] if q.wheel < 0 else wheel_values[q.wheel, q.field]
            if q.sign * (value - q.threshold) > 0.0:
                q.armed, q.fired, fired = 0, 1, True
    return fired


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
def twist_frame(P, b, force):
    """Advance how far the frame is twisted under the wheels' ``force`` [N] along its pattern + − − +."""
    before = b.twist_rate
    b.twist_rate = rigid.damped_velocity(
        before, force - P.frame_stiffness * b.twist, P.frame_damping, P.frame_mass, P.dt
    )
    b.twist += b.twist_rate * P.dt
    b.frame_loss += P.frame_damping * b.twist_rate * 0.5 * (before + b.twist_rate) * P.dt


@compiled
def draw(P, b, table, constant_power, resistive_power):
    """Draw the step's power from the battery; tell whether the supply collapsed."""
    row, part = supply.charge_row(b.state_of_charge, table[0])
    E = max(0.0, supply.interpolate(table[1], row, part) - P.voltage_drop)
    R = P.battery_resistance * supply.interpolate(table[2], row, part)
    inner = E - b.diffusion_voltage
    V = supply.advance_bus(b.bus_voltage, inner, R, P.bus_capacitance, constant_power, resistive_power, P.dt)
    electronics = P.electronics
    if V == supply.COLLAPSED:
        if P.lockout == 0.0:
            return True
        # on its way down to the lockout everything draws less and less
        V = supply.advance_bus(
            b.bus_voltage, inner, R, P.bus_capacitance, 0.0, constant_power + resistive_power, P.dt
        )
        electronics *= (V / b.bus_voltage) ** 2 if b.bus_voltage > supply.DEAD else 0.0
    b.bus_voltage = V
    current = (inner - V) / R
    b.battery_current = current
    b.state_of_charge -= current * P.dt / P.capacity
    b.chemical_energy += E * current * P.dt
    loss = R * current * current
    if P.diffusion_resistance > 0.0:
        before = b.diffusion_voltage
        b.diffusion_voltage = supply.diffusion_step(
            before, current, P.diffusion_resistance, P.diffusion_decay
        )
        held = supply.capacitor_energy(P.diffusion_capacitance, b.diffusion_voltage)
        held -= supply.capacitor_energy(P.diffusion_capacitance, before)
        loss += before * current - held / P.dt
    b.battery_loss += loss * P.dt
    b.electronics_loss += electronics * P.dt
    empty = b.bus_voltage < EMPTY_BUS * E and P.lockout == 0.0
    return empty or b.state_of_charge <= 0.0
