"""Whether a torch comes to a line at all: a coarse test that only tells the inside of a tube from the outside.

It is not the check of access (``checks/torch_access.py``): it asks whether, within 15 degrees of work angle and 40 of
travel angle about the middle of the opening, any straight way out of 300 mm is free for a nozzle of 16 mm. At 120 mm an
open bore looks as if it could be reached.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from fixture3d.frame import Array
from fixture3d.tolerance import JOINTS
from fixture3d.welding.surface import Surface

_WORK: Final = (0.0, -15.0, 15.0)
_TRAVEL: Final = (0.0, -20.0, 20.0, -40.0, 40.0)
_RING: Final = 6
_START: Final = 0.5  # mm from the root
_ONCE: Final = 1e-3  # mm; a ray through the edge of two triangles meets one surface there


def reachable(point: Array, tangent: Array, bisector: Array, opening: float, surfaces: Sequence[Surface]) -> bool:
    """Whether some straight way from a root (3,) into the open is free.

    Args:
        point: mm.
        tangent: unit, along the weld.
        bisector: unit, into the open.
        opening: degrees; in a narrow one a slimmer nozzle is taken, since that is told as tight.
        surfaces: every piece.
    """
    box = np.stack([point - JOINTS.reach, point + JOINTS.reach])
    corners = np.concatenate([s.corners[s.within(box)] for s in surfaces])
    across = np.cross(tangent, bisector)
    directions = np.array(
        [
            np.cos(b) * (np.cos(a) * bisector + np.sin(a) * across) + np.sin(b) * tangent
            for a in np.deg2rad(_WORK)
            for b in np.deg2rad(_TRAVEL)
        ]
    )
    starts = np.broadcast_to(point + _START * bisector, directions.shape)
    free = ~_hits(starts, directions, corners, JOINTS.reach)
    room = JOINTS.nozzle_back * np.sin(np.deg2rad(min(opening, 180.0) / 2.0 - _WORK[2] / 2.0)) * 0.9
    radius = max(min(JOINTS.nozzle / 2.0, float(room)), 1.0)
    for direction in directions[free]:
        side = np.cross(direction, across if abs(float(direction @ across)) < 0.9 else tangent)
        side = side / float(np.linalg.norm(side))
        other = np.cross(direction, side)
        turn = np.arange(_RING) * (2.0 * np.pi / _RING)
        ring = radius * (np.cos(turn)[:, None] * side + np.sin(turn)[:, None] * other)
        # From the root to half the nozzle's rim, so that a crack in the joint is no way out.
        cone = JOINTS.nozzle_back * direction + ring / 2.0 - _START * bisector
        far = float(np.linalg.norm(cone, axis=1).max())
        cone = cone / np.linalg.norm(cone, axis=1)[:, None]
        if _hits(np.broadcast_to(point + _START * bisector, cone.shape), cone, corners, far).any():
            continue
        starts = point + JOINTS.nozzle_back * direction + ring
        if not _hits(starts, np.broadcast_to(direction, starts.shape), corners, JOINTS.reach).any():
            return True
    return False


def crossings(start: Array, direction: Array, corners: Array, length: float) -> list[tuple[float, int]]:
    """Where a ray (3,) passes surfaces: distance mm and triangle, each surface once, in order, up to ``length``."""
    _, triangles, far = _crossings(start[None], direction[None], corners, length)
    out: list[tuple[float, int]] = []
    for k in np.argsort(far, kind="stable").tolist():
        if not out or far[k] > out[-1][0] + _ONCE:
            out.append((float(far[k]), int(triangles[k])))
    return out


def _hits(starts: Array, directions: Array, corners: Array, length: float) -> NDArray[np.bool_]:
    """Which rays (k, 3) meet a triangle within ``length``."""
    out = np.zeros(len(starts), dtype=bool)
    out[_crossings(starts, directions, corners, length)[0]] = True
    return out


def _crossings(
    starts: Array, directions: Array, corners: Array, length: float
) -> tuple[NDArray[np.int64], NDArray[np.int64], Array]:
    """Where rays (k, 3) meet triangles within ``length`` (Moeller and Trumbore, 1997): ray, triangle, distance."""
    a, u, v = corners[:, 0], corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    normal = np.cross(u, v)
    against = directions @ normal.T
    with np.errstate(divide="ignore", invalid="ignore"):
        level = np.einsum("ij,ij->i", a, normal)
        distance = (level[None, :] - starts @ normal.T) / against
        near = (distance > 0.0) & (distance < length) & (against != 0.0)
        ray, triangle = np.nonzero(near)
        point = starts[ray] + directions[ray] * distance[ray, triangle][:, None] - a[triangle]
    uu, uv, vv = (np.einsum("ij,ij->i", p, q)[triangle] for p, q in ((u, u), (u, v), (v, v)))
    pu, pv = (np.einsum("ij,ij->i", point, q[triangle]) for q in (u, v))
    with np.errstate(divide="ignore", invalid="ignore"):
        below = uu * vv - uv * uv
        s, t = (vv * pu - uv * pv) / below, (uu * pv - uv * pu) / below
    inside = (s >= 0.0) & (t >= 0.0) & (s + t <= 1.0)
    return ray[inside], triangle[inside], distance[ray, triangle][inside]
