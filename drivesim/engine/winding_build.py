"""A winding's resistance from its layers, as a builder would work it out; imports scenario and physics."""

from __future__ import annotations

from typing import NamedTuple

from drivesim.physics import winding
from drivesim.scenario.motor import Motor
from drivesim.scenario.winding import Conductor, Layer


class LayerShare(NamedTuple):
    """One kind of layer in a phase: place, how many pieces, finished thickness [m], resistance of all [ohm]."""

    place: str
    pieces: int
    thickness: float
    resistance: float


def star_resistance(motor: Motor) -> float:
    """Return the phase resistance of the equivalent star at the motor's ``resistance_at`` [ohm]."""
    if motor.conductor is None:
        return motor.R
    at = motor.resistance_at
    return motor.star(phase_resistance(motor.conductor, at))


def phase_resistance(conductor: Conductor, temperature: float) -> float:
    """Return one phase's resistance at ``temperature`` [degC]: layers and vias in series, paths side by side [ohm]."""
    total = sum(share.resistance for share in layer_shares(conductor, temperature))
    return (total + vias_resistance(conductor, temperature)) / conductor.parallel_paths


def layer_shares(conductor: Conductor, temperature: float) -> list[LayerShare]:
    """Return what each kind of layer adds to the resistance of one path, in the order of the file."""
    shares = []
    for layer in conductor.layers:
        thickness = finished_thickness(layer, conductor.finish)
        one = winding.layer_resistance(layer.length, layer.width, thickness, temperature)
        shares.append(LayerShare(layer.place, layer.count, thickness, layer.count * one))
    return shares


def vias_resistance(conductor: Conductor, temperature: float) -> float:
    """Return what the vias add to one path [ohm]."""
    vias = conductor.vias
    if vias is None:
        return 0.0
    return float(winding.via_resistance(vias.count, vias.drill, vias.plating, vias.length, temperature))


def finished_thickness(layer: Layer, finish: str) -> float:
    """Return the copper's thickness on the finished board [m]: as measured, nominal, or the least that is allowed."""
    if layer.thickness is not None:
        return layer.thickness
    assert layer.copper is not None
    nominal = winding.copper_thickness(layer.copper)
    if finish == "nominal":
        return float(nominal)
    thinnest = (
        winding.thinnest_outer_thickness if layer.place == "outer" else winding.thinnest_inner_thickness
    )
    return float(thinnest(nominal))
