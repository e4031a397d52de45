"""Which pads touch which pieces, and which pads face each other with work between them.

Light arithmetic on meshes: no CAD kernel. A pad is a rectangle in a plane; a piece touches it where its mesh,
facing the pad, comes within the contact tolerance of that plane inside the rectangle.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.job import Body, Job, PlacedPad
from fixture3d.tolerance import NUMERIC, SHOP

# mm; a piece this far off a pad still counts as the work between two opposed stops.
NEAR = 1.0
_LINE = 0.5  # mm; half the width within which a line pad is felt for
_LEAST = 0.1  # mm; a patch smaller than this both ways is a corner that grazes the pad, not a contact
_SQUARE = float(np.cos(np.deg2rad(1.0)))  # normals within a degree count as opposed


@dataclass(frozen=True, kw_only=True)
class Touch:
    """One pad with one piece on it.

    Attributes:
        item: the block.
        pad: name of the pad.
        piece: name of the piece.
        gap: mm from the pad's plane to the nearest point of the piece within the pad; negative inside the block.
    """

    item: str
    pad: str
    piece: str
    gap: float


@dataclass(frozen=True, kw_only=True)
class FacePair:
    """Two pads of different blocks that look at each other across the work.

    Attributes:
        a: block of the first pad.
        pad_a: its name.
        b: block of the second pad.
        pad_b: its name.
        distance: mm between the planes of the two pads.
        between: pieces that lie at either pad, in file order.
        stock: mm, what those pieces measure across the pads.
    """

    a: str
    pad_a: str
    b: str
    pad_b: str
    distance: float
    between: tuple[str, ...]
    stock: float


def touching_pads(job: Job, within: float = SHOP.contact) -> list[Touch]:
    """Every pad that a piece touches, blocks in file order, then pads and pieces in theirs.

    Args:
        job: the setup.
        within: mm; a gap or an overlap up to this is a contact. The chord of a curved mesh is added.
    """
    pieces = _in_world(job.pieces())
    return [
        Touch(item=pad.item, pad=pad.pad.name, piece=piece.name, gap=gap)
        for pad in job.pads()
        for piece, gap in _pieces_at(pad, pieces, within + NUMERIC.merge)
    ]


def near_pads(job: Job, within: float, shift: Array | None = None) -> Iterator[tuple[PlacedPad, float]]:
    """Every pad with its clearance to every piece near its plane, pads in file order, then pieces in theirs.

    Args:
        job: the setup.
        within: mm; the chord of a curved mesh is added.
        shift: (3,) mm; the pieces are looked at as if they had been moved by it.
    """
    for pad, _, clear, _ in pad_clearances(job, within, shift):
        yield pad, clear


def pad_clearances(
    job: Job, within: float, shift: Array | None = None
) -> Iterator[tuple[PlacedPad, str, float, float]]:
    """The same with the name of the piece before the clearance, and the chord of its mesh behind."""
    pieces = _in_world(job.pieces())
    by = np.zeros(3) if shift is None else shift
    for pad in job.pads():
        here = dataclasses.replace(pad, at=pad.at - by)
        for piece, _ in _pieces_at(here, pieces, within + NUMERIC.merge):
            reach = within + piece.chord
            clear = pad_clearance(here, piece.triangles, reach)
            if clear is not None:
                yield pad, piece.name, clear, piece.chord


def opposed_faces(job: Job) -> list[FacePair]:
    """Every two pads of different blocks that face each other with one run of work between them.

    A piece counts as being at a pad when it is within 1 mm of it. Two pads make a pair when they look at each other
    and either the same piece is at both, or the pieces at them are joined by pieces whose boxes touch, and what is
    touched of the pads overlaps when seen along their normal. No pair are pads that look away from each other (stops
    inside a frame), and pads behind which the work goes on (a pin in a hole): what the work measures would then say
    nothing of the distance.
    """
    pieces = _in_world(job.pieces())
    each = {piece.name: piece for piece in pieces.each}
    order, runs = {name: k for k, name in enumerate(each)}, _runs(pieces)
    at_pad = [(pad, patch, names) for pad in job.pads() for patch, names in _patches(pad, pieces)]
    normals = np.array([pad.normal for pad, *_ in at_pad]).reshape(-1, 3)
    out = []
    for i, j in np.argwhere(np.triu(normals @ normals.T <= -_SQUARE, 1)):
        (a, patch_a, at_a), (b, patch_b, at_b) = at_pad[i], at_pad[j]
        both = at_a & at_b
        if a.item == b.item or not (both or _overlap(patch_a, patch_b)):
            continue
        if not both and not {runs[name] for name in at_a} & {runs[name] for name in at_b}:
            continue
        between = tuple(sorted(both or at_a | at_b, key=order.__getitem__))
        along = np.concatenate([each[name].triangles.reshape(-1, 3) @ a.normal for name in between])
        from_a, from_b = float(a.at @ a.normal), float(b.at @ a.normal)
        off = NEAR + NUMERIC.merge + max(each[name].chord for name in between)
        if from_b - from_a <= NUMERIC.merge or along.min() < from_a - off or along.max() > from_b + off:
            continue
        out.append(
            FacePair(
                a=a.item,
                pad_a=a.pad.name,
                b=b.item,
                pad_b=b.pad.name,
                distance=float((b.at - a.at) @ a.normal),
                between=between,
                stock=float(along.max() - along.min()),
            )
        )
    return out


def _patches(pad: PlacedPad, pieces: _World) -> Iterator[tuple[PlacedPad, set[str]]]:
    """The part of a pad that has work within 1 mm of it, as a pad, and the names of that work; nothing without any."""
    found = {
        piece.name: _before(pad, piece.triangles, NEAR + piece.chord) for piece, _ in _pieces_at(pad, pieces, NEAR)
    }
    points = [part[:, :2] for part in found.values() if part is not None]
    if points:
        corners = np.concatenate(points)
        low, high = corners.min(axis=0), corners.max(axis=0)
        middle, size = (low + high) / 2.0, np.maximum(high - low, NUMERIC.merge)
        at = pad.at + middle[0] * pad.along + middle[1] * np.cross(pad.normal, pad.along)
        part = dataclasses.replace(pad.pad, length=float(size[0]), width=float(size[1]))
        yield dataclasses.replace(pad, at=at, pad=part), set(found)


def _runs(pieces: _World) -> dict[str, int]:
    """Of every piece the number of its run: pieces joined by others whose boxes come within 1 mm of each other."""
    low, high = pieces.low - NEAR, pieces.high
    near = np.all((low[:, None] <= high) & (low <= high[:, None]), axis=2)
    run = np.arange(len(pieces.each))
    for k in range(len(run)):
        run[np.isin(run, run[near[k]])] = run[k]
    return {piece.name: int(n) for piece, n in zip(pieces.each, run, strict=True)}


@dataclass(frozen=True, eq=False)
class _Piece:
    """A piece in the world: triangles (m, 3, 3)."""

    name: str
    chord: float
    triangles: Array


@dataclass(frozen=True, eq=False)
class _World:
    """All pieces in the world, with their chords (n,) and the least and greatest corners (n, 3) of their boxes."""

    each: tuple[_Piece, ...]
    chord: Array
    low: Array
    high: Array


def _in_world(bodies: Iterable[Body]) -> _World:
    each, low, high = [], [], []
    for body in bodies:
        each.append(_Piece(body.name, body.shape.mesh.chord, body.triangles))
        low.append(body.box[0])
        high.append(body.box[1])
    chords = np.array([piece.chord for piece in each], dtype=np.float64)
    return _World(tuple(each), chords, np.reshape(low, (-1, 3)), np.reshape(high, (-1, 3)))


def _pieces_at(pad: PlacedPad, pieces: _World, within: float) -> Iterator[tuple[_Piece, float]]:
    """The pieces within ``within`` mm of a pad, and their chord more when they are curved, with their gaps."""
    half = np.abs(pad.along) * pad.pad.length / 2.0
    half = half + np.abs(np.cross(pad.normal, pad.along)) * max(pad.pad.width / 2.0, _LINE)
    reach = pieces.chord[:, None] + within
    near = (pieces.low <= pad.at + half + reach).all(axis=1) & (pieces.high >= pad.at - half - reach).all(axis=1)
    for index in np.flatnonzero(near):
        piece = pieces.each[index]
        gap = pad_gap(pad, piece.triangles, within + piece.chord)
        if gap is not None:
            yield piece, gap


def pad_gap(pad: PlacedPad, triangles: Array, within: float) -> float | None:
    """How far a surface is from a pad's plane, over the pad, when it lies within ``within`` of it.

    Args:
        pad: a rectangle of its length and width; a width of 0 is a line.
        triangles: (m, 3, 3) world mm, wound outwards.
        within: mm.

    Returns:
        The gap of the point nearest to the plane, or None when no face that looks at the pad is that near it.
    """
    points = _before(pad, triangles, within)
    return None if points is None else float(points[np.argmin(np.abs(points[:, 2])), 2])


def contact_sizes(job: Job, items: Iterable[str]) -> dict[tuple[str, str], float]:
    """How much of a piece lies on the pads of a block, by block and piece: mm2 of the rectangles round its patches.

    A line of contact counts as 1 mm wide, so that half a line is half as much.
    """
    wanted = frozenset(items)
    pieces = _in_world(job.pieces())
    out: dict[tuple[str, str], float] = {}
    for pad in job.pads():
        if pad.item not in wanted:
            continue
        for piece, _ in _pieces_at(pad, pieces, SHOP.contact + NUMERIC.merge):
            points = _before(pad, piece.triangles, SHOP.contact + NUMERIC.merge + piece.chord)
            if points is not None:
                span = np.maximum(np.ptp(points[:, :2], axis=0), 2.0 * _LINE)
                key = pad.item, piece.name
                out[key] = out.get(key, 0.0) + float(span[0] * span[1])
    return out


def stops_ahead(job: Job, item: str) -> bool:
    """Whether a pad of a block looks at a piece less than a pitch of the table away without touching it."""
    pieces = _in_world(job.pieces())
    reach = min(job.table.pitch)
    pads = [pad for pad in job.pads() if pad.item == item]
    return any(gap > SHOP.contact for pad in pads for _, gap in _pieces_at(pad, pieces, reach))


def pad_clearance(pad: PlacedPad, triangles: Array, within: float) -> float | None:
    """How far a pad can go forward before it meets a surface; negative: how far it has to go back to be clear.

    Args:
        pad: as for `pad_gap`.
        triangles: (m, 3, 3) world mm, wound outwards.
        within: mm; faces further before or behind the pad's plane are not its concern.

    Returns:
        mm, or None when no face that looks at the pad is that near its plane.
    """
    points = _before(pad, triangles, within)
    return None if points is None else float(points[:, 2].min())


def _before(pad: PlacedPad, triangles: Array, within: float) -> Array | None:
    """Corners (n, 3), in the pad's frame, of the faces that look at a pad within its rectangle and near its plane."""
    half = np.array([pad.pad.length / 2.0, max(pad.pad.width / 2.0, _LINE)])
    to_pad = frame.inverse(frame.along(pad.at, pad.normal, pad.along))
    local = frame.points(to_pad, _about(pad, triangles, half, within).reshape(-1, 3)).reshape(-1, 3, 3)
    low, high = local.min(axis=1), local.max(axis=1)
    near = (
        (low[:, 2] <= within)
        & (high[:, 2] >= -within)
        & (high[:, :2] > -half + NUMERIC.merge).all(axis=1)
        & (low[:, :2] < half - NUMERIC.merge).all(axis=1)
    )
    local = local[near]
    normals = np.cross(local[:, 1] - local[:, 0], local[:, 2] - local[:, 0])
    sizes = np.linalg.norm(normals, axis=1)
    facing = normals[:, 2] < -0.5 * sizes
    patches = [q for q in (_clipped(t, half, within) for t in local[facing & (sizes > 0.0)]) if len(q)]
    if not patches:
        return None
    points: Array = np.concatenate(patches)
    return points if float(np.ptp(points[:, :2], axis=0).max()) >= _LEAST else None


