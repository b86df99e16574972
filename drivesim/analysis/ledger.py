"""Where the energy went: what the battery gave against losses and what is stored now; imports engine."""

from __future__ import annotations

from drivesim.engine.simulate import Recording

#: parts of the ledger in the order shown, with the words shown
PARTS = {
    "copper": "heat in the windings",
    "driver": "wheel controllers",
    "electronics": "other electronics",
    "battery": "heat in the battery",
    "bearing": "bearings",
    "rolling": "rolling resistance",
    "tyre_slip": "tyres slipping",
    "contact_damping": "tyres squeezed",
    "soil": "soil pressed and sheared",
    "frame": "frame twisting",
    "height": "lifting the rover",
    "motion": "motion",
    "stored": "springs, field and bus",
    "added": "brought from outside",
    "remainder": "not accounted for",
}


def ledger(recording: Recording) -> dict[str, float]:
    """Return each part in joules, what was drawn, and the remainder as a share of what was drawn.

    ``drawn`` is open-circuit voltage times current; what events bring in counts as negative ``added``.
    The remainder is what the numerical method lost or made.
    """
    states, body = recording.model.states, recording.model.bodies[0]
    before, after = vars(recording.stored_before), vars(recording.stored_after)
    change = {name: after[name] - before[name] for name in after}
    parts = {
        "copper": float(states["copper_loss"].sum()),
        "driver": float(states["driver_loss"].sum()),
        "electronics": float(body["electronics_loss"]),
        "battery": float(body["battery_loss"]),
        "bearing": float(states["bearing_loss"].sum()),
        "rolling": float(states["rolling_loss"].sum()),
        "tyre_slip": float(states["tyre_loss"].sum()) - change["treads"],
        "contact_damping": float(states["contact_loss"].sum()),
        "soil": float(states["soil_loss"].sum()),
        "frame": float(body["frame_loss"]),
        "height": change["height"],
        "motion": change["motion"],
        "stored": sum(change[part] for part in ("tyres", "treads", "frame", "magnetic", "bus")),
        "added": -float(body["added_energy"]),
    }
    drawn = float(body["chemical_energy"])
    remainder = drawn - sum(parts.values())
    return {
        "drawn": drawn,
        **parts,
        "remainder": remainder,
        "remainder_fraction": remainder / drawn if drawn else 0.0,
    }
