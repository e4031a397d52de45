"""The position to start a weld from: near to nominal, with room round the torch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fixture3d.access.arrays import Array, Bytes, Ints
from fixture3d.access.obstacles import Obstacles
from fixture3d.access.sweep import Sweep, question
from fixture3d.access.torch_space import TorchBody
from fixture3d.access.welds import WeldPoints
from fixture3d.access.window import Window
from fixture3d.frame import cos_sin

ROOM = 100.0
"""Clearance is measured up to this, mm; ``clearance`` of this value means at least so much."""
COMFORT = 5.0
"""Clearance that a hand can be relied on to keep, mm; common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class BestPosition:
    """The position to start from.

    Attributes:
        point: where on the weld, world mm.
        axis: unit vector from the root up the torch.
        roll: degrees about the axis; 0 bends the neck towards the end of the path.
        work_angle: degrees from the perpendicular of the non-butting face.
        travel_angle: degrees, push positive, for a torch that moves in ``direction``.
        direction: "forward" or "back" along the path.
        clearance: mm to the nearest body, at most ``ROOM``; the two joined pieces do not count for the nozzle, which
            always stands close to them, but do for neck, handle and hand.
    """

    point: tuple[float, float, float]
    axis: tuple[float, float, float]
    roll: float
    work_angle: float
    travel_angle: float
    direction: str
    clearance: float


def best_position(
    obstacles: Obstacles,
    torch: TorchBody,
    weld: WeldPoints,
    window: Window,
    verdicts: Sweep,
    joined: frozenset[str],
) -> BestPosition | None:
    """The free position nearest to nominal that leaves ``COMFORT``, or else the one with the most room."""
    free = verdicts.free.reshape(len(weld.points), -1, len(window.rolls))
    spared = np.array([name in joined for name in obstacles.names], dtype=np.uint8)
    cost = window.cost.ravel()
    room = -1.0
    chosen: Ints | None = None
    for value in np.unique(cost):
        group = np.flatnonzero(cost == value)
        at = np.argwhere(free[:, group])
        if not len(at):
            continue
        at[:, 1] = group[at[:, 1]]
        index, most = roomiest(obstacles, torch, weld, window, at, spared, room)
        if index >= 0:
            room, chosen = most, at[index]
        if room >= COMFORT:
            break
    if chosen is None:
        return None
    point, direction, roll = (int(i) for i in chosen)
    work, lean = divmod(direction, len(window.leans))
    turn = torch_turn(weld.frames[point], window, work, lean, roll)
    sense, travel = window.travel(lean)
    return BestPosition(
        point=_triple(weld.points[point]),
        axis=_triple(turn[:, 2]),
        roll=float(window.rolls[roll]),
        work_angle=float(window.works[work]),
        travel_angle=travel,
        direction="forward" if sense > 0 else "back",
        clearance=round(room, 6),
    )


def _triple(vector: Array) -> tuple[float, float, float]:
    """Three plain numbers, rounded far below any meaning so that files are stable."""
    x, y, z = (round(float(v), 9) + 0.0 for v in vector)
    return x, y, z


def torch_turn(frame: Array, window: Window, work: int, lean: int, roll: int) -> Array:
    """Axes (3, 3, columns) of the torch frame in the world, at a weld point's frame and the window's indices."""
    axes, xs = window.local_axes()
    index = work * len(window.leans) + lean
    z, x0 = frame @ axes[index], frame @ xs[index]
    c, s = cos_sin(float(window.rolls[roll]))
    x = c * x0 + s * np.cross(z, x0)
    return np.column_stack([x, np.cross(z, x), z])


def clearance(
    obstacles: Obstacles,
    torch: TorchBody,
    weld: WeldPoints,
    window: Window,
    position: Sequence[int] | Ints,
    joined: Sequence[str] = (),
) -> float:
    """Least distance of the whole torch to any body in one position, mm, at most ``ROOM``.

    Args:
        obstacles: all bodies.
        torch: its body, not grown.
        weld: points and frames.
        window: the window.
        position: indices of point, work angle, lean and roll.
        joined: names of the bodies that do not count for the nozzle.
    """
    point, work, lean, roll = (int(i) for i in position)
    at = np.array([[point, work * len(window.leans) + lean, roll]], dtype=np.int64)
    spared = np.array([name in joined for name in obstacles.names], dtype=np.uint8)
    return roomiest(obstacles, torch, weld, window, at, spared, -1.0)[1]


def roomiest(
    obstacles: Obstacles,
    torch: TorchBody,
    weld: WeldPoints,
    window: Window,
    candidates: Ints,
    spared: Bytes,
    least: float,
) -> tuple[int, float]:
    """Which candidate (n, 3) of point, direction and roll leaves the most room above ``least``, and how much."""
    from fixture3d.access import kernel

    q = question(obstacles, torch, weld.points, weld.frames, window, 0.0)
    nearest = np.full((len(window.rolls), q.parts + 1), -1, np.int64)
    index, room = kernel.roomiest(
        *obstacles.tree,
        spared,
        *q.torch[:-1],
        np.ascontiguousarray(candidates),
        ROOM,
        least,
        np.zeros((3, 3)),
        np.zeros_like(spared),
        nearest,
    )
    return int(index), float(room)
