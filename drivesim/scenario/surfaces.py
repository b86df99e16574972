"""Kinds of hard ground: friction and rolling resistance as multiples of dry concrete's; imports nothing of ours.

Friction: middle of two tables, each relative to its own dry concrete.  Taborek, as reprinted in Wong, Theory of
Ground Vehicles, table of peak friction (from memory): dry asphalt and concrete 0.85, wet asphalt 0.6, gravel 0.6, dry
earth 0.68, packed snow 0.2, ice 0.1.  Noon, Engineering Analysis of Vehicular Accidents, 1994: dry concrete 0.75, wet
concrete 0.6, dry asphalt 0.65, wet asphalt 0.5, gravel 0.35, loose moist dirt 0.625, snow 0.225, ice 0.125.  Loose
sand: tangent of its friction angle, 28 deg (Wong, table of terrain values, from memory), over 0.85.  Cobbles: common
practice, no source.

Rolling: handbook values for car tyres, middle of their ranges: concrete and asphalt 0.0125, rolled gravel 0.02, worn
cobbles 0.03, firm soil 0.06, loose sand 0.3; packed snow: common practice, no source; wet and ice: as dry.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

Surface = Literal[
    "concrete", "asphalt", "rolled_gravel", "cobbles", "firm_soil", "loose_sand", "wet_concrete", "wet_asphalt",
    "packed_snow", "ice",
]  # fmt: skip


class Factors(NamedTuple):
    """Multiples of dry concrete's friction and rolling resistance."""

    friction: float
    rolling: float


SURFACES = {
    "concrete": Factors(1.0, 1.0),
    "asphalt": Factors(0.93, 1.0),
    "rolled_gravel": Factors(0.59, 1.6),
    "cobbles": Factors(0.8, 2.4),
    "firm_soil": Factors(0.82, 4.8),
    "loose_sand": Factors(0.63, 24.0),
    "wet_concrete": Factors(0.8, 1.0),
    "wet_asphalt": Factors(0.69, 1.0),
    "packed_snow": Factors(0.27, 2.0),
    "ice": Factors(0.14, 1.0),
}
