"""Can it come out: which bodies stop a straight, endless move of the work.

Seen along the direction, a body stops the work exactly where its upper side lies above the work's lower side. That
region is drawn on a plane square to the direction, the regions of all pieces and facets are united, and what is left
after taking `Leaving.hook` off all round stops the move. A face that slides along another one shares only an edge
with it in that picture, so touching never stops a move.

Assumed: rigid bodies, a straight path, no turning on the way. A body that already reaches into the work by more than
`Leaving.sunk` counts as in the way; that is a matter of interference first.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fixture3d.frame import identity
from fixture3d.solid.relate import Placed
from fixture3d.solid.shape import Shape
from fixture3d.tolerance import LEAVING, NUMERIC

__all__ = ["Bodies", "Way", "fewest_to_take_away", "way_out", "ways_out"]

Array = NDArray[np.float64]
Moving = object  # one solid, a sequence of solids, or a mapping of name to solid
Fixed = Mapping[str, object] | Sequence[Placed]

_GRID = 1e-5  # mm; hairline slits between parts of one region are closed
_SOME = (6, 40)  # parts of a region that are united before all are


@dataclass(frozen=True, eq=False)
class Way:
    """One straight way.

    Attributes:
        direction: (3,) unit, world.
        stopped_by: names of the fixed bodies in the way, in their order; empty when the way is free.
    """

    direction: Array
    stopped_by: tuple[str, ...]

    @property
    def free(self) -> bool:
        """Whether nothing is in the way."""
        return not self.stopped_by


def way_out(moving: Moving, fixed: Fixed, direction: ArrayLike) -> list[str]:
    """Names of the fixed bodies that stop a straight, endless move; empty when it is free.

    Hooks under 0.4 mm (twice `Leaving.hook`) are not seen; an undercut of 0.5 mm always is.

    Args:
        moving: one solid, or several as a sequence or mapping, which move as one. A solid is a cadquery shape,
            ``TopoDS_Shape``, trimesh mesh, `Mesh`, `Shape` or `Placed`, mm, world.
        fixed: name to solid, or placed bodies.
        direction: (3,) any length but 0.

    Returns:
        Names in the order of ``fixed``.

    Raises:
        BadSolid: a solid is open, empty or broken.
        ValueError: the direction has no length or is not finite; nothing moves; two fixed bodies of one name.
    """
    d = unit(direction)
    bodies, moves, stays = _prepared(moving, fixed)
    return [bodies.names[k] for k in bodies.stops(moves, stays, d)]


def ways_out(moving: Moving, fixed: Fixed, extra: ArrayLike | None = None) -> list[Way]:
    """Each direction worth trying, and what is in the way there.

    Tried are the six axes; the normals of the work's faces and of faces of fixed bodies near it; the directions
    along two such faces at once (edges of the cone that they leave open, the way along a V); the axes of round
    faces; and a fan of 20 others. A way between these is not found: when none is free, say that there is no single
    straight way out, not that the work is trapped.

    Args:
        moving: as for `way_out`.
        fixed: as for `way_out`.
        extra: (n, 3) more directions, after the axes.

    Raises:
        BadSolid: as `way_out`.
        ValueError: as `way_out`.
    """
    from fixture3d.locating.leaving_directions import candidates

    bodies, moves, stays = _prepared(moving, fixed)
    near = set(bodies.near(moves, LEAVING.near))
    tried = candidates(
        [bodies.triangles[k] for k in moves],
        [bodies.triangles[k] for k in stays if k in near],
        None if extra is None else np.asarray(extra, dtype=np.float64).reshape(-1, 3),
    )
    return [Way(d, tuple(bodies.names[k] for k in bodies.stops(moves, stays, d))) for d in tried]


def fewest_to_take_away(ways: Sequence[Way], stay: Collection[str] = ()) -> list[Way]:
    """The ways that need the fewest bodies taken away first; what stops such a way is what to take.

    Exact for the ways given: bodies stop a way one by one, so that exactly those that stop it must go.

    Args:
        ways: from `ways_out`.
        stay: names that cannot be taken away, as the table.

    Returns:
        One way for each smallest set, in the order of ``ways``; empty when each way is stopped by one that stays.
    """
    open_ = [way for way in ways if not set(way.stopped_by) & set(stay)]
    least = min((len(way.stopped_by) for way in open_), default=0)
    seen: set[frozenset[str]] = set()
    out = []
    for way in open_:
        names = frozenset(way.stopped_by)
        if len(names) == least and names not in seen:
            seen.add(names)
            out.append(way)
    return out


class Bodies:
    """Solids prepared once, so that many moves can be asked of them.

    Args:
        placed: the bodies; the index of each is its place here.

    Raises:
        BadSolid: a solid is open, empty or broken.
    """

    def __init__(self, placed: Sequence[Placed]) -> None:
        self.names = [body.name for body in placed]
        self.triangles: list[Array] = []
        points = []
        for body in placed:
            mesh = body.shape.mesh
            corners = mesh.vertices @ body.pose[:3, :3].T + body.pose[:3, 3]
            points.append(corners)
            self.triangles.append(np.ascontiguousarray(corners[mesh.faces]))
        self._points = np.ascontiguousarray(np.vstack(points)) if points else np.zeros((0, 3))
        self._starts = np.cumsum([0, *(len(p) for p in points)]).astype(np.int64)
        self._boxes: Array | None = None
        self._seen: dict[bytes, _Seen] = {}

    def stops(self, moves: Sequence[int], stays: Sequence[int], direction: Array, first: bool = False) -> list[int]:
        """Which of ``stays`` stop ``moves`` moved as one along ``direction``.

        Args:
            moves: indices of the bodies that move.
            stays: indices of the others.
            direction: (3,) unit.
            first: True returns at the first one found.

        Returns:
            Indices, in the order of ``stays``.
        """
        if not len(moves) or not len(stays):
            return []
        seen = self._along(direction)
        near = seen.may_meet(np.asarray(moves), np.asarray(stays))
        out = []
        for column in np.nonzero(near.any(axis=0))[0].tolist():
            if self._stopped(seen, [moves[row] for row in np.nonzero(near[:, column])[0].tolist()], stays[column]):
                out.append(stays[column])
                if first:
                    break
        return out

    def near(self, bodies: Sequence[int], reach: float) -> list[int]:
        """Indices of the bodies whose boxes come within ``reach`` mm of the box round ``bodies``, these included."""
        boxes = self._world_boxes()
        low = boxes[list(bodies), :, 0].min(axis=0) - reach
        high = boxes[list(bodies), :, 1].max(axis=0) + reach
        meets = ((boxes[:, :, 0] <= high) & (boxes[:, :, 1] >= low)).all(axis=1)
        return [int(k) for k in np.nonzero(meets)[0]]

    def clear_after(self, moves: Sequence[int], stays: Sequence[int], direction: Array) -> float:
        """How far ``moves`` must go along ``direction`` until they are past every one of ``stays`` beside them, mm.

        By boxes seen along the direction; beside are those that come within `Leaving.near` there.
        """
        if not len(moves) or not len(stays):
            return 0.0
        extents = self._along(direction).extents
        mine, others = extents[list(moves)], extents[list(stays)]
        low, high = mine[:, :2, 0].min(axis=0), mine[:, :2, 1].max(axis=0)
        apart = np.maximum(low - others[:, :2, 1], others[:, :2, 0] - high)
        beside = (apart <= LEAVING.near).all(axis=1)
        return max(0.0, float(others[beside, 2, 1].max(initial=-np.inf)) - float(mine[:, 2, 0].min()))

    def until_past(
        self, moves: Sequence[int], stays: Sequence[int], past: Sequence[int], direction: Array
    ) -> list[int]:
        """Those of ``stays`` that ``moves`` can meet along ``direction`` before they are past all of ``past``.

        By boxes: ``past`` counts as one box, so that what stands within it must come out of it.
        """
        if not len(moves) or not len(stays) or not len(past):
            return list(stays)
        extents = self._along(direction).extents
        mine = extents[list(moves)]
        far = max(0.0, float(extents[list(past), 2, 1].max()) - float(mine[:, 2, 0].min()))
        return [k for k in stays if extents[k, 2, 0] < float(mine[:, 2, 1].max()) + far]

    def _world_boxes(self) -> Array:
        if self._boxes is None:
            from fixture3d.locating.leaving_kernel import extents

            self._boxes = extents(self._points, self._starts, np.eye(3))
        return self._boxes

    def _along(self, direction: Array) -> _Seen:
        key = direction.tobytes()
        if key not in self._seen:
            from fixture3d.locating.leaving_kernel import extents

            rows = _rows(direction)
            self._seen[key] = _Seen(rows, extents(self._points, self._starts, rows), self._world_boxes())
        return self._seen[key]

    def _stopped(self, seen: _Seen, moves: Sequence[int], stay: int) -> bool:
        from fixture3d.locating.leaving_kernel import above

        upper, upper_square = seen.facets(self.triangles, stay, upper=True)
        corners, sizes, total = [], [], 0.0
        for move in moves:
            lower, lower_square = seen.facets(self.triangles, move, upper=False)
            settled, part, counts, area = above(lower, lower_square, upper, upper_square, LEAVING.sunk, LEAVING.hook)
            if settled:
                return True
            corners.append(part)
            sizes.append(counts)
            total += area
        if total <= np.pi * LEAVING.hook**2:
            return False
        return _survives(np.vstack(corners), np.concatenate(sizes), LEAVING.hook)


class _Seen:
    """Bodies seen along one direction: their extents, and their facets once they are asked for."""

    def __init__(self, rows: Array, extents: Array, boxes: Array) -> None:
        self.rows = rows
        self.extents = extents
        self.boxes = boxes
        self._facets: dict[tuple[int, bool], tuple[Array, Array]] = {}

    def may_meet(self, moves: NDArray[np.int64], stays: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Whether the boxes leave it open that a body stops a piece, (m, n)."""
        a, b = self.extents[moves][:, None], self.extents[stays][None, :]
        shadows = (a[:, :, :2, 1] > b[:, :, :2, 0]) & (b[:, :, :2, 1] > a[:, :, :2, 0])
        out: NDArray[np.bool_] = shadows.all(axis=2) & (b[:, :, 2, 1] > a[:, :, 2, 0])
        # What the pieces together share with a body's shadow must be wide enough to be seen.
        low = np.where(out[:, :, None], a[:, :, :2, 0], np.inf).min(axis=0)
        high = np.where(out[:, :, None], a[:, :, :2, 1], -np.inf).max(axis=0)
        wide = np.minimum(high, b[0, :, :2, 1]) - np.maximum(low, b[0, :, :2, 0])
        out &= (wide > 2.0 * LEAVING.hook).all(axis=1)
        # A piece that lies beyond a plane and does not move back through it never meets what lies on this side.
        a, b = self.boxes[moves][:, None], self.boxes[stays][None, :]
        for axis, way in enumerate(self.rows[2]):
            if way >= 0.0:
                out &= a[:, :, axis, 0] < b[:, :, axis, 1] - NUMERIC.merge
            if way <= 0.0:
                out &= a[:, :, axis, 1] > b[:, :, axis, 0] + NUMERIC.merge
        return out

    def facets(self, triangles: Sequence[Array], body: int, upper: bool) -> tuple[Array, Array]:
        """The body's facets that look along the direction, or against it: see ``leaving_kernel.facing``."""
        key = (body, upper)
        if key not in self._facets:
            from fixture3d.locating.leaving_kernel import facing

            self._facets[key] = facing(triangles[body], self.rows, upper)
        return self._facets[key]


