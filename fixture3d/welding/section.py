r"""What lies round a point of an edge, in the plane square to the edge: both materials, and the open spaces between.

::

            | own piece
            |              A circle round the root crosses both surfaces. Where it lies in neither material, and one
         ___|  )           end of that arc is on the own piece and the other on the other one, is a place for a weld;
     ---------- )----      the directions in which the two faces leave the root give its opening and its middle.
     other    \_)

The circle is small, so that it stays within a wall, but larger than a step between faces that should be flush and
than the root gap.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fixture3d.frame import Array
from fixture3d.tolerance import JOINTS
from fixture3d.welding.surface import Ints, Surface

_BLOCK = 2_000_000  # pairs of a point and a triangle that are looked at in one go
RETRY = (1.0, 1.09, 0.93)  # of the circle: another one is tried where it runs through a corner


@dataclass(frozen=True, eq=False)
class Cut:
    """Where planes cut triangles: which plane, which triangle, and both ends (k, 2) in the plane's own axes."""

    plane: Ints
    triangle: Ints
    a: Array
    b: Array


@dataclass(frozen=True, slots=True, eq=False)
class Opening:
    """The open space between the two pieces at one point of an edge.

    Attributes:
        gap: mm from the edge to the other piece.
        opening: degrees between the two faces.
        normals: outward normals of the own and the other face, (2, 3).
        along: unit directions in which the two faces leave the root, (2, 3).
        bisector: from the root into the open space.
        faces: the own face and the other face.
        backs: the faces at the far ends of the two materials as they lie on the circle.
        spans: degrees of the circle that the two materials take.
        side: on which side of the edge it lies, seen along it: 0 when the own material comes before it,
            counter-clockwise, else 1.
    """

    gap: float
    opening: float
    normals: Array
    along: Array
    bisector: Array
    faces: tuple[int, int]
    backs: tuple[int, int]
    spans: tuple[float, float]
    side: int


def axes(tangents: Array) -> tuple[Array, Array]:
    """Two unit directions (n, 3) that span the planes square to ``tangents`` (n, 3); u x w = t."""
    least = np.eye(3)[np.abs(tangents).argmin(axis=1)]
    u = least - tangents * np.einsum("ij,ij->i", least, tangents)[:, None]
    u = u / np.linalg.norm(u, axis=1)[:, None]
    return u, cross(tangents, u)


def cross(a: Array, b: Array) -> Array:
    """Cross products of rows (n, 3); numpy's own takes three times as long."""
    out = np.zeros(a.shape)
    out[:, 0] = a[:, 1] * b[:, 2] - a[:, 2] * b[:, 1]
    out[:, 1] = a[:, 2] * b[:, 0] - a[:, 0] * b[:, 2]
    out[:, 2] = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    return out


