"""Plain bodies for the blind weld cases: boxes, prisms, tubes and rods, placed by their own coordinates (mm)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

Vector = tuple[float, float, float]
BIG = 3000.0


def one(shape: Any) -> Any:
    """The single solid in a shape."""
    solids = shape.Solids()
    assert len(solids) == 1, f"a case wants one solid, got {len(solids)}"
    return solids[0]


def box(x: tuple[float, float], y: tuple[float, float], z: tuple[float, float]) -> Any:
    """A box from its three ranges."""
    import cadquery as cq

    return cq.Solid.makeBox(x[1] - x[0], y[1] - y[0], z[1] - z[0], cq.Vector(x[0], y[0], z[0]))


def prism(plane: str, outline: Sequence[tuple[float, float]], start: float, end: float) -> Any:
    """An outline in XY or XZ (given as x, z), drawn from start to end along the third axis."""
    import cadquery as cq

    body = one(cq.Workplane("XY").polyline(list(outline)).close().extrude(end - start).val())
    if plane == "XY":
        return body.translate(cq.Vector(0, 0, start))
    return body.rotate(cq.Vector(0, 0, 0), cq.Vector(1, 0, 0), 90).translate(cq.Vector(0, end, 0))


def rod(radius: float, length: float, start: Vector, along: Vector) -> Any:
    """A solid cylinder."""
    import cadquery as cq

    return cq.Solid.makeCylinder(radius, length, cq.Vector(*start), cq.Vector(*along))


def pipe(outer: float, inner: float, length: float, start: Vector, along: Vector) -> Any:
    """A round tube by its two radii."""
    return one(rod(outer, length, start, along).cut(rod(inner, length, start, along)))


def tube(width: float, depth: float, wall: float, z: tuple[float, float], corner: float = 0.0) -> Any:
    """A tube upright on the origin: width along x, depth along y; the corner is the outside radius."""
    import cadquery as cq

    def block(less: float, radius: float) -> Any:
        work = cq.Workplane("XY").rect(width - 2 * less, depth - 2 * less).extrude(z[1] - z[0])
        return (work.edges("|Z").fillet(radius) if radius else work).val()

    hollow = block(0.0, corner).cut(block(wall, corner - wall if corner else 0.0))
    return one(hollow).translate(cq.Vector(0, 0, z[0]))


def turned(body: Any, axis: Vector, degrees: float) -> Any:
    """The body turned about a line through the origin."""
    import cadquery as cq

    return body.rotate(cq.Vector(0, 0, 0), cq.Vector(*axis), degrees)


def moved(body: Any, by: Vector) -> Any:
    """The body shifted."""
    import cadquery as cq

    return body.translate(cq.Vector(*by))


def kept(body: Any, point: Vector, towards: Vector) -> Any:
    """What lies on one side of a plane."""
    import cadquery as cq

    plane = cq.Plane(origin=point, normal=towards)
    return one(body.intersect(cq.Workplane(plane).rect(BIG, BIG).extrude(BIG).val()))


def mitred(profile: Any, degrees: float = 90.0) -> dict[str, Any]:
    """Two lengths of an upright profile mitred to enclose an angle in the xy plane; its y stays in the frame.

    The first runs along -x from the origin, the second is its mirror image in the mitre plane.
    """
    half = math.radians(degrees) / 2
    lying = turned(profile, (0, 1, 0), -90)  # along -x; the profile's y stays in the frame's plane
    normal = (-math.sin(half), -math.cos(half), 0.0)
    first = kept(lying, (0, 0, 0), normal)
    return {"rail": first, "post": first.mirror(mirror_plane(normal), (0, 0, 0))}


def mirror_plane(normal: Vector) -> Any:
    """A plane's normal as the kernel wants it."""
    import cadquery as cq

    return cq.Vector(*normal)
