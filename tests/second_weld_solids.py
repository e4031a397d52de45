"""Solids for the second set of welded joints: boxes, tubes, bars, prisms, and outlines on a plane (mm).

Nothing here knows of welds. All is in the world frame; an axis is "x", "y" or "z", and a pair of figures across it is
in the order of the axes left: (y, z) for "x", (x, z) for "y", (x, y) for "z".
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import Any

Solid = Any  # a cadquery solid or a trimesh mesh: both come untyped
Point = tuple[float, float, float]
Span = tuple[float, float]

_OTHERS = {"x": (1, 2), "y": (0, 2), "z": (0, 1)}
_INDEX = {"x": 0, "y": 1, "z": 2}


def spot(axis: str, at: float, a: float, b: float) -> Point:
    """The point at `at` along the axis and (a, b) across it."""
    out = [0.0, 0.0, 0.0]
    out[_INDEX[axis]] = at
    first, second = _OTHERS[axis]
    out[first], out[second] = a, b
    return (out[0], out[1], out[2])


def _one(work: Any) -> Solid:
    solids = work.solids().vals()
    if len(solids) != 1:
        raise AssertionError(f"one solid expected, not {len(solids)}")
    return solids[0]


def box(x: Span, y: Span, z: Span, round_along: str = "", radius: float = 0.0) -> Solid:
    """A block between two limits each way; its four edges along one axis can be rounded."""
    import cadquery as cq

    work = cq.Workplane().box(x[1] - x[0], y[1] - y[0], z[1] - z[0])
    if radius:
        work = work.edges(f"|{round_along.upper()}").fillet(radius)
    return _one(work.translate(((x[0] + x[1]) / 2, (y[0] + y[1]) / 2, (z[0] + z[1]) / 2)))


def cut(solid: Solid, *tools: Solid) -> Solid:
    """The solid without the tools: one solid must be left."""
    import cadquery as cq

    work = cq.Workplane(solid)
    for tool in tools:
        work = work.cut(cq.Workplane(tool))
    return _one(work)


def tube(axis: str, span: Span, centre: Span, size: Span, wall: float, radius: float = 0.0) -> Solid:
    """Rectangular tube along an axis; outside corner radius, the inside one smaller by the wall (0: all sharp)."""
    inner = max(radius - wall, 0.0)
    bodies = []
    for half_a, half_b, r in (
        (size[0] / 2, size[1] / 2, radius),
        (size[0] / 2 - wall, size[1] / 2 - wall, inner),
    ):
        low = spot(axis, span[0], centre[0] - half_a, centre[1] - half_b)
        high = spot(axis, span[1], centre[0] + half_a, centre[1] + half_b)
        limits = [(low[i], high[i]) for i in range(3)]
        bodies.append(box(limits[0], limits[1], limits[2], axis, r))
    return cut(bodies[0], bodies[1])


def rod(axis: str, span: Span, centre: Span, radius: float) -> Solid:
    """Round bar along an axis."""
    import cadquery as cq

    along = spot(axis, 1.0, 0.0, 0.0)
    start = cq.Vector(*spot(axis, span[0], centre[0], centre[1]))
    return cq.Solid.makeCylinder(radius, span[1] - span[0], start, cq.Vector(*along))


def pipe(axis: str, span: Span, centre: Span, radius: float, wall: float) -> Solid:
    """Round tube along an axis; outside radius."""
    return cut(rod(axis, span, centre, radius), rod(axis, span, centre, radius - wall))


def prism(outline: Sequence[Point], along: Point, hole: Sequence[Point] = ()) -> Solid:
    """A flat outline (with a hole) pushed along a vector, square to its plane or not."""
    import cadquery as cq

    outer = cq.Wire.makePolygon([cq.Vector(*p) for p in outline], close=True)
    inner = [cq.Wire.makePolygon([cq.Vector(*p) for p in hole], close=True)] if hole else []
    return cq.Solid.extrudeLinear(outer, inner, cq.Vector(*along))


def leaned(solid: Solid, degrees: float, about: Point = (0.0, 1.0, 0.0)) -> Solid:
    """The solid turned about a line through the world's zero point."""
    import cadquery as cq

    return solid.rotate(cq.Vector(0, 0, 0), cq.Vector(*about), degrees)


def mesh(solid: Solid) -> Solid:
    """The solid as a triangle mesh (exact where it has flat faces only)."""
    import numpy as np
    import trimesh

    points, faces = solid.tessellate(0.05, 0.1)
    return trimesh.Trimesh(np.array([p.toTuple() for p in points]), np.array(faces))


def rotation(about: Point, degrees: float) -> tuple[Point, Point, Point]:
    """Rows of the matrix that turns about a direction through the zero point (Rodrigues)."""
    size = math.sqrt(sum(v * v for v in about))
    x, y, z = (v / size for v in about)
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    d = 1 - c
    return (
        (c + x * x * d, x * y * d - z * s, x * z * d + y * s),
        (y * x * d + z * s, c + y * y * d, y * z * d - x * s),
        (z * x * d - y * s, z * y * d + x * s, c + z * z * d),
    )


def rectangle(axis: str, at: float, a: Span, b: Span) -> tuple[Point, ...]:
    """The four corners of a rectangle in the plane square to an axis, in order around it."""
    return tuple(spot(axis, at, u, v) for u, v in ((a[0], b[0]), (a[1], b[0]), (a[1], b[1]), (a[0], b[1])))


def rounded(axis: str, at: float, a: Span, b: Span, radius: float) -> tuple[Point, ...]:
    """A rectangle with rounded corners as points in order around it."""
    out: list[Point] = []
    corners = (
        (a[1] - radius, b[0] + radius, -90),
        (a[1] - radius, b[1] - radius, 0),
        (a[0] + radius, b[1] - radius, 90),
        (a[0] + radius, b[0] + radius, 180),
    )
    for u, v, start in corners:
        for step in range(25):
            turn = math.radians(start + 90 * step / 24)
            out.append(spot(axis, at, u + radius * math.cos(turn), v + radius * math.sin(turn)))
    return tuple(out)


def circle(axis: str, at: float, centre: Span, radius: float, count: int = 180) -> tuple[Point, ...]:
    """Points around a circle in the plane square to an axis."""
    turns = [2 * math.pi * i / count for i in range(count)]
    return tuple(spot(axis, at, centre[0] + radius * math.cos(t), centre[1] + radius * math.sin(t)) for t in turns)


def saddle(chord: float, branch: float, degrees: float, offset: float = 0.0, count: int = 360) -> tuple[Point, ...]:
    """Where a round branch meets a round chord: points in order around the branch.

    The chord (radius R) runs along X. The branch's axis goes through (0, offset, 0) along u = (cos, 0, sin) of the
    angle. With p the turn about the branch, v = (-sin, 0, cos) and s along the branch, a point of it is
    s u + r cos p v + (r sin p + offset) y. It is on the chord where y^2 + z^2 = R^2, on the upper side
    z = sqrt(R^2 - y^2), and z = s sin + r cos p cos gives s.
    """
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    out: list[Point] = []
    for i in range(count):
        p = 2 * math.pi * i / count
        y = branch * math.sin(p) + offset
        z = math.sqrt(max(chord * chord - y * y, 0.0))
        along = (z - branch * math.cos(p) * c) / s
        out.append((along * c - branch * math.cos(p) * s, y, z))
    return tuple(out)


def extent(points: Sequence[Point], closed: bool = False) -> float:
    """Length of the polyline through the points."""
    pairs = list(itertools.pairwise(points))
    if closed:
        pairs.append((points[-1], points[0]))
    return sum(math.dist(p, q) for p, q in pairs)
