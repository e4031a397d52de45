"""Where a weld's path should be: the nearest point of a piece, and whether the piece is round there. Lengths in mm."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.solid.bvh import point_triangle
from fixture3d.units import from_mm, show

if TYPE_CHECKING:
    from fixture3d.job import Body, Job

_BESIDE = 2.0  # mm; a path this far off a tube's round corner is still meant for it


def place_in_words(job: Job, body: Body, spot: Array) -> str:
    """The nearest point of a piece as a path has it, and why it is not where the path is when the tube is round there.

    Args:
        job: the setup.
        body: the piece that the path should lie on.
        spot: (3,) point of the path, world.
    """
    units = job.scene.units
    near = nearest_point(spot, body.triangles)
    if job.weldment is not None:
        near = frame.points(frame.inverse(job.weldment.weldment_to_world), near)
    places = 2 if units == "mm" else 4
    numbers = ", ".join(f"{round(from_mm(float(v), units), places) + 0.0:g}" for v in near)
    words = f"the nearest point of {body.name} is [{numbers}]"
    radius = round_corner(job, body.name, spot)
    if radius is None:
        return words
    return (
        f"{words}; the tube is round there: corner radius {show(radius, units)}; stay on the flat, or give "
        "sides = [...] in place of joins"
    )


def round_corner(job: Job, name: str, spot: Array) -> float | None:
    """The outside radius of a tube's corner when a point is at one of its four, mm; None elsewhere.

    Args:
        job: the setup.
        name: of the piece.
        spot: (3,) world.
    """
    piece = next((p for p in job.weldment.pieces if p.name == name), None) if job.weldment is not None else None
    if piece is None or job.weldment is None or piece.section is None or piece.section.shape != "rectangular tube":
        return None
    to_world = frame.chain(job.weldment.weldment_to_world, piece.piece_to_weldment)
    x, y, z = (float(v) for v in frame.points(frame.inverse(to_world), spot))
    radius = piece.section.outer_radius
    over = (abs(y) - (piece.section.width / 2.0 - radius), abs(z) - (piece.section.height / 2.0 - radius))
    beside = radius + _BESIDE
    begin, end = piece.tips
    if radius > 0.0 and min(over) > 0.0 and max(over) <= beside and begin - _BESIDE <= x <= end + _BESIDE:
        return radius
    return None


def nearest_point(spot: Array, triangles: Array) -> Array:
    """The point (3,) of triangles (m, 3, 3) that is nearest to a point (3,)."""
    a, b, c = triangles[int(point_triangle(np.broadcast_to(spot, (len(triangles), 3)), triangles).argmin())]
    found = []
    for start, end in ((a, b), (b, c), (c, a)):
        along = end - start
        length2 = float(along @ along)
        share = min(max(float((spot - start) @ along) / length2, 0.0), 1.0) if length2 > 0.0 else 0.0
        found.append(start + along * share)
    normal = np.cross(b - a, c - a)
    size2 = float(normal @ normal)
    if size2 > 0.0:
        foot = spot - normal * (float((spot - a) @ normal) / size2)
        if all(float(np.cross(v - u, foot - u) @ normal) >= 0.0 for u, v in ((a, b), (b, c), (c, a))):
            found.append(foot)
    nearest: Array = min(found, key=lambda point: float(np.linalg.norm(point - spot)))
    return nearest
