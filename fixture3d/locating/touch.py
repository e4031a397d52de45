"""How one feature of a fixed body touches one feature of a piece: the plain geometry of each kind of pair.

Every function takes the fixed feature first, both with their feature_to_world, and gives contacts (or none) whose
normals point into the piece. A contact is kept where the gap is within the tolerance either way.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from fixture3d import frame
from fixture3d.frame import Array
from fixture3d.locating.contact import Contact
from fixture3d.locating.features import Ball, Feature, Flat, Ring, Rod, cross
from fixture3d.tolerance import LOCATING

__all__ = ["Near", "touches"]

_ROUND = np.arange(0.0, 360.0, 30.0)  # degrees; lines that stand for a round lying in a round of its own size


@dataclass(frozen=True)
class Near:
    """How near is touching: ``within`` mm, and ``angle`` in radians."""

    within: float
    angle: float

    @property
    def sin(self) -> float:
        """Of the angle."""
        return float(np.sin(self.angle))


def touches(fixed: Feature, f: Array, piece: Feature, p: Array, near: Near, name: str) -> Iterator[Contact]:
    """The contacts of two features; ``f`` and ``p`` are their feature_to_world, ``name`` that of the fixed body."""
    if isinstance(fixed, Flat) and isinstance(piece, Flat):
        yield from _flat_flat(fixed, f, piece, p, near, name)
    elif isinstance(fixed, Rod) and isinstance(piece, Rod):
        yield from _rod_rod(fixed, f, piece, p, near, name)
    elif isinstance(fixed, Flat):
        yield from _ON_FLAT[type(piece)](fixed, f, piece, p, near, name, True)
    elif isinstance(piece, Flat):
        yield from _ON_FLAT[type(fixed)](piece, p, fixed, f, near, name, False)
    elif isinstance(fixed, Ball) and isinstance(piece, Rod):
        yield from _ball_rod(fixed, f, piece, p, near, name, False)
    elif isinstance(piece, Ball) and isinstance(fixed, Rod):
        yield from _ball_rod(piece, p, fixed, f, near, name, True)
    elif isinstance(fixed, Ball) and isinstance(piece, Ball):
        yield from _ball_ball(fixed, f, piece, p, near, name)


def _flat_flat(fixed: Flat, f: Array, piece: Flat, p: Array, near: Near, name: str) -> Iterator[Contact]:
    if float(f[:3, 2] @ p[:3, 2]) > -np.cos(near.angle):
        return
    relative = frame.inverse(f) @ p
    corners = _corners(piece.box)
    there = corners @ relative[:2, :2].T + relative[:2, 3]
    height = corners @ relative[2, :2] + relative[2, 3]
    if height.min() > near.within or height.max() < -near.within:
        return
    if (there.min(axis=0) > fixed.box[1]).any() or (there.max(axis=0) < fixed.box[0]).any():
        return
    import shapely

    moved = shapely.transform(piece.outline, lambda xy: xy @ relative[:2, :2].T + relative[:2, 3])
    common = shapely.intersection(fixed.outline, moved)
    # The piece's plane as a height over the fixed one: z = level + slope . (x, y)
    normal = relative[:3, 2]
    slope = -normal[:2] / normal[2]
    level = float(relative[2, 3] - slope @ relative[:2, 3])
    common = _in_band(common, level, slope, near.within)
    area = float(common.area)
    if area <= 0.0:
        return
    hull = common.convex_hull.simplify(LOCATING.hull)
    outline = np.asarray(hull.exterior.coords)[:-1] if hull.geom_type == "Polygon" else np.zeros((0, 2))
    if len(outline) < 3:
        return
    across = float(np.linalg.norm(outline[:, None] - outline[None], axis=2).max())
    if area / across < LOCATING.least:
        return  # a graze along an edge
    gap = level + float(slope @ np.array(common.centroid.coords[0]))
    points = frame.points(f, np.column_stack([outline, np.zeros(len(outline))]))
    yield Contact(name, "face", f[:3, 2].copy(), points, area, gap)


def _corners(box: Array) -> Array:
    return np.array([box[0], [box[1, 0], box[0, 1]], box[1], [box[0, 0], box[1, 1]]])


def _in_band(region: Any, level: float, slope: Array, within: float) -> Any:
    """The part of a region where a sloping height stays within the tolerance."""
    if region.is_empty:
        return region
    x0, y0, x1, y1 = region.bounds
    box = _corners(np.array([[x0, y0], [x1, y1]]))
    heights = level + box @ slope
    size = float(np.linalg.norm(slope))
    if np.abs(heights).max() <= within or size < 1e-12:
        return region
    import shapely

    along, across = slope / size, np.array([-slope[1], slope[0]]) / size
    low, high = (-within - level) / size, (within - level) / size
    reach = float(np.abs(box).max()) * 2.0 + 1.0
    band = [low * along - reach * across, high * along - reach * across]
    band += [high * along + reach * across, low * along + reach * across]
    return shapely.intersection(region, shapely.Polygon(band))


def _span(flat: Flat, place: Array, a: Array, b: Array) -> tuple[float, float] | None:
    """The part of a line from a to b, as shares of it, that lies over a flat."""
    import shapely

    ends = frame.points(frame.inverse(place), np.stack([a, b]))[:, :2]
    low, high = ends.min(axis=0), ends.max(axis=0)
    if (low > flat.box[1]).any() or (high < flat.box[0]).any():
        return None
    inside = shapely.intersection(flat.outline, shapely.LineString(ends))
    if inside.is_empty:
        return None
    found = shapely.get_coordinates(inside)
    step = ends[1] - ends[0]
    shares = (found - ends[0]) @ step / float(step @ step)
    return float(shares.min()), float(shares.max())


def _line(name: str, normal: Array, a: Array, b: Array, gap: float) -> Contact:
    """A line from a to b, or a point where it is too short to be one."""
    if float(np.linalg.norm(b - a)) < LOCATING.least:
        return Contact(name, "point", normal, ((a + b) / 2.0)[None], 0.0, gap)
    return Contact(name, "line", normal, np.stack([a, b]), 0.0, gap)


def _rod_on_flat(
    flat: Flat, f: Array, rod: Rod, r: Array, near: Near, name: str, flat_is_fixed: bool
) -> Iterator[Contact]:
    if not rod.solid:
        return
    normal, axis = f[:3, 2], r[:3, 2]
    slope = float(axis @ normal)
    if abs(slope) > near.sin:
        return
    toward = -(normal - axis * slope)
    toward = toward / np.linalg.norm(toward)
    level = float((r[:3, 3] - f[:3, 3]) @ normal) - rod.radius
    if min(abs(level + slope * s) for s in rod.ends) > near.within and not (
        min(level + slope * s for s in rod.ends) < 0.0 < max(level + slope * s for s in rod.ends)
    ):
        return
    for low, high in rod.along(r[:3, :3].T @ toward, near.angle):
        span = _level_span(low, high, level, slope, near.within)
        if span is None:
            continue
        start = r[:3, 3] + rod.radius * toward
        a, b = start + axis * span[0], start + axis * span[1]
        if span[1] - span[0] < LOCATING.least:
            continue
        shares = _span(flat, f, a, b)
        if shares is None:
            continue
        a, b = a + (b - a) * shares[0], a + (b - a) * shares[1]
        gap = float(((a + b) / 2.0 - f[:3, 3]) @ normal)
        # The normal is that of the fixed body: of its flat, or of its rod.
        yield _line(name, normal.copy() if flat_is_fixed else toward, a, b, gap)


def _level_span(low: float, high: float, level: float, slope: float, within: float) -> tuple[float, float] | None:
    """The part of [low, high] where level + slope s stays within the tolerance either way."""
    if abs(slope) > 1e-12:
        first, last = sorted(((-within - level) / slope, (within - level) / slope))
        low, high = max(low, first), min(high, last)
    elif abs(level) > within:
        return None
    return (low, high) if low <= high else None


def _ball_on_flat(
    flat: Flat, f: Array, ball: Ball, b: Array, near: Near, name: str, flat_is_fixed: bool
) -> Iterator[Contact]:
    normal = f[:3, 2]
    gap = float((b[:3, 3] - f[:3, 3]) @ normal) - ball.radius
    if abs(gap) > near.within or not ball.faces(b[:3, :3].T @ -normal, near.angle):
        return
    at = b[:3, 3] - ball.radius * normal
    if _over(flat, f, at):
        yield Contact(name, "point", normal.copy() if flat_is_fixed else -normal, at[None], 0.0, gap)


def _over(flat: Flat, place: Array, at: Array) -> bool:
    import shapely

    x, y = frame.points(frame.inverse(place), at)[:2]
    return bool(shapely.intersects_xy(flat.outline, float(x), float(y)))


def _ring_on_flat(
    flat: Flat, f: Array, ring: Ring, r: Array, near: Near, name: str, flat_is_fixed: bool
) -> Iterator[Contact]:
    normal = f[:3, 2]
    toward = r[:3, :3].T @ -normal
    radial = float(np.linalg.norm(toward[:2]))
    if radial <= near.sin:
        # It lies flat: an arc of the circle on its side.
        angles = np.deg2rad(np.arange(0.0, 360.0, 5.0))
        angles = np.array([a for a in angles if ring.reached(float(a))])
        ring_points = np.column_stack([np.cos(angles), np.sin(angles), np.zeros(len(angles))]) * ring.major
        at = frame.points(r, ring_points) - ring.minor * normal
        gaps = (at - f[:3, 3]) @ normal
        kept = [k for k in range(len(at)) if abs(gaps[k]) <= near.within and _over(flat, f, at[k])]
        if len(kept) >= 2:
            chosen = np.unique(np.array(kept)[np.linspace(0, len(kept) - 1, min(5, len(kept))).round().astype(int)])
            pushed = normal.copy() if flat_is_fixed else -normal
            yield Contact(name, "line", pushed, at[chosen], 0.0, float(gaps[kept].mean()))
        return
    outward = np.array([toward[0], toward[1], 0.0]) / radial
    at = frame.points(r, ring.major * outward) - ring.minor * normal
    gap = float((at - f[:3, 3]) @ normal)
    if abs(gap) <= near.within and ring.reached(float(np.arctan2(outward[1], outward[0]))) and _over(flat, f, at):
        yield Contact(name, "point", normal.copy() if flat_is_fixed else -normal, at[None], 0.0, gap)


_ON_FLAT: dict[type, Callable[..., Iterator[Contact]]] = {
    Rod: _rod_on_flat,
    Ball: _ball_on_flat,
    Ring: _ring_on_flat,
}


def _rod_rod(fixed: Rod, f: Array, piece: Rod, p: Array, near: Near, name: str) -> Iterator[Contact]:
    if not fixed.solid and not piece.solid:
        return
    across = cross(f[:3, 2], p[:3, 2])
    if float(np.linalg.norm(across)) <= near.sin:
        if fixed.solid and piece.solid:
            yield from _side_by_side(fixed, f, piece, p, near, name)
        else:
            yield from _one_in_other(fixed, f, piece, p, near, name)
    elif fixed.solid and piece.solid:
        yield from _crossing(fixed, f, piece, p, near, name)


def _side_by_side(fixed: Rod, f: Array, piece: Rod, p: Array, near: Near, name: str) -> Iterator[Contact]:
    if fixed.radius == 0.0 and piece.radius == 0.0:
        return
    axis = f[:3, 2]
    step = p[:3, 3] - f[:3, 3]
    beside = step - axis * float(step @ axis)
    apart = float(np.linalg.norm(beside))
    # Off by so much at most where they are not quite parallel and their middles are far from each other.
    if apart < 1e-9:
        return
    toward = beside / apart
    gap = apart - fixed.radius - piece.radius
    if abs(gap) > near.within + near.sin * (abs(float(step @ axis))):
        return
    for a, b in _common(fixed, f, piece, p, toward, near):
        middle = f[:3, 3] + axis * (a + b) / 2.0
        gap = _beside(p, middle) - fixed.radius - piece.radius
        if abs(gap) <= near.within and b - a >= LOCATING.least:
            start = f[:3, 3] + toward * fixed.radius
            yield _line(name, toward, start + axis * a, start + axis * b, gap)


def _beside(place: Array, at: Array) -> float:
    """Distance of a point from the axis of a frame."""
    off = at - place[:3, 3]
    return float(np.linalg.norm(off - place[:3, 2] * float(off @ place[:3, 2])))


def _common(fixed: Rod, f: Array, piece: Rod, p: Array, toward: Array, near: Near) -> Iterator[tuple[float, float]]:
    """Lengths along the fixed axis where both rods face each other; ``toward`` is the way from fixed to piece.

    A hollow one faces its wall: seen from the axis of either, the place is on the same side.
    """
    back = -toward if piece.solid and fixed.solid else toward
    sign = 1.0 if float(f[:3, 2] @ p[:3, 2]) > 0.0 else -1.0
    shift = float((p[:3, 3] - f[:3, 3]) @ f[:3, 2])
    mine = fixed.along(f[:3, :3].T @ toward, near.angle)
    theirs = [sorted((shift + sign * a, shift + sign * b)) for a, b in piece.along(p[:3, :3].T @ back, near.angle)]
    for a, b in mine:
        for c, d in theirs:
            if max(a, c) <= min(b, d):
                yield max(a, c), min(b, d)


def _one_in_other(fixed: Rod, f: Array, piece: Rod, p: Array, near: Near, name: str) -> Iterator[Contact]:
    """A tube in a half round, a fillet or a bore; or a bore of the piece over a pin."""
    hollow, inner = (piece, fixed) if fixed.solid else (fixed, piece)
    room = hollow.radius - inner.radius
    if inner.radius == 0.0 or room < -near.within:
        return
    axis = f[:3, 2]
    step = (p[:3, 3] - f[:3, 3]) if not fixed.solid else (f[:3, 3] - p[:3, 3])
    off = step - axis * float(step @ axis)  # of the inner rod from the hollow's axis
    if room <= near.within:
        x, y = f[:3, 0], f[:3, 1]
        ways = [np.cos(a) * x + np.sin(a) * y for a in np.deg2rad(_ROUND)]
    elif float(np.linalg.norm(off)) > 1e-9:
        ways = [off / np.linalg.norm(off)]
    else:
        return
    for way in ways:
        gap = room - float(off @ way)
        if abs(gap) > near.within:
            continue
        for a, b in _common(fixed, f, piece, p, way, near):
            if b - a >= LOCATING.least:
                start = f[:3, 3] + way * fixed.radius
                yield _line(name, way if fixed.solid else -way, start + axis * a, start + axis * b, gap)


def _crossing(fixed: Rod, f: Array, piece: Rod, p: Array, near: Near, name: str) -> Iterator[Contact]:
    """Two rods, or edges, that cross: where their axes are nearest."""
    u, v = f[:3, 2], p[:3, 2]
    step = p[:3, 3] - f[:3, 3]
    cos = float(u @ v)
    below = 1.0 - cos * cos
    s = (float(step @ u) - cos * float(step @ v)) / below
    t = (cos * float(step @ u) - float(step @ v)) / below
    a, b = f[:3, 3] + u * s, p[:3, 3] + v * t
    apart = float(np.linalg.norm(b - a))
    square = cross(u, v) / np.sqrt(below)
    side = float((b - a) @ square)
    reach = fixed.radius + piece.radius
    for toward in (square, -square):
        gap = side * (1.0 if toward is square else -1.0) - reach
        if abs(gap) > near.within or (reach > 0.0 and apart < 1e-9):
            continue
        if not _holds(fixed.along(f[:3, :3].T @ toward, near.angle), s):
            continue
        if _holds(piece.along(p[:3, :3].T @ -toward, near.angle), t):
            yield Contact(name, "point", toward, (a + toward * fixed.radius)[None], 0.0, gap)


def _holds(spans: list[tuple[float, float]], s: float) -> bool:
    return any(a <= s <= b for a, b in spans)


def _ball_rod(ball: Ball, b: Array, rod: Rod, r: Array, near: Near, name: str, rod_is_fixed: bool) -> Iterator[Contact]:
    if not rod.solid or (ball.radius == 0.0 and rod.radius == 0.0):
        return
    step = b[:3, 3] - r[:3, 3]
    s = float(step @ r[:3, 2])
    off = step - r[:3, 2] * s
    apart = float(np.linalg.norm(off))
    gap = apart - rod.radius - ball.radius
    if abs(gap) > near.within or apart < 1e-9:
        return
    out = off / apart
    if ball.faces(b[:3, :3].T @ -out, near.angle) and _holds(rod.along(r[:3, :3].T @ out, near.angle), s):
        at = b[:3, 3] - out * (ball.radius + gap / 2.0)
        yield Contact(name, "point", out if rod_is_fixed else -out, at[None], 0.0, gap)


def _ball_ball(fixed: Ball, f: Array, piece: Ball, p: Array, near: Near, name: str) -> Iterator[Contact]:
    step = p[:3, 3] - f[:3, 3]
    apart = float(np.linalg.norm(step))
    gap = apart - fixed.radius - piece.radius
    if abs(gap) > near.within or apart < 1e-9 or fixed.radius + piece.radius == 0.0:
        return
    way = step / apart
    if fixed.faces(f[:3, :3].T @ way, near.angle) and piece.faces(p[:3, :3].T @ -way, near.angle):
        yield Contact(name, "point", way, (f[:3, 3] + way * (fixed.radius + gap / 2.0))[None], 0.0, gap)
