"""The flat sides of blocks that are no bricks: outlines as they lie on the table, and eased rectangles."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from fixture3d.part import Face, Point, face_down

if TYPE_CHECKING:
    import cadquery as cq

Outline = tuple[tuple[float, float], ...]


def turned_down(corners: Iterable[Point], face: Face) -> Outline:
    """The outline of a flat side with that side down, counter-clockwise from above, in the frame of ``Part.foot``.

    Args:
        corners: of the side in order, model frame, mm.
        face: the side.

    >>> turned_down([(0, 0, 0), (0, 0, 1), (0, 2, 0)], "left")
    ((0.0, 2.0), (-1.0, 0.0), (0.0, 0.0))
    """
    turn = face_down(face)[:2, :3]
    flat = [
        tuple(sum(float(t) * c for t, c in zip(row, corner, strict=True)) + 0.0 for row in turn) for corner in corners
    ]
    area = sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(flat, [*flat[1:], flat[0]], strict=True))
    return tuple((x, y) for x, y in (flat if area > 0.0 else reversed(flat)))


def cross_section(points: Iterable[tuple[float, float]], x0: float, x1: float) -> cq.Solid:
    """A closed outline in the YZ plane, extruded from ``x0`` to ``x1``."""
    import cadquery as cq

    wire = cq.Wire.makePolygon([cq.Vector(x0, y, z) for y, z in points], close=True)
    return cq.Solid.extrudeLinear(wire, [], cq.Vector(x1 - x0, 0.0, 0.0))
