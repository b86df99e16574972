"""The fifteen numbers that a builder measures before a first answer: the one table of them.

The starter files, the sheet to print and the manual's page are made from it; imports nothing of ours.
"""

from __future__ import annotations

from typing import NamedTuple

MARK = "measure"  # what the comments in the starter files say before a number


class Measure(NamedTuple):
    """One number: where it stands, what it is, how it is measured, and what it does to the answer."""

    path: str  # dotted, as under change:
    words: str  # what it is
    how: str  # one or two sentences
    instrument: str
    unit: str  # as written in the file; empty for a ratio or count
    value: str  # the placeholder in the starter files, invented
    wrong: str  # what a wrong value does
    caution: str = ""


MEASURES = (
    Measure(
        "rover.mass",
        "mass, ready to drive",
        "Weigh it with battery, payload and cables.",
        "kitchen scales",
        "g",
        "860 g",
        "too low promises steeper slopes and higher steps than it can do",
    ),
    Measure(
        "rover.centre_of_gravity.0",
        "centre of gravity, forward of the middle between the axles",
        "Weigh the front wheels alone, the rear ones on a block as high as the scales. "
        "Wheelbase × (front reading / mass - 0.5); behind the middle it is negative.",
        "kitchen scales, a block",
        "mm",
        "6 mm",
        "the axle that carries more is the one that stalls; steps and rubble change most",
    ),
    Measure(
        "rover.wheelbase",
        "wheelbase, axle to axle",
        "From the middle of a front axle to that of the rear one.",
        "ruler",
        "mm",
        "165 mm",
        "load moves wrongly between the axles on slopes; turning takes more or less",
    ),
    Measure(
        "rover.track",
        "track, left to right",
        "From the middle of a left tyre to that of the right one.",
        "ruler",
        "mm",
        "150 mm",
        "turning takes more or less, cross slopes look safer or worse",
    ),
    Measure(
        "rover.wheel.radius",
        "wheel radius, under load",
        "Motor leads open. Mark the floor and the tyre, push the rover straight for five turns: way / (5 × 2π).",
        "tape measure",
        "mm",
        "40 mm",
        "too large asks more torque of the motor and makes steps look easier",
    ),
    Measure(
        "rover.wheel.tyre.friction",
        "friction of the tyre on your dry ground",
        "Set the rover, wheels taped fast to the frame (no tape on the tread), on a board with your ground's surface. "
        "Tilt until it slides: rise / run of the board. Five times, the middle one.",
        "board, tape measure",
        "",
        "0.75",
        "too high hides that wheels spin, too low that turning on the spot stalls them",
    ),
    Measure(
        "rover.wheel.tyre.rolling_resistance",
        "rolling resistance on your ground",
        "Motor leads open, on that board: tilt until it just keeps rolling, after a nudge. "
        "Rise / run - 4 × dry drag / (radius × mass × 9.81 m/s²), the dry drag from line 8.",
        "board, tape measure",
        "%",
        "4 %",
        "too low leaves torque for the climb that the tyre really takes",
    ),
    Measure(
        "rover.wheel.bearing.dry",
        "dry drag of one wheel",
        "Leads open, wheel off the ground: wind a thread on the tyre and hang weights on it "
        "until it keeps turning slowly. Mass × 9.81 m/s² × radius.",
        "thread, small weights",
        "mN*m",
        "0.6 mN*m",
        "shows at crawl speed and with weak motors; it also enters line 7",
        "Leads must not touch each other: a shorted motor brakes.",
    ),
    Measure(
        "rover.wheel.motor.pole_pairs",
        "pole pairs of the motor",
        "Count the magnets that face one side of the winding, and halve. Or send 0.1 A through two leads and turn "
        "the wheel by hand: the places in a turn to which it snaps are the pole pairs.",
        "eyes, or a current-limited supply",
        "",
        "11",
        "a loop on Hall edges takes a wrong speed for the right one, a forced field turns the wheel too fast or slow",
    ),
    Measure(
        "rover.wheel.motor.terminal_resistance",
        "resistance between two motor leads, cold",
        "Send 0.2 to 0.5 A through two leads, the third open, read the volts at the leads at once: volts / amperes. "
        "All three pairs, the mean; the wheels should be 20 to 25 degC.",
        "current-limited supply, voltmeter",
        "ohm",
        "4.2 ohm",
        "one of those that decide most: torque at standstill goes with its inverse",
        "The wheel jerks. The winding warms in seconds: read at once, then switch off. "
        "A cheap ohmmeter is too coarse below 10 ohm.",
    ),
    Measure(
        "rover.wheel.motor.back_emf_constant",
        "back-EMF constant, peak between two leads",
        "Leads open, spin the wheel at a steady speed, read the AC millivolts (RMS) between two leads: "
        "13.5 × millivolts / rpm.",
        "drill, voltmeter (AC), rev counter or the number on the drill",
        "mV*s/rad",
        "27.7 mV*s/rad",
        "one of those that decide most: torque at a given current, and with it every limit",
        "Wheel in a clamp, fingers, hair and cables away. Meters read AC well from about 40 to 400 Hz: "
        "rpm × pole pairs / 60.",
    ),
    Measure(
        "rover.wheel.winding.thermal_resistance",
        "thermal resistance of the winding to the air",
        "Mounted as it drives, hold a current of about 1 W (volts × amperes) through two leads until the volts stop "
        "rising, about 20 minutes. "
        "Warming in K: (last volts / first volts - 1) / 0.0039; divide it by last volts × amperes.",
        "current-limited supply, voltmeter, watch",
        "K/W",
        "20 K/W",
        "nothing in a run of seconds; everything about what it can hold for ever",
        "Switch off at once when the volts have risen by 15 % (38 K), or at the maker's limit. It gets hot enough to "
        "burn skin: hands off, nothing near that burns, never alone.",
    ),
    Measure(
        "rover.wheel.driver.current_limit",
        "current limit of the wheel's driver, peak in one lead",
        "From the driver's settings, or its sense resistor and threshold. To check it, hold the wheel for a second: "
        "the greatest of the three leads is 87 to 100 % of it.",
        "the driver's settings, clamp meter for DC",
        "A",
        "1.8 A",
        "too high promises torque that the driver never gives; delete the line where it has none",
        "A held wheel heats fast: one second, supply limited, fingers away.",
    ),
    Measure(
        "rover.battery.cells_in_series",
        "cells in series",
        "Count them; of lithium polymer also full pack volts / 4.2 V.",
        "eyes",
        "",
        "2",
        "one of those that decide most: it sets the voltage that all wheels have",
    ),
    Measure(
        "rover.battery.cell_resistance",
        "resistance of one cell",
        "Volts at the rover's plug, at rest and after 1 s of about 1 A: (rest - loaded) / amperes / cells in series, "
        "× cells in parallel.",
        "voltmeter, load resistor or the rover itself",
        "mohm",
        "60 mohm",
        "too low hides the sag when all wheels stall, and the brown-out that follows",
        "Within the cell maker's limits, on a surface that does not burn. Never short a cell. The resistor gets hot.",
    ),
)

#: what the sheet and the manual say before anything is measured
SAFETY = (
    "Supply: one with a current limit, set low first. The battery only for line 15.",
    "Wheels: off the ground and clear of fingers, hair and cables whenever a motor can turn.",
    "Windings: a held or slow wheel turns all its power into heat, and burns skin before it looks hot. Seconds only, "
    "below the maker's limits; line 12 is the one long test, with a stop of its own.",
    "Lithium cells: can burn. Only within the maker's limits; never shorted, never alone, never a swollen one.",
    "The makers' data and local rules come before anything written here.",
)
