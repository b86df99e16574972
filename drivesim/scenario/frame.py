"""A frame that twists and stands out of true, as a builder writes it; imports only quantities."""

from __future__ import annotations

from drivesim.scenario import quantities as q


class Frame(q.Model):
    """The frame's one mode of twist, with the pattern + − − + of the four wheels, and its skew."""

    torsion_stiffness: q.Stiffness | None = None
    """Force at each wheel per metre it moves when the frame twists; without it the frame is stiff."""
    damping_ratio: q.ShareOrZero = 0.1
    """Damping of the twist, as a share of critical damping."""
    skew: q.Coordinate = 0.0
    """How far one wheel stands off the plane of the other three; more than 0 lifts front_left and rear_right."""
    drag_per_angle: q.TorquePerAngle = 0.0
    """Dry bearing drag per angle of misalignment, which is skew over the width between the wheels."""
