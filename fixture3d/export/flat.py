"""The outline of a part that is cut from plate, read off its solid: lines and arcs, holes, thickness."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.job import polygon
from fixture3d.job.weldment import PlateShape
from fixture3d.stock.section import Edge, Loop, backwards
from fixture3d.tolerance import MAKING, NUMERIC

_ALONG = 1.0 - 1e-9  # cosine of directions that are one, and what is left of it where they are square
_SQUARE = 1e-9


def flat_of(solid: Any) -> PlateShape | str:
    """The outline of a solid that is as thick everywhere, the least corner of its box at (0, 0); or why it has none.

    A solid counts where two faces are flat and alike, and all others stand square between them; of several ways to
    look at it the thinnest is taken.

    Args:
        solid: one ``TopoDS_Shape``, valid and closed.
    """
    faces = list(_faces(solid))
    best: tuple[float, Array, list[Any]] | None = None
    for normal in _directions(faces):
        caps = _caps(faces, normal)
        if caps is None:
            continue
        (low, _), (high, top) = caps
        if best is None or high - low < best[0] - NUMERIC.merge:
            best = (high - low, normal, [top])
    if best is None:
        return "it is not as thick everywhere"
    thickness, normal, (top,) = best
    hint = (1.0, 0.0, 0.0) if abs(normal[0]) < 0.9 else (0.0, 1.0, 0.0)
    loops = [_loop(wire, top, frame.inverse(frame.along((0.0, 0.0, 0.0), normal, hint))) for wire in _wires(top)]
    if any(loop is None for loop in loops):
        return "its outline has curves that are neither lines nor arcs"
    return _shape([loop for loop in loops if loop is not None], thickness, solid)


def _shape(loops: list[Loop], thickness: float, solid: Any) -> PlateShape | str:
    from fixture3d.solid import kernel

    turned = [polygon.left_turning(loop) for loop in loops]
    outer = max(turned, key=polygon.signed_area)
    x, y = polygon.box(outer)[0]
    inner = [shifted(loop, -float(x), -float(y)) for loop in turned if loop is not outer]
    holes = tuple(hole for loop in inner if (hole := round_hole(loop)) is not None)
    openings = tuple(backwards(loop) for loop in inner if round_hole(loop) is None)
    plate = PlateShape(outline=_whole(shifted(outer, -float(x), -float(y))), thickness=thickness, holes=holes,
                       openings=openings)  # fmt: skip
    volume = kernel.volume(solid)
    if abs(plate.area * thickness - volume) > MAKING.flat * volume:
        return "its outline does not account for its volume"
    return plate


def read_wire(shape: Any) -> list[Loop]:
    """The closed loops in a shape that lies in z = 0; nothing where one has other curves than lines and arcs."""
    loops = [_loop(wire, None, frame.identity()) for wire in _wires(shape)]
    return [] if any(loop is None for loop in loops) else [loop for loop in loops if loop is not None]


def shifted(loop: Loop, x: float, y: float, turn: bool = False) -> Loop:
    """A loop moved by (x, y) mm, after a quarter turn counter-clockwise about (0, 0) where that is asked for."""

    def put(p: tuple[float, float]) -> tuple[float, float]:
        return (-p[1] + x, p[0] + y) if turn else (p[0] + x, p[1] + y)

    return tuple(Edge(put(e.start), put(e.end), None if e.centre is None else put(e.centre), e.left) for e in loop)


def round_hole(loop: Loop) -> polygon.Hole | None:
    """(x, y, diameter) of a loop that is one circle, in one piece or in several; None of any other."""
    first = loop[0]
    if first.centre is None:
        return None
    for e in loop:
        if e.centre is None or math.dist(e.centre, first.centre) > NUMERIC.merge:
            return None
        if abs(e.radius - first.radius) > NUMERIC.merge:
            return None
    if abs(abs(sum(e.sweep for e in loop)) - 2.0 * math.pi) > 1e-6:
        return None
    return (*first.centre, round(2.0 * first.radius, 9))


def _whole(loop: Loop) -> Loop:
    """An outline that is a circle in one piece."""
    hole = round_hole(loop)
    return loop if hole is None else backwards(polygon.ring(hole))


def _faces(solid: Any) -> Iterator[tuple[Any, str, Array, float]]:
    """Each face, its kind, the unit direction of its outward normal or axis, and how far along it a plane lies."""
    from OCP.BRepAdaptor import BRepAdaptor_Surface
    from OCP.GeomAbs import GeomAbs_Cylinder, GeomAbs_Plane
    from OCP.TopAbs import TopAbs_FACE, TopAbs_REVERSED
    from OCP.TopExp import TopExp_Explorer
    from OCP.TopoDS import TopoDS

    explorer = TopExp_Explorer(solid, TopAbs_FACE)
    while explorer.More():
        face = TopoDS.Face_s(explorer.Current())
        explorer.Next()
        surface = BRepAdaptor_Surface(face, False)
        if surface.GetType() == GeomAbs_Plane:
            plane = surface.Plane()
            normal = np.array(plane.Axis().Direction().Coord())
            if face.Orientation() == TopAbs_REVERSED:
                normal = -normal
            # Left-handed planes exist: their parameters turn the other way.
            normal = normal if plane.Direct() else -normal
            yield face, "plane", normal, float(normal @ np.array(plane.Location().Coord()))
        elif surface.GetType() == GeomAbs_Cylinder:
            yield face, "cylinder", np.array(surface.Cylinder().Axis().Direction().Coord()), 0.0
        else:
            yield face, "other", np.zeros(3), 0.0


def _directions(faces: list[tuple[Any, str, Array, float]]) -> list[Array]:
    """Normals of flat faces, one of each pair of opposite ones: the one that looks up, or to the back, or right."""
    out: list[Array] = []
    for _, kind, normal, _ in faces:
        if kind != "plane":
            continue
        last = normal[max(k for k in range(3) if abs(normal[k]) > 0.5)]
        way = normal if last > 0.0 else -normal
        if not any(abs(float(way @ known)) > _ALONG for known in out):
            out.append(way)
    return out


def _caps(faces: list[tuple[Any, str, Array, float]], way: Array) -> list[tuple[float, Any]] | None:
    """The two faces square to a direction, with how far along it they lie, low one first; None if it is no prism."""
    caps = []
    for face, kind, normal, offset in faces:
        along = float(normal @ way)
        if kind == "plane" and abs(along) > _ALONG:
            caps.append((offset * math.copysign(1.0, along), face))
        elif not (kind == "plane" and abs(along) < _SQUARE) and not (kind == "cylinder" and abs(along) > _ALONG):
            return None
    caps.sort(key=lambda cap: cap[0])
    return caps if len(caps) == 2 else None


def _wires(face: Any) -> Iterator[Any]:
    from OCP.TopAbs import TopAbs_WIRE
    from OCP.TopExp import TopExp_Explorer
    from OCP.TopoDS import TopoDS

    explorer = TopExp_Explorer(face, TopAbs_WIRE)
    while explorer.More():
        yield TopoDS.Wire_s(explorer.Current())
        explorer.Next()


def _loop(wire: Any, face: Any, to_plane: Array) -> Loop | None:
    """A wire as a closed loop in the plane; None where it has other curves than lines and circles."""
    from OCP.BRepTools import BRepTools_WireExplorer

    explorer = BRepTools_WireExplorer(wire) if face is None else BRepTools_WireExplorer(wire, face)
    out: list[Edge] = []
    while explorer.More():
        edge = _edge(explorer.Current(), to_plane)
        explorer.Next()
        if edge is None:
            return None
        out.append(edge)
    if not out:
        return None
    # Ends that are one corner are one point to the last digit.
    ends = [e.start for e in out[1:]] + [out[0].start]
    if any(math.dist(e.end, end) > 10.0 * NUMERIC.merge for e, end in zip(out, ends, strict=True)):
        return None
    return tuple(Edge(e.start, end, e.centre, e.left) for e, end in zip(out, ends, strict=True))


def _edge(edge: Any, to_plane: Array) -> Edge | None:
    from OCP.BRepAdaptor import BRepAdaptor_Curve
    from OCP.GeomAbs import GeomAbs_Circle, GeomAbs_Line
    from OCP.gp import gp_Pnt, gp_Vec
    from OCP.TopAbs import TopAbs_REVERSED

    curve = BRepAdaptor_Curve(edge)
    if curve.GetType() not in (GeomAbs_Line, GeomAbs_Circle):
        return None

    def put(point: Any) -> tuple[float, float]:
        x, y, _ = frame.points(to_plane, point.Coord())
        return round(float(x), 9) + 0.0, round(float(y), 9) + 0.0

    ends = [curve.FirstParameter(), curve.LastParameter()]
    backward = edge.Orientation() == TopAbs_REVERSED
    start, end = (put(curve.Value(t)) for t in (reversed(ends) if backward else ends))
    if curve.GetType() == GeomAbs_Line:
        return Edge(start, end)
    centre = put(curve.Circle().Location())
    point, tangent = gp_Pnt(), gp_Vec()
    curve.D1(ends[1] if backward else ends[0], point, tangent)
    heading = frame.directions(to_plane, tangent.Coord())[:2] * (-1.0 if backward else 1.0)
    out = np.subtract(start, centre)
    return Edge(start, end, centre, left=bool(out[0] * heading[1] - out[1] * heading[0] > 0.0))
