"""Solids, twists and written-down contacts of which the blind locating cases are built, mm, world frame."""

from __future__ import annotations

import functools
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import cadquery as cq

P2 = tuple[float, float]
P3 = tuple[float, float, float]
P6 = tuple[float, float, float, float, float, float]
Touch = list[P6]
"""Points with the way the fixed body pushes there: x, y, z, nx, ny, nz."""


def slide(x: float, y: float, z: float) -> P6:
    """A straight motion."""
    return (x, y, z, 0, 0, 0)


def turn(axis: P3, at: P3) -> P6:
    """A turn about an axis through a point, as (v, w) about the world origin."""
    x, y, z = (float(value) for value in np.cross(at, axis))
    return (x, y, z, *axis)


X, Y, Z = slide(1, 0, 0), slide(0, 1, 0), slide(0, 0, 1)


def spin(x: float, y: float) -> P6:
    """A turn about the upright axis through (x, y)."""
    return turn((0, 0, 1), (x, y, 0))


def roll(y: float, z: float) -> P6:
    """A turn about the axis along X through (y, z)."""
    return turn((1, 0, 0), (0, y, z))


# ---- written contacts ----


def patch(normal: P3, *points: P3) -> Touch:
    """Points of a flat patch or of a line that push one way."""
    return [(*point, *normal) for point in points]


def on_z(z: float, x0: float, x1: float, y0: float, y1: float, up: float = 1) -> Touch:
    """A level patch that pushes up, or down with -1."""
    return patch((0, 0, up), (x0, y0, z), (x1, y0, z), (x1, y1, z), (x0, y1, z))


def on_x(x: float, y0: float, y1: float, z0: float, z1: float, way: float = 1) -> Touch:
    """A patch that pushes along X."""
    return patch((way, 0, 0), (x, y0, z0), (x, y1, z0), (x, y1, z1), (x, y0, z1))


def on_y(y: float, x0: float, x1: float, z0: float, z1: float, way: float = 1) -> Touch:
    """A patch that pushes along Y."""
    return patch((0, way, 0), (x0, y, z0), (x1, y, z0), (x1, y, z1), (x0, y, z1))


def bore(x: float, y: float, r: float, z0: float, z1: float) -> Touch:
    """An upright pin that fills a round hole: it pushes outwards all round."""
    ways: list[P3] = [(1, 0, 0), (0, 1, 0), (-1, 0, 0), (0, -1, 0)]
    return [row for n in ways for row in patch(n, (x + r * n[0], y + r * n[1], z0), (x + r * n[0], y + r * n[1], z1))]


def carried(touch: Touch, origin: P3, u: P3, n: P3) -> Touch:
    """Contacts written in a frame with x along u and z along n."""
    to = np.array([u, np.cross(n, u), n], float).T
    return [(*(to @ row[:3] + origin), *(to @ row[3:])) for row in np.array(touch, float)]


# ---- solids ----


def one(solid: Any) -> cq.Solid:
    """The single solid in a shape or a workplane."""
    import cadquery as cq

    shapes = solid.vals() if isinstance(solid, cq.Workplane) else [solid]
    found = [part for shape in shapes for part in shape.Solids()]
    assert len(found) == 1
    return found[0]


@functools.cache
def box(x0: float, x1: float, y0: float, y1: float, z0: float, z1: float) -> cq.Solid:
    """A box by its limits."""
    import cadquery as cq

    return cq.Solid.makeBox(x1 - x0, y1 - y0, z1 - z0, cq.Vector(x0, y0, z0))


@functools.cache
def rod(at: P3, way: P3, r: float, length: float) -> cq.Solid:
    """A round bar from a point."""
    import cadquery as cq

    return cq.Solid.makeCylinder(r, length, cq.Vector(at), cq.Vector(way))


def pin(x: float, y: float, r: float, z0: float, z1: float) -> cq.Solid:
    """An upright round bar."""
    return rod((x, y, z0), (0, 0, 1), r, z1 - z0)


def minus(body: cq.Solid, *others: cq.Solid) -> cq.Solid:
    """One solid less others."""
    return one(body.cut(*others))


def plus(body: cq.Solid, *others: cq.Solid) -> cq.Solid:
    """Solids made one."""
    return one(body.fuse(*others).clean())


def along_y(points: Sequence[P2], y0: float, y1: float) -> cq.Solid:
    """A section in X and Z, drawn out along Y."""
    import cadquery as cq

    return one(cq.Workplane("XZ", origin=(0, y0, 0)).polyline(points).close().extrude(y0 - y1))


def along_x(points: Sequence[P2], x0: float, x1: float) -> cq.Solid:
    """A section in Y and Z, drawn out along X."""
    import cadquery as cq

    return one(cq.Workplane("YZ", origin=(x0, 0, 0)).polyline(points).close().extrude(x1 - x0))


def along_z(points: Sequence[P2], z0: float, z1: float) -> cq.Solid:
    """An outline in plan, drawn up."""
    import cadquery as cq

    return one(cq.Workplane("XY", origin=(0, 0, z0)).polyline(points).close().extrude(z1 - z0))


def stood(solid: cq.Solid, origin: P3, u: P3, n: P3) -> cq.Solid:
    """A solid carried into a frame with x along u and z along n."""
    import cadquery as cq

    return one(solid.moved(cq.Location(cq.Plane(origin, u, n))))


def square_tube(x0: float, x1: float, side: float, wall: float, radius: float) -> cq.Solid:
    """A square hollow section along X with round corners, its axis on the X axis."""
    import cadquery as cq

    def bar(width: float, r: float) -> cq.Solid:
        start = cq.Workplane("YZ", origin=(x0, 0, 0)).rect(width, width).extrude(x1 - x0)
        return one(start.edges("|X").fillet(r))

    return minus(bar(side, radius), bar(side - 2 * wall, radius - wall))


def round_tube(x0: float, x1: float, y: float, z: float, outer: float, inner: float) -> cq.Solid:
    """A round tube along X."""
    return minus(rod((x0, y, z), (1, 0, 0), outer, x1 - x0), rod((x0, y, z), (1, 0, 0), inner, x1 - x0))


@functools.cache
def vee(x0: float, x1: float, y: float, base: float, angle: float, depth: float) -> cq.Solid:
    """A V-block along X on the table; the V's sharp vertex at height ``base``."""
    half = depth * float(np.tan(np.radians(angle / 2)))
    top, wide = base + depth, half + 8
    section = [(-wide, 0), (wide, 0), (wide, top), (half, top), (0, base), (-half, top), (-wide, top)]
    return along_x([(y + a, b) for a, b in section], x0, x1)


@functools.cache
def slot(x0: float, x1: float, y: float, r: float, z0: float, z1: float) -> cq.Solid:
    """What is cut for a slot along X with round ends, centres at x0 and x1."""
    return plus(box(x0, x1, y - r, y + r, z0, z1), pin(x0, y, r, z0, z1), pin(x1, y, r, z0, z1))


@functools.cache
def holed_table() -> cq.Solid:
    """A patch of 7 by 5 holes, pitch 50, bore 16, thickness 12, hole A1 at the origin."""
    import cadquery as cq

    plate = cq.Workplane("XY").box(350, 250, 12, centered=False).translate((-25, -25, -12))
    holes = cq.Workplane("XY").pushPoints([(50 * i, 50 * j) for i in range(7) for j in range(5)]).circle(8)
    return one(plate.cut(holes.extrude(-12)))


@functools.cache
def slab() -> cq.Solid:
    """A plain plate under the work, top at z = 0."""
    return box(-200, 500, -150, 300, -12, 0)
