"""Whether a piece lies on something: a flat or tangent contact from below, found on meshes. Lengths in mm."""

from __future__ import annotations

import numpy as np

from fixture3d.frame import Array
from fixture3d.job.keepout import cut_above
from fixture3d.solid.bvh import cross

UPWARD = 0.17
"""Least Z of a normal that carries weight: a flank of 80 degrees still does, an upright face does not."""
_LEAST = 0.1  # mm; a common patch smaller than this both ways is a corner that grazes


def rests_on(upper: Array, lower: Array, within: float) -> bool:
    """Whether one surface lies on another: faces that look down on faces that look up, no further apart.

    Args:
        upper: (m, 3, 3) triangles of the body that is carried, world.
        lower: (k, 3, 3) triangles of the body below it.
        within: the greatest vertical gap or overlap that is a contact.
    """
    down, up = _facing(upper, -1.0), _facing(lower, 1.0)
    if not len(down) or not len(up):
        return False
    low_d, high_d = down.min(axis=1), down.max(axis=1)
    low_u, high_u = up.min(axis=1), up.max(axis=1)
    for index, face in enumerate(up):
        near = (
            (low_d[:, :2] < high_u[index, :2]).all(axis=1)
            & (high_d[:, :2] > low_u[index, :2]).all(axis=1)
            & (low_d[:, 2] <= high_u[index, 2] + within)
            & (high_d[:, 2] >= low_u[index, 2] - within)
        )
        if any(_meets(triangle, face, within) for triangle in down[near]):
            return True
    return False


def _facing(triangles: Array, sign: float) -> Array:
    """The triangles whose normal points up (sign 1) or down (sign -1) enough to carry weight."""
    normals = cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    sizes = np.sqrt(np.einsum("ij,ij->i", normals, normals))
    facing: Array = triangles[(sizes > 0.0) & (sign * normals[:, 2] > UPWARD * sizes)]
    return facing


def _meets(triangle: Array, face: Array, within: float) -> bool:
    """Whether ``triangle`` comes within ``within`` of ``face`` (both (3, 3)) where they overlap from above."""
    normal = np.cross(face[1] - face[0], face[2] - face[0])
    polygon = triangle
    for k in range(3):
        edge = face[(k + 1) % 3, :2] - face[k, :2]
        inward = np.array([-edge[1], edge[0]])
        polygon = cut_above(polygon, (polygon[:, :2] - face[k, :2]) @ inward)
        if len(polygon) < 3:
            return False
    gap = (polygon - face[0]) @ normal / normal[2]
    close = polygon[np.abs(gap) <= within]
    return len(close) > 1 and float(np.ptp(close[:, :2], axis=0).max()) >= _LEAST
