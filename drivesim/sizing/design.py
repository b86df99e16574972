"""A scenario → the plain numbers that sizing works with, per wheel and for the pack; imports engine's records only."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from drivesim.analysis.derived import bound_limit, cold_resistance, wheel_figures
from drivesim.analysis.heat_limits import guard_limits, heat_limits
from drivesim.drive.controller import FORCED
from drivesim.engine import records
from drivesim.engine.build import WHEEL_SEED, battery_table, body_record
from drivesim.engine.wheel_build import fill_drive, fill_wheel
from drivesim.physics import motor, soil, tyre
from drivesim.scenario.rover import Wheel as OneWheel
from drivesim.scenario.scenario import Scenario
from drivesim.scenario.soil import SoilNumbers

NO_LIMIT = math.inf


@dataclass(frozen=True)
class Wheel:
    """One wheel in SI: place from the centre of gravity, drag, friction, motor, driver, drive and heat."""

    name: str
    x: float
    y: float
    lower: float  # hub below the frame's plane
    stiffness: float  # N/m of the tyre
    twist: float
    driven: bool
    forced: bool
    radius: float
    rolling: float  # coefficient, ground included
    dry: float
    viscous: float
    friction: float
    side_ratio: float
    width: float
    lug_height: float
    p: float
    R20: float  # winding alone, at 20 degC
    alpha: float
    on: float
    L: float
    lam: float
    modulation: float
    efficiency: float
    fixed_loss: float
    driver_heat: float
    R_th: float  # K/W, winding to air
    R_wh: float  # K/W, winding to housing, or to air without one
    heat_capacity: float  # J/K of the winding
    current_limit: float
    base_amplitude: float
    amplitude_per_hertz: float
    hottest: float  # degC of the winding when the first of its limits is reached
    heat_name: str
    continuous_current: float  # A peak, at standstill
    continuous_voltage: float  # V peak, at standstill
    ratings: tuple[tuple[str, float], ...]  # name and A peak of the line

    @cached_property
    def Kt(self) -> float:  # noqa: N802 - the textbook symbol
        """Torque for an ampere of peak phase current [N·m/A]."""
        return float(motor.torque(1.0, self.p, self.lam))

    @cached_property
    def machine(self) -> tuple[object, ...]:
        """All that motor, driver and drive do follows from."""
        return (
            self.driven, self.forced, self.radius, self.p, self.R20, self.alpha, self.on, self.L, self.lam,
            self.modulation, self.efficiency, self.fixed_loss, self.current_limit, self.base_amplitude,
            self.amplitude_per_hertz, self.continuous_current, self.dry, self.viscous,
        )  # fmt: skip

    def resistance(self, temperature: float) -> float:
        """Return what the current passes of a phase at ``temperature`` [degC]: winding and driver [ohm]."""
        return self.R20 * (1 + self.alpha * (temperature - 20.0)) + self.on

    def drag(self, speed: float) -> float:
        """Return the bearing's torque [N·m] at a rim speed [m/s]."""
        return self.dry + self.viscous * speed / self.radius

    def electrical_speed(self, speed: float) -> float:
        """Return the field's speed [rad/s] at a rim speed [m/s]."""
        return self.p * speed / self.radius

    def law_amplitude(self, speed: float) -> float:
        """Return the amplitude [V] that a forced drive sets at a rim speed [m/s]."""
        return self.base_amplitude + self.amplitude_per_hertz * self.electrical_speed(speed) / (2 * math.pi)


@dataclass(frozen=True)
class Pack:
    """The battery and what hangs on it besides the wheels; ``table``: charge, open circuit [V], resistance factor."""

    table: np.ndarray
    charge: float
    resistance: float  # at a factor of 1
    diffusion: float
    capacity: float  # A·s
    cells: int
    cut_off: float  # V a cell
    electronics: float
    lockout: float  # V, 0 without one
    rating: float  # A
    connector: float  # A, inf where not given

    def open_circuit(self, charge: float) -> float:
        """Return the voltage at rest [V]."""
        return float(np.interp(charge, self.table[0], self.table[1]))

    def inner(self, charge: float) -> float:
        """Return the resistance under a lasting load [ohm]: it follows the charge where the file says so."""
        return float(np.interp(charge, self.table[0], self.table[2])) * self.resistance + self.diffusion


