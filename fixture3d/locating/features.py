"""What of a solid can touch another one: its flats, rods, balls and rings, each with a frame of its own.

A sharp edge is a rod and a corner a ball of radius 0, so that one rule serves edges and rounds alike: the direction in
which they touch must point out of the material. What belongs to the shape alone is kept with it; a feature that stands
somewhere else is the same numbers in another frame.
"""

from __future__ import annotations

import dataclasses
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.solid.facets import SPHERE, TORUS, Facets, of_mesh
from fixture3d.solid.mesh import Mesh
from fixture3d.solid.relate import Placed
from fixture3d.solid.shape import Shape
from fixture3d.welding.surface import Surface, read

__all__ = [
    "Ball",
    "Feature",
    "Features",
    "Flat",
    "Ring",
    "Rod",
    "Standing",
    "cross",
    "features_of",
    "standing",
    "together",
]

_SAME_PLANE = 0.02  # mm; faces whose planes lie this near are one flat
_SAME_TURN = float(np.cos(np.deg2rad(0.03)))
_CORNER = 0.02  # mm; ends of edges this near are one corner
_CONVEX = float(np.sin(np.deg2rad(3.0)))
_BALL_FIT = 0.02  # mm; as far as the points of a mesh may lie off a sphere


@dataclass(frozen=True, eq=False)
class Flat:
    """A flat face, or several in one plane: ``frame`` has Z along the outward normal; triangles (m, 3, 2) in it."""

    frame: Array
    triangles: Array

    @cached_property
    def outline(self) -> Any:
        """The face as a shapely polygon or several."""
        import shapely

        return shapely.union_all(shapely.polygons(self.triangles))

    @cached_property
    def box(self) -> Array:
        """Least and greatest corner in the plane, (2, 2) mm."""
        flat = self.triangles.reshape(-1, 2)
        return np.stack([flat.min(axis=0), flat.max(axis=0)])

    @cached_property
    def area(self) -> float:
        """Square mm."""
        return float(self.outline.area)


@dataclass(frozen=True, eq=False)
class Rod:
    """A cylinder, or a straight sharp edge.

    Attributes:
        frame: Z along the axis.
        radius: mm, 0 for an edge.
        solid: the material is inside.
        triangles: (m, 3, 2) of the face rolled out: angle in radians, and mm along the axis; none for an edge.
        ends: mm along the axis.
        into: (k, 3) unit directions, in the frame, from an edge into its faces; none for a cylinder.
    """

    frame: Array
    radius: float
    solid: bool
    triangles: Array
    ends: tuple[float, float]
    into: Array

    def along(self, direction: Array, margin: float) -> list[tuple[float, float]]:
        """Where along the axis the surface faces ``direction`` ((3,), in the frame), and ``margin`` rad either side."""
        if not len(self.triangles):
            return [self.ends] if bool((self.into @ direction <= -np.sin(margin)).all()) else []
        # The outward direction of a bore's wall is towards its axis; what is asked for is the way to the wall.
        angle = float(np.arctan2(direction[1], direction[0]))
        if not self._reached(angle - margin) or not self._reached(angle + margin):
            return []
        return self._reached(angle)

    def _reached(self, angle: float) -> list[tuple[float, float]]:
        low, high, middle = self._turns
        here = angle + 2.0 * np.pi * np.round((middle - angle) / (2.0 * np.pi))
        spans = []
        for k in np.flatnonzero((low <= here + 1e-9) & (high >= here - 1e-9)).tolist():
            (p, s), (q, t), (r, u) = self.triangles[k].tolist()
            found = []
            for a, i, b, j in ((p, s, q, t), (q, t, r, u), (r, u, p, s)):
                a, b = a - here[k], b - here[k]
                if abs(a) <= 1e-9:
                    found.append(i)
                if a * b < 0.0:
                    found.append(i + (j - i) * a / (a - b))
            if found:
                spans.append((float(min(found)), float(max(found))))
        return _merged(spans)

    @cached_property
    def _turns(self) -> tuple[Array, Array, Array]:
        """Least, greatest and middle angle of each triangle."""
        turns = self.triangles[:, :, 0]
        return turns.min(axis=1), turns.max(axis=1), turns.mean(axis=1)

    @cached_property
    def sector(self) -> float:
        """How much of a full turn the face covers, degrees, to 5."""
        if not len(self.triangles):
            return 0.0
        return 5.0 * sum(bool(self._reached(np.deg2rad(2.5 + 5.0 * k))) for k in range(72))


