"""The figures by which a weldment is judged: overall lengths, sides and diagonals of frames, angles, flatness.

A figure is worked out from points of the pieces, so that it follows wherever the pieces move. Lengths mm, angles
degrees. Figures are found from the pieces' centre lines and corners, or made one by one with the functions below.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fixture3d.tolerance import ACCURACY, SHOP

__all__ = [
    "Figure",
    "FigureKind",
    "Work",
    "angle",
    "distance",
    "flatness",
    "key_figures",
    "outermost",
    "overall",
    "rectangle",
    "side_between",
    "underside",
]

Array = NDArray[np.float64]
FigureKind = Literal["length", "overall", "diagonal", "angle", "flatness"]
Spot = tuple[str, Array]
Place = tuple[str, ArrayLike]

_CROSSING = 0.17  # sine of 10 degrees: members nearer to parallel than this form no corner
_CLOSED = 0.5  # mm; within which corners of a frame are one
_PARALLEL = 0.05  # sine of 3 degrees: opposite sides of a frame


@dataclass(frozen=True, eq=False)
class Work:
    """One piece as it is drawn.

    Attributes:
        name: of the piece.
        start: (3,) mm, the first end of its centre line.
        end: (3,) mm, the other one; equal to ``start`` for a plate.
        corners: (n, 3) mm, corners of the piece; they decide overall lengths.
        half: mm, half of its section's larger side: two members are joined when their centre lines pass nearer than
            both halves.
    """

    name: str
    start: Array
    end: Array
    corners: Array
    half: float = 0.0

    @property
    def length(self) -> float:
        """Of its centre line, mm."""
        return float(np.linalg.norm(self.end - self.start))


@dataclass(frozen=True, eq=False)
class Figure:
    """One figure of a weldment.

    Attributes:
        name: in plain words.
        kind: how it is worked out.
        spots: points of pieces, (piece, (3,) mm) each: the two ends of a length or diagonal; ends of two lines for an
            angle; three and more for flatness; all outermost ones for an overall length, the low side first.
        size: mm by which a table of general tolerances is entered: the length itself, the shorter leg of an angle, the
            longer side of a flat area.
        axis: (3,) unit, of an overall length.
        low: how many of the spots are on the low side of an overall length.
    """

    name: str
    kind: FigureKind
    spots: tuple[Spot, ...]
    size: float
    axis: Array
    low: int = 0

    @property
    def pieces(self) -> tuple[str, ...]:
        """The pieces that it is about, in order."""
        return tuple(dict.fromkeys(name for name, _ in self.spots))

    @property
    def unit(self) -> Literal["mm", "degrees"]:
        """Of its value."""
        return "degrees" if self.kind == "angle" else "mm"

    @property
    def points(self) -> Array:
        """Its spots as drawn, (n, 3)."""
        return np.array([at for _, at in self.spots])

    @property
    def nominal(self) -> float:
        """Its value as drawn."""
        return float(self.value(self.points[None])[0])

    def heights(self, shifts: Array) -> Array:
        """By how much its spots go along the way in which it is measured, (k, n), for small shifts (k, n, 3).

        Of a flatness without what a plane follows, so that pairs of them make it: linear, and exact to first order.
        """
        if self.kind == "overall":
            along: Array = shifts @ self.axis
            return along
        middle = self.points - self.points.mean(axis=0)
        _, _, ways = np.linalg.svd(middle, full_matrices=False)
        plane = np.hstack([middle @ ways[:2].T, np.ones((len(middle), 1))])
        rise = shifts @ ways[-1]
        result: Array = rise - rise @ (plane @ np.linalg.pinv(plane)).T
        return result

    def value(self, points: Array) -> Array:
        """Its value (k,) with its spots at ``points``, (k, n, 3)."""
        if self.kind == "overall":
            along = points @ self.axis
            result: Array = along[:, self.low :].max(axis=1) - along[:, : self.low].min(axis=1)
            return result
        if self.kind == "angle":
            return _angles(points[:, 1] - points[:, 0], points[:, 3] - points[:, 2])
        if self.kind == "flatness":
            return _out_of_plane(points)
        between: Array = np.linalg.norm(points[:, 1] - points[:, 0], axis=1)
        return between


def distance(name: str, a: Place, b: Place, kind: Literal["length", "diagonal"] = "length") -> Figure:
    """The distance of two spots."""
    spots = (_spot(a), _spot(b))
    return Figure(name, kind, spots, float(np.linalg.norm(spots[1][1] - spots[0][1])), np.zeros(3))


def angle(name: str, first: Work, second: Work) -> Figure:
    """The angle between the centre lines of two members, each taken away from where they are nearest: 0 to 180."""
    corner = _nearest_on(first, second) if _cross(first, second) else (first.start + second.start) / 2.0
    ends: list[Spot] = []
    for one in (first, second):
        near, far = one.start, one.end
        if float(np.linalg.norm(far - corner)) < float(np.linalg.norm(near - corner)):
            near, far = far, near
        ends += [(one.name, near), (one.name, far)]
    return Figure(name, "angle", tuple(ends), min(first.length, second.length), np.zeros(3))


def flatness(name: str, spots: Sequence[Place], side: float) -> Figure:
    """How far spots lie apart across the plane of least squares through them.

    Args:
        name: of the figure.
        spots: at least four.
        side: mm, the longer side of the area.
    """
    return Figure(name, "flatness", tuple(_spot(s) for s in spots), side, np.zeros(3))


def overall(name: str, pieces: Sequence[Work], axis: ArrayLike) -> Figure:
    """The overall length of a weldment along a direction, from all corners that lie outermost."""
    way = np.asarray(axis, dtype=np.float64) / np.linalg.norm(axis)
    all_spots = [(piece.name, corner) for piece in pieces for corner in piece.corners]
    along = np.array([at @ way for _, at in all_spots])
    low = outermost(all_spots, -way)
    high = outermost(all_spots, way)
    return Figure(name, "overall", (*low, *high), float(np.ptp(along)), way, len(low))


def outermost(spots: Sequence[Spot], way: Array, within: float = ACCURACY.alike) -> list[Spot]:
    """The spots that lie furthest along a direction, of each piece no two that are as good as one."""
    along = np.array([at @ way for _, at in spots])
    out: list[Spot] = []
    for k in np.argsort(-np.round(along, 6), kind="stable"):
        name, at = spots[int(k)]
        if along[k] < along.max() - within:
            break
        if not any(name == other and float(np.linalg.norm(at - there)) < ACCURACY.thin for other, there in out):
            out.append((name, at))
    return out


def underside(pieces: Sequence[Work], up: ArrayLike) -> Figure | None:
    """How flat the corners are that lie lowest, as the finished work will stand on a level floor.

    Args:
        pieces: all of the weldment.
        up: (3,) the way up.

    Returns:
        None where fewer than four corners lie there, or all of them on one line.
    """
    way = np.asarray(up, dtype=np.float64) / np.linalg.norm(up)
    spots = outermost([(piece.name, corner) for piece in pieces for corner in piece.corners], -way, SHOP.contact)
    if len(spots) < 4:
        return None
    points = np.array([at for _, at in spots])
    flat = points - points.mean(axis=0)
    flat -= np.outer(flat @ way, way)
    _, spans, ways = np.linalg.svd(flat, full_matrices=False)
    if spans[1] < _PARALLEL * spans[0]:
        return None
    return flatness("flatness of the underside", spots, float(np.ptp(flat @ ways[0])))


def key_figures(pieces: Sequence[Work], axes: ArrayLike | None = None) -> list[Figure]:
    """The figures of a weldment, found by themselves.

    Overall lengths along three axes; of the largest frame of four members in each plane its sides, diagonals and
    flatness; the angle of every corner and tee.

    Args:
        pieces: all of the weldment.
        axes: (3, 3) rows; the world's when not given.
    """
    basis = np.eye(3) if axes is None else np.asarray(axes, dtype=np.float64)
    if not pieces:
        return []
    out = [overall(f"overall {letter}", pieces, way) for letter, way in zip("XYZ", basis, strict=True)]
    members = [piece for piece in pieces if piece.length > 0.0]
    joints = _joints(members)
    for loop in _frames(members, joints):
        out += _of_frame(members, joints, loop)
    for i, j in joints:
        out.append(angle(f"angle of {members[i].name} and {members[j].name}", members[i], members[j]))
    return out


def rectangle(first: Figure, second: Figure) -> Array | None:
    """The corners, in order round it, of the rectangle that has two drawn diagonals, (4, 3) mm.

    The first diagonal runs from the first corner to the third. None where they are not those of a rectangle: their
    middles or their lengths differ.
    """
    a, b = first.points, second.points
    apart = np.linalg.norm(a.mean(axis=0) - b.mean(axis=0)) > _CLOSED or abs(first.nominal - second.nominal) > _CLOSED
    if len(a) != 2 or len(b) != 2 or apart or np.linalg.norm(np.cross(a[1] - a[0], b[1] - b[0])) < _CLOSED:
        return None
    return np.array([a[0], b[0], a[1], b[1]])


def side_between(figures: Sequence[Figure], start: Array, end: Array) -> Figure | None:
    """The length among some figures that runs between two corners; None where none does."""
    ends = np.array([start, end])
    for one in figures:
        at = one.points
        if len(at) == 2 and min(np.abs(at - ends).max(), np.abs(at[::-1] - ends).max()) <= _CLOSED:
            return one
    return None


def _spot(place: Place) -> Spot:
    return place[0], np.asarray(place[1], dtype=np.float64)


def _cross(a: Work, b: Work) -> bool:
    u, v = (a.end - a.start) / a.length, (b.end - b.start) / b.length
    return float(np.linalg.norm(np.cross(u, v))) > _CROSSING


def _closest(a: Work, b: Work) -> tuple[Array, Array, float, float]:
    """The points of two centre lines, drawn on without end, that are nearest, and how far along each they are."""
    u, v = (a.end - a.start) / a.length, (b.end - b.start) / b.length
    between = b.start - a.start
    c = float(u @ v)
    s, t = np.linalg.solve([[1.0, -c], [c, -1.0]], [u @ between, v @ between])
    return a.start + s * u, b.start + t * v, float(s), float(t)


def _nearest_on(a: Work, b: Work) -> Array:
    on_a, on_b, _, _ = _closest(a, b)
    result: Array = (on_a + on_b) / 2.0
    return result


def _joints(members: Sequence[Work]) -> dict[tuple[int, int], Array]:
    """Where two members meet, by their indices: the point between their centre lines."""
    out = {}
    for (i, a), (j, b) in itertools.combinations(enumerate(members), 2):
        if not _cross(a, b):
            continue
        on_a, on_b, s, t = _closest(a, b)
        room = ACCURACY.alike
        near = float(np.linalg.norm(on_a - on_b)) <= a.half + b.half + room
        if near and -b.half - room <= s <= a.length + b.half + room and -a.half - room <= t <= b.length + a.half + room:
            out[i, j] = (on_a + on_b) / 2.0
    return out


def _frames(members: Sequence[Work], joints: dict[tuple[int, int], Array]) -> list[tuple[int, int, int, int]]:
    """Members a, b, c, d that close a frame in this order, the largest one of each plane."""
    beside: dict[int, set[int]] = {i: set() for i in range(len(members))}
    for i, j in joints:
        beside[i].add(j)
        beside[j].add(i)
    found: list[tuple[float, Array, float, tuple[int, int, int, int]]] = []
    for a, c in itertools.combinations(range(len(members)), 2):
        if not _parallel(members[a], members[c]):
            continue
        for b, d in itertools.combinations(sorted(beside[a] & beside[c]), 2):
            if a < b and _parallel(members[b], members[d]):
                corners = _corners(joints, (a, b, c, d))
                area = np.cross(corners[2] - corners[0], corners[3] - corners[1]) / 2.0
                size = float(np.linalg.norm(area))
                if size > 0.0:
                    found.append((size, area / size, float(corners.mean(axis=0) @ area / size), (a, b, c, d)))
    return _largest_of_each_plane(found)


def _largest_of_each_plane(
    found: list[tuple[float, Array, float, tuple[int, int, int, int]]],
) -> list[tuple[int, int, int, int]]:
    out: list[tuple[Array, float, tuple[int, int, int, int]]] = []
    for _, normal, height, loop in sorted(found, key=lambda f: (-round(f[0], 3), f[3])):
        one_plane = False
        for other, at, _ in out:
            sign = 1.0 if float(normal @ other) > 0.0 else -1.0
            level = float(np.linalg.norm(np.cross(normal, other))) < _PARALLEL
            one_plane = one_plane or (level and abs(sign * height - at) <= ACCURACY.alike)
        if not one_plane:
            out.append((normal, height, loop))
    return [loop for _, _, loop in out]


def _parallel(a: Work, b: Work) -> bool:
    return float(np.linalg.norm(np.cross(a.end - a.start, b.end - b.start))) < _PARALLEL * a.length * b.length


def _corners(joints: dict[tuple[int, int], Array], loop: tuple[int, int, int, int]) -> Array:
    """The corners d-a, a-b, b-c, c-d of a frame, (4, 3)."""
    pairs = zip((loop[-1], *loop[:-1]), loop, strict=True)
    return np.array([joints[min(pair), max(pair)] for pair in pairs])


def _of_frame(
    members: Sequence[Work], joints: dict[tuple[int, int], Array], loop: tuple[int, int, int, int]
) -> list[Figure]:
    """Sides, diagonals and flatness of a frame; each corner is a point of the member that comes first in the list."""
    corners = _corners(joints, loop)
    owners = [min(pair) for pair in zip((loop[-1], *loop[:-1]), loop, strict=True)]
    spots: list[Place] = [(members[owner].name, at) for owner, at in zip(owners, corners, strict=True)]
    names = [members[i].name for i in loop]
    out = [distance(f"side at {name}", spots[k], spots[(k + 1) % 4]) for k, name in enumerate(names)]
    for k in (0, 1):
        corner = " and ".join(sorted((names[k - 1], names[k]), key=names.index))
        out.append(distance(f"diagonal from {corner}", spots[k], spots[k + 2], "diagonal"))
    longest = max(f.size for f in out[:4])
    return [*out, flatness(f"flatness of {', '.join(names)}", spots, longest)]


def _angles(a: Array, b: Array) -> Array:
    """Between directions (k, 3), degrees, exact for small and for right ones."""
    across = np.linalg.norm(np.cross(a, b), axis=1)
    result: Array = np.degrees(np.arctan2(across, np.einsum("ij,ij->i", a, b)))
    return result


def _out_of_plane(points: Array) -> Array:
    """Range of the distances from the plane of least squares, (k,)."""
    middle = points - points.mean(axis=1, keepdims=True)
    _, _, ways = np.linalg.svd(middle, full_matrices=False)
    heights = np.einsum("knj,kj->kn", middle, ways[:, -1])
    result: Array = np.ptp(heights, axis=1)
    return result