@dataclass(frozen=True)
class Design:
    """All that sizing needs of one scenario."""

    scenario: Scenario
    wheels: tuple[Wheel, ...]
    pack: Pack
    weight: float  # N
    height: float  # m, of the centre of gravity above the ground
    frame_stiffness: float  # N/m of the frame's twist, inf where it is stiff
    ambient: float
    soil: SoilNumbers | None

    @cached_property
    def radius(self) -> float:
        """The wheels' radius [m]."""
        return self.wheels[0].radius

    @cached_property
    def kinds(self) -> tuple[int, ...]:
        """A number for each wheel, the same for wheels with the same motor, driver, drive and drag."""
        seen: dict[tuple[object, ...], int] = {}
        return tuple(seen.setdefault(w.machine, len(seen)) for w in self.wheels)

    @cached_property
    def driven(self) -> list[Wheel]:
        """The wheels with a drive."""
        return [w for w in self.wheels if w.driven]

    @cached_property
    def forced(self) -> bool:
        """Whether any driven wheel's field turns at a frequency of its own."""
        return any(w.forced for w in self.driven)

    @cached_property
    def axles(self) -> tuple[tuple[int, ...], tuple[int, ...]] | None:
        """The wheels of the front and the rear axle; None where they do not stand in two axles."""
        places = {round(w.x, 6) for w in self.wheels}
        front = tuple(i for i, w in enumerate(self.wheels) if w.x > 0)
        rear = tuple(i for i, w in enumerate(self.wheels) if w.x < 0)
        if len(places) != 2 or not front or not rear:
            return None
        return front, rear

    def traction(self, wheel: Wheel, load: float) -> tuple[float, float]:
        """Return the greatest thrust [N] that the ground gives this wheel under ``load`` [N], and the soil's drag [N].

        On soil that of a wheel spinning in place, whose contact is sheared by its whole length.
        """
        if load <= 0.0:
            return 0.0, 0.0
        ground = self.soil
        if ground is None:
            return wheel.friction * load, 0.0
        diameter, b = 2 * wheel.radius, wheel.width
        k = soil.modulus(ground.k_c, ground.k_phi, b)
        z = soil.sinkage_under_load(load, b, diameter, ground.exponent, k)
        length = soil.contact_length(z, diameter)
        limit = soil.greatest_thrust(
            b * length, ground.cohesion, load, ground.tan_phi, wheel.lug_height, b
        ) * soil.mean_shear(length, ground.shear_modulus)
        return float(limit), float(soil.compaction_resistance(z, b, k, ground.exponent))

    def side_limit(self, wheel: Wheel, thrust: float, limit: float) -> float:
        """Return the side force [N] that the ground still gives beside ``thrust``, of a ``limit`` along [N]."""
        ratio = 1.0 if self.soil is not None else wheel.side_ratio
        return float(tyre.side_force_beside(thrust, limit, limit * ratio))


def design_of(scenario: Scenario) -> Design:
    """Return the numbers of ``scenario`` on its ground as it is away from patches and features."""
    rover, body = scenario.rover, body_record(scenario)[0]
    found = wheel_records(scenario)
    table = battery_table(rover.battery)
    battery, lockout = rover.battery, rover.wheel.driver.lockout
    pack = Pack(
        table=table,
        charge=battery.state_of_charge,
        resistance=float(body["battery_resistance"]),
        diffusion=float(body["diffusion_resistance"]),
        capacity=float(body["capacity"]),
        cells=battery.cells_in_series,
        cut_off=battery.cut_off,
        electronics=battery.electronics,
        lockout=0.0 if lockout is None else lockout.below,
        rating=battery.current_rating,
        connector=battery.connector_rating or NO_LIMIT,
    )
    frame = rover.frame
    stiff = frame is None or frame.torsion_stiffness is None
    radius = rover.wheel.radius
    lowest = sum(float(w["z"]) for w in found) / len(found)  # hubs, from the centre of gravity
    bus = pack.open_circuit(pack.charge)
    return Design(
        scenario=scenario,
        wheels=tuple(
            _wheel(w, name, scenario, bus, lowest) for w, name in zip(found, rover.wheel_names, strict=True)
        ),
        pack=pack,
        weight=rover.mass * scenario.gravity,
        height=radius - lowest,
        frame_stiffness=NO_LIMIT if stiff else float(body["frame_stiffness"]),
        ambient=scenario.ambient,
        soil=None if scenario.ground.soil is None else scenario.ground.soil.numbers,
    )


