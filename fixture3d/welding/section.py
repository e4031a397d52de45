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
_RETRY = (1.0, 1.09, 0.93)  # of the circle: another one is tried where it runs through a corner


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
    return u, np.cross(tangents, u)


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
        for factor in _RETRY:
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
            for sample, start, stop in zip(todo.tolist(), starts.tolist(), stops.tolist(), strict=True):
                arcs = _arcs(rows[start:stop].tolist())
                if arcs is None:
                    failed.append(sample)
                    continue
                out[sample] = [_opening(arc, float(gaps[sample]), u[sample], w[sample]) for arc in arcs]
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


@dataclass(frozen=True, slots=True)
class _Event:
    angle: float
    sense: float
    piece: int
    face: int
    normal: tuple[float, float]

    @property
    def leaves(self) -> tuple[float, float]:
        """Unit direction in which the face leaves the root."""
        x, y = self.normal
        along = (-y, x)
        outward = along[0] * np.cos(self.angle) + along[1] * np.sin(self.angle)
        return along if outward >= 0.0 else (y, -x)


_Arc = tuple[_Event, _Event, dict[int, tuple[float, int]]]


def _arcs(rows: Sequence[Sequence[float]]) -> list[_Arc] | None:
    """The arcs in neither material between one piece and the other, counter-clockwise; None when it cannot be told.

    With each arc, for both pieces, how much of the circle the material takes that bounds it, and the face at the far
    end of that material.
    """
    events = [_Event(r[1], r[2], int(r[3]), int(r[4]), (r[5], r[6])) for r in rows]
    inside = {}
    for piece in (0, 1):
        mine = [e for e in events if e.piece == piece]
        if not mine:
            return []
        for a, b in zip(mine, mine[1:] + mine[:1], strict=True):
            if a.sense == b.sense:
                if len(mine) > 1 and abs(a.angle - b.angle) < 1e-6:
                    events.remove(b)
                    return _arcs([[0.0, e.angle, e.sense, e.piece, e.face, *e.normal] for e in events])
                return None
        inside[piece] = mine[-1].sense < 0.0
    found: list[_Arc] = []
    count = len(events)
    for k, event in enumerate(events):
        inside[event.piece] = event.sense < 0.0
        following = events[(k + 1) % count]
        if event.sense > 0.0 and not any(inside.values()) and following.piece != event.piece:
            ends: dict[int, tuple[float, int]] = {}
            for bound, step in ((event, -1), (following, 1)):
                j = (k if step < 0 else k + 1) + step
                while events[j % count].piece != bound.piece:
                    j += step
                far = events[j % count]
                span = (bound.angle - far.angle) * -step % (2.0 * np.pi)
                ends[bound.piece] = (span, far.face)
            found.append((event, following, ends))
    return found


def _opening(arc: _Arc, gap: float, u: Array, w: Array) -> Opening:
    first, second, ends = arc
    (ax, ay), (bx, by) = first.leaves, second.leaves
    start = float(np.arctan2(ay, ax))
    raw = float(np.arctan2(by, bx)) - start
    seen = (second.angle - first.angle) % (2.0 * np.pi)
    opening = raw - 2.0 * np.pi * round((raw - seen) / (2.0 * np.pi))
    middle = start + opening / 2.0
    flat = {0: (first, first.leaves), 1: (second, second.leaves)}
    if first.piece == 1:
        flat = {0: flat[1], 1: flat[0]}
    return Opening(
        gap=gap,
        opening=float(np.rad2deg(opening)),
        normals=np.stack([u * flat[k][0].normal[0] + w * flat[k][0].normal[1] for k in (0, 1)]),
        along=np.stack([u * flat[k][1][0] + w * flat[k][1][1] for k in (0, 1)]),
        bisector=u * np.cos(middle) + w * np.sin(middle),
        faces=(flat[0][0].face, flat[1][0].face),
        backs=(ends[0][1], ends[1][1]),
        spans=(float(np.rad2deg(ends[0][0])), float(np.rad2deg(ends[1][0]))),
        side=first.piece,
    )
