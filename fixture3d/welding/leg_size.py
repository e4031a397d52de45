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
from fixture3d.welding.reach import distances
from fixture3d.welding.surface import Surface

_INTO = 0.5  # mm beside the root, so that the ray meets the face and not its edge
_DEPTH = 1000.0  # mm; how far a ray is followed


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
    steps = math.floor(thinner / JOINTS.leg_step + 1e-6)
    return min(max(steps * JOINTS.leg_step, JOINTS.least_leg), JOINTS.most_leg)


def walls_at(weld: FoundWeld, surfaces: tuple[Surface, Surface]) -> tuple[float, float]:
    """Thickness of the walls of both pieces beside the root, mm, in the order of ``weld.joins``; inf where none is met.

    Measured by rays through the solids, square to the two faces, in three places; the least is taken. A solid bar has
    its own width as its wall.

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
            walls[piece] = min(walls[piece], _wall(point, tangent, normal, weld.bisector[number], surfaces[piece]))
    return walls[0], walls[1]


def _wall(point: Array, tangent: Array, normal: Array, bisector: Array, surface: Surface) -> float:
    """Thickness of the material behind one face, half a millimetre and more away from the root, mm."""
    along = bisector - normal * float(bisector @ normal)
    size = float(np.linalg.norm(along))
    # A butt's middle stands square on both faces: either way along the face, whichever meets material.
    aside = np.cross(normal, tangent)
    ways = (along / size,) if size > 0.1 else (aside, -aside)
    best = math.inf
    for way in ways:
        for off in (_INTO, 2.0):
            start = point + off * way + JOINTS.gap * 2.0 * normal
            met = distances(start, -normal, surface.corners, _DEPTH)
            if len(met) >= 2 and met[0] < 4.0 * JOINTS.gap + 1.0:
                best = min(best, float(met[1] - met[0]))
    return best


def default_size(weld: FoundWeld, surfaces: tuple[Surface, Surface]) -> float | None:
    """The size that a weld has unless it is given, mm; None where no wall was met, which the caller has to say."""
    first, second = walls_at(weld, surfaces)
    thinner = min(first, second)
    return leg_size(thinner, thinner) if math.isfinite(thinner) else None