@dataclass(frozen=True, eq=False)
class Ball:
    """A sphere's face, or a sharp corner: triangles (m, 3, 3) about the middle, or directions (k, 3) of its edges."""

    frame: Array
    radius: float
    triangles: Array
    into: Array

    def faces(self, direction: Array, margin: float) -> bool:
        """Whether the surface lies in ``direction`` ((3,) unit, in the frame) as seen from the middle."""
        if self.radius == 0.0:
            return bool((self.into @ direction <= -np.sin(margin)).all())
        a, b, c = (self.triangles[:, k] for k in range(3))
        inside = [np.einsum("ij,j->i", np.cross(p, q), direction) >= -1e-6 for p, q in ((a, b), (b, c), (c, a))]
        return bool((inside[0] & inside[1] & inside[2] & (a @ direction > 0.0)).any())


@dataclass(frozen=True, eq=False)
class Ring:
    """The face of a bend: Z of the frame is the torus' axis; ``turns`` (m, 3) angles of its triangles about it."""

    frame: Array
    major: float
    minor: float
    turns: Array

    def reached(self, angle: float) -> bool:
        """Whether the face comes round to ``angle``, rad about the axis."""
        here = angle + 2.0 * np.pi * np.round((self.turns.mean(axis=1) - angle) / (2.0 * np.pi))
        return bool(((self.turns.min(axis=1) <= here) & (self.turns.max(axis=1) >= here)).any())


Feature = Flat | Rod | Ball | Ring


@dataclass(frozen=True, eq=False)
class Features:
    """Everything of one body that can touch.

    Attributes:
        all: the features.
        points: (n, 3) mm, points that bound them, feature after feature.
        starts: (k,) where each feature's points start.
        corners: (m, 3, 3) mm, the surface's triangles.
        unread: (j, 3, 3) mm, triangles of faces of no known kind.
    """

    all: tuple[Feature, ...]
    points: Array
    starts: NDArray[np.int64]
    corners: Array
    unread: Array

    @cached_property
    def frames(self) -> Array:
        """feature_to_body, (k, 4, 4)."""
        return np.stack([one.frame for one in self.all])

    @cached_property
    def kinds(self) -> NDArray[np.int64]:
        """Flat 0, rod 1, ball 2, ring 3, (k,)."""
        return np.array([(Flat, Rod, Ball, Ring).index(type(one)) for one in self.all], dtype=np.int64)

    @cached_property
    def radii(self) -> Array:
        """Of rods and balls, less than 0 for a hollow rod; 0 for the rest, (k,) mm."""
        return np.array(
            [
                0.0
                if isinstance(one, Flat | Ring)
                else -one.radius
                if isinstance(one, Rod) and not one.solid
                else one.radius
                for one in self.all
            ]
        )

    @cached_property
    def hull(self) -> Array:
        """Corners of the convex hull, (h, 3) mm."""
        from scipy.spatial import ConvexHull

        points = np.unique(self.corners.reshape(-1, 3), axis=0)
        found: Array = points[ConvexHull(points).vertices]
        return found

    @cached_property
    def centroid(self) -> Array:
        """Centre of mass of the solid, (3,) mm."""
        shift = self.corners.reshape(-1, 3).mean(axis=0)
        a, b, c = (self.corners[:, k] - shift for k in range(3))
        volume = np.einsum("ij,ij->i", a, np.cross(b, c))
        found: Array = shift + ((a + b + c) * volume[:, None]).sum(axis=0) / (4.0 * volume.sum())
        return found


@dataclass(frozen=True, eq=False)
class Standing:
    """Features in their place: ``pose`` is body_to_world."""

    name: str
    features: Features
    pose: Array

    @cached_property
    def boxes(self) -> Array:
        """Least and greatest corner of each feature in the world, (k, 2, 3) mm."""
        points = frame.points(self.pose, self.features.points)
        starts = self.features.starts
        return np.stack([np.minimum.reduceat(points, starts), np.maximum.reduceat(points, starts)], axis=1)

    @cached_property
    def box(self) -> Array:
        """Of the whole body, (2, 3) mm."""
        return np.stack([self.boxes[:, 0].min(axis=0), self.boxes[:, 1].max(axis=0)])

    @cached_property
    def frames(self) -> Array:
        """feature_to_world, (k, 4, 4)."""
        found: Array = self.pose @ self.features.frames
        return found


