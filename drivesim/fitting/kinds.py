"""The kinds of bench log: columns, units and settings of each, and what is measured how; imports nothing of ours.

Inside, a motor's voltages and currents are peak values of the sine in one lead of the equivalent star, as in
``drivesim.physics.motor``.  What a bench instrument shows is converted here, once, by a factor.
"""

from __future__ import annotations

import math
from typing import NamedTuple


class Column(NamedTuple):
    """A column a file may have: its name and unit there, the quantity it becomes, and by which factor."""

    name: str
    unit: str
    into: str
    factor: float = 1.0
    least: float = 0.0  # smallest value allowed, in the unit above
    at_motor: bool = False  # a voltage measured at the motor's leads, beyond the driver's own resistance


ANY = -math.inf

SPEED = Column("speed", "rad/s", "speed")
TIME = Column("time", "s", "time")
PHASE_VOLTAGE = Column("phase_voltage", "V", "voltage")
#: an RMS meter between two leads shows √3 of the phase's, and 1/√2 of the peak
LINE_RMS = Column("line_voltage_rms", "V", "voltage", math.sqrt(2 / 3), at_motor=True)
LINE_PEAK = Column("line_voltage_peak", "V", "voltage", 1 / math.sqrt(3), at_motor=True)
PHASE_CURRENT = Column("phase_current", "A", "current")
LINE_CURRENT_RMS = Column("line_current_rms", "A", "current", math.sqrt(2))
#: direct current through two leads, the third open, is a standing field of 2/√3 of it, at 1/√3 of the voltage
DC_VOLTAGE = Column("dc_voltage", "V", "voltage", 1 / math.sqrt(3), at_motor=True)
DC_CURRENT = Column("dc_current", "A", "current", 2 / math.sqrt(3))
TERMINAL_RESISTANCE = Column("terminal_resistance", "ohm", "resistance", 0.5)
TORQUE = Column("torque", "N*m", "torque")
LOAD_TORQUE = Column("load_torque", "N*m", "load")
BRAKE_FORCE = Column("brake_force", "N", "load")  # times the arm
FREQUENCY = Column("frequency", "1/s", "frequency")  # of the field, electrical
WINDING = Column("winding_temperature", "degC", "winding_temperature", least=-100.0)
HOUSING = Column("housing_temperature", "degC", "housing_temperature", least=-100.0)

#: settings written before the header as '# name: value', and their units; words have none
SETTINGS = {
    "test": "", "wheel": "", "note": "", "across": "", "winding_temperature": "degC", "ambient": "degC",
    "start_temperature": "degC", "inertia": "kg*m^2", "arm": "m", "state_of_charge": "1",
}  # fmt: skip
ACROSS = ("pack", "cell")


class Kind(NamedTuple):
    """One kind of test.

    ``needs``: of each group exactly one column; ``may``: of each group at most one.  ``responses``: the
    quantities that carry noise and are compared with the model; the others are taken as set exactly.
    ``series``: rows follow each other in time.
    """

    name: str
    words: str
    needs: tuple[tuple[Column, ...], ...]
    may: tuple[tuple[Column, ...], ...]
    settings: tuple[str, ...]
    responses: tuple[str, ...]
    across: str  # the quantity to draw the others against
    series: bool = False
    least_rows: int = 3

    @property
    def columns(self) -> tuple[Column, ...]:
        """All columns that a file of this kind may have."""
        return tuple(column for group in (*self.needs, *self.may) for column in group)


_MOTOR = ("test", "note", "wheel", "winding_temperature")

