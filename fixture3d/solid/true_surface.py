"""Points and normals of the surfaces that a solid describes by numbers: planes, cylinders, cones, spheres, tori."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fixture3d.frame import Array
from fixture3d.solid.facets import CONE, CYLINDER, PLANE, SPHERE, TORUS


def nearest_on(surface: Sequence[float], point: Array) -> tuple[Array, Array] | None:
    """The nearest point (3,) of a whole surface and its unit normal (3,) there, to either side.

    Args:
        surface: a row of ``Facets.surfaces``.
        point: (3,) in the same frame.

    Returns:
        None when the surface is not described, or when all its points are as near.
    """
    kind, v = int(surface[1]), np.asarray(surface[2:], dtype=np.float64)
    if kind == PLANE:
        return point - v[:3] * (float(v[:3] @ point) - float(v[3])), v[:3]
    if kind not in (CYLINDER, SPHERE, CONE, TORUS):
        return None
    rel = point - v[:3]
    axis = np.zeros(3) if kind == SPHERE else v[3:6]
    along = float(rel @ axis)
    out = _direction(rel - along * axis)
    if out is None:
        return None
    if kind == CYLINDER:
        return v[:3] + along * axis + v[6] * out, out
    if kind == SPHERE:
        return v[:3] + v[3] * out, out
    if kind == TORUS:
        middle = v[:3] + v[6] * out
        round_it = _direction(point - middle)
        return None if round_it is None else (middle + v[7] * round_it, round_it)
    half = np.deg2rad(v[6])
    line = np.cos(half) * axis + np.sin(half) * out
    return v[:3] + float(rel @ line) * line, np.cos(half) * out - np.sin(half) * axis


def _direction(vector: Array) -> Array | None:
    size = float(np.linalg.norm(vector))
    return vector / size if size > 1e-9 else None