_KEPT: WeakKeyDictionary[Shape, Features] = WeakKeyDictionary()


def standing(name: str, body: object, pose: Array | None = None) -> Standing:
    """A body in its place: a `Placed`, or anything that `features_of` takes. Raises as `features_of` does."""
    if isinstance(body, Placed):
        return Standing(name, features_of(body.shape), body.pose if pose is None else pose)
    return Standing(name, features_of(body), frame.identity() if pose is None else pose)


def together(name: str, bodies: Sequence[Standing]) -> Standing:
    """Bodies that are one, such as pieces tacked to each other: what each shows to others, in the world's frame.

    Raises:
        ValueError: there is none.
    """
    if not bodies:
        raise ValueError("expected one body at least")
    everything = [
        dataclasses.replace(one, frame=body.frames[k]) for body in bodies for k, one in enumerate(body.features.all)
    ]
    shifts = np.cumsum([0, *(len(body.features.points) for body in bodies)])
    starts = np.concatenate([body.features.starts + shift for body, shift in zip(bodies, shifts, strict=False)])

    def there(body: Standing, points: Array) -> Array:
        return frame.points(body.pose, points.reshape(-1, 3)).reshape(points.shape)

    merged = Features(
        tuple(everything),
        np.concatenate([there(body, body.features.points) for body in bodies]),
        starts,
        np.concatenate([there(body, body.features.corners) for body in bodies]),
        np.concatenate([there(body, body.features.unread) for body in bodies]),
    )
    return Standing(name, merged, frame.identity())


def features_of(body: object) -> Features:
    """The features of a cadquery shape, ``TopoDS_Shape``, mesh or `Shape`; those of a `Shape` are made once.

    Raises:
        BadSolid: it is not one closed solid.
    """
    if isinstance(body, Features):
        return body
    if isinstance(body, Mesh):
        return _made(of_mesh(body))
    shape = body if isinstance(body, Shape) else Shape.of(body)
    found = _KEPT.get(shape)
    if found is None:
        found = _made(shape.facets)
        _KEPT[shape] = found
    return found


def _made(facets: Facets) -> Features:
    surface = read(facets)
    found: list[tuple[Feature, Array]] = []
    found += _flats(surface)
    found += _rods(surface)
    known, unread = _others(facets, surface)
    found += known
    found += _edges(surface)
    found += _corners(surface)
    points = [points for _, points in found]
    starts = np.concatenate([[0], np.cumsum([len(p) for p in points])[:-1]]).astype(np.int64)
    return Features(tuple(one for one, _ in found), np.concatenate(points), starts, surface.corners, unread)


def _flats(surface: Surface) -> list[tuple[Feature, Array]]:
    numbers = sorted(surface.flats)
    if not numbers:
        return []
    normals = np.stack([surface.flats[k][0] for k in numbers])
    offs = np.array([surface.flats[k][1] for k in numbers])
    label = _grouped((normals @ normals.T > _SAME_TURN) & (np.abs(offs[:, None] - offs) < _SAME_PLANE))
    made: list[tuple[Feature, Array]] = []
    for group in range(label.max() + 1):
        faces = [numbers[k] for k in np.flatnonzero(label == group)]
        corners = surface.corners[np.isin(surface.face, faces)]
        normal, off = surface.flats[faces[0]]
        origin = corners.reshape(-1, 3).mean(axis=0)
        origin = origin + normal * (off - float(origin @ normal))
        place = frame.along(origin, normal, _square_to(normal))
        local = frame.points(frame.inverse(place), corners.reshape(-1, 3))[:, :2].reshape(-1, 3, 2)
        made.append((Flat(place, local), corners.reshape(-1, 3)))
    return made