KINDS = {
    kind.name: kind
    for kind in (
        Kind(
            "no_load", "turning freely at several voltages",
            ((PHASE_VOLTAGE, LINE_RMS), (SPEED,)), ((PHASE_CURRENT, LINE_CURRENT_RMS), (WINDING,)),
            _MOTOR, ("speed", "current"), "voltage",
        ),
        Kind(
            "loaded", "braked at several torques",
            ((PHASE_VOLTAGE, LINE_RMS), (LOAD_TORQUE, BRAKE_FORCE), (SPEED,)),
            ((PHASE_CURRENT, LINE_CURRENT_RMS), (WINDING,)),
            (*_MOTOR, "arm"), ("speed", "current"), "load",
        ),
        Kind(
            "back_emf", "turned by hand or drill, leads open",
            ((SPEED,), (LINE_RMS, LINE_PEAK)), (), ("test", "note", "wheel"), ("voltage",), "speed",
        ),
        Kind(
            "locked_rotor", "held still under current",
            ((PHASE_VOLTAGE, DC_VOLTAGE, TERMINAL_RESISTANCE),),
            ((PHASE_CURRENT, DC_CURRENT), (TORQUE,), (WINDING,)),
            _MOTOR, ("current", "resistance", "torque"), "voltage",
        ),
        Kind(
            "spin_down", "let go, leads open", ((TIME,), (SPEED,)), (), ("test", "note", "wheel", "inertia"),
            ("speed",), "time", series=True, least_rows=8,
        ),
        Kind(
            "pull_out", "forced field, braked until it loses step",
            ((FREQUENCY, SPEED), (PHASE_VOLTAGE, LINE_RMS), (LOAD_TORQUE, BRAKE_FORCE)), ((WINDING,),),
            (*_MOTOR, "arm"), ("load",), "voltage",
        ),
        Kind(
            "warm_up", "constant current until it settles",
            ((TIME,), (PHASE_CURRENT, LINE_CURRENT_RMS, DC_CURRENT)),
            ((WINDING,), (TERMINAL_RESISTANCE, DC_VOLTAGE), (HOUSING,)),
            ("test", "note", "wheel", "ambient", "start_temperature"),
            ("winding_temperature", "resistance", "voltage", "housing_temperature"), "time",
            series=True, least_rows=8,
        ),
        Kind(
            "cell_pulse", "pulses of current from the battery",
            ((TIME,), (Column("current", "A", "current", least=ANY),), (Column("terminal_voltage", "V", "voltage"),)),
            (), ("test", "note", "across", "state_of_charge"), ("voltage",), "time", series=True, least_rows=8,
        ),
        Kind(
            "rover", "the whole rover on the scenario's ground", ((TIME,),),
            (
                (Column("bus_voltage", "V", "bus_voltage"),),
                (Column("battery_current", "A", "battery_current", least=ANY),),
                (Column("speed", "m/s", "speed", least=ANY),), (Column("x", "m", "x", least=ANY),),
                (Column("forward", "m/s", "forward", least=ANY),), (Column("turn", "rad/s", "turn", least=ANY),),
            ),
            ("test", "note"), ("bus_voltage", "battery_current", "speed", "x"), "time", series=True, least_rows=8,
        ),
    )
}  # fmt: skip

#: columns of a rover's log that name a wheel too, as in the traces.csv of a run
OF_WHEELS = (
    Column("wheel_speed", "rad/s", "wheel_speed", least=ANY),
    Column("phase_voltage", "V", "phase_voltage"),
    Column("winding_temperature", "degC", "winding_temperature", least=-100.0),
)

#: unit and words of each quantity, for labels
QUANTITIES = {
    "speed": ("rad/s", "speed"), "time": ("s", "time"), "voltage": ("V", "phase voltage, peak"),
    "current": ("A", "phase current, peak"), "torque": ("N*m", "torque"), "load": ("N*m", "load torque"),
    "resistance": ("ohm", "phase resistance"), "winding_temperature": ("degC", "winding temperature"),
    "housing_temperature": ("degC", "housing temperature"), "bus_voltage": ("V", "bus voltage"),
    "battery_current": ("A", "battery current"), "x": ("m", "x"), "wheel_speed": ("rad/s", "wheel speed"),
    "phase_voltage": ("V", "phase voltage, peak"),
}  # fmt: skip
CELL_QUANTITIES = {"voltage": ("V", "terminal voltage"), "current": ("A", "current")}
ROVER_QUANTITIES = {"speed": ("m/s", "speed")}


def quantity(kind: str, name: str) -> tuple[str, str]:
    """Return (SI unit, words) of a quantity of one kind of log; a wheel's name may follow the quantity's."""
    own = {"cell_pulse": CELL_QUANTITIES, "rover": ROVER_QUANTITIES}.get(kind, {})
    base, _, wheel = name.partition(" ")
    unit, words = own.get(base) or QUANTITIES[base]
    return unit, f"{words}, {wheel.replace('_', ' ')}" if wheel else words
