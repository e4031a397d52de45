"""Features read from solids: the flats, rods, balls and rings of a shape, made once, and several bodies as one."""

from __future__ import annotations

import dataclasses
from collections import defaultdict
from collections.abc import Sequence
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.locating.features import Ball, Feature, Features, Flat, Ring, Rod, Standing, cross
from fixture3d.solid.facets import SPHERE, TORUS, Facets, of_mesh
from fixture3d.solid.mesh import Mesh
from fixture3d.solid.relate import Placed
from fixture3d.solid.shape import Shape
from fixture3d.welding.surface import Surface, read

__all__ = ["features_of", "standing", "together"]

_SAME_PLANE = 0.02  # mm; faces whose planes lie this near are one flat
_SAME_TURN = float(np.cos(np.deg2rad(0.03)))
_CORNER = 0.02  # mm; ends of edges this near are one corner
_CONVEX = float(np.sin(np.deg2rad(3.0)))
_BALL_FIT = 0.02  # mm; as far as the points of a mesh may lie off a sphere

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


def _grouped(same: NDArray[np.bool_]) -> NDArray[np.int64]:
    from scipy.sparse.csgraph import connected_components

    found: NDArray[np.int64] = connected_components(same, directed=False)[1].astype(np.int64)
    return found


def _square_to(direction: Array) -> Array:
    """A direction that is not parallel to the given one: the coordinate axis that is most square to it."""
    out = np.zeros(3)
    out[int(np.argmin(np.abs(direction)))] = 1.0
    return out