def unit(direction: ArrayLike) -> Array:
    """``direction`` with a length of 1.

    Raises:
        ValueError: it has no length, or is not three finite numbers.
    """
    d = np.asarray(direction, dtype=np.float64).reshape(-1)
    size = float(np.linalg.norm(d)) if len(d) == 3 else 0.0
    if not (np.isfinite(size) and size > 0.0):
        raise ValueError(f"direction is {direction!r}; expected three numbers, not all 0")
    out: Array = d / size + 0.0
    return out


def placed_bodies(given: Fixed | Moving, stem: str) -> list[Placed]:
    """Bodies of every kind that `way_out` takes, as placed ones; nameless ones are named by ``stem``.

    Raises:
        BadSolid: one is open, empty or broken.
    """
    if isinstance(given, Mapping):
        named = [(str(name), solid) for name, solid in given.items()]
    elif isinstance(given, (list, tuple)):
        named = [(one.name if isinstance(one, Placed) else f"{stem} {k + 1}", one) for k, one in enumerate(given)]
    else:
        named = [(given.name if isinstance(given, Placed) else stem, given)]
    out = []
    for name, solid in named:
        if isinstance(solid, Placed):
            out.append(Placed(name, solid.shape, solid.pose))
        else:
            out.append(Placed(name, Shape.of(solid), identity()))
    return out


