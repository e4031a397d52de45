"""Which faces of a solid a print makes too tight: insides of holes, hollows and slots, outsides of pins."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from fixture3d.frame import Array
from fixture3d.tolerance import DRAWING

_SMOOTH = 1e-4  # cosine less than 1; two faces that meet at a smaller angle run into each other


@dataclass(frozen=True, kw_only=True)
class Step:
    """How a face moves when its diameter, or the width between it and its fellow, changes.

    Attributes:
        face: of the solid.
        share: of half the change, along the normal.
        curl: 1/mm; what a layer of 1 mm off the face is larger by than the face, as a share.
        bore: of a round hole or half of one its radius, where it begins and ends along its axis, and the origin and
            direction of that.
    """

    face: Any
    share: float = 1.0
    curl: float = 0.0
    bore: tuple[float, float, float, Array, Array] | None = None


@dataclass(frozen=True, kw_only=True)
class Moved:
    """Faces that are moved into the material.

    Attributes:
        inside: of holes, hollows, slots and seats.
        outside: of pins.
        holes, hollows, slots, seats, pins: how many of each, for the man who reads it.
        fillets: rounded inside edges, which stay.
        inclined: flats square to no axis but broken edges, which stay.
        other: curved faces that are neither cylinder nor cone, which stay.
    """

    inside: tuple[Step, ...]
    outside: tuple[Step, ...]
    holes: int
    hollows: int
    slots: int
    seats: int
    pins: int
    fillets: int
    inclined: int
    other: int


@dataclass
class _Curved:
    """A cylinder or cone face."""

    face: Any
    line: tuple[float, ...]  # of its axis: direction and nearest point to the origin, rounded
    radius: float  # greatest
    least: float
    hollow: bool
    sweep: float  # degrees
    lean: float  # half angle of a cone, degrees
    bore: tuple[float, float, float, Array, Array] | None
    smooth: list[Any] = field(default_factory=list)  # plane faces that run into it

    @property
    def full(self) -> bool:
        """Whether it goes all round."""
        return self.sweep > 360.0 - 1e-4

    @property
    def step(self) -> Step:
        """A radial move."""
        share = math.cos(math.radians(self.lean))
        curl = share / (self.radius + self.least)
        bore = self.bore if self.hollow and self.sweep > 170.0 and not self.lean else None
        return Step(face=self.face, share=share, curl=curl if self.hollow else -curl, bore=bore)


def moved_faces(solid: Any, pin: float = 0.0) -> Moved:
    """Sort the faces of a solid.

    Args:
        solid: ``cadquery`` solid.
        pin: mm on diameter that pins get thinner; one that is no thicker than that stays.

    A face is known by its surface, so holes may lie any way. Hollow cylinders and cones count, all round or in part,
    but for a rounded edge that runs into flats; such an edge between two parallel flats is the end of a slot, and its
    flats are the sides. So are parallel flats that face each other across a common wall that they meet in inside
    corners.
    """
    curved, flats, other = [], [], 0
    for face in solid.Faces():
        kind = face.geomType()
        if kind in ("CYLINDER", "CONE"):
            curved.append(_curved(face, kind))
        elif kind == "PLANE":
            flats.append(face)
        else:
            other += 1
    beside = _beside(solid)
    for one in curved:
        one.smooth = [] if one.full else _running_in(one.face, beside)
    ends = [c for c in curved if c.hollow and _opposed(c.smooth)]
    pairs = {frozenset(f.hashCode() for f in c.smooth) for c in ends}
    sides = {f.hashCode(): f for c in ends for f in c.smooth}
    walls = _walls(beside)
    for a, b in _channels(walls):
        pairs.add(frozenset((a.hashCode(), b.hashCode())))
        sides |= {a.hashCode(): a, b.hashCode(): b}
    inner = [c for c in curved if c.hollow and (c in ends or not c.smooth)]
    outer = [c for c in curved if not c.hollow and not c.smooth and c.least > pin]
    return Moved(
        inside=(*(c.step for c in inner), *(Step(face=f) for f in sides.values())),
        outside=tuple(c.step for c in outer),
        holes=len({(c.line, c.radius) for c in inner if c.full and not c.lean}),
        hollows=len({(c.line, c.radius) for c in inner if not c.full and not c.lean and c not in ends}),
        seats=sum(1 for c in inner if c.lean),
        slots=len(pairs),
        pins=len({(c.line, c.radius) for c in outer if not c.lean}),
        fillets=sum(1 for c in curved if c.hollow and c not in inner),
        inclined=sum(1 for f in flats if f.hashCode() not in sides and _inclined(f, walls)),
        other=other,
    )


def _inclined(flat: Any, walls: dict[int, list[Any]]) -> bool:
    """Whether it is square to no axis and no broken edge: it is larger than these, or stands in an inside corner."""
    if np.abs(np.array(flat.normalAt().toTuple())).max() > 1.0 - 1e-6:
        return False
    box = flat.BoundingBox()
    return flat.hashCode() in walls or sorted((box.xlen, box.ylen, box.zlen))[1] > DRAWING.edge_most + 1e-3


def _curved(face: Any, kind: str) -> _Curved:
    from OCP.BRepAdaptor import BRepAdaptor_Surface

    surface = BRepAdaptor_Surface(face.wrapped)
    body = surface.Cylinder() if kind == "CYLINDER" else surface.Cone()
    axis = body.Axis()
    at, way = _xyz(axis.Location()), _xyz(axis.Direction())
    way = way * np.sign(way[int(np.argmax(np.abs(way)))])
    u, v = (surface.FirstUParameter(), surface.LastUParameter()), (surface.FirstVParameter(), surface.LastVParameter())
    middle = surface.Value(sum(u) / 2.0, sum(v) / 2.0)
    out = _xyz(middle) - at
    out = out - way * (out @ way)
    radii = [float(np.linalg.norm(np.cross(_xyz(surface.Value(u[0], one)) - at, way))) for one in v]
    foot = at - way * (at @ way)
    return _Curved(
        face=face,
        line=tuple(np.round([*way, *foot], 5) + 0.0),
        radius=round(max(radii), 6),
        least=min(radii),
        hollow=bool(_normal(face, _xyz(middle)) @ out < 0.0),
        sweep=math.degrees(abs(u[1] - u[0])),
        lean=abs(math.degrees(body.SemiAngle())) if kind == "CONE" else 0.0,
        bore=(max(radii), *sorted(float((_xyz(surface.Value(u[0], one)) - foot) @ way) for one in v), foot, way),
    )


def _xyz(point: Any) -> Array:
    return np.array([point.X(), point.Y(), point.Z()])


def _normal(face: Any, at: Array) -> Array:
    import cadquery as cq

    return np.array(face.normalAt(cq.Vector(*(float(v) for v in at))).toTuple())


def _beside(solid: Any) -> dict[int, list[tuple[Any, Any]]]:
    """For each edge the faces that it bounds, each with the edge as it goes round that face."""
    out: dict[int, list[tuple[Any, Any]]] = {}
    for face in solid.Faces():
        for edge in face.Edges():
            out.setdefault(edge.hashCode(), []).append((face, edge))
    return out


def _running_in(face: Any, beside: dict[int, list[tuple[Any, Any]]]) -> list[Any]:
    """Plane faces that a curved face runs into without an edge."""
    out = []
    for edge in face.Edges():
        if edge.geomType() != "LINE":
            continue
        at = np.array(edge.positionAt(0.5).toTuple())
        for one, _ in beside[edge.hashCode()]:
            smooth = one.geomType() == "PLANE" and _normal(one, at) @ _normal(face, at) > 1.0 - _SMOOTH
            if smooth:
                out.append(one)
    return out


def _opposed(faces: list[Any]) -> bool:
    """Whether they are two parallel flats that look at each other."""
    if len(faces) != 2:
        return False
    one, two = (np.array(f.normalAt().toTuple()) for f in faces)
    return bool(one @ two < -1.0 + 1e-9)


def _walls(beside: dict[int, list[tuple[Any, Any]]]) -> dict[int, list[Any]]:
    """For each flat those that it meets in inside corners."""
    walls: dict[int, list[Any]] = {}
    for pair in beside.values():
        if len(pair) != 2 or any(face.geomType() != "PLANE" for face, _ in pair):
            continue
        (one, edge), (two, _) = pair
        if edge.geomType() == "LINE" and _inside_corner(one, edge, two):
            walls.setdefault(one.hashCode(), []).append(two)
            walls.setdefault(two.hashCode(), []).append(one)
    return walls


def _channels(walls: dict[int, list[Any]]) -> list[tuple[Any, Any]]:
    """Pairs of parallel flats that look at each other, and meet one third face in inside corners."""
    out = []
    for around in walls.values():
        for one, two in itertools.combinations({f.hashCode(): f for f in around}.values(), 2):
            apart = np.array((two.Center() - one.Center()).toTuple())
            if _opposed([one, two]) and apart @ np.array(one.normalAt().toTuple()) > 0.0:
                out.append((one, two))
    return out


def _inside_corner(one: Any, edge: Any, two: Any) -> bool:
    """Whether two plane faces meet in a hollow edge; ``edge`` as it goes round ``one``."""
    from fixture3d.workshop.solid_facts import way_round

    # Left of the edge as it goes round a face, seen from outside, lies that face.
    into = np.cross(np.array(one.normalAt().toTuple()), np.array(way_round(edge)))
    return bool(into @ np.array(two.normalAt().toTuple()) > 1e-6)