def wheel_records(scenario: Scenario) -> np.ndarray:
    """Return the wheels' records as a run's, the resistances drawn from the same seed."""
    rover = scenario.rover
    names = rover.wheel_names
    out = np.zeros(len(names), records.WHEEL)
    for record, name in zip(out, names, strict=True):
        fill_wheel(record, rover, name)
        fill_drive(record, scenario.drive.for_wheel(name))
    spread = rover.wheel.motor.resistance_spread
    if spread > 0:
        draw = np.random.default_rng(np.random.SeedSequence(scenario.seed, spawn_key=(WHEEL_SEED,)))
        out["resistance"] *= np.maximum(0.5, 1 + spread * draw.standard_normal(len(names)))
    return out


def _wheel(record: np.void, name: str, scenario: Scenario, bus: float, mean_z: float) -> Wheel:
    rover, ground = scenario.rover, scenario.ground
    limits = [*heat_limits(rover.wheel.winding), *guard_limits(rover.wheel.driver)]
    figures = wheel_figures(record, bus, scenario.ambient, limits)
    bound, hottest = bound_limit(record, scenario.ambient, limits)
    v = {key: float(record[key]) for key in (
        "x", "y", "twist", "radius", "bearing_viscous", "width", "lug_height", "coefficient", "on_resistance",
        "inductance", "flux_linkage", "modulation", "efficiency", "fixed_loss", "driver_heat", "current_limit",
        "base_amplitude", "amplitude_per_hertz", "thermal_resistance", "housing_resistance", "side_friction_ratio",
    )}  # fmt: skip
    housing = v["housing_resistance"] if math.isfinite(v["housing_resistance"]) else 0.0
    return Wheel(
        name=name, x=v["x"], y=v["y"], lower=mean_z - float(record["z"]), twist=v["twist"],
        stiffness=float(record["radial_stiffness"]),
        driven=bool(record["driven"]), forced=bool(record["strategy"] in FORCED),
        radius=v["radius"], rolling=float(record["rolling_resistance"]) * ground.rolling,
        dry=float(record["bearing_dry"]), viscous=v["bearing_viscous"],
        friction=float(record["friction"]) * ground.friction + ground.hold * float(record["bite"]),
        side_ratio=v["side_friction_ratio"], width=v["width"], lug_height=v["lug_height"],
        p=float(record["pole_pairs"]), R20=cold_resistance(record), alpha=v["coefficient"], on=v["on_resistance"],
        L=v["inductance"], lam=v["flux_linkage"], modulation=v["modulation"], efficiency=v["efficiency"],
        fixed_loss=v["fixed_loss"], driver_heat=v["driver_heat"], R_th=v["thermal_resistance"] + housing,
        R_wh=v["thermal_resistance"], heat_capacity=float(record["heat_capacity"]),
        current_limit=v["current_limit"], base_amplitude=v["base_amplitude"],
        amplitude_per_hertz=v["amplitude_per_hertz"], hottest=hottest, heat_name=bound.name,
        continuous_current=figures["continuous_current_A"],
        continuous_voltage=figures["continuous_stall_voltage_V"], ratings=_ratings(rover.wheel_at(name)),
    )  # fmt: skip


def _ratings(wheel: OneWheel) -> tuple[tuple[str, float], ...]:
    """Return the ratings that a wheel's line current must not pass for long [A peak]."""
    motor_, conductor = wheel.motor, wheel.motor.conductor
    found = []
    if wheel.driver.current_rating is not None:
        found.append(("driver rating", wheel.driver.current_rating))
    if wheel.winding.trace_rating is not None:
        lines = math.sqrt(3.0) if motor_.connection == "delta" else 1.0
        paths = 1 if conductor is None else conductor.parallel_paths
        found.append(("trace rating", wheel.winding.trace_rating * lines * paths))
    return tuple(found)