def _rods(surface: Surface) -> list[tuple[Feature, Array]]:
    numbers = sorted(surface.rounds)
    if not numbers:
        return []
    rounds = [surface.rounds[k] for k in numbers]
    points, axes = np.stack([r.point for r in rounds]), np.stack([r.axis for r in rounds])
    step = points[None] - points[:, None]
    beside = np.linalg.norm(step - np.einsum("ijk,ik->ij", step, axes)[:, :, None] * axes[:, None], axis=2)
    radii, solid = np.array([r.radius for r in rounds]), np.array([r.solid for r in rounds])
    same = (np.abs(axes @ axes.T) > _SAME_TURN) & (beside < _SAME_PLANE) & (solid[:, None] == solid)
    label = _grouped(same & (np.abs(radii[:, None] - radii) < _SAME_PLANE))
    made: list[tuple[Feature, Array]] = []
    for group in range(label.max() + 1):
        mine = np.flatnonzero(label == group)
        one = rounds[mine[0]]
        corners = surface.corners[np.isin(surface.face, [numbers[k] for k in mine])].reshape(-1, 3)
        place = frame.along(one.point, one.axis, _square_to(one.axis))
        local = frame.points(frame.inverse(place), corners)
        turn = np.arctan2(local[:, 1], local[:, 0]).reshape(-1, 3)
        turn = turn - 2.0 * np.pi * np.round((turn - turn[:, :1]) / (2.0 * np.pi))
        rolled = np.stack([turn, local[:, 2].reshape(-1, 3)], axis=2)
        ends = (float(local[:, 2].min()), float(local[:, 2].max()))
        made.append((Rod(place, one.radius, one.solid, rolled, ends, np.zeros((0, 3))), corners))
    return made


def _others(facets: Facets, surface: Surface) -> tuple[list[tuple[Feature, Array]], Array]:
    """Balls and rings, and the triangles of what is neither (nor flat nor round)."""
    made: list[tuple[Feature, Array]] = []
    unread: list[Array] = []
    for number in range(int(surface.face.max()) + 1):
        if number in surface.flats or number in surface.rounds:
            continue
        mine = surface.face == number
        corners = surface.corners[mine]
        row = facets.surfaces[number] if number < len(facets.surfaces) else (0.0, 9.0)
        if int(row[1]) == TORUS:
            place = frame.along(row[2:5], row[5:8], _square_to(np.array(row[5:8])))
            local = frame.points(frame.inverse(place), corners.reshape(-1, 3))
            turn = np.arctan2(local[:, 1], local[:, 0]).reshape(-1, 3)
            turn = turn - 2.0 * np.pi * np.round((turn - turn[:, :1]) / (2.0 * np.pi))
            made.append((Ring(place, float(row[8]), float(row[9]), turn), corners.reshape(-1, 3)))
            continue
        ball = (np.array(row[2:5]), float(row[5])) if int(row[1]) == SPHERE else _ball(corners.reshape(-1, 3))
        # Only balls, not hollows: a hollow's normals look at its middle.
        if ball is None:
            unread.append(corners)
        elif float(np.einsum("ij,ij->", surface.normals[mine], corners.mean(axis=1) - ball[0])) > 0.0:
            shape = Ball(frame.translation(ball[0]), ball[1], corners - ball[0], np.zeros((0, 3)))
            made.append((shape, corners.reshape(-1, 3)))
    return made, np.concatenate(unread) if unread else np.zeros((0, 3, 3))


def _ball(points: Array) -> tuple[Array, float] | None:
    """The sphere through points (k, 3), or None: least squares of its equation."""
    shift = points.mean(axis=0)
    local = points - shift
    system = np.column_stack([2.0 * local, np.ones(len(local))])
    solved = np.linalg.lstsq(system, (local**2).sum(axis=1), rcond=None)[0]
    square = float(solved[3] + solved[:3] @ solved[:3])
    if not 0.0 < square < 1e6:
        return None
    radius = float(np.sqrt(square))
    if float(np.abs(np.linalg.norm(local - solved[:3], axis=1) - radius).max()) > _BALL_FIT:
        return None
    return solved[:3] + shift, radius


def _edges(surface: Surface) -> list[tuple[Feature, Array]]:
    """The straight sharp edges that stand out."""
    chains = [chain for chain in surface.chains if chain.straight]
    if not chains:
        return []
    place = np.zeros((int(surface.named.max()) + 1, 3))
    place[surface.named.reshape(-1)] = surface.corners.reshape(-1, 3)
    number = {point.tobytes(): k for k, point in enumerate(place)}
    first = np.array([[number[p.tobytes()] for p in chain.points[:2]] for chain in chains])
    faces = np.array([chain.faces for chain in chains])
    ends = np.stack([[chain.points[0], chain.points[-1]] for chain in chains])
    axes = ends[:, 1] - ends[:, 0]
    lengths = np.linalg.norm(axes, axis=1)
    axes = axes / lengths[:, None]
    sides, normals, there = [], [], np.ones(len(chains), dtype=bool)
    beside = _Beside(surface)
    for k in (0, 1):
        triangle, third = beside.find(faces[:, k], first)
        there &= triangle >= 0
        off = place[third] - ends[:, 0]
        off = off - axes * np.einsum("ij,ij->i", off, axes)[:, None]
        size = np.linalg.norm(off, axis=1)
        there &= size > _CORNER
        off = off / np.maximum(size, 1e-12)[:, None]
        normal = np.cross(off, axes)
        sides.append(off)
        normals.append(normal * np.sign(np.einsum("ij,ij->i", normal, surface.normals[triangle]))[:, None])
    # At an edge that stands out each face goes down behind the other one.
    there &= np.einsum("ij,ij->i", sides[0], normals[1]) <= -_CONVEX
    made: list[tuple[Feature, Array]] = []
    for k in np.flatnonzero(there).tolist():
        z, x = axes[k], sides[0][k]
        placed = frame.from_axes(ends[k].mean(axis=0), x, cross(z, x), z)
        half = float(lengths[k]) / 2.0
        into = np.stack([sides[0][k], sides[1][k]]) @ placed[:3, :3]
        made.append((Rod(placed, 0.0, True, np.zeros((0, 3, 2)), (-half, half), into), ends[k]))
    return made


