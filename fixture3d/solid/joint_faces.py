"""The two faces that a weld lies between, read from the pieces: true surfaces where they are known. Lengths in mm.

A piece that comes from a solid knows its planes, cylinders, cones, spheres and tori by their numbers, so that at a
tube's side the normal is that of the round and not of a facet. Triangles only say how far each face reaches, and where
there is material.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fixture3d import frame
from fixture3d.frame import Array, unit
from fixture3d.solid.facets import OTHER, Facets
from fixture3d.solid.true_surface import nearest_on

_LEVEL: Final = float(np.sin(np.deg2rad(5.0)))  # a face whose normal leans more along the path only meets it
_ONE_FACE: Final = float(np.cos(np.deg2rad(25.0)))  # facets of a surface that is not described: one stretch of it
_TIED: Final = 0.02  # mm; such facets are as near as the nearest one
_SLACK: Final = 0.11  # mm; triangles of a bend leave it by so much: `facets.INSIDE` along it and round it
_STRAY: Final = 0.2  # mm; from the true surface to its triangles, and a little for faces that begin beside the path
_CLOSED: Final = 5.0  # degrees; faces that open less lie on each other
_NARROW: Final = 30.0  # degrees; the wire does not reach the root of a sharper corner (D1.1, from memory)


class MeshLike(Protocol):
    """A closed triangle mesh: vertices (n, 3) in world mm, faces (m, 3), outward when counter-clockwise."""

    vertices: Array
    faces: NDArray[np.int32]


@dataclass(frozen=True, kw_only=True)
class NotOnJoint:
    """Why the faces of a declared weld could not be read from the pieces.

    Attributes:
        piece: 0 or 1: the piece of ``joins`` that is at fault, or -1 when it is both together.
        part: which part of the path, from 0.
        gap: mm from that part of the path to the nearest surface of the piece.
        why: one sentence.
    """

    piece: int
    part: int
    gap: float
    why: str


@dataclass(frozen=True, eq=False)
class Leaf:
    """A face at a point of a path.

    Attributes:
        normal: (3,) outward unit normal of its surface there, made square to the path.
        signs: where it reaches: 1 along ``tangent x normal``, -1 against it, or both.
    """

    normal: Array
    signs: tuple[float, ...]


def sides_at_path(
    path: ArrayLike, first: MeshLike | Faces, second: MeshLike | Faces, tolerance: float = 0.5
) -> Array | NotOnJoint:
    """Outward normals (n - 1, 2, 3) of the faces of two pieces that a weld path lies between.

    For every part of the path the faces of each piece that contain its middle are gathered. Each face is a half
    plane from the weld, or a whole plane when the path runs across it; of a curved face, the plane that touches it
    there. Of the pairs, one face of each piece, between which no material of either lies, the one with the smaller
    opening is taken: in a T the corner that the path names, not the outside. One of less than 30 degrees, as behind the
    edge of a plate that stands on a tube off its middle, is taken only where there is no other.

    Args:
        path: (n, 3) world mm.
        first: the non-butting piece.
        second: the other one.
        tolerance: how far from a surface the path may lie, mm.

    Returns:
        The normals, or ``NotOnJoint`` with the figure by which the path misses a piece.
    """
    line = np.asarray(path, dtype=np.float64)
    pieces = [piece if isinstance(piece, Faces) else Faces.of_mesh(piece) for piece in (first, second)]
    out = np.zeros((len(line) - 1, 2, 3))
    for part in range(len(line) - 1):
        tangent = unit(line[part + 1] - line[part])
        middle = (line[part] + line[part + 1]) / 2.0
        leaves: list[list[Leaf]] = []
        for piece, faces in enumerate(pieces):
            gap, found = faces.around(middle, tangent, tolerance)
            if not found:
                return NotOnJoint(
                    piece=piece,
                    part=part,
                    gap=gap,
                    why=f"the path lies {gap:.2f} mm from the piece"
                    if gap > tolerance
                    else "the path touches the piece only across its edges, not along a face",
                )
            leaves.append(found)
        pair = _open_pair(leaves, pieces, middle, tangent, tolerance)
        if pair is None:
            return NotOnJoint(piece=-1, part=part, gap=0.0, why="no open space between the two pieces at the path")
        out[part] = pair
    return out


class Faces:
    """The faces of one piece in the world.

    Args:
        vertices: (n, 3) in the frame of the piece.
        faces: (m, 3), sorted by face.
        surfaces: a row for each face as in ``Facets``.
        pose: (4, 4) from the frame of the piece to the world.
    """

    def __init__(
        self,
        vertices: Array,
        faces: NDArray[np.int32],
        surfaces: Sequence[tuple[float, ...]],
        pose: Array,
    ) -> None:
        corners = frame.points(pose, np.asarray(vertices, dtype=np.float64))[np.asarray(faces)]
        label = np.repeat(np.arange(len(surfaces)), [int(row[0]) for row in surfaces])
        normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        size = np.linalg.norm(normal, axis=1)
        good = size > 1e-12
        self.corners = corners[good]
        self.normals = normal[good] / size[good][:, None]
        self._low, self._high = self.corners.min(axis=1), self.corners.max(axis=1)
        self._label = label[good]
        self._surfaces = surfaces
        self._pose, self._inverse = pose, frame.inverse(pose)

    @classmethod
    def of_mesh(cls, mesh: MeshLike) -> Faces:
        """Of a mesh in the world of which nothing else is known."""
        return cls(mesh.vertices, mesh.faces, [(float(len(mesh.faces)), OTHER)], frame.identity())

    @classmethod
    def of_facets(cls, facets: Facets, pose: Array) -> Faces:
        """Of a piece whose surfaces are known, (4, 4) ``pose`` to the world."""
        return cls(facets.vertices, facets.faces, facets.surfaces, pose)

    def around(self, point: Array, tangent: Array, tolerance: float) -> tuple[float, list[Leaf]]:
        """Distance (mm) to the surface, and the faces that lie along ``tangent`` at the point.

        A face reaches to a side when it is there still at twice the tolerance from the point.
        """
        reach = 2.0 * tolerance
        near = self._near(point, reach + tolerance)
        gaps = point_triangles(point, self.corners[near])
        least = np.inf
        found: list[Leaf] = []
        for label in np.unique(self._label[near[gaps <= tolerance + _SLACK]]):
            own = self._label[near] == label
            for gap, normal, foot, same in self._touching(int(label), point, near[own], gaps[own], tolerance):
                least = min(least, gap)
                if gap > tolerance or abs(float(normal @ tangent)) >= _LEVEL:
                    continue
                square = unit(normal - tangent * float(normal @ tangent))
                along = np.cross(tangent, square)
                ends = [(s, self._onto(int(label), foot + s * reach * along)) for s in (1.0, -1.0)]
                signs = tuple(s for s, end in ends if point_triangles(end, same).min(initial=np.inf) <= _STRAY)
                if signs:
                    found.append(Leaf(square, signs))
        if least > tolerance:
            return float(point_triangles(point, self.corners).min(initial=np.inf)), []
        return least, found

    def _near(self, point: Array, reach: float) -> NDArray[np.int64]:
        """Triangles whose boxes come within reach of a point."""
        return np.flatnonzero(((self._low <= point + reach) & (self._high >= point - reach)).all(axis=1))

    def _touching(
        self, label: int, point: Array, near: NDArray[np.int64], gaps: Array, tolerance: float
    ) -> Iterator[tuple[float, Array, Array, Array]]:
        """Where a face is nearest to a point: mm from it, outward normal (3,), foot (3,), triangles there (k, 3, 3).

        One of a surface that is described; of any other one for each smooth stretch of its triangles.
        """
        order = np.argsort(gaps, kind="stable")
        near, gaps = near[order], gaps[order]
        true = nearest_on(self._surfaces[label], frame.points(self._inverse, point))
        if true is not None:
            foot, normal = frame.points(self._pose, true[0]), frame.directions(self._pose, true[1])
            outward = 1.0 if float(normal @ self.normals[near[0]]) >= 0.0 else -1.0
            inside = point_triangles(foot, self.corners[near]).min() <= _SLACK
            gap = float(np.linalg.norm(point - foot) if inside else gaps[0])
            yield gap, outward * normal, foot, self.corners[near]
            return
        left = gaps <= tolerance
        while left.any():
            lead = int(np.flatnonzero(left)[0])
            facing = self.normals[near] @ self.normals[near[lead]]
            stretch = left & (facing > _ONE_FACE)
            tied = stretch & (gaps <= gaps[lead] + _TIED)
            flat = self.normals[near[lead]]
            foot = point - flat * float((point - self.corners[near[lead], 0]) @ flat)
            yield float(gaps[lead]), unit(self.normals[near[tied]].sum(axis=0)), foot, self.corners[near[facing > 0.5]]
            left &= ~stretch

    def _onto(self, label: int, point: Array) -> Array:
        """A point beside a face, on its surface if that is known."""
        true = nearest_on(self._surfaces[label], frame.points(self._inverse, point))
        return point if true is None else frame.points(self._pose, true[0])

    def holds_any(self, points: Array) -> bool:
        """Whether any of the points (k, 3) lies within the closed mesh: winding number by solid angles."""
        # One axis after the other: arrays (k, m), far quicker than vectors of three.
        a, b, c = ([self.corners[:, corner, k] - points[:, k, None] for k in range(3)] for corner in range(3))
        la, lb, lc = (np.sqrt(_dot(v, v)) for v in (a, b, c))
        above = _dot(a, _cross(b, c))
        below = la * lb * lc + _dot(a, b) * lc + _dot(b, c) * la + _dot(c, a) * lb
        turns = np.abs(2.0 * np.arctan2(above, below).sum(axis=1)) / (4.0 * np.pi)
        return bool((turns > 0.5).any())


def _open_pair(
    leaves: Sequence[Sequence[Leaf]],
    pieces: Sequence[Faces],
    middle: Array,
    tangent: Array,
    tolerance: float,
) -> Array | None:
    """The pair of faces with the smallest opening to weld in that holds no material, (2, 3), or None."""
    across = np.stack([leaves[0][0].normal, np.cross(tangent, leaves[0][0].normal)])
    pairs: list[tuple[tuple[bool, float], Array, Array]] = []
    for a in leaves[0]:
        for b in leaves[1]:
            for sa in a.signs:
                for sb in b.signs:
                    # Angles about the tangent of the two faces and of a's normal, which leads into the open.
                    da, db = sa * np.cross(tangent, a.normal), sb * np.cross(tangent, b.normal)
                    at = [float(np.arctan2(*(across @ v)[::-1])) for v in (da, db)]
                    sense = -sa
                    # Turning from face a towards its normal: +1 or -1 about the tangent.
                    opening = (sense * (at[1] - at[0])) % (2.0 * np.pi)
                    lands = float(np.cross(tangent * -sense, db) @ b.normal)
                    if opening < np.deg2rad(_CLOSED) or lands < 0.9:
                        continue
                    turns = at[0] + sense * opening * np.linspace(0.0, 1.0, 9)[1:-1]
                    rays = np.stack([np.cos(turns), np.sin(turns)], axis=1) @ across
                    rank = (opening < np.deg2rad(_NARROW), round(opening, 9))
                    pairs.append((rank, np.stack([a.normal, b.normal]), rays))
    probe = 4.0 * tolerance
    for _, normals, rays in sorted(pairs, key=lambda pair: pair[0]):
        if not any(piece.holds_any(middle + probe * rays) for piece in pieces):
            return normals
    return None


def point_triangles(point: Array, corners: Array) -> Array:
    """Distances (m,) from one point (3,) to triangles (m, 3, 3)."""
    a, b, c = ([corners[:, corner, k] - point[k] for k in range(3)] for corner in range(3))
    normal = _cross([p - q for p, q in zip(b, a, strict=True)], [p - q for p, q in zip(c, a, strict=True)])
    size = np.sqrt(_dot(normal, normal))
    over = size > 0.0
    height = np.abs(_dot(a, normal)) / np.where(over, size, 1.0)
    edges = np.full(len(corners), np.inf)
    for p, q in ((a, b), (b, c), (c, a)):
        d = [end - start for start, end in zip(p, q, strict=True)]
        over &= _dot(_cross(p, d), normal) >= 0.0
        long = _dot(d, d)
        at = np.clip(-_dot(p, d) / np.where(long > 0.0, long, 1.0), 0.0, 1.0)
        near = [start + along * at for start, along in zip(p, d, strict=True)]
        edges = np.minimum(edges, np.sqrt(_dot(near, near)))
    return np.where(over, np.minimum(height, edges), edges)


def _dot(a: Sequence[Array], b: Sequence[Array]) -> Array:
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def _cross(a: Sequence[Array], b: Sequence[Array]) -> list[Array]:
    return [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
