"""The outline of a body seen from one side, from its mesh, and what of it lies in a window: no CAD kernel."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np

from fixture3d.frame import Array
from fixture3d.job import Body

_SMOOTH = 0.05  # mm; far under a pen's width at any scale


def outline(body: Body) -> list[Array]:
    """What the body covers of the table, seen from straight above.

    Returns:
        Its rings, (n, 2) world mm each, outer ones and holes alike: inside is what an odd number of them surround.
    """
    return rings(silhouette(body, np.eye(4)))


def silhouette(body: Body, world_to_view: Array) -> Any:
    """What the body covers, seen against the view's own Z, as a ``manifold3d.CrossSection`` in the view's X and Y."""
    placed = np.ascontiguousarray((world_to_view @ body.body_to_world)[:3])
    return body.shape.mesh.manifold.transform(placed).project().simplify(_SMOOTH)


def rings(section: Any) -> list[Array]:
    """The rings of a cross section, (n, 2) mm each."""
    return [np.asarray(ring, dtype=np.float64) for ring in section.to_polygons()]


def clipped(found: Sequence[Array], window: tuple[float, float, float, float]) -> list[Array]:
    """What of an outline lies in a window; the rings themselves where all of it does.

    Args:
        found: rings of (n, 2), mm; inside is what an odd number of them surround.
        window: low x, low y, high x, high y, mm.
    """
    if not found:
        return []
    low, high = (np.array([op(ring, axis=0) for ring in found]) for op in (np.min, np.max))
    if (low >= window[:2]).all() and (high <= window[2:]).all():
        return list(found)
    if (low.min(axis=0) >= window[2:]).any() or (high.max(axis=0) <= window[:2]).any():
        return []
    import manifold3d

    box = manifold3d.CrossSection.square((window[2] - window[0], window[3] - window[1])).translate(window[:2])
    return rings(manifold3d.CrossSection([*found], manifold3d.FillRule.EvenOdd) ^ box)


def runs_inside(path: Array, window: tuple[float, float, float, float]) -> list[Array]:
    """The stretches of a line that lie in a window, cut off at its border.

    Args:
        path: (n, 2) or (n, 3) mm; one point for a spot.
        window: low x, low y, high x, high y, mm.

    Returns:
        One array a stretch, as wide as ``path``; a spot is one of a single point.
    """
    low, high = np.array(window[:2]), np.array(window[2:])
    if len(path) == 1:
        return [path] if bool(((path[0, :2] >= low) & (path[0, :2] <= high)).all()) else []
    out: list[list[Array]] = []
    for a, b in pairwise(path):
        way = b - a
        start, end = 0.0, 1.0  # of the part of this side that is inside, as shares of it
        for k in (0, 1):
            if abs(float(way[k])) < 1e-12:
                if not low[k] <= a[k] <= high[k]:
                    start, end = 1.0, 0.0
                continue
            near, far = sorted((float((low[k] - a[k]) / way[k]), float((high[k] - a[k]) / way[k])))
            start, end = max(start, near), min(end, far)
        if start >= end:
            continue
        p, q = a + start * way, a + end * way
        if out and np.array_equal(out[-1][-1], p):
            out[-1].append(q)
        else:
            out.append([p, q])
    return [np.array(run) for run in out]
