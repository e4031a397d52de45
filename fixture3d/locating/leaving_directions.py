"""Directions worth trying when something is to be moved straight out of others."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fixture3d.tolerance import LEAVING

Array = NDArray[np.float64]

_AXES = np.array([[0, 0, 1], [1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, -1]], dtype=np.float64)
_PLAIN = 1e-3  # directions are grouped by entries rounded to this before they are compared exactly
_SLIGHT, _SHARP = 0.02, 0.9  # sines of the angle between neighbouring facets of a round face
_AXIS_SHARE = 0.1  # an axis must be told by this share of the neighbouring facets that the best is told by


def candidates(moving: Sequence[Array], fixed: Sequence[Array], extra: Array | None = None) -> Array:
    """Unit directions to try, (k, 3), each once, in a fixed order: axes, ``extra``, faces, along faces, fan.

    Args:
        moving: triangles (m, 3, 3) of each body that moves, mm, world.
        fixed: likewise of the others.
        extra: (n, 3) of any length; those without one are left out.
    """
    work = np.concatenate(list(moving))
    around = _near(work, fixed)
    normals = np.concatenate([_faces(around), _faces(work)])
    normals = _once(normals) if len(normals) else normals
    pairs = np.cross(normals[:, None], normals[None, :]).reshape(-1, 3)
    axes = np.concatenate([_round_axes(around), _round_axes(work)])
    rows = [_AXES, np.zeros((0, 3)) if extra is None else extra, normals, -normals, axes, -axes, pairs, _fan()]
    return _once(np.concatenate(rows))


def _near(work: Array, fixed: Sequence[Array]) -> Array:
    """Facets of the fixed bodies that come within `Leaving.near` of the work's box."""
    low = work.min(axis=(0, 1)) - LEAVING.near
    high = work.max(axis=(0, 1)) + LEAVING.near
    out = [np.zeros((0, 3, 3))]
    for triangles in fixed:
        meets = ((triangles.min(axis=1) <= high) & (triangles.max(axis=1) >= low)).all(axis=1)
        out.append(triangles[meets])
    return np.concatenate(out)


def _faces(triangles: Array) -> Array:
    """Normals of the largest total area, at most `Leaving.normals`, (k, 3); equal areas by direction."""
    if not len(triangles):
        return np.zeros((0, 3))
    normal = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    size = np.linalg.norm(normal, axis=1)
    normal, size = normal[size > 1e-9], size[size > 1e-9]
    rounded = np.round(normal / size[:, None] / _PLAIN) * _PLAIN + 0.0
    _, first, group = np.unique(rounded, axis=0, return_index=True, return_inverse=True)
    total = np.bincount(group.reshape(-1), weights=size)
    chosen = np.argsort(-np.round(total, 3), kind="stable")[: LEAVING.normals]
    picked = normal[first[chosen]]
    out: Array = picked / np.linalg.norm(picked, axis=1)[:, None]
    return out


def _round_axes(triangles: Array) -> Array:
    """Axes of round faces, (k, 3): neighbouring facets of a bore or a tube turn about its axis."""
    if len(triangles) < 2:
        return np.zeros((0, 3))
    normal = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    size = np.linalg.norm(normal, axis=1)
    normal = normal[size > 1e-9] / size[size > 1e-9][:, None]
    turn = np.cross(normal[:-1], normal[1:])
    size = np.linalg.norm(turn, axis=1)
    good = (size > _SLIGHT) & (size < _SHARP)
    turn = turn[good] / size[good][:, None]
    # One axis, not two opposite ones: the first entry that is not nought is positive.
    lead = np.take_along_axis(turn, (np.abs(turn) > 1e-6).argmax(axis=1)[:, None], axis=1)
    turn = turn * np.sign(lead)
    if not len(turn):
        return np.zeros((0, 3))
    rounded = np.round(turn / _PLAIN) * _PLAIN + 0.0
    _, first, count = np.unique(rounded, axis=0, return_index=True, return_counts=True)
    order = np.argsort(-count, kind="stable")[: LEAVING.normals]
    kept = order[count[order] >= max(4, _AXIS_SHARE * count.max())]
    out: Array = turn[first[kept]]
    return out


def _fan() -> Array:
    """The 20 directions through the edges and corners of a cube."""
    steps = np.array([[x, y, z] for z in (1, 0, -1) for y in (1, 0, -1) for x in (1, 0, -1)], dtype=np.float64)
    out: Array = steps[np.abs(steps).sum(axis=1) > 1.5]
    return out


def _once(rows: Array) -> Array:
    """Unit directions, the first of those that are closer than `Leaving.same`."""
    size = np.linalg.norm(rows, axis=1)
    rows = rows[size > 1e-6] / size[size > 1e-6][:, None] + 0.0
    apart = 2.0 * np.sin(np.deg2rad(LEAVING.same) / 2.0)
    kept: list[Array] = []
    for row in rows:
        if not kept or np.min(np.linalg.norm(np.array(kept) - row, axis=1)) > apart:
            kept.append(row)
    return np.array(kept).reshape(-1, 3)
