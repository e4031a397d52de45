"""Where a face of no known kind comes near another body: whether contacts may be missing there.

The broken edge of a dowel or a block is such a face: it begins where the dowel's side ends, and whatever lies against
the side comes near its rim. That tells nothing new, so a face counts only away from its own border.
"""

from __future__ import annotations

from collections.abc import Iterator
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.locating.features import Features, Standing

__all__ = ["comes_near"]

STEP = 0.5
"""mm between the points that stand for a face."""
_BORDER = 1.0  # mm; a face that leaves its neighbour at 45 degrees is further off than any contact from there on
_MOST = 100_000  # points that are looked at; a greater face counts as near when the boxes of its triangles are


_KEPT: WeakKeyDictionary[Features, Array] = WeakKeyDictionary()


def comes_near(body: Standing, other: Standing, within: float) -> bool:
    """Whether a face of ``body`` that is not read comes within ``within`` mm of ``other`` (and half a step more)."""
    unread = body.features.unread
    if not len(unread):
        return False
    reach = within + STEP / np.sqrt(2.0)
    if _count(unread) > _MOST:
        corners = frame.points(body.pose, unread.reshape(-1, 3)).reshape(-1, 3, 3)
        return bool(_meets(corners, other.box, within).any())
    points = frame.points(body.pose, _away(body.features))
    points = points[((points >= other.box[0] - reach) & (points <= other.box[1] + reach)).all(axis=1)]
    if not len(points):
        return False
    theirs = frame.points(other.pose, other.features.corners.reshape(-1, 3)).reshape(-1, 3, 3)
    theirs = theirs[_meets(theirs, np.stack([points.min(axis=0), points.max(axis=0)]), reach)]
    return any(_within(some, theirs, reach).any() for some in _some(points))


def _away(features: Features) -> Array:
    """Points that stand for the faces of no known kind, away from their border, in the body's frame, (n, 3) mm."""
    if features not in _KEPT:
        border = _border(features.unread)
        sides = np.concatenate([border, border[:, 1:]], axis=1)
        points = np.unique(np.vstack([_points(triangle) for triangle in features.unread]).round(6), axis=0)
        _KEPT[features] = np.vstack([some[~_within(some, sides, _BORDER)] for some in _some(points)])
    return _KEPT[features]


def _some(points: Array) -> Iterator[Array]:
    """Points (n, 3), few at a time."""
    return (points[start : start + 500] for start in range(0, len(points), 500))


def _meets(triangles: Array, box: Array, within: float) -> NDArray[np.bool_]:
    found: NDArray[np.bool_] = (
        (triangles.min(axis=1) <= box[1] + within) & (triangles.max(axis=1) >= box[0] - within)
    ).all(axis=1)
    return found


def _count(triangles: Array) -> float:
    """About how many points stand for some triangles."""
    sides = np.linalg.norm(triangles - np.roll(triangles, 1, axis=1), axis=2).max(axis=1)
    return float(((sides / STEP + 2.0) ** 2 / 2.0).sum())


def _points(triangle: Array) -> Array:
    """A grid over a triangle (3, 3), no two neighbours further apart than a step."""
    longest = float(np.linalg.norm(triangle - np.roll(triangle, 1, axis=0), axis=1).max())
    n = int(np.ceil(longest / STEP)) + 1
    i, j = (k.ravel() for k in np.meshgrid(np.arange(n + 1), np.arange(n + 1)))
    i, j = i[i + j <= n], j[i + j <= n]
    found: Array = np.stack([n - i - j, i, j], axis=1) / n @ triangle
    return found


def _border(triangles: Array) -> Array:
    """Sides that only one triangle has, (k, 2, 3)."""
    sides = np.stack([triangles, np.roll(triangles, -1, axis=1)], axis=2).reshape(-1, 2, 3)
    key = np.round(sides / 1e-4).astype(np.int64)
    turned = np.array([a > b for a, b in key.tolist()])
    key = np.where(turned[:, None, None], key[:, ::-1], key)
    _, first, count = np.unique(key.reshape(len(key), 6), axis=0, return_index=True, return_counts=True)
    found: Array = sides[first[count == 1]]
    return found


def _within(points: Array, triangles: Array, within: float) -> NDArray[np.bool_]:
    """Which points (n, 3) are within so much of any triangle (m, 3, 3), (n,); two equal corners make a segment."""
    if not len(triangles):
        return np.zeros(len(points), dtype=bool)
    a, u, v = triangles[:, 0], triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]
    step = points[:, None] - a
    nearest = np.full(step.shape[:2], np.inf)
    for start, side in ((np.zeros_like(u), u), (np.zeros_like(v), v), (u, v - u)):
        from_start = step - start
        length = np.maximum((side * side).sum(axis=1), 1e-18)
        share = np.clip((from_start * side).sum(axis=2) / length, 0.0, 1.0)
        nearest = np.minimum(nearest, np.linalg.norm(from_start - share[:, :, None] * side, axis=2))
    uu, uv, vv = (u * u).sum(axis=1), (u * v).sum(axis=1), (v * v).sum(axis=1)
    pu, pv, det = (step * u).sum(axis=2), (step * v).sum(axis=2), uu * vv - uv * uv
    flat = det > 1e-12
    whole = np.where(flat, det, 1.0)
    s, t = (vv * pu - uv * pv) / whole, (uu * pv - uv * pu) / whole
    over = flat & (s >= 0.0) & (t >= 0.0) & (s + t <= 1.0)
    normal = np.cross(u, v) / np.sqrt(whole)[:, None]
    off = np.abs((step * normal).sum(axis=2))
    found: NDArray[np.bool_] = np.any(np.where(over, np.minimum(nearest, off), nearest) <= within, axis=1)
    return found
