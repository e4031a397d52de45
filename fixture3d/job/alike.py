"""Which pieces are alike: one can take the place of the other, turned over or end for end if need be."""

from __future__ import annotations

import math
from dataclasses import fields, is_dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from fixture3d.job import polygon

if TYPE_CHECKING:
    from fixture3d.frame import Array
    from fixture3d.job.weldment import Piece, PlateShape
    from fixture3d.stock.section import Loop


def alike(piece: Piece) -> Any:
    """What two pieces have in common when one can take the place of the other, turned over if need be."""
    if piece.section is not None and piece.ends is not None:
        return piece.section.designation, round(piece.cut_length, 3), _cuts(piece), _shaped(piece)
    if piece.plate is not None:
        return round(piece.plate.thickness, 3), _plate(piece.plate)
    return piece.name


def _cuts(piece: Piece) -> Any:
    """Both end cuts, so that a tube that is turned end for end or rolled over counts as the same."""
    assert piece.section is not None
    assert piece.ends is not None
    (y0, z0), (y1, z1) = ((round(y, 6) + 0.0, round(z, 6) + 0.0) for y, z in (end.slope for end in piece.ends))
    if piece.section.shape in ("round tube", "round bar"):
        # However it is rolled; turned end for end the rotation of one cut against the other stays the same.
        turn = math.degrees(math.atan2(y0, z0) - math.atan2(y1, z1)) if (y0 or z0) and (y1 or z1) else 0.0
        return tuple(sorted(round(math.hypot(*g), 6) for g in ((y0, z0), (y1, z1)))), round(turn % 360.0, 3) % 360.0
    across, upright = bool(y0 or y1), bool(z0 or z1)
    if piece.section.shape in ("angle", "channel") or (across and upright):
        return (y0, z0), (y1, z1)
    ends = tuple(sorted([(abs(y0), abs(z0)), (abs(y1), abs(z1))]))
    if piece.section.width == piece.section.height:
        ends = tuple(sorted([(a + b, 0.0) for a, b in ends]))
    return ends, math.copysign(1.0, y0 * y1 + z0 * z1) if (y0 or z0) and (y1 or z1) else 0.0


def _shaped(piece: Piece) -> Any:
    """What else is cut, drilled or bent; None of a plain length. Pieces that have it are alike as they lie only."""
    assert piece.end_cuts is not None
    if piece.bent is None and not piece.holes and not any(end.saddle or end.openings for end in piece.end_cuts):
        return None
    ends = [(end.plane.slope, end.saddle, end.openings) for end in piece.end_cuts]
    bends = [] if piece.bent is None else [(part.length, part.angle, part.toward) for part in piece.bent.parts]
    return _rounded((ends, piece.holes, bends))


def _rounded(value: Any) -> Any:
    """The same with every number to a thousandth, so that noise of the arithmetic parts nothing."""
    if isinstance(value, float):
        return round(value, 3) + 0.0
    if isinstance(value, list | tuple):
        return tuple(_rounded(one) for one in value)
    if is_dataclass(value) and not isinstance(value, type):
        return tuple(_rounded(getattr(value, f.name)) for f in fields(value) if f.name != "name")
    return value


def _plate(plate: PlateShape) -> Any:
    """The same for two outlines that cover each other, turned over if need be: corner by corner."""
    loop = polygon.halves(plate.outline)
    points = np.array([e.start for e in loop])
    bulges = [round(e.radius, 3) * (1.0 if e.left else -1.0) for e in loop]
    inner: list[tuple[float, Any]] = [(d, ((x, y),)) for x, y, d in plate.holes]
    inner += [(-_area(opening), tuple(e.start for e in opening)) for opening in plate.openings]
    # Run backwards, the edge that led into a corner leads out of it.
    turned = [bulges[k - 1] for k in range(len(bulges), 0, -1)]
    turned = [*turned[1:], *turned[:1]]
    both = ((points, bulges), (points[::-1], turned))
    return min(turn for corners, bulge in both for turn in _turns(corners, bulge, inner))


def _area(loop: Loop) -> float:
    return round(abs(polygon.signed_area(loop)), 3)


def _turns(points: Array, bulges: list[float], inner: list[tuple[float, Any]]) -> list[tuple[Any, ...]]:
    """Side, arc, diagonal and distances to what is cut out at every corner, begun at each corner in turn."""

    def far(a: Any, b: Any) -> float:
        return round(math.dist(a, b), 3)

    count = len(points)
    corners = [
        (
            far(points[k], points[(k + 1) % count]),
            bulges[k],
            far(points[k], points[(k + 2) % count]),
            tuple(sorted((round(size, 3), *sorted(far(points[k], p) for p in spots)) for size, spots in inner)),
        )
        for k in range(count)
    ]
    return [(*corners[k:], *corners[:k]) for k in range(count)]
