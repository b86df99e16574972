"""A frame that twists and stands out of true, as a builder writes it; imports only quantities."""

from __future__ import annotations

from drivesim.scenario import quantities as q


class Frame(q.Model):
    """The frame's one mode of twist, with the pattern + − − + of the four wheels, and its skew."""

    torsion_stiffness: q.Stiffness | None = None  # force at each wheel per metre it moves; default: stiff
    damping_ratio: q.ShareOrZero = 0.1  # of critical, for the twist
    skew: q.Coordinate = 0.0  # how far one wheel stands off the plane of the other three
    drag_per_angle: q.TorquePerAngle = 0.0  # dry bearing drag per angle of misalignment
