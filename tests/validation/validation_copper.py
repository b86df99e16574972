"""Checks of copper: resistivity, temperature, wire tables, foil and its finished thickness, vias, traces."""

from __future__ import annotations

from math import pi

from validation_check import Check, Subject, closed

from drivesim.physics.winding import (
    COPPER_COEFFICIENT_20,
    conductor_resistance,
    copper_thickness,
    layer_resistance,
    resistance_at,
    thinnest_inner_thickness,
    thinnest_outer_thickness,
    trace_current,
    via_resistance,
)

IEC_60028 = "IEC 60028 (looked up: tnlab.org, Industrial Power Engineering Handbook)"
IEC_60034 = "IEC 60034-1, 235 + t (from memory)"
US_RULE = "common practice in the US, 234.5 + t (from memory)"
WIRE_TABLE = "American wire table, NBS Handbook 100 (looked up in reprints)"
WIRE_TABLE_10 = "American wire table, NBS Handbook 100 (from memory)"
IEC_60228 = "IEC 60228, class 1, greatest value (looked up in makers' tables)"
IPC_6012 = "IPC-6012, class 2 (from memory)"
IPC_2221 = "IPC-2221 (from memory)"
IPC_MF_150 = "IPC-MF-150F (looked up: IPC TechNet, 1999)"


def wire(gauge: int) -> float:
    """Return the resistance [ohm per 1000 ft] of a wire of this gauge at 20 degC."""
    diameter = 0.127e-3 * 92.0 ** ((36 - gauge) / 39)
    return conductor_resistance(304.8, pi / 4.0 * diameter**2, 20.0)


def sheet(um: float, temperature: float) -> float:
    """Return the sheet resistance [mohm] of foil of this thickness [um]."""
    return 1e3 * layer_resistance(1.0, 1.0, um * 1e-6, temperature)


def hot_to_cold(cold: float, hot: float) -> float:
    """Return the ratio of resistances at two temperatures [degC]."""
    return resistance_at(1.0, cold, hot, COPPER_COEFFICIENT_20)


COPPER = Subject(
    "Copper and board windings",
    (
        "Concentrated direct-current resistance of what is described: end turns, joints and connectors count only "
        "if they are in the length. Skin depth at 20 kHz is 0.47 mm, far more than any foil; eddy currents in wide "
        "tracks that the magnets pass are not part of it.",
        "The thinnest finished layers come from the IPC-6012 tables, exact at whole weights and linear between; "
        "a measured thickness or resistance overrides them. The IPC-2221 trace currents are for one lone trace "
        "in still air: in a motor's disc, whose tracks warm each other, an order of magnitude only.",
        "α counts from 20 °C; the three usual rules for hot copper differ by up to 0.07 %.",
    ),
    [
        Check("resistivity at 20 °C", IEC_60028, "0.017241", "Ω·mm²/m",
              lambda: conductor_resistance(1.0, 1e-6, 20.0), apart=5e-7),
        Check("temperature coefficient at 20 °C", IEC_60028, "0.00393", "1/K",
              lambda: COPPER_COEFFICIENT_20, rel=1e-9),
        *[
            check
            for cold, hot, iec, us in ((20, 100, "1.313725", "1.314342"), (25, 120, "1.365385", "1.366089"),
                                       (20, 130, "1.431373", "1.432220"))
            for check in (
                Check(f"hot over cold resistance, {cold} to {hot} °C", IEC_60034, iec, "",
                      lambda cold=cold, hot=hot: hot_to_cold(cold, hot), rel=7e-4),
                Check(f"hot over cold resistance, {cold} to {hot} °C", US_RULE, us, "",
                      lambda cold=cold, hot=hot: hot_to_cold(cold, hot), rel=7e-4),
            )
        ],
        Check("wire of gauge 10", WIRE_TABLE_10, "0.9989", "Ω/1000 ft", lambda: wire(10), rel=1e-3),
        Check("wire of gauge 20", WIRE_TABLE, "10.15", "Ω/1000 ft", lambda: wire(20), rel=1e-3),
        Check("wire of gauge 30", WIRE_TABLE, "103.2", "Ω/1000 ft", lambda: wire(30), rel=1e-3),
        *[
            Check(f"{mm2:g} mm² cable", IEC_60228, most, "Ω/km",
                  lambda mm2=mm2: conductor_resistance(1000.0, mm2 * 1e-6, 20.0), share=(0.92, 0.96))
            for mm2, most in ((0.5, "36.0"), (0.75, "24.5"), (1.0, "18.1"), (1.5, "12.1"), (2.5, "7.41"))
        ],
        Check("foil of 1 oz/ft²", IPC_MF_150, "34.3", "µm", lambda: 1e6 * copper_thickness(0.30515), rel=2e-3),
        closed("foil of 2 oz/ft² at 8.89 g/cm³", "68.65", "µm",
               lambda: 1e6 * copper_thickness(0.6103), rel=2e-4),
        *[
            closed(f"one square of {um:g} µm foil at {at:.0f} °C", value, "mΩ",
                   lambda um=um, at=at: sheet(um, at), rel=1e-4)
            for um, cold, hot in ((35.0, "0.49260", "0.64747"), (34.3, "0.50265", "0.66069"),
                                  (24.9, "0.69241", "0.91010"), (47.9, "0.35994", "0.47310"))
            for at, value in ((20.0, cold), (100.0, hot))
        ],
        *[
            check
            for ounces, nominal, inner, outer in (
                ("1/2", 17.1, "11.4", "33.4"), ("1", 34.3, "24.9", "47.9"), ("2", 68.6, "55.7", "78.7"),
                ("3", 102.9, "86.6", "108.6"), ("4", 137.2, "117.5", "139.5"))
            for check in (
                Check(f"{ounces} oz inner layer, least finished", IPC_6012, inner, "µm",
                      lambda nominal=nominal: 1e6 * thinnest_inner_thickness(nominal * 1e-6), rel=1e-6),
                Check(f"{ounces} oz outer layer, least finished", IPC_6012, outer, "µm",
                      lambda nominal=nominal: 1e6 * thinnest_outer_thickness(nominal * 1e-6), rel=1e-6),
            )
        ],
        closed("resistance of the thinnest allowed 1 oz inner layer over nominal", "1.378", "",
               lambda: layer_resistance(1.0, 1.0, thinnest_inner_thickness(34.3e-6), 20.0)
               / layer_resistance(1.0, 1.0, 34.3e-6, 20.0), rel=1e-3),
        closed("plated hole 0.3 mm, wall 20 µm, 1.6 mm long", "1.5680", "mΩ",
               lambda: 1e3 * via_resistance(1, 0.3e-3, 20e-6, 1.6e-3, 20.0), rel=1e-4),
        *[
            closed(f"trace 1 mm × 35 µm outside warmed by {dT} K", outer, "A",
                   lambda dT=dT: trace_current(dT, 35e-9, True), source=IPC_2221, rel=3e-4)
            for dT, outer in ((10, "2.392"), (20, "3.244"), (30, "3.878"))
        ],
        closed("the same trace inside, 10 K", "1.196", "A", lambda: trace_current(10, 35e-9, False),
               source=IPC_2221, rel=3e-4),
    ],
)  # fmt: skip
