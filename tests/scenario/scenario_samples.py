"""Scenario texts that the tests share: a small survey rover for crawl spaces under floors (invented)."""

TYRE = """\
friction: 0.8
slip_stiffness: 18 N
relaxation_length: 6 mm
radial_stiffness: 2.5 N/mm
radial_damping: 1.2 N*s/m
"""

ROVER = """\
name: crawl space surveyor
mass: 620 g
box: [180 mm, 140 mm, 60 mm]
wheelbase: 130 mm
track: 150 mm
centre_of_gravity: [5 mm, 0 mm, 12 mm]
wheel:
  radius: 32 mm
  inertia: 120 g*cm^2
  tyre:
    friction: 0.8
    slip_stiffness: 18 N
    relaxation_length: 6 mm
    radial_stiffness: 2.5 N/mm
    radial_damping: 1.2 N*s/m
  bearing:
    dry: 0.3 mN*m
    viscous: 2 uN*m*s/rad
  motor:
    pole_pairs: 8
    terminal_resistance: 4.8 ohm
    terminal_inductance: 30 uH
    flux_linkage: 1.67 mWb
  winding:
    thermal_resistance: 45 K/W
    heat_capacity: 6 J/K
  driver:
    modulation: space_vector
    on_resistance: 90 mohm
wheels:
  front_left: {drop: 0.4 mm}
  rear_right: {extra_drag: 0.5 mN*m}
battery:
  cells_in_series: 2
  capacity: 800 mAh
  cell_resistance: 60 mohm
"""

DRIVE = """\
strategy: speed_loop
proportional: 40 mV*s/rad
integral: 0.4 V/rad
sample_time: 2 ms
slew: 60 rad/s^2
sensor:
  kind: hall
  sensors: 1
overrides:
  rear_left:
    integral: 0.2 V/rad
"""

GROUND = """\
name: slabs and a ramp
length: 3 m
width: 1.2 m
features:
  - kind: pavers
    start: 0.5 m
    count: 4
    length: 200 mm
    gap: 10 mm
    height: 8 mm
    label: the slabs
  - {kind: ramp, start: 2 m, end: 2.5 m, slope: 12 deg}
patches:
  - x: [1 m, 1.4 m]
    y: [-0.6 m, 0.6 m]
    factor: 60 %
"""


def indented(text: str) -> str:
    return "".join(f"  {line}\n" for line in text.splitlines())


#: the tables of mistakes count on these lines
HEAD = """\
name: under the hall floor
question: does it get over the slab edges?
duration: 12 s
seed: 7
start: {x: 0 m, heading: 5 deg}
ambient: 18 degC
record_every: 20 ms
commands:
  - {at: 0 s, forward: 0.15 m/s, ramp: 0.5 s}
  - {at: 8 s, left: 4 rad/s, right: 3 rad/s}
recovery:
  tries: 2
"""

SURVEY = HEAD + "drive:\n" + indented(DRIVE) + "ground:\n" + indented(GROUND) + "rover:\n" + indented(ROVER)

#: the least that makes a scenario
PLAIN = (
    "name: flat\nduration: 2 s\ncommands: [{at: 0 s, forward: 0.1 m/s}]\ndrive:\n"
    + indented("strategy: fixed_voltage\nvoltage_per_speed: 20 mV*s/rad\n")
    + "rover:\n"
    + indented(ROVER)
)

#: much of what may be written beside the least
WIDE = (
    SURVEY
    + """\
change:
  rover.wheel.motor.terminal_resistance: ~
  rover.wheel.motor.conductor:
    layers:
      - {place: inner, copper: 1 oz/ft^2, width: 0.4 mm, length: 0.9 m, count: 2}
      - {place: outer, thickness: 52 um, width: 0.4 mm, length: 0.9 m}
    vias: {count: 4, drill: 0.3 mm}
  rover.wheel.motor.resistance_spread: 4 %
  rover.wheel.winding.housing: {material: aluminium, area: 40 cm^2, thickness: 2 mm}
  rover.wheel.driver:
    pwm_steps: 250
    lockout: {below: 6 V, above: 6.6 V}
    trip: {above: 120 degC}
    cut_back: {start: 90 degC, end: 110 degC}
  rover.wheel.tyre.bite: 0.2
  rover.wheel.tyre.width: 22 mm
  rover.battery.charger_cells: 2
  rover.frame: {torsion_stiffness: 900 N/m, skew: -3 mm, drag_per_angle: 2 mN*m/deg}
  drive.coordination: {kind: cross_coupled, gain: 0.5}
  drive.arithmetic: {word_bits: 16, fraction_bits: 9, gain_fraction_bits: 12}
  drive.clock_error: 40 ppm
  drive.overrides.front_left.arithmetic: ~
  drive.overrides.front_right: {strategy: fixed_voltage, voltage_per_speed: 20 mV*s/rad}
  ground.surface: firm_soil
  ground.friction_factor: 0.5
  ground.patches.0: {x: [1 m, 2 m], y: [0 m, 1 m], soil: {preset: lete_sand, exponent: 0.8}}
  link: {loss: 3 %, fail_safe: 0.3 s}
  recovery.method: [rock, back_off]
  start.rotors: aligned
  events:
    - {at: 9 s, kind: link_lost, lasts: 1 s}
    - {at: 2 s, kind: payload, mass: 80 g, place: [0 m, 0 m, 3 cm]}
    - {when: rear_left temperature > 80 degC for 0.5 s, kind: bearing_seizes, wheel: rear_left, drag: 9 mN*m}
"""
)
