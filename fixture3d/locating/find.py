"""Contacts of one piece with the fixed bodies about it, found from the solids alone."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.locating.contact import Contact
from fixture3d.locating.features import Feature, Flat, Rod, Standing
from fixture3d.locating.read_features import standing
from fixture3d.locating.touch import Near, touches
from fixture3d.locating.unread import comes_near
from fixture3d.solid.relate import Placed
from fixture3d.tolerance import LOCATING

__all__ = ["TOO_LOW", "Doubt", "bodies_of", "contacts", "contacts_of", "doubts_of", "unread_near"]

ON_RADIUS = "on its corner radius, not a seat"
IN_FILLET = "in the fillet of an inside corner, not a seat"
TOO_LOW = "its face ends below the flat, on the corner radius: no seat and no stop"
HELD_OFF = "a fillet in the inside corner holds it off this face"

Ints = NDArray[np.int64]

_SUNK = 3.0  # mm; a face this deep in the piece is told as a stop that stands wrong, deeper it is something else
_CORNER = 150.0  # degrees; a round that turns by less is a corner's radius, not a bar


@dataclass(frozen=True, eq=False)
class Doubt:
    """Why a place where piece and fixed body meet is not one to rely on.

    Attributes:
        fixed: name of the fixed body.
        words: what is wrong, as at the table.
        remedy: what would cure it.
        at: (3,) mm, world.
        amount: mm that go with the words: how far the piece is held off, or how much higher the face has to reach.
    """

    fixed: str
    words: str
    remedy: str
    at: Array
    amount: float


def contacts(
    piece: object,
    fixed: Mapping[str, object] | Sequence[Placed],
    within: float = LOCATING.contact,
    angle: float = LOCATING.angle,
) -> list[Contact]:
    """Where fixed bodies touch a piece.

    Flats, cylinders, balls, bends of round tube, straight sharp edges and corners are read; free forms, cones and
    curved edges are not (`unread_near` says where that may matter).

    Args:
        piece: a cadquery shape, ``TopoDS_Shape``, trimesh mesh, `Mesh`, `Shape`, `Placed` or `Standing`, mm, world.
        fixed: name to solid, of any of these kinds; or placed bodies.
        within: mm; a gap up to this is touching, and so is an overlap no deeper.
        angle: degrees; faces that lean by no more than this lie flat.

    Returns:
        Contacts by fixed body in the order of ``fixed``.

    Raises:
        BadSolid: a body is not one closed solid.
        ValueError: a tolerance is negative or not finite, or the angle is above 5 degrees.
    """
    near = checked_near(within, angle)
    return contacts_of(standing("piece", piece), bodies_of(fixed), near)


def checked_near(within: float, angle: float) -> Near:
    """The tolerances as `Near`; raises ValueError where they make no sense."""
    if not (np.isfinite(within) and within >= 0.0):
        raise ValueError(f"within is {within}; expected a length of 0 mm or more")
    if not (np.isfinite(angle) and 0.0 <= angle <= 5.0):
        raise ValueError(f"angle is {angle}; expected 0 to 5 degrees")
    return Near(float(within), float(np.deg2rad(angle)))


def bodies_of(fixed: Mapping[str, object] | Sequence[Placed]) -> list[Standing]:
    """Fixed bodies in their places, features made once a shape; raises BadSolid as `contacts` does."""
    if isinstance(fixed, Mapping):
        return [one if isinstance(one, Standing) else standing(name, one) for name, one in fixed.items()]
    return [standing(one.name, one) for one in fixed]


def contacts_of(piece: Standing, fixed: Sequence[Standing], near: Near) -> list[Contact]:
    """As `contacts`, for bodies whose features are known: what a job with many pieces calls."""
    found: list[Contact] = []
    for body in fixed:
        if body is piece or not _meet(body.box, piece.box, near.within):
            continue
        touching = _held_off(body, piece, near, _pair(body, piece, near))
        if any(c.doubt == ON_RADIUS for c in touching) and _too_low(body, piece, near):
            touching = [dataclasses.replace(c, doubt=TOO_LOW) if c.doubt == ON_RADIUS else c for c in touching]
        found += touching
    return found


def _meet(a: Array, b: Array, within: float) -> bool:
    return bool((a[0] <= b[1] + within).all() and (b[0] <= a[1] + within).all())


def _pair(body: Standing, piece: Standing, near: Near) -> list[Contact]:
    found: list[Contact] = []
    for i, j in _candidates(body, piece, near):
        fixed, own = body.features.all[i], piece.features.all[j]
        for contact in touches(fixed, body.frames[i], own, piece.frames[j], near, body.name):
            found.append(dataclasses.replace(contact, doubt=_doubt(fixed, own)))
    return found


def _candidates(body: Standing, piece: Standing, near: Near) -> list[tuple[int, int]]:
    """Pairs of features that can touch: their boxes meet, and they stand to each other as they must."""
    mine = np.flatnonzero(_near_box(body.boxes, piece.box, near.within))
    theirs = np.flatnonzero(_near_box(piece.boxes, body.box, near.within))
    if not len(mine) or not len(theirs):
        return []
    a, b = body.boxes[mine], piece.boxes[theirs]
    meet = ((a[:, None, 0] <= b[None, :, 1] + near.within) & (b[None, :, 0] <= a[:, None, 1] + near.within)).all(axis=2)
    i, j = np.nonzero(meet)
    i, j = mine[i], theirs[j]
    kept = _can(body, i, piece, j, near)
    return list(zip(i[kept].tolist(), j[kept].tolist(), strict=True))


def _can(body: Standing, i: Ints, piece: Standing, j: Ints, near: Near) -> NDArray[np.bool_]:
    """Which pairs of features are not ruled out by their directions and by how far their planes and axes are apart."""
    kind, other = body.features.kinds[i], piece.features.kinds[j]
    f, p = body.frames[i], piece.frames[j]
    z, w = f[:, :3, 2], p[:, :3, 2]
    facing = np.einsum("ij,ij->i", z, w)
    step = p[:, :3, 3] - f[:, :3, 3]
    lean = near.within + near.sin * float(np.linalg.norm(piece.box[1] - piece.box[0]))
    radius, second = body.features.radii[i], piece.features.radii[j]
    flat_on = (facing <= -np.cos(near.angle)) & (np.abs(np.einsum("ij,ij->i", step, z)) <= lean)
    lies = np.abs(facing) <= near.sin
    height = np.where(kind == 0, np.einsum("ij,ij->i", step, z) - second, -np.einsum("ij,ij->i", step, w) - radius)
    beside = np.abs(height) <= near.within
    square = np.stack(
        [
            z[:, 1] * w[:, 2] - z[:, 2] * w[:, 1],
            z[:, 2] * w[:, 0] - z[:, 0] * w[:, 2],
            z[:, 0] * w[:, 1] - z[:, 1] * w[:, 0],
        ],
        axis=1,
    )
    size = np.linalg.norm(square, axis=1)
    apart = np.abs(np.einsum("ij,ij->i", step, square)) / np.maximum(size, 1e-12)
    both_solid = (radius >= 0.0) & (second >= 0.0)
    crosses = both_solid & (np.abs(apart - radius - second) <= near.within)
    edges = (radius == 0.0) & (second == 0.0)
    rods = np.where(size > near.sin, crosses, ~edges & ((radius >= 0.0) | (second >= 0.0)))
    flats, rest = (kind == 0) & (other == 0), (kind == 0) | (other == 0)
    one = np.where(kind == 0, other, kind)  # what meets a flat
    level = lies & (np.abs(height) <= lean) & (np.where(kind == 0, second, radius) >= 0.0)
    on_flat = np.where(one == 1, level, np.where(one == 2, beside, True))
    found: NDArray[np.bool_] = np.where(
        flats, flat_on, np.where(rest, on_flat, np.where((kind == 1) & (other == 1), rods, True))
    )
    return found


def _near_box(boxes: Array, box: Array, within: float) -> Array:
    near: Array = ((boxes[:, 0] <= box[1] + within) & (boxes[:, 1] >= box[0] - within)).all(axis=1)
    return near


def is_corner(feature: Feature) -> bool:
    """Whether a feature is the radius of a tube's or block's corner."""
    return isinstance(feature, Rod) and feature.radius > 0.0 and feature.sector < _CORNER


def _doubt(fixed: Feature, piece: Feature) -> str:
    if isinstance(fixed, Rod) and not fixed.solid and is_corner(fixed):
        return IN_FILLET
    return ON_RADIUS if is_corner(piece) and isinstance(piece, Rod) and piece.solid else ""


def _held_off(body: Standing, piece: Standing, near: Near, found: list[Contact]) -> list[Contact]:
    """The contacts, those doubted that a fillet in an inside corner will not let come about."""
    axes = [axis for axis, _, _ in _fillets(body, piece, near)]
    if not axes:
        return found
    return [
        dataclasses.replace(c, doubt=HELD_OFF)
        if c.kind == "face" and not c.doubt and any(abs(float(c.normal @ axis)) < 0.1 for axis in axes)
        else c
        for c in found
    ]


def _fillets(body: Standing, piece: Standing, near: Near) -> list[tuple[Array, Array, float]]:
    """Fillets of a block's inside corners that are larger than the corner lying in them.

    Returns:
        For each its axis, a place (3,), and by how much it holds the piece off either face, mm.
    """
    found: list[tuple[Array, Array, float]] = []
    if not (body.features.radii < 0.0).any():
        return found
    for i, j in _candidates(body, piece, near):
        hollow, corner = body.features.all[i], piece.features.all[j]
        if not (isinstance(hollow, Rod) and isinstance(corner, Rod)) or hollow.solid or not corner.solid:
            continue
        more = hollow.radius - corner.radius
        if more <= LOCATING.clean_contact or not 30.0 <= hollow.sector <= _CORNER or corner.sector >= _CORNER:
            continue
        f, p = body.frames[i], piece.frames[j]
        axis = f[:3, 2]
        if float(np.linalg.norm(np.cross(axis, p[:3, 2]))) > near.sin:
            continue
        step = p[:3, 3] - f[:3, 3]
        off = step - axis * float(step @ axis)
        size = float(np.linalg.norm(off))
        into = size - more  # how far the corner, as drawn, lies inside the fillet's material
        half = np.deg2rad(hollow.sector / 2.0)
        # Flush with both faces it would be more / cos(half) - more; blocks are out of place by a little.
        if size < 1e-9 or into < 0.5 * more * (1.0 / np.cos(half) - 1.0):
            continue
        if hollow.along(f[:3, :3].T @ off / size, 0.0):
            found.append((axis, p[:3, 3] + off / size * corner.radius, into * float(np.cos(half))))
    return found


def doubts_of(piece: Standing, fixed: Sequence[Standing], found: Sequence[Contact], near: Near) -> list[Doubt]:
    """Everything that is doubtful about how the piece meets the fixed bodies, body by body."""
    out: list[Doubt] = []
    for body in fixed:
        if body is piece or not _meet(body.box, piece.box, near.within):
            continue
        mine = [c for c in found if c.fixed == body.name]
        low = _too_low(body, piece, near)
        out += low
        out += [
            Doubt(
                body.name,
                "the fillet in its inside corner is larger than the piece's corner and holds it off both faces",
                "relieve the inside corner",
                at,
                amount,
            )
            for _, at, amount in _fillets(body, piece, near)
        ]
        if not mine:
            out += _sunk(body, piece, near)
        flat_on = any(c.kind == "face" and not c.doubt for c in mine)
        for contact in mine:
            if contact.doubt == ON_RADIUS and not low and not flat_on:
                words = "touches the piece on its corner radius, which is no seat: the radius differs from bar to bar"
                at = contact.points.mean(axis=0)
                out.append(Doubt(body.name, words, "let it reach the flat of the piece", at, 0.0))
                break
    return out


def _sunk(body: Standing, piece: Standing, near: Near) -> list[Doubt]:
    """A face of a body that lies inside the piece: too deep to be touching, and nothing is said to stop there."""
    deep = _pair(body, piece, Near(_SUNK, near.angle))
    for contact in deep:
        if contact.kind == "face" and contact.gap < -near.within:
            words = "reaches into the piece, too deep to count as touching: it is not counted as a stop"
            return [Doubt(body.name, words, "move it clear of the piece", contact.points.mean(axis=0), -contact.gap)]
    return []


def _too_low(body: Standing, piece: Standing, near: Near) -> list[Doubt]:
    """Faces in the plane of a flat of the piece that reach only as far as its corner radius."""
    import shapely

    rods = [(k, one) for k, one in enumerate(piece.features.all) if isinstance(one, Rod) and one.solid]
    corners = [(k, one) for k, one in rods if is_corner(one)]
    if not corners:
        return []
    out: list[Doubt] = []
    for i, fixed in enumerate(body.features.all):
        if not isinstance(fixed, Flat) or not _meet(body.boxes[i], piece.box, near.within):
            continue
        f = body.frames[i]
        to_plane = frame.inverse(f)
        flats = [
            (k, one)
            for k, one in enumerate(piece.features.all)
            if isinstance(one, Flat)
            and float(piece.frames[k][:3, 2] @ f[:3, 2]) <= -np.cos(near.angle)
            and abs(float(to_plane[2, :3] @ piece.frames[k][:3, 3] + to_plane[2, 3])) <= near.within
        ]
        if not flats or any(_shares(fixed, to_plane @ piece.frames[k], one) for k, one in flats):
            continue
        for k, rod in corners:
            local = to_plane @ piece.frames[k]
            # Beside the flat: the axis in the plane's direction, one radius behind it.
            if abs(local[2, 2]) > near.sin or abs(local[2, 3] - rod.radius) > near.within + SEEN:
                continue
            if not _meet(body.boxes[i], piece.boxes[k], near.within):
                continue
            ends = np.stack([local[:3, 3] + local[:3, 2] * s for s in rod.ends])[:, :2]
            strip = shapely.LineString(ends).buffer(rod.radius, cap_style="flat")
            part = shapely.intersection(strip, fixed.outline)
            if float(part.area) < LOCATING.least**2:
                continue
            flat = shapely.union_all([_moved(one.outline, to_plane @ piece.frames[n]) for n, one in flats])
            short = float(shapely.distance(flat, part))
            if short > rod.radius:
                continue
            at = frame.points(f, np.array([*part.centroid.coords[0], 0.0]))
            words = "its face ends below the flat of the piece: it meets the corner radius only"
            out.append(Doubt(body.name, words, "use a face that reaches past the corner radius", at, short))
            break
    return out


SEEN = 0.05  # mm; radii of meshes are fitted


def _moved(outline: object, relative: Array) -> object:
    import shapely

    return shapely.transform(outline, lambda xy: xy @ relative[:2, :2].T + relative[:2, 3])


def _shares(fixed: Flat, relative: Array, flat: Flat) -> bool:
    """Whether two flats in one plane have more than a graze in common."""
    import shapely

    common = shapely.intersection(fixed.outline, _moved(flat.outline, relative))
    if common.is_empty or common.area <= 0.0:
        return False
    x0, y0, x1, y1 = common.bounds
    return bool(common.area / max(np.hypot(x1 - x0, y1 - y0), 1e-9) >= LOCATING.least)


def unread_near(piece: Standing, fixed: Sequence[Standing], near: Near) -> tuple[str, ...]:
    """Fixed bodies that come near the piece where one of the two has a face that is not read."""
    out = []
    for body in fixed:
        if body is piece or not _meet(body.box, piece.box, near.within):
            continue
        if comes_near(body, piece, near.within) or comes_near(piece, body, near.within):
            out.append(body.name)
    return tuple(out)
