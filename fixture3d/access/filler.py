r"""The hand that feeds filler: a rod from the weld, and the hand on it, ahead of the arc, opposite the torch.

The rod lies in the plane of the weld and the nominal work angle, at the filler angle from the weld, in front of the
arc as it travels. The usual angle comes first; where something stands ahead the hand comes steeper. What is beyond
the hand, the rod's free end and the arm, is not covered.

```
    torch  \       hand O====  free end
            \         .`
     back    \     .` rod      filler angle a: from the weld to the rod
   -----------\.`--a-------------> way of travel
```
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from fixture3d.access.arrays import Array, Bools, Bytes, Ints
from fixture3d.access.torch import Technique
from fixture3d.access.torch_space import TorchBody
from fixture3d.access.welds import WeldPoints
from fixture3d.access.window import Window
from fixture3d.frame import cos_sin

if TYPE_CHECKING:
    from fixture3d.access.obstacles import Obstacles


ROD_DIAMETER = 2.4
"""mm; rods are 1.6 to 3.2: common practice, no source."""
ROD_FROM = 15.0
"""mm from the root at which the rod is first looked at: nearer, it lies in the joint on purpose."""
HAND_AT = 200.0
"""mm from the root to the middle of the feeding hand's near end; common practice, no source."""
HAND_LENGTH = 60.0
HAND_DIAMETER = 90.0
"""mm; the same glove as on the torch: common practice, no source."""
ANGLE_STEP = 15.0
"""Degrees between two filler angles that are tried."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Feed:
    """A feeding hand in the weld's own frame, axes tangent, sideways and normal.

    Attributes:
        angles: (F,) filler angles that are tried, the usual one first, degrees.
        starts: (2, F, 2, 3) one end of rod and hand, for travel along the path and back along it.
        ends: (2, F, 2, 3) the other ends.
        radii: (2,) of rod and hand.
    """

    angles: Array
    starts: Array
    ends: Array
    radii: Array

    @property
    def reach(self) -> float:
        """The greatest distance from the root to any part of it, mm."""
        return HAND_AT + HAND_LENGTH + HAND_DIAMETER / 2.0


@lru_cache(maxsize=64)
def feed_of(technique: Technique) -> Feed | None:
    """The feeding hand of a technique whose work angle is known, or None when no hand feeds."""
    if technique.filler_angle is None:
        return None
    least, most = technique.filler_angle
    angles = np.linspace(least, most, int(np.ceil((most - least) / ANGLE_STEP - 1e-9)) + 1)
    c, s = cos_sin(technique.work[0])
    middle = np.array([0.0, s, c])
    starts, ends = np.zeros((2, len(angles), 2, 3)), np.zeros((2, len(angles), 2, 3))
    for way, sense in enumerate((1.0, -1.0)):
        for k, angle in enumerate(angles):
            along, up = cos_sin(float(angle))
            rod = along * np.array([sense, 0.0, 0.0]) + up * middle
            starts[way, k] = np.outer([ROD_FROM, HAND_AT], rod)
            ends[way, k] = np.outer([HAND_AT, HAND_AT + HAND_LENGTH], rod)
    return Feed(angles=angles, starts=starts, ends=ends, radii=np.array([ROD_DIAMETER, HAND_DIAMETER]) / 2.0)


@lru_cache(maxsize=64)
def apart(feed: Feed, torch: TorchBody, window: Window, mirrored: bool) -> Bools:
    """Whether feeding hand and torch leave each other room, (2, F, D, R): way of travel, filler angle, direction, roll.

    The nozzle is not looked at: rod and cup meet at the arc on purpose.

    Args:
        feed: the hand that feeds.
        torch: its body, in the torch frame.
        window: the positions.
        mirrored: whether the weld's frame is left-handed; the handle then turns the other way in it.
    """
    axes, xs = window.local_axes()
    ys = np.cross(axes, xs) * (-1.0 if mirrored else 1.0)
    hand = [k for k, label in enumerate(torch.labels) if label != "wire"]
    out = np.ones((2, len(feed.angles), len(axes), len(window.rolls)), dtype=np.bool_)
    for r, roll in enumerate(window.rolls):
        c, s = cos_sin(float(roll))
        x, y = c * xs + s * ys, c * ys - s * xs
        turn = np.stack([x, y, axes], axis=2)
        p = np.einsum("dij,mj->dmi", turn, torch.starts[hand])
        q = np.einsum("dij,mj->dmi", turn, torch.ends[hand])
        for way in range(2):
            for k in range(len(feed.angles)):
                for a, b, radius in zip(feed.starts[way, k], feed.ends[way, k], feed.radii, strict=True):
                    near = segment_gaps(p, q, a, b) < torch.radii[hand] + radius
                    out[way, k, :, r] &= ~near.any(axis=1)
    return out


def segment_gaps(p: ArrayLike, q: ArrayLike, a: ArrayLike, b: ArrayLike) -> Array:
    """Distances (...,) between segments p to q and segments a to b of some length; all (..., 3), broadcast.

    Ericson, Real-Time Collision Detection (2005), 5.1.9.
    """
    p, q, a, b = (np.asarray(v, dtype=np.float64) for v in (p, q, a, b))
    d, e, r = q - p, b - a, p - a
    dd, ee, de = (d * d).sum(axis=-1), (e * e).sum(axis=-1), (d * e).sum(axis=-1)
    f, c = (r * e).sum(axis=-1), (d * r).sum(axis=-1)
    lean = dd * ee - de * de
    s = np.where(lean > 1e-12 * np.maximum(dd * ee, 1e-30), (de * f - c * ee) / np.where(lean > 0.0, lean, 1.0), 0.0)
    s = np.clip(s, 0.0, 1.0)
    t = (de * s + f) / ee
    held = np.clip(t, 0.0, 1.0)
    s = np.where(held == t, s, np.clip((de * held - c) / np.where(dd > 0.0, dd, 1.0), 0.0, 1.0))
    gap = r + d * s[..., None] - e * held[..., None]
    return np.asarray(np.sqrt((gap * gap).sum(axis=-1)))


def feeding(obstacles: Obstacles, feed: Feed, points: Array, frames: Array, margin: float) -> Bools:
    """Whether the feeding hand is clear of every body, (k, 2, F): point, way of travel, filler angle."""
    from fixture3d.access import kernel

    nodes, meta, tris, _ = obstacles.tree
    out = np.ones((len(points), *feed.starts.shape[:2]), dtype=np.bool_)
    for at in np.ndindex(out.shape):
        k, way, angle = at
        for part in (1, 0):
            p, d = _placed(feed, points[k], frames[k], way, angle, part)
            if kernel.capsule_hit(nodes, meta, tris, *p, *d, float(feed.radii[part]) + margin) >= 0:
                out[at] = False
                break
    return out


def in_the_way(obstacles: Obstacles, feed: Feed, point: Array, frame: Array, way: int, margin: float) -> Ints:
    """Indices of the bodies that the feeding hand meets at its usual angle."""
    from fixture3d.access import kernel

    nodes, meta, tris, owner = obstacles.tree
    counts, stamp = np.zeros(len(obstacles.names), np.int64), np.full(len(obstacles.names), -1, np.int64)
    recent = np.full(1, -1, np.int64)
    for part in range(2):
        p, d = _placed(feed, point, frame, way, 0, part)
        radius = float(feed.radii[part]) + margin
        kernel._capsule_bodies(nodes, meta, tris, owner, *p, *d, radius, stamp, np.int64(0), counts, recent)
    return np.flatnonzero(counts)


def with_feeding(
    obstacles: Obstacles, feed: Feed, torch: TorchBody, weld: WeldPoints, window: Window, free: Bytes, margin: float
) -> tuple[Bytes, Ints]:
    """Which of the free positions leave room for the feeding hand too, at some angle, and who takes the others.

    Args:
        obstacles: all bodies.
        feed: the hand that feeds.
        torch: its body.
        weld: points and frames.
        window: the positions; leans of the two ways of travel stand apart in it.
        free: (k, W, L, R) verdicts on the torch alone.
        margin: clear space that the hand must keep, mm.

    Returns:
        The verdicts (k, W, L, R), and for each body (bodies,) how many positions it takes that the torch alone has:
        those at points where no angle of the feeding hand is clear of all bodies and it meets this one at its usual
        angle.
    """
    clear = feeding(obstacles, feed, weld.points, weld.frames, margin)
    mirrored = np.linalg.det(weld.frames) < 0.0
    room = {bool(side): apart(feed, torch, window, bool(side)) for side in np.unique(mirrored)}
    out = free.copy()
    lost = np.zeros(len(obstacles.names), np.int64)
    for k in range(len(weld.points)):
        both = room[bool(mirrored[k])].reshape(2, len(feed.angles), *window.shape)
        for sense, leans in window.runs:
            way = 0 if sense > 0 else 1
            fed = (both[way][:, :, leans] & clear[k, way][:, None, None, None]).any(axis=0)
            out[k][:, leans] &= fed.astype(np.uint8)
            gone = int(np.count_nonzero(free[k][:, leans]))
            if gone and not clear[k, way].any():
                lost[in_the_way(obstacles, feed, weld.points[k], weld.frames[k], way, margin)] += gone
    return out, lost


def _placed(feed: Feed, point: Array, frame: Array, way: int, angle: int, part: int) -> tuple[list[float], list[float]]:
    """Start and way of one capsule in the world."""
    start = frame @ feed.starts[way, angle, part]
    along = frame @ (feed.ends[way, angle, part] - feed.starts[way, angle, part])
    return [float(v) for v in point + start], [float(v) for v in along]
