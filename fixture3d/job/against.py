"""A flat cut on the face of another piece that a member runs into: a side of a member, or a face of a plate."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.job import polygon
from fixture3d.job.cuts import CutImpossible, CutPlane, Run, sawn
from fixture3d.stock.section import Edge, Loop
from fixture3d.tolerance import NUMERIC, SHOP
from fixture3d.units import Units, show

if TYPE_CHECKING:
    from fixture3d.job.weldment import Piece

_ROUND = ("round tube", "round bar")
Hit = tuple[float, Array | None]
Counts = Callable[[float], bool]
Face = tuple[Array, Array]
"""A point of a face and its outward normal, (3,) each, weldment frame."""


def on_member(run: Run, which: int, other: Run, gap: float, units: Units = "mm") -> CutPlane:
    """The cut of one end on the side of another member that its centre line runs into, in the run's own frame.

    Args:
        run: the member that is cut.
        which: end 0 or 1.
        other: the member that it is cut against; it is taken to run through.
        gap: left between the two, mm, square to the face.
        units: for lengths in messages.

    Raises:
        CutImpossible: there is no such face, in words.
    """
    name = f'"{other.name}"'
    if other.section.shape in _ROUND:
        raise CutImpossible(f"it is cut against {name}, which is round and has no face", f"cope = {name}")
    start, out = _ray(run, which)
    to_local = frame.inverse(other.run_to_weldment)
    point, way = frame.points(to_local, start), frame.directions(to_local, out)
    if float(np.hypot(way[1], way[2])) < np.sin(np.deg2rad(1.0)):
        raise CutImpossible(f"it runs the same way as {name}, so that it meets none of its sides")
    hit = _first(other.section.outline()[0], point[1:], way[1:])
    if hit is None:
        raise CutImpossible(f"its centre line passes {name} and meets none of its sides", "a centre line that meets it")
    at, normal = hit
    if normal is None:
        raise CutImpossible(
            f"its centre line meets {name} where its corner is round", f"a centre line that meets a flat side of {name}"
        )
    along = float(point[0] + at * way[0])
    if not -SHOP.contact <= along <= other.length + SHOP.contact:
        past = max(-along, along - other.length)
        raise CutImpossible(
            f"its centre line meets {name} {show(past, units)} beyond its end", "a place on the length of the other"
        )
    face = start + at * out, frame.directions(other.run_to_weldment, np.array([0.0, *normal]))
    return _cut(run, which, name, face, gap, max(other.section.width, other.section.height), units)


def on_plate(run: Run, which: int, plate: Piece, gap: float, units: Units = "mm") -> CutPlane:
    """The cut of one end on the face or edge of a plate that its centre line runs into, in the run's own frame.

    Args and errors as for `on_member`.
    """
    assert plate.plate is not None
    name = f'"{plate.name}"'
    start, out = _ray(run, which)
    to_local = frame.inverse(plate.piece_to_weldment)
    point, way = frame.points(to_local, start), frame.directions(to_local, out)
    outline, thick = plate.plate.outline, plate.plate.thickness
    hits: list[tuple[float, Array]] = []
    if abs(float(way[2])) > NUMERIC.zero:
        at = ((0.0 if way[2] > 0.0 else thick) - float(point[2])) / float(way[2])
        if polygon.inside(outline, (float(point[0] + at * way[0]), float(point[1] + at * way[1]))):
            hits.append((at, np.array([0.0, 0.0, -np.sign(way[2])])))
    if float(np.hypot(way[0], way[1])) > NUMERIC.zero:
        edge = _first(outline, point[:2], way[:2], lambda at: 0.0 <= float(point[2] + at * way[2]) <= thick)
        if edge is not None:
            at, normal = edge
            if normal is None:
                raise CutImpossible(f"its centre line meets the edge of {name} where it is round", "a straight edge")
            hits.append((at, np.array([*normal, 0.0])))
    if not hits:
        raise CutImpossible(f"its centre line passes {name} and does not meet it", "a centre line that meets the plate")
    at, normal = min(hits, key=lambda hit: hit[0])
    face = start + at * out, frame.directions(plate.piece_to_weldment, normal)
    return _cut(run, which, name, face, gap, thick, units)


def _ray(run: Run, which: int) -> tuple[Array, Array]:
    """A point on the centre line far inside the member, and the direction out of the end."""
    end, out = run.end(which)
    return end - out * run.length, out


def _first(loop: Loop, point: Array, way: Array, counts: Counts = lambda at: True) -> Hit | None:
    """Where a ray first enters an outline: how far along, and the outward normal (2,) there; None on an arc.

    Args:
        loop: turns left.
        point: (2,) where the ray starts.
        way: (2,) its direction; distances along it count in its length.
        counts: whether a hit at that distance is one.
    """
    found: list[Hit] = []
    for edge in loop:
        if edge.centre is None:
            run = np.subtract(edge.end, edge.start)
            det = float(way[0] * run[1] - way[1] * run[0])
            if det >= -NUMERIC.zero:  # parallel, or out of the metal
                continue
            gap = np.subtract(edge.start, point)
            share = float(gap[0] * way[1] - gap[1] * way[0]) / det
            if -NUMERIC.zero <= share <= 1.0 + NUMERIC.zero:
                found.append((float(gap[0] * run[1] - gap[1] * run[0]) / det, frame.unit(np.array([run[1], -run[0]]))))
            continue
        found += [(at, None) for at in _arc_hits(edge.centre, edge.radius, point, way) if _on(edge, point + at * way)]
    hits = [hit for hit in found if counts(hit[0])]
    return min(hits, key=lambda hit: hit[0]) if hits else None


def _arc_hits(centre: tuple[float, float], radius: float, point: Array, way: Array) -> list[float]:
    lag = point - np.array(centre)
    a, b, c = float(way @ way), float(lag @ way), float(lag @ lag) - radius * radius
    root = b * b - a * c
    return [(-b - float(np.sqrt(root))) / a, (-b + float(np.sqrt(root))) / a] if root > 0.0 else []


def _on(edge: Edge, point: Array) -> bool:
    assert edge.centre is not None
    (y, z), (y0, z0) = point - np.array(edge.centre), np.subtract(edge.start, edge.centre)
    ahead = float(np.arctan2(z, y) - np.arctan2(z0, y0))
    return float(np.mod(ahead if edge.left else -ahead, 2.0 * np.pi)) <= abs(edge.sweep)


def _cut(run: Run, which: int, name: str, face: Face, gap: float, size: float, units: Units) -> CutPlane:
    point, normal = face
    end, out = run.end(which)
    away = float((point - end) @ out)
    reach = (max(run.section.width, run.section.height) + size) / abs(float(normal @ out))
    if abs(away) > reach:
        raise CutImpossible(
            f"its centre line meets {name} {show(abs(away), units)} away from that end",
            f"an end within {show(reach, units)} of the face",
        )
    return sawn(run, point + gap * normal, -normal)
