"""Declared welds: where along them the torch is tried, and how it stands there.

A weld is a line, the two pieces it joins and the two faces it lies between. At every point there is a frame of
three unit vectors: t along the path, n the outward perpendicular of the non-butting face (that of the piece named
first in ``joins``), and b square to both, pointing along that face away from the root, into the open.

```
        n
        |  | butting piece               work angle w: from n towards b, in the plane square to t
        |  |                             w = 0 stands square on the first face,
   -----+--+----> b    first face        w = 45 halves a right-angled corner
```

The nominal work angle always counts from n, whatever the opening between the faces: at an opening of 60 degrees the
middle of the joint is at w = 60, not 45. ``middle_angle`` tells it.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from fixture3d.access.arrays import Array, Bools
from fixture3d.frame import unit
from fixture3d.tolerance import NUMERIC, SHOP

BEND = 30.0
"""Degrees between two parts of a path at which it turns a corner: a torch cannot follow without a stop."""
PARALLEL = 1e-6
"""Two face normals whose sine is below this are taken as parallel."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Weld:
    """One weld line in world coordinates.

    Attributes:
        name: as in the scene.
        type: fillet, butt, corner, lap, edge or flare.
        joins: the two pieces; the first is the non-butting one, from whose face the work angle counts.
        size: leg or throat in mm, 0 when not given.
        path: (n, 3) points of the weld root, mm.
        technique: name of the technique.
        sides: outward normals of the two faces, (2, 3), or (n - 1, 2, 3) when they change from part to part.
        passes: how many passes it takes; 0 when not given.
        aim: (n - 1, 3) mm from the root to where the arc is aimed at each part of the path, of a joint that is too
            narrow at its root; None where that is the root.
    """

    name: str
    type: str
    joins: tuple[str, str]
    size: float
    path: Array
    technique: str
    sides: Array
    passes: int = 0
    aim: Array | None = None

    @property
    def length(self) -> float:
        """Length of the path, mm."""
        return float(np.linalg.norm(np.diff(self.path, axis=0), axis=1).sum())

    def __post_init__(self) -> None:
        path = np.asarray(self.path, dtype=np.float64)
        if path.ndim != 2 or path.shape[1] != 3 or len(path) < 2 or not np.isfinite(path).all():
            raise ValueError("expected a path of 2 or more points with 3 finite numbers each")
        if self.length <= SHOP.contact:
            raise ValueError(f"its path is {self.length:.3g} mm long; expected a length")
        sides = np.asarray(self.sides, dtype=np.float64)
        if sides.shape not in ((2, 3), (len(path) - 1, 2, 3)) or not np.isfinite(sides).all():
            raise ValueError(
                f"expected the normals of two faces, (2, 3), or of each part of the path, "
                f"({len(path) - 1}, 2, 3); got {sides.shape}"
            )
        if not (np.linalg.norm(sides, axis=-1) > NUMERIC.zero).all():
            raise ValueError("a face normal has no length")
        if self.aim is not None and (
            np.shape(self.aim) != (len(path) - 1, 3) or not np.isfinite(np.asarray(self.aim)).all()
        ):
            raise ValueError(
                f"expected an aim for each part of the path, ({len(path) - 1}, 3); got {np.shape(self.aim)}"
            )


@dataclass(frozen=True, kw_only=True, eq=False)
class WeldPoints:
    """Where along one weld the torch is tried.

    Attributes:
        points: (k, 3) where the arc is aimed, world mm: the root, or where a narrow joint is wide enough for an arc.
        frames: (k, 3, 3) columns t, b, n.
        lengths: (k,) the length of weld that each point stands for; their sum is the weld's length.
        along: (k,) distance of each point along the path.
        joined: (k - 1,) whether the torch can go from a point to the next without a corner between them.
        aims: (k, 3) from the root to each point, mm; None where all of them are the root.
    """

    points: Array
    frames: Array
    lengths: Array
    along: Array
    joined: Bools
    aims: Array | None = None

    @property
    def roots(self) -> Array:
        """(k, 3) the points on the path itself, world mm."""
        return self.points if self.aims is None else self.points - self.aims

    @property
    def length(self) -> float:
        """Length of the weld, mm."""
        return float(self.lengths.sum())


def joint_frame(tangent: ArrayLike, sides: ArrayLike) -> Array:
    """The frame (3, 3), columns t, b, n, of a weld along ``tangent`` between faces with normals ``sides`` (2, 3).

    Parallel normals (a butt, or two faces back to back) do not say which way is open; b is then n x t, to the left
    of the path seen from outside.

    Raises:
        ValueError: the first normal is parallel to the weld.
    """
    t = unit(tangent)
    first, second = np.asarray(sides, dtype=np.float64)
    n = first - t * float(first @ t)
    if float(np.linalg.norm(n)) <= PARALLEL * float(np.linalg.norm(first)):
        raise ValueError("Expected a face whose normal is square to the weld, got one along it")
    n = unit(n)
    b = np.cross(n, t)
    reach = float(second @ b)
    if reach < -PARALLEL * float(np.linalg.norm(second)):
        b = -b
    return np.column_stack([t, b, n])


