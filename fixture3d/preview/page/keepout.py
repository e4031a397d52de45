"""Room for bead and spatter as a body to look at: all points near a weld's root on the side where it is laid.

The check (`job.keepout`) measures from the root line in front of the two faces; this is the surface of that room, as a
sector of a rounded tube round each part of the path. mm, world frame; numpy only.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from fixture3d.access.welds import Weld
from fixture3d.frame import Array, unit
from fixture3d.solid.facets import OTHER, STEP, Facets, Ints
from fixture3d.tolerance import SHOP

_STEP: Final = math.pi / 8.0  # rad between two lines of the surface
_CAP: Final = 3  # steps from the pole of a rounded end to its rim


def room(weld: Weld, radius: float = SHOP.bead_keep_out) -> Facets:
    """The room that must stay empty round one weld, one closed surface a straight part of its path."""
    path = np.asarray(weld.path, dtype=np.float64)
    sides = np.broadcast_to(np.asarray(weld.sides, dtype=np.float64), (len(path) - 1, 2, 3))
    vertices: list[Array] = []
    faces: list[Ints] = []
    edges: list[Ints] = []
    start = 0
    for a, b, pair in zip(path[:-1], path[1:], sides, strict=True):
        if float(np.linalg.norm(b - a)) <= 0.0:
            continue
        points, triangles, lines = _part(a, b, _arc(weld.type, unit(b - a), pair), radius)
        vertices.append(points)
        faces.append(triangles + np.int32(start))
        edges.append(lines + np.int32(start))
        start += len(points)
    every = np.concatenate(faces)
    return Facets(
        np.round(np.concatenate(vertices) / STEP) * STEP + 0.0,
        every,
        ((float(len(every)), float(OTHER)),),
        np.concatenate(edges),
    )


def _arc(kind: str, tangent: Array, pair: Array) -> Array:
    """Unit vectors (m, 3) square to the path, from one end of the open space to the other; closed when all round."""
    one, two = (unit(n - tangent * float(n @ tangent)) for n in pair)
    across = np.cross(tangent, one)
    # The second normal as an angle from the first, seen along the path.
    turn = math.atan2(float(two @ across), float(two @ one))
    outside = kind in ("corner", "edge")
    if not outside and abs(turn) > math.pi - 0.045:  # as in the check: faces that look at each other, as in a groove
        low, high = -math.pi, math.pi
    else:
        ends = (-math.pi / 2, math.pi / 2), (turn - math.pi / 2, turn + math.pi / 2)
        choose = (min, max) if outside else (max, min)
        low, high = choose[0](e[0] for e in ends), choose[1](e[1] for e in ends)
        high = min(high, low + 2 * math.pi)
    angles = np.linspace(low, high, max(2, math.ceil((high - low) / _STEP - 1e-9) + 1))
    found: Array = np.cos(angles)[:, None] * one + np.sin(angles)[:, None] * across
    return found


def _part(a: Array, b: Array, arc: Array, radius: float) -> tuple[Array, Ints, Ints]:
    """Vertices, triangles and lines round one straight part; ``arc`` (m, 3) runs counter-clockwise seen along it."""
    tangent = unit(b - a)
    turn = np.linspace(0.0, math.pi / 2, _CAP + 1)
    # The profile from pole to pole: (along, out) pairs, each from one of the two ends of the part.
    low = [(a, -radius * math.cos(t), radius * math.sin(t)) for t in turn]
    high = [(b, radius * math.cos(t), radius * math.sin(t)) for t in turn[::-1]]
    profile = low + high
    grid = np.array([[end + tangent * s + way * out for end, s, out in profile] for way in arc])
    rows, columns = grid.shape[:2]
    i, j = np.meshgrid(np.arange(rows - 1), np.arange(columns - 1), indexing="ij")
    k = (i * columns + j).ravel()
    skin = np.concatenate(
        [np.stack([k, k + 1, k + columns + 1], axis=1), np.stack([k, k + columns + 1, k + columns], axis=1)]
    )
    vertices, faces = grid.reshape(-1, 3), [skin[:, ::-1]]
    full = float(np.linalg.norm(arc[0] - arc[-1])) < 1e-9
    lines: list[Array] = []
    if not full:
        # Two flat sides, each a fan from the pole of its profile.
        fan = np.stack([np.zeros(columns - 2, dtype=int), np.arange(1, columns - 1), np.arange(2, columns)], axis=1)
        last = (rows - 1) * columns
        faces += [fan, (fan + last)[:, ::-1]]
        border = np.stack([np.arange(columns - 1), np.arange(1, columns)], axis=1)
        lines = [border, border + last]
    every = np.concatenate(faces)
    corners = vertices[every]
    area = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    drawn = np.concatenate(lines) if lines else np.zeros((0, 2), dtype=np.int64)
    return vertices, every[area > 1e-9].astype(np.int32), drawn.astype(np.int32)
