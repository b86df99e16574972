"""The text of a starter folder's files, for a builder's own rover; imports the table, the choices and the sheet."""

from __future__ import annotations

import re
import textwrap
from string import Template

import yaml

from drivesim.scenario.starter import MARK, MEASURES
from drivesim.scenario.starter_choices import DRIVES, GROUNDS
from drivesim.scenario.starter_sheet import sheet_html

SCENARIO, ROVER, CHANGED, SHEET = "scenario.yaml", "rover.yaml", "changed.yaml", "sheet.html"
_WIDTH = 110  # of comments

_ROVER = Template("""\
# $name
# Written by drivesim new. The numbers are invented: a plausible rover, not yours.
#
# Fifteen of them are to be measured, marked "$mark 1:" to "$mark 15:"; sheet.html, to be printed, says how.
# Put your number in and turn "$mark" into "measured" with the date. What is still a guess is then found by
#   grep "# $mark [0-9]" rover.yaml
# "copy:" marks what a label or a data sheet tells. All else may stay until an answer hangs on it.
# Quantities carry their unit: 740 g, 38 mm, 4.2 ohm. drivesim check names a mistake with its line.
name: $quoted
@1 mass:
box: [210 mm, 140 mm, 60 mm]   # length, width, height of the body: an even box stands for its inertia
centre_of_gravity:
@2   -
  - 0 mm                       # to the left: weigh the left wheels alone where the battery sits to one side
  - 22 mm                      # above the axles; by eye, 10 mm show only on steep slopes
@3 wheelbase:
@4 track:
wheel:                         # the same for all four
@5   radius:
  inertia: 480 g*cm^2          # of wheel and rotor; about half of their mass × radius^2
  tyre:
@6     friction:
    # sliding_friction: 0.6    # once it slides; default: the same as friction
@7     rolling_resistance:
    width: 20 mm               # needed on soft ground only
    # lug_height: 0 mm         # on soft ground
    # bite: 0                  # more friction coefficient where the ground gives spikes hold
    slip_stiffness: 25 N       # this and the next three: small rubber tyres, common practice
    relaxation_length: 12 mm   # about a third of the radius
    radial_stiffness: 4 N/mm   # weight on the tyre / how much it flattens
    radial_damping: 8 N*s/m
  bearing:
@8     dry:
    viscous: 10 uN*m*s/rad     # of no weight at crawl speed
  motor:
@9     pole_pairs:
    # connection: star         # or delta; resistance and constant between two leads mean the same for both
@10     terminal_resistance:
    terminal_inductance: 40 uH # of little effect in a winding without iron
@11     back_emf_constant:
    # cogging_torque: 0.4 mN*m # of a motor with iron, together with:
    # cogging_per_turn: 36     # the places in a turn where it rests
  winding:
@12     thermal_resistance:
    heat_capacity: 11 J/K      # about 0.4 J/K for a gram of copper, 1 J/K for a gram of board
    limit: 100 degC            # copy: of board or magnets, whichever is lower
  driver:
    on_resistance: 0.12 ohm    # copy: of one switch when warm, and the sense resistor
    fixed_loss: 30 mW
@13     current_limit:
    # modulation: sine         # or space_vector, six_step
    # lockout: {below: 5.6 V, above: 6.2 V, boot: 300 ms}  # copy: bus voltage at which the drivers reset
# wheels: {front_left: {resistance_factor: 1.05, extra_drag: 0.2 mN*m}}  # what one wheel has of its own
battery:                       # lithium polymer; others need open_circuit, their rested volts: docs/scenarios.md
@14   cells_in_series:
  # cells_in_parallel: 1
  capacity: 800 mAh            # copy: of one cell
@15   cell_resistance:
  state_of_charge: 90 %        # at the start of the run
  discharge_rating: 10         # copy: the C rate; a caution tells when more is drawn
  electronics: 0.8 W           # all that is not a wheel
""")

_SCENARIO = Template("""\
# Question: $question
# Written by drivesim new. rover.yaml holds the rover; ground and drive below are ready ones, to be changed.
# changed.yaml is the same with one thing changed. Every key there is: docs/scenarios.md
name: $quoted
question: "$question"
rover: rover.yaml

ground:
  name: $ground
  length: 3 m                  # ahead of the rover, which starts at x = 0
  width: 1.2 m
  # surface: wet_concrete      # or asphalt, rolled_gravel, ...: multiplies friction and rolling resistance as
  #   measured on dry concrete; leave it out where you measured on this very ground, else it counts twice
$features
# $drive: $about
drive:
  strategy: $strategy
  sample_time: 2 ms            # copy: this and what follows, from the wheel controller's firmware
  slew: 30 rad/s^2             # limit on the rate at which the commanded wheel speed changes
$settings
commands:                      # in the order of their times
  - {at: 0.2 s, forward: 0.12 m/s, ramp: 0.3 s}
  # - {at: 5 s, forward: 0.08 m/s, turn: 20 deg/s}
duration: 8 s
seed: 1                        # of everything random; another one is another ground of the same kind
# ambient: 22 degC
# recovery: {stuck_for: 1.5 s, back_off: 0.6 s, tries: 3}  # a driver who tries to get it free
# events:
#   - {at: 3 s, kind: driver_dies, wheel: front_left}
""")

_CHANGED = Template("""\
# Question: what does one change make of it?
# The same rover on the same ground, but for what stands below change: dotted paths and new values.
base: scenario.yaml
name: $quoted
change:
  rover.battery.state_of_charge: 15 %
  # rover.mass: 720 g
  # rover.wheel.tyre.friction: 0.9
  # rover.battery.cells_in_series: 3
""")


def starter_files(name: str, ground: str, drive: str) -> dict[str, str]:
    """Return file → text for a rover called ``name`` on a ready ``ground`` with a ready ``drive``."""
    where, how = GROUNDS[ground], DRIVES[drive]
    question = _CHANGED.substitute(quoted=_quoted(f"{name}, {where.words}, pack nearly empty"))
    scenario = _SCENARIO.substitute(
        quoted=_quoted(f"{name}, {where.words}"), question=where.question, ground=where.words,
        features=where.text, drive=how.words, about=how.question, strategy=drive, settings=how.text,
    )  # fmt: skip
    return {SCENARIO: scenario, ROVER: _rover(name), CHANGED: question, SHEET: sheet_html(name)}


def _rover(name: str) -> str:
    text = _ROVER.substitute(name=name, quoted=_quoted(name), mark=MARK)
    return re.sub(r"^@(\d+) ( *)(.*)$", lambda found: _measured(*found.groups()), text, flags=re.MULTILINE)


def _measured(number: str, indent: str, key: str) -> str:
    """Return the line of a number to be measured, below the comments that say how."""
    measure = MEASURES[int(number) - 1]
    parts = (f"{MARK} {number}: {measure.words}", measure.how, f"If wrong: {measure.wrong}.")
    comments = [
        line
        for i, part in enumerate(parts)
        for line in textwrap.wrap(
            part,
            _WIDTH,
            initial_indent=f"{indent}# {'  ' * (i > 0)}",
            subsequent_indent=f"{indent}#   ",
        )
    ]
    return "\n".join([*comments, f"{indent}{key} {measure.value}"])


def _quoted(text: str) -> str:
    """Return ``text`` as one line of YAML that reads back to it, whatever it holds."""
    return yaml.safe_dump(text, allow_unicode=True, default_style='"', width=float("inf")).strip()
