"""What several blocks share: proportions drawn from pitch and bore, rows of bores, and a few cuts.

The proportions are plain workshop habits (half a bore of steel left round a bore, sharp edges broken); common
practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from fixture3d.part import FACES, NORMALS, Face, Pad, Pattern, Pin, Point, Socket, box_foot

if TYPE_CHECKING:
    import cadquery as cq

EASE = 2.0
"""mm; chamfer on edges that a tube is dropped over or a weld comes near to."""

ROOT2 = math.sqrt(2.0)


def edge(pattern: Pattern) -> float:
    """Bore centre to the side of a block: at least half a bore of steel is left, mm."""
    return pattern.neat(pattern.bore)


def row_gap(pattern: Pattern) -> float:
    """Between the row of bores for the grid and the row for 45 degrees, mm; the two rows keep apart."""
    return pattern.neat(1.35 * pattern.bore)


def blind(pattern: Pattern) -> float:
    """Depth of a bore that does not go through, mm."""
    return pattern.neat(1.25 * pattern.bore)


def straight(pattern: Pattern, bores: int, y: float = 0.0) -> list[tuple[float, float]]:
    """Bores one pitch apart along X, the first one at x = 0."""
    return [(i * pattern.pitch, y) for i in range(bores)]


def diagonal(pattern: Pattern, centre: float, y: float) -> list[tuple[float, float]]:
    """Two bores as far apart as two holes across the corner of a grid cell: for a block turned by 45 degrees."""
    half = pattern.pitch * ROOT2 / 2.0
    return [(centre - half, y), (centre + half, y)]


def diagonal_fits(pattern: Pattern, length: float, depth: float) -> bool:
    """Whether a brick has room for a second row of bores, for 45 degrees, beside its first."""
    long_enough = length >= ROOT2 * pattern.pitch + 2.0 * pattern.bore - 1e-6
    return long_enough and depth >= row_gap(pattern) + 2.0 * pattern.bore - 1e-6


def third_bore(pattern: Pattern) -> list[tuple[float, float]]:
    """One more bore for 45 degrees in the row itself; none where under a quarter bore of steel would be left."""
    wall = (ROOT2 - 1.0) * pattern.pitch - pattern.bore
    return [(pattern.pitch * ROOT2, 0.0)] if wall >= pattern.bore / 4.0 else []


def bottom_pins(places: Sequence[tuple[float, float]], depth: float, first: int = 1) -> tuple[Pin, ...]:
    """Blind bores in the underside, named from ``first`` on."""
    return tuple(Pin(name=str(i), at=(x, y, 0.0), depth=depth) for i, (x, y) in enumerate(places, start=first))


def sockets(pins: Iterable[Pin]) -> tuple[Socket, ...]:
    """The same bores seen from the top, for a block that stands on this one."""
    return tuple(Socket(name=p.name, at=p.at, face="top", depth=p.depth) for p in pins if p.face == "top")


def eased_foot(low: Point, high: Point, face: Face, ease: float = EASE) -> tuple[tuple[float, float], ...]:
    """Foot of a brick with broken upright and upper edges: never larger than what touches the table.

    With the underside down only the corners are cut; on any other face a border of ``ease`` is left out.
    """
    (x0, y0), _, (x1, y1), _ = box_foot(low, high, face)
    if face == "bottom":
        e = ease
        return (
            (x0 + e, y0),
            (x1 - e, y0),
            (x1, y0 + e),
            (x1, y1 - e),
            (x1 - e, y1),
            (x0 + e, y1),
            (x0, y1 - e),
            (x0, y0 + e),
        )
    return (
        (x0 + ease, y0 + ease),
        (x1 - ease, y0 + ease),
        (x1 - ease, y1 - ease),
        (x0 + ease, y1 - ease),
    )


def side_pads(low: Point, high: Point, faces: Iterable[Face] = FACES[1:], ease: float = EASE) -> tuple[Pad, ...]:
    """The flats of a brick with broken upright and upper edges, each named by its face.

    The length of a side runs level, the length of the top runs along X.
    """
    x0, y0, z0, x1, y1, z1 = *low, *high
    middle = ((x0 + x1) / 2.0, (y0 + y1) / 2.0, (z0 + z1 - ease) / 2.0)
    out = []
    for face in faces:
        normal = NORMALS[face]
        axis = next(i for i in range(3) if normal[i])
        at = [*middle]
        at[axis] = (high if normal[axis] > 0.0 else low)[axis]
        long, wide = {0: (1, 2), 1: (0, 2), 2: (0, 1)}[axis]
        size = (x1 - x0 - 2.0 * ease, y1 - y0 - 2.0 * ease, z1 - z0 - ease)
        along = (1.0, 0.0, 0.0) if long == 0 else (0.0, 1.0, 0.0)
        out.append(
            Pad(name=face, at=(at[0], at[1], at[2]), normal=normal, along=along, length=size[long], width=size[wide])
        )
    return tuple(out)


def brick(low: Point, high: Point, ease: float = 0.0) -> cq.Solid:
    """A box between two corners; ``ease`` breaks its upright and its upper edges."""
    import cadquery as cq

    solid = cq.Solid.makeBox(*(b - a for a, b in zip(low, high, strict=True)), pnt=cq.Vector(*low))
    if not ease:
        return solid
    return solid.chamfer(ease, None, [*solid.edges("|Z").Edges(), *solid.faces(">Z").edges().Edges()])


def outline(points: Sequence[tuple[float, float]], y0: float, y1: float) -> cq.Solid:
    """A closed outline in the XZ plane, extruded from ``y0`` to ``y1``."""
    import cadquery as cq

    wire = cq.Wire.makePolygon([cq.Vector(x, y0, z) for x, z in points], close=True)
    return cq.Solid.extrudeLinear(wire, [], cq.Vector(0.0, y1 - y0, 0.0))


def region(edges: Sequence[tuple[tuple[float, float], ...]], y0: float, y1: float) -> cq.Solid:
    """A closed outline of straight lines and arcs in the XZ plane, extruded from ``y0`` to ``y1``.

    Args:
        edges: each two points (x, z) of a line, or three points of an arc: start, through, end.
        y0: from, mm.
        y1: to, mm.
    """
    import cadquery as cq

    parts = []
    for edge_points in edges:
        at = [cq.Vector(x, y0, z) for x, z in edge_points]
        parts.append(cq.Edge.makeLine(*at) if len(at) == 2 else cq.Edge.makeThreePointArc(*at))
    wire = cq.Wire.assembleEdges(parts)
    return checked(cq.Solid.extrudeLinear(wire, [], cq.Vector(0.0, y1 - y0, 0.0)))


def round_bar(at: Point, way: Point, diameter: float, length: float) -> cq.Solid:
    """A cylinder from the centre of its end face, along the unit vector ``way``."""
    import cadquery as cq

    return cq.Solid.makeCylinder(diameter / 2.0, length, cq.Vector(*at), cq.Vector(*way))


def bored(solid: Any, pins: Iterable[Pin], diameter: float) -> cq.Solid:
    """``solid`` with every bore of ``pins`` cut; a bore that goes through and is named on two faces is cut once."""
    tools = {}
    for pin in pins:
        inward = tuple(-n for n in NORMALS[pin.face])
        end = tuple(a + n * pin.depth for a, n in zip(pin.at, inward, strict=True))
        key = frozenset(tuple(round(c, 6) + 0.0 for c in p) for p in (pin.at, end))
        tools[key] = round_bar(pin.at, (inward[0], inward[1], inward[2]), diameter, pin.depth)
    return cut(solid, *tools.values())


def cut(solid: Any, *tools: Any) -> cq.Solid:
    """``solid`` less ``tools``: one valid solid.

    Raises:
        BadSolid: what is left is not one valid solid.
    """
    return checked(solid.cut(*tools)) if tools else checked(solid)


def joined(*solids: Any) -> cq.Solid:
    """The union, with no seam left between coplanar faces: one valid solid.

    Raises:
        BadSolid: it is not one valid solid.
    """
    return checked(solids[0].fuse(*solids[1:]).clean())


def checked(shape: Any) -> cq.Solid:
    """The one valid solid in ``shape``.

    Raises:
        BadSolid: there is none, there are several, or it is not valid.
    """
    import cadquery as cq

    from fixture3d.solid.kernel import one_solid

    return cq.Solid(one_solid(shape))
