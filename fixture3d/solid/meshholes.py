"""Holes of a mesh: where it is open, and the flat face that is missing when it can be nothing else."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fixture3d.errors import BadSolid
from fixture3d.tolerance import FILES

Array = NDArray[np.float64]
Longs = NDArray[np.int64]


def fill(points: Array, faces: Longs) -> tuple[Longs, str]:
    """Faces that close every hole, wound as their neighbours, and what was closed in words.

    Rims in one plane are closed together, so that the end of a tube becomes a ring and not two discs.

    Args:
        points: (n, 3) mm.
        faces: (m, 3), agreeing with their neighbours.

    Raises:
        BadSolid: a hole is not flat, too wide or too large in all; where.
    """
    import manifold3d

    rims = _rims(points, faces)
    if len(rims) > FILES.holes:
        raise BadSolid(f"{where_open(points, faces)} ({len(rims)} holes; at most {FILES.holes} are closed)")
    added: list[Longs] = []
    covered = 0.0
    ends: list[str] = []
    planes = _in_planes(points, rims)
    _refuse_walls(points, faces, planes)
    for group, origin, axes in planes:
        flat = [(points[rim] - origin) @ axes[:2].T for rim in group]
        area, rim_length = abs(sum(_area(p) for p in flat)), sum(_length(p) for p in flat)
        width = 2.0 * area / rim_length
        if width > FILES.hole_width:
            raise BadSolid(
                f"{where_open(points, faces)} (the flat hole there is {width:.1f} mm wide, and closing it "
                "would be a guess)"
            )
        corners = np.concatenate(group)
        # The library turns its faces as the rims run; they must not fold over another rim of the plane.
        found = np.asarray(manifold3d.triangulate(flat, epsilon=FILES.flat), dtype=np.int64)
        drawn = np.concatenate(flat)[found]
        if _overlaps(drawn, area):
            raise BadSolid(f"{where_open(points, faces)} (the rims of the hole there cross)")
        covered += area
        added.append(corners[found])
        ends.append(place(points[corners].mean(axis=0)))
    surface = _surface(points[faces])
    if covered > FILES.hole_share * surface:
        raise BadSolid(
            f"{where_open(points, faces)} (its holes make up {covered / surface:.0%} of its surface, and "
            "closing them would be a guess)"
        )
    where = ", ".join(ends[:3]) + (" and elsewhere" if len(ends) > 3 else "")
    what = "1 flat hole" if len(planes) == 1 else f"{len(planes)} flat holes"
    return np.concatenate(added), f"{what} closed, {covered:.2g} mm2 in all, at {where}"


def _refuse_walls(points: Array, faces: Longs, planes: Sequence[tuple[list[Longs], Array, Array]]) -> None:
    """Refuse two holes that look away from or at each other, one over the other: a wall between may be what is missing.

    The faces at both rims may lead to the other rim already, as of a rod without its ends: then no wall is missing.
    """
    from shapely import Polygon

    for k, (group, origin, axes) in enumerate(planes):
        for other, there, across in planes[:k]:
            if float(axes[2] @ across[2]) > -0.5:
                continue
            one, two = (Polygon((points[g[0]] - origin) @ axes[:2].T).buffer(0.0) for g in (group, other))
            if not one.intersects(two):
                continue
            ways = (group, there - origin), (other, origin - there)
            if all(_leads(points, faces, rims, way) for rims, way in ways):
                continue
            raise BadSolid(
                f"{where_open(points, faces)} (the holes at {place(there)} and {place(origin)} lie one over the other: "
                "a wall between them or two flat faces may be missing, and choosing would be a guess)"
            )


def _leads(points: Array, faces: Longs, rims: list[Longs], way: Array) -> bool:
    """Whether every face at these rims runs from its rim edge along ``way``."""
    size = len(points)
    edges = np.concatenate([np.stack([rim, np.roll(rim, -1)], axis=1) for rim in rims])
    # A hole's rim runs against the faces at it.
    sides = np.stack([faces, np.roll(faces, -1, axis=1)], axis=2)
    found = np.isin(sides[:, :, 1] * size + sides[:, :, 0], edges[:, 0] * size + edges[:, 1])
    face, side = np.nonzero(found)
    length = float(np.linalg.norm(way))
    ahead = (points[faces[face, (side + 2) % 3]] - points[faces[face, side]]) @ (way / max(length, 1e-12))
    return bool(length > 0.0 and (ahead > FILES.flat).all())


def where_open(points: Array, faces: Longs) -> str:
    """The sentence for the longest open edge of a mesh."""
    runs = _walked(_open_edges(points, faces))
    sizes = [_length(points[run]) if closed else _length(points[run], False) for run, closed in runs]
    k = int(np.argmax(sizes))
    run = runs[k][0]
    more = f" and {len(runs) - 1} more" if len(runs) > 1 else ""
    return (
        f"the mesh is open: an open edge {sizes[k]:.3g} mm long at {place(points[run].mean(axis=0))}{more}; "
        "close it where it was drawn and export it again"
    )


def _open_edges(points: Array, faces: Longs) -> Longs:
    """The edges that only one face has, run through against that face, (k, 2)."""
    start, end = faces.reshape(-1), np.roll(faces, -1, axis=1).reshape(-1)
    code = np.minimum(start, end) * len(points) + np.maximum(start, end)
    _, where, uses = np.unique(code, return_inverse=True, return_counts=True)
    lone = uses[where.reshape(-1)] == 1
    return np.stack([end[lone], start[lone]], axis=1)


def _rims(points: Array, faces: Longs) -> list[Longs]:
    """Closed rims of the holes, each run as the missing face would be."""
    runs = _walked(_open_edges(points, faces))
    if not all(closed for _, closed in runs):
        raise BadSolid(where_open(points, faces))
    return [run for run, _ in runs]


def _walked(edges: Longs) -> list[tuple[Longs, bool]]:
    """Edges strung to runs of corners; a run that comes back to a corner it has passed is cut off there as a rim."""
    onward: dict[int, list[int]] = {}
    for a, b in edges.tolist():
        onward.setdefault(a, []).append(b)
    arrivals = set(edges[:, 1].tolist())
    out: list[tuple[Longs, bool]] = []
    # Corners that no edge comes to begin the runs that cannot close.
    for first in (*(a for a in list(onward) if a not in arrivals), *list(onward)):
        while onward.get(first):
            path, seen = [first], {first: 0}
            while onward.get(path[-1]):
                step = onward[path[-1]].pop()
                if step in seen:
                    rim = path[seen[step] :]
                    out.append((np.array(rim, dtype=np.int64), True))
                    for corner in rim[1:]:
                        del seen[corner]
                    del path[seen[step] + 1 :]
                else:
                    seen[step] = len(path)
                    path.append(step)
            if len(path) > 1:
                out.append((np.array(path, dtype=np.int64), False))
    return out


def _in_planes(points: Array, rims: list[Longs]) -> list[tuple[list[Longs], Array, Array]]:
    """Rims that lie in one plane together, with an origin and the rows x, y, normal of that plane.

    The widest rims come first, so that a small one is laid to the plane of its neighbour and not the other way round.
    """
    left = sorted(rims, key=lambda rim: (-_length(points[rim]), int(rim[0])))
    out = []
    while left:
        first = left.pop(0)
        origin, axes = _plane(points[first])
        off = float(np.abs((points[first] - origin) @ axes[2]).max())
        if off > FILES.flat:
            raise BadSolid(
                f"the mesh is open: the rim of a hole, {_length(points[first]):.3g} mm long at "
                f"{place(points[first].mean(axis=0))}, is not flat ({off:.2g} mm); close it where it was drawn"
            )
        group: list[Longs] = [first]
        rest: list[Longs] = []
        sliver = 2.0 * abs(_area((points[first] - origin) @ axes[:2].T)) <= FILES.flat * _length(points[first])
        for rim in left:
            inside = not sliver and float(np.abs((points[rim] - origin) @ axes[2]).max()) <= FILES.flat
            (group if inside and _within(points, rim, first, origin, axes) else rest).append(rim)
        left = rest
        out.append((group, origin, axes))
    return out


def _within(points: Array, rim: Longs, outer: Longs, origin: Array, axes: Array) -> bool:
    """Whether a rim of the same plane lies inside another and runs the other way, as a hole in a face does."""
    from shapely import Polygon

    one, other = ((points[r] - origin) @ axes[:2].T for r in (rim, outer))
    if _area(one) * _area(other) >= 0.0:
        return False
    ring, big = Polygon(one), Polygon(other)
    return bool(ring.is_valid and big.is_valid and big.contains(ring))


def _plane(points: Array) -> tuple[Array, Array]:
    """Middle of a rim, and x, y and normal of the plane nearest to it; the rim runs counter-clockwise in it."""
    origin = points.mean(axis=0)
    axes = np.linalg.svd(points - origin, full_matrices=True)[2]
    if np.linalg.det(axes) < 0.0:
        axes[2] = -axes[2]
    if _area((points - origin) @ axes[:2].T) < 0.0:
        axes = axes[[1, 0, 2]] * np.array([[1.0], [1.0], [-1.0]])
    return origin, axes


def _overlaps(triangles: Array, area: float) -> bool:
    """Whether triangles (m, 3, 2) cover more than the area that their rims enclose."""
    a, b = triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]
    covered = float(np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum() / 2.0)
    return covered > area * (1.0 + 1e-6) + FILES.flat**2 * len(triangles)


def _area(p: Array) -> float:
    q = np.roll(p, -1, axis=0)
    return float((p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]).sum() / 2.0)


def _length(p: Array, closed: bool = True) -> float:
    q = np.roll(p, -1, axis=0) if closed else p[1:]
    return float(np.linalg.norm(q - p[: len(q)], axis=1).sum())


def _surface(t: Array) -> float:
    return float(np.linalg.norm(np.cross(t[:, 1] - t[:, 0], t[:, 2] - t[:, 0]), axis=1).sum() / 2.0)


def place(point: Any) -> str:
    """A point for a sentence, mm.

    >>> place((1.04, -0.01, 20))
    '(1.0, 0.0, 20.0)'
    """
    return "(" + ", ".join(f"{round(float(v), 1) + 0.0:.1f}" for v in point) + ")"