def middle_angle(tangent: ArrayLike, sides: ArrayLike) -> float:
    """Work angle of the middle of the open space between two faces, degrees from the first face's normal.

    45 for a right-angled corner, inside or outside; 0 for a butt.
    """
    frame = joint_frame(tangent, sides)
    second = np.asarray(sides, dtype=np.float64)[1] @ frame
    return float(np.rad2deg(np.arctan2(second[1], second[2]))) / 2.0


def weld_points(weld: Weld, step: float = SHOP.weld_step) -> WeldPoints:
    """Points no more than ``step`` apart along a weld, both ends included, with their frames.

    The path is cut at corners (``BEND``); each stretch between corners gets evenly spaced points from end to end,
    so that a corner has one point for each of its sides. A point stands for half the way to each neighbour on its
    stretch.

    Raises:
        ValueError: a step that is not positive, or a face normal along the weld.
    """
    if not step > 0.0:
        raise ValueError(f"Expected a positive step, got {step:g}")
    path = np.asarray(weld.path, dtype=np.float64)
    sides = np.asarray(weld.sides, dtype=np.float64)
    parts = np.diff(path, axis=0)
    lengths = np.linalg.norm(parts, axis=1)
    keep = lengths > NUMERIC.merge
    sides = np.broadcast_to(sides, (len(parts), 2, 3))[keep]
    starts, parts, lengths = path[:-1][keep], parts[keep], lengths[keep]
    aim = np.zeros(path[:-1].shape) if weld.aim is None else np.asarray(weld.aim, dtype=np.float64)
    aim = aim[keep]
    frames = np.stack([joint_frame(part, pair) for part, pair in zip(parts, sides, strict=True)])
    # A corner is where the travel turns, or the faces do (a weld round a bar).
    cos = np.minimum(
        np.einsum("ij,ij->i", frames[1:, :, 0], frames[:-1, :, 0]),
        np.einsum("ij,ij->i", frames[1:, :, 2], frames[:-1, :, 2]),
    )
    cuts = [0, *(np.flatnonzero(cos < np.cos(np.deg2rad(BEND))) + 1).tolist(), len(parts)]
    stretches = [
        _stretch(starts[a:b], parts[a:b], lengths[a:b], frames[a:b], aim[a:b], step) for a, b in pairwise(cuts)
    ]
    offsets = np.concatenate([[0.0], np.cumsum(lengths)])[cuts[:-1]]
    joined = np.ones(sum(len(s[0]) for s in stretches), dtype=bool)
    joined[np.cumsum([len(s[0]) for s in stretches]) - 1] = False
    aimed = None if weld.aim is None else np.concatenate([s[4] for s in stretches])
    roots = np.concatenate([s[0] for s in stretches])
    return WeldPoints(
        points=roots if aimed is None else roots + aimed,
        frames=np.concatenate([s[1] for s in stretches]),
        lengths=np.concatenate([s[2] for s in stretches]),
        along=np.concatenate([s[3] + offset for s, offset in zip(stretches, offsets, strict=True)]),
        joined=joined[:-1],
        aims=aimed,
    )


def _stretch(
    starts: Array, parts: Array, lengths: Array, frames: Array, aim: Array, step: float
) -> tuple[Array, Array, Array, Array, Array]:
    """Points, frames, owned lengths, distances and aims of one stretch without a corner."""
    ends = np.concatenate([[0.0], np.cumsum(lengths)])
    total = float(ends[-1])
    count = max(1, int(np.ceil(total / step - 1e-9)))
    along = np.linspace(0.0, total, count + 1)
    part = np.clip(np.searchsorted(ends, along, side="right") - 1, 0, len(lengths) - 1)
    points = starts[part] + parts[part] * ((along - ends[part]) / lengths[part])[:, None]
    owned = np.full(count + 1, total / count)
    owned[[0, -1]] /= 2.0
    out, aimed = frames[part].copy(), aim[part].copy()
    for index in range(1, count):
        # At a vertex the torch stands between the frames of the two parts.
        before = part[index] - 1
        if before >= 0 and along[index] - ends[part[index]] <= NUMERIC.merge:
            out[index] = _between(frames[before], frames[part[index]])
            aimed[index] = (aim[before] + aim[part[index]]) / 2.0
    return points, out, owned, along, aimed


def _between(a: Array, b: Array) -> Array:
    """The frame halfway between two near ones, square again."""
    t = unit(a[:, 0] + b[:, 0])
    n = a[:, 2] + b[:, 2]
    n = unit(n - t * float(n @ t))
    side = np.cross(n, t)
    return np.column_stack([t, side if float(side @ (a[:, 1] + b[:, 1])) >= 0.0 else -side, n])
