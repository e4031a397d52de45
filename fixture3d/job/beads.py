"""Finished welds as solids: what stands out of a joint once it is welded, so that a block cannot stand there.

Cross-section, square to the weld, root at 0, ``z`` its size:

* in a corner of less than 135 degrees (fillet, lap): the part of a circle of radius z between the two faces, which
  has the legs of the weld and a throat of z, more than a flat fillet (0.7 z) and less than the most convex one that
  ISO 5817 level C lets pass (from memory);
* on a flush joint: a cap of half width z, as high as the excess weld metal of ISO 5817 level B (from memory), at most
  z;
* on an outside corner or an edge, and where faces look at each other: a rod of that height round the root.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import partial
from typing import TYPE_CHECKING, Final

import numpy as np

from fixture3d import frame
from fixture3d.access.welds import Weld, joint_frame
from fixture3d.cache import content_key
from fixture3d.frame import Array
from fixture3d.job.job import Body, Job
from fixture3d.solid.shape import Shape
from fixture3d.tolerance import NUMERIC, SHOP

if TYPE_CHECKING:
    from fixture3d.solid.mesh import Mesh

_OUTSIDE: Final = frozenset({"corner", "edge"})
_FLUSH: Final = 135.0  # degrees; a wider opening has no corner to fill
_PARTS: Final = 8  # sides of a quarter of a round
_PLACES: Final = 6  # decimals of a vertex, mm: the same bead has the same key wherever the work lies


def bead_bodies(job: Job) -> Iterator[Body]:
    """Every finished weld of a job, convex part by convex part, each named after its weld."""
    to_world = job.weldment.rigid_to_world if job.weldment is not None else frame.identity()
    to_weldment = frame.inverse(to_world)
    for weld in job.done:
        for points in bead_parts(weld):
            corners = np.round(frame.points(to_weldment, points), _PLACES) + 0.0
            shape = Shape(content_key(["bead", corners.tobytes()]), partial(_hull, corners), job.store)
            yield Body(name=f"bead of {weld.name}", item=weld.name, role="bead", shape=shape, body_to_world=to_world)


def bead_parts(weld: Weld) -> Iterator[Array]:
    """Corner points (k, 3) of convex solids that make up a bead, world mm; none for a weld without a size.

    One along each part of the path, and one in every bend between two parts.
    """
    if weld.size <= NUMERIC.zero:
        return
    path = np.asarray(weld.path, dtype=np.float64)
    sides = np.broadcast_to(np.asarray(weld.sides, dtype=np.float64), (len(path) - 1, 2, 3))
    sections = [
        section(weld.type, weld.size, pair, end - start)
        for start, end, pair in zip(path[:-1], path[1:], sides, strict=True)
    ]
    for start, end, shape in zip(path[:-1], path[1:], sections, strict=True):
        yield np.concatenate([start + shape, end + shape])
    bends = [(path[k], sections[k - 1], sections[k]) for k in range(1, len(sections))]
    if len(sections) > 1 and float(np.linalg.norm(path[0] - path[-1])) <= NUMERIC.merge:
        bends.append((path[0], sections[-1], sections[0]))
    for at, before, after in bends:
        corners = np.concatenate([at + before, at + after])
        if np.linalg.matrix_rank(corners - at, tol=SHOP.contact) == 3:
            yield corners


def section(kind: str, size: float, sides: Array, along: Array) -> Array:
    """The outline (k, 3) of a bead, square to ``along``, its root at the origin, mm."""
    joint = joint_frame(along, sides)
    second = np.asarray(sides[1]) @ joint
    opening = 180.0 - math.degrees(math.atan2(float(second[1]), float(second[2])))
    cap = min(size, SHOP.bead_cap + SHOP.bead_cap_share * 2.0 * size)
    if kind in _OUTSIDE or opening <= NUMERIC.angle or opening > 180.0 + NUMERIC.angle:
        turns = np.arange(4 * _PARTS) * (360.0 / (4 * _PARTS))
        high, wide, root = cap, cap, []
    else:
        # Degrees from the first face's normal towards that face; the root closes the outline.
        turns = np.linspace(90.0 - opening, 90.0, max(2, math.ceil(opening / 90.0 * _PARTS) + 1))
        high, wide = (size if opening < _FLUSH else cap), size
        root = [np.zeros(3)] if opening < 180.0 - NUMERIC.angle else []
    across = [joint @ np.array([0.0, wide * frame.cos_sin(t)[1], high * frame.cos_sin(t)[0]]) for t in turns]
    return np.array([*across, *root])


def _hull(corners: Array) -> Mesh:
    import manifold3d

    from fixture3d.solid.mesh import Mesh

    solid = manifold3d.Manifold.hull_points(np.ascontiguousarray(corners)).to_mesh64()
    return Mesh.from_arrays(np.asarray(solid.vert_properties)[:, :3], np.asarray(solid.tri_verts))
