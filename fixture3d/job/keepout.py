"""Room for bead and spatter: how near a body comes to a weld on the side where the weld is laid.

Only what stands in the open space between the two faces of the joint counts: a riser that carries the tube from
below does not feel the weld on top of it. Lengths in mm, world frame; numpy only.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fixture3d.frame import Array
from fixture3d.solid.bvh import cross, point_triangle
from fixture3d.tolerance import NUMERIC, SHOP

if TYPE_CHECKING:
    from fixture3d.access.welds import Weld

_OUTSIDE = frozenset({"corner", "edge"})
"""Welds laid on an outside corner: the open space is in front of one face or the other, not of both."""


def bead_distance(weld: Weld, triangles: Array, limit: float) -> tuple[float, Array] | None:
    """The least distance of a surface from a weld's root line, seen from the side that is welded.

    Args:
        weld: path and the outward normals of its two faces.
        triangles: (m, 3, 3) surface of the body.
        limit: distances beyond this are of no interest.

    Returns:
        The distance and the point (3,) of the root line that is nearest, or None when all of the body is further
        away than ``limit`` or lies behind the faces.
    """
    path = np.asarray(weld.path, dtype=np.float64)
    sides = np.broadcast_to(np.asarray(weld.sides, dtype=np.float64), (len(path) - 1, 2, 3))
    low, high = triangles.min(axis=1), triangles.max(axis=1)
    best: tuple[float, Array] | None = None
    for start, end, pair in zip(path[:-1], path[1:], sides, strict=True):
        box_low, box_high = np.minimum(start, end) - limit, np.maximum(start, end) + limit
        near = triangles[((low <= box_high) & (high >= box_low)).all(axis=1)]
        for normals in _open_spaces(weld.type, pair):
            part = _in_front(near, start, normals)
            if not len(part):
                continue
            found, at = segment_triangles(start, end, part)
            if found < limit - NUMERIC.merge and (best is None or found < best[0] - NUMERIC.merge):
                best = (found, at)
    return best


def _open_spaces(kind: str, pair: Array) -> list[list[Array]]:
    """The open space of a joint as a union of corners, each the front of one or two faces."""
    one, two = (n / np.linalg.norm(n) for n in pair)
    if kind in _OUTSIDE:
        return [[one], [two]]
    # Faces that look at each other, as in a groove, leave no common front: everything round the root counts.
    return [[]] if float(one @ two) < -0.999 else [[one, two]]


def _in_front(triangles: Array, root: Array, normals: list[Array]) -> Array:
    """What is left of triangles (m, 3, 3) in front of every face through ``root``, as triangles (k, 3, 3)."""
    out = triangles
    for normal in normals:
        height = (out - root) @ normal - SHOP.contact
        whole = (height >= 0.0).all(axis=1)
        some = (height > 0.0).any(axis=1) & ~whole
        pieces = [out[whole]]
        for triangle, above in zip(out[some], height[some], strict=True):
            polygon = cut_above(triangle, above)
            fan = [[polygon[0], polygon[k], polygon[k + 1]] for k in range(1, len(polygon) - 1)]
            pieces.append(np.array(fan).reshape(-1, 3, 3))
        out = np.concatenate(pieces)
    return out


def cut_above(polygon: Array, height: Array) -> Array:
    """The part (k, d) of a convex polygon (n, d) where ``height`` (n,), linear over it, is not negative."""
    out = []
    for k in range(len(polygon)):
        after = (k + 1) % len(polygon)
        here, there = height[k], height[after]
        if here >= 0.0:
            out.append(polygon[k])
        if (here < 0.0 < there) or (there < 0.0 < here):
            out.append(polygon[k] + here / (here - there) * (polygon[after] - polygon[k]))
    return np.array(out).reshape(-1, polygon.shape[1])


def segment_triangles(start: Array, end: Array, triangles: Array) -> tuple[float, Array]:
    """Least distance between one segment and triangles (m, 3, 3), and where on the segment, (3,)."""
    count = len(triangles)
    candidates: list[tuple[float, Array]] = []
    for point in (start, end):
        candidates.append((float(point_triangle(np.broadcast_to(point, (count, 3)), triangles).min()), point))
    for k in range(3):
        gaps, spots = _segments(start, end, triangles[:, k], triangles[:, (k + 1) % 3])
        best = int(gaps.argmin())
        candidates.append((float(gaps[best]), spots[best]))
    pierced = _pierce(start, end, triangles)
    if pierced is not None:
        candidates.append((0.0, pierced))
    return min(candidates, key=lambda c: c[0])


def _segments(p: Array, q: Array, a: Array, b: Array) -> tuple[Array, Array]:
    """Distance of the segment p-q from the segments a[i]-b[i], (m,), and the nearest points of p-q, (m, 3).

    The nearest pair lies inside both, or at an end of one: all five are tried. Ends of p-q against whole triangles
    are tried by the caller, ends of a-b here.
    """
    d, e = q - p, b - a
    dd, ee, de = float(d @ d), np.einsum("ij,ij->i", e, e), e @ d
    w = p - a
    dw, ew = w @ d, np.einsum("ij,ij->i", e, w)
    denominator = dd * ee - de * de
    crossing = denominator > 1e-12 * dd * np.maximum(ee, 1e-300)
    s = np.clip(np.where(crossing, (de * ew - ee * dw) / np.where(crossing, denominator, 1.0), 0.0), 0.0, 1.0)
    t = np.clip((ew + de * s) / np.where(ee > 0.0, ee, 1.0), 0.0, 1.0)
    s = np.clip((de * t - dw) / dd, 0.0, 1.0)
    spots: Array = p + s[:, None] * d
    gaps: Array = np.linalg.norm(spots - (a + t[:, None] * e), axis=1)
    for ends in (a, b):
        along = np.clip((ends - p) @ d / dd, 0.0, 1.0)
        at = p + along[:, None] * d
        gap = np.linalg.norm(at - ends, axis=1)
        closer = gap < gaps
        gaps, spots = np.where(closer, gap, gaps), np.where(closer[:, None], at, spots)
    return gaps, spots


def _pierce(start: Array, end: Array, triangles: Array) -> Array | None:
    """A point where the segment goes through one of the triangles, (3,), or None."""
    a, b, c = triangles[:, 0], triangles[:, 1], triangles[:, 2]
    normal = cross(b - a, c - a)
    p = np.einsum("ij,ij->i", start - a, normal)
    q = np.einsum("ij,ij->i", end - a, normal)
    through = (p > 0.0) != (q > 0.0)
    at = start + (end - start) * np.where(through, p / np.where(through, p - q, 1.0), 0.0)[:, None]
    inside = through.copy()
    for u, v in ((a, b), (b, c), (c, a)):
        inside &= np.einsum("ij,ij->i", cross(v - u, at - u), normal) >= 0.0
    found = np.flatnonzero(inside)
    return at[int(found[0])] if len(found) else None
