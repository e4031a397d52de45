"""Where tacks go along one weld: near its ends, clear of corners and blocks, where the torch comes.

Lengths are mm, places are mm along the weld's path, points are in the world. How many and how long is common practice,
no source; the figures are in ``tolerance.Tacking``.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fixture3d.access.welds import BEND, Weld
from fixture3d.frame import Array
from fixture3d.job.job import Body, Job
from fixture3d.solid.bvh import point_triangle
from fixture3d.tolerance import NUMERIC, SHOP, TACKING

if TYPE_CHECKING:
    from fixture3d.solid.joint_faces import Faces

Span = tuple[float, float]
_IN_THE_WAY = ("block", "clamp", "pin", "shim")
_MOST = 200_000  # pairs of point and triangle that are looked at in one go


class Line:
    """The path of a weld, by length.

    Attributes:
        length: of the path.
        closed: it ends where it starts, without a corner.
        stretches: from and to between corners and ends.
    """

    def __init__(self, weld: Weld) -> None:
        path = np.asarray(weld.path, dtype=np.float64)
        parts = np.diff(path, axis=0)
        long = np.linalg.norm(parts, axis=1)
        kept = long > NUMERIC.merge
        self._path = np.concatenate([path[:1], path[1:][kept]])
        self._at = np.concatenate([[0.0], np.cumsum(long[kept])])
        self.length = float(self._at[-1])
        ways = parts[kept] / long[kept][:, None]
        turns = np.einsum("ij,ij->i", ways[1:], ways[:-1]) < math.cos(math.radians(BEND))
        cuts = [0.0, *self._at[1:-1][turns].tolist(), self.length]
        self.stretches = tuple(pairwise(cuts))
        ends_meet = float(np.linalg.norm(path[0] - path[-1])) <= SHOP.contact
        self.closed = ends_meet and len(self.stretches) == 1 and len(ways) > 1

    def point(self, at: float) -> Array:
        """The point (3,) of the path at a length along it."""
        out: Array = self.points(np.array([at]))[0]
        return out

    def points(self, at: Array) -> Array:
        """The points (n, 3) at lengths (n,)."""
        return np.stack([np.interp(at, self._at, self._path[:, k]) for k in range(3)], axis=1)


@dataclass(frozen=True, kw_only=True)
class Room:
    """What a tack on one weld may use.

    Attributes:
        spots: for each stretch between corners the tacks, from and to, that its length asks for.
        pairs: the same when the stretch is the only one of its joint, so that it gets two if they fit.
        near: blocks that stand too near somewhere along the weld, by name.
    """

    spots: tuple[tuple[Span, ...], ...]
    pairs: tuple[tuple[Span, ...], ...]
    near: tuple[str, ...]

    @property
    def usable(self) -> int:
        """How many stretches have room for a tack."""
        return sum(bool(spots) for spots in self.spots)


def reached_spans(length: float, unreached: Iterable[Span]) -> list[Span]:
    """The stretches of a weld of some length that are left between those that the torch does not reach."""
    out, at = [], 0.0
    for low, high in sorted(unreached):
        if low - at > NUMERIC.merge:
            out.append((at, low))
        at = max(at, high)
    if length - at > NUMERIC.merge:
        out.append((at, length))
    return out


class Blocks:
    """Everything of a setup that a tack must keep away from: blocks, clamps, dowels and shims."""

    def __init__(self, job: Job) -> None:
        self._bodies = [body for body in job.bodies if body.role in _IN_THE_WAY]
        self._faces: dict[str, Faces] = {}

    def near(self, points: Array, limit: float) -> tuple[NDArray[np.bool_], tuple[str, ...]]:
        """Which of the points (n, 3) are nearer than ``limit`` to a block or within one, and the items in question."""
        bad = np.zeros(len(points), dtype=np.bool_)
        names: dict[str, None] = {}
        for body in self._bodies:
            low, high = body.box
            ask = np.flatnonzero(((points > low - limit) & (points < high + limit)).all(axis=1))
            if len(ask):
                hit = ask[self._touched(body, points[ask], limit)]
                bad[hit] = True
                if len(hit):
                    names[body.item] = None
        return bad, tuple(sorted(names))

    def _touched(self, body: Body, points: Array, limit: float) -> NDArray[np.bool_]:
        """Which of the points (n, 3), all about the body's box, are nearer than the limit or within it."""
        out = np.zeros(len(points), dtype=np.bool_)
        corners = body.triangles
        low, high = points.min(axis=0) - limit, points.max(axis=0) + limit
        some = corners[((corners.min(axis=1) < high) & (corners.max(axis=1) > low)).all(axis=1)]
        step = max(1, _MOST // max(1, len(some)))
        for first in range(0, len(points) if len(some) else 0, step):
            few = points[first : first + step]
            gaps = point_triangle(np.repeat(few, len(some), axis=0), np.tile(some, (len(few), 1, 1)))
            out[first : first + step] = (gaps.reshape(len(few), len(some)) < limit).any(axis=1)
        for k in np.flatnonzero(~out):
            # Far from the surface: it may still be deep inside.
            box = body.box
            if ((points[k] > box[0]) & (points[k] < box[1])).all():
                out[k] = self._solid(body).holds_any(points[k : k + 1])
        return out

    def _solid(self, body: Body) -> Faces:
        from fixture3d.solid.facets import OTHER
        from fixture3d.solid.joint_faces import Faces

        if body.name not in self._faces:
            mesh = body.shape.mesh
            surfaces = [(float(len(mesh.faces)), OTHER)]
            self._faces[body.name] = Faces(mesh.vertices, mesh.faces, surfaces, body.body_to_world)
        return self._faces[body.name]


def room_for_tacks(weld: Weld, line: Line, unreached: Sequence[Span], blocks: Blocks) -> Room:
    """Where tacks can go on a weld.

    Args:
        weld: with its size, from which the length of a tack and their spacing follow.
        line: its path.
        unreached: stretches where the torch does not come.
        blocks: what a tack keeps away from by ``SHOP.bead_keep_out``.
    """
    count = max(2, math.ceil(line.length / TACKING.step) + 1)
    grid = np.linspace(0.0, line.length, count)
    # Half a step more, so that what lies between two tried places is clear as well.
    bad, near = blocks.near(line.points(grid), SHOP.bead_keep_out + line.length / (count - 1) / 2.0)
    size = TACKING.length
    spacing = TACKING.spacing
    if weld.size > NUMERIC.zero:
        size = min(TACKING.most_length, max(size, TACKING.per_leg * weld.size))
        spacing = max(2.0 * size, min(spacing, TACKING.spacing_per_leg * weld.size))
    found: tuple[list[tuple[Span, ...]], list[tuple[Span, ...]]] = ([], [])
    for low, high in line.stretches:
        for alone in (False, True):
            own = _size(high - low, size, line.closed, alone)
            free = _Free(grid, bad, unreached, low, high, own, _back(high - low, own, line.closed, alone))
            places = free.nearest(_targets(free, spacing, line.closed, alone))
            found[alone].append(tuple((at - own / 2.0, at + own / 2.0) for at in places))
    return Room(spots=tuple(found[False]), pairs=tuple(found[True]), near=near)


def _size(length: float, usual: float, closed: bool, alone: bool) -> float:
    """How long a tack is on a stretch: shorter where a second one must find room."""
    if not alone or closed:
        return min(usual, length)
    half = (length - TACKING.apart) / 2.0
    return min(usual, length) if half < TACKING.least else min(usual, max(TACKING.least, half - _margin(length)))


def _margin(length: float) -> float:
    return min(TACKING.back, TACKING.back_share * length)


def _back(length: float, size: float, closed: bool, alone: bool) -> float:
    """How far a tack keeps from the ends of a stretch."""
    if closed:
        return 0.0
    back = min(_margin(length), (length - size) / 2.0)
    two = (length - 2.0 * size - TACKING.apart) / 2.0  # more would leave no room for a second one
    return min(back, max(0.0, two)) if alone and two > -NUMERIC.merge else back


class _Free:
    """The places of one stretch where the middle of a tack may be."""

    def __init__(
        self,
        grid: Array,
        bad: NDArray[np.bool_],
        unreached: Sequence[Span],
        low: float,
        high: float,
        size: float,
        back: float,
    ) -> None:
        self.low, self.high, self.size = low, high, size
        self.first, self.last = low + back + size / 2.0, high - back - size / 2.0
        self._grid, self._bad_before, self._unreached = grid, np.concatenate([[0], np.cumsum(bad)]), unreached
        inner = grid[(grid > self.first) & (grid < self.last)]
        places = np.array([self.first, *inner.tolist(), self.last])
        self._places = places[self.holds(places)]

    def holds(self, at: Array) -> NDArray[np.bool_]:
        """Whether a tack about each of the places (n,) is reached and clear from end to end."""
        half = self.size / 2.0
        good = (at >= self.first - NUMERIC.merge) & (at <= self.last + NUMERIC.merge)
        for low, high in self._unreached:
            good &= ~((low < at + half - NUMERIC.merge) & (high > at - half + NUMERIC.merge))
        # Tried places beyond both its ends too.
        a = np.maximum(0, np.searchsorted(self._grid, at - half, side="right") - 1)
        b = np.minimum(len(self._grid), np.searchsorted(self._grid, at + half, side="left") + 1)
        good &= self._bad_before[b] == self._bad_before[a]
        return good

    def nearest(self, targets: Sequence[float]) -> list[float]:
        """For each target the nearest place that is free and apart from those before, as far as there is one."""
        wanted = np.array(targets)
        places = np.unique(np.concatenate([self._places, wanted[self.holds(wanted)]]))
        least = self.size + TACKING.apart - NUMERIC.merge
        taken: list[float] = []
        for target in targets:
            if len(places):
                taken.append(float(places[np.argmin(np.round(np.abs(places - target), 6))]))
                places = places[np.abs(places - taken[-1]) >= least]
        return sorted(taken)


def _targets(free: _Free, spacing: float, closed: bool, alone: bool) -> list[float]:
    """Where tacks would go on a stretch without anything in the way."""
    length = free.high - free.low
    if closed:
        count = max(TACKING.round, math.ceil(length / spacing))
        if length < count * (free.size + TACKING.apart):
            count = 2 if length >= 2.0 * (free.size + TACKING.apart) else 1
        return [free.low + length * (k + 0.5) / count for k in range(count)]
    between = free.last - free.first
    if between >= free.size + TACKING.apart - NUMERIC.merge and (alone or length >= TACKING.two_from):
        count = max(2, 1 + math.ceil(between / spacing - NUMERIC.angle))
        ends_first = [0, count - 1, *range(1, count - 1)]
        return [free.first + between * k / (count - 1) for k in ends_first]
    return [(free.first + free.last) / 2.0]