def _prepared(moving: Moving, fixed: Fixed) -> tuple[Bodies, list[int], list[int]]:
    moves, stays = placed_bodies(moving, "work"), placed_bodies(fixed, "block")
    if not moves:
        raise ValueError("nothing moves; expected at least one solid")
    if len({body.name for body in stays}) != len(stays):
        raise ValueError("Expected fixed bodies of different names")
    count = len(moves)
    return Bodies([*moves, *stays]), list(range(count)), list(range(count, count + len(stays)))


def _rows(direction: Array) -> Array:
    """Two axes square to the direction, and itself, (3, 3) rows, right-handed."""
    other = np.zeros(3)
    other[int(np.argmin(np.abs(direction)))] = 1.0
    u = np.cross(other, direction)
    u /= np.linalg.norm(u)
    return np.ascontiguousarray(np.stack([u, np.cross(direction, u), direction]))


def _survives(corners: Array, sizes: NDArray[np.int64], erode: float) -> bool:
    """Whether the union of convex polygons holds a circle of radius ``erode``.

    The widest parts mostly settle it, and a union of many costs: a few are tried first.
    """
    starts = np.concatenate([[0], np.cumsum(sizes)[:-1]])
    after = np.arange(len(corners)) + 1
    after[np.cumsum(sizes) - 1] = starts
    twice = np.add.reduceat(corners[:, 0] * corners[after, 1] - corners[after, 0] * corners[:, 1], starts)
    widest = np.argsort(-twice, kind="stable")
    of = np.repeat(np.arange(len(sizes)), sizes)
    for count in (*(some for some in _SOME if some < len(sizes)), len(sizes)):
        chosen = np.sort(widest[:count])
        if twice[chosen].sum() > 2.0 * np.pi * erode**2 and _holds(corners[np.isin(of, chosen)], sizes[chosen], erode):
            return True
    return False


def _holds(corners: Array, sizes: NDArray[np.int64], erode: float) -> bool:
    """As `_survives`, of all parts at once."""
    import shapely

    every = np.arange(len(sizes))
    starts = np.concatenate([[0], np.cumsum(sizes)[:-1]])
    # Each ring closes on its first corner.
    rings = np.concatenate([np.repeat(every, sizes), every])
    order = np.argsort(rings, kind="stable")
    closed = np.concatenate([corners, corners[starts]])[order]
    parts: Any = shapely.polygons(shapely.linearrings(closed, indices=rings[order]))
    region = shapely.union_all(parts, grid_size=_GRID)
    return not shapely.buffer(region, -(erode + _GRID)).is_empty
