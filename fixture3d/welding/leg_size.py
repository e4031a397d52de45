"""How large a weld is by default: from the thinner of the two walls that it joins.

Common practice, no source: a fillet's leg as large as the thinner wall, no larger; a butt, a corner or an edge as deep
as the thinner wall; a flare no larger than the wall either. It is what a shop takes for light frames when the drawing
gives nothing. It is not a design: what a weld must carry is for a drawing, and for whoever is licensed to make it.
"""

from __future__ import annotations

import math

import numpy as np

from fixture3d.frame import Array
from fixture3d.tolerance import JOINTS
from fixture3d.welding.found import FoundWeld
from fixture3d.welding.reach import crossings
from fixture3d.welding.surface import Surface

_ASIDE = (0.5, 1.5, 3.0, 6.0, 10.0)  # mm beside the root: near it the cut end of a piece that leans is a wedge
_DEPTH = 1000.0  # mm; how far a ray is followed
_ABOVE = 2.0  # mm over the face at which a ray starts: a round has turned away by then, and the root may have a gap
_NEAR = 5.0  # mm; a surface further below is another one
_READ = 0.05  # mm; a wall of 2.95 counts as 3: walls are read from triangles


def leg_size(first: float, second: float) -> float:
    """Leg of a fillet, depth of a butt: the thinner wall, mm, to a half millimetre below, and at least the least leg.

    Args:
        first: thickness of one wall, mm.
        second: of the other.

    Raises:
        ValueError: a thickness is not a positive finite number.
    """
    for wall in (first, second):
        if not (math.isfinite(wall) and wall > 0.0):
            raise ValueError(f"the wall is {wall} mm thick; expected more than 0")
    thinner = min(first, second)
    steps = math.floor((thinner + _READ) / JOINTS.leg_step)
    return min(max(steps * JOINTS.leg_step, JOINTS.least_leg), JOINTS.most_leg)


def walls_at(weld: FoundWeld, surfaces: tuple[Surface, Surface]) -> tuple[float, float]:
    """Thickness of the walls of both pieces beside the root, mm, in the order of ``weld.joins``; inf where none is met.

    Measured by rays square to each face in three places along the line and up to 10 mm beside the root, the greatest
    beside it and the least along it: the cut end of a piece that leans is a wedge. A solid bar has its own width as
    its wall.

    Args:
        weld: as found.
        surfaces: of the two pieces, in the order of ``weld.joins``.
    """
    parts = np.diff(weld.path, axis=0)
    sizes = np.linalg.norm(parts, axis=1)
    ends = np.cumsum(sizes)
    walls = [math.inf, math.inf]
    for share in (0.5, 0.2, 0.8):
        k = int(np.searchsorted(ends, share * ends[-1]))
        number = min(k, len(weld.bisector) - 1)
        point = weld.path[k] + parts[k] * ((share * ends[-1] - (ends[k] - sizes[k])) / sizes[k])
        tangent = parts[k] / sizes[k]
        for piece in (0, 1):
            normal = weld.normals[min(k, len(weld.normals) - 1)][piece]
            look = weld.bisector[number] * (1.0 if weld.opening <= JOINTS.butt else -1.0)
            walls[piece] = min(walls[piece], _wall(point, tangent, normal, look, surfaces[piece]))
    return walls[0], walls[1]


def _wall(point: Array, tangent: Array, normal: Array, look: Array, surface: Surface) -> float:
    """Thickness of the material behind one face beside the root, mm; infinite where there is none."""
    along = look - normal * float(look @ normal)
    size = float(np.linalg.norm(along))
    # A butt's middle stands square on both faces: either way along the face, whichever meets material.
    aside = np.cross(normal, tangent)
    ways = (along / size,) if size > 0.3 else (aside, -aside)
    found = [_through(point + off * way + _ABOVE * normal, -normal, surface) for way in ways for off in _ASIDE]
    return max((one for one in found if one is not None), default=math.inf)


def _through(start: Array, direction: Array, surface: Surface) -> float | None:
    """Thickness below a place, square to the surface there, mm; None when there is no surface near."""
    met = crossings(start, direction, surface.corners, _NEAR)
    if not met:
        return None
    distance, triangle = met[0]
    inward = -surface.normals[triangle]
    if float(inward @ direction) < 0.5:
        return None
    again = crossings(start + distance * direction - 0.1 * inward, inward, surface.corners, _DEPTH)
    return again[1][0] - again[0][0] if len(again) > 1 else None


def default_size(weld: FoundWeld, surfaces: tuple[Surface, Surface]) -> float | None:
    """The size that a weld has unless it is given, mm; None where no wall was met, which the caller has to say.

    A weld is not made larger than it is long.
    """
    wall = min(walls_at(weld, surfaces))
    return leg_size(wall, weld.length) if math.isfinite(wall) else None
