"""The grounds and drives of a starter scenario, as commented YAML to be edited; plain text, imports nothing of ours."""

from __future__ import annotations

from typing import NamedTuple


class Choice(NamedTuple):
    """One ready ground or drive: the words for a name, the question it answers, and its YAML."""

    words: str
    question: str
    text: str


GROUNDS = {
    "flat": Choice(
        "flat floor",
        "Does it start and creep on a flat floor?",
        """\
  # Flat and hard. Start here: what does not creep on a flat floor will not creep anywhere.
""",
    ),
    "ramp": Choice(
        "ramp",
        "Does it climb the ramp?",
        """\
  features:
    # measure the slope: a phone's level laid on a straight board, or the rise over the length of the board
    - {kind: ramp, start: 0.4 m, end: 2.5 m, slope: 15 deg, label: the ramp}
""",
    ),
    "slab_edge": Choice(
        "slab edge",
        "Does it climb a sharp slab edge?",
        """\
  features:
    # measure the height with a ruler at the wheel's track; a minus sign makes it a drop
    - {kind: step, at: 0.4 m, height: 12 mm, label: the slab edge}
""",
    ),
    "rubble": Choice(
        "rubble",
        "Does it cross loose rubble?",
        """\
  features:
    # rms: half the usual height from hollow to lump is near it; correlation_length: a quarter of the way from lump to
    # lump. Leave out the small lumps upon them.
    # This is one random ground of many: change seed below, or let drivesim compare drive many of them.
    - {kind: roughness, rms: 6 mm, correlation_length: 45 mm, start: 0.3 m, fade: 0.1 m, label: the rubble}
""",
    ),
    "joists": Choice(
        "joists",
        "Does it climb over two joists?",
        """\
  features:
    # each joist is a step up and the same step down, as far apart as the joist is wide
    - {kind: step, at: 0.4 m, height: 10 mm, label: the first joist}
    - {kind: step, at: 0.5 m, height: -10 mm, label: the first joist}
    - {kind: step, at: 0.9 m, height: 10 mm, label: the second joist}
    - {kind: step, at: 1.0 m, height: -10 mm, label: the second joist}
""",
    ),
    "pavers": Choice(
        "pavers",
        "Does it follow a row of pavers with open joints?",
        """\
  features:
    - kind: pavers
      start: 0.4 m
      count: 8
      length: 190 mm         # of one paver, along the way
      gap: 20 mm             # the open joint
      height: 6 mm           # above the ground before them
      height_spread: 2 mm    # each is up to so much higher or lower, drawn from seed
      label: the pavers
""",
    ),
    "loose_fill": Choice(
        "loose fill",
        "Does it cross a metre of loose dry fill that rises a little?",
        """\
  features:
    - {kind: ramp, start: 0.4 m, end: 2.5 m, slope: 4 deg, label: the heap}
  patches:
    # presets of soil: docs/scenarios.md. Soft ground needs the tyre's width, in rover.yaml.
    - {x: [0.35 m, 1.4 m], y: [-0.5 m, 0.5 m], soil: {preset: dry_sand}, label: the loose fill}
""",
    ),
    "wet_slope": Choice(
        "wet slope",
        "Does it climb a slope when its left wheels come onto a wet patch?",
        """\
  features:
    - {kind: ramp, start: 0.4 m, end: 2.5 m, slope: 8 deg, label: the slope}
  patches:
    # factor multiplies the tyre's friction there; y > 0 is left
    - {x: [0.7 m, 1.1 m], y: [0 m, 0.5 m], factor: 0.25, label: the wet patch}
""",
    ),
}  # fmt: skip

_SENSOR = """\
  sensor:
    kind: hall
    sensors: 1                 # or 3: then the direction is known, and braking may be true
    timer_tick: 4 us
    timeout: 300 ms            # after so long without an edge the wheel counts as standing
"""

DRIVES = {
    "speed_loop": Choice(
        "speed loop",
        "a PI on each wheel's own speed sets the voltage, the windings follow the rotor",
        f"""\
  proportional: 0.14 V*s/rad   # the gains as flashed; drivesim tune finds better ones
  integral: 1.1 V/rad
  braking: false               # one sensor cannot see the direction: a braking loop could run backwards
{_SENSOR}""",
    ),
    "locked_frequency": Choice(
        "locked frequency",
        "the field turns at the commanded frequency, whatever the rotor does",
        """\
  base_amplitude: 3.2 V        # peak of one phase; current flows at standstill too, and heats
  # amplitude_per_hertz: 0 V/Hz
  # hold_at_standstill: true
""",
    ),
    "trimmed_frequency": Choice(
        "trimmed frequency",
        "a forced frequency that a PI on each wheel's speed shifts",
        f"""\
  base_amplitude: 3.2 V        # peak of one phase; current flows at standstill too, and heats
  # amplitude_per_hertz: 0 V/Hz
  # hold_at_standstill: true
  proportional: 0.2            # shift of the frequency per error of speed
  integral: 1.5 1/s
  trim_limit: 40 %             # greatest shift
{_SENSOR}""",
    ),
    "fixed_voltage": Choice(
        "fixed voltage",
        "the voltage follows the command, nobody measures the speed",
        """\
  voltage_per_speed: 0.3 V*s/rad  # half of it holds the speed on a level floor; more climbs more, and runs away there
""",
    ),
}  # fmt: skip