class _Beside:
    """Finds the triangle of a face that has a given edge."""

    def __init__(self, surface: Surface) -> None:
        named = surface.named
        self._size = int(named.max()) + 1
        pairs = np.concatenate([named[:, [0, 1]], named[:, [1, 2]], named[:, [2, 0]]])
        self._third = np.concatenate([named[:, 2], named[:, 0], named[:, 1]])
        self._owner = np.tile(np.arange(len(named)), 3)
        keys = self._keys(np.tile(surface.face, 3), pairs)
        self._order = np.argsort(keys, kind="stable")
        self._sorted = keys[self._order]

    def _keys(self, face: NDArray[np.int64], pairs: NDArray[np.int64]) -> NDArray[np.int64]:
        low, high = pairs.min(axis=1), pairs.max(axis=1)
        found: NDArray[np.int64] = (face * self._size + low) * self._size + high
        return found

    def find(self, faces: NDArray[np.int64], pairs: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """The triangle (k,) of each face at each pair of corners (k, 2), -1 for none, and its third corner (k,)."""
        keys = self._keys(faces, pairs)
        at = np.minimum(np.searchsorted(self._sorted, keys), len(self._sorted) - 1)
        row = self._order[at]
        found = self._sorted[at] == keys
        return np.where(found, self._owner[row], -1), self._third[row]


def _corners(surface: Surface) -> list[tuple[Feature, Array]]:
    """The sharp corners: places where edges end, with the directions in which those leave."""
    ends: dict[tuple[int, ...], list[tuple[Array, Array]]] = defaultdict(list)
    for chain in surface.chains:
        if chain.closed:
            continue
        for at, following in ((chain.points[0], chain.points[1]), (chain.points[-1], chain.points[-2])):
            step = following - at
            size = float(np.linalg.norm(step))
            if size > 0.0:
                ends[tuple(np.round(at / _CORNER).astype(int).tolist())].append((at, step / size))
    made: list[tuple[Feature, Array]] = []
    for group in ends.values():
        if len(group) >= 3:
            into = np.stack([way for _, way in group])
            made.append((Ball(frame.translation(group[0][0]), 0.0, np.zeros((0, 3, 3)), into), group[0][0][None]))
    return made


def cross(a: Array, b: Array) -> Array:
    """Of two vectors (3,): ``numpy.cross`` takes ten times as long for one pair."""
    (p, q, r), (x, y, z) = a.tolist(), b.tolist()
    return np.array([q * z - r * y, r * x - p * z, p * y - q * x])


def _grouped(same: NDArray[np.bool_]) -> NDArray[np.int64]:
    from scipy.sparse.csgraph import connected_components

    found: NDArray[np.int64] = connected_components(same, directed=False)[1].astype(np.int64)
    return found


def _square_to(direction: Array) -> Array:
    """A direction that is not parallel to the given one: the coordinate axis that is most square to it."""
    out = np.zeros(3)
    out[int(np.argmin(np.abs(direction)))] = 1.0
    return out


def _merged(spans: list[tuple[float, float]], within: float = 0.05) -> list[tuple[float, float]]:
    """Spans in order, those that meet as one."""
    out: list[tuple[float, float]] = []
    for low, high in sorted(spans):
        if out and low <= out[-1][1] + within:
            out[-1] = (out[-1][0], max(out[-1][1], high))
        else:
            out.append((low, high))
    return out
