"""The pack and its wheels together: how far the bus sags, and what that leaves; imports machine and physics."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from drivesim.physics import supply
from drivesim.sizing.design import Design, Wheel
from drivesim.sizing.machine import NOTHING, Cap, Draw, draw, most_torque

ROUNDS = 60  # at most, in search of the bus voltage
CLOSE = 1e-8  # of the voltage
HALVINGS = 40  # in search of the share that the pack can carry
WHOLE = 1 - 1e-9  # of what the wheels could give
FREE = Cap(math.inf, "torque")
IDLE = Cap(0.0, "not driven")


class Bus(NamedTuple):
    """The bus [V], the pack's current [A]; of each wheel its torque [N·m] with its limit's name, and current [A]."""

    voltage: float
    current: float
    wheels: tuple[Cap, ...]
    currents: tuple[float, ...]

    @property
    def collapsed(self) -> bool:
        """Whether the pack cannot even carry what does not move."""
        return self.voltage == supply.COLLAPSED


def settle_bus(
    design: Design,
    resistances: Sequence[float],
    speed: float = 0.0,
    caps: Sequence[Cap] | None = None,
    *,
    lasting: bool = False,
    charge: float | None = None,
) -> Bus:
    """Return what all wheels give at once at rim ``speed`` [m/s]: each as much as voltage, driver and ``caps`` let it.

    ``resistances`` [ohm] of the phases with their drivers.  Where the pack cannot carry that — it collapses, the
    drivers' lockout stops them, or with ``lasting`` its cells or connector are over their rating — every wheel gives
    the same share of what voltage and driver let it, its cap at most, by the name of what holds the pack.
    """
    pack = design.pack
    charge = pack.charge if charge is None else charge
    E, R = pack.open_circuit(charge), pack.inner(charge)
    groups = _grouped(design, resistances, [FREE] * len(design.wheels) if caps is None else caps)
    voltage = _voltage(pack.electronics, groups, speed, E, R)
    floor, name = pack.lockout, "battery"
    if lasting:
        rated, whose = min((pack.rating, "cell rating"), (pack.connector, "connector rating"))
        if E - R * rated > max(floor, voltage):
            floor, name = E - R * rated, whose
    if voltage == supply.COLLAPSED:
        floor = max(floor, E / 2)  # what is left where a source gives its greatest power
    if voltage < floor:
        return _held_back(design, groups, speed, (E, R, floor), name)
    given = [_given(group, speed, voltage) for group in groups]
    draws = [draw(g.wheel, cap.torque, voltage, speed, g.R) for g, cap in zip(groups, given, strict=True)]
    power = pack.electronics + sum(len(g.places) * taken.bus for g, taken in zip(groups, draws, strict=True))
    return _told(design, groups, given, draws, voltage, power / voltage)


class _Group(NamedTuple):
    """Driven wheels that do the same: one of them, its phase [ohm], what caps it, and the places of them all."""

    wheel: Wheel
    R: float
    cap: Cap
    places: list[int]


def _grouped(design: Design, resistances: Sequence[float], caps: Sequence[Cap]) -> list[_Group]:
    """Return the driven wheels by what they do."""
    found: dict[tuple[int, float, Cap], _Group] = {}
    for i, (w, kind, R, cap) in enumerate(zip(design.wheels, design.kinds, resistances, caps, strict=True)):
        if w.driven:
            group = found.setdefault((kind, R, cap), _Group(w, R, cap, []))
            group.places.append(i)
    return list(found.values())


def _given(group: _Group, speed: float, voltage: float) -> Cap:
    """Return the torque of each wheel of a group at this bus ``voltage`` [V]."""
    most = most_torque(group.wheel, voltage, speed, group.R)
    return group.cap if group.cap.torque < most.torque else most


def _told(
    design: Design,
    groups: Sequence[_Group],
    given: Sequence[Cap],
    draws: Sequence[Draw],
    voltage: float,
    current: float,
) -> Bus:
    """Return the bus with what each group does told of each wheel."""
    torques, currents = [IDLE] * len(design.wheels), [0.0] * len(design.wheels)
    for group, cap, taken in zip(groups, given, draws, strict=True):
        for i in group.places:
            torques[i], currents[i] = cap, taken.current
    return Bus(voltage, current, tuple(torques), tuple(currents))


def _voltage(electronics: float, groups: Sequence[_Group], speed: float, E: float, R: float) -> float:
    """Return where the bus settles [V] from above; COLLAPSED where it does not."""
    voltage = E
    for _ in range(ROUNDS):
        constant, resistive = electronics, 0.0
        for group in groups:
            taken = draw(group.wheel, _given(group, speed, voltage).torque, voltage, speed, group.R)
            follows = max(0.0, taken.resistive)
            resistive += len(group.places) * follows
            constant += len(group.places) * (taken.bus - follows)
        new = float(supply.advance_bus(voltage, E, R, 0.0, constant, resistive, 1.0))
        if new == supply.COLLAPSED or abs(new - voltage) < CLOSE * E:
            return new
        voltage = new
    return voltage


def _held_back(
    design: Design, groups: Sequence[_Group], speed: float, source: tuple[float, float, float], name: str
) -> Bus:
    """Return the bus at the voltage below which it must not sag, and what share of their torque the wheels give."""
    E, R, floor = source
    most = [most_torque(group.wheel, floor, speed, group.R) for group in groups]

    def draws(share: float) -> list[Draw]:
        return [
            draw(group.wheel, min(group.cap.torque, share * cap.torque), floor, speed, group.R)
            for group, cap in zip(groups, most, strict=True)
        ]

    def power(share: float) -> float:
        taken = zip(groups, draws(share), strict=True)
        return design.pack.electronics + sum(len(group.places) * each.bus for group, each in taken)

    allowed = floor * (E - floor) / R
    if floor >= E or power(0.0) > allowed:
        nothing, none = [Cap(0.0, name)] * len(groups), [NOTHING] * len(groups)
        return _told(design, groups, nothing, none, supply.COLLAPSED, 0.0)
    low, high = 0.0, 1.0
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if power(middle) <= allowed else (low, middle)
    given = [
        group.cap
        if group.cap.torque < low * cap.torque
        else Cap(low * cap.torque, name if low < WHOLE else cap.name)
        for group, cap in zip(groups, most, strict=True)
    ]
    return _told(design, groups, given, draws(low), floor, (E - floor) / R)
