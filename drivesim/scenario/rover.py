"""The rover as a builder writes it: body, wheels, tyre, bearing."""

from __future__ import annotations

import math
from itertools import combinations
from typing import Any, Self

from pydantic import Field, PrivateAttr, ValidationError, model_validator

from drivesim.scenario import quantities as q
from drivesim.scenario.frame import Frame
from drivesim.scenario.motor import Battery, Driver, Motor, Winding

MOST_WHEELS = 16
IN_LINE = 1e-3  # m, of wheels whose tyres have no width
ROUNDING = 1e-9  # m
DEFAULT_WHEELS = ("front_left", "front_right", "rear_left", "rear_right")


class Tyre(q.Model):
    """Brush tyre on hard ground. ``friction`` is on dry ground; the ground's own factor multiplies it."""

    friction: q.Ratio
    """Greatest friction coefficient before the tyre slides, on dry concrete or a ground without factors of its own."""
    sliding_friction: q.Ratio | None = None
    """Friction coefficient once it slides fast; without it the same as friction."""
    stribeck_speed: q.SpeedLimit = 0.05
    """Slip speed over which friction falls from the one to the other."""
    side_friction_ratio: q.Ratio = 1.0
    """Friction across the wheel, as a multiple of that along it."""
    slip_stiffness: q.Force
    """Force per unit of slip ratio at small slip."""
    side_stiffness_ratio: q.Ratio | None = None
    """Stiffness of the tread across, as a multiple of that along; without it side_friction_ratio squared."""
    relaxation_length: q.Length
    """Way that the wheel rolls until 63 % of its force has built up."""
    tread_damping: q.ShareOrZero = 0.2
    """Damping of the tread at standstill, as a share of critical damping."""
    radial_stiffness: q.Stiffness
    """Force at the ground per metre that the tyre is pressed in."""
    radial_damping: q.Damping
    """Damping of that spring."""
    rolling_resistance: q.ShareOrZero = 0.02
    """Rolling drag as a share of the wheel's load, on dry concrete or a ground without factors of its own."""
    width: q.Length | None = None
    """Width of the tread; needed on soft ground."""
    lug_height: q.LengthOrZero = 0.0
    """Height of the lugs; counts on soft ground only."""
    bite: q.RatioOrZero = 0.0
    """What spikes add to the friction coefficient where the ground offers full hold, as at an edge."""


class Bearing(q.Model):
    """Dry and viscous drag of one wheel's bearing."""

    dry: q.Torque = 0.0
    """Drag that does not depend on speed, of bearing, seal and motor together."""
    viscous: q.ViscousTorque = 0.0
    """Drag that grows with speed."""


class Wheel(q.Model):
    """What all wheels have in common."""

    radius: q.Length
    """Radius at which it rolls: way of one turn over 2π. The tyre's flattening does not alter it."""
    inertia: q.Inertia
    """Moment of inertia of all that turns with the wheel."""
    tyre: Tyre
    """The tyre."""
    bearing: Bearing = Bearing()
    """The bearing's drag."""
    motor: Motor
    """The motor."""
    winding: Winding
    """Heat of the winding, and its limits."""
    driver: Driver = Driver()
    """The power stage."""


class WheelPlace(q.Model):
    """What is special about one wheel: its place, and how the skewed frame treats it."""

    at: tuple[q.Coordinate, q.Coordinate] | None = None
    """Place of the wheel: forward and left of the middle of the frame."""
    drop: q.Coordinate = 0.0
    """How far it stands below the frame's plane (negative: above)."""
    extra_drag: q.Torque = 0.0
    """Dry bearing drag of this wheel alone, as from misalignment."""
    toe: q.Angle = 0.0
    """Angle of its axle about the vertical, positive to the left."""
    resistance_factor: q.Ratio = 1.0
    """Its winding's resistance as a multiple of the common one."""
    friction_factor: q.Ratio = 1.0
    """Its tyre's friction as a multiple of the common one."""
    driven: bool = True
    """Whether its motor is driven; false: it rolls along."""
    change: dict[str, Any] = Field(default_factory=dict)
    """Values of its own: dotted paths below rover.wheel, such as motor.flux_linkage."""


#: what one wheel may have of its own; the rest holds for all wheels alike
OWN = {
    "inertia": (), "bearing": ("dry", "viscous"), "winding": ("thermal_resistance", "heat_capacity"),
    "driver": ("on_resistance", "fixed_loss", "efficiency", "current_limit"),
    "tyre": tuple(key for key in Tyre.model_fields if key not in ("width", "lug_height", "bite")),
    "motor": tuple(key for key in Motor.model_fields if key not in ("pole_pairs", "conductor", "resistance_spread")),
}  # fmt: skip


