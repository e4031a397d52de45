r"""Where the arc is aimed in a joint too narrow for it at its root: along a round, and in a tight corner.

::

       ___                 No wire goes to the line on which a round touches a flat: the bead lies where the opening is
      /   \   .-.          wide enough for it, and what is deeper stays open. The aim is the point nearest to the root
     |     | ( o )         at which a ball fits between the two faces, in the plane square to the line. For a round of
    __\___/___`-'__        radius R on a flat and a ball of radius c it is 2 sqrt(R c) out and c up.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from fixture3d.frame import Array
from fixture3d.tolerance import JOINTS
from fixture3d.welding.section import axes, cut
from fixture3d.welding.surface import Surface

_PARALLEL: Final = 3.0  # degrees that a round's axis may be off the weld
_OUT: Final = 8.0  # of a ball's radius: where it is looked for at most
_FAN: Final = 65  # directions that are looked along at first
_RADII: Final = 49  # and places along each
_ROUNDS: Final = 6  # each looks closer round the best place of the one before
_FINE: Final = 17


def aims(pieces: tuple[Surface, Surface], path: Array, bisector: Array, opening: float) -> Array | None:
    """From the root to the aim in the middle of every part of a path, (n - 1, 3) mm; None when no ball fits anywhere.

    Of a part where none fits the root is the aim.

    Args:
        pieces: the two that are joined, in the frame of the path.
        path: (n, 3) mm.
        bisector: (n - 1, 3) unit, into the middle of the open space.
        opening: degrees between the faces.
    """
    parts = np.diff(path, axis=0)
    sizes = np.linalg.norm(parts, axis=1)
    out = np.zeros(parts.shape)
    for k in np.flatnonzero(sizes > 0.0):
        aim = aim_at(pieces, (path[k] + path[k + 1]) / 2.0, parts[k] / sizes[k], bisector[k], opening)
        if aim is not None:
            out[k] = aim
    return out if out.any() else None


def ball(pieces: Sequence[Surface], point: Array, tangent: Array) -> float:
    """Radius of the ball that stands for the arc, mm: less where a small round is filled flush, more at a large one.

    Args:
        pieces: the two that are joined.
        point: of the root.
        tangent: unit, along the weld.
    """
    radii = [radius for piece in pieces for radius in _radii(piece, point, tangent)]
    if not radii:
        return JOINTS.aim
    least = min(radii)
    return min(max(JOINTS.aim, JOINTS.aim_share * least), least / JOINTS.aim_flush)


def _radii(piece: Surface, point: Array, tangent: Array) -> list[float]:
    """Of the rounds that lie along a weld and pass its root."""
    out = []
    for one in piece.rounds.values():
        away = point - one.point
        off = away - one.axis * float(away @ one.axis)
        near = abs(float(np.linalg.norm(off)) - one.radius) <= JOINTS.most_gap / 2.0 + JOINTS.flush
        if one.solid and near and abs(float(one.axis @ tangent)) >= np.cos(np.deg2rad(_PARALLEL)):
            out.append(one.radius)
    return out


def aim_at(
    pieces: tuple[Surface, Surface], point: Array, tangent: Array, bisector: Array, opening: float
) -> Array | None:
    """From one root to its aim, (3,) mm; None when no ball fits within the opening.

    Args:
        pieces: the two that are joined.
        point: (3,) the root, mm.
        tangent: unit, along the weld.
        bisector: unit, into the open.
        opening: degrees.
    """
    radius = ball(pieces, point, tangent)
    far = _OUT * radius
    tangents = tangent[None, :]
    u, w = axes(tangents)
    box = np.stack([point - far - radius, point + far + radius])
    lines, normals = [], []
    for piece in pieces:
        found = cut(piece, piece.within(box), point[None, :], tangents, far + radius)
        lines.append(found)
        normal = piece.normals[found.triangle]
        normals.append(np.column_stack([normal @ u[0], normal @ w[0]]))
    a, b = np.concatenate([one.a for one in lines]), np.concatenate([one.b for one in lines])
    square = np.concatenate(normals)
    if not len(a):
        return None
    middle = float(np.arctan2(bisector @ w[0], bisector @ u[0]))
    half = np.deg2rad(min(opening, 180.0)) / 2.0
    angles, radii = np.linspace(-half, half, _FAN), np.linspace(0.0, far, _RADII)
    best: tuple[float, float] | None = None
    for _ in range(_ROUNDS):
        place, size = np.meshgrid(angles, radii, indexing="ij")
        spots = size[..., None] * np.stack([np.cos(middle + place), np.sin(middle + place)], axis=-1)
        fits = _fits(spots.reshape(-1, 2), a, b, square, radius).reshape(size.shape)
        if not fits.any():
            break
        # Of places equally far out the one nearest to the middle.
        cost = np.where(fits, size + 1e-6 * np.abs(place), np.inf)
        i, j = np.unravel_index(int(cost.argmin()), cost.shape)
        best = float(place[i, j]), float(size[i, j])
        turn, step = angles[1] - angles[0], radii[1] - radii[0]
        angles = np.clip(np.linspace(best[0] - 2.0 * turn, best[0] + 2.0 * turn, _FINE), -half, half)
        radii = np.clip(np.linspace(best[1] - 2.0 * step, best[1] + step, _FINE), 0.0, far)
        # The best so far is always looked at again.
        angles = np.unique(np.append(angles, best[0]))
        radii = np.unique(np.append(radii, best[1]))
    if best is None:
        return None
    angle, size_of = middle + best[0], best[1]
    out: Array = size_of * (np.cos(angle) * u[0] + np.sin(angle) * w[0])
    return out


def _fits(spots: Array, a: Array, b: Array, normals: Array, radius: float) -> Array:
    """Which places (k, 2) are outside both materials and keep a distance from their outlines (m, 2) to (m, 2)."""
    step = b - a
    square = np.maximum(np.einsum("ij,ij->i", step, step), 1e-30)
    away = spots[:, None, :] - a[None]
    share = np.clip(np.einsum("kmi,mi->km", away, step) / square, 0.0, 1.0)
    gap = away - share[..., None] * step[None]
    distance = np.sqrt(np.einsum("kmi,kmi->km", gap, gap))
    nearest = distance.argmin(axis=1)
    rows = np.arange(len(spots))
    outside = np.einsum("ki,ki->k", gap[rows, nearest], normals[nearest]) > 0.0
    out: Array = outside & (distance[rows, nearest] >= radius)
    return out