def _about(pad: PlacedPad, triangles: Array, half: Array, within: float) -> Array:
    """The triangles that may lie before a pad: one direction after the other, as a bent tube has a million of them."""
    reach = (within, float(half[0]), float(half[1]))
    for way, far in zip((pad.normal, pad.along, np.cross(pad.normal, pad.along)), reach, strict=True):
        off = (triangles.reshape(-1, 3) @ way - float(pad.at @ way)).reshape(-1, 3)
        low = np.minimum(np.minimum(off[:, 0], off[:, 1]), off[:, 2])
        high = np.maximum(np.maximum(off[:, 0], off[:, 1]), off[:, 2])
        triangles = triangles[(low <= far + NUMERIC.merge) & (high >= -far - NUMERIC.merge)]
    return triangles


def _clipped(triangle: Array, half: Array, within: float) -> Array:
    """The corners (n, 3) of what is left of a triangle inside the pad's rectangle and near its plane."""
    polygon = triangle
    for axis, limit in ((0, half[0]), (1, half[1]), (2, within)):
        for sign in (1.0, -1.0):
            if len(polygon):
                polygon = _cut(polygon, axis, sign, float(limit))
    return polygon


def _cut(polygon: Array, axis: int, sign: float, limit: float) -> Array:
    """Keep the part of a convex polygon with ``sign * p[axis] <= limit``."""
    height = sign * polygon[:, axis] - limit
    out = []
    for k in range(len(polygon)):
        here, there = height[k], height[(k + 1) % len(polygon)]
        if here <= 0.0:
            out.append(polygon[k])
        if (here < 0.0 < there) or (there < 0.0 < here):
            share = here / (here - there)
            out.append(polygon[k] + share * (polygon[(k + 1) % len(polygon)] - polygon[k]))
    return np.array(out).reshape(-1, 3)


def _overlap(a: PlacedPad, b: PlacedPad) -> bool:
    """Whether two pads overlap when seen along the first one's normal: separating axes of two rectangles."""
    across = {id(p): np.cross(p.normal, p.along) for p in (a, b)}
    step = b.at - a.at
    for axis in (a.along, across[id(a)], b.along, across[id(b)]):
        reach = 0.0
        for p in (a, b):
            half_width = max(p.pad.width / 2.0, _LINE)
            reach += abs(float(p.along @ axis)) * p.pad.length / 2.0 + abs(float(across[id(p)] @ axis)) * half_width
        if abs(float(step @ axis)) >= reach - NUMERIC.merge:
            return False
    return True