def own_problem(path: str) -> str:
    """Return what is wrong with ``path``, below rover.wheel, as one wheel's own; empty where it may be."""
    part, _, key = path.partition(".")
    if part in OWN and (key in OWN[part] if OWN[part] else not key):
        return ""
    return q.unknown(path, ["inertia", *(f"{part}.{key}" for part, keys in OWN.items() for key in keys)])


class Rover(q.Model):
    """The whole rover; the frame's origin is midway between the wheels at axle height."""

    name: str = "rover"
    """Words for it, in results."""
    mass: q.Mass
    """Mass of the whole rover, wheels and battery included."""
    box: tuple[q.Length, q.Length, q.Length] | None = None
    """Length, width, height of an even box with the body's inertia; give this or inertia."""
    inertia: tuple[q.Inertia, q.Inertia, q.Inertia] | None = None
    """Moments of inertia in roll, pitch and yaw about the centre of gravity."""
    centre_of_gravity: tuple[q.Coordinate, q.Coordinate, q.Coordinate] = (0.0, 0.0, 0.0)
    """Forward, left and up from the frame's origin, midway between the wheels at axle height."""
    wheelbase: q.Length | None = None
    """Way between front and rear axle; goes with track, for four wheels in a rectangle."""
    track: q.Length | None = None
    """Way between the middles of the left and the right wheels."""
    wheel: Wheel
    """What all wheels have in common."""
    wheels: dict[str, WheelPlace] = Field(default_factory=dict)
    """What single wheels have of their own; without wheelbase and track all 2 to 16 of them, with places."""
    battery: Battery
    """The battery and the bus."""
    frame: Frame | None = None
    """A frame that twists or stands out of true; without it stiff and even."""
    _own: dict[str, Wheel] = PrivateAttr(default_factory=dict)

    @model_validator(mode="after")
    def _whole(self) -> Self:
        problems = self._change_problems()
        if (self.box is None) == (self.inertia is None):
            found, field = ("neither", "") if self.box is None else ("both", "inertia")
            problems.append((field, f"found {found}; give exactly one of box, inertia"))
        if self.inertia is not None:
            a, b, c = sorted(self.inertia)
            if c > a + b:
                problems.append(("inertia", "the largest moment cannot exceed the sum of the other two"))
        if not problems:
            wheels = self.wheel.inertia * len(self.wheel_names)
            if wheels >= self.principal_inertia[1]:
                text = (
                    f"found {self.wheel.inertia:.3g} kg*m^2 for each of {len(self.wheel_names)} wheels, allowed: "
                    "together less than the rover's pitch inertia, which includes them, of "
                    f"{self.principal_inertia[1]:.3g} kg*m^2"
                )
                problems.append(("wheel.inertia", text))
        if (self.wheelbase is None) != (self.track is None):
            problems.append(
                ("track" if self.wheelbase is None else "wheelbase", "wheelbase and track go together")
            )
        problems += self._wheel_problems()
        if not problems:  # what follows needs to know the wheels' places
            problems += self._overlap_problems() + self._frame_problems()
        problems += self._lockout_problems()
        q.refuse(problems)
        return self

    def _wheel_problems(self) -> list[tuple[str, str]]:
        problems = [
            (f"wheels.{name}", "the name of a wheel is a word of letters, digits and _, up to 40 of them")
            for name in self.wheels
            if not (name.isidentifier() and len(name) <= 40)
        ]
        if self.wheelbase is not None:
            for name in self.wheels:
                if name not in DEFAULT_WHEELS:
                    problems.append(
                        (f"wheels.{name}", q.unknown(name, DEFAULT_WHEELS) + " (wheelbase is given)")
                    )
        elif self.track is None:
            if not 2 <= len(self.wheels) <= MOST_WHEELS:
                text = f"found {len(self.wheels)}; give wheelbase and track, or 2 to {MOST_WHEELS} wheels"
                problems.append(("wheels", text + " with their places ('at')"))
            for name, place in self.wheels.items():
                if place.at is None:
                    problems.append((f"wheels.{name}", "has no place ('at'), and no wheelbase is given"))
        return problems

    def _change_problems(self) -> list[tuple[str, str]]:
        """Make each wheel that has values of its own, and return what is wrong with them."""
        problems = []
        for name, place in self.wheels.items():
            if not place.change:
                continue
            data = self.wheel.model_dump(mode="json", exclude_none=True)
            for path, value in place.change.items():
                part, _, key = path.partition(".")
                if wrong := own_problem(path):
                    problems.append((f"wheels.{name}.change", wrong))
                elif key:
                    data.setdefault(part, {})[key] = value
                else:
                    data[part] = value
            try:
                self._own[name] = Wheel.model_validate(data)
            except ValidationError as error:
                for item in error.errors(include_url=False):
                    where = ".".join(str(step) for step in item["loc"])
                    text = item.get("ctx", {}).get("text", item["msg"])
                    problems.append((f"wheels.{name}.change", f"{where}: {text}"))
        return problems

    def wheel_at(self, name: str) -> Wheel:
        """Return the wheel ``name`` with its own values."""
        return self._own.get(name, self.wheel)

    def with_own_wheels(self) -> Self:
        """Return the rover with each wheel's own values put anew upon what all share, as after a ``model_copy``."""
        new = self.model_copy()
        new._own = {}
        q.refuse(new._change_problems())
        return new

    def _overlap_problems(self) -> list[tuple[str, str]]:
        """Return the first two wheels of one track, if any, that would turn within each other."""
        across, width = 2 * self.wheel.radius, self.wheel.tyre.width
        for one, other in combinations(self.wheel_names, 2):
            a, b = self.place(one), self.place(other)
            assert a.at is not None
            assert b.at is not None
            ahead, aside = abs(a.at[0] - b.at[0]), abs(a.at[1] - b.at[1])
            apart = math.hypot(ahead, a.drop - b.drop)
            if apart > across - ROUNDING or aside > (IN_LINE if width is None else width) - ROUNDING:
                continue
            own = next((name for name in (other, one) if (self.wheels.get(name) or WheelPlace()).at), None)
            field = f"wheels.{own}.at" if own else "wheelbase" if ahead else "track"
            offset = f" in line, {aside * 1e3:.4g} mm side by side" if aside > IN_LINE else ""
            beside = "" if width is None else f", or {width * 1e3:.4g} mm side by side"
            text = (
                f"found {one} and {other} {across * 1e3:.4g} mm across and {apart * 1e3:.4g} mm apart{offset}; "
                f"allowed: at least {across * 1e3:.4g} mm apart{beside}"
            )
            return [(field, text)]
        return []

    def _frame_problems(self) -> list[tuple[str, str]]:
        frame = self.frame or Frame()
        places = [at for name in self.wheel_names if (at := self.place(name).at) and at[0] * at[1] != 0]
        if len(places) == len(self.wheel_names) == len({(x > 0, y > 0) for x, y in places}) == 4:
            return []
        text = "needs exactly four wheels, one in each quarter of the frame"
        given = (("torsion_stiffness", frame.torsion_stiffness is not None), ("skew", frame.skew != 0))
        return [(f"frame.{name}", text) for name, used in given if used]

    def _lockout_problems(self) -> list[tuple[str, str]]:
        lockout, full = self.wheel.driver.lockout, self.battery.full_voltage
        if lockout is None:
            return []
        for name, value in (("below", lockout.below), ("above", lockout.above)):
            if value >= full:
                text = f"found {value:g} V, allowed: less than the full pack's open-circuit {full:.4g} V"
                return [(f"wheel.driver.lockout.{name}", text)]
        return []

    def twist_sign(self, name: str) -> int:
        """Return the wheel's sign in the frame's twist: + front left and rear right, − the others, 0 on an axis."""
        x, y = self.place(name).at or (0.0, 0.0)
        return (x * y > 0) - (x * y < 0)

    @property
    def misalignment(self) -> float:
        """Angle by which the skewed frame puts the axles out of line [rad]: skew over the width between wheels."""
        across = [at[1] for name in self.wheel_names if (at := self.place(name).at)]
        width = max(across) - min(across)
        return abs(self.frame.skew) / width if self.frame and self.frame.skew else 0.0

    @property
    def wheel_names(self) -> tuple[str, ...]:
        """Names in the order of all wheel arrays."""
        return DEFAULT_WHEELS if self.wheelbase is not None else tuple(self.wheels)

    def place(self, name: str) -> WheelPlace:
        """Return where ``name`` sits, with ``at`` always given."""
        place = self.wheels.get(name, WheelPlace())
        if place.at is not None:
            return place
        assert self.wheelbase is not None
        assert self.track is not None
        x = self.wheelbase / 2 * (1 if name.startswith("front") else -1)
        y = self.track / 2 * (1 if name.endswith("left") else -1)
        return place.model_copy(update={"at": (x, y)})

    @property
    def principal_inertia(self) -> tuple[float, float, float]:
        """Roll, pitch, yaw inertia about the centre of gravity [kg·m²]; an even box if no more is known."""
        if self.inertia is not None:
            return self.inertia
        assert self.box is not None
        a, b, c = self.box
        m = self.mass / 12
        return m * (b * b + c * c), m * (a * a + c * c), m * (a * a + b * b)