def cut(surface: Surface, chosen: Ints, points: Array, tangents: Array, reach: float | None) -> Cut:
    """The lines in which planes cut some triangles of a surface, within ``reach`` of their points.

    A corner that lies in the plane counts as above it, so that the lines always close.
    """
    low, high = surface.boxes
    low, high = low[chosen], high[chosen]
    rows: list[Ints] = []
    columns: list[Ints] = []
    if reach is None:
        rows.append(np.repeat(np.arange(len(points)), len(chosen)))
        columns.append(np.tile(np.arange(len(chosen)), len(points)))
    else:
        size = max(1, _BLOCK // max(1, len(chosen)))
        for start in range(0, len(points), size):
            block = points[start : start + size]
            near = np.ones((len(block), len(chosen)), dtype=bool)
            for k in range(3):
                near &= block[:, k, None] >= low[None, :, k] - reach
                near &= block[:, k, None] <= high[None, :, k] + reach
            row, column = np.nonzero(near)
            rows.append(row + start)
            columns.append(column)
    plane, triangle = np.concatenate(rows), chosen[np.concatenate(columns)]
    corners = surface.corners[triangle] - points[plane][:, None, :]
    height = np.einsum("kij,kj->ki", corners, tangents[plane])
    above = height >= 0.0
    count = above.sum(axis=1)
    crossing = np.flatnonzero((count == 1) | (count == 2))
    plane, triangle, corners, height = plane[crossing], triangle[crossing], corners[crossing], height[crossing]
    # The corner that is alone on its side.
    lone = np.where(count[crossing] == 1, above[crossing].argmax(axis=1), above[crossing].argmin(axis=1))
    at = np.arange(len(plane))
    ends = []
    u, w = axes(tangents)
    for turn in (1, 2):
        other = (lone + turn) % 3
        h0, h1 = height[at, lone], height[at, other]
        share = h0 / (h0 - h1)
        point = corners[at, lone] + share[:, None] * (corners[at, other] - corners[at, lone])
        ends.append(np.stack([np.einsum("ij,ij->i", point, u[plane]), np.einsum("ij,ij->i", point, w[plane])], axis=1))
    return Cut(plane, triangle, ends[0], ends[1])


def _nearest(found: Cut) -> tuple[Array, Array]:
    """Nearest point (k, 2) of each line to the root, and its distance (k,)."""
    step = found.b - found.a
    square = np.maximum(np.einsum("ij,ij->i", step, step), 1e-30)
    share = np.clip(-np.einsum("ij,ij->i", found.a, step) / square, 0.0, 1.0)
    point = found.a + share[:, None] * step
    return point, np.hypot(point[:, 0], point[:, 1])


def root_gaps(found: Cut, normals: Array, count: int) -> Array:
    """Distance from each of ``count`` roots to the other piece, mm; infinite where it is out of reach or buried."""
    out = np.full(count, np.inf)
    if not len(found.plane):
        return out
    point, distance = _nearest(found)
    order = np.lexsort((distance, found.plane))
    first = order[np.concatenate([[True], np.diff(found.plane[order]) > 0])]
    out[found.plane[first]] = distance[first]
    sunk = np.einsum("ij,ij->i", point[first], normals[first]) > 0.0  # the surface looks away from the root
    deep = first[sunk & (distance[first] > JOINTS.flush)]
    out[found.plane[deep]] = np.inf
    return out


def _flat_normals(surface: Surface, found: Cut, u: Array, w: Array) -> Array:
    """Outward normals (k, 2) in the planes, of the triangles that they cut."""
    n = surface.normals[found.triangle]
    flat = np.stack([np.einsum("ij,ij->i", n, u[found.plane]), np.einsum("ij,ij->i", n, w[found.plane])], axis=1)
    # The line itself says which way it runs, truer than a rounded triangle; the face says which side is outside.
    step = found.b - found.a
    square = np.stack([step[:, 1], -step[:, 0]], axis=1)
    size = np.hypot(square[:, 0], square[:, 1])
    good = size > 0.01
    square[good] /= size[good, None]
    side = np.sign(np.einsum("ij,ij->i", square, flat))
    use = good & (side != 0.0)
    out: Array = flat / np.maximum(np.hypot(flat[:, 0], flat[:, 1]), 1e-12)[:, None]
    smooth = np.einsum("ij,ij->i", square, out) * side > np.cos(np.deg2rad(10.0))
    replace = use & ~smooth
    out[replace] = square[replace] * side[replace, None]
    return out


@dataclass(frozen=True, eq=False)
class Near:
    """Two pieces, and of each the triangles near the other: where openings are asked for."""

    own: Surface
    other: Surface
    own_near: Ints
    other_near: Ints

    def gaps(self, points: Array, tangents: Array) -> Array:
        """Distance from points (n, 3) of edges of the own piece to the other, mm; infinite out of reach or buried."""
        u, w = axes(tangents)
        found = cut(self.other, self.other_near, points, tangents, JOINTS.look)
        return root_gaps(found, _flat_normals(self.other, found, u, w), len(points))

    def openings(self, points: Array, tangents: Array, reach: float) -> list[list[Opening]]:
        """The open spaces between the two pieces at points (n, 3) of edges of the own one, with their tangents.

        Args:
            points: mm.
            tangents: unit.
            reach: greatest root gap, mm.
        """
        out: list[list[Opening]] = [[] for _ in points]
        if not len(points):
            return out
        u, w = axes(tangents)
        wide = max(JOINTS.look, JOINTS.look_gap * reach) * 1.1
        theirs = cut(self.other, self.other_near, points, tangents, wide)
        their_normals = _flat_normals(self.other, theirs, u, w)
        gaps = root_gaps(theirs, their_normals, len(points))
        todo = np.flatnonzero(gaps <= reach)
        if not len(todo):
            return out
        near = np.zeros(len(points), dtype=bool)
        near[todo] = True
        keep = near[theirs.plane]
        theirs, their_normals = _some(theirs, keep), their_normals[keep]
        part = cut(self.own, self.own_near, points[todo], tangents[todo], wide)
        ours = Cut(todo[part.plane], part.triangle, part.a, part.b)
        our_normals = _flat_normals(self.own, ours, u, w)
        radius = np.maximum(JOINTS.look, JOINTS.look_gap * np.where(near, gaps, 0.0))
        for factor in RETRY:
            circle = radius * factor
            events = [
                _events(ours, our_normals, self.own.face, circle, 0),
                _events(theirs, their_normals, self.other.face, circle, 1),
            ]
            rows = np.concatenate(events)
            rows = rows[np.lexsort((rows[:, 1], rows[:, 0]))]
            starts = np.searchsorted(rows[:, 0], todo)
            stops = np.searchsorted(rows[:, 0], todo, side="right")
            failed = []
            found: list[_Arc] = []
            rows = rows.tolist()
            for sample, start, stop in zip(todo.tolist(), starts.tolist(), stops.tolist(), strict=True):
                arcs = _arcs(rows[start:stop])
                if arcs is None:
                    failed.append(sample)
                else:
                    found += arcs
            for sample, one in _openings(found, gaps, u, w):
                out[sample].append(one)
            if not failed:
                break
            todo = np.array(failed)
        return out


def _some(found: Cut, keep: NDArray[np.bool_]) -> Cut:
    return Cut(found.plane[keep], found.triangle[keep], found.a[keep], found.b[keep])


def crossed(surface: Surface, found: Cut, u: Array, w: Array, radius: Array) -> Array:
    """Where circles (n,) round the roots cross a surface: rows of sample, angle, 1 leaving or -1 entering, and more."""
    return _events(found, _flat_normals(surface, found, u, w), surface.face, radius, 0)


def _events(found: Cut, normals: Array, face: Ints, radius: Array, piece: int) -> Array:
    """Where the circles cross the lines: rows of sample, angle, 1 leaving or -1 entering, piece, face, normal."""
    step = found.b - found.a
    square = np.einsum("ij,ij->i", step, step)
    half = np.einsum("ij,ij->i", found.a, step)
    rest = np.einsum("ij,ij->i", found.a, found.a) - radius[found.plane] ** 2
    end = np.einsum("ij,ij->i", found.b, found.b) - radius[found.plane] ** 2
    inside = half * half - square * rest
    rows = []
    with np.errstate(divide="ignore", invalid="ignore"):
        root = np.sqrt(np.maximum(inside, 0.0))
        for sign in (-1.0, 1.0):
            share = (-half + sign * root) / square
            # One crossing where just one end is within; two or none where both are without.
            one = (rest < 0.0) != (end < 0.0)
            hit = np.where(one, (end < 0.0) if sign < 0.0 else (rest < 0.0), False)
            both = (rest >= 0.0) & (end >= 0.0) & (inside > 0.0) & (share > 0.0) & (share < 1.0)
            chosen = np.flatnonzero(hit | both)
            point = found.a[chosen] + np.clip(share[chosen], 0.0, 1.0)[:, None] * step[chosen]
            normal = normals[chosen]
            turning = normal[:, 1] * point[:, 0] - normal[:, 0] * point[:, 1]
            angle = np.arctan2(point[:, 1], point[:, 0])
            made = np.column_stack(
                [
                    found.plane[chosen],
                    angle,
                    np.where(turning > 0.0, 1.0, -1.0),
                    np.full(len(chosen), float(piece)),
                    face[found.triangle[chosen]],
                    normal,
                ]
            )
            rows.append(made)
    return np.concatenate(rows)


# Of a crossing: its sample, angle, 1 leaving or -1 entering, piece, face, and the face's normal in the plane.
_Row = Sequence[float]
# Where the arc begins and where it ends, and for the first and second piece: degrees that the material takes which
# bounds it, and the face at the far end of that material.
_Arc = tuple[_Row, _Row, tuple[float, float], tuple[float, float]]


def _arcs(rows: Sequence[_Row]) -> list[_Arc] | None:
    """The arcs in neither material between one piece and the other, counter-clockwise; None when it cannot be told."""
    inside = [False, False]
    for piece in (0, 1):
        mine = [row for row in rows if row[3] == piece]
        if not mine:
            return []
        before = mine[-1]
        for row in mine:
            if row[2] == before[2]:
                if len(mine) > 1 and abs(row[1] - before[1]) < 1e-6:
                    return _arcs([other for other in rows if other is not row])
                return None
            before = row
        inside[piece] = before[2] < 0.0
    found: list[_Arc] = []
    count = len(rows)
    for k, row in enumerate(rows):
        inside[int(row[3])] = row[2] < 0.0
        if row[2] < 0.0 or inside[0] or inside[1]:
            continue
        following = rows[(k + 1) % count]
        if following[3] == row[3]:
            continue
        ends = [(0.0, 0.0), (0.0, 0.0)]
        for bound, start, step in ((row, k, -1), (following, k + 1, 1)):
            j = start + step
            while rows[j % count][3] != bound[3]:
                j += step
            far = rows[j % count]
            ends[int(bound[3])] = ((bound[1] - far[1]) * -step % (2.0 * np.pi), far[4])
        found.append((row, following, ends[0], ends[1]))
    return found


def _openings(arcs: Sequence[_Arc], gaps: Array, u: Array, w: Array) -> list[tuple[int, Opening]]:
    """Each arc's sample and what it says, all in one go."""
    if not arcs:
        return []
    ends = np.array([(first, second) for first, second, _, _ in arcs])
    sample = ends[:, 0, 0].astype(int)
    angle, normal = ends[:, :, 1], ends[:, :, 5:7]
    # The directions in which the faces leave the root.
    leaves = np.stack([-normal[:, :, 1], normal[:, :, 0]], axis=2)
    outward = leaves[:, :, 0] * np.cos(angle) + leaves[:, :, 1] * np.sin(angle)
    leaves = leaves * np.where(outward >= 0.0, 1.0, -1.0)[:, :, None]
    ways = np.arctan2(leaves[:, :, 1], leaves[:, :, 0])
    raw = ways[:, 1] - ways[:, 0]
    seen = (angle[:, 1] - angle[:, 0]) % (2.0 * np.pi)
    opening = raw - 2.0 * np.pi * np.round((raw - seen) / (2.0 * np.pi))
    middle = ways[:, 0] + opening / 2.0
    uu, ww = u[sample], w[sample]
    bisector = uu * np.cos(middle)[:, None] + ww * np.sin(middle)[:, None]
    # The own piece before the other.
    side = ends[:, 0, 3].astype(int)
    swap = side[:, None] == 1
    faces = np.where(swap, ends[:, ::-1, 4], ends[:, :, 4]).astype(int).tolist()
    flat = np.where(swap[:, :, None], normal[:, ::-1], normal)
    ways_flat = np.where(swap[:, :, None], leaves[:, ::-1], leaves)
    normals = uu[:, None] * flat[:, :, :1] + ww[:, None] * flat[:, :, 1:]
    along = uu[:, None] * ways_flat[:, :, :1] + ww[:, None] * ways_flat[:, :, 1:]
    degrees, sides = np.rad2deg(opening).tolist(), side.tolist()
    return [
        (
            number,
            Opening(
                gap=float(gaps[number]),
                opening=degrees[k],
                normals=normals[k],
                along=along[k],
                bisector=bisector[k],
                faces=(faces[k][0], faces[k][1]),
                backs=(int(own[1]), int(other[1])),
                spans=(float(np.rad2deg(own[0])), float(np.rad2deg(other[0]))),
                side=sides[k],
            ),
        )
        for k, (number, (_, _, own, other)) in enumerate(zip(sample.tolist(), arcs, strict=True))
    ]
