"""Energy that a model holds at one moment; the losses are counted in the kernel, step by step."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drivesim.engine.model import Model
from drivesim.engine.records import kernel_view
from drivesim.engine.standing import stand
from drivesim.physics import body as rigid
from drivesim.physics import contact, motor, supply, tyre


@dataclass(frozen=True)
class Stored:
    """Energy held [J]: motion, height, tyres, treads, twisted frame, inductances, capacitances of bus and cells.

    On soil the tyre's and the tread's share is counted as lost when it is put in.
    """

    motion: float
    height: float
    tyres: float
    treads: float
    frame: float
    magnetic: float
    bus: float


def contact_depths(model: Model) -> np.ndarray:
    """Return how deep each wheel is pressed at its contact now [m]; negative in the air."""
    b, grid, surface = kernel_view(model.bodies)[0], kernel_view(model.grid)[0], model.ground.surface
    rot = rigid.rotation(b["q0"], b["q1"], b["q2"], b["q3"])
    return np.array([stand(p, rot, grid, surface, b, b["z"])[-1] for p in kernel_view(model.wheels)])


def stored_energy(model: Model) -> Stored:
    """Return what the model's state holds now."""
    P, b = model.params[0], model.bodies[0]
    motion = rigid.kinetic_energy(
        P["mass"],
        b["vx"],
        b["vy"],
        b["vz"],
        P["inertia_x"],
        P["inertia_y"],
        P["inertia_z"],
        b["wx"],
        b["wy"],
        b["wz"],
    )
    tyres = treads = magnetic = 0.0
    for p, w, depth in zip(model.wheels, model.states, contact_depths(model), strict=True):
        magnetic += motor.magnetic_energy(w["id"], w["iq"], p["inductance"])
        motion += 0.5 * p["inertia"] * w["spin"] ** 2
        if w["soil"] > 0:
            continue
        tyres += contact.spring_energy(depth - w["sinkage"], p["radial_stiffness"])
        treads += tyre.bristle_energy(
            w["ux"], w["uy"], p["tread_stiffness"], p["side_stiffness"], w["limit_x"], w["limit_y"]
        )
    motion += 0.5 * P["frame_mass"] * b["twist_rate"] ** 2
    frame = 0.5 * P["frame_stiffness"] * b["twist"] ** 2
    height = float(P["mass"] * P["gravity"] * b["z"])
    bus = supply.capacitor_energy(P["bus_capacitance"], b["bus_voltage"])
    bus += supply.capacitor_energy(P["diffusion_capacitance"], b["diffusion_voltage"])
    return Stored(
        float(motion), height, float(tyres), float(treads), float(frame), float(magnetic), float(bus)
    )
