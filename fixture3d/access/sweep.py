"""Verdicts on torch positions: which of them are clear of every body, and which body is in the way of the others.

World mm, angles in degrees. A position is free when the torch, grown by a margin all round, meets no body's surface
and does not lie wholly inside a closed body. Verdicts are exact for triangles and the torch's exact shape
(``kernel``); the answers do not depend on the number of threads.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from fixture3d.access.arrays import Array, Bytes, Ints
from fixture3d.access.filler import Feed, with_feeding
from fixture3d.access.obstacles import Obstacles
from fixture3d.access.threads import chunks, in_threads
from fixture3d.access.torch_space import TorchBody, in_parts
from fixture3d.access.welds import WeldPoints
from fixture3d.access.window import Window
from fixture3d.frame import cos_sin
from fixture3d.tolerance import SHOP

RECENT = 6
"""How many triangles that a part of the torch met are tried first at the next point."""


def reach_box(torch: TorchBody, points: ArrayLike, margin: float = SHOP.torch_margin) -> Array:
    """The box (2, 3) that no torch position at any of the points (k, 3) leaves."""
    p = np.asarray(points, dtype=np.float64).reshape(-1, 3)
    around = torch.reach + 2.0 * margin
    return np.stack([p.min(axis=0) - around, p.max(axis=0) + around])


@dataclass(frozen=True, kw_only=True, eq=False)
class Sweep:
    """Verdicts of all positions of one window at the points of one weld.

    Attributes:
        free: (k, W, L, R) 1 where the torch is clear.
        inside: (k, W, L) 1 where it touches no surface but lies wholly within a solid.
    """

    free: Bytes
    inside: Bytes


@dataclass(frozen=True, eq=False)
class Question:
    """What the kernels are asked: the arrays of ``sweep_directions`` in their order."""

    scene: tuple[Any, ...]
    torch: tuple[Any, ...]
    order: Ints
    shape: tuple[int, int, int]

    @property
    def parts(self) -> int:
        """How many capsules the torch is made of."""
        return len(self.torch[8])


def question(
    obstacles: Obstacles, torch: TorchBody, points: ArrayLike, frames: ArrayLike, window: Window, margin: float
) -> Question:
    """Arrays for the kernels, the torch grown by the margin all round (its nozzle keeps its square rim)."""
    p = np.ascontiguousarray(points, dtype=np.float64)
    f = np.ascontiguousarray(frames, dtype=np.float64)
    if p.ndim != 2 or p.shape[1] != 3 or f.shape != (len(p), 3, 3):
        raise ValueError(f"Expected points (k, 3) and frames (k, 3, 3), got {p.shape} and {f.shape}")
    if not (np.isfinite(p).all() and np.isfinite(f).all()):
        raise ValueError("Expected finite points and frames")
    torch, axial = in_parts(torch)
    axes, xs = window.local_axes()
    rolls = np.array([cos_sin(float(roll)) for roll in window.rolls])
    nozzle = np.array([torch.stand_off - margin, torch.nozzle_length + 2.0 * margin, torch.nozzle_radius + margin])
    return Question(
        scene=(*obstacles.tree, obstacles.closed, *obstacles.grid, obstacles.ray),
        torch=(
            p,
            f,
            np.ascontiguousarray(axes),
            np.ascontiguousarray(xs),
            rolls,
            nozzle,
            np.ascontiguousarray(torch.starts),
            np.ascontiguousarray(torch.ends),
            np.ascontiguousarray(torch.radii + margin),
            axial,
        ),
        order=window.nominal_first(),
        shape=window.shape,
    )


def sweep(
    obstacles: Obstacles,
    torch: TorchBody,
    points: ArrayLike,
    frames: ArrayLike,
    window: Window,
    margin: float = SHOP.torch_margin,
) -> Sweep:
    """Verdicts of every position of the window at every point.

    Args:
        obstacles: all bodies, the joined pieces among them.
        torch: its body at the technique's stand-off.
        points: (k, 3) world mm.
        frames: (k, 3, 3) columns t, b, n of ``welds.weld_points``.
        window: positions to try.
        margin: clear space that the torch must keep, mm.

    Raises:
        ValueError: arrays of the wrong shape.
    """
    from fixture3d.access import kernel

    q = question(obstacles, torch, points, frames, window, margin)
    count = len(q.torch[0])
    free = np.zeros((count, len(q.order), len(window.rolls)), np.uint8)
    inside = np.zeros((count, len(q.order)), np.uint8)

    def directions(chunk: Ints) -> None:
        axes = np.zeros((3, count, 3))
        room = (np.zeros(count, np.int32), np.full((len(window.rolls), q.parts), -1, np.int64))
        kernel.sweep_directions(*q.scene, *q.torch, chunk, free, inside, *axes, *room)

    in_threads(directions, chunks(len(q.order)))
    return Sweep(free=free.reshape(count, *q.shape), inside=inside.reshape(count, *q.shape[:2]))


def sweep_fed(
    obstacles: Obstacles,
    torch: TorchBody,
    weld: WeldPoints,
    window: Window,
    margin: float = SHOP.torch_margin,
    feed: Feed | None = None,
) -> tuple[Sweep, Ints]:
    """Verdicts of torch and feeding hand together, and how many positions (bodies,) each body takes from the hand."""
    alone = sweep(obstacles, torch, weld.points, weld.frames, window, margin)
    if feed is None:
        return alone, np.zeros(len(obstacles.names), np.int64)
    free, lost = with_feeding(obstacles, feed, torch, weld, window, alone.free, margin)
    return Sweep(free=free, inside=alone.inside), lost


def blame(
    obstacles: Obstacles,
    torch: TorchBody,
    points: ArrayLike,
    frames: ArrayLike,
    window: Window,
    verdicts: Sweep,
    margin: float = SHOP.torch_margin,
) -> Ints:
    """In how many of the blocked positions each body (bodies,) is in the way, alone or together with others."""
    from fixture3d.access import kernel

    q = question(obstacles, torch, points, frames, window, margin)
    free = verdicts.free.reshape(len(q.torch[0]), len(q.order), -1)
    lots = chunks(len(q.order))
    counts = np.zeros((len(lots), len(obstacles.names)), np.int64)
    rows = {int(lot[0]): row for row, lot in enumerate(lots)}

    def directions(chunk: Ints) -> None:
        stamp, found = np.full((2, len(obstacles.names)), -1, np.int64)
        recent = np.full((len(window.rolls), q.parts, RECENT), -1, np.int64)
        row = counts[rows[int(chunk[0])]]
        kernel.blame_directions(
            *q.scene,
            *q.torch,
            chunk,
            free,
            obstacles.boxes,
            row,
            np.zeros_like(row),
            stamp,
            found,
            recent,
            *np.zeros((3, 3)),
        )

    in_threads(directions, lots)
    result: Ints = counts.sum(axis=0)
    return result
